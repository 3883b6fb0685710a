package api

import (
	"encoding/json"
	"time"

	"github.com/google/uuid"

	"thirdcut/internal/account"
	"thirdcut/internal/civil"
	"thirdcut/internal/company"
	"thirdcut/internal/crew"
	"thirdcut/internal/label"
	"thirdcut/internal/product"
	"thirdcut/internal/property"
	"thirdcut/internal/turf"
)

// The JSON shapes of what the business keeps. A date is YYYY-MM-DD, a time of
// day HH:MM, a moment RFC 3339; a field's unit is in its name.

type companyJSON struct {
	Name            string   `json:"name" minLength:"1" maxLength:"200"`
	Address         string   `json:"address" maxLength:"500"`
	Phone           string   `json:"phone" maxLength:"50"`
	BusinessLicense string   `json:"business_license" maxLength:"100"`
	TimeZone        string   `json:"time_zone" doc:"IANA name" example:"America/New_York"`
	State           string   `json:"state" pattern:"^[A-Z]{2}$"`
	WorkWeek        []int    `json:"work_week" nullable:"false" doc:"ISO weekdays, Monday 1"`
	Holidays        []string `json:"holidays" nullable:"false" doc:"dates"`
	Jurisdictions   []string `json:"jurisdictions" nullable:"false" doc:"ids of record rules"`
	WeatherPlaceID  string   `json:"weather_place_id"`
	Today           string   `json:"today" readOnly:"true" doc:"the business day"`
}

func newCompanyJSON(c company.Settings, today civil.Date) companyJSON {
	j := companyJSON{Name: c.Name, Address: c.Address, Phone: c.Phone, BusinessLicense: c.BusinessLicense,
		TimeZone: c.Zone.String(), State: c.State, WorkWeek: list(c.WorkWeek), Holidays: []string{},
		Jurisdictions: list(c.Jurisdictions), WeatherPlaceID: c.WeatherPlaceID, Today: today.String()}
	for _, d := range c.Holidays {
		j.Holidays = append(j.Holidays, d.String())
	}
	return j
}

// list is the slice, or an empty one in place of nil, so that JSON has [] and not null.
func list[T any](s []T) []T {
	if s == nil {
		return []T{}
	}
	return s
}

type licenseJSON struct {
	Kind      string `json:"kind" enum:"pesticide,fertiliser,training"`
	State     string `json:"state"`
	Number    string `json:"number"`
	Category  string `json:"category"`
	ValidFrom string `json:"valid_from"`
	ValidTo   string `json:"valid_to"`
	InForce   bool   `json:"in_force" doc:"today"`
}

type personJSON struct {
	ID       uuid.UUID     `json:"id"`
	Name     string        `json:"name"`
	Email    string        `json:"email"`
	Phone    string        `json:"phone"`
	Licenses []licenseJSON `json:"licenses" nullable:"false"`
	Version  int           `json:"version"`
}

func newPersonJSON(p crew.Person, today civil.Date) personJSON {
	j := personJSON{ID: p.ID, Name: p.Name, Email: p.Email, Phone: p.Phone, Licenses: []licenseJSON{}, Version: p.Version}
	for _, l := range p.Licenses {
		j.Licenses = append(j.Licenses, licenseJSON{Kind: string(l.Kind), State: l.State, Number: l.Number, Category: l.Category,
			ValidFrom: l.ValidFrom.String(), ValidTo: l.ValidTo.String(), InForce: l.InForce(today)})
	}
	return j
}

type machineJSON struct {
	ID          uuid.UUID `json:"id"`
	Name        string    `json:"name"`
	Kind        string    `json:"kind" enum:"reel,rotary,sprayer,spreader"`
	WidthIn     float64   `json:"width_in"`
	HeightMinIn float64   `json:"height_min_in"`
	HeightMaxIn float64   `json:"height_max_in"`
}

type crewJSON struct {
	ID        uuid.UUID     `json:"id"`
	Name      string        `json:"name"`
	Depot     string        `json:"depot"`
	ShiftFrom string        `json:"shift_from"`
	ShiftTo   string        `json:"shift_to"`
	WorkDays  []int         `json:"work_days" nullable:"false"`
	Abilities []turf.Work   `json:"abilities" nullable:"false"`
	Members   []string      `json:"members" nullable:"false"`
	Machines  []machineJSON `json:"machines" nullable:"false"`
	Version   int           `json:"version"`
}

func newCrewJSON(c crew.Crew) crewJSON {
	j := crewJSON{ID: c.ID, Name: c.Name, Depot: c.Depot.Name, ShiftFrom: c.ShiftFrom.String(), ShiftTo: c.ShiftTo.String(),
		WorkDays: list(c.WorkDays), Abilities: list(c.Abilities), Members: []string{}, Machines: []machineJSON{}, Version: c.Version}
	for _, m := range c.Members {
		j.Members = append(j.Members, m.Person.Name)
	}
	for _, m := range c.Machines {
		j.Machines = append(j.Machines, machineJSON{ID: m.ID, Name: m.Name, Kind: m.Kind, WidthIn: m.WidthIn, HeightMinIn: m.HeightMinIn, HeightMaxIn: m.HeightMaxIn})
	}
	return j
}

type customerJSON struct {
	ID             uuid.UUID `json:"id"`
	Name           string    `json:"name" minLength:"1" maxLength:"200"`
	Email          string    `json:"email" maxLength:"200"`
	Phone          string    `json:"phone" maxLength:"50"`
	BillingAddress string    `json:"billing_address" maxLength:"500"`
	Version        int       `json:"version" readOnly:"true"`
}

func newCustomerJSON(c property.Customer) customerJSON {
	return customerJSON{c.ID, c.Name, c.Email, c.Phone, c.BillingAddress, c.Version}
}

type areaJSON struct {
	ID                 uuid.UUID       `json:"id"`
	Name               string          `json:"name" minLength:"1" maxLength:"100"`
	Outline            json.RawMessage `json:"outline,omitempty" doc:"GeoJSON Polygon or MultiPolygon (RFC 7946)"`
	AreaSqFt           float64         `json:"area_sqft" exclusiveMinimum:"0"`
	AreaMethod         string          `json:"area_method" enum:"outline,wheel,tape,plan,estimate,given"`
	AreaMeasuredOn     string          `json:"area_measured_on"`
	Species            turf.Species    `json:"species"`
	CuttingHeightIn    float64         `json:"cutting_height_in" exclusiveMinimum:"0" maximum:"8"`
	Mower              turf.Mower      `json:"mower"`
	Exposure           turf.Exposure   `json:"exposure"`
	SlopePercent       float64         `json:"slope_percent"`
	Soil               turf.Soil       `json:"soil"`
	Irrigated          bool            `json:"irrigated"`
	NLbPerThousandYear *float64        `json:"n_lb_per_1000sqft_year"`
	Version            int             `json:"version" readOnly:"true"`
}

func newAreaJSON(a property.TurfArea) areaJSON {
	return areaJSON{ID: a.ID, Name: a.Name, Outline: a.Outline, AreaSqFt: a.AreaSqFt, AreaMethod: a.AreaMethod,
		AreaMeasuredOn: a.AreaMeasuredOn.String(), Species: a.Species, CuttingHeightIn: a.CuttingHeightIn, Mower: a.Mower,
		Exposure: a.Exposure, SlopePercent: a.SlopePercent, Soil: a.Soil, Irrigated: a.Irrigated,
		NLbPerThousandYear: a.NLbPerThousandYear, Version: a.Version}
}

type servicePlanJSON struct {
	Services     []turf.Work `json:"services" nullable:"false"`
	SeasonFrom   string      `json:"season_from" doc:"MM-DD"`
	SeasonTo     string      `json:"season_to" doc:"MM-DD"`
	LeastDays    *int        `json:"least_days" doc:"between two cuts"`
	GreatestDays *int        `json:"greatest_days" doc:"between two cuts"`
	PriceBasis   string      `json:"price_basis,omitempty" doc:"only for those who may see prices"`
	PriceCents   *int64      `json:"price_cents,omitempty" doc:"only for those who may see prices"`
	Version      int         `json:"version" readOnly:"true"`
}

type propertyJSON struct {
	ID            uuid.UUID        `json:"id"`
	CustomerID    uuid.UUID        `json:"customer_id"`
	Address       string           `json:"address"`
	Municipality  string           `json:"municipality"`
	County        string           `json:"county"`
	State         string           `json:"state"`
	ZIPCode       string           `json:"zip_code"`
	Latitude      *float64         `json:"latitude"`
	Longitude     *float64         `json:"longitude"`
	Placed        bool             `json:"placed" readOnly:"true"`
	AccessNote    string           `json:"access_note"`
	GateCode      string           `json:"gate_code,omitempty" doc:"only for the office and the crew of the day"`
	Sensitivities []string         `json:"sensitivities" nullable:"false"`
	Areas         []areaJSON       `json:"areas" nullable:"false"`
	Plan          *servicePlanJSON `json:"plan,omitempty" doc:"the agreed services; absent: none"`
	Version       int              `json:"version" readOnly:"true"`
}

// newPropertyJSON shows the fields that the asker may see.
func newPropertyJSON(p property.Property, who account.Account) propertyJSON {
	j := propertyJSON{ID: p.ID, CustomerID: p.CustomerID, Address: p.Address, Municipality: p.Municipality, County: p.County,
		State: p.State, ZIPCode: p.ZIPCode, Latitude: p.Latitude, Longitude: p.Longitude, Placed: p.Placed(),
		AccessNote: p.AccessNote, Sensitivities: list(p.Sensitivities), Areas: []areaJSON{}, Version: p.Version}
	if account.May(who, account.SeeGateCode) {
		j.GateCode = p.GateCode
	}
	for _, a := range p.Areas {
		j.Areas = append(j.Areas, newAreaJSON(a))
	}
	if p.Plan != nil {
		s := servicePlanJSON{Services: list(p.Plan.Services), SeasonFrom: p.Plan.SeasonFrom.String(), SeasonTo: p.Plan.SeasonTo.String(),
			LeastDays: p.Plan.LeastDays, GreatestDays: p.Plan.GreatestDays, Version: p.Plan.Version}
		if account.May(who, account.SeePrices) {
			s.PriceBasis, s.PriceCents = p.Plan.PriceBasis, p.Plan.PriceCents
		}
		j.Plan = &s
	}
	return j
}

type labelVersionJSON struct {
	ID          uuid.UUID    `json:"id"`
	Revision    string       `json:"revision"`
	Pattern     string       `json:"pattern"`
	InForceFrom string       `json:"in_force_from"`
	Limits      label.Limits `json:"limits"`
	Confirmed   bool         `json:"confirmed" readOnly:"true"`
	Solo        bool         `json:"solo" readOnly:"true" doc:"the one who entered it confirmed it"`
}

type productJSON struct {
	ID                   uuid.UUID          `json:"id"`
	Name                 string             `json:"name" minLength:"1"`
	Kind                 string             `json:"kind" enum:"pesticide,fertiliser,both"`
	Form                 string             `json:"form" enum:"dry,liquid"`
	EPARegNo             string             `json:"epa_reg_no"`
	ActiveIngredient     string             `json:"active_ingredient"`
	ConcentrationPercent *float64           `json:"concentration_percent"`
	RestrictedUse        bool               `json:"restricted_use"`
	NPercent             *float64           `json:"n_percent"`
	Labels               []labelVersionJSON `json:"labels" nullable:"false" readOnly:"true"`
	Version              int                `json:"version" readOnly:"true"`
}

func newProductJSON(p product.Product) productJSON {
	j := productJSON{ID: p.ID, Name: p.Name, Kind: p.Kind, Form: p.Form, EPARegNo: p.EPARegNo, ActiveIngredient: p.ActiveIngredient,
		ConcentrationPercent: p.ConcentrationPercent, RestrictedUse: p.RestrictedUse, NPercent: p.NPercent, Labels: []labelVersionJSON{}, Version: p.Version}
	for _, v := range p.Labels {
		j.Labels = append(j.Labels, newLabelJSON(v))
	}
	return j
}

// momentJSON writes an instant; none is null.
func momentJSON(t time.Time) *time.Time {
	if t.IsZero() {
		return nil
	}
	t = t.UTC()
	return &t
}
