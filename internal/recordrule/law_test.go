package recordrule

import (
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"thirdcut/internal/civil"
	"thirdcut/internal/label"
	"thirdcut/internal/turf"
	"thirdcut/internal/unit"
)

func standardRule(t *testing.T, id string) Rule {
	t.Helper()
	r, err := ByID(id)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func codes(found []label.Finding) string {
	var s []string
	for _, f := range found {
		// Standing reminders of the law are left out, so that rows show what a fact changes.
		if f.Code != "impervious" && !(f.Code == "water-setback" && f.Severity == label.Note) {
			s = append(s, string(f.Severity)+" "+f.Code)
		}
	}
	return strings.Join(s, ", ")
}

// TestFertiliserLaws: figures as printed in each rule's file, at the limit and past it.
func TestFertiliserLaws(t *testing.T) {
	lb := spread
	tested := func(on string) func(*Feed) {
		return func(f *Feed) { f.P2O5, f.SoilTestOn, f.SoilTestWantsP = lb(0.2), civil.MustDate(on), true }
	}
	n := func(total, slow float64) func(*Feed) {
		return func(f *Feed) { f.N, f.SlowN = lb(total), unit.Fraction(slow) }
	}
	on := func(day string, pro bool, total float64) func(*Feed) {
		return func(f *Feed) {
			f.On, f.Professional, f.N, f.SlowN = civil.MustDate(day), pro, lb(total), 0.5
		}
	}
	for _, c := range []struct {
		name, rule string
		change     func(*Feed)
		want       string
	}{
		{"0.9 lb, 0.7 of it quick", "us-md", n(0.9, 2.0/9), ""},
		{"0.91 lb", "us-md", n(0.91, 0.5), "refuse n-over"},
		{"0.9 lb, 0.71 of it quick", "us-md", n(0.9, 0.19/0.9), "refuse n-soluble-over"},
		{"20 % slow at the least", "us-md", n(0.5, 0.2), ""},
		{"19 % slow", "us-md", n(0.5, 0.19), "confirm n-slow-share"},
		{"enhanced, 2.5 lb in the year", "us-md", func(f *Feed) { n(1.5, 1)(f); f.NYear, f.Enhanced = lb(1), true }, "confirm n-release"},
		{"enhanced, 2.6 lb in the year", "us-md", func(f *Feed) { n(1.6, 1)(f); f.NYear, f.Enhanced = lb(1), true }, "refuse n-year-over, confirm n-release"},

		{"15 November", "us-md", on("2026-11-15", true, 0.9), ""},
		{"16 November, 0.5 lb, professional", "us-md", on("2026-11-16", true, 0.5), "note closed-season-exception"},
		{"16 November, 0.51 lb, professional", "us-md", on("2026-11-16", true, 0.51), "refuse closed-season"},
		{"1 December, 0.5 lb, professional", "us-md", on("2026-12-01", true, 0.5), "note closed-season-exception"},
		{"2 December, 0.5 lb, professional", "us-md", on("2026-12-02", true, 0.5), "refuse closed-season"},
		{"16 November, 0.5 lb, not professional", "us-md", on("2026-11-16", false, 0.5), "refuse closed-season"},
		{"29 February of a leap year", "us-md", on("2028-02-29", true, 0.5), "refuse closed-season"},
		{"1 March", "us-md", on("2026-03-01", true, 0.5), ""},
		{"iron alone in the closed season", "us-md", on("2026-12-20", true, 0), ""},

		{"professional, 1 December", "us-nj", on("2026-12-01", true, 0.5), ""},
		{"professional, 2 December", "us-nj", on("2026-12-02", true, 0.5), "refuse closed-season"},
		{"everyone else, 16 November", "us-nj", on("2026-11-16", false, 0.5), "refuse closed-season"},
		{"everyone else, 15 November", "us-nj", on("2026-11-15", false, 0.5), ""},
		{"the year's 4.25 lb", "us-nj", func(f *Feed) { n(1, 0.5)(f); f.NYear = lb(3.25) }, ""},
		{"the year's 4.26 lb", "us-nj", func(f *Feed) { n(1, 0.5)(f); f.NYear = lb(3.26) }, "refuse n-year-over"},
		{"any fertiliser on 1 April", "us-ny", on("2026-04-01", true, 0), "refuse closed-season"},
		{"any fertiliser on 2 April", "us-ny", on("2026-04-02", true, 0), ""},

		{"phosphorus without a test", "us-md", func(f *Feed) { f.P2O5 = lb(0.2) }, "refuse p-soil-test"},
		{"phosphorus, test 3 years old to the day", "us-mn", tested("2023-06-03"), ""},
		{"phosphorus, test a day older", "us-mn", tested("2023-06-02"), "refuse p-soil-test"},
		{"phosphorus, 36 months", "us-il", tested("2023-06-03"), ""},
		{"phosphorus, test of tomorrow", "us-mn", tested("2026-06-04"), "refuse p-soil-test"},
		{"phosphorus, no need shown", "us-mn", func(f *Feed) { tested("2026-01-03")(f); f.SoilTestWantsP = false }, "refuse p-no-need"},
		{"phosphorus on new turf", "us-md", func(f *Feed) { f.P2O5, f.NewTurf = lb(1), true }, ""},
		{"0.67 % phosphate needs no test", "us-ny", func(f *Feed) { f.P2O5, f.P2O5Of = lb(0.01), 0.0067 }, ""},
		{"0.7 % phosphate does", "us-ny", func(f *Feed) { f.P2O5, f.P2O5Of = lb(0.01), 0.007 }, "refuse p-soil-test"},
		{"phosphate 0.25 lb", "us-fl", func(f *Feed) { f.P2O5, f.P2O5Year = lb(0.25), lb(0.25) }, ""},
		{"phosphate 0.26 lb, 0.51 in the year", "us-fl", func(f *Feed) { f.P2O5, f.P2O5Year = lb(0.26), lb(0.25) }, "refuse p-over, refuse p-year-over"},
		{"phosphate on new turf 1 lb", "us-fl", func(f *Feed) { f.P2O5, f.NewTurf = lb(1), true }, ""},
		{"phosphate on new turf 1.1 lb", "us-fl", func(f *Feed) { f.P2O5, f.NewTurf = lb(1.1), true }, "refuse p-over"},

		{"hybrid bermudagrass 4 lb a year", "us-fl", func(f *Feed) { n(0.7, 0)(f); f.Species, f.NYear = turf.BermudagrassHybrid, lb(3.3) }, ""},
		{"hybrid bermudagrass over 4 lb", "us-fl", func(f *Feed) { n(0.7, 0)(f); f.Species, f.NYear = turf.BermudagrassHybrid, lb(3.4) }, "refuse n-year-over"},
		{"centipedegrass over 2 lb", "us-fl", func(f *Feed) { n(0.7, 0)(f); f.Species, f.NYear = turf.Centipedegrass, lb(1.4) }, "refuse n-year-over"},
		{"1.5 lb, 65 % slow", "us-fl", n(1.5, 0.65), "confirm n-enhanced"},
		{"1.5 lb, 64 % slow", "us-fl", n(1.5, 0.64), "refuse n-over"},
		{"2.1 lb, nearly all slow", "us-fl", n(2.1, 0.9), "refuse n-over"},

		{"frozen", "us-md", func(f *Feed) { f.GroundFrozen = true }, "refuse ground"},
		{"saturated, where the law says nothing of it", "us-md", func(f *Feed) { f.GroundSaturated = true }, ""},
		{"saturated", "us-il", func(f *Feed) { f.GroundSaturated = true }, "refuse ground"},
		{"heavy rain", "us-md", func(f *Feed) { f.HeavyRain = true }, "refuse ground"},
		{"15 ft from water", "us-md", func(f *Feed) { f.Water = feet(15) }, ""},
		{"14 ft from water", "us-md", func(f *Feed) { f.Water = feet(14) }, "confirm water-setback"},
		{"a rule without limits", "us-va", n(9, 0), ""},
	} {
		f := Feed{On: civil.MustDate("2026-06-03"), Professional: true, Species: turf.TallFescue}
		c.change(&f)
		found := CheckFertiliser(standardRule(t, c.rule), f)
		if got := codes(found); got != c.want {
			t.Errorf("%s, %s: %q, want %q", c.rule, c.name, got, c.want)
		}
		for _, each := range found {
			if each.Text == "" || strings.Contains(each.Text, "%!") || !strings.Contains(each.Source, standardRule(t, c.rule).Jurisdiction) {
				t.Errorf("%s, %s: %+v", c.rule, c.name, each)
			}
		}
	}
}

func feet(ft float64) *unit.Length { l := unit.Length(ft) * unit.Foot; return &l }

// A figure that was not seen in the law's text says so where it is used.
func TestSourceNamesTheStatus(t *testing.T) {
	found := CheckFertiliser(standardRule(t, "us-nj"), Feed{On: civil.MustDate("2026-06-03"), N: spread(2), SlowN: 0.9})
	i := slices.IndexFunc(found, func(f label.Finding) bool { return f.Code == "n-over" })
	if i < 0 || !strings.Contains(found[i].Source, "check before relying") || found[i].Got != "2 lb/1000 sq ft" || found[i].Limit != "1 lb/1000 sq ft" {
		t.Errorf("%+v", found)
	}
	i = slices.IndexFunc(found, func(f label.Finding) bool { return f.Code == "impervious" })
	if i < 0 || strings.Contains(found[i].Source, "(") {
		t.Errorf("%+v", found)
	}
}

// The project's check case 11: a pesticide on a Maryland lawn on Tuesday at
// 10:00, the sign stands to Thursday 10:00 (Agric. Art. §5-208(c): 48 h).
func TestSigns(t *testing.T) {
	zone, err := time.LoadLocation("America/New_York")
	if err != nil {
		t.Fatal(err)
	}
	at := func(day, hour int) time.Time { return time.Date(2026, 6, day, hour, 0, 0, 0, zone) }
	when := When{StartedAt: at(2, 9), FinishedAt: at(2, 10), Calendar: Calendar{Zone: zone}}
	day := civil.MustDate("2026-06-02")
	for _, c := range []struct {
		rule     string
		required bool
		until    time.Time
	}{
		{"us-md", true, at(4, 10)},   // 48 h
		{"us-nj", true, at(5, 9)},    // 72 h from the start
		{"us-ga", true, at(3, 0)},    // not before the next day
		{"us-in", true, at(3, 0)},    //
		{"us-il", true, at(3, 0)},    // next day by the customer
		{"us-mi", true, at(3, 10)},   // 24 h
		{"us-fl", true, time.Time{}}, // no time laid down
		{"us-tx-structural", false, time.Time{}},
	} {
		s, ok := SignFor(standardRule(t, c.rule), day, when)
		if !ok || s.Required != c.required || !s.Until.Equal(c.until) {
			t.Errorf("%s: %+v, want until %s", c.rule, s, c.until)
		}
	}
	if _, ok := SignFor(standardRule(t, "us-va"), day, when); ok {
		t.Error("us-va says nothing of signs")
	}
	if s, _ := SignFor(standardRule(t, "us-mn"), day, when); s.Conditional != "city ordinance" {
		t.Errorf("us-mn: %+v", s)
	}
	if s, _ := SignFor(standardRule(t, "us-md"), day, When{Calendar: when.Calendar}); !s.Until.Equal(at(5, 0)) {
		t.Errorf("times not known: until %s", s.Until)
	}
}

func TestCopiesAndNotices(t *testing.T) {
	day := civil.MustDate("2026-06-03")
	for id, want := range map[string]string{
		"us-federal-7cfr110": "2026-07-03", "us-wi": "2026-07-03", "us-ga": "2026-06-03", "us-in": "2026-06-03", "us-md": "2026-06-03", "us-mn": "",
	} {
		due, ok := CustomerCopyDue(standardRule(t, id), day)
		if !ok || !due.Required || due.On.String() != want || due.Citation == "" {
			t.Errorf("%s: %+v, want %s", id, due, want)
		}
	}
	if _, ok := CustomerCopyDue(standardRule(t, "us-va"), day); ok {
		t.Error("us-va asks for no copy")
	}
	start := time.Date(2026, 6, 3, 12, 0, 0, 0, time.UTC)
	if by, ok := NoticeBefore(standardRule(t, "us-ny"), start); !ok || start.Sub(by) != 48*time.Hour {
		t.Errorf("us-ny: notice by %s", by)
	}
	if _, ok := NoticeBefore(standardRule(t, "us-wi"), start); ok {
		t.Error("us-wi gives no hours")
	}
}

func TestConditionTableIsComplete(t *testing.T) {
	var ids []string
	for _, c := range conditionTable {
		ids = append(ids, c.id)
	}
	slices.Sort(ids)
	var want []string
	for id := range Words().Conditions {
		want = append(want, id)
	}
	slices.Sort(want)
	if !slices.Equal(ids, want) {
		t.Errorf("the table maps %q, the vocabulary has %q", ids, want)
	}
}

// The conditions of the example records from the facts that their texts tell.
func TestConditionsOfTheExamples(t *testing.T) {
	ex1 := JobFacts{Pesticide: true, EPARegistered: true, Diluted: true, LabelRatePerArea: true, LabelNamesMeasure: true, SiteIsCustomerAddress: true}
	ex3 := JobFacts{Pesticide: true, RestrictedUse: true, EPARegistered: true, LabelHasReentryTime: true, LabelRatePerArea: true, LabelNamesMeasure: true,
		SiteIsCustomerAddress: true, SupervisedByOther: true, UncertifiedTookPart: true}
	data, err := Files().Open("_examples.json")
	if err != nil {
		t.Fatal(err)
	}
	defer data.Close()
	text, err := embedded.ReadFile("rules/_examples.json")
	if err != nil {
		t.Fatal(err)
	}
	records, err := DecodeRecords("_examples.json", text)
	if err != nil {
		t.Fatal(err)
	}
	for i, facts := range map[int]JobFacts{0: ex1, 2: ex3} {
		got := slices.DeleteFunc(Conditions(facts), func(id string) bool { return id == "any_pesticide" })
		want := slices.Clone(records[i].Conditions)
		slices.Sort(got)
		slices.Sort(want)
		if !slices.Equal(got, want) {
			t.Errorf("%s: %q, want %q", records[i].ID, got, want)
		}
	}
	if got := Conditions(JobFacts{EPARegistered: true}); slices.Contains(got, "epa_registered") || slices.Contains(got, "general_use") {
		t.Errorf("no pesticide, but %q", got)
	}
}

func TestColumns(t *testing.T) {
	wi := Columns(standardRule(t, "us-wi"))
	var ids []string
	for _, c := range wi {
		ids = append(ids, c.ID)
		if c.Meaning == "" || c.Type == "" || c.Citation == "" || c.Requirement == "" {
			t.Errorf("us-wi: %+v", c)
		}
	}
	want := "applicator_name customer_name customer_address site_type site_location date start_time end_time product_name active_ingredient " +
		"epa_reg_no mix_rate amount_applied active_ingredient_concentration rate area_treated"
	if got := strings.Join(ids, " "); got != want {
		t.Errorf("us-wi columns: %s\nwant %s", got, want)
	}
	md := Columns(standardRule(t, "us-md"))
	if last := md[len(md)-1]; len(md) != 17 || last.ID != "wind_speed" || last.Unit != "mph" || last.Citation != "COMAR 15.05.01.12.L" || len(last.ConditionalOn) != 1 {
		t.Errorf("us-md: %d columns, last %+v", len(md), last)
	}
	for _, r := range All() {
		seen := map[string]bool{}
		for _, c := range Columns(r) {
			if seen[c.ID] || !Words().HasElement(c.ID) {
				t.Errorf("%s: column %q twice or unknown", r.ID, c.ID)
			}
			seen[c.ID] = true
		}
	}
}

func TestEvaluate(t *testing.T) {
	record := Record{ID: "r", Pesticide: true, Conditions: []string{"restricted_use"}, Date: civil.MustDate("2026-06-03"),
		Fields: map[string]any{"date": "2026-06-03"}}
	when := When{RecordedAt: time.Date(2026, 6, 8, 12, 0, 0, 0, time.UTC)}
	fl, err := Evaluate(standardRule(t, "us-fl"), record, when)
	if err != nil || !fl.Applies || !fl.Late || fl.Due.On.String() != "2026-06-05" || fl.RetainUntil.Through.String() != "2028-06-03" || !fl.Sign.Required {
		t.Errorf("us-fl: %+v, %v", fl, err)
	}
	if len(fl.Gaps) != 12 || fl.Gaps[0].Element != "amount_applied" || fl.Gaps[0].Citation != "5E-9.032(1)(h)" || fl.Gaps[0].Due.On != fl.Due.On {
		t.Errorf("us-fl gaps: %+v", fl.Gaps)
	}
	when.RecordedAt = time.Date(2026, 6, 5, 23, 59, 0, 0, time.UTC)
	if fl, _ = Evaluate(standardRule(t, "us-fl"), record, when); fl.Late {
		t.Error("recorded on the last day, but late")
	}
	wi, err := Evaluate(standardRule(t, "us-wi"), record, when)
	i := slices.IndexFunc(wi.Gaps, func(g Gap) bool { return g.Element == "amount_basis" })
	if err != nil || i < 0 || wi.Gaps[i].Citation == "" || wi.Copy.On.String() != "2026-07-03" {
		t.Errorf("us-wi: %+v, %v", wi, err)
	}
	record.Conditions = []string{"general_use"}
	if fl, err := Evaluate(standardRule(t, "us-fl"), record, when); err != nil || fl.Applies || fl.Gaps != nil || fl.Sign.Required {
		t.Errorf("general use under us-fl: %+v, %v", fl, err)
	}
	if _, err := Evaluate(standardRule(t, "us-co"), record, when); err == nil {
		t.Error("us-co judged a record")
	}
}

// Filling an element never makes another one missing.
func TestFillingNeverOpensAGap(t *testing.T) {
	rules := All()
	ids := []string{}
	for id := range Words().Elements {
		ids = append(ids, id)
	}
	slices.Sort(ids)
	var conditions []string
	for _, c := range conditionTable {
		conditions = append(conditions, c.id)
	}
	rapid.Check(t, func(t *rapid.T) {
		r := rapid.SampledFrom(rules).Draw(t, "rule")
		record := Record{Pesticide: true, Fertiliser: true, Spot: rapid.Bool().Draw(t, "spot"), Fields: map[string]any{}}
		record.Conditions = rapid.SliceOfDistinct(rapid.SampledFrom(conditions), rapid.ID[string]).Draw(t, "conditions")
		for _, id := range rapid.SliceOfDistinct(rapid.SampledFrom(ids), rapid.ID[string]).Draw(t, "filled") {
			record.Fields[id] = "x"
		}
		before, applies := Missing(r, record)
		record.Fields[rapid.SampledFrom(ids).Draw(t, "new")] = "x"
		after, still := Missing(r, record)
		if applies != still {
			t.Fatal("a field changed whether the rule applies")
		}
		for _, id := range after {
			if !slices.Contains(before, id) {
				t.Fatalf("%s became missing", id)
			}
		}
		for _, id := range ids {
			record.Fields[id] = "x"
		}
		if all, _ := Missing(r, record); len(all) != 0 {
			t.Fatalf("everything is filled and %q is missing", all)
		}
	})
}

func FuzzParse(f *testing.F) {
	for _, name := range []string{"us-md.json", "us-mi.json", "us-wi.json", "us-federal-7cfr110.json", "_examples.json", "_vocabulary.json"} {
		data, err := embedded.ReadFile("rules/" + name)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(data)
	}
	f.Add([]byte(small("all", `"elements": [{"id": "date", "conditional_on": [null]}], "posting": null`)))
	f.Add([]byte(`{"id": "x", "applies_to": {"value": "all"}, "retention_years": {"value": 1e99}}`))
	f.Add([]byte("[[[[[[[[[["))
	record := Record{ID: "r", Pesticide: true, Fertiliser: true, Spot: true, Date: civil.MustDate("2026-06-03"), Conditions: []string{"restricted_use", "diluted"}}
	feed := Feed{On: civil.MustDate("2026-12-03"), N: spread(1), P2O5: spread(1), GroundFrozen: true}
	f.Fuzz(func(t *testing.T, data []byte) {
		if records, err := DecodeRecords("r.json", data); err == nil {
			for _, r := range records {
				if r.Check() != nil {
					t.Fatal("a record with unknown ids was let in")
				}
			}
		}
		r, err := Parse("f.json", data)
		if err != nil {
			return
		}
		when := When{FinishedAt: time.Date(2026, 6, 3, 9, 0, 0, 0, time.UTC)}
		if _, err := Evaluate(r, record, when); err != nil && r.Kind != IncompleteRule {
			t.Fatal(err)
		}
		Columns(r)
		CheckFertiliser(r, feed)
		SignFor(r, record.Date, when)
		NoticeBefore(r, when.FinishedAt)
	})
}
