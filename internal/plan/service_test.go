package plan

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"thirdcut/internal/fault"
	"thirdcut/internal/turf"
	"thirdcut/internal/unit"
)

func TestProductionRateIsThePublishedOne(t *testing.T) {
	for _, c := range []struct {
		source           string
		width            unit.Length
		mph, efficiency  float64
		want, tolerance  float64
		inAcresNotSqFeet bool
	}{
		{"Iowa State A3-24, 40 ft at 6 mph and 70 %: 20.4 acre/h", 40 * unit.Foot, 6, 0.70, 20.4, 0.06, true},
		{"trade magazine example, 60 in at 8.5 mph and 80 %: 179,520 sq ft/h", 60 * unit.Inch, 8.5, 0.80, 179520, 1, false},
		{"the same formula, 21 in at 3 mph and 75 %", 21 * unit.Inch, 3, 0.75, 20790, 0.5, false},
		{"the same formula, 52 in at 6 mph and 70 %", 52 * unit.Inch, 6, 0.70, 96096, 0.5, false},
	} {
		rate := ProductionRate(c.width, unit.Speed(c.mph)*unit.MilePerHour, unit.Fraction(c.efficiency))
		got := rate.SquareFeet()
		if c.inAcresNotSqFeet {
			got = rate.Acres()
		}
		if math.Abs(got-c.want) > c.tolerance {
			t.Errorf("%s: %v, want %v", c.source, got, c.want)
		}
	}
}

// Additive task times; the rows are worked by hand: 8,000/18,480 x 60 + 400/100 + 3 + 4 = 36.97.
func TestStopMinutes(t *testing.T) {
	for _, c := range []struct{ area, rate, trim, speed, fixed, want float64 }{
		{8000, 18480, 400, 100, 7, 36.97}, {22000, 31416, 900, 120, 10, 59.52}, {0, 0, 0, 0, 5, 5},
	} {
		got := StopMinutes(unit.Area(c.area)*unit.SquareFoot, unit.Area(c.rate)*unit.SquareFoot, unit.Length(c.trim)*unit.Foot, c.speed, c.fixed)
		if math.Abs(got-c.want) > 0.05 {
			t.Errorf("%v sq ft: %v min, want %v", c.area, got, c.want)
		}
	}
	if got := StopMinutes(unit.Thousand, 0, 0, 0, 0); !math.IsInf(got, 1) {
		t.Errorf("a machine that covers nothing takes %v min, want +Inf", got)
	}
}

func TestEstimateFollowsMachineAndMeasurement(t *testing.T) {
	area := 8 * unit.Thousand
	minutes := func(s Service) float64 {
		e, err := s.Estimate()
		if err != nil {
			t.Fatal(err)
		}
		return e.Minutes
	}
	// 21 in at 3 mph and 65 %: 21/12 x 3 x 5280 x 0.65 = 18,018 sq ft/h; 8,000 sq ft take 26.64 min.
	if got := minutes(Service{Work: turf.Mow, Area: area}); math.Abs(got-26.64) > 0.01 {
		t.Errorf("walk-behind: %v min, want 26.64", got)
	}
	// An outline of 4 x sqrt(8,000) = 357.77 ft at 100 ft/min.
	if got := minutes(Service{Work: turf.Edge, Area: area}); math.Abs(got-3.578) > 0.001 {
		t.Errorf("edging: %v min, want 3.578", got)
	}
	if got := minutes(Service{Work: turf.Edge, Area: area, Edges: 500 * unit.Foot}); math.Abs(got-5) > 1e-9 {
		t.Errorf("edging 500 ft: %v min, want 5", got)
	}
	measured := Service{Work: turf.Mow, Area: area, Measured: []float64{500, 20, math.NaN(), 22, 21, -3, 30, 19}}
	e, err := measured.Estimate()
	if err != nil || !e.Measured || e.Minutes != 21 {
		t.Errorf("five newest of the past visits: %+v (%v), want their median 21", e, err)
	}
	measured.Measured = []float64{20, 22, 21, 30}
	if e, err := measured.Estimate(); err != nil || e.Measured {
		t.Errorf("four past visits were believed: %+v (%v)", e, err)
	}
}

func TestEstimateRefusesWhatSaysNothing(t *testing.T) {
	for _, c := range []struct {
		s    Service
		code string
	}{
		{Service{Work: "dance", Area: unit.Thousand}, "work"},
		{Service{Work: turf.Mow}, "area"},
		{Service{Work: turf.Spray, Area: unit.Area(math.NaN())}, "area"},
		{Service{Work: turf.Mow, Area: unit.Area(math.Inf(1))}, "area"},
		{Service{Work: turf.Mow, Area: unit.Thousand, Machine: Machine{WidthIn: -4}}, "width"},
		{Service{Work: turf.Mow, Area: unit.Thousand, Machine: Machine{WidthIn: math.NaN()}}, "width"},
	} {
		if e, err := c.s.Estimate(); !fault.HasCode(err, c.code) {
			t.Errorf("%+v: %+v, %v; want the fault %q", c.s, e, err, c.code)
		}
	}
}

func TestEstimateGrowsWithAreaAndShrinksWithWidth(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := Service{Work: rapid.SampledFrom(turf.AllWork).Draw(t, "work"),
			Area:    unit.Area(rapid.Float64Range(100, 500_000).Draw(t, "sq ft")) * unit.SquareFoot,
			Machine: Machine{WidthIn: rapid.Float64Range(18, 90).Draw(t, "width")}}
		base, err := s.Estimate()
		if err != nil || !(base.Minutes > 0) || math.IsInf(base.Minutes, 0) {
			t.Fatalf("%+v: %v min, %v", s, base.Minutes, err)
		}
		larger, wider := s, s
		larger.Area = s.Area * 2
		wider.Machine.WidthIn *= 1.5
		for name, o := range map[string]Service{"larger": larger, "wider": wider} {
			e, err := o.Estimate()
			if err != nil {
				t.Fatal(err)
			}
			if (name == "larger" && e.Minutes < base.Minutes) || (name == "wider" && e.Minutes > base.Minutes) {
				t.Fatalf("%s: %v min against %v", name, e.Minutes, base.Minutes)
			}
		}
	})
}
