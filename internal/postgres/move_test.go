package postgres_test

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"github.com/google/uuid"

	"thirdcut/internal/civil"
	"thirdcut/internal/fault"
	"thirdcut/internal/label"
	"thirdcut/internal/plan"
	"thirdcut/internal/product"
	"thirdcut/internal/property"
	"thirdcut/internal/route"
	"thirdcut/internal/schedule"
	"thirdcut/internal/testkit/build"
	"thirdcut/internal/turf"
	"thirdcut/internal/visit"
)

// street makes n agreed lawns, each some minutes of driving from the one before,
// and a visit of the crew to each on the day, in order from 8:00 on.
func (p *planned) street(n int, day civil.Date) (visits []visit.Visit) {
	p.t.Helper()
	for i := range n {
		lawn := p.Lawn(fmt.Sprintf("%d Oak Road %s", i+1, day))
		lawn, err := p.SaveProperty(p.Ctx, lawn.ID, lawn.Version, func(l *property.Property) error {
			*l.Latitude += 0.02 * float64(i+1)
			return nil
		})
		p.ok(err)
		p.agree(lawn)
		list, err := p.AddVisits(p.Ctx, []visit.Visit{{PropertyID: lawn.ID, CrewID: p.Crew.ID, Date: day, Arrive: civil.TimeOfDay(480 + 60*i), Leave: civil.TimeOfDay(510 + 60*i),
			Tasks: []visit.Task{{TurfAreaID: build.Front(lawn).ID, Work: turf.Mow, Minutes: 24}}}})
		p.ok(err)
		visits = append(visits, list...)
	}
	return visits
}

func (p *planned) day(crewID uuid.UUID, day civil.Date) []visit.Visit {
	p.t.Helper()
	list, err := p.VisitsOn(p.Ctx, crewID, day)
	p.ok(err)
	return list
}

// drivable checks a day by its own sums: numbered from 1, each stop begun after
// the way from the one before it, driving as it is driven.
func (p *planned) drivable(crewID uuid.UUID, day civil.Date) (driving float64) {
	p.t.Helper()
	at := route.Point{Latitude: p.Depot.Latitude, Longitude: p.Depot.Longitude}
	home, free := at, float64(p.Crew.ShiftFrom)
	for i, v := range p.day(crewID, day) {
		of, err := p.DB.Property(p.Ctx, v.PropertyID)
		p.ok(err)
		there := route.Point{Latitude: *of.Latitude, Longitude: *of.Longitude}
		way := float64(route.DriveSeconds(at, there)) / 60
		if v.Position != i+1 || math.Abs(v.DrivingMinutes-way) > 0.01 || float64(v.Arrive) < free+way-1e-9 {
			p.t.Errorf("stop %d on %s: position %d, arrives %s after %.2f min, which take %.2f from %s", i+1, day, v.Position, v.Arrive, v.DrivingMinutes, way, civil.TimeOfDay(free))
		}
		driving, at, free = driving+way, there, float64(v.Leave)
	}
	return driving + float64(route.DriveSeconds(at, home))/60
}

func ids(list []visit.Visit) (out []uuid.UUID) {
	for _, v := range list {
		out = append(out, v.ID)
	}
	return out
}

func (p *planned) move(v visit.Visit, to schedule.Place) schedule.Moved {
	p.t.Helper()
	now, err := p.DB.Visit(p.Ctx, v.ID)
	p.ok(err)
	m, err := p.service.MoveVisit(p.Ctx, v.ID, now.Version, to)
	p.ok(err)
	return m
}

func TestVisitIsMovedWithinItsDay(t *testing.T) {
	p := newPlanned(t)
	v := p.street(3, build.Day)
	m := p.move(v[2], schedule.Place{CrewID: p.Crew.ID, Date: build.Day, Position: 1})
	day := p.day(p.Crew.ID, build.Day)
	if !slices.Equal(ids(day), []uuid.UUID{v[2].ID, v[0].ID, v[1].ID}) {
		t.Fatalf("the order is %v", ids(day))
	}
	if m.Visit.Position != 1 || !m.Visit.Pinned || m.Visit.State != visit.Planned || m.Visit.Version != v[2].Version+1 || m.Visit.Leave-m.Visit.Arrive != 30 {
		t.Errorf("moved visit %+v", m.Visit)
	}
	if day[1].Pinned || day[1].Arrive >= v[1].Arrive {
		t.Errorf("the stop after it is %+v; it should be as early as it can", day[1])
	}
	driving := p.drivable(p.Crew.ID, build.Day)
	sheets, err := p.Sheets(p.Ctx, build.Day, build.Day)
	p.ok(err)
	if s := sheets[0]; len(sheets) != 1 || math.Abs(s.DrivingMinutes-driving) > 0.01 || s.WorkingMinutes != 90 || s.Version != 4 ||
		s.Start != p.Crew.ShiftFrom || float64(s.End) < float64(day[2].Leave) {
		t.Errorf("the sheet is %+v, driving is %.2f", sheets, driving)
	}
	if len(m.Findings) != 0 {
		t.Errorf("findings %+v", m.Findings)
	}
}

func TestVisitIsMovedToAnotherDay(t *testing.T) {
	p := newPlanned(t)
	tomorrow := build.Day.AddDays(1)
	v := p.street(3, build.Day)
	if _, err := p.SendSheet(p.Ctx, p.Crew.ID, build.Day); err != nil {
		t.Fatal(err)
	}
	m := p.move(v[0], schedule.Place{CrewID: p.Crew.ID, Date: tomorrow})
	if m.Visit.Date != tomorrow || m.Visit.State != visit.Planned || !m.Visit.Pinned || m.Visit.Position != 1 {
		t.Errorf("moved visit %+v", m.Visit)
	}
	left := p.day(p.Crew.ID, build.Day)
	if !slices.Equal(ids(left), []uuid.UUID{v[1].ID, v[2].ID}) {
		t.Fatalf("left are %v", ids(left))
	}
	for i, w := range left { // the crew has been told these times
		if w.State != visit.Out || w.Arrive != v[i+1].Arrive {
			t.Errorf("left is %+v", w)
		}
	}
	p.drivable(p.Crew.ID, build.Day)
	p.drivable(p.Crew.ID, tomorrow)
	versions := map[civil.Date]int{}
	sheets, err := p.Sheets(p.Ctx, build.Day, tomorrow)
	p.ok(err)
	for _, s := range sheets {
		versions[s.Date] = s.Version
	}
	if versions[build.Day] != 4 || versions[tomorrow] != 1 {
		t.Errorf("versions of the sheets %v", versions)
	}
}

func TestStopsThatACrewWasToldOfComeNoEarlier(t *testing.T) {
	p := newPlanned(t)
	v := p.street(3, build.Day)
	_, err := p.SendSheet(p.Ctx, p.Crew.ID, build.Day)
	p.ok(err)
	p.move(v[0], schedule.Place{CrewID: p.Crew.ID, Date: build.Day})
	day := p.day(p.Crew.ID, build.Day)
	if !slices.Equal(ids(day), []uuid.UUID{v[1].ID, v[2].ID, v[0].ID}) || day[0].Arrive != v[1].Arrive || day[1].Arrive != v[2].Arrive {
		t.Errorf("the day is %+v", day)
	}
	if day[2].State != visit.Out {
		t.Errorf("a stop that stays on its day is %s", day[2].State)
	}
	p.drivable(p.Crew.ID, build.Day)
}

func TestWhatSpeaksAgainstAPlaceIsSaid(t *testing.T) {
	p := newPlanned(t)
	lawn := p.Property
	v := p.street(1, build.Day)[0]
	// The lawn was cut this morning, so that it has a window with both ends.
	own := p.Visit(p.Crew, lawn, build.Day)
	entry := p.Mown(own, lawn)
	entry.StartedAt, entry.FinishedAt = p.At("05:00"), p.At("05:45")
	if res := p.report(entry); res.Outcome != visit.Accepted {
		t.Fatalf("the report was answered %+v", res)
	}
	next := p.Visit(p.Crew, lawn, build.Day.AddDays(2))
	saturday := civil.MustDate("2026-06-06")
	cases := []struct {
		name string
		v    visit.Visit
		to   schedule.Place
		want []string // codes that must be among the findings
		none bool
	}{
		{"a good day", v, schedule.Place{CrewID: p.Crew.ID, Date: build.Day.AddDays(1)}, nil, true},
		{"the day after the cut", next, schedule.Place{CrewID: p.Crew.ID, Date: build.Day.AddDays(1)}, []string{plan.OutsideWindow}, false},
		{"far too late", next, schedule.Place{CrewID: p.Crew.ID, Date: build.Day.AddDays(41)}, []string{plan.OutsideWindow}, false},
		{"a Saturday", v, schedule.Place{CrewID: p.Crew.ID, Date: saturday}, []string{plan.UnknownCrew, plan.OnStruckDay}, false},
		{"a crew without a mower", v, schedule.Place{CrewID: p.Other.ID, Date: build.Day}, []string{plan.WithoutMachine}, false},
	}
	for _, c := range cases {
		found := p.move(c.v, c.to).Findings
		var codes []string
		for _, f := range found {
			codes = append(codes, f.Code)
			if f.Why == "" {
				t.Errorf("%s: finding %s says nothing", c.name, f.Code)
			}
		}
		if c.none && len(found) > 0 {
			t.Errorf("%s: findings %+v", c.name, found)
		}
		for _, want := range c.want {
			if !slices.Contains(codes, want) {
				t.Errorf("%s: findings %v, want %s", c.name, codes, want)
			}
		}
	}
}

func TestDayThatGetsTooLongIsSaid(t *testing.T) {
	p := newPlanned(t)
	v := p.street(1, build.Day.AddDays(1))[0]
	_, err := p.ExecContext(p.Ctx, `update visit set leave_minute = arrive_minute + 600 where id = $1`, v.ID)
	p.ok(err)
	m := p.move(v, schedule.Place{CrewID: p.Crew.ID, Date: build.Day})
	if !slices.ContainsFunc(m.Findings, func(f plan.Violation) bool { return f.Code == plan.OverShift && f.Limit == float64(p.Crew.ShiftTo) }) {
		t.Errorf("ten hours in a shift of nine: findings %+v", m.Findings)
	}
}

func TestApplicationIsHeldAgainstItsLabelOnItsNewDay(t *testing.T) {
	p := newPlanned(t)
	lawn := p.Lawn("5 Fern Way")
	p.agree(lawn, turf.Spray)
	slow := p.Product(product.Product{Name: "Sample Slow Out", Kind: "pesticide", Form: "liquid", EPARegNo: "00000-2", ActiveIngredient: "examplin"},
		label.Limits{Place: "p. 2", RateMin: build.Pointer(0.5), RateMax: build.Pointer(1.5), RateUnit: label.FlOzPerThousand,
			MowWaitBeforeDays: build.Pointer(2), ReentryText: "12 hours", ReentryHours: build.Pointer(12.0), SignalWord: "CAUTION"})
	p.ok(p.AddChoice(p.Ctx, schedule.Choice{Target: "nutsedge", Season: "any", Work: turf.Spray, ProductID: slow.ID, Pattern: "turf", Rate: 1,
		RateUnit: label.FlOzPerThousand, Purpose: "yellow nutsedge"}))
	own := p.Visit(p.Crew, lawn, build.Day)
	entry := p.Mown(own, lawn)
	entry.StartedAt, entry.FinishedAt = p.At("05:00"), p.At("05:45")
	if res := p.report(entry); res.Outcome != visit.Accepted {
		t.Fatalf("the report was answered %+v", res)
	}
	list, err := p.AddVisits(p.Ctx, []visit.Visit{{PropertyID: lawn.ID, CrewID: p.Crew.ID, Date: build.Day.AddDays(5), Arrive: 480, Leave: 500,
		Tasks: []visit.Task{{TurfAreaID: build.Front(lawn).ID, Work: turf.Spray, Minutes: 20, ProductID: slow.ID, LabelVersionID: slow.Labels[0].ID,
			Rate: 1, RateUnit: label.FlOzPerThousand, Target: "yellow nutsedge", Treatment: "nutsedge"}}}})
	p.ok(err)
	refusals := func(m schedule.Moved) (finding, kept int) {
		for _, f := range m.Findings {
			if f.Code == plan.RefusedWork {
				finding++
			}
		}
		for _, f := range m.Visit.Tasks[0].Findings {
			if f.Severity == label.Refuse {
				kept++
			}
		}
		return finding, kept
	}
	m := p.move(list[0], schedule.Place{CrewID: p.Crew.ID, Date: build.Day.AddDays(1)})
	if said, kept := refusals(m); said != 1 || kept != 1 {
		t.Errorf("the day after a cut, with a label that waits two: findings %+v, on the task %+v", m.Findings, m.Visit.Tasks[0].Findings)
	}
	m = p.move(list[0], schedule.Place{CrewID: p.Crew.ID, Date: build.Day.AddDays(6)})
	if said, kept := refusals(m); said != 0 || kept != 0 {
		t.Errorf("six days after a cut: findings %+v, on the task %+v", m.Findings, m.Visit.Tasks[0].Findings)
	}
}

func TestMovesThatCannotBe(t *testing.T) {
	p := newPlanned(t)
	v := p.street(1, build.Day)[0]
	refused := func(err error, kind fault.Kind, code string) {
		t.Helper()
		if !fault.Is(err, kind) || !fault.HasCode(err, code) {
			t.Errorf("got %v, want a fault of kind %d with code %s", err, kind, code)
		}
	}
	move := func(id uuid.UUID, version int, to schedule.Place) error {
		_, err := p.service.MoveVisit(p.Ctx, id, version, to)
		return err
	}
	here := schedule.Place{CrewID: p.Crew.ID, Date: build.Day}
	refused(move(uuid.New(), 1, here), fault.NotFound, "visit")
	refused(move(v.ID, 7, here), fault.Stale, "stale")
	refused(move(v.ID, 1, schedule.Place{CrewID: p.Crew.ID, Date: build.Day.AddDays(-1)}), fault.Invalid, "bad-day")
	refused(move(v.ID, 1, schedule.Place{CrewID: uuid.New(), Date: build.Day}), fault.Invalid, "no-such-crew")
	p.ok(p.DB.WithdrawVisit(p.Ctx, v.ID, 1, "the customer asked"))
	refused(move(v.ID, 2, here), fault.Conflict, "visit-ended")

	// Two people who move one visit: one is told.
	w := p.street(2, build.Day.AddDays(1))[1]
	done := make(chan error, 2)
	for n := range 2 {
		go func() {
			done <- move(w.ID, w.Version, schedule.Place{CrewID: p.Crew.ID, Date: build.Day.AddDays(n + 1)})
		}()
	}
	one, two := <-done, <-done
	if (one == nil) == (two == nil) || one != nil && !fault.Is(one, fault.Stale) || two != nil && !fault.Is(two, fault.Stale) {
		t.Errorf("one got %v, the other %v; want one stale", one, two)
	}
}

// A plan goes round what was placed: the stops are numbered by their times afterwards.
func TestStopsAreNumberedByTimeAfterAPlan(t *testing.T) {
	p := newPlanned(t)
	v := p.street(6, build.Day.AddDays(1))
	_, err := p.ExecContext(p.Ctx, `update visit set pinned = true, position = 5, arrive_minute = 720, leave_minute = 750 where id = $1`, v[0].ID)
	p.ok(err)
	ask, err := p.service.AskPlan(p.Ctx, build.Day.AddDays(1), 1, p.Owner.ID)
	p.ok(err)
	p.ok(p.service.ComputePlan(p.Ctx, ask.ID))
	ask, err = p.Proposal(p.Ctx, ask.ID)
	p.ok(err)
	p.ok(p.service.AcceptPlan(p.Ctx, ask.ID, ask.Version, p.Owner.ID))
	day := p.day(p.Crew.ID, build.Day.AddDays(1))
	if len(day) < 4 {
		t.Fatalf("the plan has %d stops: %s", len(day), ask.Problem)
	}
	var before, after bool
	for i, w := range day {
		if w.Position != i+1 || i > 0 && w.Arrive < day[i-1].Arrive {
			t.Errorf("stop %d has position %d and arrives %s", i+1, w.Position, w.Arrive)
		}
		if w.ID != v[0].ID {
			before, after = before || w.Arrive < 720, after || w.Arrive > 720
		} else if w.Arrive != 720 || !w.Pinned {
			t.Errorf("the stop that was placed is %+v", w)
		}
	}
	if !before {
		t.Errorf("nothing was planned before the placed stop (after: %v), so the test shows nothing", after)
	}
}

// A lawn that another visit cuts first is not due again the day after.
func TestMoveKnowsTheCutsBookedBeforeIt(t *testing.T) {
	p := newPlanned(t)
	v := p.street(1, build.Day.AddDays(1))[0]
	of, err := p.DB.Property(p.Ctx, v.PropertyID)
	p.ok(err)
	next := p.Visit(p.Crew, of, build.Day.AddDays(9))
	outside := func(m schedule.Moved) bool {
		return slices.ContainsFunc(m.Findings, func(f plan.Violation) bool { return f.Code == plan.OutsideWindow })
	}
	if m := p.move(next, schedule.Place{CrewID: p.Crew.ID, Date: build.Day.AddDays(2)}); !outside(m) {
		t.Errorf("the day after a cut that is booked: findings %+v", m.Findings)
	}
	if m := p.move(v, schedule.Place{CrewID: p.Crew.ID, Date: build.Day}); outside(m) {
		t.Errorf("the first cut, moved a day ahead: findings %+v", m.Findings)
	}
}
