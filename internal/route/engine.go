package route

import (
	"context"
	"math"
	"math/rand/v2"
	"slices"
)

// The search is slack induction by string removals (Christiaens and Vanden
// Berghe, Transportation Science 2020, doi 10.1287/trsc.2019.0914) over (crew,
// day) slots: take strings of neighbouring stops out of some routes, put each
// back at its cheapest place over all slots allowed, accept by simulated
// annealing. What is ours is said where it stands.

// stop and slot are the problem's, laid out for the search.
type stop struct {
	service, open, close int
	demand               []int
	unplaced             int
	stays                bool
	slots                []SlotCost
}

type slot struct {
	start, end       int32
	from, to, latest int
	capacity         []int
	fixed            int
	waitPercent      int
	priced           bool // waiting or overtime cost something
	like             int
	head             int // stops at the beginning that stay
	openEnd          bool
}

type engine struct {
	p      Problem
	opt    Options
	legs   *legs
	stops  []stop
	slots  []slot
	costOf []int32 // stops x slots: cost of the choice, -1 not allowed
	near   [][]int32
	narrow bool // look only at slots that have a near stop
	rng    *rand.Rand

	tours   []*tour
	at      []int32 // slot of each stop, -1 unplaced
	waiting []int32 // unplaced stops
	cost    int

	best        [][]int32
	bestCost    int
	bestWaiting []int32
	dirty       []bool // tours that differ from best

	// of one round
	touched    []int32
	saved      []*tour // by slot; nil: untouched
	pool       []*tour
	removed    []int32
	oldWaiting []int32
	stamp      []int32 // by slot: last stampNow that marked it
	stampNow   int32
	candidates []int32
	sortKey    []int
	likeStamp  []int32
	likeNow    int32
	rounds     int
}

// Solve plans what can be planned. Stops that fit nowhere come back as
// Unplaced. The error is a fault for a problem that makes no sense, and the
// context's own error never: a stopped search returns the best it has.
func Solve(ctx context.Context, p Problem, opt Options) (Solution, error) {
	if err := faultIn(p); err != nil {
		return Solution{}, err
	}
	e, err := newEngine(p, opt)
	if err != nil {
		return Solution{}, err
	}
	if len(p.Stops) > 0 {
		e.begin()
		e.search(ctx)
	}
	return e.solution(), nil
}

func newEngine(p Problem, opt Options) (*engine, error) {
	if opt.Iterations <= 0 {
		opt.Iterations = DefaultIterations
	}
	e := &engine{p: p, opt: opt, rng: rand.New(rand.NewPCG(opt.Seed, 0x74686972642d6375))}
	l, start, end, err := newLegs(p)
	if err != nil {
		return nil, err
	}
	e.legs = l
	measures := 0
	for _, s := range p.Stops {
		measures = max(measures, len(s.Demand))
	}
	e.layOutSlots(start, end, measures)
	e.layOutStops(measures)
	e.near = l.near(neighbours)
	e.narrow = len(p.Stops) > narrowFrom
	e.at = make([]int32, len(p.Stops))
	e.stamp = make([]int32, len(p.Slots))
	e.saved = make([]*tour, len(p.Slots))
	e.dirty = make([]bool, len(p.Slots))
	e.sortKey = make([]int, len(p.Stops))
	return e, nil
}

func (e *engine) layOutSlots(start, end []int32, measures int) {
	for i, s := range e.p.Slots {
		capacity := make([]int, measures)
		for d := range capacity {
			capacity[d] = math.MaxInt64 / 4
			if d < len(s.Capacity) {
				capacity[d] = s.Capacity[d]
			}
		}
		e.slots = append(e.slots, slot{
			start: start[i], end: end[i], from: s.From, to: s.To, latest: s.To + s.MaxOvertime,
			capacity: capacity, fixed: s.FixedCost, waitPercent: s.WaitPercent,
			priced: s.WaitPercent > 0 || s.MaxOvertime > 0,
			like:   s.Like, head: len(s.Head), openEnd: s.OpenEnd,
		})
		e.tours = append(e.tours, &tour{load: make([]int, measures)})
	}
	// Classes of like slots are numbered densely, so that a round can mark them.
	class := map[int]int{}
	for i := range e.slots {
		if k := e.slots[i].like; k != 0 {
			if _, ok := class[k]; !ok {
				class[k] = len(class) + 1
			}
			e.slots[i].like = class[k]
		}
	}
	e.likeStamp = make([]int32, len(class)+1)
}

func (e *engine) layOutStops(measures int) {
	dearest, m := 0, len(e.slots)
	e.costOf = make([]int32, len(e.p.Stops)*m)
	for _, s := range e.slots {
		dearest = max(dearest, s.fixed+(s.latest-s.to)*overtimePercent/100+(s.latest-s.from)*s.waitPercent/100)
	}
	pick := 0
	for i, s := range e.p.Stops {
		row := e.costOf[i*m : (i+1)*m]
		st := stop{service: s.Service, open: s.Open, close: s.Close, stays: s.Stays, slots: s.Slots,
			unplaced: s.UnplacedCost, demand: make([]int, measures)}
		copy(st.demand, s.Demand)
		if s.Open == 0 && s.Close == 0 {
			st.open, st.close = -4*inputLimit, 4*inputLimit
		}
		if s.Slots == nil {
			st.slots = make([]SlotCost, m)
			for r := range m {
				st.slots[r].Slot = r
			}
		}
		for r := range row {
			row[r] = -1
		}
		for _, c := range st.slots {
			row[c.Slot] = int32(c.Cost)
			pick = max(pick, c.Cost)
		}
		e.stops = append(e.stops, st)
	}
	for i := range e.stops {
		if e.stops[i].unplaced == 0 {
			e.stops[i].unplaced = 3 * (2*e.legs.longest + dearest + pick + 1)
		}
	}
}

func (e *engine) slotCost(c int32, r int) int { return int(e.costOf[int(c)*len(e.slots)+r]) }

// begin lays down the fixed stops, then the solution given, then all the rest.
func (e *engine) begin() {
	for i := range e.at {
		e.at[i] = -1
	}
	for r, s := range e.p.Slots {
		for _, h := range s.Head {
			e.tours[r].stops = append(e.tours[r].stops, int32(h))
			e.at[h] = int32(r)
		}
		e.update(r)
	}
	e.insertUnplaced(func(st *stop) bool { return st.stays })
	e.clearRound()
	e.takeOver()
	e.waiting = e.waiting[:0]
	e.insertUnplaced(func(*stop) bool { return true })
	e.cost = 0
	for _, t := range e.tours {
		e.cost += t.cost
	}
	for _, c := range e.waiting {
		e.cost += e.stops[c].unplaced
	}
	e.clearRound()
	e.best = make([][]int32, len(e.tours))
	for r := range e.dirty {
		e.dirty[r] = true
	}
	e.keepBest()
}

// insertUnplaced places the stops chosen that have no place yet.
func (e *engine) insertUnplaced(chosen func(*stop) bool) {
	e.removed = e.removed[:0]
	for i := range e.at {
		if e.at[i] < 0 && chosen(&e.stops[i]) {
			e.removed = append(e.removed, int32(i))
		}
	}
	e.sortNarrowFirst(e.removed)
	e.insertAll(false)
}

// takeOver puts the stops of Options.Start where they were, as far as they fit.
func (e *engine) takeOver() {
	if e.opt.Start == nil || len(e.opt.Start.Routes) != len(e.tours) {
		return
	}
	for r, given := range e.opt.Start.Routes {
		t := e.tours[r]
		if e.takeWhole(r, given) {
			continue
		}
		for _, c := range given {
			if c < 0 || c >= len(e.at) || e.at[c] >= 0 || e.slotCost(int32(c), r) < 0 {
				continue
			}
			t.stops = append(t.stops, int32(c))
			e.update(r)
			if t.bad {
				t.stops = t.stops[:len(t.stops)-1]
				e.update(r)
				continue
			}
			e.at[c] = int32(r)
		}
	}
}

// takeWhole takes a route as it was given, if all of it fits and nothing that
// lies in the slot already is missing from it or moved from the beginning.
func (e *engine) takeWhole(r int, given []int) bool {
	t := e.tours[r]
	had := t.stops
	var list []int32
	kept := 0
	for k, c := range given {
		if c < 0 || c >= len(e.at) || e.slotCost(int32(c), r) < 0 || slices.Contains(list, int32(c)) {
			return false
		}
		if k < e.slots[r].head && (k >= len(had) || had[k] != int32(c)) {
			return false
		}
		if e.at[c] == int32(r) {
			kept++
		} else if e.at[c] >= 0 {
			return false
		}
		list = append(list, int32(c))
	}
	if kept != len(had) {
		return false
	}
	t.stops = list
	if e.update(r); t.bad {
		t.stops = had
		e.update(r)
		return false
	}
	for _, c := range list {
		e.at[c] = int32(r)
	}
	return true
}

// search runs rounds until the iterations, the time or the context end.
func (e *engine) search(ctx context.Context) {
	hot := math.Max(1, startHeat*float64(e.driving())/float64(len(e.stops)))
	heat, share := hot, 0.0
	for it := 0; it < e.opt.Iterations; it++ {
		if it&63 == 0 {
			if ctx.Err() != nil {
				return
			}
			share = float64(it) / float64(e.opt.Iterations)
			if e.opt.Share != nil {
				share = e.opt.Share()
			}
			if share >= 1 {
				return
			}
			heat = hot * math.Pow(endHeat, share)
			if it&4095 == 0 && e.opt.Progress != nil {
				e.opt.Progress(Progress{it, e.opt.Iterations, e.bestCost, len(e.bestWaiting)})
			}
		}
		e.round(heat)
		e.rounds = it + 1
	}
}

// round is one ruin, one recreate and the decision.
func (e *engine) round(heat float64) {
	before := e.cost
	e.oldWaiting = append(e.oldWaiting[:0], e.waiting...)
	e.ruin()
	e.wakeWaiting()
	e.sortRemoved()
	e.insertAll(true)
	if float64(e.cost-before) >= -heat*math.Log(1-e.rng.Float64()) && e.cost != before {
		e.undo(before)
		return
	}
	for _, r := range e.touched {
		e.dirty[r] = true
	}
	e.clearRound()
	if e.cost < e.bestCost {
		e.keepBest()
	}
}

// touch saves a route before its first change in a round.
func (e *engine) touch(r int32) *tour {
	t := e.tours[r]
	if e.saved[r] != nil {
		return t
	}
	e.touched = append(e.touched, r)
	var c *tour
	if n := len(e.pool); n > 0 {
		c, e.pool = e.pool[n-1], e.pool[:n-1]
	} else {
		c = &tour{load: make([]int, len(t.load))}
	}
	stops, depart, late, leg, head, tail, load := c.stops, c.depart, c.late, c.leg, c.head, c.tail, c.load
	*c = *t
	c.stops = append(stops[:0], t.stops...)
	c.depart = append(depart[:0], t.depart...)
	c.late = append(late[:0], t.late...)
	c.leg = append(leg[:0], t.leg...)
	c.head = append(head[:0], t.head...)
	c.tail = append(tail[:0], t.tail...)
	c.load = append(load[:0], t.load...)
	e.saved[r] = t
	e.tours[r] = c
	return c
}

// undo puts back every touched route and the stops that waited.
func (e *engine) undo(cost int) {
	for _, r := range e.touched {
		for _, c := range e.tours[r].stops {
			e.at[c] = -1
		}
	}
	for _, c := range e.waiting {
		e.at[c] = -1
	}
	for _, r := range e.touched {
		e.pool = append(e.pool, e.tours[r])
		e.tours[r], e.saved[r] = e.saved[r], nil
		for _, c := range e.tours[r].stops {
			e.at[c] = r
		}
	}
	e.touched = e.touched[:0]
	e.waiting = append(e.waiting[:0], e.oldWaiting...)
	e.cost = cost
}

// clearRound lets go of the copies of an accepted round.
func (e *engine) clearRound() {
	for _, r := range e.touched {
		e.pool = append(e.pool, e.saved[r])
		e.saved[r] = nil
	}
	e.touched = e.touched[:0]
}

func (e *engine) keepBest() {
	for r, d := range e.dirty {
		if d {
			e.best[r] = append(e.best[r][:0], e.tours[r].stops...)
			e.dirty[r] = false
		}
	}
	e.bestWaiting = append(e.bestWaiting[:0], e.waiting...)
	e.bestCost = e.cost
}

// driving is the sum of all legs now, without setup.
func (e *engine) driving() int {
	sum := 0
	for r, t := range e.tours {
		sum += t.legs
		prev := e.slots[r].start
		for _, c := range t.stops {
			if int(prev) >= e.legs.stops || e.legs.place[prev] != e.legs.place[c] {
				sum -= int(e.legs.setup[c])
			}
			prev = c
		}
	}
	return sum
}

// solution reads the best routes out.
func (e *engine) solution() Solution {
	s := Solution{Routes: make([][]int, len(e.tours)), Cost: e.bestCost, Rounds: e.rounds}
	for r := range e.best {
		e.tours[r].stops = append(e.tours[r].stops[:0], e.best[r]...)
		e.update(r)
		for _, c := range e.best[r] {
			s.Routes[r] = append(s.Routes[r], int(c))
		}
	}
	s.Travel = e.driving()
	for _, c := range e.bestWaiting {
		s.Unplaced = append(s.Unplaced, int(c))
	}
	slices.Sort(s.Unplaced)
	return s
}
