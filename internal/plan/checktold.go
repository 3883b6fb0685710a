package plan

import (
	"math"
	"slices"

	"github.com/google/uuid"

	"thirdcut/internal/civil"
	"thirdcut/internal/route"
)

// The codes of violations in what a proposal says of itself, and of places that
// no way can be timed to.
const (
	NotOnMap      = "not-on-map"       // new work at a property that is not placed
	DepotNotOnMap = "depot-not-on-map" // new work for a crew whose depot is not placed
	KeptChanged   = "kept-changed"     // a kept visit with other tasks than were kept
	EmptyVisit    = "empty-visit"      // nothing to do there
	WrongMinutes  = "wrong-minutes"    // a task with fewer minutes than its item takes
	WrongWindow   = "wrong-window"     // a task that shows a window without its day
	WrongDriving  = "wrong-driving"    // driving minutes that are not those of the way
	WithoutCause  = "without-cause"    // unplaced, and nothing says why
)

// printedSlack is what printing a number of minutes to hundredths may cost.
const printedSlack = 0.006

// told checks what people read in a proposal against its visits: places, kept
// tasks, minutes, windows, driving and sums. It asks only for what holds as long
// as no limit is broken, so that a plan whose windows were computed again since
// is not called wrong for that alone.
func (c *checker) told() {
	if c.p.From != c.in.From || c.p.To != c.in.To {
		c.say(OutsidePlan, -1, "", float64(c.p.To.DayNumber()), float64(c.in.To.DayNumber()),
			"The plan says it runs from %s to %s; it was asked for %s to %s.", c.p.From, c.p.To, c.in.From, c.in.To)
	}
	c.keptTwice()
	for i, v := range c.p.Visits {
		if c.isKept(v) {
			c.keptTasks(i)
			continue
		}
		c.places(i)
		c.shownTasks(i)
	}
	c.unplacedTold()
	c.summaries()
}

// keptTwice finds kept visits that the plan has more than once.
func (c *checker) keptTwice() {
	seen := map[uuid.UUID]int{}
	for i, v := range c.p.Visits {
		if !c.isKept(v) {
			continue
		}
		if seen[v.KeptID]++; seen[v.KeptID] > 1 {
			c.say(TwicePlanned, i, "", float64(seen[v.KeptID]), 1, "Visit %d is a kept visit that the plan has already.", i+1)
		}
	}
}

// keptTasks holds a kept visit to the tasks that were kept: what a person sent
// out may not gain or lose work on the way.
func (c *checker) keptTasks(i int) {
	v := c.p.Visits[i]
	k := slices.IndexFunc(c.in.Kept, func(k Kept) bool { return k.VisitID == v.KeptID })
	type task struct {
		item, work string
		area       uuid.UUID
	}
	left := map[task]int{}
	for _, t := range c.in.Kept[k].Tasks {
		left[task{t.ItemID, string(t.Work), t.AreaID}]++
	}
	for _, t := range v.Tasks {
		left[task{t.ItemID, string(t.Work), t.AreaID}]--
	}
	for _, n := range left {
		if n != 0 {
			c.say(KeptChanged, i, "", float64(len(v.Tasks)), float64(len(c.in.Kept[k].Tasks)), "Visit %d was kept with other tasks than it has now.", i+1)
			return
		}
	}
}

// places checks that the way to new work can be timed at all.
func (c *checker) places(i int) {
	v := c.p.Visits[i]
	if _, ok := c.where(v); !ok {
		c.say(NotOnMap, i, "", 0, 1, "Visit %d is at a property that is not placed on the map; nobody can say how long the way is.", i+1)
	}
	if crew, ok := c.crews[v.CrewID]; ok {
		if _, ok := depotOf(crew); !ok {
			c.say(DepotNotOnMap, i, "", 0, 1, "Visit %d is of crew %s, whose depot is not placed on the map.", i+1, crew.Name)
		}
	}
}

func depotOf(crew Crew) (route.Point, bool) {
	if crew.DepotLatitude == nil || crew.DepotLongitude == nil {
		return route.Point{}, false
	}
	p := route.Point{Latitude: *crew.DepotLatitude, Longitude: *crew.DepotLongitude}
	return p, p.Known()
}

// shownTasks checks the minutes and windows that a visit's tasks show. Windows
// and minutes may have been computed again since, so a task need not show today's:
// its window must hold its day, and its minutes may not be too few.
func (c *checker) shownTasks(i int) {
	v := c.p.Visits[i]
	if len(v.Tasks) == 0 {
		c.say(EmptyVisit, i, "", 0, 1, "Visit %d has nothing to do.", i+1)
	}
	for _, t := range v.Tasks {
		it, ok := c.items[t.ItemID]
		if !ok || len(it.AreaIDs) == 0 {
			continue // told by task
		}
		want := it.ServiceMinutes / float64(len(it.AreaIDs))
		if !(t.Minutes > 0 && t.Minutes+minuteSlack >= want) || math.IsInf(t.Minutes, 1) { // true for NaN
			c.say(WrongMinutes, i, t.ItemID, t.Minutes, want, "Visit %d gives a task %.2f min; its share of the work takes %.2f min.", i+1, t.Minutes, want)
		}
		if w := t.Window; !w.Open() || v.Date.Before(w.Opens) || v.Date.After(w.Closes) {
			c.say(WrongWindow, i, t.ItemID, float64(v.Date.DayNumber()), float64(w.Closes.DayNumber()),
				"Visit %d is on %s; the window that its task shows runs from %s to %s.", i+1, v.Date, w.Opens, w.Closes)
		}
	}
}

// unplacedTold checks that what is named as unplaced is so once, is not planned,
// and says why. It may be due no longer: then nothing is wrong with the plan.
func (c *checker) unplacedTold() {
	type time struct {
		item  string
		round int
	}
	planned, named, given := map[time]bool{}, map[time]int{}, map[string]int{}
	for _, it := range c.in.Items {
		given[it.ID]++ // two works may carry one key by mistake; then both are named
	}
	for _, v := range c.p.Visits {
		for _, t := range v.Tasks {
			if !c.isKept(v) {
				planned[time{t.ItemID, t.Round}] = true
			}
		}
	}
	for _, u := range c.p.Unplaced {
		at := time{u.ItemID, u.Round}
		named[at]++
		switch {
		case planned[at]:
			c.say(TwicePlanned, -1, u.ItemID, 2, 1, "Time %d of work %q is planned and also named as unplaced.", u.Round, u.ItemID)
		case given[u.ItemID] > 0 && named[at] > given[u.ItemID]:
			c.say(TwicePlanned, -1, u.ItemID, float64(named[at]), float64(given[u.ItemID]), "Time %d of work %q is named as unplaced %d times.", u.Round, u.ItemID, named[at])
		}
		if u.Code == "" || u.Why == "" {
			c.say(WithoutCause, -1, u.ItemID, 0, 1, "Time %d of work %q is unplaced, and nothing says why.", u.Round, u.ItemID)
		}
	}
}

// summaries checks the driving of every visit, the days' summaries and the sums.
// A day that holds only kept visits may go without one: when they do not fit
// together they are shown as they stand, with no times of their own.
func (c *checker) summaries() {
	type key struct {
		crew uuid.UUID
		date civil.Date
	}
	visits := map[key][]int{}
	days := map[key]CrewDay{}
	var order []key
	for i, v := range c.p.Visits {
		k := key{v.CrewID, v.Date}
		if visits[k] == nil {
			order = append(order, k)
		}
		visits[k] = append(visits[k], i)
	}
	working := 0.0
	for _, d := range c.p.CrewDays {
		k := key{d.CrewID, d.Date}
		if _, twice := days[k]; twice || d.Stops != len(visits[k]) {
			c.say(WrongTotal, -1, "", float64(d.Stops), float64(len(visits[k])), "A crew's day on %s is summed up with %d stops, or twice; it has %d.", d.Date, d.Stops, len(visits[k]))
		}
		days[k] = d
		working += d.WorkingMinutes
	}
	if !(math.Abs(working-c.p.WorkingMinutes) <= 0.01*float64(1+len(c.p.CrewDays))) {
		c.say(WrongTotal, -1, "", c.p.WorkingMinutes, working, "The plan says %.2f min of work; its days have %.2f min.", c.p.WorkingMinutes, working)
	}
	for _, k := range order {
		list := visits[k]
		day, summed := days[k]
		fresh := slices.ContainsFunc(list, func(i int) bool { return !c.isKept(c.p.Visits[i]) })
		if !summed && fresh {
			c.say(WrongTotal, list[0], "", 0, 1, "The day of visit %d has no summary.", list[0]+1)
		}
		if crew, ok := c.crews[k.crew]; ok && (summed || fresh) {
			slices.SortStableFunc(list, func(a, b int) int { return c.p.Visits[a].Position - c.p.Visits[b].Position })
			c.drivenAndWorked(crew, list, day, summed)
		}
	}
}

// drivenAndWorked drives one crew's day once more and adds its work up.
func (c *checker) drivenAndWorked(crew Crew, list []int, day CrewDay, summed bool) {
	home, ok := depotOf(crew)
	if !ok {
		return // told by places
	}
	at, driving, work, roundings := home, 0.0, 0.0, 0
	for _, i := range list {
		v := c.p.Visits[i]
		there, known := c.where(v)
		if !known {
			there = home
		}
		way := c.minutes(at, there)
		if !(math.Abs(v.DrivingMinutes-way) <= printedSlack) {
			c.say(WrongDriving, i, "", v.DrivingMinutes, way, "Visit %d says %.2f min of driving; the way takes %.2f min.", i+1, v.DrivingMinutes, way)
		}
		driving, at = driving+way, there
		work += c.workOf(v)
		roundings += 1 + len(v.Tasks)
	}
	driving += c.minutes(at, home)
	if !summed {
		return
	}
	if !(math.Abs(day.DrivingMinutes-driving) <= printedSlack) {
		c.say(WrongDriving, list[0], "", day.DrivingMinutes, driving, "The day of visit %d says %.2f min of driving; its ways take %.2f min.", list[0]+1, day.DrivingMinutes, driving)
	}
	// Work is planned in whole minutes, rounded up a visit and a task.
	if !(math.Abs(day.WorkingMinutes-work) <= float64(roundings)) {
		c.say(WrongTotal, list[0], "", day.WorkingMinutes, work, "The day of visit %d says %.1f min of work; its visits take %.1f min.", list[0]+1, day.WorkingMinutes, work)
	}
}

// workOf is what a visit takes by its tasks, or by what was kept.
func (c *checker) workOf(v Visit) float64 {
	if c.isKept(v) {
		k := slices.IndexFunc(c.in.Kept, func(k Kept) bool { return k.VisitID == v.KeptID })
		return c.in.Kept[k].Minutes
	}
	sum := c.in.ArrivalMinutes
	for _, t := range v.Tasks {
		sum += t.Minutes
	}
	return sum
}
