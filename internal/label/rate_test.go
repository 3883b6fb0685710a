package label

import (
	"math"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"thirdcut/internal/fault"
	"thirdcut/internal/unit"
)

// What one unit is, worked out from the definitions of the pound (0.45359237
// kg), the US gallon (231 cubic inches of 25.4 mm) and the foot (0.3048 m).
func TestRateUnitsAgainstDefinitions(t *testing.T) {
	const sqft, acre = 0.3048 * 0.3048, 43560 * 0.3048 * 0.3048
	const lb, gal = 0.45359237, 231 * 0.0254 * 0.0254 * 0.0254
	want := map[RateUnit]float64{
		LbPerThousand: lb / (1000 * sqft), OzPerThousand: lb / 16 / (1000 * sqft), GPerThousand: 0.001 / (1000 * sqft),
		FlOzPerThousand: gal / 128 / (1000 * sqft), MLPerThousand: 1e-6 / (1000 * sqft),
		LbPerAcre: lb / acre, OzPerAcre: lb / 16 / acre, KgPerHectare: 1e-4,
		FlOzPerAcre: gal / 128 / acre, PtPerAcre: gal / 8 / acre, QtPerAcre: gal / 4 / acre, GalPerAcre: gal / acre,
		LPerHectare: 1e-3 / 1e4,
	}
	if len(want) != len(AllRateUnits) {
		t.Fatalf("the table has %d units, the list %d", len(want), len(AllRateUnits))
	}
	for _, u := range AllRateUnits {
		r, ok := u.Rate(1)
		got := float64(r.Spread)
		if u.Liquid() {
			got = float64(r.Coverage)
		}
		if !ok || math.Abs(got/want[u]-1) > 1e-12 {
			t.Errorf("1 %s = %g SI, want %g", u, got, want[u])
		}
		if r.Liquid != slices.Contains([]string{"fl oz", "mL", "pt", "qt", "gal", "L"}, u.AmountUnit()) {
			t.Errorf("%s: liquid is %v", u, r.Liquid)
		}
	}
	// Printed in the label magnitudes: 1 oz/acre is 0.6508 g/1000 sq ft.
	r, _ := OzPerAcre.Rate(1)
	if v, _ := GPerThousand.Read(r); math.Abs(v-0.6508) > 0.00005 {
		t.Errorf("1 oz/acre = %g g/1000 sq ft, want 0.6508", v)
	}
	// Bentazon there: 0.75 fl oz/1000 sq ft beside 2 pt/acre, which is rounded.
	r, _ = FlOzPerThousand.Rate(0.75)
	if v, _ := PtPerAcre.Read(r); math.Abs(v-2) > 0.05 {
		t.Errorf("0.75 fl oz/1000 sq ft = %g pt/acre, want about 2", v)
	}
}

func TestRateUnknownUnit(t *testing.T) {
	for _, u := range []RateUnit{"", "lb", "lb/", "bags/acre", "lb/1000 sq ft "} {
		if _, ok := u.Rate(1); ok || u.Known() || u.Liquid() || u.AmountUnit() != "" {
			t.Errorf("%q counts as a rate unit", u)
		}
	}
	dry, _ := LbPerAcre.Rate(1)
	if _, ok := GalPerAcre.Read(dry); ok {
		t.Error("a dry rate was read in gallons")
	}
	wet, _ := GalPerAcre.Rate(1)
	if dry.AtMost(wet) || wet.AtMost(dry) {
		t.Error("a dry and a liquid rate were compared")
	}
}

func TestParseRateUnit(t *testing.T) {
	for text, want := range map[string]RateUnit{
		"lb/1000 sq ft": LbPerThousand, "lbs per 1,000 sq. ft.": LbPerThousand, "lb/M": LbPerThousand,
		"Fl. Oz. per acre": FlOzPerAcre, "oz/A": OzPerAcre, "pints / acre": PtPerAcre, "mL/1000 ft²": MLPerThousand,
		"kg/ha": KgPerHectare, "litres per hectare": LPerHectare, "GAL/ACRE": GalPerAcre, "qt/ac": QtPerAcre,
	} {
		if got, err := ParseRateUnit(text); err != nil || got != want {
			t.Errorf("%q = %q, %v, want %q", text, got, err, want)
		}
	}
	for _, text := range []string{"", "/", "lb", "lb per", "kg/acre", "bags/1000 sq ft", "lb/100 sq ft"} {
		if _, err := ParseRateUnit(text); !fault.HasCode(err, "rate-unit") {
			t.Errorf("%q was read as a rate unit: %v", text, err)
		}
	}
	for _, u := range AllRateUnits {
		if got, err := ParseRateUnit(string(u)); err != nil || got != u {
			t.Errorf("%q does not read as itself: %q, %v", u, got, err)
		}
	}
}

func TestParseAmount(t *testing.T) {
	for _, c := range []struct {
		text string
		form Form
		unit string
		want float64
	}{
		{"4.5 g", DryForm, "g", 4.5}, {"12 lb", DryForm, "lb", 12}, {"1,200 mL", LiquidForm, "mL", 1200},
		{"8oz", DryForm, "oz", 8}, {"8 oz wt", LiquidForm, "oz", 8}, {"8 fl. oz.", LiquidForm, "fl oz", 8},
		{".5 gal", LiquidForm, "gal", 0.5}, {"2 Quarts", LiquidForm, "qt", 2}, {"0 lb", DryForm, "lb", 0},
	} {
		a, err := ParseAmount(c.text, c.form)
		if err != nil {
			t.Errorf("%q: %v", c.text, err)
			continue
		}
		if got, ok := a.In(c.unit); !ok || math.Abs(got-c.want) > 1e-9*c.want || a.Entered != c.text {
			t.Errorf("%q = %g %s (entered %q), want %g", c.text, got, c.unit, a.Entered, c.want)
		}
	}
	for text, form := range map[string]Form{
		"": DryForm, "lb": DryForm, "5": DryForm, "-5 lb": DryForm, "1,5 lb": DryForm, "1.2.3 lb": DryForm, "5 bags": DryForm,
		"8 oz": LiquidForm, "8 fl oz": DryForm, "1e5 lb": DryForm, "12,34 lb": DryForm, "1.5,000 lb": DryForm, ",500 lb": DryForm,
	} {
		if a, err := ParseAmount(text, form); !fault.Is(err, fault.Invalid) {
			t.Errorf("%q (%s) was read as %+v, %v", text, form, a, err)
		}
	}
}

func FuzzParseAmount(f *testing.F) {
	for _, s := range []string{"4.5 oz", "1,200 mL", "8 fl oz", "²", "1,5", "9e999 lb", "5 lb/acre", "1 000 g"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		for _, form := range []Form{DryForm, LiquidForm, ""} {
			a, err := ParseAmount(s, form)
			if err == nil && (a.Mass < 0 || a.Volume < 0 || a.Liquid && a.Mass != 0 || !a.Liquid && a.Volume != 0 ||
				math.IsInf(float64(a.Mass), 0) || math.IsNaN(float64(a.Volume))) {
				t.Fatalf("%q gave %+v", s, a)
			}
			if err == nil && form == DryForm && a.Liquid {
				t.Fatalf("%q gave a dry product a volume", s)
			}
		}
		if u, err := ParseRateUnit(s); err == nil && !u.Known() {
			t.Fatalf("%q gave the unit %q", s, u)
		}
	})
}

func TestRateAndAmountAreInverse(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		u := rapid.SampledFrom(AllRateUnits).Draw(t, "unit")
		v := rapid.Float64Range(1e-3, 1e4).Draw(t, "value")
		area := unit.Area(rapid.Float64Range(1, 1e6).Draw(t, "area sq ft")) * unit.SquareFoot
		r, _ := u.Rate(v)
		back, ok := u.Read(r.On(area).Over(area))
		if !ok || math.Abs(back/v-1) > 1e-12 {
			t.Fatalf("%g %s came back as %g", v, u, back)
		}
	})
}

func TestNumbersShowTheirDifference(t *testing.T) {
	for _, c := range []struct {
		got, limit float64
		a, b       string
	}{
		{3.1, 3, "3.1", "3"}, {3.00001, 3, "3.00001", "3"}, {5201, 5200, "5201", "5200"},
		{123456, 123455.6, "123456", "123455.6"}, {0.00088, 0.00087, "0.00088", "0.00087"}, {3, 3, "3", "3"},
	} {
		if a, b := pair(c.got, c.limit); a != c.a || b != c.b {
			t.Errorf("pair(%v, %v) = %s, %s, want %s, %s", c.got, c.limit, a, b, c.a, c.b)
		}
	}
}

func TestReentryAcrossTheClockChange(t *testing.T) {
	zone, err := time.LoadLocation("America/New_York")
	if err != nil {
		t.Fatal(err)
	}
	h := 24.0
	end := time.Date(2026, 3, 7, 16, 0, 0, 0, zone) // clocks go forward in the night
	at, ok := ReentryEnds(Limits{ReentryHours: &h}, end)
	if want := time.Date(2026, 3, 8, 17, 0, 0, 0, zone); !ok || !at.Equal(want) {
		t.Errorf("24 h after %v is %v, want %v", end, at.In(zone), want)
	}
	end = time.Date(2026, 10, 31, 16, 0, 0, 0, zone) // and back
	at, _ = ReentryEnds(Limits{ReentryHours: &h}, end)
	if want := time.Date(2026, 11, 1, 15, 0, 0, 0, zone); !at.Equal(want) {
		t.Errorf("24 h after %v is %v, want %v", end, at.In(zone), want)
	}
	half := 0.5
	if at, _ = ReentryEnds(Limits{ReentryHours: &half}, end); at.Sub(end) != 30*time.Minute {
		t.Errorf("half an hour became %v", at.Sub(end))
	}
	if _, ok := ReentryEnds(Limits{ReentryText: "until dry"}, end); ok {
		t.Error("words without hours gave an instant")
	}
	if _, ok := ReentryEnds(Limits{ReentryHours: &h}, time.Time{}); ok {
		t.Error("an unfinished application gave an instant")
	}
	longest, ok := LongestReentry([]Limits{{ReentryHours: &half}, {ReentryText: "until dry"}, {ReentryHours: &h}}, end)
	if !ok || longest.Sub(end) != 24*time.Hour {
		t.Errorf("the longest of 0.5 h and 24 h is %v", longest.Sub(end))
	}
	if _, ok := LongestReentry([]Limits{{}}, end); ok {
		t.Error("no hours gave an instant")
	}
}
