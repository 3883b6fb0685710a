package mowing

import (
	"math"

	"thirdcut/internal/civil"
	"thirdcut/internal/growth"
	"thirdcut/internal/turf"
	"thirdcut/internal/unit"
	"thirdcut/internal/weather"
)

// Lawn is what mowing has to know about a turf area.
type Lawn struct {
	Area growth.Area // Area.Height is the cutting height

	// LeastDays and GreatestDays between cuts by the service plan; 0: growth alone decides.
	LeastDays, GreatestDays int

	// SeasonFrom and SeasonTo bound the service plan's season, both days included;
	// zero: all year. No cut is planned outside it.
	SeasonFrom, SeasonTo civil.MonthDay

	// Closed are days on which the area may not or should not be mown: a label's
	// wait, re-entry, the property's or the company's days off, wet soil.
	Closed []turf.StruckDay

	// Today is the first day on which a cut can still be planned. Zero: any day
	// of the curve.
	Today civil.Date
}

// why a day cannot be used.
type bar uint8

const (
	free bar = iota
	closed
	cold
	drought
	recovering
	offSeason
)

func barOf(r growth.Rest) bar {
	switch r {
	case growth.ColdRest:
		return cold
	case growth.DroughtRest:
		return drought
	case growth.Recovering:
		return recovering
	}
	return free
}

func (b bar) words() string {
	switch b {
	case cold:
		return growth.ColdRest.Words()
	case drought:
		return growth.DroughtRest.Words()
	case recovering:
		return growth.Recovering.Words()
	case offSeason:
		return "outside the season agreed in the service plan"
	}
	return ""
}

// Curve is an area's growth over consecutive days, summed once, so that a
// window can be asked for any cut. Make it with Lawn.Grow. It is read-only and
// safe for use by several goroutines.
type Curve struct {
	lawn        Lawn
	first       int       // day number of day 0
	ext         []float64 // mm of the day with k = 1
	dev         []float64 // its deviation by the weather still to come
	ks          []float64
	bars        []bar
	reasons     map[int]string // of closed days
	seen        int            // index after the last measured day
	unknown     []int          // unknown days before each day
	persistence float64
}

// Grow sums the lawn's growth over the climate's days, which must begin no
// later than the day after the earliest cut asked about. daily gives water
// stress and nitrogen from the same first day; see growth.Daily.
func (l Lawn) Grow(c growth.Climate, daily growth.Daily) Curve {
	n := len(c.Days)
	v := Curve{lawn: l, ext: make([]float64, n), dev: make([]float64, n), ks: make([]float64, n),
		bars: make([]bar, n), unknown: make([]int, n+1), persistence: c.Persistence}
	if n == 0 {
		return v
	}
	v.first = c.Days[0].Date.DayNumber()
	l.Area.Each(c, daily, func(i int, f growth.Factors) {
		v.ext[i], v.dev[i], v.ks[i], v.bars[i] = f.Extension, f.Deviation, f.Water, barOf(f.Rest)
		if l.SeasonFrom != (civil.MonthDay{}) && !f.Date.Within(l.SeasonFrom, l.SeasonTo) {
			v.bars[i] = offSeason
		}
		v.unknown[i+1] = v.unknown[i]
		if !c.Days[i].Known {
			v.unknown[i+1]++
		}
		if f.Quality == weather.Observed || f.Quality == weather.Station {
			v.seen = i + 1
		}
	})
	v.strike(l.Closed)
	return v
}

func (c *Curve) strike(days []turf.StruckDay) {
	for _, s := range days {
		i := s.Date.DayNumber() - c.first
		if i < 0 || i >= len(c.bars) {
			continue
		}
		if c.reasons == nil {
			c.reasons = make(map[int]string, len(days))
		}
		if was, ok := c.reasons[i]; ok && was != s.Reason {
			c.reasons[i] = was + "; " + s.Reason
		} else {
			c.reasons[i] = s.Reason
		}
		if c.bars[i] == free {
			c.bars[i] = closed
		}
	}
}

// First and Last are the days that the curve covers; zero for an empty one.
func (c Curve) First() civil.Date {
	if len(c.ext) == 0 {
		return civil.Date{}
	}
	return civil.FromDayNumber(c.first)
}

// Last is the last day that the curve covers.
func (c Curve) Last() civil.Date {
	if len(c.ext) == 0 {
		return civil.Date{}
	}
	return civil.FromDayNumber(c.first + len(c.ext) - 1)
}

// Growth is the extension with k = 1 of the days after the cut up to and with
// the last one, and the mean water stress over them (1 for no days): what a
// Reading needs. Days that the curve does not cover add nothing.
func (c Curve) Growth(cutOn, through civil.Date) (sum unit.Length, meanKs float64) {
	from, to := max(0, cutOn.DayNumber()-c.first+1), min(len(c.ext)-1, through.DayNumber()-c.first)
	if to < from {
		return 0, 1
	}
	mm, ks := 0.0, 0.0
	for i := from; i <= to; i++ {
		mm += c.ext[i]
		ks += c.ks[i]
	}
	return unit.Length(mm) * unit.Millimetre, ks / float64(to-from+1)
}

// Standing is the height expected at the end of a day after a cut that left
// that much.
func (c Curve) Standing(cutOn civil.Date, left unit.Length, k Learned, on civil.Date) unit.Length {
	k, _ = k.valid()
	sum, _ := c.Growth(cutOn, on)
	return left + sum.Times(k.K())
}

// walk follows the growth after a cut day by day.
type walk struct {
	c        *Curve
	k        Learned
	factor   float64 // exp(x)
	left     float64 // mm
	need     float64 // mm that may grow until a third
	sum      float64 // mm with k = 1
	variance float64 // of sum, by the weather
	carry    float64 // covariance that the next day inherits
	day      int     // day number of k.On, for the drift
	aged     bool
}

func (c *Curve) walkFrom(left, height float64, k Learned) walk {
	w := walk{c: c, k: k, factor: k.K(), left: left, need: triggerRatio*height - left}
	if !k.On.IsZero() {
		w.day, w.aged = k.On.DayNumber(), true
	}
	return w
}

// next adds a day's growth.
func (w *walk) next(i int) {
	sd := w.c.dev[i]
	w.sum += w.c.ext[i]
	w.variance += sd*sd + 2*sd*w.carry
	w.carry = w.c.persistence * (w.carry + sd)
}

// height is what is expected to stand, mm.
func (w *walk) height() float64 { return w.left + w.factor*w.sum }

// chance that more than a third must come off at the end of day i: k lognormal
// with its drift, the weather's own deviation added on the log scale.
func (w *walk) chance(i int) float64 {
	if w.need <= 0 {
		return 1
	}
	if w.sum <= 0 {
		return 0
	}
	p := w.k.P
	if n := w.c.first + i - w.day; w.aged && n > 0 {
		p += float64(n) * DailyDrift * DailyDrift
	}
	cv := w.variance / (w.sum * w.sum)
	z := w.k.X + math.Log(w.sum/w.need)
	if sd := math.Sqrt(p + cv); sd > 1e-9 {
		return 0.5 * math.Erfc(-z/(sd*math.Sqrt2))
	}
	if z > 1e-9 {
		return 1
	}
	return 0
}
