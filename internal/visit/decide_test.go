package visit_test

import (
	"slices"
	"testing"
	"time"

	"github.com/google/uuid"
	"pgregory.net/rapid"

	"thirdcut/internal/civil"
	"thirdcut/internal/company"
	"thirdcut/internal/crew"
	"thirdcut/internal/fault"
	"thirdcut/internal/label"
	"thirdcut/internal/product"
	"thirdcut/internal/property"
	"thirdcut/internal/turf"
	"thirdcut/internal/visit"
)

func id(n byte) uuid.UUID { return uuid.UUID{15: n} }

const (
	front, back, crewA, lee, weed, theVisit, entry = 1, 2, 3, 4, 5, 6, 7
)

var (
	zone, _ = time.LoadLocation("America/New_York")
	day     = civil.MustDate("2026-06-03")
	noon    = day.At(12*60, zone)
)

func facts() visit.Facts {
	areas := map[uuid.UUID]property.TurfArea{
		id(front): {ID: id(front), Name: "Front", AreaSqFt: 5000, Species: turf.TallFescue, CuttingHeightIn: 3.5},
		id(back):  {ID: id(back), Name: "Back", AreaSqFt: 1000, Species: turf.TallFescue, CuttingHeightIn: 3.5}}
	max := 1.0
	return visit.Facts{
		Visit: visit.Visit{ID: id(theVisit), CrewID: id(crewA), Date: day, State: visit.Out,
			Tasks: []visit.Task{{TurfAreaID: id(front), Work: turf.Mow}}},
		Company: company.Settings{Name: "Fernwick Grounds", State: "MD", Zone: zone}, Property: property.Property{State: "MD", Address: "2 Fern Way"},
		Areas: areas, Now: noon.Add(time.Hour),
		People: map[uuid.UUID]crew.Person{id(lee): {ID: id(lee), Name: "Lee Alder", Licenses: []crew.License{{Kind: crew.Pesticide, State: "MD",
			Number: "P-1", ValidFrom: day, ValidTo: day}}}},
		Products: map[uuid.UUID]product.Product{id(weed): {ID: id(weed), Name: "Sample", Kind: "pesticide", Form: "liquid",
			Labels: []product.LabelVersion{{ID: id(20), ProductID: id(weed), Revision: "A", Pattern: "turf", InForceFrom: day, ConfirmedBy: id(lee),
				Limits: label.Limits{RateUnit: label.FlOzPerThousand, RateMax: &max}}}}},
	}
}

func report() visit.Entry {
	return visit.Entry{ID: id(entry), Kind: "close_out", VisitID: id(theVisit), Outcome: "done", StartedAt: noon.Add(-time.Hour), FinishedAt: noon,
		Tasks: []visit.TaskReport{{TurfAreaID: id(front), Work: turf.Mow, Done: true}}}
}

func member() visit.Who { return visit.Who{PersonID: id(lee), CrewIDs: []uuid.UUID{id(crewA)}} }

// failer is a test of either kind.
type failer interface {
	Helper()
	Fatal(...any)
}

func decide(t failer, w visit.Who, e visit.Entry, f visit.Facts) visit.Decision {
	t.Helper()
	d, err := visit.Decide(w, e, f)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

func codes(d visit.Decision) []string {
	var list []string
	for _, f := range d.Findings {
		list = append(list, f.Code)
	}
	return list
}

func TestReadings(t *testing.T) {
	for _, c := range []struct {
		kind, text string
		want       float64 // 0: kept without a value
		unit       string
		finding    bool
	}{
		{"height_before", "3 1/4 in", 3.25, "in", false},
		{"height", `4"`, 4, "in", false},
		{"height_left", "90 mm", 3.543307, "in", false},
		{"height", "24 in", 24, "in", false},
		{"height", "24.1 in", 0, "in", true},
		{"height", "-1 in", 0, "in", true},
		{"height", "0 in", 0, "in", true},
		{"height", "3.25", 0, "in", true}, // of what?
		{"height", "tall", 0, "in", true},
		{"colour", "1", 1, "1-9", false},
		{"density", "9", 9, "1-9", false},
		{"colour", "0", 0, "1-9", true},
		{"density", "10", 0, "1-9", true},
		{"colour", "NaN", 0, "1-9", true},
		{"note", "dry along the drive", 0, "", false},
		{"weeds", "clover", 0, "", false},
	} {
		e := report()
		e.Observations = []visit.Observed{{ID: id(30), TurfAreaID: id(back), Kind: c.kind, Value: c.text}}
		d := decide(t, member(), e, facts())
		r := d.Readings[0]
		if r.Entered != c.text || (c.want == 0) != (r.Value == nil) || (r.Value != nil && (*r.Value != c.want || r.Unit != c.unit)) {
			t.Errorf("%s %q: %+v", c.kind, c.text, r)
		}
		if got := slices.Contains(codes(d), "impossible-reading"); got != c.finding {
			t.Errorf("%s %q: findings %v", c.kind, c.text, codes(d))
		}
		measured := slices.Contains([]string{"height", "height_before", "height_left"}, c.kind) && c.want > 0
		if slices.Contains(d.Learn, id(back)) != measured {
			t.Errorf("%s %q: learn of %v", c.kind, c.text, d.Learn)
		}
	}
}

func TestWorkOfAnotherPropertyIsNotPlacedHere(t *testing.T) {
	for _, spoil := range []func(*visit.Entry){
		func(e *visit.Entry) { e.Tasks[0].TurfAreaID = id(99) },
		func(e *visit.Entry) {
			e.Observations = []visit.Observed{{ID: id(30), TurfAreaID: id(99), Kind: "note", Value: "x"}}
		},
	} {
		e := report()
		spoil(&e)
		if _, err := visit.Decide(member(), e, facts()); !fault.HasCode(err, "no-such-area") {
			t.Errorf("got %v", err)
		}
	}
}

func TestOnlyCutsAndHeightsAreLearnedFrom(t *testing.T) {
	e := report()
	e.Tasks = []visit.TaskReport{{TurfAreaID: id(front), Work: turf.Edge, Done: true}, {TurfAreaID: id(back), Work: turf.Mow, Done: false}}
	if d := decide(t, member(), e, facts()); len(d.Learn) != 0 {
		t.Errorf("learn of %v", d.Learn)
	}
	e.Tasks = []visit.TaskReport{{TurfAreaID: id(front), Work: turf.FirstCut, Done: true}}
	if d := decide(t, member(), e, facts()); !slices.Equal(d.Learn, []uuid.UUID{id(front)}) {
		t.Errorf("learn of %v", d.Learn)
	}
}

func TestLateEveningIsTheBusinessDay(t *testing.T) {
	e := report()
	e.FinishedAt = day.At(23*60+30, zone).UTC() // 4 June in UTC
	f := facts()
	f.Now = e.FinishedAt
	if d := decide(t, member(), e, f); d.Tasks[0].On != day {
		t.Errorf("done on %v", d.Tasks[0].On)
	}
}

func sprayed(amount string) visit.Application {
	return visit.Application{ID: id(40), ProductID: id(weed), ApplicatorID: id(lee), FinishedAt: noon.Add(-time.Minute),
		Lines: []visit.ApplicationLine{{TurfAreaID: id(front), AreaTreated: "5,000 sq ft", Amount: amount}}}
}

func TestOverTheLabelIsAcceptedWithItsMark(t *testing.T) {
	e := report()
	e.Applications = []visit.Application{sprayed("5 fl oz")}
	d := decide(t, member(), e, facts())
	if len(d.Applications) != 1 || slices.Contains(d.Marks, visit.MarkOverLimit) || d.State != visit.Closed {
		t.Errorf("at the label's rate: %v, marks %v", codes(d), d.Marks)
	}
	e.Applications = []visit.Application{sprayed("50 fl oz")}
	d = decide(t, member(), e, facts())
	if len(d.Applications) != 1 || !slices.Contains(d.Marks, visit.MarkOverLimit) || !slices.Contains(codes(d), "rate-over") {
		t.Errorf("ten times the label's rate: %v, marks %v", codes(d), d.Marks)
	}
}

func TestProductWithoutItsAmountIsAskedFor(t *testing.T) {
	e := report()
	e.Tasks = append(e.Tasks, visit.TaskReport{TurfAreaID: id(back), Work: turf.Spray, Done: true})
	if d := decide(t, member(), e, facts()); !slices.Contains(codes(d), "no-application") {
		t.Errorf("findings %v", codes(d))
	}
}

// A bad application names its place in the report.
func TestWhatCannotBeRecordedIsNamed(t *testing.T) {
	e := report()
	e.Applications = []visit.Application{sprayed("5")}
	_, err := visit.Decide(member(), e, facts())
	if bad := fault.As(err); bad == nil || bad.Code != "application" || len(bad.Fields) == 0 {
		t.Errorf("got %v", err)
	}
}

// Reports of one visit end in the same state in whatever order they come in.
func TestTheStateDoesNotDependOnTheOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 5).Draw(t, "reports")
		entries := make([]visit.Entry, n)
		done := false
		for i := range entries {
			e := report()
			e.ID, e.FinishedAt = id(byte(50+i)), noon.Add(time.Duration(i)*time.Minute)
			if rapid.Bool().Draw(t, "not done") {
				e.Outcome, e.Reason, e.Tasks = "not_done", "reason "+string(rune('a'+i)), nil
			}
			done = done || e.Outcome == "done"
			entries[i] = e
		}
		want, reason := visit.Returned, entries[n-1].Reason
		if done {
			want, reason = visit.Closed, ""
		}
		f := facts()
		for _, e := range rapid.Permutation(entries).Draw(t, "order") {
			d := decide(t, member(), e, f)
			f.Visit.State, f.Visit.Reason = d.State, d.Reason
			f.Reports++
			if e.FinishedAt.After(f.LastTry) {
				f.LastTry = e.FinishedAt
			}
		}
		if f.Visit.State != want || f.Visit.Reason != reason {
			t.Fatalf("%s %q, want %s %q", f.Visit.State, f.Visit.Reason, want, reason)
		}
	})
}

func TestWhoMayRead(t *testing.T) {
	v := visit.Visit{CrewID: id(crewA)}
	for _, c := range []struct {
		who  visit.Who
		want bool
	}{{member(), true}, {visit.Who{CrewIDs: []uuid.UUID{id(9)}}, false}, {visit.Who{}, false}, {visit.Who{MayReportForAll: true}, true}} {
		if visit.MayRead(c.who, v) != c.want {
			t.Errorf("%+v", c.who)
		}
	}
}

func TestWaits(t *testing.T) {
	hours := visit.Wait{Product: "Sample", Areas: []string{"Front"}, Until: noon.Add(30 * time.Second), Text: "12 hours", On: day}
	if !hours.Holds(noon, zone) || hours.Holds(noon.Add(30*time.Second), zone) {
		t.Error("a wait in hours holds until its instant")
	}
	if got := hours.Words(zone); got != "Keep off Front until Wed 3 Jun 2026 12:01. Sample went down on Wed 3 Jun 2026; its label says: 12 hours." {
		t.Error(got)
	}
	dry := visit.Wait{Product: "Sample", Areas: []string{"Front", "Back"}, Text: "until dry", On: day}
	if !dry.Holds(noon, zone) || !dry.Holds(noon.AddDate(0, 0, 1), zone) || dry.Holds(noon.AddDate(0, 0, 2), zone) {
		t.Error("a wait in words holds on its day and the next")
	}
	if (visit.Wait{On: day}).Holds(noon, zone) {
		t.Error("a label that says nothing holds nobody off")
	}
}

func TestHazardsAreSentences(t *testing.T) {
	near := 30.0
	list := visit.Hazards(property.Property{Sensitivities: []string{"pets", "low_branches"}, WaterDistanceFt: &near,
		Areas: []property.TurfArea{{Name: "Bank", SlopePercent: 25}, {Name: "Flat", SlopePercent: 24.9}}})
	if len(list) != 4 || list[1] != "Mind: low branches." || list[2][:17] != "Surface water is " || list[3][:8] != "Bank is " {
		t.Errorf("%q", list)
	}
}
