package postgres_test

import (
	"math"
	"testing"

	"github.com/google/uuid"

	"thirdcut/internal/civil"
	"thirdcut/internal/fault"
	"thirdcut/internal/postgres"
	"thirdcut/internal/unit"
	"thirdcut/internal/weather"
)

func weatherDay(date string, q weather.Quality, hi, rain float64) weather.Day {
	return weather.Day{Date: civil.MustDate(date), Max: unit.Celsius(hi), Min: unit.Celsius(hi - 10),
		Precipitation: unit.Length(rain) * unit.Millimetre, Wind: unit.Speed(math.NaN()), Quality: q, Source: "test"}
}

func (h *house) place() string {
	h.t.Helper()
	h.ok(h.SaveWeatherPlace(h.ctx, postgres.WeatherPlace{ID: "north", Name: "North", Place: weather.Place{Latitude: 39.5, Longitude: -76.5, Elevation: 120 * unit.Metre}}))
	return "north"
}

func TestBetterWeatherReplacesWorse(t *testing.T) {
	h := newHouse(t)
	place := h.place()
	start := h.refreshes(uuid.Nil)
	const (
		d1, d2, d3 = "2026-05-30", "2026-06-01", "2026-06-03"
	)
	nan := math.NaN()
	steps := []struct {
		name string
		days []weather.Day
		want postgres.Saved
		asks int
	}{
		{"first", []weather.Day{weatherDay(d1, weather.Observed, 25, 1), weatherDay(d2, weather.Forecast, 26, 2), weatherDay(d3, weather.Forecast, 27, 3)}, postgres.Saved{Added: 3}, 1},
		{"the same", []weather.Day{weatherDay(d1, weather.Observed, 25, 1), weatherDay(d2, weather.Forecast, 26, 2), weatherDay(d3, weather.Forecast, 27, 3)}, postgres.Saved{Unchanged: 3}, 0},
		{"observed over forecast", []weather.Day{weatherDay(d2, weather.Observed, 24, 0)}, postgres.Saved{Changed: 1}, 1},
		{"forecast, normal, filled over observed", []weather.Day{weatherDay(d2, weather.Forecast, 20, 9), weatherDay(d1, weather.Normal, 20, 9)}, postgres.Saved{Unchanged: 2}, 0},
		{"station over observed", []weather.Day{weatherDay(d2, weather.Station, 20, 9)}, postgres.Saved{Unchanged: 1}, 0},
		{"a newer forecast", []weather.Day{weatherDay(d3, weather.Forecast, 28, 4)}, postgres.Saved{Changed: 1}, 1},
		{"the same forecast without rain", []weather.Day{weatherDay(d3, weather.Forecast, 28, nan)}, postgres.Saved{Unchanged: 1}, 0},
		{"observed without rain over a forecast with rain", []weather.Day{weatherDay(d3, weather.Observed, 28, nan)}, postgres.Saved{Changed: 1}, 1},
		{"under the hundredth", []weather.Day{weatherDay(d1, weather.Observed, 25.004, 1)}, postgres.Saved{Unchanged: 1}, 0},
		{"corrected", []weather.Day{weatherDay(d1, weather.Observed, 25.01, 1)}, postgres.Saved{Changed: 1}, 1},
	}
	for _, s := range steps {
		got, err := h.SaveWeatherDays(h.ctx, place, s.days)
		h.ok(err)
		if got != s.want {
			t.Errorf("%s: %+v, want %+v", s.name, got, s.want)
		}
		start += s.asks
		if n := h.refreshes(uuid.Nil); n != start {
			t.Errorf("%s: windows asked for %d times in all, want %d", s.name, n, start)
		}
	}
	days, err := h.WeatherDays(h.ctx, place, civil.MustDate(d2), civil.Date{})
	h.ok(err)
	if len(days) != 2 || days[0].Quality != weather.Observed || days[0].Max.Celsius() != 24 || days[0].Precipitation != 0 || !days[0].HasPrecipitation() || days[0].HasWind() ||
		days[1].HasPrecipitation() || days[1].Quality != weather.Observed {
		t.Errorf("days %+v", days)
	}
}

func TestOldForecastsAge(t *testing.T) {
	h := newHouse(t)
	place := h.place()
	_, err := h.SaveWeatherDays(h.ctx, place, []weather.Day{weatherDay("2026-06-01", weather.Forecast, 25, 1), weatherDay("2026-06-02", weather.Forecast, 25, 1)})
	h.ok(err)
	aged, err := h.AgeForecasts(h.ctx, civil.MustDate("2026-06-02"))
	h.ok(err)
	days, err := h.WeatherDays(h.ctx, place, civil.Date{}, civil.Date{})
	h.ok(err)
	if aged != 1 || days[0].Quality != weather.Estimated || days[1].Quality != weather.Forecast {
		t.Errorf("aged %d: %+v", aged, days)
	}
}

func TestWeatherThatCannotBe(t *testing.T) {
	h := newHouse(t)
	place := h.place()
	hot := weatherDay("2026-06-01", weather.Observed, 95, 0) // degrees F
	wrong := weatherDay("2026-06-02", weather.Observed, 25, 0)
	wrong.Min = unit.Celsius(26)
	_, err := h.SaveWeatherDays(h.ctx, place, []weather.Day{hot, wrong, weatherDay("2026-06-03", "seen", 25, 0), weatherDay("2026-06-04", weather.Observed, 25, -1),
		weatherDay("2026-06-05", weather.Observed, 25, 0), weatherDay("2026-06-05", weather.Observed, 24, 0)})
	h.refused(err, fault.Invalid, "weather-days")
	if f := fault.As(err); f == nil || len(f.Fields) != 5 || f.Fields[0].Pointer != "day 2026-06-01" {
		t.Errorf("fields %+v", f)
	}
	_, err = h.SaveWeatherDays(h.ctx, "nowhere", []weather.Day{weatherDay("2026-06-05", weather.Observed, 25, 0)})
	h.refused(err, fault.NotFound, "weather-place")
	h.refused(h.SaveWeatherPlace(h.ctx, postgres.WeatherPlace{ID: "x", Place: weather.Place{Latitude: -76.5, Longitude: 39.5}}), fault.Invalid, "weather-place")
	if n := h.count(`select count(*) from weather_day`); n != 0 {
		t.Errorf("%d days were kept", n)
	}
}

func TestImportWeatherIsWrittenDown(t *testing.T) {
	h := newHouse(t)
	place := h.place()
	start := h.refreshes(uuid.Nil)
	var days []weather.Day
	for d := civil.MustDate("2016-01-01"); d.Before(civil.MustDate("2026-01-01")); d = d.AddDays(1) {
		days = append(days, weatherDay(d.String(), weather.Observed, 15, 2))
	}
	file := postgres.ImportFile{Name: "north.csv", SHA256: make([]byte, 32), DryRun: true}
	saved, err := h.ImportWeather(h.ctx, place, days, file)
	h.ok(err)
	if saved.Added != 3653 || h.count(`select count(*) from weather_day`) != 0 || h.count(`select count(*) from import_run`) != 0 {
		t.Errorf("dry run: %+v", saved)
	}
	file.DryRun = false
	saved, err = h.ImportWeather(h.ctx, place, days, file)
	h.ok(err)
	runs, err := h.ImportRuns(h.ctx, 10)
	h.ok(err)
	if saved.Added != 3653 || len(runs) != 1 || runs[0].Kind != "weather" || runs[0].Added != 3653 || h.refreshes(uuid.Nil) != start+1 {
		t.Errorf("saved %+v, runs %+v", saved, runs)
	}
}
