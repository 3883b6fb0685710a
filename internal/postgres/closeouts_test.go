package postgres_test

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"

	"thirdcut/internal/civil"
	"thirdcut/internal/crew"
	"thirdcut/internal/label"
	"thirdcut/internal/product"
	"thirdcut/internal/property"
	"thirdcut/internal/stock"
	"thirdcut/internal/turf"
	"thirdcut/internal/visit"
)

// field is a house with a crew, a licensed person, a labelled product and a lot.
type field struct {
	*house
	property property.Property
	crew     crew.Crew
	person   crew.Person
	product  product.Product
	lot      stock.Lot
	service  visit.Service
}

func newField(t *testing.T) *field {
	t.Helper()
	h := newHouse(t)
	f := &field{house: h, property: h.property("1 Fern Way"), person: h.person("Bo Reed", true), service: visit.Service{Store: h.DB}}
	f.crew = h.crew("Birch", f.person)
	f.product = h.product("Demo Weed")
	v, err := h.AddLabelVersion(h.ctx, product.LabelVersion{ProductID: f.product.ID, Revision: "r1", Pattern: "turf",
		InForceFrom: civil.MustDate("2026-01-01"), EnteredBy: f.person.ID, Limits: label.Limits{Revision: "r1", Pattern: "turf", Place: "p. 2",
			RateUnit: label.FlOzPerThousand, RateMax: ptr(1.0), ReentryText: "until dry", ReentryHours: ptr(4.0), MowWaitAfterDays: ptr(2)}})
	h.ok(err)
	_, err = h.ConfirmLabelVersion(h.ctx, v.ID, f.person.ID)
	h.ok(err)
	f.lot, err = h.AddLot(h.ctx, stock.Lot{ProductID: f.product.ID, Number: "L1", ReceivedOn: civil.MustDate("2026-05-01"),
		ExpiresOn: civil.MustDate("2026-12-31")}, stock.Move{Entered: "1 L", Amount: 1, Unit: "L", At: h.now, ByPerson: f.person.ID})
	h.ok(err)
	return f
}

func (f *field) who() visit.Who {
	return visit.Who{PersonID: f.person.ID, CrewIDs: []uuid.UUID{f.crew.ID}}
}

func (f *field) visitFor(work turf.Work) visit.Visit {
	return f.visit(f.property, f.crew, "2026-06-02", work)
}

// report is a report that the visit's work on the front was done at ten in the morning.
func (f *field) report(v visit.Visit) visit.Entry {
	return visit.Entry{ID: uuid.New(), Kind: "close_out", VisitID: v.ID, Outcome: "done",
		FinishedAt: time.Date(2026, 6, 2, 14, 0, 0, 0, time.UTC),
		Tasks:      []visit.TaskReport{{TurfAreaID: f.property.Areas[0].ID, Work: v.Tasks[0].Work, Done: true}}}
}

// spray adds an application of the amount on the front.
func (f *field) spray(e visit.Entry, amount string) visit.Entry {
	e.Applications = append(e.Applications, visit.Application{ID: uuid.New(), ProductID: f.product.ID, ApplicatorID: f.person.ID,
		LotIDs: []uuid.UUID{f.lot.ID}, Target: "clover", AirTemp: "71 F", Wind: "4 mph", WindDirection: "W", Diluent: "5 gal",
		StartedAt: e.FinishedAt.Add(-20 * time.Minute), FinishedAt: e.FinishedAt.Add(-5 * time.Minute),
		Lines: []visit.ApplicationLine{{TurfAreaID: f.front().ID, AreaTreated: "5,000 sq ft", Amount: amount}}})
	return e
}

func (f *field) front() property.TurfArea {
	i := slices.IndexFunc(f.property.Areas, func(a property.TurfArea) bool { return a.Name == "Front" })
	return f.property.Areas[i]
}

func raw(t *testing.T, e any) json.RawMessage {
	t.Helper()
	b, err := json.Marshal(e)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func (f *field) send(e any) visit.Result {
	f.t.Helper()
	return f.service.Batch(f.ctx, f.who(), []json.RawMessage{raw(f.t, e)})[0]
}

func (f *field) accepted(e any) visit.Result {
	f.t.Helper()
	r := f.send(e)
	if r.Outcome != visit.Accepted {
		f.t.Fatalf("%s: %+v", r.Outcome, r.Problem)
	}
	return r
}

func (f *field) needsYou(r visit.Result, code string) {
	f.t.Helper()
	if r.Outcome != visit.NeedsYou || r.Problem == nil || r.Problem.Code != code {
		f.t.Errorf("got %s %+v, want needs_you with %s", r.Outcome, r.Problem, code)
	}
}

func hasCode(findings []label.Finding, s label.Severity, code string) bool {
	return slices.ContainsFunc(findings, func(f label.Finding) bool { return f.Code == code && f.Severity == s })
}

func (f *field) state(id uuid.UUID) visit.State {
	f.t.Helper()
	v, err := f.Visit(f.ctx, id)
	f.ok(err)
	return v.State
}

func TestAMowingReportClosesTheVisit(t *testing.T) {
	f := newField(t)
	v := f.visitFor(turf.Mow)
	e := f.report(v)
	e.Tasks[0].HeightSet, e.Tasks[0].Clippings = "3 in", "left"
	e.Observations = []visit.Observed{
		{ID: uuid.New(), TurfAreaID: e.Tasks[0].TurfAreaID, Kind: "height_before", Value: `4 1/2"`},
		{ID: uuid.New(), TurfAreaID: e.Tasks[0].TurfAreaID, Kind: "height_left", Value: "80 mm"},
		{ID: uuid.New(), TurfAreaID: e.Tasks[0].TurfAreaID, Kind: "colour", Value: "12"},
		{ID: uuid.New(), TurfAreaID: e.Tasks[0].TurfAreaID, Kind: "height", Value: "-2 in"},
		{ID: uuid.New(), TurfAreaID: e.Tasks[0].TurfAreaID, Kind: "note", Value: "gate open"}}
	r := f.accepted(e)
	if len(r.Findings) != 2 || !hasCode(r.Findings, label.Note, "impossible-reading") || len(r.Marks) != 0 {
		t.Errorf("findings %+v marks %v", r.Findings, r.Marks)
	}
	if f.state(v.ID) != visit.Closed {
		t.Errorf("the visit is %s", f.state(v.ID))
	}
	cuts, err := f.LastCuts(f.ctx)
	f.ok(err)
	c := cuts[e.Tasks[0].TurfAreaID]
	if !c.Mowed || c.On != civil.MustDate("2026-06-02") || c.BeforeIn == nil || *c.BeforeIn != 4.5 || c.LeftIn == nil ||
		*c.LeftIn != 3.149606 || c.SetIn == nil || *c.SetIn != 3 {
		t.Errorf("last cut %+v", c)
	}
	seasons, err := f.Heights(f.ctx, e.Tasks[0].TurfAreaID, 2026)
	f.ok(err)
	if len(seasons) != 1 || *seasons[0].BeforeIn != 4.5 || !seasons[0].Mowed {
		t.Errorf("heights of the season %+v", seasons)
	}
	if n := f.count(`select count(*) from observation where value is null and entered in ('12', '-2 in', 'gate open')`); n != 3 {
		t.Errorf("%d readings kept without a value, want 3", n)
	}
	if n := f.count(`select count(*) from job_outbox where kind = 'growth:learn'`); n != 1 {
		t.Errorf("%d jobs to learn growth, want 1", n)
	}
}

func TestTheSameReportIsOneReport(t *testing.T) {
	f := newField(t)
	e := f.spray(f.report(f.visitFor(turf.Spray)), "6 fl oz")
	jobs := f.refreshes(f.property.ID)
	results := make([]visit.Result, 50)
	var wait sync.WaitGroup
	for i := range results {
		wait.Go(func() { results[i] = f.send(e) })
	}
	wait.Wait()
	first := 0
	for _, r := range results {
		if r.Outcome == visit.Accepted {
			first++
		} else if r.Outcome != visit.Already {
			t.Fatalf("%s: %+v", r.Outcome, r.Problem)
		}
		r.Outcome = results[0].Outcome
		if a, b := string(raw(t, r)), string(raw(t, results[0])); a != b {
			t.Fatalf("answers differ: %s and %s", a, b)
		}
	}
	if first != 1 || len(results[0].Findings) == 0 {
		t.Errorf("%d were the first, findings %+v", first, results[0].Findings)
	}
	for table, want := range map[string]int{"close_out": 1, "application_record": 1, "application_line": 1, "task_report": 1, "field_quarantine": 0} {
		if n := f.count(`select count(*) from ` + table); n != want {
			t.Errorf("%d rows in %s, want %d", n, table, want)
		}
	}
	if n := f.count(`select count(*) from stock_move where kind = 'used'`); n != 1 {
		t.Errorf("%d uses booked", n)
	}
	if n := f.refreshes(f.property.ID) - jobs; n != 1 {
		t.Errorf("windows were asked for %d times", n)
	}
	e.Reason = "said otherwise"
	f.needsYou(f.send(e), "other-content")
	f.needsYou(f.send(e), "other-content")
	if open, err := f.QuarantineOpen(f.ctx); err != nil || len(open) != 1 || open[0].EntryID != e.ID.String() || !strings.Contains(open[0].Content, "said otherwise") {
		t.Errorf("quarantine %+v %v", open, err)
	}
}

func TestWhatWentOverTheLabelIsKept(t *testing.T) {
	f := newField(t)
	r := f.accepted(f.spray(f.report(f.visitFor(turf.Spray)), "6 fl oz"))
	if !hasCode(r.Findings, label.Refuse, "rate-over") || !slices.Equal(r.Marks, []string{visit.MarkOverLimit}) {
		t.Fatalf("findings %+v, marks %v", r.Findings, r.Marks)
	}
	var text string
	f.ok(f.GetContext(f.ctx, &text, `select sealed_text from application_record where findings @> '[{"code": "rate-over", "severity": "refuse"}]'`))
	if !strings.Contains(text, `"entered":"6 fl oz"`) || !strings.Contains(text, "1.2 fl oz/1000 sq ft") {
		t.Errorf("sealed text %s", text)
	}
	if n := f.count(`select count(*) from close_out where findings @> '[{"code": "rate-over"}]'`); n != 1 {
		t.Error("the report does not carry the finding")
	}
	lots, err := f.Lots(f.ctx, f.product.ID)
	f.ok(err)
	if left := lots[0].Left; left < 0.8225 || left > 0.8226 { // 1 L less 6 fl oz of 29.5735 mL
		t.Errorf("%v L left", left)
	}
}

func TestLicencesLotsAndStockAreFindings(t *testing.T) {
	f := newField(t)
	helper := f.person
	f.person = f.house.person("Kim Lane", false)
	e := f.spray(f.report(f.visitFor(turf.Spray)), "2 qt")
	e.FinishedAt = time.Date(2026, 6, 2, 15, 0, 0, 0, time.UTC)
	r := f.accepted(e)
	if !hasCode(r.Findings, label.Refuse, "license") || !hasCode(r.Findings, label.Note, "stock-below-zero") {
		t.Errorf("findings %+v", r.Findings)
	}
	e = f.spray(f.report(f.visitFor(turf.Spray)), "2 fl oz")
	e.Applications[0].SupervisorID = helper.ID
	if r = f.accepted(e); hasCode(r.Findings, label.Refuse, "license") {
		t.Errorf("supervised, and still refused: %+v", r.Findings)
	}
}

func TestReportsAgainstThePlanAreAcceptedAndMarked(t *testing.T) {
	f := newField(t)
	other := f.house.crew("Elm")
	v := f.visit(f.property, other, "2026-06-02", turf.Mow)
	if r := f.accepted(f.report(v)); !slices.Equal(r.Marks, []string{visit.MarkOtherCrew}) {
		t.Errorf("other crew: marks %v", r.Marks)
	}
	if r := f.accepted(f.report(v)); !slices.Equal(r.Marks, []string{visit.MarkOtherCrew, visit.MarkSecondReport}) {
		t.Errorf("second report: marks %v", r.Marks)
	}
	office := visit.Who{PersonID: f.person.ID, MayReportForAll: true}
	w := f.visitFor(turf.Mow)
	if _, err := f.ExecContext(f.ctx, `update visit set state = 'withdrawn' where id = $1`, w.ID); err != nil {
		t.Fatal(err)
	}
	if r := f.service.Batch(f.ctx, office, []json.RawMessage{raw(t, f.report(w))})[0]; !slices.Equal(r.Marks, []string{visit.MarkWithdrawn}) {
		t.Errorf("withdrawn: %+v", r)
	}
	if f.state(w.ID) != visit.Withdrawn {
		t.Errorf("the withdrawn visit is %s", f.state(w.ID))
	}
	for _, at := range []time.Time{f.now.Add(time.Hour), f.now.Add(-15 * 24 * time.Hour)} {
		e := f.report(f.visitFor(turf.Mow))
		e.FinishedAt = at
		r := f.accepted(e)
		if otherDay := at.Day() != 2; !slices.Contains(r.Marks, visit.MarkClock) || slices.Contains(r.Marks, visit.MarkOtherDay) != otherDay {
			t.Errorf("finished %v: marks %v", at, r.Marks)
		}
	}
	not := f.report(f.visitFor(turf.Mow))
	not.Outcome, not.Reason, not.Tasks = "not_done", "gate locked", nil
	f.accepted(not)
	if f.state(not.VisitID) != visit.Returned {
		t.Errorf("not done: the visit is %s", f.state(not.VisitID))
	}
	earlier := f.report(visit.Visit{ID: not.VisitID, Tasks: []visit.Task{{Work: turf.Mow}}})
	earlier.Outcome, earlier.Reason, earlier.Tasks, earlier.FinishedAt = "not_done", "rain", nil, not.FinishedAt.Add(-time.Hour)
	f.accepted(earlier)
	if v, err := f.Visit(f.ctx, not.VisitID); err != nil || v.Reason != "gate locked" {
		t.Errorf("the reason is %q, %v", v.Reason, err)
	}
	done := f.report(visit.Visit{ID: not.VisitID, Tasks: []visit.Task{{Work: turf.Mow}}})
	f.accepted(done)
	if f.state(not.VisitID) != visit.Closed {
		t.Errorf("done after all: the visit is %s", f.state(not.VisitID))
	}
}

func TestWhatIsNoReportWaitsAndBlocksNothing(t *testing.T) {
	f := newField(t)
	good := f.report(f.visitFor(turf.Mow))
	unknown := f.report(visit.Visit{ID: uuid.New(), Tasks: []visit.Task{{Work: turf.Mow}}})
	elsewhere := f.report(f.visitFor(turf.Mow))
	elsewhere.Tasks[0].TurfAreaID = f.house.property("2 Fern Way").Areas[0].ID
	noProduct := f.spray(f.report(f.visitFor(turf.Spray)), "2 fl oz")
	noProduct.Applications[0].ProductID = uuid.New()
	noAmount := f.spray(f.report(f.visitFor(turf.Spray)), "some")
	extra := strings.Replace(string(raw(t, f.report(f.visitFor(turf.Mow)))), `{`, `{"speed":3,`, 1)
	entries := []json.RawMessage{json.RawMessage(`{"id":"x1","kind":`), json.RawMessage(`{"id":"x2","kind":"photo"}`),
		json.RawMessage(`{"id":"x3","kind":"close_out"}`), json.RawMessage(extra), raw(t, unknown), raw(t, elsewhere),
		raw(t, noProduct), raw(t, noAmount), json.RawMessage(`null`), json.RawMessage(`7`), raw(t, good)}
	want := []string{"malformed", "unknown-kind", "malformed", "unknown-field", "visit", "no-such-area", "application", "application", "unknown-kind", "malformed", ""}
	for range 2 {
		for i, r := range f.service.Batch(f.ctx, f.who(), entries) {
			if want[i] != "" {
				f.needsYou(r, want[i])
			} else if r.Outcome == visit.NeedsYou || r.Outcome == visit.TryAgain {
				t.Errorf("the good entry: %+v", r)
			}
		}
	}
	open, err := f.QuarantineOpen(f.ctx)
	f.ok(err)
	if len(open) != 10 {
		t.Errorf("%d entries wait, want 10", len(open))
	}
	f.ok(f.SettleQuarantine(f.ctx, open[0].ID, "entered by hand", f.person.ID))
	if again := f.SettleQuarantine(f.ctx, open[0].ID, "twice", f.person.ID); again == nil {
		t.Error("settled twice")
	}
	if r := f.service.Batch(f.ctx, f.who(), entries[:1])[0]; r.Outcome != visit.Already {
		t.Errorf("the settled entry sent again: %+v", r)
	}
	if open, _ = f.QuarantineOpen(f.ctx); len(open) != 9 {
		t.Errorf("%d entries wait after one was settled", len(open))
	}
	if n := f.count(`select count(*) from close_out`); n != 1 {
		t.Errorf("%d reports kept, want 1", n)
	}
	late := mowVisit(f.property, f.crew, "2026-06-02", turf.Mow)
	late.ID = unknown.VisitID
	_, err = f.AddVisits(f.ctx, []visit.Visit{late})
	f.ok(err)
	f.accepted(unknown)
	if open, _ = f.QuarantineOpen(f.ctx); len(open) != 8 {
		t.Errorf("%d entries wait after one was taken in later", len(open))
	}
}

// cutStore cancels the context once the decision is made, before the commit.
type cutStore struct {
	visit.Store
	cancel context.CancelFunc
}

func (s cutStore) CloseVisit(ctx context.Context, c visit.Closing, decide func(visit.Facts) (visit.Decision, error)) (visit.Kept, error) {
	return s.Store.CloseVisit(ctx, c, func(f visit.Facts) (visit.Decision, error) {
		d, err := decide(f)
		s.cancel()
		return d, err
	})
}

func TestACancelledReportLeavesNothing(t *testing.T) {
	f := newField(t)
	e := f.spray(f.report(f.visitFor(turf.Spray)), "2 fl oz")
	ctx, cancel := context.WithCancel(f.ctx)
	r := visit.Service{Store: cutStore{f.DB, cancel}}.Batch(ctx, f.who(), []json.RawMessage{raw(t, e)})[0]
	if r.Outcome != visit.TryAgain {
		t.Fatalf("got %+v", r)
	}
	for _, table := range []string{"close_out", "task_report", "application_record", "application_line", "field_quarantine"} {
		if n := f.count(`select count(*) from ` + table); n != 0 {
			t.Errorf("%d rows in %s", n, table)
		}
	}
	if h, err := f.ChainHead(f.ctx); err != nil || h.Seq != 0 {
		t.Errorf("the chain ends at %d, %v", h.Seq, err)
	}
	f.accepted(e)
}

func TestTwentyPeopleCloseAtOnce(t *testing.T) {
	f := newField(t)
	const people, each = 20, 5
	entries := make([][]visit.Entry, people)
	for p := range entries {
		for range each {
			entries[p] = append(entries[p], f.spray(f.report(f.visitFor(turf.Spray)), "0.1 fl oz"))
		}
	}
	failed := make([]error, people)
	var wait sync.WaitGroup
	for p, list := range entries {
		wait.Go(func() {
			for _, e := range list {
				if r := f.send(e); r.Outcome != visit.Accepted {
					failed[p] = fmt.Errorf("%s: %+v", r.Outcome, r.Problem)
				}
			}
		})
	}
	wait.Wait()
	f.ok(errors.Join(failed...))
	report, err := f.VerifyRecords(f.ctx, nil)
	f.ok(err)
	if !report.OK() || report.Records != people*each {
		t.Errorf("%d records, problem %+v", report.Records, report.Problems)
	}
	lots, err := f.Lots(f.ctx, f.product.ID)
	f.ok(err)
	if want := 1 - people*each*0.1*0.0295735295625; lots[0].Left < want-1e-6 || lots[0].Left > want+1e-6 {
		t.Errorf("%v L left, want %v", lots[0].Left, want)
	}
}
