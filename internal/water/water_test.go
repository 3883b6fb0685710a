package water_test

import (
	"encoding/json"
	"math"
	"os"
	"testing"
	"time"

	"pgregory.net/rapid"

	"thirdcut/internal/civil"
	"thirdcut/internal/turf"
	"thirdcut/internal/unit"
	"thirdcut/internal/water"
	"thirdcut/internal/weather"
)

type value struct {
	Value any    `json:"value"`
	Unit  string `json:"unit"`
}

type row struct {
	ID        string           `json:"id"`
	Function  string           `json:"function"`
	Inputs    map[string]value `json:"inputs"`
	Expected  value            `json:"expected"`
	Tolerance struct {
		Value float64 `json:"value"`
	} `json:"tolerance"`
}

func (r row) in(name string) float64 { return r.Inputs[name].Value.(float64) }

func (r row) mm(name string) unit.Length { return unit.Length(r.in(name)) * unit.Millimetre }

func (r row) list(name string, u unit.Length) []unit.Length {
	var out []unit.Length
	for _, x := range r.Inputs[name].Value.([]any) {
		out = append(out, unit.Length(x.(float64))*u)
	}
	return out
}

// TestCalcRows computes every row of the soil water check table.
func TestCalcRows(t *testing.T) {
	b, err := os.ReadFile("../../testdata/calc/soil_water.json")
	if err != nil {
		t.Fatal(err)
	}
	var rows []row
	if err := json.Unmarshal(b, &rows); err != nil {
		t.Fatal(err)
	}
	if len(rows) < 20 {
		t.Fatalf("got %d rows, want the whole table", len(rows))
	}
	for _, r := range rows {
		t.Run(r.ID, func(t *testing.T) {
			got, want := compute(t, r), r.Expected.Value
			if x, ok := want.(float64); ok {
				want = []any{x}
			}
			for i, w := range want.([]any) {
				if !(math.Abs(got[i]-w.(float64)) <= r.Tolerance.Value+1e-9) {
					t.Errorf("value %d: got %v, want %v ± %v", i, got[i], w, r.Tolerance.Value)
				}
			}
		})
	}
}

func compute(t *testing.T, r row) []float64 {
	t.Helper()
	switch r.Function {
	case "soil_water_account":
		var out []float64
		for _, d := range water.Account(r.list("daily_et", unit.Inch), r.list("daily_effective_rain", unit.Inch), r.list("daily_irrigation", unit.Inch)) {
			out = append(out, d.Inches())
		}
		return out
	case "available_water_by_weight":
		return []float64{12 * water.AvailableByWeight(r.in("bulk_density"), r.in("field_capacity_by_weight")/100, r.in("wilting_point_by_weight")/100)}
	case "total_available_water":
		return []float64{water.TotalAvailable(r.in("field_capacity"), r.in("wilting_point"), unit.Length(r.in("root_depth"))).Millimetres()}
	case "readily_available_water":
		return []float64{water.ReadilyAvailable(r.mm("total_available_water"), r.in("depletion_fraction")).Millimetres()}
	case "depletion_fraction":
		return []float64{water.DepletionFraction(r.in("table_depletion_fraction"), r.mm("crop_et"))}
	case "water_stress":
		return []float64{water.Stress(r.mm("total_available_water"), r.mm("root_zone_depletion"), r.in("depletion_fraction"))}
	case "effective_rain_monthly":
		return []float64{water.EffectiveRainMonthly(r.mm("rain")).Millimetres()}
	}
	t.Fatalf("the test does not know the function %s", r.Function)
	return nil
}

func TestEverySoilHasTexture(t *testing.T) {
	for _, s := range turf.AllSoils {
		x := water.TextureOf(s)
		if x.Soil != s || x.Available() < 0.05 || x.Available() > 0.2 || x.Source == "" || x.CurveNumber < 30 {
			t.Errorf("%s: %+v", s, x)
		}
	}
	if got := water.TextureOf("gravel"); got.Soil != turf.UnknownSoil {
		t.Errorf("a foreign id: %+v, want unknown soil", got)
	}
}

func TestRootsFollowSpeciesSeasonAndHeight(t *testing.T) {
	for _, c := range []struct {
		s     turf.Species
		h     unit.Length
		month time.Month
		want  float64
	}{
		{turf.TallFescue, 3 * unit.Inch, time.May, 300}, {turf.TallFescue, 3 * unit.Inch, time.July, 200},
		{turf.BermudagrassHybrid, 0.75 * unit.Inch, time.July, 150}, {turf.BermudagrassCommon, 1.5 * unit.Inch, time.July, 300},
		{turf.Zoysiagrass, 1.5 * unit.Inch, time.July, 200}, {turf.KentuckyBluegrass, 2.5 * unit.Inch, time.August, 150},
	} {
		if got := water.RootDepth(c.s, c.h, c.month).Millimetres(); math.Abs(got-c.want) > 1e-9 {
			t.Errorf("%s in %s: %v mm, want %v", c.s, c.month, got, c.want)
		}
	}
}

// TestRunoff: the curve number method's own points: nothing up to 0.2 S; CN 80
// and 50.8 mm (2 in) give 0.56 in, the value of the method's printed solution table.
func TestRunoff(t *testing.T) {
	if got := water.Runoff(12.6*unit.Millimetre, 80); got != 0 {
		t.Errorf("0.2 S of CN 80: %v mm, want none", got.Millimetres())
	}
	if got := water.Runoff(2*unit.Inch, 80).Inches(); math.Abs(got-0.56) > 0.005 {
		t.Errorf("2 in on CN 80: %.3f in, want 0.56", got)
	}
	if got := water.Runoff(2*unit.Inch, 100).Inches(); math.Abs(got-2) > 1e-9 {
		t.Errorf("2 in on pavement: %v in, want all", got)
	}
}

func hot(t testing.TB, days int, rain unit.Length) weather.Series {
	t.Helper()
	var w []weather.Day
	for i := range days {
		w = append(w, weather.Day{Date: civil.MustDate("2026-07-16").AddDays(i), Max: unit.Celsius(36), Min: unit.Celsius(24),
			Precipitation: rain, Quality: weather.Observed})
	}
	s, err := weather.NewSeries(weather.Place{Latitude: 30.5}, w, weather.Normals{})
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// TestFixedHotDay is case 12: ETo 6.30 mm, ETc of a week 37.5 mm (1.47 in).
func TestFixedHotDay(t *testing.T) {
	a := water.Area{Species: turf.Zoysiagrass, Height: 1.5 * unit.Inch, Soil: "loam"}
	d := water.Balance(a, hot(t, 1, 0), civil.MustDate("2026-07-16"), civil.MustDate("2026-07-16"), 0)[0]
	if math.Abs(d.ReferenceET.Millimetres()-6.30) > 0.02 || math.Abs(7*d.CropET.Inches()-1.47) > 0.01 {
		t.Errorf("ETo %.3f mm, ETc %.3f in a week; want 6.30 and 1.47", d.ReferenceET.Millimetres(), 7*d.CropET.Inches())
	}
}

func TestDryingOutAndWateringBack(t *testing.T) {
	a := water.Area{Species: turf.TallFescue, Height: 3 * unit.Inch, Soil: "loam"}
	from, to := civil.MustDate("2026-07-16"), civil.MustDate("2026-08-24")
	dry := water.Balance(a, hot(t, 40, 0), from, to, 0)
	last := 1.0
	for _, d := range dry {
		if d.Ks > last+1e-12 {
			t.Errorf("%s: Ks rises to %v without rain", d.Date, d.Ks)
		}
		last = d.Ks
	}
	if dry[0].Ks != 1 || last > 0.05 {
		t.Errorf("Ks from %v to %v after 40 hot dry days; want 1 to under 0.05", dry[0].Ks, last)
	}
	a.Irrigated = true
	for _, d := range water.Balance(a, hot(t, 40, 0), from, to, 0) {
		if d.Ks != 1 {
			t.Errorf("%s: Ks %v on a watered lawn", d.Date, d.Ks)
		}
	}
	a.Irrigated = false
	wet := water.Balance(a, hot(t, 40, 20*unit.Millimetre), from, to, 20*unit.Millimetre)
	if d := wet[10]; d.Ks != 1 || d.Drainage <= 0 {
		t.Errorf("20 mm a day: Ks %v, drainage %v", d.Ks, d.Drainage)
	}
	a.Irrigation = map[civil.Date]unit.Length{from.AddDays(20): 25 * unit.Millimetre}
	told := water.Balance(a, hot(t, 40, 0), from, to, 0)
	if d := told[20]; d.Irrigation != 25*unit.Millimetre || d.Assumed || d.Ks <= told[19].Ks {
		t.Errorf("told irrigation: %+v", d)
	}
}

// TestUnknownRainIsMarked: nothing is counted and it is said.
func TestUnknownRainIsMarked(t *testing.T) {
	a := water.Area{Species: turf.TallFescue, Height: 3 * unit.Inch, Soil: "loam"}
	d := water.Balance(a, hot(t, 1, unit.Length(math.NaN())), civil.MustDate("2026-07-16"), civil.MustDate("2026-07-17"), unit.Length(math.NaN()))
	if d[0].RainKnown || d[0].Rain != 0 || d[0].Before != d[0].Total/2 {
		t.Errorf("unknown rain and start: %+v", d[0])
	}
	if d[1].Quality != "" || d[1].Used != 0 {
		t.Errorf("a day without weather: %+v", d[1])
	}
}

// TestBalanceCloses to 1e-9 mm on every day, whatever the weather.
func TestBalanceCloses(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		from := civil.MustDate("2026-01-01").AddDays(rapid.IntRange(0, 330).Draw(t, "start"))
		n := rapid.IntRange(1, 80).Draw(t, "days")
		var w []weather.Day
		irrigation := map[civil.Date]unit.Length{}
		for i := range n {
			lo := rapid.Float64Range(-20, 30).Draw(t, "lo")
			rain := rapid.SampledFrom([]float64{0, 0, 0.5, 4, 30, 200, math.NaN()}).Draw(t, "rain")
			w = append(w, weather.Day{Date: from.AddDays(i), Min: unit.Celsius(lo), Max: unit.Celsius(lo + rapid.Float64Range(0, 20).Draw(t, "span")),
				Precipitation: unit.Length(rain) * unit.Millimetre, Quality: weather.Observed})
			if rapid.IntRange(0, 5).Draw(t, "irrigate") == 0 {
				irrigation[from.AddDays(i)] = unit.Length(rapid.SampledFrom([]float64{-1, 5, 40, math.Inf(1)}).Draw(t, "depth")) * unit.Millimetre
			}
		}
		s, err := weather.NewSeries(weather.Place{Latitude: rapid.Float64Range(25, 49).Draw(t, "latitude")}, w, weather.Normals{})
		if err != nil {
			t.Fatal(err)
		}
		a := water.Area{Species: rapid.SampledFrom(turf.AllSpecies).Draw(t, "species"), Soil: rapid.SampledFrom(turf.AllSoils).Draw(t, "soil"),
			Height: 2 * unit.Inch, Irrigated: rapid.Bool().Draw(t, "irrigated"), ETScale: rapid.Float64Range(0, 1.5).Draw(t, "scale"), Irrigation: irrigation}
		before := unit.Length(math.NaN())
		for i, d := range water.Balance(a, s, from, from.AddDays(n-1), unit.Length(rapid.Float64Range(-0.01, 0.1).Draw(t, "depletion"))) {
			if i > 0 && d.Before != before {
				t.Fatalf("%s begins at %v, the day before ended at %v", d.Date, d.Before, before)
			}
			before = d.Depletion
			sum := d.Before + d.Used - d.Rain + d.Intercepted + d.Runoff - d.Irrigation + d.Drainage + d.RootChange
			if !(math.Abs((d.Depletion - sum).Millimetres()) <= 1e-9) {
				t.Fatalf("%s is off by %v mm: %+v", d.Date, (d.Depletion - sum).Millimetres(), d)
			}
			if !(d.Depletion >= -1e-12) || !(d.Depletion <= d.Total+1e-12) || !(d.Ks >= 0 && d.Ks <= 1) || d.Used < 0 || d.Drainage < 0 || d.Runoff < 0 || d.Intercepted < 0 {
				t.Fatalf("%s: %+v", d.Date, d)
			}
		}
	})
}

// TestTurfCoefficientsStandInPrint: Kc and p of FAO-56 tables 12 and 22.
func TestTurfCoefficientsStandInPrint(t *testing.T) {
	b, err := os.ReadFile("../../testdata/agronomy/turf_water_coefficients.json")
	if err != nil {
		t.Fatal(err)
	}
	var table struct {
		Rows []row `json:"rows"`
	}
	if err := json.Unmarshal(b, &table); err != nil {
		t.Fatal(err)
	}
	want := map[string]float64{}
	for _, r := range table.Rows {
		if x, ok := r.Expected.Value.(float64); ok {
			want[r.ID] = x
		}
	}
	for id, got := range map[string]float64{
		"fao56-t12-cool-kc-mid": water.CropCoefficient(turf.TallFescue), "fao56-t12-warm-kc-mid": water.CropCoefficient(turf.Zoysiagrass),
		"fao56-t22-cool-p": water.TableDepletion(turf.TallFescue), "fao56-t22-warm-p": water.TableDepletion(turf.Zoysiagrass),
	} {
		if w, ok := want[id]; !ok || got != w {
			t.Errorf("%s: %v, printed %v", id, got, w)
		}
	}
}
