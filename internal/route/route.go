// Package route orders stops into crews' days: the routing engine, and a checker
// of its own that knows nothing of how the engine works.
//
// Times are whole seconds from any zero that the caller keeps to; costs are in
// the same seconds, so that a weight says how many seconds of driving it is worth.
package route

// Problem is what has to be visited and what there is to visit it with.
type Problem struct {
	Travel Travel
	Stops  []Stop
	Slots  []Slot
}

// Travel tells how long it takes from one place to another, in whole seconds,
// never negative. Places are counted from 0 to Places()-1. It may be asymmetric.
type Travel interface {
	Places() int
	Seconds(from, to int) int
}

// Stop is one thing to do at one place.
type Stop struct {
	Place   int
	Service int // seconds
	// Setup is spent before the service unless the stop before is at the same
	// place: parking, the gate, unloading. It is paid like driving.
	Setup int
	// Open and Close bound the start of the service (after Setup); both zero: any time.
	Open, Close int
	// Slots lists where it may go and what that costs, by ascending slot; nil:
	// anywhere, free; empty: nowhere.
	Slots []SlotCost
	// Demand is taken from the slots' Capacity, measure by measure; shorter is zero.
	Demand []int
	// UnplacedCost is what leaving it out costs; zero takes a value above any
	// possible cost of placing it.
	UnplacedCost int
	// Stays keeps the stop in its only slot: it is placed first and never taken out.
	Stays bool
}

// SlotCost is a slot that a stop may go to, and the cost of that choice (day
// early or late, change against what was promised). It may not be negative.
type SlotCost struct {
	Slot, Cost int
}

// Slot is one crew on one day, which is one route.
type Slot struct {
	Crew, Day   int // the caller's numbers; the engine does not read them
	Start, End  int // places
	From, To    int // the shift, seconds
	MaxOvertime int // seconds that the way home may end after To
	Capacity    []int
	FixedCost   int // for going out at all
	// WaitPercent is what a second of waiting costs, in hundredths; 0 is free.
	WaitPercent int
	// Head is the fixed beginning of the route: these stops in this order, and
	// none before or between them. They must have this slot as their only one.
	Head []int
	// Like marks slots that differ in nothing that matters, so that only one
	// empty one of them is tried; zero: unlike every other.
	Like int
	// Open ends the route at the last stop: nobody drives home.
	OpenEnd bool
}

// overtimePercent is what a second after the shift's end costs, in hundredths:
// one and a half times (common practice of overtime pay).
const overtimePercent = 150

// Solution is where every stop went. Routes run parallel to Problem.Slots and
// hold indexes into Problem.Stops.
type Solution struct {
	Routes   [][]int
	Unplaced []int // ascending
	Cost     int
	Travel   int // seconds of driving, without setup
	Rounds   int // iterations done
}

// Options steer the search.
type Options struct {
	Seed uint64
	// Iterations ends the search; with it, and without Share, the solution
	// depends on problem and seed alone. Zero or less takes DefaultIterations.
	Iterations int
	// Share tells which part of the time allowed is used up, 0 to 1, for callers
	// that give time instead of iterations: the search ends at 1 and cools by it.
	Share func() float64
	// Progress hears about the search now and then; nil: nobody asks.
	Progress func(Progress)
	// Start is a solution to begin with; what does not fit in it is planned anew.
	Start *Solution
}

// Progress is how far a search is.
type Progress struct {
	Iteration, Iterations int
	Cost                  int // of the best so far
	Unplaced              int
}

// DefaultIterations suits a few hundred stops.
const DefaultIterations = 60_000

// MatrixLimit is the number of points up to which travel is held as a full
// table: 2,500 points take 50 MB both ways. Above it, travel is asked for pair by pair.
const MatrixLimit = 2500
