package route

// tour is one slot's route with what is needed to price an insertion in
// constant time. Position 0 is the depot; stops sit at 1..len; len+1 is the end.
type tour struct {
	stops  []int32
	depart []int // earliest end of service at 0..len
	late   []int // latest start of service at 1..len+1 so that the rest keeps its times
	leg    []int // leg[k]: from k-1 to k, k = 1..len+1
	head   []span
	tail   []span
	load   []int
	legs   int // sum of leg
	work   int // sum of service
	picked int // sum of the slot costs of its stops
	cost   int
	bad    bool // its fixed stops do not fit: nothing may be added
}

// span is a stretch of a route without violations: it takes time units when it
// starts between early and late; earlier starts wait, later ones are too late.
type span struct{ time, early, late int }

// then joins two stretches over a leg (Vidal's concatenation without time warp).
func (a span) then(leg int, b span) span {
	delta := a.time + leg
	wait := max(b.early-delta-a.late, 0)
	return span{
		time:  a.time + b.time + leg + wait,
		early: max(b.early-delta, a.early) - wait,
		late:  min(b.late-delta, a.late),
	}
}

// end is when the stretch is over at the earliest, begun at t.
func (a span) end(t int) int { return max(t, a.early) + a.time }

func grow[T any](s []T, n int) []T {
	if cap(s) < n {
		return make([]T, n, n+n/2+8)
	}
	return s[:n]
}

// update recomputes a route's bookkeeping from its stops.
func (e *engine) update(r int) {
	t, s := e.tours[r], &e.slots[r]
	n := len(t.stops)
	t.depart, t.late, t.leg = grow(t.depart, n+2), grow(t.late, n+2), grow(t.leg, n+2)
	t.legs, t.work, t.picked = 0, 0, 0
	for d := range t.load {
		t.load[d] = 0
	}
	t.bad = false
	t.depart[0] = s.from
	prev := s.start
	for k, c := range t.stops {
		st := &e.stops[c]
		t.leg[k+1] = e.legs.between(prev, c)
		begin := max(t.depart[k]+t.leg[k+1], st.open)
		t.bad = t.bad || begin > st.close
		t.depart[k+1] = begin + st.service
		t.legs += t.leg[k+1]
		t.work += st.service
		t.picked += e.slotCost(c, r)
		for d, q := range st.demand {
			t.load[d] += q
			t.bad = t.bad || t.load[d] > s.capacity[d]
		}
		prev = c
	}
	t.leg[n+1] = 0
	if n > 0 && !s.openEnd {
		t.leg[n+1] = e.legs.between(prev, s.end)
	}
	t.legs += t.leg[n+1]
	t.bad = t.bad || t.depart[n]+t.leg[n+1] > s.latest
	t.late[n+1] = s.latest
	for k := n; k >= 1; k-- {
		st := &e.stops[t.stops[k-1]]
		t.late[k] = min(st.close, t.late[k+1]-t.leg[k+1]-st.service)
	}
	if s.priced {
		e.spans(t, s)
	}
	t.cost = e.price(t, s)
}

func (e *engine) spans(t *tour, s *slot) {
	n := len(t.stops)
	t.head, t.tail = grow(t.head, n+2), grow(t.tail, n+2)
	t.head[0] = span{0, s.from, s.latest}
	for k, c := range t.stops {
		t.head[k+1] = t.head[k].then(t.leg[k+1], e.stops[c].span())
	}
	t.tail[n+1] = span{0, s.from, s.latest}
	for k := n; k >= 1; k-- {
		t.tail[k] = e.stops[t.stops[k-1]].span().then(t.leg[k+1], t.tail[k+1])
	}
}

func (e *engine) price(t *tour, s *slot) int {
	n := len(t.stops)
	if n == 0 {
		return 0
	}
	cost := t.legs + t.picked + s.fixed
	if s.priced {
		whole := t.head[n].then(t.leg[n+1], t.tail[n+1])
		cost += s.extra(whole.time-t.legs-t.work, t.depart[n]+t.leg[n+1])
	}
	return cost
}

// extra is what waiting and coming home late cost.
func (s *slot) extra(wait, home int) int {
	return max(0, wait)*s.waitPercent/100 + max(0, home-s.to)*overtimePercent/100
}

func (st *stop) span() span { return span{st.service, st.open, st.close} }
