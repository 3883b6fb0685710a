package growth_test

import (
	"encoding/json"
	"math"
	"os"
	"testing"

	"pgregory.net/rapid"

	"thirdcut/internal/civil"
	"thirdcut/internal/growth"
	"thirdcut/internal/turf"
	"thirdcut/internal/unit"
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

func readRows(t *testing.T, file string) []row {
	t.Helper()
	b, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	var rows []row
	if err := json.Unmarshal(b, &rows); err != nil {
		t.Fatal(err)
	}
	return rows
}

// TestCalcRows computes every row of the growth check table.
func TestCalcRows(t *testing.T) {
	rows := readRows(t, "../../testdata/calc/growth.json")
	if len(rows) < 20 {
		t.Fatalf("got %d rows, want the whole table", len(rows))
	}
	for _, r := range rows {
		t.Run(r.ID, func(t *testing.T) {
			got := compute(t, r)
			want := r.Expected.Value.(float64)
			if !(math.Abs(got-want) <= r.Tolerance.Value+1e-9) {
				t.Errorf("got %v, want %v ± %v", got, want, r.Tolerance.Value)
			}
		})
	}
}

func compute(t *testing.T, r row) float64 {
	t.Helper()
	switch r.Function {
	case "growth_potential":
		_, capped := r.Inputs["capped"]
		return growth.Potential(r.in("temperature"), r.in("optimum_temperature"), r.in("temperature_spread"), capped)
	case "growth_potential_crossover":
		return growth.Crossover(r.in("optimum_temperature_cool"), r.in("temperature_spread_cool"), r.in("optimum_temperature_warm"), r.in("temperature_spread_warm"))
	case "monthly_nitrogen_from_growth":
		return growth.MonthlyNitrogen(r.in("temperature"), growth.CoolSeason, r.in("maximum_monthly_nitrogen"))
	case "growing_degree_days":
		return degreeDays(r)
	}
	t.Fatalf("the test does not know the function %s", r.Function)
	return 0
}

func degreeDays(r row) float64 {
	hi, lo, base := r.in("temperature_max"), r.in("temperature_min"), r.in("base_temperature")
	if r.Inputs["base_temperature"].Unit == "degF" {
		return 1.8 * weather.DegreeDays(unit.Fahrenheit(hi), unit.Fahrenheit(lo), unit.Fahrenheit(base))
	}
	return weather.DegreeDays(unit.Celsius(hi), unit.Celsius(lo), unit.Celsius(base))
}

func climate(day string, meanC, degreeDays float64) growth.Climate {
	d := civil.MustDate(day)
	cool, warm := growth.CoolPotential(meanC), growth.WarmPotential(meanC)
	c := growth.ClimateDay{Date: d, MeanC: meanC, Known: true, Quality: weather.Observed, DegreeDays: degreeDays,
		WeekC: meanC, WeekKnown: true, Season: growth.SeasonFactor(growth.CoolSeason, degreeDays, d)}
	c.Cool.Mean, c.Warm.Mean = cool, warm
	return growth.Climate{Days: []growth.ClimateDay{c}}
}

// poolFor is the nitrogen pool that gives a factor.
func poolFor(f float64) float64 {
	if f <= 1 {
		return (f - 0.5) / 0.5 * 0.45
	}
	return 0.45 + (f-1)/0.3*0.9
}

func daysToThird(s turf.Species, heightIn float64, c growth.Climate, nitrogen float64) float64 {
	a := growth.Area{Species: s, Height: unit.Length(heightIn) * unit.Inch, Irrigated: true}
	f := a.Extend(c, growth.Daily{Pool: []float64{poolFor(nitrogen)}})[0]
	return heightIn * 25.4 / 2 / f.Extension
}

// TestPublishedIntervals checks cases 2 to 4 of the growth check cases: days to
// one third on the fixed hot day (mean 30 C) and through a tall fescue year.
func TestPublishedIntervals(t *testing.T) {
	hot := climate("2026-07-16", 30, 2600)
	for _, c := range []struct {
		name     string
		species  turf.Species
		heightIn float64
		climate  growth.Climate
		nitrogen float64
		want     float64
		slack    float64 // share
	}{
		{"hybrid bermuda, f_N 1.0", turf.BermudagrassHybrid, 0.75, hot, 1, 2.7, 0.03},
		{"hybrid bermuda, f_N 1.2", turf.BermudagrassHybrid, 0.75, hot, 1.2, 2.3, 0.03},
		{"common bermuda, f_N 0.6", turf.BermudagrassCommon, 1.5, hot, 0.6, 7.3, 0.02},
		{"common bermuda, f_N 1.2", turf.BermudagrassCommon, 1.5, hot, 1.2, 3.6, 0.02},
		{"St. Augustine, f_N 0.6", turf.StAugustinegrass, 3, hot, 0.6, 13.4, 0.02},
		{"St. Augustine, f_N 1.2", turf.StAugustinegrass, 3, hot, 1.2, 6.7, 0.02},
		{"bahia, f_N 0.6", turf.Bahiagrass, 3.5, hot, 0.6, 16.6, 0.02},
		{"bahia, f_N 1.2", turf.Bahiagrass, 3.5, hot, 1.2, 8.3, 0.02},
		{"paspalum, f_N 0.6", turf.SeashorePaspalum, 1.25, hot, 0.6, 9.5, 0.02},
		{"paspalum, f_N 1.2", turf.SeashorePaspalum, 1.25, hot, 1.2, 4.8, 0.02},
		{"zoysia, f_N 1.0", turf.Zoysiagrass, 1.5, hot, 1, 8.0, 0.02},
		{"centipede, f_N 1.0", turf.Centipedegrass, 1.5, hot, 1, 8.7, 0.02},
		{"buffalo, f_N 1.0", turf.Buffalograss, 2.5, hot, 1, 17.8, 0.02},
		{"kikuyu, f_N 1.0", turf.Kikuyugrass, 1.25, hot, 1, 3.6, 0.03},
		{"carpet, f_N 1.0", turf.Carpetgrass, 1.75, hot, 1, 10.2, 0.02},
		{"tall fescue 20 Apr", turf.TallFescue, 3, climate("2026-04-20", 14, 560), 1, 9.5, 0.02},
		{"tall fescue 10 May", turf.TallFescue, 3, climate("2026-05-10", 17, 850), 1, 6.1, 0.02},
		{"tall fescue 25 May", turf.TallFescue, 3, climate("2026-05-25", 19.2, 1120), 1, 5.4, 0.02},
		{"tall fescue 15 Jul", turf.TallFescue, 3, climate("2026-07-15", 24.6, 2300), 1, 10.0, 0.02},
		{"tall fescue 8 Oct", turf.TallFescue, 3, climate("2026-10-08", 15.8, 4050), 1, 10.5, 0.02},
		{"bluegrass 10 May", turf.KentuckyBluegrass, 2.5, climate("2026-05-10", 17, 850), 1, 5.9, 0.02},
		{"bluegrass 15 Jul", turf.KentuckyBluegrass, 2.5, climate("2026-07-15", 24.6, 2300), 1, 9.8, 0.02},
		{"ryegrass 10 May", turf.PerennialRyegrass, 2, climate("2026-05-10", 17, 850), 1, 4.6, 0.02},
		{"fine fescue 15 Jul", turf.FineFescue, 3, climate("2026-07-15", 24.6, 2300), 1, 16.9, 0.02},
	} {
		got := daysToThird(c.species, c.heightIn, c.climate, c.nitrogen)
		if math.Abs(got-c.want) > c.slack*c.want {
			t.Errorf("%s: %.2f days, want %.1f ± %.0f %%", c.name, got, c.want, 100*c.slack)
		}
	}
}

// TestIntervalsOverlapPublishedRanges: the range over f_N 0.6 to 1.2 covers at
// least half of the printed frequency (case 3).
func TestIntervalsOverlapPublishedRanges(t *testing.T) {
	hot := climate("2026-07-16", 30, 2600)
	for _, c := range []struct {
		rowID         string
		species       turf.Species
		heightIn      float64
		least, most   float64 // as printed
		leastOverlaps float64
	}{
		{"ifas-freq-bermudagrass", turf.BermudagrassCommon, 1.5, 3, 5, 0.5},
		{"ifas-freq-st-augustinegrass", turf.StAugustinegrass, 3, 5, 14, 0.5},
		{"ifas-freq-bahiagrass", turf.Bahiagrass, 3.5, 7, 17, 0.5},
		{"ifas-freq-seashore-paspalum", turf.SeashorePaspalum, 1.25, 5, 10, 0.5},
	} {
		lo, hi := daysToThird(c.species, c.heightIn, hot, 1.2), daysToThird(c.species, c.heightIn, hot, 0.6)
		overlap := (math.Min(hi, c.most) - math.Max(lo, c.least)) / (c.most - c.least)
		if overlap < c.leastOverlaps {
			t.Errorf("%s: %.1f-%.1f days covers %.2f of %g-%g, want %.1f", c.rowID, lo, hi, overlap, c.least, c.most, c.leastOverlaps)
		}
	}
}

func TestMayBeatsOctoberAtTheSameTemperature(t *testing.T) {
	may := daysToThird(turf.TallFescue, 3, climate("2026-05-10", 16, 850), 1)
	october := daysToThird(turf.TallFescue, 3, climate("2026-10-08", 16, 4050), 1)
	if may >= october {
		t.Errorf("May %.1f days, October %.1f days; May must be faster", may, october)
	}
}

func TestNitrogenDoublesAtThePublishedDose(t *testing.T) {
	// n-effect-22: 22 kg/ha (0.45 lb/1000 sq ft) doubled growth; n-effect-66 trebled it.
	if r := growth.NitrogenFactor(0.45) / growth.NitrogenFactor(0); r != 2 {
		t.Errorf("0.45 lb against none: %v, want 2", r)
	}
	if r := growth.NitrogenFactor(1.35) / growth.NitrogenFactor(0); r > 3 || r < 2.5 {
		t.Errorf("1.35 lb against none: %v, want 2.5 to 3", r)
	}
	if f := growth.NitrogenFactor(growth.SteadyPool(2.7)); math.Abs(f-1) > 1e-12 {
		t.Errorf("2.7 lb a year: factor %v, want 1", f)
	}
}

// TestSpoonFeedingSwings: 0.25 lb every 14 days against 1.5 lb every 12 weeks
// at full growth, the published comparison of the pool's parameters.
func TestSpoonFeedingSwings(t *testing.T) {
	swing := func(dose float64, every int) (lo, hi float64) {
		a := 0.0
		for d := range 40 * every {
			in := 0.0
			if d%every == 0 {
				in = dose
			}
			a = growth.NextPool(a, in, 1)
			if d < 39*every {
				lo, hi = math.Inf(1), math.Inf(-1)
				continue
			}
			f := growth.NitrogenFactor(a)
			lo, hi = math.Min(lo, f), math.Max(hi, f)
		}
		return lo, hi
	}
	lo, hi := swing(0.25, 14)
	if math.Abs(lo-0.88) > 0.02 || math.Abs(hi-1.05) > 0.02 {
		t.Errorf("0.25 lb every 14 d: %.3f-%.3f, want 0.88-1.05", lo, hi)
	}
	lo, hi = swing(1.5, 84)
	if math.Abs(lo-0.56) > 0.02 || math.Abs(hi-1.30) > 0.02 {
		t.Errorf("1.5 lb every 84 d: %.3f-%.3f, want 0.56-1.30", lo, hi)
	}
}

// TestDroughtRest is case 10: dry from 20 July, wet on 10 August.
func TestDroughtRest(t *testing.T) {
	var d growth.Drought
	start := civil.MustDate("2026-07-20")
	for n := range 40 {
		on := start.AddDays(n)
		ks := 0.1
		if !on.Before(civil.MustDate("2026-08-10")) {
			ks = 1
		}
		rest, factor := d.Next(ks, false)
		switch {
		case n < 9 && rest != growth.Awake:
			t.Errorf("%s: at rest after %d dry days", on, n+1)
		case n >= 9 && on.Before(civil.MustDate("2026-08-10")) && (rest != growth.DroughtRest || factor != 0):
			t.Errorf("%s: rest %v, factor %v; want dormant", on, rest, factor)
		case !on.Before(civil.MustDate("2026-08-10")) && on.Before(civil.MustDate("2026-08-20")) && !rest.NoMow():
			t.Errorf("%s: may be mown, want not before 20 August", on)
		case on == civil.MustDate("2026-08-24") && (rest != growth.Awake || factor != 1):
			t.Errorf("%s: rest %v, factor %v; want recovered after 14 days", on, rest, factor)
		}
	}
	var m growth.Drought
	for range 12 {
		m.Next(0, false)
	}
	if rest, f := m.Next(0, true); rest != growth.Awake || f != 1 {
		t.Errorf("a measured height must end the rest: %v, %v", rest, f)
	}
}

func TestRegulatorAndRebound(t *testing.T) {
	put := []growth.Regulator{{From: civil.MustDate("2026-05-01"), Days: 28}}
	for day, want := range map[string]float64{"2026-04-30": 1, "2026-05-01": 0.5, "2026-05-28": 0.5, "2026-05-29": 1.15, "2026-06-11": 1.15, "2026-06-12": 1} {
		if got := growth.RegulatorFactor(civil.MustDate(day), put); got != want {
			t.Errorf("%s: %v, want %v", day, got, want)
		}
	}
}

func TestColdRestsWarmSeasonGrass(t *testing.T) {
	for _, c := range []struct {
		f    float64
		want float64
	}{{49, 0}, {50, 0}, {52.5, 0.5}, {55, 1}, {70, 1}} {
		if got := growth.ColdFactor(growth.WarmSeason, unit.Fahrenheit(c.f)); math.Abs(got-c.want) > 1e-9 {
			t.Errorf("%v F: %v, want %v", c.f, got, c.want)
		}
	}
	if growth.ColdFactor(growth.CoolSeason, unit.Fahrenheit(40)) != 1 {
		t.Error("cool-season grass must not rest for cold")
	}
}

func TestEverySpeciesHasTraits(t *testing.T) {
	for _, s := range turf.AllSpecies {
		tr := growth.Of(s)
		if tr.Species != s || !(tr.Rate > 0) || !(tr.ReferenceHeight > 0) {
			t.Errorf("%s: traits %+v", s, tr)
		}
		for _, h := range tr.Heights {
			if !(h.Least > 0) || h.Most < h.Least || h.Source == "" {
				t.Errorf("%s: height range %+v", s, h)
			}
		}
		if (s == turf.UnknownSpecies || s == turf.CreepingBentgrass) && tr.Note == "" {
			t.Errorf("%s must carry a caution", s)
		}
	}
	if tr := growth.Of("dandelion"); tr.Season != growth.EitherSeason || tr.Note == "" {
		t.Errorf("a foreign id must be treated as unknown grass: %+v", tr)
	}
}

// TestFactorsAreFinite: no input makes a factor leave its range.
func TestFactorsAreFinite(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		species := rapid.SampledFrom(turf.AllSpecies).Draw(t, "species")
		any := rapid.OneOf(rapid.Float64(), rapid.SampledFrom([]float64{math.NaN(), math.Inf(1), math.Inf(-1), 0}))
		n := any.Draw(t, "nitrogen a year")
		a := growth.Area{Species: species, Height: unit.Length(any.Draw(t, "height")), NitrogenYear: &n,
			Exposure: rapid.SampledFrom(turf.AllExposures).Draw(t, "exposure"), Irrigated: rapid.Bool().Draw(t, "irrigated"),
			Regulators: []growth.Regulator{{From: civil.MustDate("2026-05-01"), Days: rapid.IntRange(-5, 60).Draw(t, "days"), Factor: any.Draw(t, "regulator")}}}
		s, err := weather.NewSeries(weather.Place{Latitude: 39}, []weather.Day{{Date: civil.MustDate("2026-05-03"),
			Max: unit.Celsius(rapid.Float64Range(0, 50).Draw(t, "max")), Min: unit.Celsius(rapid.Float64Range(-40, 0).Draw(t, "min")), Quality: weather.Forecast}}, weather.Normals{})
		if err != nil {
			t.Fatal(err)
		}
		c := growth.Read(s, civil.MustDate("2026-05-01"), civil.MustDate("2026-05-06"))
		for _, f := range a.Extend(c, growth.Daily{Ks: []float64{any.Draw(t, "ks")}, Pool: []float64{any.Draw(t, "pool")}}) {
			if !(f.Extension >= 0 && f.Extension < 20) || !(f.Deviation >= 0 && f.Deviation < 20) {
				t.Fatalf("extension %v ± %v on %s: %+v", f.Extension, f.Deviation, f.Date, f)
			}
		}
	})
}

func TestUnknownWeatherIsTakenAsGood(t *testing.T) {
	c := growth.Read(weather.Series{}, civil.MustDate("2026-05-01"), civil.MustDate("2026-05-02"))
	f := growth.Area{Species: turf.TallFescue, Height: 3 * unit.Inch}.Extend(c, growth.Daily{})[0]
	if f.Temperature != 1 || f.Quality != "" || c.Days[0].Known {
		t.Errorf("got %+v; want full growth, marked as unknown", f)
	}
}
