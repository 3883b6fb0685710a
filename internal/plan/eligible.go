package plan

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"thirdcut/internal/civil"
	"thirdcut/internal/route"
	"thirdcut/internal/turf"
)

// heightTolerance is how far a cutting height may miss a machine's range and
// still be the same setting on its deck, inches.
const heightTolerance = 0.01

// crewDay is one slot of the engine: a crew on a day.
type crewDay struct {
	crew   int
	date   civil.Date
	closed bool // only kept visits; nothing new goes here
}

// why is a cause with its sentence.
type why struct{ code, text string }

func because(code, format string, args ...any) *why { return &why{code, fmt.Sprintf(format, args...)} }

// choice is a slot that a piece of work may go to and what that costs, minutes.
type choice struct {
	slot    int
	minutes float64
}

// piece is one time of one item: its first, or a later one within the plan.
type piece struct {
	item   int
	round  int
	window turf.Window
	day    civil.Date // decided already; zero: open
}

// placeable says what stands against an item whatever the day; nil: nothing.
func (m *maker) placeable(it Item) *why {
	p, known := m.in.Properties[it.PropertyID]
	switch {
	case m.idTwice[it.ID] > 1:
		return because(CauseBadInput, "Two works carry the key %q; give each its own.", it.ID)
	case it.ID == "":
		return because(CauseBadInput, "The work has no key.")
	case !known:
		return because(CauseBadInput, "Its property is not among those given.")
	case !it.Work.Known():
		return because(CauseBadInput, "%q is not a kind of work.", string(it.Work))
	case len(it.AreaIDs) == 0:
		return because(CauseBadInput, "It names no turf area.")
	case !(it.ServiceMinutes > 0) || it.ServiceMinutes > 24*60:
		return because(CauseBadInput, "It takes %v minutes; the time must be above zero and at most a day.", it.ServiceMinutes)
	case it.Refusal != "":
		return because(CauseRefused, "It may not be planned: %s", it.Refusal)
	case !it.Window.Open():
		return because(CauseNoWindow, "It has no due window. %s", orWords(it.Window.Reason, "Compute its window again."))
	case !onMap(p.Latitude, p.Longitude):
		return because(CauseNotOnMap, "The property is not placed on the map; set its point on the map to have it planned.")
	case p.AllowedFrom != nil && p.AllowedTo != nil && *p.AllowedTo <= *p.AllowedFrom:
		return because(CauseBadInput, "The property allows work from %s to %s; the end must come after the start.", *p.AllowedFrom, *p.AllowedTo)
	case len(m.crews) == 0:
		return because(CauseNoCrew, "No crew can be planned for; add a crew with working days and a depot on the map.")
	}
	return nil
}

func orWords(s, other string) string {
	if s = strings.TrimSpace(s); s == "" {
		return other
	}
	return s
}

func onMap(lat, lon *float64) bool {
	return lat != nil && lon != nil && route.Point{Latitude: *lat, Longitude: *lon}.Known()
}

// choices lists the slots that a piece may go to, or says why there is none.
func (m *maker) choices(pc piece) ([]choice, *why) {
	it := m.in.Items[pc.item]
	days, no := m.days(pc)
	if no != nil {
		return nil, no
	}
	able := m.crewsWith(func(c Crew) bool { return slices.Contains(c.Abilities, it.Work) })
	if len(able) == 0 {
		return nil, because(CauseNoAbility, "No crew has the ability to %s.", it.Work.Words())
	}
	fit := m.crewsWith(func(c Crew) bool { return slices.Contains(c.Abilities, it.Work) && hasMachine(c, it) })
	if len(fit) == 0 {
		return nil, because(CauseNoMachine, "No machine of a crew that can %s %s.", it.Work.Words(), machineWords(it))
	}
	return m.slotsFor(pc, days, fit)
}

// slotsFor goes from working days to licences to the length of the day.
func (m *maker) slotsFor(pc piece, days []civil.Date, fit []int) (out []choice, no *why) {
	it := m.in.Items[pc.item]
	works, licensed := false, false
	for s, cd := range m.slots {
		if cd.closed || !slices.Contains(fit, cd.crew) || !slices.Contains(days, cd.date) {
			continue
		}
		works = true
		c := m.crews[cd.crew]
		if !licensedOn(c, it.NeedsLicense, cd.date) {
			continue
		}
		licensed = true
		if m.fitsAlone(it, c) {
			out = append(out, choice{s, m.choiceMinutes(pc, cd)})
		}
	}
	switch {
	case len(out) > 0:
		return out, nil
	case !works:
		return nil, because(CauseNoAbility, "No crew that can %s works on a day in its window (%s).", it.Work.Words(), span(days))
	case !licensed:
		return nil, because(CauseNoLicense, "No crew that can %s has a %s licence in force on a day in its window (%s).", it.Work.Words(), it.NeedsLicense, span(days))
	}
	return nil, because(CauseTooLong, "It takes %s min with the drive there and back on top, which fits into no crew's shift within the property's hours; split it or lengthen a shift.", number(it.ServiceMinutes))
}

func (m *maker) choiceMinutes(pc piece, cd crewDay) float64 {
	it := m.in.Items[pc.item]
	if !pc.day.IsZero() {
		return 0 // the day was chosen, and paid for, in an earlier pass
	}
	before, known := m.in.Previous[it.ID]
	return dayMinutes(pc.window, cd.date, it.ServiceMinutes) +
		movedMinutes(before, known && pc.round == 1, m.crews[cd.crew], cd.date)
}

// days lists the days of the plan on which the piece may be done at the property.
func (m *maker) days(pc piece) ([]civil.Date, *why) {
	w, p := pc.window, m.in.Properties[m.in.Items[pc.item].PropertyID]
	switch {
	case w.Opens.After(m.in.To):
		return nil, because(CauseNotDue, "Its window opens on %s, after the last day planned, %s.", short(w.Opens), short(m.in.To))
	case w.Closes.Before(m.in.From):
		return nil, because(CauseOverdue, "Its window closed on %s, before the first day planned, %s; compute its window again.", short(w.Closes), short(m.in.From))
	}
	var open, days []civil.Date
	for d := m.in.From; !d.After(m.in.To); d = d.AddDays(1) {
		if !w.Holds(d) || (!pc.day.IsZero() && d != pc.day) {
			continue
		}
		open = append(open, d)
		if !slices.Contains(p.ClosedWeekdays, isoWeekday(d)) {
			days = append(days, d)
		}
	}
	switch {
	case len(open) == 0:
		return nil, because(CauseStruck, "Every day of its window within the plan is struck out. %s", struckWords(w, m.in.From, m.in.To))
	case len(days) == 0:
		return nil, because(CauseClosed, "The property is closed on every day of its window (%s).", span(open))
	}
	return days, nil
}

func (m *maker) crewsWith(ok func(Crew) bool) (list []int) {
	for i, c := range m.crews {
		if ok(c) {
			list = append(list, i)
		}
	}
	return list
}

// cuts says whether the work cuts grass.
func cuts(w turf.Work) bool { return w == turf.Mow || w == turf.FirstCut }

// hasMachine says whether a crew's mowers can do the cut. Other work is decided
// by abilities: a hand spreader is not always written down.
func hasMachine(c Crew, it Item) bool {
	return !cuts(it.Work) || slices.ContainsFunc(c.Machines, func(m Machine) bool {
		if m.Kind != string(turf.Reel) && m.Kind != string(turf.Rotary) || it.Mower != "" && m.Kind != string(it.Mower) {
			return false
		}
		h := it.CuttingHeightIn
		return !(h > 0) || m.HeightMinIn <= h+heightTolerance && h <= m.HeightMaxIn+heightTolerance
	})
}

func machineWords(it Item) string {
	kind := ""
	if it.Mower != "" {
		kind = " and is a " + string(it.Mower) + " mower"
	}
	if it.CuttingHeightIn > 0 {
		return "cuts at " + number(it.CuttingHeightIn) + " in" + kind
	}
	return "is a mower" + kind
}

func licensedOn(c Crew, kind string, d civil.Date) bool {
	return kind == "" || slices.ContainsFunc(c.Licenses, func(l License) bool {
		return l.Kind == kind && !d.Before(l.From) && !d.After(l.To)
	})
}

// fitsAlone says whether a crew could do the work as the only one of its day.
func (m *maker) fitsAlone(it Item, c Crew) bool {
	p := m.in.Properties[it.PropertyID]
	home, there := c.depot(), p.point()
	arrive := int(c.ShiftFrom)*60 + m.drive(home, there)
	if p.AllowedFrom != nil {
		arrive = max(arrive, int(*p.AllowedFrom)*60)
	}
	done := arrive + m.arrivalSeconds() + wholeMinutes(it.ServiceMinutes)
	if p.AllowedTo != nil && done > int(*p.AllowedTo)*60 {
		return false
	}
	return done+m.drive(there, home) <= (int(c.ShiftTo)+c.MaxOvertimeMinutes)*60
}

func (c Crew) depot() route.Point {
	return route.Point{Latitude: *c.DepotLatitude, Longitude: *c.DepotLongitude}
}

func (p Property) point() route.Point {
	return route.Point{Latitude: *p.Latitude, Longitude: *p.Longitude}
}

// wholeMinutes rounds up to the minute, in seconds.
func wholeMinutes(minutes float64) int { return int(math.Ceil(minutes-1e-9)) * 60 }

// isoWeekday counts Monday as 1 and Sunday as 7.
func isoWeekday(d civil.Date) int { return (int(d.Weekday())+6)%7 + 1 }

// short writes "Tue 2 Jun".
func short(d civil.Date) string {
	return d.Weekday().String()[:3] + " " + strconv.Itoa(d.Day) + " " + d.Month.String()[:3]
}

// span writes the first and last of some days.
func span(days []civil.Date) string {
	if len(days) == 1 {
		return short(days[0])
	}
	return short(days[0]) + " to " + short(days[len(days)-1])
}

func number(x float64) string { return strconv.FormatFloat(math.Round(x*100)/100, 'f', -1, 64) }

func struckWords(w turf.Window, from, to civil.Date) string {
	var said []string
	for _, s := range w.Struck {
		if !s.Date.Before(from) && !s.Date.After(to) && len(said) < 7 {
			said = append(said, short(s.Date)+": "+s.Reason)
		}
	}
	return strings.Join(said, "; ")
}
