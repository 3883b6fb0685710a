package plan

import (
	"math"
	"slices"
	"testing"

	"github.com/google/uuid"

	"thirdcut/internal/civil"
	"thirdcut/internal/turf"
)

// Each row spoils one thing in a right plan; the checker must name it with the
// numbers compared.
func TestCheckerHoldsAPlanToWhatItSays(t *testing.T) {
	day := func(d civil.Date) float64 { return float64(d.DayNumber()) }
	change := func(in *Input, n int, f func(*Property)) {
		p := in.Properties[id("property", n)]
		f(&p)
		in.Properties[id("property", n)] = p
	}
	tests := []struct {
		name, code   string
		found, limit float64
		spoil        func(*Input, *Proposal)
	}{
		{"other days than asked for", OutsidePlan, day(monday.AddDays(9)), day(monday.AddDays(5)), func(_ *Input, p *Proposal) { p.To = monday.AddDays(9) }},
		{"property taken off the map", NotOnMap, 0, 1, func(in *Input, _ *Proposal) { change(in, 0, func(p *Property) { p.Latitude = nil }) }},
		{"property nowhere", NotOnMap, 0, 1, func(in *Input, _ *Proposal) { change(in, 0, func(p *Property) { p.Longitude = ptr(math.NaN()) }) }},
		{"depot taken off the map", DepotNotOnMap, 0, 1, func(in *Input, _ *Proposal) { in.Crews[0].DepotLatitude = nil }},
		{"kept visit gains a task", KeptChanged, 2, 1, func(_ *Input, p *Proposal) {
			p.Visits[2].Tasks = append(p.Visits[2].Tasks, Task{ItemID: "a", AreaID: id("area", 0), Work: turf.Spray, Round: 1})
		}},
		{"kept visit loses its task", KeptChanged, 0, 1, func(_ *Input, p *Proposal) { p.Visits[2].Tasks = nil }},
		{"kept visit gets another work", KeptChanged, 1, 1, func(_ *Input, p *Proposal) { p.Visits[2].Tasks[0].Work = turf.Spray }},
		{"kept visit twice", TwicePlanned, 2, 1, func(_ *Input, p *Proposal) { p.Visits = append(p.Visits, p.Visits[2]) }},
		{"a kept visit that nobody kept", KeptMissing, 0, 1, func(_ *Input, p *Proposal) { p.Visits[2].KeptID = id("visit", 7) }},
		{"nothing to do", EmptyVisit, 0, 1, func(_ *Input, p *Proposal) { p.Visits[1].Tasks = nil }},
		{"too few minutes", WrongMinutes, 20, 26, func(_ *Input, p *Proposal) { p.Visits[0].Tasks[0].Minutes = 20 }},
		{"endless minutes", WrongMinutes, math.Inf(1), 26, func(_ *Input, p *Proposal) { p.Visits[0].Tasks[0].Minutes = math.Inf(1) }},
		{"a window without the day", WrongWindow, day(monday), day(monday.AddDays(-1)), func(_ *Input, p *Proposal) {
			p.Visits[0].Tasks[0].Window = turf.Window{Opens: monday.AddDays(-3), Best: monday.AddDays(-2), Closes: monday.AddDays(-1)}
		}},
		{"a drive made shorter", WrongDriving, 9.9, 10, func(_ *Input, p *Proposal) { p.Visits[1].DrivingMinutes = 9.9 }},
		{"all driving made shorter", WrongDriving, 10, 30, func(_ *Input, p *Proposal) { p.CrewDays[0].DrivingMinutes, p.DrivingMinutes = 10, 50 }},
		{"a day of too little work", WrongTotal, 20, 60, func(_ *Input, p *Proposal) { p.CrewDays[0].WorkingMinutes, p.WorkingMinutes = 20, 80 }},
		{"work that is not the sum", WrongTotal, 90, 120, func(_ *Input, p *Proposal) { p.WorkingMinutes = 90 }},
		{"a day without a summary", WrongTotal, 0, 1, func(_ *Input, p *Proposal) {
			p.CrewDays, p.DrivingMinutes, p.WorkingMinutes = p.CrewDays[:2], 50, 90
		}},
		{"a day summed up twice", WrongTotal, 1, 1, func(_ *Input, p *Proposal) {
			p.CrewDays, p.DrivingMinutes, p.WorkingMinutes = append(p.CrewDays, p.CrewDays[2]), 90, 150
		}},
		{"another number of stops", WrongTotal, 5, 2, func(_ *Input, p *Proposal) { p.CrewDays[0].Stops = 5 }},
		{"planned and unplaced", TwicePlanned, 2, 1, func(_ *Input, p *Proposal) {
			p.Unplaced = []Unplaced{{ItemID: "a", Round: 1, Code: CauseFull, Why: "full"}}
		}},
		{"unplaced without a reason", WithoutCause, 0, 1, func(_ *Input, p *Proposal) { p.Unplaced = []Unplaced{{ItemID: "a", Round: 3, Code: CauseFull}} }},
		{"unplaced without a code", WithoutCause, 0, 1, func(_ *Input, p *Proposal) { p.Unplaced = []Unplaced{{ItemID: "a", Round: 3, Why: "full"}} }},
		{"unplaced twice", TwicePlanned, 2, 1, func(_ *Input, p *Proposal) {
			u := Unplaced{ItemID: "a", Round: 3, Code: CauseFull, Why: "full"}
			p.Unplaced = []Unplaced{u, u}
		}},
	}
	for _, test := range tests {
		in, p := smallDay()
		test.spoil(&in, &p)
		found := Check(in, p)
		if !slices.ContainsFunc(found, func(v Violation) bool {
			return v.Code == test.code && v.Found == test.found && v.Limit == test.limit && v.Why != ""
		}) {
			t.Errorf("%s: %s with %v against %v not found in %+v", test.name, test.code, test.found, test.limit, found)
		}
	}
}

// A plan is checked again when it is accepted, against windows and minutes that
// may have been computed anew. As long as no limit is broken it still holds.
func TestAPlanHoldsWhenItsWindowsMove(t *testing.T) {
	in, p := smallDay()
	in.Items[0].Window.Best, in.Items[0].Window.Closes = monday.AddDays(1), monday.AddDays(2)
	in.Items[1].ServiceMinutes = 21
	p.Unplaced = []Unplaced{{ItemID: "due no longer", PropertyID: uuid.New(), Round: 1, Code: CauseFull, Why: "full"}}
	for _, v := range Check(in, p) {
		t.Errorf("%s: %s", v.Code, v.Why)
	}
}
