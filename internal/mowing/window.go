package mowing

import (
	"math"

	"thirdcut/internal/civil"
	"thirdcut/internal/turf"
	"thirdcut/internal/unit"
)

// The shares that place a window, ours; to be tuned on a replay of a season.
const (
	// BestChance is the greatest chance of taking more than a third that the best day bears.
	BestChance = 0.10
	// ClosesChance is the same for the last day of the window.
	ClosesChance = 0.50
	// OpensShare is the share that must be worth a trip.
	OpensShare = 0.15
	// NewLawnChance takes BestChance's place on the second day after a cut of a
	// lawn that is not learned yet: a new low lawn is cut and measured every two
	// days rather than daily.
	NewLawnChance = 0.20
	// newLawnDeviation is the deviation of ln k from which a lawn counts as not learned.
	newLawnDeviation = 0.2
	// leftTall is the ratio of height left to cutting height from which a cut counts as a step of a step-down.
	leftTall = 1.1
)

// chancesBeyond is how many days after the window its chances are still shown.
const chancesBeyond = 2

// dates is a window in days of the curve, and what led to it.
type dates struct {
	opens, best, closes int // -1: none
	from                int // first day of growth after the cut
	earliest            int // first day on which it can be cut from today on; len when none
	over                int // first day on which BestChance is passed; len when none
	horizon             bool
	tight               bool
	late                bool // the best day has passed
	secondDay           bool // a new low lawn waits a second day
	overgrown           bool // stands over the trigger before it can be cut
	greatest            bool // the plan's greatest days between cuts decided
	atBest              spot // after growth of the best day
	atOver              spot
	before              float64 // mm standing the evening before earliest
}

// spot is what is known of one day.
type spot struct {
	sum, height, chance float64
}

// Window is when the lawn is due after a cut on that day that left that height,
// with what has been learned of it. It depends on nothing else, so a planner can
// ask it for a cut that is only thought of. Without a known cut (zero date) or
// height (not above 0) it assumes a cut to the cutting height just before the
// curve begins or on that day, and says so in the reason.
//
// There is no window, and Reason says why, where the cutting height is not
// known, the grass is dormant, nothing comes due within the curve, or every day
// is closed.
func (c Curve) Window(cutOn civil.Date, left unit.Length, k Learned) turf.Window {
	a := c.ask(cutOn, left, k)
	if a.refusal != "" {
		return turf.Window{Work: turf.Mow, Reason: a.refusal}
	}
	d := c.dates(a)
	w := turf.Window{Work: turf.Mow, Tight: d.tight, Reason: c.reason(a, d)}
	if d.best < 0 {
		return w
	}
	w.Opens, w.Best, w.Closes = c.date(d.opens), c.date(d.best), c.date(d.closes)
	w.Struck = c.struck(max(d.from, c.today()), d.closes)
	w.Chances = c.chances(a, d)
	return w
}

// Days is Window without words, for planners that ask often: the three days, or
// zero dates for no window.
func (c Curve) Days(cutOn civil.Date, left unit.Length, k Learned) (opens, best, closes civil.Date, tight bool) {
	a := c.ask(cutOn, left, k)
	if a.refusal != "" {
		return
	}
	d := c.dates(a)
	if d.best < 0 {
		return
	}
	return c.date(d.opens), c.date(d.best), c.date(d.closes), d.tight
}

// ChanceOn is the chance that a cut on that day takes more than one third, 0
// to 1; the last day's where the curve ends before it.
func (c Curve) ChanceOn(cutOn civil.Date, left unit.Length, k Learned, on civil.Date) float64 {
	a := c.ask(cutOn, left, k)
	if a.refusal != "" {
		return 0
	}
	w := c.walkFrom(a.left, a.height, a.k)
	p := 0.0
	if w.need <= 0 {
		p = 1
	}
	for i := a.from; i <= min(on.DayNumber()-c.first, len(c.ext)-1); i++ {
		w.next(i)
		p = w.chance(i)
	}
	return p
}

// question is what Window was asked, made sound.
type question struct {
	from              int // index of the first day of growth
	left, height      float64
	k                 Learned
	cutOn             civil.Date
	noCut, noHeight   bool
	noK, beforeBegins bool
	refusal           string
}

// unlearned says whether too little is known of the lawn's own growth.
func (a question) unlearned() bool { return a.k.P >= newLawnDeviation*newLawnDeviation }

// tall says whether the cut left clearly more than the cutting height, as a
// step-down does: what follows then tells nothing about the cadence.
func (a question) tall() bool { return a.left > leftTall*a.height }

func (c Curve) ask(cutOn civil.Date, left unit.Length, k Learned) question {
	h := c.lawn.Area.Height
	a := question{cutOn: cutOn, left: left.Millimetres(), height: h.Millimetres()}
	var ok bool
	if a.k, ok = k.valid(); !ok {
		a.noK = true
	}
	if !positive(h) || h > HighestReading {
		a.refusal = "The cutting height of this area is not known; enter it to get a window."
		return a
	}
	if len(c.ext) == 0 {
		a.refusal = "No growing weather is known here; import or fetch the weather of this place."
		return a
	}
	if cutOn.IsZero() {
		a.noCut, a.cutOn = true, c.First().AddDays(-1)
	}
	if !positive(left) || left > HighestReading {
		a.noHeight, a.left = true, a.height
	}
	a.from = a.cutOn.DayNumber() - c.first + 1
	if a.from < 0 {
		a.beforeBegins, a.from = true, 0
	}
	if a.from >= len(c.ext) || c.today() >= len(c.ext) {
		a.refusal = "No window yet: the weather here is read only up to " + day(c.Last()) + "; it is computed again when there is more."
	}
	return a
}

func (c Curve) date(i int) civil.Date { return civil.FromDayNumber(c.first + i) }

// today is the first day on which a cut can be planned, as an index.
func (c Curve) today() int {
	if c.lawn.Today.IsZero() {
		return 0
	}
	return max(0, c.lawn.Today.DayNumber()-c.first)
}

// firstFree is the first free day from i on; len when there is none.
func (c Curve) firstFree(i int) int {
	for i < len(c.bars) && c.bars[i] != free {
		i++
	}
	return min(i, len(c.bars))
}

// lastFree is the last free day in lo..hi; -1 when there is none.
func (c Curve) lastFree(lo, hi int) int {
	for i := min(hi, len(c.bars)-1); i >= lo; i-- {
		if c.bars[i] == free {
			return i
		}
	}
	return -1
}

func (c Curve) dates(a question) dates {
	n := len(c.ext)
	soonest := a.from + max(0, c.lawn.LeastDays-1) // day 1 after the cut is index from
	d := dates{opens: -1, best: -1, closes: -1, from: a.from, over: n, before: a.left}
	possible := c.firstFree(soonest)
	d.earliest = c.firstFree(max(soonest, c.today()))
	if d.earliest >= n {
		return d
	}
	ripe, dead := n, n // first day worth a trip; first day past closing
	var atPossible, atEarliest spot
	w := c.walkFrom(a.left, a.height, a.k)
	for i := a.from; i < n; i++ {
		if i == d.earliest {
			d.before = w.height()
		}
		w.next(i)
		s := spot{w.sum, w.height(), w.chance(i)}
		if ripe == n && s.height > 0 && 1-a.height/s.height >= OpensShare {
			ripe = i
		}
		if d.over == n && s.chance > BestChance {
			d.over, d.atOver = i, s
		}
		if dead == n && s.chance > ClosesChance {
			dead = i
		}
		if i == possible {
			atPossible = s
		}
		if i == d.from+1 && d.over == i && s.chance <= NewLawnChance && a.unlearned() {
			d.secondDay = true
		}
		if i == d.earliest {
			atEarliest = s
		}
		if dead < n && i >= d.earliest && i >= possible {
			break
		}
	}
	d.overgrown = !unit.AtMost(d.before, triggerRatio*a.height) || a.left > triggerRatio*a.height*(1+1e-9)
	bears := BestChance
	if d.secondDay && possible <= d.from+1 {
		bears = NewLawnChance
	}
	d.tight = !a.tall() && atPossible.chance > bears
	d.late = !d.overgrown && !d.tight && atEarliest.chance > bears
	c.place(&d, ripe, dead)
	if d.best >= 0 {
		d.atBest = c.spotAt(a, d.best)
	}
	return d
}

// place sets the three days from the day that is worth a trip, the first day
// over the best chance and the first day past closing.
func (c Curve) place(d *dates, ripe, dead int) {
	n := len(c.ext)
	last := n // first day that the plan's greatest number of days forbids
	if g := c.lawn.GreatestDays; g > 0 {
		last = min(n, d.from+g)
	}
	switch {
	case d.overgrown:
		d.opens, d.best, d.closes = d.earliest, d.earliest, d.earliest
		return
	case ripe == n && d.over == n && last == n: // nothing comes due in what is computed
		return
	}
	d.horizon = d.over == n && last == n
	d.greatest = last < d.over && last < n
	bestEnd := min(d.over, last) - 1
	if d.secondDay {
		bestEnd = min(d.over+1, last) - 1
	}
	d.best = c.lastFree(d.earliest, bestEnd)
	if d.best < 0 {
		d.best = d.earliest
	}
	d.closes = max(d.best, c.lastFree(d.best, min(dead, last)-1))
	d.opens = min(d.best, c.firstFree(max(d.earliest, ripe)))
}

func (c Curve) spotAt(a question, at int) spot {
	w := c.walkFrom(a.left, a.height, a.k)
	for i := a.from; i <= at; i++ {
		w.next(i)
	}
	return spot{w.sum, w.height(), w.chance(at)}
}

func (c Curve) struck(from, to int) []turf.StruckDay {
	var out []turf.StruckDay
	for i := max(0, from); i <= min(to, len(c.bars)-1); i++ {
		if c.bars[i] == free {
			continue
		}
		why := c.bars[i].words()
		if why == "" {
			why = c.reasons[i]
		}
		out = append(out, turf.StruckDay{Date: c.date(i), Reason: why})
	}
	return out
}

func (c Curve) chances(a question, d dates) []turf.DayChance {
	end := min(len(c.ext)-1, d.closes+chancesBeyond)
	begin := max(a.from, min(c.today(), d.opens))
	out := make([]turf.DayChance, 0, end-begin+1)
	w := c.walkFrom(a.left, a.height, a.k)
	for i := a.from; i <= end; i++ {
		w.next(i)
		if i < begin {
			continue
		}
		out = append(out, turf.DayChance{Date: c.date(i), OverThird: round(w.chance(i), 1e-4),
			StandingHeightIn: round(w.height()/unit.Inch.Millimetres(), 1e-3)})
	}
	return out
}

// round keeps what people and files see to a sensible number of digits.
func round(x, step float64) float64 { return math.Round(x/step) * step }
