package mowing

import (
	"fmt"
	"math"

	"thirdcut/internal/civil"
	"thirdcut/internal/turf"
	"thirdcut/internal/unit"
)

// Constants of learning, ours.
const (
	PriorDeviation      = 0.35 // of ln k, in sun
	PriorDeviationShade = 0.45 // in part shade or shade
	DailyDrift          = 0.03 // standard deviation of ln k a day
	usualRulerError     = 3.0  // mm, standard deviation of measured less left
	expectedError       = 0.1  // share of the expected growth
	droughtError        = 0.3  // share of the expected growth at full stress
	SetAsideBeyond      = 4.0  // standard deviations
	sameReadings        = 4    // identical readings in a row that are flagged
	heightWidening      = 0.3  // of the log ratio of two cutting heights
	mostLog             = 3.0  // ln k is kept within ±3: a factor of 20
	mostVariance        = 4.0
)

// Learned is what is known of an area's own factor k: x = ln k and its variance
// P as it stood on a day. The zero value is not a prior; use Prior.
type Learned struct {
	X  float64
	P  float64
	On civil.Date // zero: a prior, which does not age
}

// Prior is the state before any reading: the company's mean of ln k for the
// species (0 where there is none) and the deviation of the exposure.
func Prior(meanX float64, e turf.Exposure) Learned {
	sd := PriorDeviation
	if e == turf.PartShade || e == turf.Shade {
		sd = PriorDeviationShade
	}
	return Learned{X: meanX, P: sd * sd}
}

// K is the factor itself.
func (l Learned) K() float64 { return math.Exp(l.X) }

// At is the state on a later day: the variance grows by the square of the daily drift.
func (l Learned) At(d civil.Date) Learned {
	if l.On.IsZero() {
		return l
	}
	if n := d.Since(l.On); n > 0 {
		l.P += float64(n) * DailyDrift * DailyDrift
		l.On = d
	}
	return l
}

// Widen is the state after the cutting height changed: deviation of ln k grows
// by 0.3 of the absolute log ratio. Unchanged when a height is not positive.
func (l Learned) Widen(from, to unit.Length) Learned {
	if positive(from) && positive(to) {
		w := heightWidening * math.Abs(math.Log(to.Ratio(from)))
		l.P += w * w
	}
	return l
}

// valid holds the state to what can be computed with; false when it could not be.
func (l Learned) valid() (Learned, bool) {
	if math.IsNaN(l.X) || math.IsInf(l.X, 0) || math.IsNaN(l.P) || l.P < 0 {
		return Prior(0, turf.Sun), false
	}
	l.X = math.Max(-mostLog, math.Min(mostLog, l.X))
	l.P = math.Min(mostVariance, l.P)
	return l, true
}

// Verdict is what a person decided about a reading that was set aside.
type Verdict string

// The verdicts.
const (
	NoVerdict Verdict = ""
	Take      Verdict = "take"
	Drop      Verdict = "drop"
)

// Reading is one height measured before a cut.
type Reading struct {
	On         civil.Date
	Measured   unit.Length
	Left       unit.Length // what the cut before it left standing
	Growth     unit.Length // expected with k = 1 since that cut (Curve.Growth)
	MeanKs     float64     // over the same days; 1 for no stress
	RulerError unit.Length // standard deviation; 0 is the usual 3 mm
	Teaches    string      // empty; else why it teaches nothing ("first cut before green-up")
	Verdict    Verdict
}

// LearnStep is one step of the history: what was expected, what came and what was done.
type LearnStep struct {
	Reading  Reading
	Before   Learned
	After    Learned
	Expected unit.Length // growth expected with k
	Got      unit.Length // measured less left; may be negative
	Z        float64     // distance in standard deviations
	Taken    bool
	Why      string // why it was not taken, or what is odd about it
}

// Learn runs through the readings in order of time and returns the state after
// the last one, with every step. It is always run from the prior over the whole
// season, so that late and corrected readings need no special case.
func Learn(prior Learned, readings []Reading) (Learned, []LearnStep) {
	state, ok := prior.valid()
	if !ok {
		state.X = 0
	}
	steps := make([]LearnStep, 0, len(readings))
	same := 0
	for i, r := range readings {
		if i > 0 && r.Measured == readings[i-1].Measured {
			same++
		} else {
			same = 1
		}
		s := Observe(state, r)
		if same >= sameReadings {
			s.Why = join(s.Why, fmt.Sprintf("the same height of %s in %d times in a row: was it measured?", inches(r.Measured), same))
		}
		state = s.After
		steps = append(steps, s)
	}
	return state, steps
}

func join(a, b string) string {
	if a == "" {
		return b
	}
	return a + "; " + b
}

// Observe takes one reading into the state, in millimetres, so that a ruler's
// error can never make a logarithm undefined (an extended Kalman step):
// e = exp(x) S, K = P e/(e² P + R), x += K (y - e), P *= 1 - K e, with
// R = ruler² + (0.1 e)² + (0.3 (1 - mean Ks) e)². A reading that cannot be, or
// lies more than four standard deviations off, is set aside for a person.
// Source: ours.
func Observe(state Learned, r Reading) LearnStep {
	before, _ := state.At(r.On).valid()
	s := LearnStep{Reading: r, Before: before, After: before}
	if r.Teaches != "" {
		s.Why = "teaches nothing: " + r.Teaches
		return s
	}
	if s.Why = impossible(r); s.Why != "" {
		return s
	}
	e := before.K() * r.Growth.Millimetres()
	y := (r.Measured - r.Left).Millimetres()
	noise := readingNoise(r, e)
	spread := e*e*before.P + noise
	s.Expected, s.Got = unit.Length(e)*unit.Millimetre, r.Measured-r.Left
	s.Z = (y - e) / math.Sqrt(spread)
	if r.Verdict == Drop {
		s.Why = "dropped by a person"
		return s
	}
	if math.Abs(s.Z) > SetAsideBeyond && r.Verdict != Take {
		s.Why = fmt.Sprintf("set aside: %s in measured where %s in was expected; look again, then take or drop it",
			inches(r.Measured), inches(r.Left+s.Expected))
		return s
	}
	gain := before.P * e / spread
	after := Learned{X: before.X + gain*(y-e), P: before.P * (1 - gain*e), On: r.On}
	s.After, _ = after.valid()
	s.Taken = true
	return s
}

func readingNoise(r Reading, expected float64) float64 {
	ruler := r.RulerError.Millimetres()
	if !(ruler > 0) || math.IsInf(ruler, 0) {
		ruler = usualRulerError
	}
	ks := math.Max(0, math.Min(1, r.MeanKs))
	if math.IsNaN(ks) {
		ks = 1
	}
	share, drought := expectedError*expected, droughtError*(1-ks)*expected
	return ruler*ruler + share*share + drought*drought
}

func impossible(r Reading) string {
	switch {
	case !positive(r.Measured) || r.Measured > HighestReading:
		return fmt.Sprintf("set aside: a lawn does not stand at %s in; was it another unit?", inches(r.Measured))
	case !positive(r.Left) || r.Left > HighestReading:
		return "set aside: the height left by the cut before it is not known"
	case !(r.Growth >= 0) || r.Growth > 10*unit.Metre:
		return "set aside: the growth since the cut before it could not be computed"
	}
	return ""
}
