package route

import "fmt"

// Violation is one limit that a solution breaks.
type Violation struct {
	Code  string
	Slot  int // -1: about no slot
	Stop  int // -1: about no stop
	Found int // the number found ...
	Limit int // ... and the one it is held against
	Why   string
}

// The codes of violations.
const (
	BadProblem    = "bad-problem"
	UnknownStop   = "unknown-stop"
	TwicePlanned  = "twice-planned"
	Missing       = "missing"
	SlotForbidden = "slot-forbidden"
	TooLate       = "too-late"
	OverCapacity  = "over-capacity"
	OverShift     = "over-shift"
	HeadMoved     = "head-moved"
	StayMoved     = "stay-moved"
	WrongCost     = "wrong-cost"
	WrongRoutes   = "wrong-routes"
)

// Check walks every route of a solution stop by stop and returns each limit that
// it breaks, with its numbers, and a false cost. It shares nothing with the
// engine but the types, and takes any solution, sensible or not.
//
// The problem itself must make sense: one that Solve refuses is refused here
// with the one violation "bad-problem".
func Check(p Problem, s Solution) []Violation {
	c := checker{p: p, times: make([]int, len(p.Stops))}
	if err := faultIn(p); err != nil {
		c.add(BadProblem, -1, -1, 0, 0, "%s", err.Error())
		return c.found
	}
	if len(s.Routes) != len(p.Slots) {
		c.add(WrongRoutes, -1, -1, len(s.Routes), len(p.Slots), "The solution has %d routes for %d slots.", len(s.Routes), len(p.Slots))
		return c.found
	}
	for r := range s.Routes {
		c.route(r, s.Routes[r])
	}
	c.counts(s)
	if c.sound && s.Cost != c.cost {
		c.add(WrongCost, -1, -1, s.Cost, c.cost, "The solution says a cost of %d; its routes cost %d.", s.Cost, c.cost)
	}
	if c.sound && s.Travel != c.travel {
		c.add(WrongCost, -1, -1, s.Travel, c.travel, "The solution says %d s of driving; its routes take %d s.", s.Travel, c.travel)
	}
	return c.found
}

type checker struct {
	p            Problem
	times        []int // how often each stop is planned or named as unplaced
	found        []Violation
	cost, travel int
	sound        bool
}

func (c *checker) add(code string, slot, stop, found, limit int, format string, args ...any) {
	c.found = append(c.found, Violation{code, slot, stop, found, limit, fmt.Sprintf(format, args...)})
}

// route drives one route as soon as possible.
func (c *checker) route(r int, stops []int) {
	slot := c.p.Slots[r]
	c.head(r, stops)
	clock, from, last := slot.From, slot.Start, -1
	legs, service := 0, 0
	load := make([]int, 0)
	for k, i := range stops {
		if i < 0 || i >= len(c.p.Stops) {
			c.add(UnknownStop, r, i, i, len(c.p.Stops)-1, "Slot %d holds stop %d; stops run from 0 to %d.", r, i, len(c.p.Stops)-1)
			continue
		}
		stop := c.p.Stops[i]
		c.times[i]++
		drive := 0
		if from != stop.Place {
			drive = c.p.Travel.Seconds(from, stop.Place)
		}
		leg := drive
		if last < 0 || from != stop.Place {
			leg += stop.Setup
		}
		clock += leg
		if stop.Open != 0 || stop.Close != 0 {
			clock = max(clock, stop.Open)
			if clock > stop.Close {
				c.add(TooLate, r, i, clock, stop.Close, "Slot %d begins stop %d (number %d of the route) at %d s; it closes at %d s.", r, i, k+1, clock, stop.Close)
			}
		}
		clock += stop.Service
		legs, service, c.travel = legs+leg, service+stop.Service, c.travel+drive
		for d, q := range stop.Demand {
			for len(load) <= d {
				load = append(load, 0)
			}
			load[d] += q
		}
		c.allowed(r, i)
		from, last = stop.Place, i
	}
	if last < 0 {
		return
	}
	if !slot.OpenEnd && from != slot.End {
		home := c.p.Travel.Seconds(from, slot.End)
		clock, legs, c.travel = clock+home, legs+home, c.travel+home
	}
	if clock > slot.To+slot.MaxOvertime {
		c.add(OverShift, r, -1, clock, slot.To+slot.MaxOvertime, "Slot %d ends at %d s; its shift with overtime ends at %d s.", r, clock, slot.To+slot.MaxOvertime)
	}
	for d, q := range load {
		if d < len(slot.Capacity) && q > slot.Capacity[d] {
			c.add(OverCapacity, r, -1, q, slot.Capacity[d], "Slot %d carries %d of measure %d; it holds %d.", r, q, d, slot.Capacity[d])
		}
	}
	c.cost += legs + slot.FixedCost + max(0, clock-slot.To)*3/2
	c.cost += c.leastWaiting(r, stops, clock-legs-service-slot.From) * slot.WaitPercent / 100
}

// leastWaiting is the waiting that remains when the crew leaves as late as the
// day's end, as driven, allows: the departure is put off until no first wait is
// left or some stop would be too late.
func (c *checker) leastWaiting(r int, stops []int, waiting int) int {
	slot := c.p.Slots[r]
	clock, from, last := slot.From, slot.Start, -1
	putOff, room := 0, -1 // room: how much later everything so far may be; -1: no bound yet
	for _, i := range stops {
		if i < 0 || i >= len(c.p.Stops) {
			continue
		}
		stop := c.p.Stops[i]
		if from != stop.Place {
			clock += c.p.Travel.Seconds(from, stop.Place)
		}
		if last < 0 || from != stop.Place {
			clock += stop.Setup
		}
		if stop.Open != 0 || stop.Close != 0 {
			if wait := stop.Open - clock; wait > 0 {
				gain := wait
				if room >= 0 {
					gain = min(wait, room-putOff)
				}
				putOff += max(0, gain)
				clock = stop.Open
			}
			if left := putOff + stop.Close - clock; room < 0 || left < room {
				room = max(0, left)
			}
		}
		clock += stop.Service
		from, last = stop.Place, i
	}
	return max(0, waiting-putOff)
}

// allowed checks the slot of one stop and adds what the choice costs.
func (c *checker) allowed(r, i int) {
	stop := c.p.Stops[i]
	if stop.Slots == nil {
		return
	}
	for _, s := range stop.Slots {
		if s.Slot == r {
			c.cost += s.Cost
			return
		}
	}
	code := SlotForbidden
	if stop.Stays {
		code = StayMoved
	}
	c.add(code, r, i, r, -1, "Stop %d is in slot %d, where it may not go.", i, r)
}

func (c *checker) head(r int, stops []int) {
	for k, h := range c.p.Slots[r].Head {
		if k >= len(stops) || stops[k] != h {
			c.add(HeadMoved, r, h, -1, k+1, "Slot %d must have stop %d as number %d of its route.", r, h, k+1)
		}
	}
}

// counts checks that every stop is planned once or named as unplaced.
func (c *checker) counts(s Solution) {
	c.sound = true
	for _, i := range s.Unplaced {
		if i < 0 || i >= len(c.p.Stops) {
			c.add(UnknownStop, -1, i, i, len(c.p.Stops)-1, "Stop %d is said to be unplaced; stops run from 0 to %d.", i, len(c.p.Stops)-1)
			continue
		}
		c.times[i]++
		if c.p.Stops[i].UnplacedCost == 0 {
			c.sound = false // the engine's own price; nothing to hold it against
		}
		c.cost += c.p.Stops[i].UnplacedCost
	}
	for i, n := range c.times {
		switch {
		case n == 0:
			c.add(Missing, -1, i, 0, 1, "Stop %d is neither planned nor named as unplaced.", i)
		case n > 1:
			c.add(TwicePlanned, -1, i, n, 1, "Stop %d is planned or named %d times.", i, n)
		}
	}
	c.sound = c.sound && len(c.found) == 0
}
