package plan

import (
	"slices"
	"testing"

	"github.com/google/uuid"

	"thirdcut/internal/civil"
	"thirdcut/internal/route"
	"thirdcut/internal/turf"
)

// smallDay is one crew, two lawns ten minutes apart and a right plan of them:
// mowing on Monday, again on Saturday, with one visit kept on Tuesday.
func smallDay() (Input, Proposal) {
	here := func(n int) Property { return Property{Latitude: ptr(39.0 + float64(n)/100), Longitude: ptr(-76.7)} }
	in := Input{From: monday, To: monday.AddDays(5), ArrivalMinutes: 4,
		Drive: func(a, b route.Point) int {
			if a == b {
				return 0
			}
			return 600
		},
		Crews: []Crew{{ID: id("crew", 0), Name: "Crew 1", DepotLatitude: ptr(39.5), DepotLongitude: ptr(-76.7), ShiftFrom: 420, ShiftTo: 600,
			WorkDays: []int{1, 2, 3, 4, 5, 6}, Abilities: []turf.Work{turf.Mow},
			Machines: []Machine{{Kind: "rotary", HeightMinIn: 1.5, HeightMaxIn: 4}},
			Licenses: []License{{Kind: "pesticide", From: monday, To: monday}}}},
		Properties: map[uuid.UUID]Property{id("property", 0): here(0), id("property", 1): here(1)},
		Kept: []Kept{{VisitID: id("visit", 0), PropertyID: id("property", 1), CrewID: id("crew", 0), Date: monday.AddDays(1),
			Position: 1, Arrive: 430, Minutes: 30, Tasks: []Task{{ItemID: "other", AreaID: id("area", 1), Work: turf.Look}}}},
	}
	window := turf.Window{Work: turf.Mow, Opens: monday, Best: monday, Closes: monday.AddDays(1)}
	in.Items = []Item{
		{ID: "a", PropertyID: id("property", 0), AreaIDs: []uuid.UUID{id("area", 0)}, Work: turf.Mow, Window: window, ServiceMinutes: 26, CuttingHeightIn: 3,
			NeedsLicense: "pesticide", After: func(d civil.Date) turf.Window { return weekly(d.AddDays(3)) }},
		{ID: "b", PropertyID: id("property", 1), AreaIDs: []uuid.UUID{id("area", 1)}, Work: turf.Mow, Window: window, ServiceMinutes: 26, CuttingHeightIn: 3},
	}
	in.Items[0].NeedsLicense = ""
	task := func(item string, area, round int) []Task {
		w := window
		if round > 1 {
			w = weekly(monday.AddDays(3))
		}
		return []Task{{ItemID: item, AreaID: id("area", area), Work: turf.Mow, Round: round, Minutes: 26, Window: w}}
	}
	p := Proposal{From: in.From, To: in.To, Visits: []Visit{
		{PropertyID: id("property", 0), Date: monday, CrewID: id("crew", 0), Position: 1, Arrive: 430, Leave: 460, DrivingMinutes: 10, Tasks: task("a", 0, 1)},
		{PropertyID: id("property", 1), Date: monday, CrewID: id("crew", 0), Position: 2, Arrive: 470, Leave: 500, DrivingMinutes: 10, Tasks: task("b", 1, 1)},
		{KeptID: id("visit", 0), PropertyID: id("property", 1), Date: monday.AddDays(1), CrewID: id("crew", 0), Position: 1, Arrive: 430, Leave: 460, DrivingMinutes: 10,
			Tasks: slices.Clone(in.Kept[0].Tasks)},
		{PropertyID: id("property", 0), Date: monday.AddDays(5), CrewID: id("crew", 0), Position: 1, Arrive: 430, Leave: 460, DrivingMinutes: 10, Tasks: task("a", 0, 2)},
	}, CrewDays: []CrewDay{
		{CrewID: id("crew", 0), Date: monday, Stops: 2, DrivingMinutes: 30, WorkingMinutes: 60},
		{CrewID: id("crew", 0), Date: monday.AddDays(1), Stops: 1, DrivingMinutes: 20, WorkingMinutes: 30},
		{CrewID: id("crew", 0), Date: monday.AddDays(5), Stops: 1, DrivingMinutes: 20, WorkingMinutes: 30},
	}, DrivingMinutes: 70, WorkingMinutes: 120}
	return in, p
}

func TestCheckerFindsEachViolation(t *testing.T) {
	if in, p := smallDay(); len(Check(in, p)) > 0 {
		t.Fatalf("a right plan is called wrong: %+v", Check(in, p))
	}
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
		{"a day after the last", OutsidePlan, day(monday.AddDays(5)), day(monday.AddDays(4)), func(in *Input, _ *Proposal) { in.To = monday.AddDays(4) }},
		{"a crew's day off", UnknownCrew, 0, 0, func(in *Input, _ *Proposal) { in.Crews[0].DaysOff = []civil.Date{monday} }},
		{"a crew that is gone", UnknownCrew, 0, 0, func(_ *Input, p *Proposal) { p.Visits[0].CrewID = id("crew", 9) }},
		{"work at another property", UnknownWork, 0, 0, func(_ *Input, p *Proposal) { p.Visits[0].Tasks[0].ItemID = "b" }},
		{"window opens later", OutsideWindow, day(monday), day(monday.AddDays(1)), func(in *Input, _ *Proposal) { in.Items[1].Window.Opens = monday.AddDays(1) }},
		{"window closed before", OutsideWindow, day(monday), day(monday.AddDays(-1)), func(in *Input, _ *Proposal) {
			in.Items[1].Window.Opens, in.Items[1].Window.Closes = monday.AddDays(-3), monday.AddDays(-1)
		}},
		{"second cut too soon", OutsideWindow, day(monday.AddDays(5)), day(monday.AddDays(6)), func(in *Input, _ *Proposal) {
			in.Items[0].After = func(d civil.Date) turf.Window { return weekly(d.AddDays(6)) }
		}},
		{"struck day", OnStruckDay, 0, 0, func(in *Input, _ *Proposal) {
			in.Items[0].Window.Struck = []turf.StruckDay{{Date: monday, Reason: "wet"}}
		}},
		{"closed weekday", OnClosedDay, 1, 0, func(in *Input, _ *Proposal) { change(in, 0, func(p *Property) { p.ClosedWeekdays = []int{1} }) }},
		{"before the property's hours", OutsideHours, 430, 431, func(in *Input, _ *Proposal) {
			change(in, 0, func(p *Property) { p.AllowedFrom = ptr(civil.TimeOfDay(431)) })
		}},
		{"after the property's hours", OutsideHours, 460, 459, func(in *Input, _ *Proposal) {
			change(in, 0, func(p *Property) { p.AllowedTo = ptr(civil.TimeOfDay(459)) })
		}},
		{"no ability", WithoutAbility, 0, 0, func(in *Input, _ *Proposal) { in.Crews[0].Abilities = []turf.Work{turf.Edge} }},
		{"no machine so low", WithoutMachine, 1.5, 0.75, func(in *Input, _ *Proposal) { in.Items[0].CuttingHeightIn = 0.75 }},
		{"no licence in force", WithoutLicense, 0, 0, func(in *Input, _ *Proposal) {
			in.Items[0].NeedsLicense, in.Crews[0].Licenses[0].To = "pesticide", monday.AddDays(-1)
		}},
		{"against a finding", RefusedWork, 0, 0, func(in *Input, _ *Proposal) { in.Items[0].Refusal = "over the rate" }},
		{"home too late", OverShift, 510, 505, func(in *Input, _ *Proposal) { in.Crews[0].ShiftTo = 505 }},
		{"faster than the drive", TooFast, 468, 470, func(_ *Input, p *Proposal) { p.Visits[1].Arrive = 468 }},
		{"too short", TooShort, 27, 30, func(_ *Input, p *Proposal) { p.Visits[1].Leave = 497 }},
		{"positions", WrongOrder, 3, 2, func(_ *Input, p *Proposal) { p.Visits[1].Position = 3 }},
		{"kept visit moved", KeptMoved, 440, 430, func(_ *Input, p *Proposal) { p.Visits[2].Arrive, p.Visits[2].Leave = 440, 470 }},
		{"kept visit gone", KeptMissing, 0, 1, func(_ *Input, p *Proposal) { p.Visits = slices.Delete(p.Visits, 2, 3) }},
		{"one time twice", TwicePlanned, 2, 1, func(_ *Input, p *Proposal) { p.Visits[3].Tasks[0].Round = 1 }},
		{"one area twice on a day", TwicePlanned, 2, 1, func(_ *Input, p *Proposal) { p.Visits[3].Date, p.Visits[3].Position = monday, 3 }},
		{"kept does it already", TwicePlanned, 2, 1, func(in *Input, _ *Proposal) { in.Kept[0].Tasks[0].Work = turf.Mow }},
		{"second without first", RoundMissing, 2, 1, func(_ *Input, p *Proposal) { p.Visits[0].Tasks = nil }},
		{"dropped", Dropped, 0, 1, func(_ *Input, p *Proposal) { p.Visits[1].Tasks = nil }},
		{"wrong sum", WrongTotal, 71, 70, func(_ *Input, p *Proposal) { p.DrivingMinutes = 71 }},
	}
	for _, test := range tests {
		in, p := smallDay()
		test.spoil(&in, &p)
		hit := slices.ContainsFunc(Check(in, p), func(v Violation) bool {
			return v.Code == test.code && v.Found == test.found && v.Limit == test.limit && v.Why != ""
		})
		if !hit {
			t.Errorf("%s: %s with %v against %v not found in %+v", test.name, test.code, test.found, test.limit, Check(in, p))
		}
	}
}

func TestKeptVisitsStayAndTheDayGoesOnRoundThem(t *testing.T) {
	in, _ := smallDay()
	in.Kept[0].Date = monday
	in.Iterations = 300
	p := mustMake(t, in)
	report(t, Check(in, p))
	at := slices.IndexFunc(p.Visits, func(v Visit) bool { return v.KeptID == in.Kept[0].VisitID })
	if at < 0 || p.Visits[at].Position != 1 || p.Visits[at].Arrive != 430 {
		t.Fatalf("the kept visit is not the first of Monday at 07:10: %+v", p.Visits)
	}
	if len(p.Unplaced) != 0 || len(p.Visits) < 4 {
		t.Errorf("nothing went round the kept visit: %+v, unplaced %+v", p.Visits, p.Unplaced)
	}
}

func TestWorksAtOnePropertyShareAVisit(t *testing.T) {
	in, _ := smallDay()
	in.Kept, in.Iterations = nil, 300
	in.Items[1].PropertyID, in.Items[0].After = in.Items[0].PropertyID, nil
	p := mustMake(t, in)
	report(t, Check(in, p))
	if len(p.Visits) != 1 || len(p.Visits[0].Tasks) != 2 {
		t.Errorf("two works of one lawn and window make %+v", p.Visits)
	}
}

func TestTellingPeopleAgainCosts(t *testing.T) {
	in, _ := smallDay()
	in.Kept, in.Iterations = nil, 300
	in.Items = in.Items[1:]
	if p := mustMake(t, in); p.Visits[0].Date != monday {
		t.Fatalf("without a word given, the best day is taken: %+v", p.Visits)
	}
	in.Previous = map[string]Previous{"b": {CrewID: id("crew", 0), Date: monday.AddDays(1), Promised: true}}
	if p := mustMake(t, in); p.Visits[0].Date != monday.AddDays(1) {
		t.Errorf("a promised day within the window was moved: %+v", p.Visits)
	}
}
