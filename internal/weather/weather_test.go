package weather_test

import (
	"encoding/json"
	"math"
	"os"
	"testing"
	"time"

	"pgregory.net/rapid"

	"thirdcut/internal/civil"
	"thirdcut/internal/fault"
	"thirdcut/internal/unit"
	"thirdcut/internal/weather"
)

// TestRadiation against FAO-56 (T-12): examples 8, 17 and 18.
func TestRadiation(t *testing.T) {
	for _, c := range []struct {
		name     string
		latitude float64
		day      int
		want     float64 // MJ/m²/d
		slack    float64
	}{
		{"example 8, printed", -20, 246, 32.2, 0.06},
		{"example 17, recalled", 13.7333, 105, 38.06, 0.05},
		{"example 18, printed", 50.8, 187, 41.09, 0.02},
		{"polar night", 80, 355, 0, 1e-9},
	} {
		if got := weather.ExtraterrestrialRadiation(c.latitude, c.day); math.Abs(got-c.want) > c.slack {
			t.Errorf("%s: %v, want %v ± %v", c.name, got, c.want, c.slack)
		}
	}
	if h := weather.DaylightHours(80, 172); h != 24 {
		t.Errorf("polar day has %v h, want 24", h)
	}
}

// TestRadiationRows reads the same numbers, and the Hargreaves one, from the check table.
func TestRadiationRows(t *testing.T) {
	b, err := os.ReadFile("../../testdata/agronomy/et_reference_examples.json")
	if err != nil {
		t.Fatal(err)
	}
	type number struct{ Value float64 }
	var table struct {
		Rows []struct {
			ID        string
			Inputs    map[string]struct{ Value any }
			Expected  struct{ Value any }
			Tolerance number
		}
	}
	if err := json.Unmarshal(b, &table); err != nil {
		t.Fatal(err)
	}
	checked := 0
	for _, r := range table.Rows {
		in := func(name string) float64 { return r.Inputs[name].Value.(float64) }
		var got float64
		switch r.ID {
		case "fao56-ex08-ra", "fao56-ex17-ra", "fao56-ex18-ra":
			got = weather.ExtraterrestrialRadiation(in("lat"), int(in("J")))
		case "fao56-ex08-ra-mm":
			got = weather.EvaporationPerMegajoule * weather.ExtraterrestrialRadiation(in("lat"), int(in("J")))
		case "fao56-ex20-eto-hargreaves":
			got = weather.Hargreaves(unit.Celsius(in("Tmax")), unit.Celsius(in("Tmin")), weather.ExtraterrestrialRadiation(in("lat"), int(in("J")))).Millimetres()
		default:
			continue
		}
		checked++
		if want := r.Expected.Value.(float64); math.Abs(got-want) > r.Tolerance.Value {
			t.Errorf("%s: %v, want %v ± %v", r.ID, got, want, r.Tolerance.Value)
		}
	}
	if checked != 5 {
		t.Errorf("checked %d rows, want 5", checked)
	}
}

// TestHargreaves: FAO-56 example 20 (Lyon in July) and the fixed hot day at 30.5 N.
func TestHargreaves(t *testing.T) {
	for _, c := range []struct {
		name             string
		hi, lo, latitude float64
		day              int
		want, slack      float64 // mm/d
	}{
		{"example 20, recalled", 26.6, 14.8, 45.7167, 196, 5.03, 0.03},
		{"fixed day", 36, 24, 30.5, 197, 6.30, 0.02},
		{"no span", 20, 20, 45, 196, 0, 0},
		{"extreme frost", -30, -40, 45, 196, 0, 0},
	} {
		got := weather.Hargreaves(unit.Celsius(c.hi), unit.Celsius(c.lo), weather.ExtraterrestrialRadiation(c.latitude, c.day)).Millimetres()
		if math.Abs(got-c.want) > c.slack {
			t.Errorf("%s: %.3f mm, want %v ± %v", c.name, got, c.want, c.slack)
		}
	}
}

func day(date string, hi, lo float64, q weather.Quality) weather.Day {
	return weather.Day{Date: civil.MustDate(date), Max: unit.Celsius(hi), Min: unit.Celsius(lo), Quality: q, Source: "test"}
}

func TestSeriesPrefersObserved(t *testing.T) {
	s, err := weather.NewSeries(weather.Place{}, []weather.Day{
		day("2026-05-01", 20, 10, weather.Observed),
		day("2026-05-01", 25, 15, weather.Forecast),
		day("2026-05-02", 21, 11, weather.Forecast),
		day("2026-05-02", 22, 12, weather.Forecast),
		day("2026-05-03", 23, 13, weather.Forecast),
	}, weather.Normals{})
	if err != nil {
		t.Fatal(err)
	}
	if d, ok := s.On(civil.MustDate("2026-05-01")); !ok || d.Quality != weather.Observed || d.Max != 20 {
		t.Errorf("got %+v, want the observed day", d)
	}
	if d, _ := s.On(civil.MustDate("2026-05-02")); d.Max != 22 {
		t.Errorf("got %v, want the later of two forecasts", d.Max)
	}
	if got := s.SpreadC(civil.MustDate("2026-05-03")); got != 1.0 {
		t.Errorf("spread of a forecast two days ahead: %v C, want 1", got)
	}
	if got := s.SpreadC(civil.MustDate("2026-05-01")); got != 0 {
		t.Errorf("spread of an observed day: %v C, want 0", got)
	}
	if _, ok := s.On(civil.MustDate("2026-05-04")); ok {
		t.Error("a day that nothing is known of must not be known")
	}
	if s.LastSeen() != civil.MustDate("2026-05-01") {
		t.Errorf("last seen %s", s.LastSeen())
	}
}

func TestSeriesFillsShortGaps(t *testing.T) {
	s, err := weather.NewSeries(weather.Place{}, []weather.Day{
		day("2026-05-01", 20, 10, weather.Observed), day("2026-05-05", 28, 14, weather.Observed),
		day("2026-05-20", 30, 20, weather.Observed),
	}, weather.Normals{})
	if err != nil {
		t.Fatal(err)
	}
	d, ok := s.On(civil.MustDate("2026-05-03"))
	if !ok || d.Quality != weather.Filled || d.Max != 24 || d.Min != 12 || d.HasPrecipitation() {
		t.Errorf("filled day %+v; want 24/12 C, filled, rain unknown", d)
	}
	if _, ok := s.On(civil.MustDate("2026-05-12")); ok {
		t.Error("a gap of two weeks must not be filled from its ends")
	}
	if got := s.SpreadC(civil.MustDate("2026-05-03")); !(got > 0) {
		t.Errorf("a filled day has spread %v", got)
	}
}

func TestSeriesRefusesImpossibleDays(t *testing.T) {
	for name, d := range map[string]weather.Day{
		"max under min":          day("2026-05-01", 10, 20, weather.Observed),
		"not a number":           day("2026-05-01", math.NaN(), 20, weather.Observed),
		"hotter than any record": day("2026-05-01", 86, 60, weather.Observed),
		"no date":                {Max: 20, Min: 10, Quality: weather.Observed},
		"no quality":             day("2026-05-01", 20, 10, ""),
	} {
		if _, err := weather.NewSeries(weather.Place{}, []weather.Day{d}, weather.Normals{}); !fault.HasCode(err, "bad-weather-day") {
			t.Errorf("%s: %v, want bad-weather-day", name, err)
		}
	}
	far := []weather.Day{day("0026-05-01", 20, 10, weather.Observed), day("2026-05-01", 20, 10, weather.Observed)}
	if _, err := weather.NewSeries(weather.Place{}, far, weather.Normals{}); !fault.HasCode(err, "bad-weather-day") {
		t.Errorf("2000 years: %v, want bad-weather-day", err)
	}
}

// wave is a year of weather whose mean is 12 + 12 cos, with alternating departures.
func wave(year int, shift float64) []weather.Day {
	var out []weather.Day
	for d := civil.On(year, time.January, 1); d.Year == year; d = d.AddDays(1) {
		mean := 12 - 12*math.Cos(2*math.Pi*float64(d.YearDay()-15)/365) + shift
		out = append(out, weather.Day{Date: d, Max: unit.Celsius(mean + 5), Min: unit.Celsius(mean - 5),
			Precipitation: 2 * unit.Millimetre, Quality: weather.Observed})
	}
	return out
}

func TestNormalsComeFromTheOtherYears(t *testing.T) {
	days := append(append(wave(2023, -2), wave(2024, 2)...), wave(2025, 40)...)
	n := weather.NormalsFrom(days, 2025)
	if n.Years() != 2 {
		t.Fatalf("made from %d years, want 2", n.Years())
	}
	d, spread, ok := n.On(civil.MustDate("2025-07-16"))
	if !ok || d.Quality != weather.Normal || math.Abs(d.MeanTemperature().Celsius()-24) > 0.5 {
		t.Errorf("normal of 16 July %.2f C (%v), want 24 ± 0.5", d.MeanTemperature().Celsius(), ok)
	}
	if math.Abs(spread-2) > 0.2 {
		t.Errorf("spread %.2f C, want 2", spread)
	}
	if math.Abs(d.Precipitation.Millimetres()-2) > 1e-9 {
		t.Errorf("rain %v mm, want 2", d.Precipitation.Millimetres())
	}
	if p := n.Persistence(); p < 0.9 {
		t.Errorf("persistence %v of years that keep their departure, want over 0.9", p)
	}
	leap, _, ok := n.On(civil.MustDate("2024-02-29"))
	if !ok || leap.Max < leap.Min {
		t.Errorf("29 February: %+v, %v", leap, ok)
	}
	if _, ok := n.LastFrost(2026, 0.5); !ok {
		t.Error("a place with winter means of 0 C must have a last frost")
	}
	if (weather.Normals{}).Known() {
		t.Error("the zero value must know nothing")
	}
}

func TestDegreeDaysCountFromNewYear(t *testing.T) {
	s, err := weather.NewSeries(weather.Place{}, append(wave(2025, 0), wave(2026, 0)...), weather.Normals{})
	if err != nil {
		t.Fatal(err)
	}
	want := 0.0
	for _, d := range wave(2026, 0)[:120] {
		want += math.Max(0, d.MeanTemperature().Celsius())
	}
	got, missing := s.DegreeDays(0, civil.MustDate("2026-04-30"))
	if math.Abs(got-want) > 1e-9 || missing != 0 {
		t.Errorf("got %v with %d missing, want %v", got, missing, want)
	}
	if _, missing := s.DegreeDays(0, civil.MustDate("2027-01-03")); missing != 3 {
		t.Errorf("%d days missing, want 3", missing)
	}
}

func TestSoilTemperatureLags(t *testing.T) {
	days := wave(2026, 0)
	for i := 99; i < len(days); i++ { // a jump of 10 C on 10 April
		days[i].Max += 10
		days[i].Min += 10
	}
	s, err := weather.NewSeries(weather.Place{}, days, weather.Normals{})
	if err != nil {
		t.Fatal(err)
	}
	on := days[105].Date // seven days of the warmth
	soil, ok := s.SoilTemperature(on, false)
	air := days[105].MeanTemperature()
	if !ok || !(soil < air-2) || !(soil > air-8) {
		t.Errorf("soil %.1f C under air of %.1f C; want it to lag", soil.Celsius(), air.Celsius())
	}
	sun, _ := s.SoilTemperature(on, true)
	if math.Abs(float64(sun-soil)-1.5) > 1e-9 {
		t.Errorf("full sun adds %v C in spring, want 1.5", sun-soil)
	}
}

// TestSeriesIsSound: whatever days are given, what comes out can be computed with.
func TestSeriesIsSound(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 40).Draw(t, "n")
		days := make([]weather.Day, n)
		for i := range days {
			lo := rapid.Float64Range(-60, 40).Draw(t, "lo")
			days[i] = weather.Day{Date: civil.MustDate("2026-01-01").AddDays(rapid.IntRange(0, 60).Draw(t, "day")),
				Min: unit.Celsius(lo), Max: unit.Celsius(lo + rapid.Float64Range(0, 25).Draw(t, "span")),
				Quality: rapid.SampledFrom([]weather.Quality{weather.Observed, weather.Station, weather.Forecast, weather.Estimated}).Draw(t, "q")}
		}
		s, err := weather.NewSeries(weather.Place{Latitude: rapid.Float64Range(-90, 90).Draw(t, "lat")}, days, weather.NormalsFrom(days))
		if err != nil {
			t.Fatal(err)
		}
		for i := range 70 {
			on := civil.MustDate("2026-01-01").AddDays(i)
			d, ok := s.On(on)
			if ok && (d.Date != on || !(d.Max >= d.Min) || !d.Quality.Known()) {
				t.Fatalf("%s: %+v", on, d)
			}
			if sp := s.SpreadC(on); !(sp >= 0 && sp <= 15) {
				t.Fatalf("%s: spread %v", on, sp)
			}
			if et := d.ReferenceET(s.Place.Latitude); ok && !(et >= 0 && et < 30*unit.Millimetre) {
				t.Fatalf("%s: ETo %v mm", on, et.Millimetres())
			}
		}
	})
}
