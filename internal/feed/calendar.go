// Package feed says when a turf area may be fed, with how much nitrogen, and
// when the treatments of the year fall due.
package feed

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"thirdcut/internal/civil"
	"thirdcut/internal/growth"
	"thirdcut/internal/turf"
)

// Slot is one window of the feeding calendar. Amounts are the window's total,
// lb N per 1,000 sq ft.
type Slot struct {
	From, To    civil.MonthDay
	Least, Most float64
	OnlyIfWeak  bool
}

// Calendar is a species' feeding year. The slots are hard: outside them no nitrogen.
type Calendar struct {
	Slots  []Slot
	Year   float64 // lb N per 1,000 sq ft
	Source string
}

func md(m time.Month, d int) civil.MonthDay { return civil.MonthDay{Month: m, Day: d} }

// Source of all four: T-16; amounts outside the schedule's own grasses are ours.
var (
	coolCalendar = Calendar{[]Slot{
		{md(time.May, 1), md(time.June, 15), 0.7, 0.9, true},
		{md(time.September, 1), md(time.September, 30), 0.7, 0.9, false},
		{md(time.October, 1), md(time.November, 15), 0.7, 0.9, false},
	}, 2.7, "T-16"}
	fineFescueCalendar = Calendar{[]Slot{
		{md(time.May, 1), md(time.June, 15), 0.5, 0.5, true},
		{md(time.September, 1), md(time.November, 15), 0.7, 0.9, false},
	}, 1.4, "T-16"}
	zoysiaCalendar = Calendar{[]Slot{
		{md(time.May, 1), md(time.June, 15), 0.7, 0.9, false},
		{md(time.June, 16), md(time.July, 31), 0.5, 0.9, true},
	}, 1.8, "T-16"}
	bermudaCalendar = Calendar{[]Slot{
		{md(time.May, 1), md(time.June, 15), 0.7, 0.9, false},
		{md(time.June, 16), md(time.July, 31), 0.7, 0.9, false},
		{md(time.August, 1), md(time.August, 15), 0.5, 0.9, false},
	}, 2.7, "T-16"}
)

// CalendarOf is the feeding calendar of a species, mid-Atlantic dates. Grass
// that nobody has named has no slots. Warm-season grasses that the schedule
// does not name follow zoysiagrass, cool-season ones tall fescue (ours).
func CalendarOf(s turf.Species) Calendar {
	switch s {
	case turf.FineFescue:
		return fineFescueCalendar
	case turf.BermudagrassCommon, turf.BermudagrassHybrid:
		return bermudaCalendar
	}
	switch growth.Of(s).Season {
	case growth.CoolSeason:
		return coolCalendar
	case growth.WarmSeason:
		return zoysiaCalendar
	}
	return Calendar{Source: "ours"}
}

// Caps are the limits of law and label that apply at the place; 0 means that
// there is none. Amounts in lb N per 1,000 sq ft.
type Caps struct {
	PerDose        float64
	SolublePerDose float64
	PerYear        float64
	ClosedFrom     civil.MonthDay // season in which no nitrogen may go down
	ClosedTo       civil.MonthDay // zero: no closed season
	Source         string         // citation, as it is shown
}

func (c Caps) closed(d civil.Date) bool {
	return c.ClosedFrom != (civil.MonthDay{}) && d.Within(c.ClosedFrom, c.ClosedTo)
}

// Given is nitrogen that went down.
type Given struct {
	On civil.Date
	N  float64 // lb per 1,000 sq ft; negative where clippings took it away
}

// Sum is the ledger's total of from..to, both included, lb N per 1,000 sq ft.
func Sum(given []Given, from, to civil.Date) float64 {
	total := 0.0
	for _, g := range given {
		if !g.On.Before(from) && !g.On.After(to) {
			total += g.N
		}
	}
	return total
}

// Ask is what a feeding plan is made for.
type Ask struct {
	Species turf.Species
	Year    int
	Caps    Caps
	Plan    float64 // the service plan's yearly N, lb per 1,000 sq ft; 0: the calendar's
	Weak    bool    // somebody looked and found the stand thin or pale
	Given   []Given
	Today   civil.Date // slots that have ended are left out; zero keeps all
}

// Feeding is one dose with its window. SolubleMost is the most of it that may
// be quickly soluble nitrogen.
type Feeding struct {
	Window      turf.Window
	N           float64 // lb per 1,000 sq ft
	SolubleMost float64
}

// doseInterval is the least number of days between two doses of one slot: every
// two to four weeks. Source: common practice.
const doseInterval = 14

// smallestDose is the least that is worth a trip, lb N per 1,000 sq ft. Ours.
const smallestDose = 0.1

// Plan lays the year's nitrogen into the calendar's slots: the smallest of
// calendar, service plan, the species' yearly range and law, less what was given
// this year; slots that are "only if weak" come last and only then. The reason
// names which limit decided.
func Plan(a Ask) []Feeding {
	c := CalendarOf(a.Species)
	total, by := a.total(c)
	left := math.Max(0, total-Sum(a.Given, civil.On(a.Year, time.January, 1), civil.On(a.Year, time.December, 31)))
	amounts := a.share(c, left)
	var out []Feeding
	for i, s := range c.Slots {
		if amounts[i] >= smallestDose {
			out = append(out, a.doses(s, amounts[i], total, by)...)
		}
	}
	return out
}

// total is the year's nitrogen and which limit decided it.
func (a Ask) total(c Calendar) (lb float64, by string) {
	lb, by = c.Year, "the feeding calendar"
	lower := func(x float64, why string) {
		if x > 0 && x < lb {
			lb, by = x, why
		}
	}
	lower(a.Plan, "the service plan")
	if ranges := growth.Of(a.Species).Nitrogen; len(ranges) > 0 {
		lower(ranges[0].Most, "the usual range of the species")
	}
	lower(a.Caps.PerYear, "the rule "+a.Caps.Source)
	return lb, by
}

// share gives each slot its amount: the certain slots in proportion to their
// most, then the weak ones from what is left.
func (a Ask) share(c Calendar, left float64) []float64 {
	out := make([]float64, len(c.Slots))
	for _, weak := range []bool{false, true} {
		if weak && !a.Weak {
			continue
		}
		room := 0.0
		for _, s := range c.Slots {
			if s.OnlyIfWeak == weak && !a.over(s) {
				room += a.room(s)
			}
		}
		if room <= 0 {
			continue
		}
		part := math.Min(1, left/room)
		for i, s := range c.Slots {
			if s.OnlyIfWeak == weak && !a.over(s) {
				out[i] = part * a.room(s)
				left = math.Max(0, left-out[i])
			}
		}
	}
	return out
}

// room is what a slot still takes.
func (a Ask) room(s Slot) float64 {
	from, to := a.dates(s)
	return math.Max(0, s.Most-Sum(a.Given, from, to))
}

// dates are the slot's days in the year less the closed season at its ends;
// from is after to when nothing is left.
func (a Ask) dates(s Slot) (from, to civil.Date) {
	from, to = civil.On(a.Year, s.From.Month, s.From.Day), civil.On(a.Year, s.To.Month, s.To.Day)
	for !from.After(to) && a.Caps.closed(from) {
		from = from.AddDays(1)
	}
	for !to.Before(from) && a.Caps.closed(to) {
		to = to.AddDays(-1)
	}
	return from, to
}

func (a Ask) over(s Slot) bool {
	from, to := a.dates(s)
	return to.Before(from) || !a.Today.IsZero() && to.Before(a.Today)
}

// doses splits a slot's amount into doses under the cap, each with its own part
// of the slot's days.
func (a Ask) doses(s Slot, amount, total float64, by string) []Feeding {
	from, to := a.dates(s)
	if a.Today.After(from) && !a.Today.IsZero() {
		from = a.Today
	}
	n, days := 1, to.Since(from)+1
	if a.Caps.PerDose > 0 {
		n = int(math.Ceil(amount/a.Caps.PerDose - 1e-9))
	}
	if most := (days-1)/doseInterval + 1; n > most { // the rest of the amount finds no room
		n = most
		amount = float64(n) * a.Caps.PerDose
	}
	out := make([]Feeding, n)
	for i := range out {
		lo, hi := from.AddDays(days*i/n), from.AddDays(days*(i+1)/n-1)
		f := Feeding{N: amount / float64(n)}
		f.SolubleMost = f.N
		if a.Caps.SolublePerDose > 0 {
			f.SolubleMost = math.Min(f.N, a.Caps.SolublePerDose)
		}
		f.Window = turf.Window{Work: turf.Spread, Opens: lo, Best: lo.AddDays(hi.Since(lo) / 2), Closes: hi,
			Reason: a.words(f, total, by), Struck: a.struck(lo, hi)}
		out[i] = f
	}
	return out
}

func (a Ask) struck(lo, hi civil.Date) (out []turf.StruckDay) {
	for d := lo; !d.After(hi); d = d.AddDays(1) {
		if a.Caps.closed(d) {
			out = append(out, turf.StruckDay{Date: d, Reason: "closed season for nitrogen by " + a.Caps.Source})
		}
	}
	return out
}

func (a Ask) words(f Feeding, total float64, by string) string {
	var b strings.Builder
	fmt.Fprintf(&b, "%.2f lb N/1000 sq ft for %s in this window; the year's %.2f lb is set by %s", f.N, a.Species.Words(), total, by)
	if f.SolubleMost < f.N {
		fmt.Fprintf(&b, "; at most %.2f lb of it soluble, by %s", f.SolubleMost, a.Caps.Source)
	}
	if growth.Of(a.Species).Season == growth.CoolSeason {
		b.WriteString("; none in summer, when it feeds disease")
	}
	b.WriteString(".")
	return b.String()
}

// Conditions is how a lawn stands on the day that it would be fed.
type Conditions struct {
	Species       turf.Species
	Dormant       bool
	Ks            float64 // water stress, 0..1; 1 for none
	Disease       bool    // active
	Frozen        bool
	Saturated     bool
	HeavyRain     bool    // forecast
	NightF, DayF  float64 // degrees F; NaN when unknown
	SolubleN      float64 // of the dose, lb per 1,000 sq ft
	HerbicideHold bool    // a label holds other products
}

// Limits of holding nitrogen.
const (
	holdStress  = 0.5 // Ks; ours
	hotNightF   = 65.0
	hotDayF     = 85.0 // T-18
	hotSolubleN = 0.5  // lb; common practice
)

// Holds are the reasons to wait with nitrogen, empty for none. Sources: T-16,
// T-17, T-18 and common practice.
func Holds(c Conditions) []string {
	var out []string
	add := func(when bool, why string) {
		if when {
			out = append(out, why)
		}
	}
	hot := c.DayF > hotDayF
	fescue := slices.Contains([]turf.Species{turf.TallFescue, turf.FineFescue, turf.MixedCool}, c.Species)
	add(c.Dormant, "the grass is dormant")
	add(c.Ks < holdStress, fmt.Sprintf("the grass is short of water (Ks %.2f, under %.1f)", c.Ks, holdStress))
	add(c.Disease, "disease is active")
	add(c.Frozen, "the ground is frozen")
	add(c.Saturated, "the ground is saturated")
	add(c.HeavyRain, "heavy rain is forecast")
	add(fescue && hot && c.NightF >= hotNightF, fmt.Sprintf("nights from %.0f F with days over %.0f F: brown patch weather on fescue", hotNightF, hotDayF))
	add(hot && c.SolubleN > hotSolubleN, fmt.Sprintf("more than %.1f lb soluble N above %.0f F: water it in or wait", hotSolubleN, hotDayF))
	add(c.HerbicideHold, "the label of another product asks for a wait")
	return out
}
