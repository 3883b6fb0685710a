package plan

import (
	"cmp"
	"context"
	"math"
	"slices"

	"github.com/google/uuid"

	"thirdcut/internal/civil"
	"thirdcut/internal/route"
	"thirdcut/internal/turf"
)

// group is one stop of the engine: the pieces of one property that go together.
type group struct {
	property uuid.UUID
	pieces   []piece
	choices  []choice // by ascending slot
	kept     int      // index into maker.kept, -1: none
}

// maxRounds bounds how often one item can come back within a plan; work due more
// often than every other day over a quarter is a mistake in the input.
const maxRounds = 46

// passes plans, fixes the days of the first times, and plans again until no
// later time hangs on a day that is not decided.
func (m *maker) passes(ctx context.Context) error {
	m.readPlaces()
	for fixed := 0; ; fixed++ {
		pieces, open := m.pieces(fixed)
		m.makeGroups(pieces)
		m.makeProblem()
		if err := m.solve(ctx, fixed, open); err != nil {
			return err
		}
		m.decide()
		if lost := m.lostFixed(pieces); !open && !lost || fixed >= 2*maxRounds {
			return nil
		}
	}
}

// lostFixed says whether a piece whose day was decided has no place any more;
// what hangs on it must then be planned anew without it.
func (m *maker) lostFixed(pieces []piece) bool {
	return slices.ContainsFunc(pieces, func(pc piece) bool {
		_, placed := m.decided[pieceKey{pc.item, pc.round}]
		return !pc.day.IsZero() && !placed
	})
}

// solve runs the engine: half of the work goes into the first pass, the rest
// into the later ones, which begin where the one before ended.
func (m *maker) solve(ctx context.Context, pass int, open bool) error {
	iterations := m.iterations()
	switch {
	case pass > 0:
		iterations = max(1, iterations/4)
	case open:
		iterations = max(1, iterations/2)
	}
	opt := route.Options{Seed: m.in.Seed + uint64(pass), Iterations: iterations}
	if m.opt.Share != nil {
		// Of the time left each pass takes half, the last one all.
		opt.Iterations = math.MaxInt
		begun, until := m.opt.Share(), 1.0
		if open {
			until = begun + (1-begun)/2
		}
		opt.Share = func() float64 { return (m.opt.Share() - begun) / max(until-begun, 1e-9) }
	}
	if m.opt.Progress != nil {
		opt.Progress = func(p route.Progress) {
			share := float64(p.Iteration) / float64(p.Iterations)
			if m.opt.Share != nil {
				share = m.opt.Share()
			}
			m.opt.Progress(share, p.Unplaced+len(m.unplaced))
		}
	}
	if start := m.warmStart(); start != nil {
		opt.Start = start
	}
	s, err := route.Solve(ctx, m.problem, opt)
	m.last = s
	return err
}

// iterations suits the number of works when the caller names none: a plan of 240
// properties over a fortnight stays within a few seconds.
func (m *maker) iterations() int {
	if m.in.Iterations > 0 {
		return m.in.Iterations
	}
	return min(120_000, max(4_000, 300*len(m.live)))
}

// pieces lists every time of every item: the first `fixed` times on their days,
// the next in its true window, those after it by assumption. open says whether
// there was anything assumed.
func (m *maker) pieces(fixed int) (list []piece, open bool) {
	for _, i := range m.live {
		it := m.in.Items[i]
		w, round := it.Window, 1
		if d, ok := m.startOf[i]; ok {
			w, round = after(it.After(d), d), 2
		}
		for ; round <= maxRounds && w.Open() && (round == 1 || !w.Opens.After(m.in.To)); round++ {
			if round > 1 && m.keptWithin(it, w) {
				break // somebody planned that time by hand; what follows is theirs too
			}
			pc := piece{item: i, round: round, window: w}
			day, decided := m.decided[pieceKey{i, round}]
			if decided && round <= fixed {
				pc.day = day
			}
			list = append(list, pc)
			if round <= fixed && !decided || it.After == nil {
				break // it found no place, so there is no next time
			}
			if pc.day.IsZero() {
				if day = m.assume(w); day.IsZero() {
					break
				}
			}
			next := it.After(day)
			later := next.Open() && !next.Opens.After(m.in.To) && next.Closes.After(day)
			if !later {
				break
			}
			open = open || pc.day.IsZero()
			w = after(next, day)
		}
	}
	return list, open
}

// after makes sure that a window opens after the day it follows from.
func after(w turf.Window, day civil.Date) turf.Window {
	if !w.Open() {
		return w
	}
	if !w.Opens.After(day) {
		w.Opens = day.AddDays(1)
	}
	if w.Best.Before(w.Opens) {
		w.Best = w.Opens
	}
	return w
}

// assume is the day of a window that a first look takes: the best, else the
// nearest day within the plan on which it may be done; zero: none.
func (m *maker) assume(w turf.Window) civil.Date {
	for off := 0; off <= MaxDays; off++ {
		for _, d := range []civil.Date{w.Best.AddDays(-off), w.Best.AddDays(off)} {
			if !d.Before(m.in.From) && !d.After(m.in.To) && w.Holds(d) {
				return d
			}
		}
	}
	return civil.Date{}
}

// readPlaces numbers the places: depots of crews, properties with live items, kept visits.
func (m *maker) readPlaces() {
	for _, c := range m.crews {
		m.places = append(m.places, c.depot())
	}
	for _, i := range m.live {
		id := m.in.Items[i].PropertyID
		if _, ok := m.placeAt[id]; !ok {
			m.placeAt[id] = len(m.places)
			m.places = append(m.places, m.in.Properties[id].point())
		}
	}
}

// canWait says whether a piece may be left to the next plan: its best day comes
// after the last day of this one.
func (m *maker) canWait(pc piece) bool { return pc.window.Best.After(m.in.To) }

// makeGroups brings together what one visit can do. What has no slot at all is
// left with its cause.
func (m *maker) makeGroups(pieces []piece) {
	m.groups = m.groups[:0]
	m.unplaced = slices.DeleteFunc(m.unplaced, func(u Unplaced) bool { return u.Code == CauseFull || u.Round > 1 })
	for k := range m.kept {
		m.groups = append(m.groups, group{property: m.kept[k].PropertyID, kept: k})
	}
	byProperty := map[uuid.UUID][]group{}
	var order []uuid.UUID
	for _, pc := range pieces {
		list, no := m.choices(pc)
		if no != nil {
			if pc.round == 1 || !m.canWait(pc) {
				m.leaveOnce(pc, no)
			}
			continue
		}
		id := m.in.Items[pc.item].PropertyID
		if _, ok := byProperty[id]; !ok {
			order = append(order, id)
		}
		byProperty[id] = append(byProperty[id], group{property: id, pieces: []piece{pc}, choices: list, kept: -1})
	}
	for _, id := range order {
		m.groups = append(m.groups, m.share(byProperty[id])...)
	}
}

func (m *maker) leaveOnce(pc piece, no *why) {
	id := m.in.Items[pc.item].ID
	same := func(u Unplaced) bool { return u.ItemID == id && u.Round == pc.round }
	if !slices.ContainsFunc(m.unplaced, same) {
		m.leave(pc, no)
	}
}

// share joins groups of one property as long as one visit for both costs less
// than a visit each: the earliest due first, each into the group where it costs
// the least more.
func (m *maker) share(single []group) (out []group) {
	slices.SortStableFunc(single, func(a, b group) int { return a.pieces[0].window.Best.Compare(b.pieces[0].window.Best) })
	for _, g := range single {
		at, least := -1, SharedVisitMinutes+m.in.ArrivalMinutes
		for k := range out {
			if both := m.bothChoices(out[k], g); len(both) > 0 {
				if more := cheapest(both) - cheapest(out[k].choices) - cheapest(g.choices); more < least {
					at, least = k, more
				}
			}
		}
		if at < 0 {
			out = append(out, g)
			continue
		}
		out[at].choices = m.bothChoices(out[at], g)
		out[at].pieces = append(out[at].pieces, g.pieces...)
	}
	return out
}

// bothChoices lists the slots that suit two groups and hold both in one visit.
func (m *maker) bothChoices(a, b group) (both []choice) {
	for _, x := range a.pieces {
		if slices.ContainsFunc(b.pieces, func(y piece) bool { return x.item == y.item }) {
			return nil // two times of one work
		}
	}
	whole := Item{PropertyID: a.property, ServiceMinutes: m.minutes(a) + m.minutes(b)}
	for _, x := range a.choices {
		k, ok := slices.BinarySearchFunc(b.choices, x.slot, func(c choice, s int) int { return cmp.Compare(c.slot, s) })
		if ok && m.fitsAlone(whole, m.crews[m.slots[x.slot].crew]) {
			both = append(both, choice{x.slot, x.minutes + b.choices[k].minutes})
		}
	}
	return both
}

func cheapest(list []choice) float64 {
	least := math.Inf(1)
	for _, c := range list {
		least = min(least, c.minutes)
	}
	return least
}

func (m *maker) minutes(g group) (sum float64) {
	for _, pc := range g.pieces {
		sum += m.in.Items[pc.item].ServiceMinutes
	}
	return sum
}

// makeProblem writes the engine's problem: one stop a group, one slot a crew's day.
func (m *maker) makeProblem() {
	places := slices.Clone(m.places)
	m.problem = route.Problem{}
	for _, cd := range m.slots {
		c := m.crews[cd.crew]
		m.problem.Slots = append(m.problem.Slots, route.Slot{Crew: cd.crew, Day: cd.date.DayNumber(), Start: cd.crew, End: cd.crew,
			From: int(c.ShiftFrom) * 60, To: int(c.ShiftTo) * 60, MaxOvertime: c.MaxOvertimeMinutes * 60, WaitPercent: 100})
	}
	for g, grp := range m.groups {
		if grp.kept >= 0 {
			k := m.kept[grp.kept]
			m.problem.Stops = append(m.problem.Stops, route.Stop{Place: len(places), Service: k.seconds,
				Open: int(k.Arrive) * 60, Close: int(k.Arrive)*60 + k.late, Stays: true,
				Slots: []route.SlotCost{{Slot: k.slot}}})
			places = append(places, k.point)
			continue
		}
		m.problem.Stops = append(m.problem.Stops, m.stop(m.groups[g]))
	}
	for s := range m.slots {
		if list := m.keptIn(s); m.opensDay(list) {
			m.problem.Slots[s].Head = list // groups begin with the kept ones, by the same numbers
		}
	}
	m.problem.Travel = travel{places, m.in}
}

// stop is the engine's stop of a group. The whole visit, arriving included,
// keeps to the property's hours.
func (m *maker) stop(g group) route.Stop {
	p := m.in.Properties[g.property]
	s := route.Stop{Place: m.placeAt[g.property], Service: wholeMinutes(m.minutes(g)), Setup: m.arrivalSeconds()}
	if p.AllowedFrom != nil || p.AllowedTo != nil {
		s.Open, s.Close = s.Setup, 86_400
		if p.AllowedFrom != nil {
			s.Open = int(*p.AllowedFrom)*60 + s.Setup
		}
		if p.AllowedTo != nil {
			s.Close = int(*p.AllowedTo)*60 - s.Service
		}
		if s.Open == 0 && s.Close == 0 {
			s.Open = -1 // both zero would mean any time
		}
	}
	dearest := dearestChoice * float64(len(g.pieces))
	for _, c := range g.choices {
		s.Slots = append(s.Slots, route.SlotCost{Slot: c.slot, Cost: int(math.Round(min(c.minutes, dearest) * 60))})
	}
	for _, pc := range g.pieces {
		s.UnplacedCost += m.unplacedSeconds(pc)
	}
	return s
}

// dearestChoice caps the price of a day, minutes, so that leaving work out is
// never the cheaper way.
const dearestChoice = 600.0

// unplacedSeconds is what leaving a piece out costs: more than any drive and
// day, less for a later time than for the first, most where later times hang on it.
// Work whose best day comes after the plan is only taken where it lies on the way.
func (m *maker) unplacedSeconds(pc piece) int {
	switch {
	case !pc.day.IsZero():
		return 4_000_000
	case m.canWait(pc):
		return SecondTripMinutes * 60
	case pc.round == 1:
		return 1_000_000
	}
	return 500_000
}

// travel is the input's driving between the places of the plan.
type travel struct {
	points []route.Point
	in     Input
}

func (t travel) Places() int { return len(t.points) }

func (t travel) Point(place int) route.Point { return t.points[place] }

func (t travel) Seconds(from, to int) int { return driveSeconds(t.in, t.points[from], t.points[to]) }

// decide notes the day of every piece that has a place.
func (m *maker) decide() {
	placed := map[pieceKey]civil.Date{}
	for s, stops := range m.last.Routes {
		for _, g := range stops {
			for _, pc := range m.groups[g].pieces {
				placed[pieceKey{pc.item, pc.round}] = m.slots[s].date
			}
		}
	}
	for i, d := range m.startOf {
		placed[pieceKey{i, 1}] = d
	}
	m.decided = placed
	m.remember()
}

// remember keeps the routes as pieces, because the next pass groups anew.
func (m *maker) remember() {
	m.before = make([][]pieceKey, len(m.slots))
	for s, stops := range m.last.Routes {
		for _, g := range stops {
			for _, pc := range m.groups[g].pieces {
				m.before[s] = append(m.before[s], pieceKey{pc.item, pc.round})
			}
			if k := m.groups[g].kept; k >= 0 {
				m.before[s] = append(m.before[s], pieceKey{-1, k})
			}
		}
	}
}

// warmStart is the plan of the pass before in today's groups; nil: there is none.
func (m *maker) warmStart() *route.Solution {
	if m.before == nil {
		return nil
	}
	at := map[pieceKey]int{}
	for g, grp := range m.groups {
		for _, pc := range grp.pieces {
			at[pieceKey{pc.item, pc.round}] = g
		}
		if grp.kept >= 0 {
			at[pieceKey{-1, grp.kept}] = g
		}
	}
	s := &route.Solution{Routes: make([][]int, len(m.slots))}
	for r, keys := range m.before {
		for _, k := range keys {
			if g, ok := at[k]; ok && !slices.Contains(s.Routes[r], g) {
				s.Routes[r] = append(s.Routes[r], g)
			}
		}
	}
	return s
}
