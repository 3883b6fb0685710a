package plan

import (
	"fmt"
	"math"
	"slices"
	"sort"

	"github.com/google/uuid"

	"thirdcut/internal/civil"
	"thirdcut/internal/route"
	"thirdcut/internal/turf"
)

// The codes of violations of a proposal.
const (
	OutsidePlan    = "outside-plan"    // a day that is not planned
	UnknownCrew    = "unknown-crew"    // a crew that is not in the input, or not on that day
	UnknownWork    = "unknown-work"    // an item, area or property that the input does not have so
	OutsideWindow  = "outside-window"  // before opens or after closes
	OnStruckDay    = "on-struck-day"   //
	OnClosedDay    = "on-closed-day"   // the property's
	OutsideHours   = "outside-hours"   // the property's
	WithoutAbility = "without-ability" //
	WithoutMachine = "without-machine" // no machine cuts at that height
	WithoutLicense = "without-licence" //
	RefusedWork    = "refused-work"    // planned against a finding
	OverShift      = "over-shift"      //
	TooFast        = "too-fast"        // arrives before it can be there
	TooShort       = "too-short"       // leaves before the work can be done
	WrongOrder     = "wrong-order"     // positions are not 1, 2, 3 ...
	KeptMoved      = "kept-moved"      //
	KeptMissing    = "kept-missing"    //
	TwicePlanned   = "twice-planned"   //
	RoundMissing   = "round-missing"   // a later time without the one before it
	Dropped        = "dropped"         // neither planned nor named as unplaced
	WrongTotal     = "wrong-total"     //
)

// minuteSlack is the rounding of printed times: each is up to a minute late.
const minuteSlack = 1.0

// Check holds a proposal against every limit of its input and returns what it
// breaks, with the numbers compared. It was written apart from Make, recomputes
// windows and driving for itself, and takes a plan that a person changed by hand
// as well as one of its own. Kept visits are held only to being kept: what was
// sent out may break a limit that came later.
func Check(in Input, p Proposal) []Violation {
	c := newChecker(in, p)
	for i := range p.Visits {
		c.visit(i)
	}
	c.days()
	c.keptOnes()
	c.rounds()
	c.doubles()
	c.nothingDropped()
	c.totals()
	c.told()
	return c.found
}

type checker struct {
	in    Input
	p     Proposal
	crews map[uuid.UUID]Crew
	items map[string]Item
	kept  map[uuid.UUID]uuid.UUID // kept visit to property
	found []Violation
}

func newChecker(in Input, p Proposal) *checker {
	c := &checker{in: in, p: p, crews: map[uuid.UUID]Crew{}, items: map[string]Item{}, kept: map[uuid.UUID]uuid.UUID{}}
	for i := len(in.Crews) - 1; i >= 0; i-- {
		c.crews[in.Crews[i].ID] = in.Crews[i] // the first of two counts
	}
	for _, it := range in.Items {
		c.items[it.ID] = it
	}
	c.in.Kept = nil
	for _, k := range in.Kept { // of two with one key the first counts, and one without a key is none
		if _, twice := c.kept[k.VisitID]; !twice && k.VisitID != uuid.Nil {
			c.kept[k.VisitID] = k.PropertyID
			c.in.Kept = append(c.in.Kept, k)
		}
	}
	return c
}

// isKept says whether the input keeps that visit; a key alone that nobody gave is no excuse.
func (c *checker) isKept(v Visit) bool {
	property, ok := c.kept[v.KeptID]
	return ok && property == v.PropertyID
}

func (c *checker) say(code string, visit int, item string, found, limit float64, format string, args ...any) {
	v := Violation{Code: code, VisitNo: visit, ItemID: item, Found: found, Limit: limit, Why: fmt.Sprintf(format, args...)}
	if visit >= 0 {
		v.CrewID, v.Date, v.KeptID = c.p.Visits[visit].CrewID, c.p.Visits[visit].Date, c.p.Visits[visit].KeptID
	}
	c.found = append(c.found, v)
}

// visit checks one visit by itself.
func (c *checker) visit(i int) {
	v := c.p.Visits[i]
	if c.isKept(v) {
		return
	}
	if v.Date.Before(c.in.From) || v.Date.After(c.in.To) {
		c.say(OutsidePlan, i, "", float64(v.Date.DayNumber()), float64(c.in.To.DayNumber()), "Visit %d is on %s; the plan runs from %s to %s.", i+1, v.Date, c.in.From, c.in.To)
	}
	crew, ok := c.crews[v.CrewID]
	weekday := (int(v.Date.Weekday())+6)%7 + 1
	if !ok || !slices.Contains(crew.WorkDays, weekday) || slices.Contains(crew.DaysOff, v.Date) {
		c.say(UnknownCrew, i, "", 0, 0, "Visit %d is of a crew that does not work on %s.", i+1, v.Date.Words())
	}
	property, known := c.in.Properties[v.PropertyID]
	if !known {
		c.say(UnknownWork, i, "", 0, 0, "Visit %d is at a property that was not given.", i+1)
	}
	if slices.Contains(property.ClosedWeekdays, weekday) {
		c.say(OnClosedDay, i, "", float64(weekday), 0, "Visit %d is on a %s, when the property is closed.", i+1, v.Date.Weekday())
	}
	if property.AllowedFrom != nil && v.Arrive < *property.AllowedFrom {
		c.say(OutsideHours, i, "", float64(v.Arrive), float64(*property.AllowedFrom), "Visit %d arrives at %s; the property allows work from %s.", i+1, v.Arrive, *property.AllowedFrom)
	}
	if property.AllowedTo != nil && v.Leave > *property.AllowedTo {
		c.say(OutsideHours, i, "", float64(v.Leave), float64(*property.AllowedTo), "Visit %d leaves at %s; the property allows work until %s.", i+1, v.Leave, *property.AllowedTo)
	}
	need := c.in.ArrivalMinutes
	for _, t := range v.Tasks {
		c.task(i, crew, t)
		if it, ok := c.items[t.ItemID]; ok && len(it.AreaIDs) > 0 {
			need += it.ServiceMinutes / float64(len(it.AreaIDs))
		}
	}
	if stay := float64(v.Leave - v.Arrive); stay+minuteSlack < need {
		c.say(TooShort, i, "", stay, need, "Visit %d stays %.0f min; arriving and its work take %.1f min.", i+1, stay, need)
	}
}

// task checks one work of a visit against its item and the crew.
func (c *checker) task(i int, crew Crew, t Task) {
	v := c.p.Visits[i]
	it, ok := c.items[t.ItemID]
	if !ok || it.PropertyID != v.PropertyID || it.Work != t.Work || !slices.Contains(it.AreaIDs, t.AreaID) || t.Round < 1 {
		c.say(UnknownWork, i, t.ItemID, 0, 0, "Visit %d has a work %q that was not given for this property and area.", i+1, t.ItemID)
		return
	}
	if it.Refusal != "" {
		c.say(RefusedWork, i, t.ItemID, 0, 0, "Visit %d has work that may not be planned: %s", i+1, it.Refusal)
	}
	if !slices.Contains(crew.Abilities, it.Work) {
		c.say(WithoutAbility, i, t.ItemID, 0, 0, "Visit %d has crew %s %s, which it cannot do.", i+1, crew.Name, it.Work.Words())
	}
	if (it.Work == turf.Mow || it.Work == turf.FirstCut) && !canCut(crew.Machines, it) {
		c.say(WithoutMachine, i, t.ItemID, nearestHeight(crew.Machines, it.CuttingHeightIn), it.CuttingHeightIn,
			"Visit %d is to cut at %v in; no fitting machine of crew %s does.", i+1, it.CuttingHeightIn, crew.Name)
	}
	if it.NeedsLicense != "" && !slices.ContainsFunc(crew.Licenses, func(l License) bool {
		return l.Kind == it.NeedsLicense && l.From.Compare(v.Date) <= 0 && v.Date.Compare(l.To) <= 0
	}) {
		c.say(WithoutLicense, i, t.ItemID, 0, 0, "Visit %d needs a %s licence; crew %s has none in force on %s.", i+1, it.NeedsLicense, crew.Name, v.Date)
	}
	if t.Round == 1 {
		c.window(i, t.ItemID, it.Window)
	}
}

func canCut(machines []Machine, it Item) bool {
	for _, m := range machines {
		mower := m.Kind == "reel" || m.Kind == "rotary"
		kind := it.Mower == "" || string(it.Mower) == m.Kind
		height := it.CuttingHeightIn <= 0 || math.IsNaN(it.CuttingHeightIn) ||
			it.CuttingHeightIn >= m.HeightMinIn-0.01 && it.CuttingHeightIn <= m.HeightMaxIn+0.01
		if mower && kind && height {
			return true
		}
	}
	return false
}

// nearestHeight is the height nearest to the one wanted at which any mower cuts; 0: there is no mower.
func nearestHeight(machines []Machine, want float64) (nearest float64) {
	gap := math.Inf(1)
	for _, m := range machines {
		if m.Kind != "reel" && m.Kind != "rotary" {
			continue
		}
		if h := math.Max(m.HeightMinIn, math.Min(want, m.HeightMaxIn)); math.Abs(h-want) < gap {
			nearest, gap = h, math.Abs(h-want)
		}
	}
	return nearest
}

// window checks the day of a visit against one window.
func (c *checker) window(i int, item string, w turf.Window) {
	d := c.p.Visits[i].Date
	for _, s := range w.Struck {
		if s.Date == d {
			c.say(OnStruckDay, i, item, 0, 0, "Visit %d is on %s, which is struck out: %s", i+1, d, s.Reason)
		}
	}
	if !w.Open() || d.Before(w.Opens) {
		c.say(OutsideWindow, i, item, float64(d.DayNumber()), float64(w.Opens.DayNumber()), "Visit %d is on %s; the window opens on %s.", i+1, d, w.Opens)
	} else if d.After(w.Closes) {
		c.say(OutsideWindow, i, item, float64(d.DayNumber()), float64(w.Closes.DayNumber()), "Visit %d is on %s; the window closed on %s.", i+1, d, w.Closes)
	}
}

// days drives every crew's day in the order of the positions. A day that cannot
// be driven only because of visits that were kept is not held against the plan.
func (c *checker) days() {
	type key struct {
		crew uuid.UUID
		date civil.Date
	}
	byDay := map[key][]int{}
	var order []key
	for i, v := range c.p.Visits {
		k := key{v.CrewID, v.Date}
		if byDay[k] == nil {
			order = append(order, k)
		}
		byDay[k] = append(byDay[k], i)
	}
	for _, k := range order {
		list := byDay[k]
		sort.SliceStable(list, func(a, b int) bool { return c.p.Visits[list[a]].Position < c.p.Visits[list[b]].Position })
		if crew, ok := c.crews[k.crew]; ok {
			c.day(crew, list)
		}
	}
}

func (c *checker) day(crew Crew, list []int) {
	onlyKept := true
	for _, i := range list {
		onlyKept = onlyKept && c.isKept(c.p.Visits[i])
	}
	if onlyKept || crew.DepotLatitude == nil || crew.DepotLongitude == nil {
		return
	}
	home := route.Point{Latitude: *crew.DepotLatitude, Longitude: *crew.DepotLongitude}
	at, free, wasKept := home, float64(crew.ShiftFrom), false
	for n, i := range list {
		v := c.p.Visits[i]
		if v.Position != n+1 {
			c.say(WrongOrder, i, "", float64(v.Position), float64(n+1), "Visit %d has position %d; it is number %d of its crew's day.", i+1, v.Position, n+1)
		}
		there, ok := c.where(v)
		if !ok {
			there = home
		}
		kept := c.isKept(v)
		if earliest := free + c.minutes(at, there); float64(v.Arrive)+minuteSlack < earliest && !(kept && (wasKept || n == 0)) {
			c.say(TooFast, i, "", float64(v.Arrive), earliest, "Visit %d arrives at %s; the crew cannot be there before %s.", i+1, v.Arrive, clock(earliest))
		}
		at, free, wasKept = there, float64(v.Leave), kept
	}
	limit := float64(int(crew.ShiftTo) + crew.MaxOvertimeMinutes)
	if back := free + c.minutes(at, home); back > limit+minuteSlack {
		c.say(OverShift, list[len(list)-1], "", back, limit, "The crew is back at %s; its shift with overtime ends at %s.", clock(back), clock(limit))
	}
}

func clock(minutes float64) string {
	return civil.TimeOfDay(math.Ceil(math.Max(0, math.Min(minutes, 1e6)))).String()
}

func (c *checker) minutes(a, b route.Point) float64 {
	if c.in.Drive != nil {
		return math.Max(0, math.Min(86_400, float64(c.in.Drive(a, b)))) / 60
	}
	return float64(route.DriveSeconds(a, b)) / 60
}

// where is the point of a visit.
func (c *checker) where(v Visit) (route.Point, bool) {
	if c.isKept(v) {
		for _, k := range c.in.Kept {
			if k.VisitID == v.KeptID && k.PropertyID == v.PropertyID && k.Latitude != nil && k.Longitude != nil {
				if p := (route.Point{Latitude: *k.Latitude, Longitude: *k.Longitude}); p.Known() {
					return p, true
				}
			}
		}
	}
	p := c.in.Properties[v.PropertyID]
	if p.Latitude == nil || p.Longitude == nil {
		return route.Point{}, false
	}
	point := route.Point{Latitude: *p.Latitude, Longitude: *p.Longitude}
	return point, point.Known()
}
