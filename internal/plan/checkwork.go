package plan

import (
	"math"
	"slices"

	"github.com/google/uuid"

	"thirdcut/internal/civil"
)

// keptOnes looks for every kept visit of the plan's days at its crew, day and time.
func (c *checker) keptOnes() {
	for _, k := range c.in.Kept {
		if k.Date.Before(c.in.From) || k.Date.After(c.in.To) {
			continue
		}
		at := slices.IndexFunc(c.p.Visits, func(v Visit) bool { return v.KeptID == k.VisitID && v.PropertyID == k.PropertyID })
		if at < 0 {
			c.say(KeptMissing, -1, "", 0, 1, "The kept visit of %s at %s is not in the plan.", k.Date, k.Arrive)
			continue
		}
		v := c.p.Visits[at]
		if v.CrewID != k.CrewID || v.Date != k.Date || v.Arrive != k.Arrive {
			c.say(KeptMoved, at, "", float64(v.Arrive), float64(k.Arrive), "Visit %d was kept for %s at %s and stands on %s at %s, or with another crew.", at+1, k.Date, k.Arrive, v.Date, v.Arrive)
		}
		if stay := float64(v.Leave - v.Arrive); k.Minutes >= 0 && k.Minutes <= 1440 && stay+minuteSlack < k.Minutes && v.Leave < 1440 {
			c.say(TooShort, at, "", stay, k.Minutes, "Visit %d stays %.0f min; it was kept with %.1f min.", at+1, stay, k.Minutes)
		}
	}
}

// timeOf is one time of one item on one area.
type timeOf struct {
	item  string
	area  uuid.UUID
	round int
}

// rounds recomputes the window of every later time from the day before it.
func (c *checker) rounds() {
	days := map[timeOf]civil.Date{}
	for _, v := range c.p.Visits {
		if c.isKept(v) {
			continue
		}
		for _, t := range v.Tasks {
			days[timeOf{t.ItemID, t.AreaID, t.Round}] = v.Date
		}
	}
	for i, v := range c.p.Visits {
		if c.isKept(v) {
			continue
		}
		for _, t := range v.Tasks {
			it, ok := c.items[t.ItemID]
			if !ok || t.Round < 2 {
				continue
			}
			before, planned := days[timeOf{t.ItemID, t.AreaID, t.Round - 1}]
			if !planned && t.Round == 2 {
				before, planned = c.keptDay(it)
			}
			if !planned || it.After == nil {
				c.say(RoundMissing, i, t.ItemID, float64(t.Round), float64(t.Round-1), "Visit %d has time %d of a work whose time %d is not planned.", i+1, t.Round, t.Round-1)
				continue
			}
			if !v.Date.After(before) {
				c.say(OutsideWindow, i, t.ItemID, float64(v.Date.DayNumber()), float64(before.DayNumber()+1), "Visit %d is on %s; the time before it is on %s.", i+1, v.Date, before)
				continue
			}
			c.window(i, t.ItemID, it.After(before))
		}
	}
}

// keptDay is the last day on which kept visits do all areas of an item's first time.
func (c *checker) keptDay(it Item) (last civil.Date, all bool) {
	for _, a := range it.AreaIDs {
		found := false
		for _, k := range c.in.Kept {
			for _, t := range k.Tasks {
				if t.AreaID == a && doesFirst(it, t, k.Date) {
					if !found && last.IsZero() || k.Date.After(last) {
						last = k.Date
					}
					found = true
				}
			}
		}
		if !found {
			return civil.Date{}, false
		}
	}
	return last, len(it.AreaIDs) > 0
}

// doesFirst says whether a kept task is an item's first time.
func doesFirst(it Item, t Task, d civil.Date) bool {
	if t.ItemID == it.ID {
		return true
	}
	treats := it.Work.Treats()
	return !treats && t.Work == it.Work && d.Compare(it.Window.Opens) >= 0 && d.Compare(it.Window.Closes) <= 0
}

// doubles finds one time of one work planned twice, work on one area twice on a
// day, and work planned although a kept visit does it.
func (c *checker) doubles() {
	type dayWork struct {
		area uuid.UUID
		date civil.Date
		work string
	}
	times, onDay := map[timeOf]bool{}, map[dayWork]bool{}
	for _, k := range c.in.Kept {
		for _, t := range k.Tasks {
			if !t.Work.Treats() {
				onDay[dayWork{t.AreaID, k.Date, string(t.Work)}] = true
			}
		}
	}
	for i, v := range c.p.Visits {
		if c.isKept(v) {
			continue
		}
		for _, t := range v.Tasks {
			time, day := timeOf{t.ItemID, t.AreaID, t.Round}, dayWork{t.AreaID, v.Date, string(t.Work)}
			it := c.items[t.ItemID]
			switch {
			case times[time]:
				c.say(TwicePlanned, i, t.ItemID, 2, 1, "Visit %d has time %d of a work that is planned already.", i+1, t.Round)
			case !t.Work.Treats() && onDay[day]:
				c.say(TwicePlanned, i, t.ItemID, 2, 1, "Visit %d has work that is on the same turf area on %s already.", i+1, v.Date)
			case t.Round == 1 && c.keptDoes(it, t.AreaID):
				c.say(TwicePlanned, i, t.ItemID, 2, 1, "Visit %d has work that a kept visit does within the same window.", i+1)
			}
			times[time], onDay[day] = true, true
		}
	}
}

func (c *checker) keptDoes(it Item, area uuid.UUID) bool {
	for _, k := range c.in.Kept {
		for _, t := range k.Tasks {
			if t.AreaID == area && doesFirst(it, t, k.Date) {
				return true
			}
		}
	}
	return false
}

// nothingDropped asks for every item: all of its areas planned or kept, or the item unplaced.
func (c *checker) nothingDropped() {
	planned := map[timeOf]bool{}
	for _, v := range c.p.Visits {
		for _, t := range v.Tasks {
			if !c.isKept(v) {
				planned[timeOf{t.ItemID, t.AreaID, 1}] = planned[timeOf{t.ItemID, t.AreaID, 1}] || t.Round == 1
			}
		}
	}
	for _, it := range c.in.Items {
		named := slices.ContainsFunc(c.p.Unplaced, func(u Unplaced) bool { return u.ItemID == it.ID && u.Round == 1 && u.Why != "" })
		for _, a := range it.AreaIDs {
			if !named && !planned[timeOf{it.ID, a, 1}] && !c.keptDoes(it, a) {
				c.say(Dropped, -1, it.ID, 0, 1, "The work %q is neither planned on all of its areas nor named as unplaced.", it.ID)
				break
			}
		}
		if len(it.AreaIDs) == 0 && !named {
			c.say(Dropped, -1, it.ID, 0, 1, "The work %q is neither planned nor named as unplaced.", it.ID)
		}
	}
}

// totals adds the driving of the days up.
func (c *checker) totals() {
	sum := 0.0
	for _, d := range c.p.CrewDays {
		sum += d.DrivingMinutes
	}
	if math.Abs(sum-c.p.DrivingMinutes) > 0.01*float64(1+len(c.p.CrewDays)) {
		c.say(WrongTotal, -1, "", c.p.DrivingMinutes, sum, "The plan says %.2f min of driving; its days have %.2f min.", c.p.DrivingMinutes, sum)
	}
}
