package unit

import (
	"math"
	"strings"
	"testing"
)

// Factors: NIST SP 811 (2008) appendix B.8 (inch 25.4 mm exactly, acre 43,560
// sq ft, US gallon 3.785412 L, pound 453.59237 g, mile 1609.344 m).
func TestParseTheWaysAnOfficeWrites(t *testing.T) {
	lengths := []struct {
		text string
		mm   float64
	}{
		{`2 1/2"`, 63.5}, {"2½ in", 63.5}, {"2.5in", 63.5}, {"38 mm", 38}, {"1/2 in", 12.7}, {".75 in", 19.05}, {"3", 76.2},
		{"2-1/2 inches", 63.5}, {"12'", 3657.6}, {"0.1 m", 100}, {"3 1/4 in.", 82.55}, {"-1 in", -25.4}, {"7.6 cm", 76}, {"21/2 in", 266.7}, {"-1/2 in", -12.7}, {"-2 1/2 in", -63.5}, {"3½″", 88.9}, {"  38\u00a0mm ", 38},
		{"3.5e1 mm", 35}, {"3.4999999999999996", 88.9}, {"1,000 mm", 1000}, {"2 1/2 IN", 63.5},
	}
	for _, row := range lengths {
		got, err := ParseLength(row.text, Inch)
		if err != nil || math.Abs(got.Millimetres()-row.mm) > 1e-9 {
			t.Errorf("%q is %v mm (%v), want %v", row.text, got.Millimetres(), err, row.mm)
		}
	}
	areas := []struct {
		text string
		sqft float64
	}{
		{"8,500 sf", 8500}, {"0.25 ac", 10890}, {"8500", 8500}, {"12,000", 12000}, {"1 acre", 43560}, {"1 sq yd", 9}, {"100 m2", 1076.3910416709722}, {"8.5k", 8500}, {"8.5 K sq  ft", 8500},
		{"8.5000000000000006E-2 ac", 3702.6}, {"½ acre", 21780}, {"1 ha", 107639.1041670972}, {"8500 Sq. Ft.", 8500}, {"1,250,000 sq ft", 1250000},
	}
	for _, row := range areas {
		got, err := ParseArea(row.text, SquareFoot)
		if err != nil || math.Abs(got.SquareFeet()-row.sqft) > 1e-6 {
			t.Errorf("%q is %v sq ft (%v), want %v", row.text, got.SquareFeet(), err, row.sqft)
		}
	}
	if v, err := ParseVolume("1 gal", 0); err != nil || math.Abs(v.Litres()-3.785411784) > 1e-12 {
		t.Errorf("a gallon is %v L (%v)", v.Litres(), err)
	}
	if m, err := ParseMass("1 lb", 0); err != nil || math.Abs(m.Grams()-453.59237) > 1e-9 {
		t.Errorf("a pound is %v g (%v)", m.Grams(), err)
	}
	if s, err := ParseSpeed("1 mph", 0); err != nil || math.Abs(s.MetresPerSecond()-0.44704) > 1e-12 {
		t.Errorf("a mile an hour is %v m/s (%v)", s.MetresPerSecond(), err)
	}
	for text, c := range map[string]float64{"212 F": 100, "71°F": 21.6666666666, "21.5 C": 21.5, "-40 f": -40, "0 deg C": 0} {
		if got, err := ParseTemperature(text); err != nil || math.Abs(got.Celsius()-c) > 1e-6 {
			t.Errorf("%q is %v C (%v), want %v", text, got.Celsius(), err, c)
		}
	}
}

func TestParseRefusesWhatMayMeanTwoThings(t *testing.T) {
	for _, text := range []string{"", "  ", "tall", "1,5 in", "8,50", "3 in 2", "1/0 in", "3 furlongs", "1e999 in", "--3 in", "3//4 in", "1.5 1/2 in", "1,5/2 in", "1e5/2 in", "1e308 mi", "0x10", "1_000", "NaN", "Inf", "1.2.3 in", "3/4/5 in", "2 1/2 1/2 in", "8 500", "1,2345 in"} {
		if got, err := ParseLength(text, Inch); err == nil {
			t.Errorf("%q was read as %v in", text, got.Inches())
		}
	}
	for _, text := range []string{"71", "71 K", "hot"} {
		if got, err := ParseTemperature(text); err == nil {
			t.Errorf("%q was read as %v C", text, got.Celsius())
		}
	}
	if _, err := ParseVolume("5", 0); err == nil {
		t.Error("a volume without a unit passed")
	}
	for _, text := range []string{"8.5 M sq ft", "8.5 MSF", "8.5 M", "0.25 a", "8,500 ft"} {
		if got, err := ParseArea(text, SquareFoot); err == nil {
			t.Errorf("%q was read as %v sq ft", text, got.SquareFeet())
		}
	}
	if _, err := ParseVolume("12 oz", 0); err == nil || !strings.Contains(err.Error(), "write fluid ounces as fl oz") {
		t.Errorf("12 oz as a volume: %v", err)
	}
	if _, err := ParseMass("12 fl oz", 0); err == nil {
		t.Error("fluid ounces passed as a weight")
	}
}

// What a record keeps is what was written, and it is read the same again.
func TestEnteredKeepsWhatWasWritten(t *testing.T) {
	for _, row := range []struct {
		text, value, unit string
		number            float64
	}{
		{"2 1/2 lb", "2 1/2", "lb", 2.5}, {"8,500 SF", "8,500", "sf", 8500}, {".75 fl. oz.", ".75", "fl. oz", 0.75}, {"4½ gal", "4 1/2", "gal", 4.5},
		{"12", "12", "", 12}, {"1/2 pt", "1/2", "pt", 0.5}, {"-3 lb", "-3", "lb", -3},
	} {
		e, err := ParseEntered(row.text)
		if err != nil || e.Value != row.value || e.Unit != row.unit {
			t.Errorf("%q is %+v, %v", row.text, e, err)
		}
		if n, err := e.Number(); err != nil || n != row.number {
			t.Errorf("%q is the number %v, %v, want %v", row.text, n, err, row.number)
		}
		if again, err := ParseEntered(e.String()); err != nil || again != e {
			t.Errorf("%q read again is %+v, %v", e, again, err)
		}
	}
	if m, err := (Entered{"2 1/2", "lb"}).Mass(); err != nil || math.Abs(m.Pounds()-2.5) > 1e-12 {
		t.Errorf("2 1/2 lb is %v lb, %v", m.Pounds(), err)
	}
	if v, err := (Entered{"12", "fl oz"}).Volume(); err != nil || math.Abs(v.FluidOunces()-12) > 1e-12 {
		t.Errorf("12 fl oz is %v fl oz, %v", v.FluidOunces(), err)
	}
	for _, e := range []Entered{{"12", ""}, {"12", "fl oz"}, {"", "lb"}, {}} {
		if m, err := e.Mass(); err == nil {
			t.Errorf("%+v passed as a weight of %v lb", e, m.Pounds())
		}
	}
	if _, err := (Entered{}).Number(); err == nil {
		t.Error("nothing was read as a number")
	}
}

func FuzzParse(f *testing.F) {
	for _, s := range []string{`2 1/2"`, "8,500 sf", "½", "1/", "-", "1,000,000.5 ac", "\x00", "9/9/9 in", "0,000A  ,."} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		if l, err := ParseLength(s, Inch); err == nil && (math.IsNaN(float64(l)) || math.IsInf(float64(l), 0)) {
			t.Errorf("%q is %v", s, l)
		}
		if a, err := ParseArea(s, SquareFoot); err == nil && (math.IsNaN(float64(a)) || math.IsInf(float64(a), 0)) {
			t.Errorf("%q is %v", s, a)
		}
		if c, err := ParseTemperature(s); err == nil && (math.IsNaN(float64(c)) || math.IsInf(float64(c), 0)) {
			t.Errorf("%q is %v", s, c)
		}
		if e, err := ParseEntered(s); err == nil {
			if again, err := ParseEntered(e.String()); err != nil || again != e {
				t.Errorf("%q is %+v and then %+v, %v", s, e, again, err)
			}
		}
	})
}

func TestAtMostAtTheLimit(t *testing.T) {
	// Every amount that is exactly at a maximum passes after conversion there
	// and back; a millionth more does not.
	over := 0
	for i := 1; i <= 2400; i++ {
		area := Area(i) * 137 * SquareFoot
		max := Spread(0.01*float64(i)) * Spread(Pound) / Spread(Thousand)
		amount := max.On(area)
		if !AtMost(amount.Over(area), max) {
			over++
		}
		if AtMost(amount.Times(1.000001).Over(area), max) {
			t.Fatalf("row %d: a millionth over the limit passed", i)
		}
	}
	if over > 0 {
		t.Errorf("%d of 2400 amounts exactly at the limit were called over it", over)
	}
	if AtMost(math.NaN(), 1.0) || AtMost(1.0, math.NaN()) {
		t.Error("not a number passed a limit")
	}
}
