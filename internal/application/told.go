package application

import (
	"time"

	"github.com/google/uuid"

	"thirdcut/internal/civil"
	"thirdcut/internal/label"
	"thirdcut/internal/unit"
)

// Told is what a person says of one product put down, from the field or in a
// correction. Amounts, areas and readings are texts with their unit.
type Told struct {
	ID             uuid.UUID         `json:"id"`
	ProductID      uuid.UUID         `json:"product_id"`
	LabelVersionID uuid.UUID         `json:"label_version_id,omitzero"`
	Lines          []ToldLine        `json:"lines"`
	Diluent        string            `json:"diluent,omitempty"` // water or carrier: 5 gal
	LotIDs         []uuid.UUID       `json:"lot_ids,omitempty"`
	StartedAt      time.Time         `json:"started_at,omitzero"`
	FinishedAt     time.Time         `json:"finished_at,omitzero"`
	ApplicatorID   uuid.UUID         `json:"applicator_id"`
	SupervisorID   uuid.UUID         `json:"supervisor_id,omitzero"`
	Assistants     []string          `json:"assistants,omitempty"`
	AuthorisedBy   string            `json:"authorised_by,omitempty"`
	Equipment      string            `json:"equipment,omitempty"`
	Method         string            `json:"method,omitempty"`
	Target         string            `json:"target,omitempty"`
	Spot           bool              `json:"spot,omitempty"`
	AirTemp        string            `json:"air_temp,omitempty"` // 71 F
	Wind           string            `json:"wind,omitempty"`     // 4 mph
	WindDirection  string            `json:"wind_direction,omitempty"`
	WeatherOther   string            `json:"weather_other,omitempty"`
	SignPosted     bool              `json:"sign_posted,omitempty"`
	SignNote       string            `json:"sign_note,omitempty"`
	NoticeGiven    bool              `json:"notice_given,omitempty"`
	Incident       string            `json:"incident,omitempty"`
	Note           string            `json:"note,omitempty"`
	Reasons        map[string]string `json:"reasons,omitempty"` // finding code: reason
}

// ToldLine is what one turf area got.
type ToldLine struct {
	TurfAreaID  uuid.UUID `json:"turf_area_id"`
	AreaTreated string    `json:"area_treated"` // 5,200 sq ft
	Amount      string    `json:"amount"`       // product: 4.5 oz
}

// Told returns what a person told of the record, as a correction begins from.
func (r Record) Told() Told {
	t := Told{ID: r.ID, ProductID: r.ProductID, LabelVersionID: r.LabelVersionID,
		StartedAt: r.StartedAt, FinishedAt: r.FinishedAt, ApplicatorID: r.Applicator.PersonID, SupervisorID: r.Supervisor.PersonID,
		Assistants: append([]string(nil), r.Assistants...), AuthorisedBy: r.AuthorisedBy, Equipment: r.Equipment, Method: r.Method,
		Target: r.Target, Spot: r.Spot, SignPosted: r.SignPosted, SignNote: r.SignNote, NoticeGiven: r.NoticeGiven,
		Incident: r.Incident, Note: r.Note, AirTemp: r.WeatherStart.AirTempEntered, Wind: r.WeatherStart.WindEntered}
	for _, l := range r.Lines {
		t.Lines = append(t.Lines, ToldLine{l.TurfAreaID, l.AreaTreated.Entered, l.Amount.Entered})
	}
	for _, l := range r.Lots {
		t.LotIDs = append(t.LotIDs, l.LotID)
	}
	if r.Diluent != nil {
		t.Diluent = r.Diluent.Entered
	}
	if r.WeatherStart.Origin != FromStation {
		t.WindDirection, t.WeatherOther = r.WeatherStart.WindDirection, r.WeatherStart.Other
	}
	for _, reason := range r.Reasons {
		if t.Reasons == nil {
			t.Reasons = map[string]string{}
		}
		t.Reasons[reason.Code] = reason.Text
	}
	return t
}

// Past is what one turf area got of one product in an application that still
// stands: corrected ones are not in it, their corrections are.
type Past struct {
	RecordID    uuid.UUID
	TurfAreaID  uuid.UUID
	ProductID   uuid.UUID
	On          civil.Date
	Area        unit.Area
	Amount      label.Amount
	NPercent    *float64
	P2O5Percent *float64
}

// Past reads the record as others of the product and area must count it.
func (r Record) Past() []Past {
	past := make([]Past, len(r.Lines))
	for i, l := range r.Lines {
		past[i] = Past{RecordID: r.ID, TurfAreaID: l.TurfAreaID, ProductID: r.ProductID, On: r.AppliedOn,
			Area: unit.Area(l.AreaTreated.Value) * unit.SquareFoot, Amount: l.Amount.Product(), NPercent: r.NPercent, P2O5Percent: r.P2O5Percent}
	}
	return past
}

// Product reads an amount in kg or L as an amount of product.
func (a Amount) Product() label.Amount {
	if a.Unit == "L" {
		return label.Liquid(unit.Volume(a.Value)*unit.Litre, a.Entered)
	}
	return label.Dry(unit.Mass(a.Value)*unit.Kilogram, a.Entered)
}
