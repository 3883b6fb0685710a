package unit

import (
	"encoding/json"
	"math"
	"os"
	"testing"

	"pgregory.net/rapid"
)

// Factors as NIST SP 811 (2008) appendix B.8 and NIST Handbook 44 appendix C
// print them; those in exact below are exact there (bold), the others are
// printed to the digits given.
func TestUnitsAreNISTs(t *testing.T) {
	exact := []struct {
		name      string
		got, want float64
	}{
		{"inch, m", Inch.Metres(), 2.54e-2}, {"foot, m", Foot.Metres(), 3.048e-1}, {"yard, m", Yard.Metres(), 9.144e-1}, {"mile, m", Mile.Metres(), 1.609344e3},
		{"square foot, m2", SquareFoot.SquareMetres(), 9.290304e-2}, {"square yard, m2", SquareYard.SquareMetres(), 8.3612736e-1},
		{"acre of 43,560 square international feet, m2", Acre.SquareMetres(), 4046.8564224}, {"hectare, m2", Hectare.SquareMetres(), 1e4},
		{"pound, kg", Pound.Kilograms(), 4.5359237e-1}, {"ounce, g", Ounce.Grams(), 28.349523125}, {"short ton, kg", ShortTon.Kilograms(), 907.18474},
		{"gallon of 231 cubic inches, L", Gallon.Litres(), 3.785411784}, {"mile per hour, m/s", MilePerHour.MetresPerSecond(), 4.4704e-1},
		{"yards in a mile", float64(Mile / Yard), 1760}, {"square feet in an acre", Acre.SquareFeet(), 43560}, {"ounces in a pound", Pound.Ounces(), 16},
		{"fluid ounces in a gallon", Gallon.FluidOunces(), 128}, {"fluid ounces in a quart", Quart.FluidOunces(), 32}, {"fluid ounces in a pint", Pint.FluidOunces(), 16},
	}
	for _, row := range exact {
		if math.Abs(row.got-row.want) > 1e-14*row.want {
			t.Errorf("%s: %.17g, want %.17g", row.name, row.got, row.want)
		}
	}
	printed := []struct {
		name            string
		got, want, last float64
	}{
		{"fluid ounce, mL", FluidOunce.Litres() * 1000, 29.57353, 5e-6}, {"liquid pint, L", Pint.Litres(), 0.4731765, 5e-8}, {"liquid quart, L", Quart.Litres(), 0.9463529, 5e-8},
		{"km/h, m/s", KilometrePerHour.MetresPerSecond(), 0.2777778, 5e-8}, {"pound per square foot, kg/m2", float64(Pound.Over(SquareFoot)), 4.882428, 5e-7},
	}
	for _, row := range printed {
		if math.Abs(row.got-row.want) > row.last {
			t.Errorf("%s: %.9g, printed %.9g", row.name, row.got, row.want)
		}
	}
	// SP 811 B.8: t/C = (t/F - 32)/1.8. FAO-56 takes K = C + 273.16 in its
	// examples; the definition, and NIST, have 273.15.
	for f, c := range map[float64]float64{212: 100, 32: 0, -40: -40, 98.6: 37, 0: -17.77777777777778} {
		if got := Fahrenheit(f).Celsius(); math.Abs(got-c) > 1e-12 {
			t.Errorf("%g F is %.15g C, want %.15g", f, got, c)
		}
		if back := Celsius(c).Fahrenheit(); math.Abs(back-f) > 1e-12 {
			t.Errorf("%g C is %.15g F, want %g", c, back, f)
		}
	}
	if Celsius(0).Kelvin() != 273.15 || Mean(Celsius(10), Celsius(25)).Celsius() != 17.5 {
		t.Errorf("kelvin %g, mean %g", Celsius(0).Kelvin(), Mean(Celsius(10), Celsius(25)).Celsius())
	}
	if Percent(12.5) != 0.125 || Fraction(0.125).Percent() != 12.5 {
		t.Error("percent is not a hundredth")
	}
}

// The published conversion rows of testdata/agronomy/unit_conversions.json,
// each by the route the product takes: amount over area, read in other units.
func TestPublishedConversions(t *testing.T) {
	data, err := os.ReadFile("../../testdata/agronomy/unit_conversions.json")
	if err != nil {
		t.Fatal(err)
	}
	type cell struct {
		Value float64
		Unit  string
	}
	var table struct {
		Rows []struct {
			ID        string
			Inputs    map[string]cell
			Expected  cell
			Tolerance struct{ Value float64 }
		}
	}
	if err := json.Unmarshal(data, &table); err != nil {
		t.Fatal(err)
	}
	mass := func(m Mass, a Area, in Mass, on Area) func(float64) float64 {
		return func(x float64) float64 { return float64(m.Times(x).Over(a).On(on) / in) }
	}
	volume := func(v Volume, a Area, in Volume, on Area) func(float64) float64 {
		return func(x float64) float64 { return float64(v.Times(x).Over(a).On(on) / in) }
	}
	routes := map[string]func(float64) float64{
		"lbac-kgha":      mass(Pound, Acre, Kilogram, Hectare),
		"lbac-g100":      mass(Pound, Acre, Gram, 100*SquareFoot),
		"acre-ha":        func(x float64) float64 { return float64(Area(x) * Acre / Hectare) },
		"oz-g":           func(x float64) float64 { return (Mass(x) * Ounce).Grams() },
		"inch-sqft-gal":  func(x float64) float64 { return Coverage(Length(x) * Inch).On(SquareFoot).Gallons() },
		"gal-ml":         func(x float64) float64 { return float64(Volume(x) * Gallon / Millilitre) },
		"galac-lha":      volume(Gallon, Acre, Litre, Hectare),
		"ozac-gha":       mass(Ounce, Acre, Gram, Hectare),
		"galac-floz1000": func(x float64) float64 { return Gallon.Times(x).Over(Acre).FluidOuncesPerThousand() },
		"lbac-g1000":     mass(Pound, Acre, Gram, Thousand),
		"100lbac-lb1000": func(x float64) float64 { return Pound.Times(x).Over(Acre).PoundsPerThousand() },
		"400lbac-lb1000": func(x float64) float64 { return Pound.Times(x).Over(Acre).PoundsPerThousand() },
		"oz1000-ptac":    volume(FluidOunce, Thousand, Pint, Acre),
		"oz1000-ozac":    volume(FluidOunce, Thousand, FluidOunce, Acre),
		"ptac-oz1000":    func(x float64) float64 { return Pint.Times(x).Over(Acre).FluidOuncesPerThousand() },
		"lb1000-gm2":     mass(Pound, Thousand, Gram, SquareMetre),
		"sand-150lb":     func(x float64) float64 { return float64(Pound.Times(x).Over(Thousand)) / 1.5 },
	}
	for _, row := range table.Rows {
		route, ok := routes[row.ID]
		if !ok {
			t.Errorf("row %s has no route through the units", row.ID)
			continue
		}
		if got := route(row.Inputs["x"].Value); math.Abs(got-row.Expected.Value) > row.Tolerance.Value {
			t.Errorf("%s: %g %s, published %g within %g", row.ID, got, row.Expected.Unit, row.Expected.Value, row.Tolerance.Value)
		}
		delete(routes, row.ID)
	}
	for id := range routes {
		t.Errorf("the table has no row %s", id)
	}
}

func TestAmountsComeBackFromRates(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		area := Area(rapid.Float64Range(10, 5e6).Draw(t, "sqft")) * SquareFoot
		x := rapid.Float64Range(1e-3, 1e4).Draw(t, "amount")
		m, v := Mass(x)*Pound, Volume(x)*FluidOunce
		if back := m.Over(area).On(area); math.Abs(float64(back/m)-1) > 1e-12 {
			t.Fatalf("%g lb over and on %g sq ft is %g lb", m.Pounds(), area.SquareFeet(), back.Pounds())
		}
		if back := v.Over(area).On(area); math.Abs(float64(back/v)-1) > 1e-12 {
			t.Fatalf("%g fl oz over and on %g sq ft is %g fl oz", v.FluidOunces(), area.SquareFeet(), back.FluidOunces())
		}
		perAcre := m.Over(area).PoundsPerAcre() / m.Over(area).PoundsPerThousand()
		if math.Abs(perAcre-43.56) > 1e-9 || math.Abs(v.Over(area).GallonsPerAcre()/v.Over(area).FluidOuncesPerThousand()-43.56/128) > 1e-9 {
			t.Fatalf("an acre holds %g thousands", perAcre)
		}
	})
}

func TestGrowth(t *testing.T) {
	g := 0.2 * InchPerDay
	if math.Abs(g.InDays(5).Inches()-1) > 1e-12 || math.Abs(g.DaysFor(1*Inch)-5) > 1e-12 || math.Abs(g.MillimetresPerDay()-5.08) > 1e-12 || math.Abs(g.Times(0.5).InDays(10).Inches()-1) > 1e-12 {
		t.Errorf("growth of a fifth of an inch a day: %g in 5 d, %g d for 1 in", g.InDays(5).Inches(), g.DaysFor(Inch))
	}
	if !math.IsInf(Growth(0).DaysFor(Inch), 1) || !math.IsInf(Growth(-1).DaysFor(Inch), 1) {
		t.Error("grass that does not grow gets there some day")
	}
}

// What stands over no area at all is no rate under any limit.
func TestLimitsAtTheEdges(t *testing.T) {
	inf := math.Inf(1)
	for _, row := range []struct {
		a, limit float64
		want     bool
	}{
		{1, 1, true}, {1 + 1e-10, 1, true}, {1 + 1e-8, 1, false}, {0.999, 1, true}, {0, 0, true}, {1e-30, 0, false}, {-1, 0, true}, {-1, -1, true}, {-0.99, -1, false},
		{inf, 1, false}, {inf, inf, true}, {1, inf, true}, {-inf, 1, true}, {1, -inf, false}, {-inf, -inf, true}, {math.NaN(), inf, false}, {inf, math.NaN(), false},
	} {
		if got := AtMost(row.a, row.limit); got != row.want {
			t.Errorf("%g at most %g: %v", row.a, row.limit, got)
		}
		if got := AtLeast(row.limit, row.a); got != row.want {
			t.Errorf("%g at least %g: %v", row.limit, row.a, got)
		}
	}
	if AtMost(Pound.Over(0), 1*Pound.Over(Thousand)) {
		t.Error("a pound on no area passed a label's limit")
	}
}
