package route

import (
	"cmp"
	"math"
	"slices"
)

// sortRemoved puts the removed stops into one of the orders in which they may
// go back; the weights 4, 4, 2, 1 are the paper's, the last two orders ours.
func (e *engine) sortRemoved() {
	r := e.removed
	switch k := e.rng.IntN(15); {
	case k < 4:
		e.rng.Shuffle(len(r), func(i, j int) { r[i], r[j] = r[j], r[i] })
	case k < 8:
		e.sortBy(func(c int32) int { return -e.size(c) })
	case k < 10:
		e.sortBy(func(c int32) int { return -e.far(c) })
	case k < 11:
		e.sortBy(e.far)
	case k < 13:
		e.sortBy(func(c int32) int { return e.stops[c].close - e.stops[c].open })
	default:
		e.sortBy(func(c int32) int { return len(e.stops[c].slots) })
	}
}

// size is a stop's first demand where there are demands, else its service.
func (e *engine) size(c int32) int {
	if st := &e.stops[c]; len(st.demand) > 0 {
		return st.demand[0]
	}
	return e.stops[c].service
}

// far is the leg from the first depot.
func (e *engine) far(c int32) int { return e.legs.between(e.slots[0].start, c) }

func (e *engine) sortBy(key func(int32) int) {
	for _, c := range e.removed {
		e.sortKey[c] = key(c)
	}
	slices.SortFunc(e.removed, func(a, b int32) int {
		return cmp.Or(cmp.Compare(e.sortKey[a], e.sortKey[b]), cmp.Compare(a, b))
	})
}

// sortNarrowFirst is the order of the first solution: what stays, then what has
// the fewest slots, then the longest.
func (e *engine) sortNarrowFirst(stops []int32) {
	slices.SortFunc(stops, func(a, b int32) int {
		x, y := &e.stops[a], &e.stops[b]
		if x.stays != y.stays {
			if x.stays {
				return -1
			}
			return 1
		}
		if x.stays {
			return cmp.Or(cmp.Compare(x.open, y.open), cmp.Compare(a, b))
		}
		return cmp.Or(cmp.Compare(len(x.slots), len(y.slots)), cmp.Compare(x.close-x.open, y.close-y.open),
			cmp.Compare(y.service, x.service), cmp.Compare(a, b))
	})
}

// place is where a stop could go: before position at of slot's route.
type place struct {
	slot int32
	at   int
	cost int
}

// insertAll puts the removed stops back, each at its cheapest place; what fits
// nowhere waits.
func (e *engine) insertAll(blink bool) {
	for _, c := range e.removed {
		if e.pinFull(c) {
			e.leaveOut(c)
			continue
		}
		best := e.cheapest(c, blink)
		if best.cost >= e.stops[c].unplaced {
			e.leaveOut(c)
			continue
		}
		t := e.touch(best.slot)
		e.cost -= t.cost
		t.stops = slices.Insert(t.stops, best.at, c)
		e.update(int(best.slot))
		e.cost += t.cost
		e.at[c] = best.slot
	}
}

// pinFull says whether the stop has no slot at all.
func (e *engine) pinFull(c int32) bool { return len(e.stops[c].slots) == 0 }

func (e *engine) leaveOut(c int32) {
	e.waiting = append(e.waiting, c)
	e.at[c] = -1
	e.cost += e.stops[c].unplaced
}

// cheapest looks for the place of a stop: first in the slots of its neighbours
// and one empty slot of each sort, and only where that finds nothing, everywhere.
func (e *engine) cheapest(c int32, blink bool) place {
	best := place{slot: -1, cost: math.MaxInt64}
	e.likeNow++
	if !e.narrow || len(e.stops[c].slots) <= nearSlots {
		for _, s := range e.stops[c].slots {
			e.tryRoute(c, int32(s.Slot), blink, &best)
		}
		return best
	}
	e.stampNow++
	for k, near := range e.near[c] {
		if k > nearSlots {
			break
		}
		r := e.at[near]
		if r >= 0 && e.stamp[r] != e.stampNow && e.slotCost(c, int(r)) >= 0 {
			e.stamp[r] = e.stampNow
			e.tryRoute(c, r, blink, &best)
		}
	}
	for _, s := range e.stops[c].slots {
		r := int32(s.Slot)
		if e.stamp[r] != e.stampNow && (best.slot < 0 || len(e.tours[r].stops) == 0) {
			e.tryRoute(c, r, blink, &best)
		}
	}
	return best
}

// tryRoute looks at every place of one route and keeps the cheapest.
func (e *engine) tryRoute(c, r int32, blink bool, best *place) {
	t, s, st := e.tours[r], &e.slots[r], &e.stops[c]
	if t.bad {
		return
	}
	if len(t.stops) == 0 && s.like > 0 {
		if e.likeStamp[s.like] == e.likeNow {
			return
		}
		e.likeStamp[s.like] = e.likeNow
	}
	for d, q := range st.demand {
		if t.load[d]+q > s.capacity[d] {
			return
		}
	}
	base := e.slotCost(c, int(r))
	if len(t.stops) == 0 {
		base += s.fixed
	}
	slack := 0 // what an insertion could save at most by filling a wait
	oldExtra := 0
	if s.priced && len(t.stops) > 0 {
		oldExtra = t.cost - t.legs - t.picked - s.fixed
		slack = oldExtra
	}
	if base-slack >= best.cost {
		return
	}
	outRow, inRow := e.legs.rows(c)
	n := len(t.stops)
	prev := s.start
	for k := 0; k <= n; k++ {
		if k > 0 {
			prev = t.stops[k-1]
		}
		if k < s.head {
			continue
		}
		next := s.end
		if k < n {
			next = t.stops[k]
		}
		in, out := 0, 0
		if inRow != nil {
			in, out = int(inRow[prev]), int(outRow[next])
		} else {
			in, out = e.legs.between(prev, c), e.legs.between(c, next)
		}
		if k == n && s.openEnd {
			out = 0
		}
		begin := t.depart[k] + in
		if begin > st.close {
			// Later places start no earlier where the triangle inequality holds;
			// where it does not, skipping only this place is still right.
			continue
		}
		begin = max(begin, st.open)
		cost := base + in + out - t.leg[k+1]
		if cost-slack >= best.cost {
			continue
		}
		done := begin + st.service
		if done+out > t.late[k+1] {
			continue
		}
		if blink && e.rng.Uint32()%blinkOneIn == 0 {
			continue
		}
		if s.priced {
			whole := t.head[k].then(in, st.span()).then(out, t.tail[k+1])
			legs := t.legs + in + out - t.leg[k+1]
			cost += s.extra(whole.time-legs-t.work-st.service, t.tail[k+1].end(done+out)) - oldExtra
			if cost >= best.cost {
				continue
			}
		}
		*best = place{r, k, cost}
	}
}
