package schedule_test

import (
	"strings"
	"testing"

	"github.com/google/uuid"

	"thirdcut/internal/civil"
	"thirdcut/internal/crew"
	"thirdcut/internal/fault"
	"thirdcut/internal/label"
	"thirdcut/internal/plan"
	"thirdcut/internal/schedule"
	"thirdcut/internal/testkit/build"
	"thirdcut/internal/turf"
	"thirdcut/internal/visit"
)

// tasks counts the tasks of the visits by kind of work.
func tasks(list []visit.Visit) map[turf.Work]int {
	by := map[turf.Work]int{}
	for _, v := range list {
		for _, t := range v.Tasks {
			by[t.Work]++
		}
	}
	return by
}

func TestAcceptedPlanBecomesVisitsAndSheets(t *testing.T) {
	h := newHouse(t)
	h.nutsedge(label.Limits{})
	h.mown(build.Day.AddDays(-6), "4 1/2 in")
	p := h.plan(7)
	if p.AskedBy != h.Owner.ID || p.Basis == "" || p.Plan.DrivingMinutes < 0 {
		t.Errorf("the proposal is %+v", p)
	}
	list := h.accept(p)
	by := tasks(list)
	if by[turf.Mow] < 2 || by[turf.Edge] != by[turf.Mow] || by[turf.Spray] != 2 {
		t.Fatalf("tasks %v, want both areas mown, each cut with its edge, and both sprayed", by)
	}
	days := map[civil.Date]bool{}
	for _, v := range list {
		days[v.Date] = true
		if v.State != visit.Planned || v.Pinned || v.ProposalID != p.ID || v.CrewID != h.Crew.ID || v.Leave <= v.Arrive || v.Arrive < h.Crew.ShiftFrom {
			t.Errorf("visit %+v", v)
		}
		for _, task := range v.Tasks {
			if task.Work == turf.Edge {
				if task.Why != "with the cut" || task.Minutes != 0 {
					t.Errorf("edge %+v", task)
				}
				continue
			}
			if task.Why == "" || task.DueOpens.After(v.Date) || task.DueCloses.Before(v.Date) || task.Minutes <= 0 {
				t.Errorf("on %s: %+v", v.Date, task)
			}
			if task.Work == turf.Spray && (task.ProductID != h.Weed.ID || task.LabelVersionID != h.Weed.Labels[0].ID || task.Rate != 1 || task.Treatment != "nutsedge" || task.Target != "yellow nutsedge") {
				t.Errorf("spray %+v", task)
			}
		}
	}
	sheets, err := h.Sheets(h.Ctx, p.From, p.To)
	h.ok(err)
	if len(sheets) != len(days) || len(sheets) == 0 {
		t.Fatalf("%d sheets of %d days", len(sheets), len(days))
	}
	for _, s := range sheets {
		if !days[s.Date] || s.Version != 1 || s.End <= s.Start || s.WorkingMinutes <= 0 || !s.SentAt.IsZero() {
			t.Errorf("sheet %+v", s)
		}
	}
	got, err := h.Proposal(h.Ctx, p.ID)
	h.ok(err)
	if got.State != schedule.Accepted || got.DecidedBy != h.Owner.ID || got.DecidedAt.IsZero() {
		t.Errorf("after accepting it is %s by %s at %s", got.State, got.DecidedBy, got.DecidedAt)
	}
	h.refused(h.service.AcceptPlan(h.Ctx, p.ID, got.Version, h.Owner.ID), fault.Stale, "plan-decided", "accepted already")
	h.refused(h.DropPlan(h.Ctx, p.ID, got.Version, h.Owner.ID), fault.Stale, "plan-decided")
}

func TestPlanCanBeMadeTwiceAndReplacesWhatNobodyWasTold(t *testing.T) {
	h := newHouse(t)
	first := h.accept(h.plan(7))
	h.ok(h.service.ComputePlan(h.Ctx, first[0].ProposalID)) // a job that comes again
	second := h.accept(h.plan(7))
	if a, b := tasks(first), tasks(second); len(second) == 0 || a[turf.Mow] != b[turf.Mow] {
		t.Errorf("the first plan has %v, the second %v", a, b)
	}
	for _, v := range second {
		if v.ProposalID == first[0].ProposalID {
			t.Errorf("visit %s of the first plan is left", v.ID)
		}
	}
}

func TestSentAndPlacedVisitsStay(t *testing.T) {
	h := newHouse(t)
	p := h.plan(7)
	first := h.accept(p)
	sheet, err := h.SendSheet(h.Ctx, first[0].CrewID, first[0].Date)
	h.ok(err)
	if sheet.SentAt.IsZero() {
		t.Error("the sheet is not noted as sent")
	}
	hand := h.Visit(h.Crew, h.Lawn("9 Fern Way"), build.Day.AddDays(2))
	h.do(`update visit set pinned = true where id = $1`, hand.ID)
	second := h.accept(h.plan(7))
	found := map[uuid.UUID]visit.Visit{}
	for _, v := range second {
		found[v.ID] = v
	}
	if v := found[first[0].ID]; v.State != visit.Out || v.Date != first[0].Date || v.Arrive != first[0].Arrive {
		t.Errorf("the visit that was sent is %+v", v)
	}
	if v := found[hand.ID]; !v.Pinned || v.Date != hand.Date || v.Arrive != hand.Arrive {
		t.Errorf("the visit that was placed by hand is %+v", v)
	}
	if by := tasks(second); by[turf.Mow] != tasks(first)[turf.Mow]+1 {
		t.Errorf("tasks %v with the one placed by hand, before it %v", by, tasks(first))
	}
}

func TestPlanIsStaleAfterAVisitWasSent(t *testing.T) {
	h := newHouse(t)
	first := h.accept(h.plan(7))
	p := h.plan(7)
	if _, err := h.SendSheet(h.Ctx, first[0].CrewID, first[0].Date); err != nil {
		t.Fatal(err)
	}
	err := h.service.AcceptPlan(h.Ctx, p.ID, p.Version, h.Owner.ID)
	h.refused(err, fault.Stale, "plan-stale", "2 Fern Way", first[0].Date.Words(), "was sent out")
	if got, _ := h.Proposal(h.Ctx, p.ID); got.State != schedule.Proposed {
		t.Errorf("the refused plan is %s", got.State)
	}
	if n := h.number(`select count(*) from visit where proposal_id = $1`, p.ID); n != 0 {
		t.Errorf("the refused plan left %d visits", n)
	}
	v, err := h.DB.Visit(h.Ctx, first[0].ID)
	h.ok(err)
	p = h.plan(7)
	h.ok(h.WithdrawVisit(h.Ctx, v.ID, v.Version, "the customer called"))
	h.refused(h.service.AcceptPlan(h.Ctx, p.ID, p.Version, h.Owner.ID), fault.Stale, "plan-stale", "2 Fern Way", "taken off")
}

func TestPlanIsStaleAfterACutChangedItsWindows(t *testing.T) {
	h := newHouse(t)
	h.mown(build.Day.AddDays(-6), "4 1/2 in")
	p := h.plan(2)
	if len(p.Plan.Visits) == 0 || len(p.Plan.Visits[0].Tasks) < 2 {
		t.Fatal("the front is not planned")
	}
	h.mown(build.Day, "4 1/2 in")
	h.refused(h.service.AcceptPlan(h.Ctx, p.ID, p.Version, h.Owner.ID), fault.Stale, "plan-stale", "no longer holds")
}

func TestLabelRefusalLeavesTheTreatmentOut(t *testing.T) {
	h := newHouse(t)
	h.nutsedge(label.Limits{RateMax: build.Pointer(2.0), NotOn: []turf.Species{turf.TallFescue}})
	p := h.plan(7)
	out := 0
	for _, u := range p.Plan.Unplaced {
		if u.Work != turf.Spray {
			continue
		}
		out++
		if u.Code != plan.CauseRefused || !strings.Contains(strings.ToLower(u.Why), "tall fescue") {
			t.Errorf("left out with %s: %s", u.Code, u.Why)
		}
	}
	if list := h.accept(p); out != 2 || tasks(list)[turf.Spray] != 0 || tasks(list)[turf.Mow] < 2 {
		t.Errorf("%d sprayings left out, planned %v", out, tasks(list))
	}
}

// A wait that the cuts as planned leave no working day for is told in the label's words.
func TestMowingWaitWithoutADayLeftIsTold(t *testing.T) {
	h := newHouse(t)
	h.nutsedge(label.Limits{RateMax: build.Pointer(2.0), MowWaitBeforeDays: build.Pointer(9), MowWaitAfterDays: build.Pointer(9)})
	p := h.plan(12)
	left := 0
	for _, u := range p.Plan.Unplaced {
		if u.Work == turf.Spray {
			left++
			if u.Code != plan.CauseRefused || !strings.Contains(u.Why, "the label wants 9 days between the cut and the application") {
				t.Errorf("left out with %s: %s", u.Code, u.Why)
			}
		}
	}
	if by := tasks(h.accept(p)); left != 2 || by[turf.Spray] != 0 || by[turf.Mow] < 2 {
		t.Errorf("%d left out, planned %v", left, by)
	}
}

// A label that wants days without mowing before and after keeps the cut and the
// treatment apart.
func TestMowingWaitOfALabelIsKept(t *testing.T) {
	h := newHouse(t)
	h.nutsedge(label.Limits{RateMax: build.Pointer(2.0), MowWaitBeforeDays: build.Pointer(1), MowWaitAfterDays: build.Pointer(1)})
	p := h.plan(12)
	cut, spray := map[uuid.UUID][]civil.Date{}, map[uuid.UUID]civil.Date{}
	for _, v := range h.accept(p) {
		for _, task := range v.Tasks {
			switch task.Work {
			case turf.Mow:
				cut[task.TurfAreaID] = append(cut[task.TurfAreaID], v.Date)
			case turf.Spray:
				spray[task.TurfAreaID] = v.Date
			}
		}
	}
	left := 0
	for _, u := range p.Plan.Unplaced {
		if u.Work == turf.Spray && u.Why != "" {
			left++
		}
	}
	if len(spray)+left != 2 || len(cut) != 2 || len(spray) == 0 {
		t.Fatalf("%d areas sprayed, %d left out, %d mown; unplaced %+v", len(spray), left, len(cut), p.Plan.Unplaced)
	}
	for a, on := range spray {
		for _, c := range cut[a] {
			if n := c.Since(on); n > -1 && n < 1 {
				t.Errorf("mown on %s, sprayed on %s", c, on)
			}
		}
	}
}

func TestPlanIsStaleAfterTheLabelChanged(t *testing.T) {
	h := newHouse(t)
	h.nutsedge(label.Limits{})
	p := h.plan(7)
	h.nutsedge(label.Limits{RateMax: build.Pointer(2.0)})
	h.refused(h.service.AcceptPlan(h.Ctx, p.ID, p.Version, h.Owner.ID), fault.Stale, "plan-stale", "Sample Sedge Out", "2 Fern Way", "changed")
}

func TestLicenceThatEndedLeavesTheTreatmentOut(t *testing.T) {
	h := newHouse(t)
	h.nutsedge(label.Limits{})
	_, err := h.SavePerson(h.Ctx, h.Lead.ID, h.Lead.Version, func(p *crew.Person) error {
		for i := range p.Licenses {
			p.Licenses[i].ValidTo = build.Day
		}
		return nil
	})
	h.ok(err)
	p := h.plan(7)
	left := 0
	for _, u := range p.Plan.Unplaced {
		if u.Work == turf.Spray {
			left++
			if u.Code != plan.CauseNoLicense || !strings.Contains(u.Why, "licence") {
				t.Errorf("left out with %s: %s", u.Code, u.Why)
			}
		}
	}
	if left != 2 {
		t.Errorf("%d sprayings left out, want 2: %+v", left, p.Plan.Unplaced)
	}
}

func TestTwoAcceptAtOnce(t *testing.T) {
	h := newHouse(t)
	p := h.plan(7)
	ended := make(chan error, 4)
	for range 4 {
		go func() { ended <- h.service.AcceptPlan(h.Ctx, p.ID, p.Version, h.Owner.ID) }()
	}
	won := 0
	for range 4 {
		if err := <-ended; err == nil {
			won++
		} else if !fault.Is(err, fault.Stale) {
			t.Error(err)
		}
	}
	list, err := h.VisitsBetween(h.Ctx, p.From, p.To)
	h.ok(err)
	if fresh := len(p.Plan.Visits); won != 1 || len(list) != fresh {
		t.Errorf("%d of 4 accepted; %d visits of %d planned", won, len(list), fresh)
	}
}

func TestAcceptAndSendAtOnce(t *testing.T) {
	h := newHouse(t)
	first := h.accept(h.plan(7))
	p := h.plan(7)
	accepted, sent := make(chan error, 1), make(chan error, 1)
	go func() { accepted <- h.service.AcceptPlan(h.Ctx, p.ID, p.Version, h.Owner.ID) }()
	go func() { _, err := h.SendSheet(h.Ctx, first[0].CrewID, first[0].Date); sent <- err }()
	a, s := <-accepted, <-sent
	if s != nil {
		t.Errorf("sending: %v", s)
	}
	if a != nil && !fault.HasCode(a, "plan-stale") {
		t.Errorf("accepting: %v", a)
	}
	// Whoever came first, no area is to be mown twice in a day.
	if n := h.number(`select count(*) from (select 1 from visit_task t join visit v on v.id = t.visit_id
		where t.work = 'mow' and v.state in ('planned', 'out') and v.date > $1 group by t.turf_area_id, v.date having count(*) > 1) x`, build.Day); n != 0 {
		t.Errorf("%d areas are to be mown twice in a day", n)
	}
}

func TestSheetIsSentOnce(t *testing.T) {
	h := newHouse(t)
	first := h.accept(h.plan(7))
	on := first[0].Date
	a, err := h.SendSheet(h.Ctx, h.Crew.ID, on)
	h.ok(err)
	h.now = h.now.Add(0)
	b, err := h.SendSheet(h.Ctx, h.Crew.ID, on)
	h.ok(err)
	if a.Version != b.Version || !a.SentAt.Equal(b.SentAt) || a.SentAt.IsZero() {
		t.Errorf("sent as %+v, again as %+v", a, b)
	}
	v, err := h.DB.Visit(h.Ctx, first[0].ID)
	h.ok(err)
	if v.State != visit.Out || v.Version != first[0].Version+1 {
		t.Errorf("after sending twice the visit is %s, version %d", v.State, v.Version)
	}
	_, err = h.SendSheet(h.Ctx, h.Other.ID, on)
	h.refused(err, fault.NotFound, "sheet", "no route sheet", "accept a plan")
}

func TestWithdrawnVisit(t *testing.T) {
	h := newHouse(t)
	first := h.accept(h.plan(7))[0]
	h.refused(h.WithdrawVisit(h.Ctx, first.ID, first.Version+1, "rain"), fault.Stale, "stale")
	h.ok(h.WithdrawVisit(h.Ctx, first.ID, first.Version, "the customer called"))
	v, err := h.DB.Visit(h.Ctx, first.ID)
	h.ok(err)
	if v.State != visit.Withdrawn || v.Reason != "the customer called" {
		t.Errorf("the visit is %s, %q", v.State, v.Reason)
	}
	h.refused(h.WithdrawVisit(h.Ctx, v.ID, v.Version, "again"), fault.Conflict, "visit-ended")
	if n := h.number(`select version from route_sheet where crew_id = $1 and date = $2`, v.CrewID, v.Date); n != 2 {
		t.Errorf("the sheet is version %d", n)
	}
	h.refused(h.WithdrawVisit(h.Ctx, uuid.New(), 1, "none"), fault.NotFound, "visit")
}

func TestPlanIsAskedForAndDropped(t *testing.T) {
	h := newHouse(t)
	_, err := h.service.AskPlan(h.Ctx, build.Day.AddDays(-1), 3, h.Owner.ID)
	h.refused(err, fault.Invalid, "bad-days")
	for _, days := range []int{0, 22} {
		_, err = h.service.AskPlan(h.Ctx, build.Day, days, h.Owner.ID)
		h.refused(err, fault.Invalid, "bad-days")
	}
	asked, err := h.service.AskPlan(h.Ctx, build.Day, 3, h.Owner.ID)
	h.ok(err)
	if n := h.number(`select count(*) from job_outbox where kind = 'plan:compute' and payload ->> 'proposal_id' = $1`, asked.ID.String()); n != 1 {
		t.Errorf("%d jobs for one plan", n)
	}
	h.refused(h.DropPlan(h.Ctx, asked.ID, 1, h.Owner.ID), fault.Stale, "plan-decided", "asked")
	p := h.plan(3)
	h.refused(h.DropPlan(h.Ctx, p.ID, p.Version-1, h.Owner.ID), fault.Stale, "stale")
	h.ok(h.DropPlan(h.Ctx, p.ID, p.Version, h.Owner.ID))
	got, err := h.Proposal(h.Ctx, p.ID)
	h.ok(err)
	if got.State != schedule.Dropped || got.DecidedBy != h.Owner.ID {
		t.Errorf("the dropped plan is %s by %s", got.State, got.DecidedBy)
	}
	h.refused(h.service.AcceptPlan(h.Ctx, p.ID, got.Version, h.Owner.ID), fault.Stale, "plan-decided", "dropped")
	h.refused(h.service.AcceptPlan(h.Ctx, uuid.New(), 1, h.Owner.ID), fault.NotFound, "proposal")
	lines, err := h.ProposalLines(h.Ctx, 10)
	h.ok(err)
	if len(lines) != 2 {
		t.Errorf("%d proposals are listed", len(lines))
	}
}
