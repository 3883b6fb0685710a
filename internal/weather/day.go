// Package weather holds a day's weather at a place and what is computed from it.
package weather

import (
	"math"

	"thirdcut/internal/civil"
	"thirdcut/internal/unit"
)

// Quality says where a day's values come from.
type Quality string

// The qualities, from best to worst.
const (
	Observed  Quality = "observed"  // read from an instrument at or near the place
	Station   Quality = "station"   // read at a station further off
	Forecast  Quality = "forecast"  // not happened yet
	Estimated Quality = "estimated" // an old forecast that nothing has replaced
	Filled    Quality = "filled"    // computed from neighbouring days
	Normal    Quality = "normal"    // the mean of past years
)

// Known says whether q is one of the list.
func (q Quality) Known() bool {
	switch q {
	case Observed, Station, Forecast, Estimated, Filled, Normal:
		return true
	}
	return false
}

// Day is one calendar day's weather at one place. Precipitation and Wind are
// NaN when nothing is known of them; the temperatures always stand.
type Day struct {
	Date          civil.Date
	Max, Min      unit.Temperature
	Precipitation unit.Length // depth of water
	Wind          unit.Speed  // daily mean
	Quality       Quality
	Source        string // in words: file, station id, provider
}

// MeanTemperature is the midpoint of the day's extremes, as FAO-56 eq. 9 takes it.
func (d Day) MeanTemperature() unit.Temperature { return unit.Mean(d.Max, d.Min) }

// HasPrecipitation says whether the day's precipitation is known.
func (d Day) HasPrecipitation() bool { return !math.IsNaN(float64(d.Precipitation)) }

// HasWind says whether the day's wind is known.
func (d Day) HasWind() bool { return !math.IsNaN(float64(d.Wind)) }

// Place is where a weather series belongs.
type Place struct {
	Latitude  float64 // degrees, north positive
	Longitude float64 // degrees, east positive
	Elevation unit.Length
}
