// Package application holds the legal record of each product put on a property:
// what it says, how it is sealed and chained, and what rules still want of it.
package application

import (
	"time"

	"github.com/google/uuid"

	"thirdcut/internal/civil"
	"thirdcut/internal/label"
)

// Amount is a quantity as a person entered it with its conversion beside it.
type Amount struct {
	Entered string  `json:"entered"` // "4.5 oz"
	Value   float64 `json:"value"`   // converted
	Unit    string  `json:"unit"`    // unit of Value: kg, L, sq ft, deg F, mph, gal
}

// Who is a person as the record names them.
type Who struct {
	PersonID uuid.UUID `json:"person_id"`
	Name     string    `json:"name"`
	License  string    `json:"license,omitempty"` // number in force on the day, empty: none
}

// Line is what one turf area got.
type Line struct {
	TurfAreaID  uuid.UUID `json:"turf_area_id"`
	Name        string    `json:"name"`
	Species     string    `json:"species"`
	AreaTreated Amount    `json:"area_treated"` // sq ft
	Amount      Amount    `json:"amount"`       // product, kg or L
}

// Lot names a lot that the product was taken from.
type Lot struct {
	LotID  uuid.UUID `json:"lot_id"`
	Number string    `json:"number"`
}

// Origins of the weather of a record; empty: not known.
const (
	Measured    = "measured" // told by the person at the site
	FromStation = "station"  // the mean of the day at the weather place: no reading at the site
)

// Weather is what the air was like, as measured or as read from a station. The
// entered texts are what the person wrote; a text that could not be read keeps
// its place and leaves the number out.
type Weather struct {
	AirTempF       *float64 `json:"air_temp_f,omitempty"`
	AirTempEntered string   `json:"air_temp_entered,omitempty"`
	WindMPH        *float64 `json:"wind_mph,omitempty"`
	WindEntered    string   `json:"wind_entered,omitempty"`
	WindDirection  string   `json:"wind_direction,omitempty"` // blows from
	Other          string   `json:"other,omitempty"`
	Origin         string   `json:"origin,omitempty"`      // measured station, empty: unknown
	WindOrigin     string   `json:"wind_origin,omitempty"` // of the wind alone: measured station, empty: unknown
}

// Goods is the product as it was when the record was made.
type Goods struct {
	ProductID            uuid.UUID `json:"product_id"`
	ProductName          string    `json:"product_name"`
	EPARegNo             string    `json:"epa_reg_no,omitempty"`
	ActiveIngredient     string    `json:"active_ingredient,omitempty"`
	ConcentrationPercent *float64  `json:"concentration_percent,omitempty"`
	Formulation          string    `json:"formulation,omitempty"`
	Pesticide            bool      `json:"pesticide"`
	Fertiliser           bool      `json:"fertiliser"`
	RestrictedUse        bool      `json:"restricted_use"`
	NPercent             *float64  `json:"n_percent,omitempty"`
	P2O5Percent          *float64  `json:"p2o5_percent,omitempty"`
	NSlowPercent         *float64  `json:"n_slow_percent,omitempty"` // share of the N
}

// Site is the place, its people and the company as they were when the record was made.
type Site struct {
	PropertyID      uuid.UUID `json:"property_id"`
	CustomerName    string    `json:"customer_name"`
	CustomerAddress string    `json:"customer_address,omitempty"`
	CustomerPhone   string    `json:"customer_phone,omitempty"`
	PropertyOwner   string    `json:"property_owner,omitempty"`
	SiteAddress     string    `json:"site_address"`
	Municipality    string    `json:"municipality,omitempty"`
	County          string    `json:"county,omitempty"`
	State           string    `json:"state"`
	ZIPCode         string    `json:"zip_code,omitempty"`

	BusinessName    string `json:"business_name"`
	BusinessAddress string `json:"business_address,omitempty"`
	BusinessLicense string `json:"business_license,omitempty"`
}

// Record is one product on one property in one application. It is never
// changed: a correction is a new record that supersedes it and says why.
type Record struct {
	ID           uuid.UUID  `json:"id"`
	Seq          int64      `json:"seq"` // place in the chain, from 1
	SupersedesID uuid.UUID  `json:"supersedes_id,omitzero"`
	Correction   string     `json:"correction,omitempty"`  // why it supersedes
	CorrectedBy  Who        `json:"corrected_by,omitzero"` // who made the correction
	CloseOutID   uuid.UUID  `json:"close_out_id,omitzero"`
	VisitID      uuid.UUID  `json:"visit_id,omitzero"`
	AppliedOn    civil.Date `json:"applied_on"`
	StartedAt    time.Time  `json:"started_at,omitzero"`
	FinishedAt   time.Time  `json:"finished_at,omitzero"`
	RecordedAt   time.Time  `json:"recorded_at"`
	Zone         string     `json:"zone"` // time zone in which times of day are meant

	Goods
	LabelVersionID uuid.UUID `json:"label_version_id,omitzero"`
	LabelRevision  string    `json:"label_revision,omitempty"`
	LabelPattern   string    `json:"label_pattern,omitempty"`

	Lines         []Line  `json:"lines"`
	Total         Amount  `json:"total"`        // product
	AreaTreated   Amount  `json:"area_treated"` // all lines, sq ft
	Rate          string  `json:"rate"`         // as computed from total and area, in the label's unit
	MixRate       string  `json:"mix_rate,omitempty"`
	Diluent       *Amount `json:"diluent,omitempty"` // gal
	DilutedVolume *Amount `json:"diluted_volume,omitempty"`
	Spot          bool    `json:"spot"`
	// SpotAcresOfDay is all spot work of the applicator's day, acres. It is not
	// part of the record: readers that know it fill it in; nil: not known.
	SpotAcresOfDay *float64 `json:"-"`
	Target         string   `json:"target,omitempty"`
	SiteType       string   `json:"site_type"`
	Method         string   `json:"method,omitempty"`
	Equipment      string   `json:"equipment,omitempty"`
	Calibration    string   `json:"calibration,omitempty"`
	Lots           []Lot    `json:"lots,omitempty"`

	Applicator Who      `json:"applicator"`
	Supervisor Who      `json:"supervisor,omitzero"`
	Assistants []string `json:"assistants,omitempty"`

	AuthorisedBy string `json:"authorised_by,omitempty"` // who asked for or allowed the application

	WeatherStart Weather `json:"weather_start"`
	WeatherEnd   Weather `json:"weather_end"`

	ReentryText  string    `json:"reentry_text,omitempty"`  // as the label prints it
	ReentryHours *float64  `json:"reentry_hours,omitempty"` // where the label states hours
	ReentryAt    time.Time `json:"reentry_at,omitzero"`     // zero where it states none
	SignPosted   bool      `json:"sign_posted"`
	SignNote     string    `json:"sign_note,omitempty"`
	NoticeGiven  bool      `json:"notice_given"`
	Note         string    `json:"note,omitempty"`
	Incident     string    `json:"incident,omitempty"`

	Site

	Findings []label.Finding `json:"findings"` // as they stood when it was recorded
	Reasons  []Reason        `json:"reasons,omitempty"`
}

// Reason is what a licensed person gave for going past a finding that asks for one.
type Reason struct {
	Code   string `json:"code"`
	Text   string `json:"text"`
	Person string `json:"person"`
}
