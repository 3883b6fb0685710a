package plan

import (
	"context"
	"math"
	"slices"

	"github.com/google/uuid"

	"thirdcut/internal/civil"
	"thirdcut/internal/fault"
	"thirdcut/internal/route"
)

// MaxDays is the longest plan, days: a quarter. Beyond it windows are guesses.
const MaxDays = 92

// MaxArrivalMinutes bounds what is spent once a visit.
const MaxArrivalMinutes = 240.0

// Options are the ways of the machine, not of the plan.
type Options struct {
	// Share tells which part of the time allowed is used up, 0 to 1; nil works
	// through Input.Iterations. Plans made by time do not repeat exactly.
	Share func() float64
	// Progress hears the share done and what is unplaced; nil: nobody asks.
	Progress func(share float64, unplaced int)
}

// Make plans what can be planned and says of the rest why not. The error is a
// fault only where nothing can be planned at all: "bad-range" for days in the
// wrong order or too many, "bad-arrival" for impossible arrival minutes. A
// context that ends early gives the best plan so far.
//
// Work that comes back within the plan is planned in passes. In the first, each
// later time is assumed to follow from the best day of the time before; then the
// first times keep the days they got, the windows of the second times are
// computed from those days, and so on, so that in the plan returned every window
// follows from the day really chosen before it. What the passes give up is a
// first day chosen for the sake of the second; that is a known weakness.
func Make(ctx context.Context, in Input, opt Options) (Proposal, error) {
	if in.From.IsZero() || in.To.IsZero() || in.To.Before(in.From) || in.To.Since(in.From) >= MaxDays {
		return Proposal{}, fault.New(fault.Invalid, "bad-range",
			"A plan runs from a first to a last day and over %d days at most; got %q to %q.", MaxDays, in.From, in.To)
	}
	if !(in.ArrivalMinutes >= 0 && in.ArrivalMinutes <= MaxArrivalMinutes) {
		return Proposal{}, fault.New(fault.Invalid, "bad-arrival",
			"Arriving takes %v minutes a visit; give 0 to %v.", in.ArrivalMinutes, MaxArrivalMinutes)
	}
	m := newMaker(in, opt)
	m.readCrews()
	m.readKept()
	m.readItems()
	if err := m.passes(ctx); err != nil {
		return Proposal{}, err
	}
	return m.proposal(), nil
}

// maker holds one planning.
type maker struct {
	in       Input
	opt      Options
	crews    []Crew // those that can be planned for
	crewAt   map[uuid.UUID]int
	slots    []crewDay
	slotAt   map[crewDay]int // crew and date only
	idTwice  map[string]int
	problems []Problem
	unplaced []Unplaced
	kept     []keptStop
	loose    []Kept // kept visits that no slot can hold; they are shown as they are
	live     []int  // items that may be planned
	startOf  map[int]civil.Date
	decided  map[pieceKey]civil.Date

	places  []route.Point
	placeAt map[uuid.UUID]int // property to place
	groups  []group
	problem route.Problem
	last    route.Solution
	before  [][]pieceKey // the routes of the pass before
}

// pieceKey names one time of one item.
type pieceKey struct{ item, round int }

func newMaker(in Input, opt Options) *maker {
	m := &maker{in: in, opt: opt, crewAt: map[uuid.UUID]int{}, slotAt: map[crewDay]int{}, idTwice: map[string]int{},
		startOf: map[int]civil.Date{}, decided: map[pieceKey]civil.Date{}, placeAt: map[uuid.UUID]int{}}
	m.in.Items = slices.Clone(in.Items)
	for _, it := range in.Items {
		m.idTwice[it.ID]++
	}
	return m
}

// drive is the seconds between two points.
func (m *maker) drive(a, b route.Point) int { return driveSeconds(m.in, a, b) }

// driveSeconds is the input's own travel, kept within a day, or the estimate by map.
func driveSeconds(in Input, a, b route.Point) int {
	if in.Drive != nil {
		return min(max(0, in.Drive(a, b)), 86_400)
	}
	return route.DriveSeconds(a, b)
}

func (m *maker) arrivalSeconds() int { return wholeMinutes(m.in.ArrivalMinutes) }

func (m *maker) trouble(code string, no *why) {
	m.problems = append(m.problems, Problem{code, no.text})
}

// readCrews takes the crews that can be planned for and makes their days.
func (m *maker) readCrews() {
	seen := map[uuid.UUID]bool{}
	for _, c := range m.in.Crews {
		no := m.crewTrouble(c)
		if seen[c.ID] {
			no = because("crew-twice", "Crew %s is given twice; the second is left out.", c.Name)
		}
		seen[c.ID] = true
		if no != nil {
			m.trouble(no.code, no)
			continue
		}
		m.crewAt[c.ID] = len(m.crews)
		m.crews = append(m.crews, c)
	}
	for d := m.in.From; !d.After(m.in.To); d = d.AddDays(1) {
		for i, c := range m.crews {
			if slices.Contains(c.WorkDays, isoWeekday(d)) && !slices.Contains(c.DaysOff, d) {
				m.addSlot(crewDay{crew: i, date: d})
			}
		}
	}
}

func (m *maker) addSlot(cd crewDay) int {
	m.slotAt[crewDay{crew: cd.crew, date: cd.date}] = len(m.slots)
	m.slots = append(m.slots, cd)
	return len(m.slots) - 1
}

func (m *maker) crewTrouble(c Crew) *why {
	switch {
	case !onMap(c.DepotLatitude, c.DepotLongitude):
		return because("no-depot", "The depot of crew %s is not on the map, so the crew is not planned; place the depot.", c.Name)
	case c.ShiftFrom < 0 || c.ShiftTo > 1440 || c.ShiftTo <= c.ShiftFrom:
		return because("bad-shift", "Crew %s works from %s to %s, so it is not planned; the end must come after the start.", c.Name, c.ShiftFrom, c.ShiftTo)
	case c.MaxOvertimeMinutes < 0 || c.MaxOvertimeMinutes > 1440:
		return because("bad-overtime", "Crew %s may work %d minutes of overtime, so it is not planned; give 0 to 1440.", c.Name, c.MaxOvertimeMinutes)
	}
	return nil
}

// readItems sets aside what cannot be planned whatever the day, and takes off
// what kept visits do already.
func (m *maker) readItems() {
	taken := map[areaWork]string{}
	for i, it := range m.in.Items {
		no := m.placeable(it)
		if no == nil {
			no = twiceDue(it, taken)
		}
		if no != nil {
			m.leave(piece{item: i, round: 1, window: it.Window}, no)
			continue
		}
		if m.takeOffKept(i) {
			m.live = append(m.live, i)
		}
	}
}

type areaWork struct {
	area uuid.UUID
	work string
}

// twiceDue refuses a second item for the same area and work. Treatments may be
// several: their products differ.
func twiceDue(it Item, taken map[areaWork]string) *why {
	if it.Work.Treats() {
		return nil
	}
	own := map[uuid.UUID]bool{}
	for _, a := range it.AreaIDs {
		if other, ok := taken[areaWork{a, string(it.Work)}]; ok {
			return because(CauseBadInput, "The same work on the same turf area is due as %q already.", other)
		}
		if own[a] {
			return because(CauseBadInput, "It names one turf area twice.")
		}
		own[a] = true
	}
	for a := range own {
		taken[areaWork{a, string(it.Work)}] = it.ID
	}
	return nil
}

func (m *maker) leave(pc piece, no *why) {
	it := m.in.Items[pc.item]
	m.unplaced = append(m.unplaced, Unplaced{ItemID: it.ID, PropertyID: it.PropertyID, Work: it.Work, Round: pc.round,
		Opens: pc.window.Opens, Closes: pc.window.Closes, Code: no.code, Why: no.text})
}

// finite says whether minutes can be planned with.
func finite(minutes float64) bool { return minutes >= 0 && !math.IsInf(minutes, 1) && minutes <= 1440 }
