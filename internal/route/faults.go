package route

import "thirdcut/internal/fault"

// inputLimit bounds every time and cost of a problem (about 12 days in seconds
// times a thousand), so that no sum in a search can overflow.
const inputLimit = 1_000_000_000

func bad(code, format string, args ...any) error {
	return fault.New(fault.Invalid, code, format, args...)
}

// faultIn returns the first thing that makes a problem unsolvable as it is
// written; stops that merely fit nowhere are no fault.
func faultIn(p Problem) error {
	if p.Travel == nil {
		return bad("no-travel", "The problem has no travel times; give a table or places on the map.")
	}
	if len(p.Slots) == 0 && len(p.Stops) > 0 {
		return bad("no-crew", "There are %d stops and no crew on any day; add a crew or a working day.", len(p.Stops))
	}
	for i, s := range p.Slots {
		if err := slotFault(p, i, s); err != nil {
			return err
		}
	}
	for i, s := range p.Stops {
		if err := stopFault(p, i, s); err != nil {
			return err
		}
	}
	return headFault(p)
}

func slotFault(p Problem, i int, s Slot) error {
	n := p.Travel.Places()
	switch {
	case s.Start < 0 || s.Start >= n || s.End < 0 || s.End >= n:
		return bad("bad-place", "Slot %d starts at place %d and ends at place %d; places run from 0 to %d.", i, s.Start, s.End, n-1)
	case s.To <= s.From:
		return bad("zero-shift", "Slot %d has a shift from %d to %d s; it must end after it starts.", i, s.From, s.To)
	case s.From < -inputLimit || s.To > inputLimit:
		return bad("bad-time", "Slot %d has a shift from %d to %d s; times must lie within %d s of zero.", i, s.From, s.To, inputLimit)
	case s.MaxOvertime < 0 || s.MaxOvertime > inputLimit:
		return bad("bad-overtime", "Slot %d allows %d s of overtime; give 0 or more.", i, s.MaxOvertime)
	case s.FixedCost < 0 || s.FixedCost > inputLimit || s.WaitPercent < 0 || s.WaitPercent > 10_000:
		return bad("bad-cost", "Slot %d has a fixed cost of %d and a waiting cost of %d %%; neither may be negative or beyond all measure.", i, s.FixedCost, s.WaitPercent)
	}
	for k, c := range s.Capacity {
		if c < 0 || c > inputLimit {
			return bad("bad-capacity", "Slot %d has a capacity %d of %d; give 0 or more.", i, k, c)
		}
	}
	return nil
}

func stopFault(p Problem, i int, s Stop) error {
	n := p.Travel.Places()
	switch {
	case s.Place < 0 || s.Place >= n:
		return bad("bad-place", "Stop %d is at place %d; places run from 0 to %d.", i, s.Place, n-1)
	case s.Service < 0 || s.Service > inputLimit || s.Setup < 0 || s.Setup > inputLimit:
		return bad("bad-service", "Stop %d takes %d s and %d s of setup; give 0 or more.", i, s.Service, s.Setup)
	case s.Open < -inputLimit || s.Close > inputLimit:
		return bad("bad-time", "Stop %d is open from %d to %d s; times must lie within %d s of zero.", i, s.Open, s.Close, inputLimit)
	case s.Close < s.Open:
		return bad("zero-window", "Stop %d opens at %d s and closes at %d s; it must close after it opens.", i, s.Open, s.Close)
	case s.UnplacedCost < 0 || s.UnplacedCost > inputLimit:
		return bad("bad-cost", "Stop %d has a cost of %d for leaving it out; give 0 or more.", i, s.UnplacedCost)
	case s.Stays && len(s.Slots) != 1:
		return bad("bad-pin", "Stop %d stays where it is and names %d slots; it must name one.", i, len(s.Slots))
	}
	for _, d := range s.Demand {
		if d < 0 || d > inputLimit {
			return bad("bad-demand", "Stop %d has a demand of %d; give 0 or more.", i, d)
		}
	}
	for k, c := range s.Slots {
		if k > 0 && s.Slots[k-1].Slot >= c.Slot {
			return bad("bad-slot", "Stop %d names slot %d after slot %d; name each slot once, in ascending order.", i, c.Slot, s.Slots[k-1].Slot)
		}
		if c.Slot < 0 || c.Slot >= len(p.Slots) || c.Cost < 0 || c.Cost > inputLimit {
			return bad("bad-slot", "Stop %d may go to slot %d at a cost of %d; slots run from 0 to %d and costs from 0.", i, c.Slot, c.Cost, len(p.Slots)-1)
		}
	}
	return nil
}

func headFault(p Problem) error {
	seen := map[int]bool{}
	for i, s := range p.Slots {
		for _, h := range s.Head {
			if h < 0 || h >= len(p.Stops) || seen[h] {
				return bad("bad-pin", "Slot %d begins with stop %d, which does not exist or begins another route too.", i, h)
			}
			seen[h] = true
			if st := p.Stops[h]; !st.Stays || st.Slots[0].Slot != i {
				return bad("bad-pin", "Slot %d begins with stop %d, which is not kept to that slot.", i, h)
			}
		}
	}
	return nil
}
