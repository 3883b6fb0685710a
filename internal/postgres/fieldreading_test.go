package postgres_test

import (
	"encoding/json"
	"math"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"

	"thirdcut/internal/application"
	"thirdcut/internal/civil"
	"thirdcut/internal/company"
	"thirdcut/internal/fault"
	"thirdcut/internal/label"
	"thirdcut/internal/postgres"
	"thirdcut/internal/product"
	"thirdcut/internal/property"
	"thirdcut/internal/recordrule"
	"thirdcut/internal/testkit/build"
	"thirdcut/internal/testkit/pgtest"
	"thirdcut/internal/turf"
	"thirdcut/internal/visit"
)

func newWorld(t *testing.T) *build.World {
	t.Helper()
	t.Parallel()
	return build.Company(t, build.Open(t, pgtest.New(t)))
}

// take sends the entry as the crew's lead and wants it accepted.
func take(t *testing.T, w *build.World, e visit.Entry) visit.Result {
	t.Helper()
	b, err := json.Marshal(e)
	if err != nil {
		t.Fatal(err)
	}
	r := visit.Service{Store: w.DB}.Batch(w.Ctx, build.Who(w.Lead, w.Crew), []json.RawMessage{b})[0]
	if r.Outcome != visit.Accepted {
		t.Fatalf("%s: %+v", r.Outcome, r.Problem)
	}
	return r
}

// sprayed is a report of a visit to the property with the applications.
func sprayed(w *build.World, p property.Property, day civil.Date, apps ...visit.Application) visit.Entry {
	e := w.Mown(w.Visit(w.Crew, p, day), p)
	e.Applications = apps
	return e
}

func gapsOf(t *testing.T, w *build.World, q postgres.GapQuery) postgres.GapList {
	t.Helper()
	list, err := w.Gaps(w.Ctx, recordrule.All(), q)
	if err != nil {
		t.Fatal(err)
	}
	return list
}

func elements(list postgres.GapList) (ids []string) {
	for _, g := range list.Gaps {
		ids = append(ids, g.Rule+" "+g.Element)
	}
	return ids
}

func TestACompleteRecordHasNoGaps(t *testing.T) {
	w := newWorld(t)
	r := take(t, w, sprayed(w, w.Property, build.Day, w.Sprayed(w.Property)))
	if worst, ok := label.Worst(r.Findings); ok && worst != label.Note {
		t.Errorf("findings %+v", r.Findings)
	}
	if list := gapsOf(t, w, postgres.GapQuery{}); list.Total != 0 || len(list.Gaps) != 0 {
		t.Errorf("gaps %v", elements(list))
	}
}

func TestGapsNameRecordRuleAndElement(t *testing.T) {
	w := newWorld(t)
	in := w.Sprayed(w.Property)
	in.Target, in.Wind, in.WindDirection = "", "", ""
	take(t, w, sprayed(w, w.Property, build.Day, in))
	list := gapsOf(t, w, postgres.GapQuery{})
	want := []string{"us-md target_pest", "us-md wind_direction", "us-md wind_speed"}
	if !slices.Equal(elements(list), want) || list.Total != 3 {
		t.Fatalf("gaps %v, want %v", elements(list), want)
	}
	if g := list.Gaps[0]; g.RecordID != in.ID || g.Seq != 1 || g.AppliedOn != build.Day || g.SiteAddress == "" || g.Citation == "" {
		t.Errorf("gap %+v", g)
	}
	for _, q := range []postgres.GapQuery{{From: build.Day.AddDays(1)}, {To: build.Day.AddDays(-1)}, {RuleID: "us-va"}, {PropertyID: uuid.New()}, {RecordID: uuid.New()}} {
		if list := gapsOf(t, w, q); list.Total != 0 {
			t.Errorf("%+v: gaps %v", q, elements(list))
		}
	}
	for _, q := range []postgres.GapQuery{{From: build.Day, To: build.Day}, {RuleID: "us-md"}, {PropertyID: w.Property.ID}, {RecordID: in.ID}, {Limit: 1}} {
		if list := gapsOf(t, w, q); list.Total != 3 {
			t.Errorf("%+v: gaps %v", q, elements(list))
		}
	}
	if list := gapsOf(t, w, postgres.GapQuery{Limit: 1}); len(list.Gaps) != 1 {
		t.Errorf("%d gaps at a limit of 1", len(list.Gaps))
	}
	if _, err := w.CorrectRecord(w.Ctx, in.ID, func(r *application.Record) error {
		r.Target, r.WeatherStart.WindDirection = "yellow nutsedge", "SW"
		r.WeatherStart.WindMPH, r.WeatherStart.WindEntered, r.WeatherStart.WindOrigin = build.Pointer(4.0), "4 mph", application.Measured
		return nil
	}, "left out on the tablet", w.Owner.ID); err != nil {
		t.Fatal(err)
	}
	if list := gapsOf(t, w, postgres.GapQuery{}); list.Total != 0 {
		t.Errorf("after the correction: gaps %v", elements(list))
	}
}

// Rules that the company or a property names bind too; a list that is
// incomplete is named, not judged.
func TestGapsUnderFurtherRules(t *testing.T) {
	w := newWorld(t)
	in := w.Sprayed(w.Property)
	in.FinishedAt = time.Time{}
	take(t, w, sprayed(w, w.Property, build.Day, in))
	_, err := w.SaveProperty(w.Ctx, w.Property.ID, w.Property.Version, func(p *property.Property) error {
		p.Jurisdictions = []string{"us-nj"}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	list := gapsOf(t, w, postgres.GapQuery{})
	if !slices.Contains(elements(list), "us-nj end_time") {
		t.Fatalf("gaps %v", elements(list))
	}
	for _, g := range list.Gaps {
		if g.Rule == "us-nj" && (g.Due.IsZero() || g.Late) {
			t.Errorf("New Jersey wants it within 24 h: %+v", g)
		}
	}
	if first := list.Gaps[0]; first.Due.IsZero() {
		t.Error("what has no time comes before what is due")
	}
	if _, err := w.SaveCompany(w.Ctx, w.Company.Version, func(s *company.Settings) error {
		s.Jurisdictions = []string{"us-co"}
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	if list = gapsOf(t, w, postgres.GapQuery{}); !slices.Equal(list.Unjudged, []string{"us-co"}) {
		t.Errorf("not judged: %v", list.Unjudged)
	}
}

// The short list for spot work holds while all spot work of the applicator's
// day stays under the rule's area.
func TestSpotWorkOfTheDayIsAddedUp(t *testing.T) {
	w := newWorld(t)
	restricted := w.Product(product.Product{Name: "Sample Restricted", Kind: "pesticide", Form: "liquid", EPARegNo: "00000-2", ActiveIngredient: "examplin",
		RestrictedUse: true}, label.Limits{Place: "p. 1", RateUnit: label.FlOzPerThousand, RateMax: build.Pointer(2.0), ReentryText: "until dry", ProtectiveEquipment: "gloves"})
	spot := func(area, amount string) visit.Application {
		a := w.Sprayed(w.Property)
		a.ProductID, a.LabelVersionID, a.LotIDs, a.Spot = restricted.ID, restricted.Labels[0].ID, nil, true
		a.Lines[0].AreaTreated, a.Lines[0].Amount = area, amount
		return a
	}
	if _, err := w.SaveProperty(w.Ctx, w.Property.ID, w.Property.Version, func(p *property.Property) error {
		p.County = ""
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	federal := postgres.GapQuery{RuleID: "us-federal-7cfr110"}
	take(t, w, sprayed(w, w.Property, build.Day, spot("2,000 sq ft", "1 fl oz")))
	if list := gapsOf(t, w, federal); list.Total != 0 {
		t.Fatalf("2,000 sq ft of spot work: %v", elements(list))
	}
	full := gapsOf(t, w, postgres.GapQuery{RuleID: "us-federal-7cfr110"})
	take(t, w, sprayed(w, w.Property, build.Day, spot("2,400 sq ft", "1 fl oz"))) // together 4,400, over 0.1 acre
	r, err := w.RecordsPage(w.Ctx, postgres.RecordQuery{})
	if err != nil || len(r.Items) != 2 {
		t.Fatalf("%d records, %v", len(r.Items), err)
	}
	rule, _ := recordrule.ByID("us-federal-7cfr110")
	wanted, err := application.GapsOf(r.Items[0].Record, []recordrule.Rule{rule}, recordrule.Calendar{}, build.Clock())
	if err != nil {
		t.Fatal(err)
	}
	if list := gapsOf(t, w, federal); list.Total != full.Total+2*len(wanted) {
		t.Errorf("4,400 sq ft of spot work: %v, each by the full list %d", elements(list), len(wanted))
	}
}

func TestTheSheetSaysWhatTheCrewMustKnow(t *testing.T) {
	w := newWorld(t)
	take(t, w, sprayed(w, w.Property, build.Day, w.Sprayed(w.Property))) // 08:30 and 12 h: until 20:30
	other := w.Lawn("9 Elm Court")
	next := build.Day.AddDays(1)
	evening, err := w.AddVisits(w.Ctx, []visit.Visit{
		{PropertyID: w.Property.ID, CrewID: w.Crew.ID, Date: build.Day, Arrive: 20*60 + 29, Leave: 20*60 + 45,
			Tasks: []visit.Task{{TurfAreaID: build.Back(w.Property).ID, Work: turf.Spray, Minutes: 10, ProductID: w.Weed.ID, LabelVersionID: w.Weed.Labels[0].ID}}},
		{PropertyID: w.Property.ID, CrewID: w.Crew.ID, Date: build.Day, Arrive: 20*60 + 30, Leave: 20*60 + 45,
			Tasks: []visit.Task{{TurfAreaID: build.Back(w.Property).ID, Work: turf.Look, Minutes: 10}}},
		{PropertyID: other.ID, CrewID: w.Crew.ID, Date: next, Arrive: 480, Leave: 500, Tasks: []visit.Task{{TurfAreaID: other.Areas[0].ID, Work: turf.Mow, Minutes: 20}}}})
	if err != nil {
		t.Fatal(err)
	}
	s, err := w.SheetFor(w.Ctx, w.Crew.ID, build.Day)
	if err != nil {
		t.Fatal(err)
	}
	if s.Version == 0 || s.Crew.ID != w.Crew.ID || len(s.Stops) != 3 || s.Stops[1].Visit.ID != evening[0].ID {
		t.Fatalf("sheet %+v", s)
	}
	stop := s.Stops[1]
	if len(stop.Waits) != 1 || !slices.Equal(stop.Waits[0].Areas, []string{"Front"}) || !stop.Waits[0].Until.Equal(w.At("20:30")) {
		t.Errorf("arriving a minute early: waits %+v", stop.Waits)
	}
	if len(s.Stops[2].Waits) != 0 {
		t.Errorf("arriving when it has ended: waits %+v", s.Stops[2].Waits)
	}
	if stop.Customer.Name != "Ada Marsh" || len(stop.Property.Areas) != 2 || len(stop.Hazards) != 1 {
		t.Errorf("stop %+v", stop)
	}
	if len(s.Products) != 1 || s.Products[w.Weed.ID].Labels[0].ID != w.Weed.Labels[0].ID {
		t.Errorf("products %+v", s.Products)
	}
	if s, err = w.SheetFor(w.Ctx, w.Crew.ID, next); err != nil || len(s.Stops) != 1 || s.Stops[0].Property.ID != other.ID || len(s.Stops[0].Waits) != 0 {
		t.Errorf("the next day: %+v, %v", s, err)
	}
	if s, err = w.SheetFor(w.Ctx, w.Other.ID, build.Day); err != nil || s.Version != 0 || len(s.Stops) != 0 {
		t.Errorf("a crew without a plan: %+v, %v", s, err)
	}
	if _, err = w.SheetFor(w.Ctx, uuid.New(), build.Day); !fault.HasCode(err, "crew") {
		t.Errorf("no such crew: %v", err)
	}
	if waits, err := w.Waits(w.Ctx, w.Property.ID, w.At("20:29")); err != nil || len(waits) != 1 {
		t.Errorf("waits %+v, %v", waits, err)
	}
	if waits, err := w.Waits(w.Ctx, w.Property.ID, w.At("20:30")); err != nil || len(waits) != 0 {
		t.Errorf("waits %+v, %v", waits, err)
	}
}

func TestMarkedReportsArePagedLatestFirst(t *testing.T) {
	w := newWorld(t)
	var marked []uuid.UUID
	for range 5 {
		e := w.Mown(w.Visit(w.Other, w.Property, build.Day), w.Property) // another crew's visits
		take(t, w, e)
		marked = append(marked, e.ID)
	}
	plain := w.Mown(w.Visit(w.Crew, w.Property, build.Day), w.Property)
	take(t, w, plain)
	seen := map[uuid.UUID]int{}
	q := postgres.PageQuery{Limit: 2}
	for pages := 1; ; pages++ {
		page, err := w.MarkedReports(w.Ctx, q)
		if err != nil {
			t.Fatal(err)
		}
		for _, r := range page.Items {
			seen[r.ID]++
			if !slices.Contains(r.Marks, visit.MarkOtherCrew) || r.ReportedBy != w.Lead.ID || r.CrewID != w.Other.ID || r.Content == "" {
				t.Errorf("report %+v", r)
			}
		}
		if q.After = page.Next; q.After == "" {
			if pages != 3 {
				t.Errorf("%d pages of 2", pages)
			}
			break
		}
	}
	for _, id := range marked {
		if seen[id] != 1 {
			t.Errorf("report %s shown %d times", id, seen[id])
		}
	}
	if len(seen) != 5 {
		t.Errorf("%d reports shown", len(seen))
	}
	reports, err := w.ReportsOfVisit(w.Ctx, plain.VisitID)
	if err != nil || len(reports) != 1 || reports[0].ID != plain.ID || len(reports[0].Marks) != 0 {
		t.Errorf("reports of the visit %+v, %v", reports, err)
	}
}

// A slip of the pen loses its finding with the correction; of two people who
// correct one record at once exactly one does.
func TestACorrectionIsJudgedAnewAndOnce(t *testing.T) {
	w := newWorld(t)
	in := w.Sprayed(w.Property)
	in.Lines[0].Amount = "52 fl oz"
	r := take(t, w, sprayed(w, w.Property, build.Day, in))
	if !hasCode(r.Findings, label.Refuse, "rate-over") {
		t.Fatalf("findings %+v", r.Findings)
	}
	left := func() float64 {
		lots, err := w.Lots(w.Ctx, w.Weed.ID)
		if err != nil {
			t.Fatal(err)
		}
		return lots[0].Left
	}
	results := make([]error, 8)
	var wait sync.WaitGroup
	for i := range results {
		wait.Go(func() {
			_, results[i] = w.CorrectRecord(w.Ctx, in.ID, func(r *application.Record) error {
				r.Lines[0].Amount.Entered = "5.2 fl oz"
				return nil
			}, "the dot was lost", w.Owner.ID)
		})
	}
	wait.Wait()
	won := 0
	for _, err := range results {
		switch {
		case err == nil:
			won++
		case !fault.HasCode(err, "already-corrected"):
			t.Errorf("got %v", err)
		}
	}
	page, err := w.RecordsPage(w.Ctx, postgres.RecordQuery{})
	if err != nil || won != 1 || len(page.Items) != 1 {
		t.Fatalf("%d won, %d records stand, %v", won, len(page.Items), err)
	}
	s := page.Items[0]
	if hasCode(s.Findings, label.Refuse, "rate-over") || hasCode(s.Findings, label.Refuse, "interval") || s.Rate != "1 fl oz/1000 sq ft" {
		t.Errorf("the correction at %s: %+v", s.Rate, s.Findings)
	}
	if want := w.WeedLot.Left - 5.2*0.0295735295625; math.Abs(left()-want) > 1e-6 {
		t.Errorf("%v L left, want %v", left(), want)
	}
	if v, err := w.VerifyRecords(w.Ctx, nil); err != nil || !v.OK() || v.Records != 2 {
		t.Errorf("the chain: %+v, %v", v, err)
	}
}
