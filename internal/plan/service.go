package plan

import (
	"math"
	"slices"

	"thirdcut/internal/fault"
	"thirdcut/internal/turf"
	"thirdcut/internal/unit"
)

// LawnEfficiency is the share of the machine's own rate that is kept on lawns,
// with turns, overlap and obstacles: common practice is 0.50 to 0.75. Open
// fields reach 0.80.
const LawnEfficiency unit.Fraction = 0.65

// FirstCutEfficiency is the same for the low cut of dormant grass, which is slow
// and leaves much to pick up. Ours: no publication gives one.
const FirstCutEfficiency unit.Fraction = 0.35

// TrimFeetPerMinute is how fast edges are trimmed (common practice: 100 to 120).
const TrimFeetPerMinute = 100.0

// Minutes that do not depend on the area. Ours.
const (
	LookMinutes       = 5.0  // walk the area, measure in a few places, write down
	WaterCheckMinutes = 15.0 // run each zone once and look
)

// MeasuredVisits is how many past visits it takes until their minutes are
// believed over the estimate (ours).
const MeasuredVisits = 5

// Walking widths of treatments where no machine is given, and the pace. Ours,
// near to the swath of a push spreader and of a hand-held boom.
const (
	spreadSwath    = 8 * unit.Foot
	spraySwath     = 5 * unit.Foot
	walkingPace    = 3 * unit.MilePerHour
	smallestWidth  = 21 * unit.Inch // a walk-behind mower, where no machine is given
	squareOutlines = 4.0            // a square of area A has edges of 4 sqrt(A)
)

// mowingPace lists working speeds by deck width (common practice).
var mowingPace = []struct {
	upTo  unit.Length
	speed unit.Speed
}{{30 * unit.Inch, 3 * unit.MilePerHour}, {44 * unit.Inch, 4 * unit.MilePerHour}, {56 * unit.Inch, 6 * unit.MilePerHour},
	{unit.Length(math.Inf(1)), 7 * unit.MilePerHour}}

// ProductionRate is the area that a machine covers in an hour: width x speed x
// efficiency, which in feet and miles an hour is acre/h = W S E / 8.25.
//
// Source: Iowa State University Extension, AgDM A3-24 (PM 696), effective field capacity.
func ProductionRate(width unit.Length, speed unit.Speed, efficiency unit.Fraction) unit.Area {
	return unit.Area(width.Metres() * speed.MetresPerSecond() * 3600 * float64(efficiency))
}

// StopMinutes adds up the minutes of one stop: area over the hourly rate, edges
// over the trimming speed in feet a minute, and what does not depend on either.
// A rate or speed that is not above zero gives +Inf where there is anything to do.
//
// Source: additive task times (common practice).
func StopMinutes(area, hourly unit.Area, trim unit.Length, trimFeetPerMinute, fixedMinutes float64) float64 {
	minutes := fixedMinutes
	if area > 0 {
		minutes += area.SquareFeet() / math.Max(0, hourly.SquareFeet()) * 60
	}
	if trim > 0 {
		minutes += trim.Feet() / math.Max(0, trimFeetPerMinute)
	}
	return minutes
}

// Service is one work on one area, as far as its time depends on it.
type Service struct {
	Work turf.Work
	Area unit.Area
	// Edges is the length to trim when the work is edging; zero takes the
	// outline of a square of the area.
	Edges unit.Length
	// Machine is what does it; a WidthIn of zero takes a walk-behind mower, or
	// the usual swath on foot.
	Machine Machine
	// Measured are the minutes that past visits took, newest last.
	Measured []float64
}

// Estimate is how long a work takes, and where the number comes from.
type Estimate struct {
	Minutes  float64
	Measured bool // the median of past visits; otherwise computed from the area
}

// Estimate returns the minutes of the work on the ground, without arrival and
// driving: the median of the newest visits once there are MeasuredVisits of
// them, else what the machine's production rate makes of the area.
//
// Faults, all fault.Invalid: "work" for a work outside the list, "area" for an
// area that is not above zero where the time depends on it, "width" for a
// machine width that is negative or no number.
func (s Service) Estimate() (Estimate, error) {
	if !s.Work.Known() {
		return Estimate{}, fault.New(fault.Invalid, "work", "%q is no kind of work; choose one of the list.", s.Work)
	}
	if m, ok := median(s.Measured); ok {
		return Estimate{Minutes: m, Measured: true}, nil
	}
	if s.Work == turf.Look || s.Work == turf.WaterCheck {
		return Estimate{Minutes: s.fixed()}, nil
	}
	if !(s.Area > 0) || math.IsInf(float64(s.Area), 0) {
		return Estimate{}, fault.New(fault.Invalid, "area", "An area of %v sq ft says nothing about how long to %s takes; measure the area.", s.Area.SquareFeet(), s.Work.Words())
	}
	if w := s.Machine.WidthIn; w < 0 || math.IsNaN(w) || math.IsInf(w, 0) {
		return Estimate{}, fault.New(fault.Invalid, "width", "A machine %v in wide does not exist; correct its width.", w)
	}
	if s.Work == turf.Edge {
		return Estimate{Minutes: StopMinutes(0, 0, s.edges(), TrimFeetPerMinute, 0)}, nil
	}
	return Estimate{Minutes: StopMinutes(s.Area, s.rate(), 0, 0, 0)}, nil
}

func (s Service) fixed() float64 {
	if s.Work == turf.Look {
		return LookMinutes
	}
	return WaterCheckMinutes
}

func (s Service) edges() unit.Length {
	if s.Edges > 0 {
		return s.Edges
	}
	return unit.Length(squareOutlines*math.Sqrt(s.Area.SquareMetres())) * unit.Metre
}

func (s Service) rate() unit.Area {
	width := unit.Length(s.Machine.WidthIn) * unit.Inch
	switch s.Work {
	case turf.Spread:
		return ProductionRate(orElse(width, spreadSwath), walkingPace, LawnEfficiency)
	case turf.Spray:
		return ProductionRate(orElse(width, spraySwath), walkingPace, LawnEfficiency)
	case turf.FirstCut:
		width = orElse(width, smallestWidth)
		return ProductionRate(width, mowingSpeed(width), FirstCutEfficiency)
	}
	width = orElse(width, smallestWidth)
	return ProductionRate(width, mowingSpeed(width), LawnEfficiency)
}

func orElse(width, other unit.Length) unit.Length {
	if width > 0 {
		return width
	}
	return other
}

func mowingSpeed(width unit.Length) unit.Speed {
	for _, p := range mowingPace {
		if width <= p.upTo {
			return p.speed
		}
	}
	return mowingPace[len(mowingPace)-1].speed
}

// median is the middle of the newest MeasuredVisits values that are minutes at
// all; ok only when there are so many.
func median(minutes []float64) (m float64, ok bool) {
	var good []float64
	for _, v := range slices.Backward(minutes) {
		if v > 0 && !math.IsInf(v, 0) && len(good) < MeasuredVisits {
			good = append(good, v)
		}
	}
	if len(good) < MeasuredVisits {
		return 0, false
	}
	slices.Sort(good)
	return good[MeasuredVisits/2], true
}
