// Package property holds customers, their properties with turf areas, and the
// service plans agreed for them.
package property

import (
	"encoding/json"

	"github.com/google/uuid"

	"thirdcut/internal/civil"
	"thirdcut/internal/turf"
)

// Customer is who pays.
type Customer struct {
	ID             uuid.UUID
	ImportKey      string // natural key of the office sheet, empty when entered by hand
	Name           string
	Email, Phone   string
	BillingAddress string
	Version        int
}

// Property is an address with turf areas.
type Property struct {
	ID              uuid.UUID
	CustomerID      uuid.UUID
	Address         string
	AddressKey      string // normalised, unique
	Municipality    string
	County          string
	State           string
	ZIPCode         string
	OwnerName       string // owner or tenant where not the customer
	Latitude        *float64
	Longitude       *float64 // nil: not placed on the map yet
	AccessNote      string
	GateCode        string // shown only to the crew of the day and the office
	Sensitivities   []string
	WaterDistanceFt *float64
	AllowedFrom     *civil.TimeOfDay
	AllowedTo       *civil.TimeOfDay
	ClosedWeekdays  []int // ISO weekdays on which nobody may come
	Jurisdictions   []string
	WeatherPlaceID  string
	RetiredOn       civil.Date
	Version         int
	Areas           []TurfArea
	Plan            *ServicePlan // the running one
}

// Placed says whether the property has a map point.
func (p Property) Placed() bool { return p.Latitude != nil && p.Longitude != nil }

// TurfArea is one surface of one species, one cutting height and one exposure.
type TurfArea struct {
	ID                 uuid.UUID
	PropertyID         uuid.UUID
	Name               string
	Outline            json.RawMessage // GeoJSON Polygon or MultiPolygon, empty when only the size is known
	AreaSqFt           float64
	AreaMethod         string // outline wheel tape plan estimate given
	AreaMeasuredOn     civil.Date
	Species            turf.Species
	CuttingHeightIn    float64
	Mower              turf.Mower // empty: any that reaches the height
	Exposure           turf.Exposure
	SlopePercent       float64
	Soil               turf.Soil
	Irrigated          bool
	IrrigationNote     string
	NLbPerThousandYear *float64 // nitrogen a year, lb/1000 sq ft; nil: the species' usual
	Note               string
	RetiredOn          civil.Date
	Version            int
}

// ServicePlan is what a customer has agreed to.
type ServicePlan struct {
	ID                   uuid.UUID
	PropertyID           uuid.UUID
	SeasonFrom, SeasonTo civil.MonthDay
	LeastDays            *int // between cuts; nil: growth alone decides
	GreatestDays         *int
	PriceBasis           string // per_visit per_season
	PriceCents           *int64
	Services             []turf.Work
	AgreedOn, EndedOn    civil.Date
	Version              int
}

// Covers says whether the plan is agreed for that kind of work on that day.
func (s ServicePlan) Covers(w turf.Work, d civil.Date) bool {
	if !s.EndedOn.IsZero() && d.After(s.EndedOn) {
		return false
	}
	for _, have := range s.Services {
		if have == w {
			return d.Within(s.SeasonFrom, s.SeasonTo)
		}
	}
	return false
}
