// Package scenario makes the demo: Fernwick Grounds, an invented company in
// central Maryland, with its people, lawns, weather and season, all from one
// seed, so that the same seed makes the same company on every machine.
package scenario

import (
	"math"
	"math/rand/v2"
	"time"

	"thirdcut/internal/civil"
	"thirdcut/internal/unit"
	"thirdcut/internal/weather"
)

// Seed is the seed of the published demo.
const Seed = 20260706

// monthNormal is a month's normal daily extremes, degrees F, and water, inches.
type monthNormal struct{ maxF, minF, rainIn float64 }

// normals are the monthly normals 1991-2020 of the Baltimore airport station,
// January first. From memory; daily normals that the National Weather Service
// prints in its climate reports for the station are checked in weather_test.go.
var normals = [12]monthNormal{
	{43, 25, 3.08}, {46, 27, 2.90}, {55, 34, 4.01}, {66, 43, 3.39}, {75, 53, 3.85}, {84, 62, 3.98},
	{89, 67, 4.48}, {86, 65, 4.09}, {79, 58, 4.44}, {68, 46, 3.94}, {57, 36, 3.13}, {47, 30, 3.71},
}

// Station is where the demo's weather belongs: the middle of its round.
var Station = weather.Place{Latitude: 39.36, Longitude: -76.93, Elevation: 150 * unit.Metre}

// normalOn is the normal of a day, drawn straight between the middles of months.
func normalOn(d civil.Date) monthNormal {
	before := civil.On(d.Year, d.Month, 15)
	if d.Before(before) {
		before = civil.On(d.Year, d.Month-1, 15)
	}
	after := civil.On(before.Year, before.Month+1, 15)
	share := float64(d.Since(before)) / float64(after.Since(before))
	a, b := normals[before.Month-1], normals[after.Month-1]
	mix := func(x, y float64) float64 { return x + share*(y-x) }
	return monthNormal{mix(a.maxF, b.maxF), mix(a.minF, b.minF), mix(a.rainIn, b.rainIn)}
}

// What makes drawn weather look like weather; all chosen here.
const (
	dayToDay     = 0.65 // how much of today's departure from normal is still there tomorrow
	departureSDC = 3.6  // spread of a day's departure from normal, degrees C
	wetAfterDry  = 0.26 // chance of rain after a dry day
	wetAfterWet  = 0.45
	cloudCoolC   = 2.5 // a wet day's maximum lies below a dry one's
	wetShare     = 0.32
	meanWindMPH  = 7.0
)

// Weather draws daily weather for the range from the monthly normals: days
// resemble the day before, wet days are cooler. The days are marked observed.
func Weather(seed uint64, from, to civil.Date) []weather.Day {
	rng := rand.New(rand.NewPCG(seed, 1))
	departure, wet := 0.0, false
	var days []weather.Day
	for d := from; !d.After(to); d = d.AddDays(1) {
		n := normalOn(d)
		departure = dayToDay*departure + math.Sqrt(1-dayToDay*dayToDay)*departureSDC*rng.NormFloat64()
		chance := wetAfterDry
		if wet {
			chance = wetAfterWet
		}
		wet = rng.Float64() < chance
		high := unit.Fahrenheit(n.maxF) + unit.Temperature(departure)
		low := unit.Fahrenheit(n.minF) + unit.Temperature(0.8*departure+0.8*rng.NormFloat64())
		rain := 0.0
		if wet {
			high -= cloudCoolC
			// Exponential amounts whose mean makes the month's normal.
			rain = rng.ExpFloat64() * n.rainIn / (30.4 * wetShare)
		} else {
			high += cloudCoolC * wetShare / (1 - wetShare)
		}
		if high < low+2 {
			high = low + 2
		}
		days = append(days, weather.Day{
			Date: d, Max: tenth(high), Min: tenth(low),
			Precipitation: unit.Length(math.Round(rain*254)/10) * unit.Millimetre,
			Wind:          unit.Speed(math.Round(10*meanWindMPH*(0.5+rng.ExpFloat64()*0.5))/10) * unit.MilePerHour,
			Quality:       weather.Observed, Source: "drawn from monthly normals",
		})
	}
	return days
}

func tenth(t unit.Temperature) unit.Temperature {
	return unit.Celsius(math.Round(t.Celsius()*10) / 10)
}

// forecastDays is how far ahead a forecast reaches.
const forecastDays = 7

// AsKnownOn is the weather as it would be known on the morning of a day: days
// before it observed, the next seven a forecast whose error grows with its
// lead, nothing beyond.
func AsKnownOn(days []weather.Day, today civil.Date, seed uint64) []weather.Day {
	rng := rand.New(rand.NewPCG(seed, uint64(today.DayNumber())))
	var known []weather.Day
	for _, d := range days {
		lead := d.Date.Since(today) + 1
		if lead > forecastDays {
			break
		}
		if lead >= 1 {
			err := unit.Temperature(0.5 * float64(lead) * rng.NormFloat64())
			d.Max, d.Min = tenth(d.Max+err), tenth(d.Min+err)
			d.Quality, d.Source = weather.Forecast, "drawn forecast"
		}
		known = append(known, d)
	}
	return known
}

// DefaultDate is the day on which the demo stands still: a working Monday in July.
var DefaultDate = civil.On(2026, time.July, 6)
