package route

// Parameters of the search. Those of the paper are marked; the rest are ours,
// chosen on published instances.
const (
	meanRemoved   = 10   // paper: mean number of stops taken out
	longestString = 10   // paper: longest string of one route
	splitChance   = 0.5  // paper: chance of a string with a gap kept in it
	splitGrow     = 0.01 // paper: chance of the gap growing by one more
	blinkOneIn    = 100  // paper: one place in a hundred is overlooked
	neighbours    = 100  // stops looked at round a seed
	narrowFrom    = 300  // stops from which insertion looks at near slots only
	nearSlots     = 40   // neighbours whose slots count as near
	wakeAtMost    = 10   // unplaced stops tried again in a round
	startHeat     = 0.5  // of the driving per stop
	endHeat       = 0.01 // of the start
	blockOneIn    = 6    // a round in so many removes a neighbourhood over all days
	emptyOneIn    = 40   // a round in so many empties a whole short route
)

// ruin takes stops out and leaves them in e.removed.
func (e *engine) ruin() {
	e.removed = e.removed[:0]
	seed := int32(e.rng.IntN(len(e.stops)))
	switch {
	case e.rng.IntN(emptyOneIn) == 0:
		e.emptyRoute(seed)
	case e.rng.IntN(blockOneIn) == 0:
		e.removeBlock(seed)
	default:
		e.removeStrings(seed)
	}
}

// removeStrings is the paper's ruin: from each route near the seed a string of
// stops round the nearest one.
func (e *engine) removeStrings(seed int32) {
	used, placed := 0, 0
	for _, t := range e.tours {
		if len(t.stops) > 0 {
			used++
			placed += len(t.stops)
		}
	}
	if used == 0 {
		return
	}
	longest := min(float64(longestString), float64(placed)/float64(used))
	strings := int(e.rng.Float64()*(4*meanRemoved/(1+longest)-1) + 1)
	e.stampNow++
	for _, c := range e.near[seed] {
		r := e.at[c]
		if r < 0 || e.stamp[r] == e.stampNow {
			continue
		}
		e.stamp[r] = e.stampNow
		e.removeString(r, c, longest)
		if strings--; strings <= 0 {
			return
		}
	}
}

// removeString takes a random string that holds c out of route r.
func (e *engine) removeString(r, c int32, longest float64) {
	n := len(e.tours[r].stops)
	length := int(e.rng.Float64()*min(longest, float64(n)) + 1)
	length = min(length, n)
	kept := 0
	if length > 1 && length < n && e.rng.Float64() < splitChance {
		kept = 1
		for length+kept < n && e.rng.Float64() < splitGrow {
			kept++
		}
	}
	where := 0
	for e.tours[r].stops[where] != c {
		where++
	}
	total := length + kept
	first := max(0, where-total+1)
	last := min(where, n-total)
	from := first + e.rng.IntN(last-first+1)
	gap := from + 1 + e.rng.IntN(max(1, length)) // the kept stretch begins here
	if kept == 0 {
		gap = from + total
	}
	e.takeOut(r, func(k int) bool { return k >= from && k < from+total && (k < gap || k >= gap+kept) })
}

// takeOut removes the stops at the positions chosen (0 is the first), except
// those that stay.
func (e *engine) takeOut(r int32, chosen func(k int) bool) {
	t := e.touch(r)
	e.cost -= t.cost
	keep := t.stops[:0]
	for k, c := range t.stops {
		if chosen(k) && !e.stops[c].stays {
			e.removed = append(e.removed, c)
			e.at[c] = -1
			continue
		}
		keep = append(keep, c)
	}
	t.stops = keep
	e.update(int(r))
	e.cost += t.cost
	if t.bad && len(keep) > 0 && !e.settled(keep) {
		// Travel without the triangle inequality can make the rest late: all goes.
		e.takeOut(r, func(int) bool { return true })
	}
}

// settled says whether all of the stops stay.
func (e *engine) settled(stops []int32) bool {
	for _, c := range stops {
		if !e.stops[c].stays {
			return false
		}
	}
	return true
}

// removeBlock takes out the stops round the seed whatever their day; this moves
// whole neighbourhoods between days (ours).
func (e *engine) removeBlock(seed int32) {
	count := 3 + e.rng.IntN(2*meanRemoved-4)
	e.stampNow++
	first := len(e.touched)
	taken := 0
	for _, c := range e.near[seed] {
		if taken >= count {
			break
		}
		if r := e.at[c]; r >= 0 && !e.stops[c].stays {
			e.touch(r)
			e.at[c] = -2
			taken++
		}
	}
	for _, r := range e.touched[first:] {
		stops := e.tours[r].stops
		e.takeOut(r, func(k int) bool { return e.at[stops[k]] == -2 })
	}
}

// emptyRoute takes out every stop of the seed's route, unless that is very long:
// it gives routes a chance to close (ours).
func (e *engine) emptyRoute(seed int32) {
	r := e.at[seed]
	if r < 0 || len(e.tours[r].stops) > 5*longestString {
		e.removeStrings(seed)
		return
	}
	e.takeOut(r, func(int) bool { return true })
}

// wakeWaiting adds some unplaced stops to the removed ones.
func (e *engine) wakeWaiting() {
	for range min(wakeAtMost, len(e.waiting)) {
		k := e.rng.IntN(len(e.waiting))
		c := e.waiting[k]
		e.waiting[k] = e.waiting[len(e.waiting)-1]
		e.waiting = e.waiting[:len(e.waiting)-1]
		e.cost -= e.stops[c].unplaced
		e.removed = append(e.removed, c)
	}
}
