// Package label holds what a product's label allows and checks a use against it.
//
// The label in hand is the law; the limits here are what a licensed person read
// off it and entered, version by version.
package label

import (
	"thirdcut/internal/turf"
)

// Severity says what a finding asks for.
type Severity string

// The severities.
const (
	Refuse  Severity = "refuse"  // planning it is refused; done, it is kept and marked
	Confirm Severity = "confirm" // a licensed person must give a reason
	Note    Severity = "note"    // to be known
)

// Finding is one result of a check. Got and Limit are the two numbers compared,
// with their units, as a person reads them; both are empty where no numbers are
// compared. Source is the place in the label or rule.
type Finding struct {
	Severity Severity `json:"severity"`
	Code     string   `json:"code"`
	Text     string   `json:"text"`
	Got      string   `json:"got,omitempty"`
	Limit    string   `json:"limit,omitempty"`
	Source   string   `json:"source"`
}

// RateUnit is a unit in which labels state a rate of product on area.
type RateUnit string

// The rate units: amount, then area.
const (
	LbPerThousand   RateUnit = "lb/1000 sq ft"
	OzPerThousand   RateUnit = "oz/1000 sq ft"
	FlOzPerThousand RateUnit = "fl oz/1000 sq ft"
	GPerThousand    RateUnit = "g/1000 sq ft"
	MLPerThousand   RateUnit = "mL/1000 sq ft"
	LbPerAcre       RateUnit = "lb/acre"
	OzPerAcre       RateUnit = "oz/acre"
	FlOzPerAcre     RateUnit = "fl oz/acre"
	PtPerAcre       RateUnit = "pt/acre"
	QtPerAcre       RateUnit = "qt/acre"
	GalPerAcre      RateUnit = "gal/acre"
	KgPerHectare    RateUnit = "kg/ha"
	LPerHectare     RateUnit = "L/ha"
)

// Limits is one use pattern of one label version: what may be done on turf. A
// pointer that is nil means that the label sets no such limit. Temperatures are
// degrees F, wind mph, water inches: the units that labels print.
type Limits struct {
	Revision string `json:"revision"` // the label's own revision mark
	Pattern  string `json:"pattern"`  // use pattern in words: "turf, yellow nutsedge"
	Place    string `json:"place"`    // where on the label: "p. 4, Turf"

	RateMin  *float64 `json:"rate_min,omitempty"` // product
	RateMax  *float64 `json:"rate_max,omitempty"` // product, per application
	RateUnit RateUnit `json:"rate_unit"`

	YearMax             *float64 `json:"year_max,omitempty"` // product per calendar year, in RateUnit
	ApplicationsPerYear *int     `json:"applications_per_year,omitempty"`
	IntervalDays        *int     `json:"interval_days,omitempty"` // least days between two applications

	MowWaitBeforeDays *int     `json:"mow_wait_before_days,omitempty"`
	MowWaitAfterDays  *int     `json:"mow_wait_after_days,omitempty"`
	RainFreeHours     *float64 `json:"rain_free_hours,omitempty"`
	WaterInIn         *float64 `json:"water_in_in,omitempty"` // inches of water needed after it
	WaterInDays       *int     `json:"water_in_days,omitempty"`

	ReentryText  string   `json:"reentry_text"`            // as printed: "until dry"
	ReentryHours *float64 `json:"reentry_hours,omitempty"` // where the label states hours

	AirTempMinF        *float64 `json:"air_temp_min_f,omitempty"`
	AirTempMaxF        *float64 `json:"air_temp_max_f,omitempty"`
	AirTempAdvisedMaxF *float64 `json:"air_temp_advised_max_f,omitempty"` // advice, not label
	WindMaxMPH         *float64 `json:"wind_max_mph,omitempty"`
	WindAdvisedMaxMPH  *float64 `json:"wind_advised_max_mph,omitempty"`
	WaterDistanceFt    *float64 `json:"water_distance_ft,omitempty"`
	SeedWaitDays       *int     `json:"seed_wait_days,omitempty"`

	NotOn     []turf.Species `json:"not_on,omitempty"`    // label forbids
	Sensitive []turf.Species `json:"sensitive,omitempty"` // label warns

	ProtectiveEquipment string `json:"protective_equipment"`
	SignalWord          string `json:"signal_word"`
}
