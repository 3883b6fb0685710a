package export_test

import (
	"bytes"
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/xuri/excelize/v2"

	"thirdcut/internal/application"
	"thirdcut/internal/civil"
	"thirdcut/internal/company"
	"thirdcut/internal/export"
	"thirdcut/internal/fault"
	"thirdcut/internal/label"
	"thirdcut/internal/recordrule"
	"thirdcut/internal/workbook"
)

var (
	eastern = mustZone("America/New_York")
	spring  = civil.MustDate("2026-04-01")
	july    = civil.MustDate("2026-07-06")
)

func mustZone(name string) *time.Location {
	z, err := time.LoadLocation(name)
	if err != nil {
		panic(err)
	}
	return z
}

// shelf is a store of records in memory.
type shelf struct {
	rows    []export.Row
	head    application.Head
	files   map[uuid.UUID]export.File
	kept    bytes.Buffer
	failing error // what reading the records ends with
}

func (s *shelf) Company(context.Context) (company.Settings, error) {
	return company.Settings{Name: "Fernwick Grounds", Address: "1 Mill Lane", Zone: eastern, State: "MD",
		WorkWeek: []int{1, 2, 3, 4, 5}, ClockAt: time.Date(2026, 7, 6, 20, 0, 0, 0, time.UTC)}, nil
}

func (s *shelf) ReadRecords(_ context.Context, from, to civil.Date, begin func(application.Head, int64) error, each func(export.Row) error) error {
	in := func(r export.Row) bool { return !r.AppliedOn.Before(from) && !r.AppliedOn.After(to) }
	total := int64(0)
	for _, r := range s.rows {
		if in(r) {
			total++
		}
	}
	if err := begin(s.head, total); err != nil {
		return err
	}
	for _, r := range s.rows {
		if !in(r) {
			continue
		}
		if err := each(r); err != nil {
			return err
		}
	}
	return s.failing
}

func (s *shelf) AskExport(_ context.Context, f export.File) error {
	s.files[f.ID] = f
	return nil
}

func (s *shelf) Export(_ context.Context, id uuid.UUID) (export.File, error) { return s.files[id], nil }

func (s *shelf) StartExport(_ context.Context, id uuid.UUID, rows int64) (bool, error) {
	f := s.files[id]
	if f.State == export.Ready {
		return false, nil
	}
	f.State, f.RowsTotal = export.Running, rows
	s.files[id] = f
	return true, nil
}

func (s *shelf) FailExport(_ context.Context, id uuid.UUID, why string) error {
	f := s.files[id]
	f.State, f.Problem = export.Failed, why
	s.files[id] = f
	return nil
}

type drawer struct {
	*shelf
	id uuid.UUID
}

func (s *shelf) OpenExport(_ context.Context, id uuid.UUID) export.Sink { return drawer{s, id} }

func (d drawer) Write(p []byte) (int, error) { return d.kept.Write(p) }

func (d drawer) Finish(seq int64, hash []byte, rows int64) error {
	f := d.files[d.id]
	f.State, f.ChainSeq, f.ChainHash, f.RowsDone = export.Ready, seq, hash, rows
	d.files[d.id] = f
	return nil
}

func record(seq int64, day string, change ...func(*application.Record)) export.Row {
	d := civil.MustDate(day)
	wind := 4.0
	r := application.Record{ID: uuid.NewSHA1(uuid.Nil, []byte(fmt.Sprint(seq))), Seq: seq, AppliedOn: d,
		StartedAt: d.At(520, eastern), FinishedAt: d.At(545, eastern), RecordedAt: d.At(600, eastern), Zone: "America/New_York",
		Lines: []application.Line{
			{Name: "Front", AreaTreated: application.Amount{Entered: "5,200 sq ft", Value: 5200, Unit: "sq ft"}},
			{Name: "Back", AreaTreated: application.Amount{Entered: "0.1 acre", Value: 4356, Unit: "sq ft"}}},
		Total: application.Amount{Entered: "4.5 oz", Value: 0.12757, Unit: "kg"}, AreaTreated: application.Amount{Entered: "9,556 sq ft", Value: 9556, Unit: "sq ft"}, Rate: "0.47 oz/1000 sq ft", MixRate: "0.9 oz/gal",
		Target: "crabgrass", SiteType: "turf", Equipment: "backpack sprayer",
		Applicator:   application.Who{Name: "Dana Pell"},
		WeatherStart: application.Weather{WindEntered: "4 mph", WindMPH: &wind, WindDirection: "NW", Origin: application.Measured, WindOrigin: application.Measured},
		ReentryText:  "until dry", ReentryAt: d.At(700, eastern)}
	r.ProductName, r.EPARegNo, r.ActiveIngredient, r.Pesticide = "Greenfield 4L", "000-111", "prodiamine", true
	r.SiteAddress, r.CustomerName, r.PropertyOwner = "12 Elm Row", "Ada Quill", "Ada Quill"
	for _, c := range change {
		c(&r)
	}
	return export.Row{Record: r}
}

func service(s *shelf) *export.Service {
	if s.files == nil {
		s.files = map[uuid.UUID]export.File{}
	}
	if s.head.Seq == 0 && len(s.rows) > 0 {
		s.head = application.Head{Seq: 77, Hash: application.Chain(application.Hash{}, "head")}
	}
	return &export.Service{Store: s, Rules: recordrule.Standard(), Real: time.Now,
		NewBook:  func(out io.Writer) (export.Book, error) { return workbook.New(out, "") },
		NewTable: func(out io.Writer, header []string) (export.Table, error) { return workbook.NewCSV(out, header) }}
}

func book(t *testing.T, s *shelf, rule string) (*excelize.File, export.Summary) {
	t.Helper()
	var out bytes.Buffer
	sum, err := service(s).WriteRule(t.Context(), rule, spring, july, &out)
	if err != nil {
		t.Fatal(err)
	}
	f, err := excelize.OpenReader(&out)
	if err != nil {
		t.Fatal(err)
	}
	return f, sum
}

// sheet returns the lines above the header, and the rows by header.
func sheet(t *testing.T, f *excelize.File, name, firstHeader string) (above []string, rows []map[string]string) {
	t.Helper()
	all, err := f.GetRows(name)
	if err != nil {
		t.Fatal(err)
	}
	at := slices.IndexFunc(all, func(r []string) bool { return len(r) > 0 && r[0] == firstHeader })
	if at < 0 {
		t.Fatalf("sheet %s has no header %q: %q", name, firstHeader, all)
	}
	for _, r := range all[:at] {
		above = append(above, strings.Join(r, ""))
	}
	for _, r := range all[at+1:] {
		row := map[string]string{}
		for i, h := range all[at] {
			if row[h] = ""; i < len(r) {
				row[h] = r[i]
			}
		}
		rows = append(rows, row)
	}
	return above, rows
}

func TestWorkbookReadsBackAsRecorded(t *testing.T) {
	f, sum := book(t, &shelf{rows: []export.Row{record(7, "2026-06-02", func(r *application.Record) {
		r.Target = "=HYPERLINK(1)"
		r.Findings = []label.Finding{{Code: "wind", Text: "wind near the label's limit"}}
		r.Reasons = []application.Reason{{Code: "wind", Text: "calm by the hedge", Person: "Dana Pell"}}
	})}}, "us-md")
	if got := fmt.Sprint(f.GetSheetList()); got != "[Application records Missing By product By active ingredient About]" {
		t.Errorf("sheets are %s", got)
	}
	above, rows := sheet(t, f, "Application records", "Record number")
	head := application.Chain(application.Hash{}, "head").String()
	for i, want := range []string{"Fernwick Grounds: application records", "Maryland: Records; customer information and sign; fertiliser use law (COMAR 15.05.01.12; Agric. Art. §5-208; Agric. Art. §6-224, §8-803.5)",
		"Applications from Wed 1 Apr 2026 to Mon 6 Jul 2026", "Head of the chain of records: record 77, SHA-256 " + head, "Printed on 2026-07-06 16:00 EDT"} {
		if above[i] != want {
			t.Errorf("line %d above is %q, want %q", i+1, above[i], want)
		}
	}
	if len(rows) != 1 {
		t.Fatalf("%d rows", len(rows))
	}
	for header, want := range map[string]string{
		"Record number": "7", "Applied by": "Dana Pell", "Date": "2026-06-02", "Site or plants treated": "turf",
		"Target pest or purpose": "'=HYPERLINK(1)", "Area treated (as entered)": "Front: 5,200 sq ft; Back: 0.1 acre",
		"Site address": "12 Elm Row", "Owner or tenant of the property": "Ada Quill", "Active ingredient": "prodiamine",
		"EPA registration no.": "000-111", "Rate (product per area)": "0.47 oz/1000 sq ft", "Total product applied (as entered)": "4.5 oz",
		"Equipment": "backpack sprayer", "Time of day (local)": "08:40 to 09:05", "Wind from": "NW", "Wind speed (mph unless written)": "4 mph",
		"Re-entry": "until dry; from 2026-06-02 11:40", "Findings when recorded": "wind near the label's limit (reason given by Dana Pell: calm by the hedge)",
		"Corrects record": "", "Corrected by record": "", "Product": "Greenfield 4L",
	} {
		if got, ok := rows[0][header]; !ok || got != want {
			t.Errorf("column %q is %q (there: %v), want %q", header, got, ok, want)
		}
	}
	if sum.Listed != 1 || sum.Gaps != 0 || sum.Head.Seq != 77 {
		t.Errorf("summary %+v", sum)
	}
}

func TestEveryElementOfEveryRuleIsAColumn(t *testing.T) {
	for _, r := range recordrule.All() {
		if r.Kind != recordrule.RecordRule {
			continue
		}
		f, _ := book(t, &shelf{}, r.ID)
		_, rows := sheet(t, f, "Application records", "Record number")
		for _, c := range recordrule.Columns(r) {
			h := export.Header(c)
			if _, ok := rows[0][h]; !ok {
				t.Errorf("%s: element %s has no column %q", r.ID, c.ID, h)
			}
		}
		want := len(recordrule.Columns(r)) + 6
		if !slices.ContainsFunc(r.Elements, func(e recordrule.Element) bool { return e.ID == "product_name" }) {
			want++ // the product stands there all the same
		}
		if len(rows[0]) != want {
			t.Errorf("%s: %d columns with different headers, want %d", r.ID, len(rows[0]), want)
		}
	}
}

func TestEveryElementOfTheVocabularyHasAHeader(t *testing.T) {
	for id, word := range recordrule.Words().Elements {
		if h := export.Header(recordrule.Column{ID: id, Meaning: word.Meaning}); h == word.Meaning || len(h) > 50 {
			t.Errorf("element %s has the header %q; give it one in few words", id, h)
		}
	}
}

func TestWhatARecordLacksIsMissingWithItsTime(t *testing.T) {
	lacks := func(r *application.Record) { r.SiteType, r.RestrictedUse = "", true }
	f, sum := book(t, &shelf{rows: []export.Row{record(3, "2026-06-02", lacks)}}, "us-federal-7cfr110")
	_, rows := sheet(t, f, "Missing", "Record number")
	at := slices.IndexFunc(rows, func(r map[string]string) bool { return r["Missing"] == "Site or plants treated" })
	if at < 0 {
		t.Fatalf("the site type is not missing: %v", rows)
	}
	// 7 CFR 110.3: within 14 days of the application.
	if r := rows[at]; r["Record number"] != "3" || r["Wanted by"] != "2026-06-16" || r["Citation"] != "7 CFR 110.3(a)(3)" || r["Applied on"] != "2026-06-02" {
		t.Errorf("missing row is %v", r)
	}
	if int(sum.Gaps) != len(rows) {
		t.Errorf("summary counts %d gaps, the sheet %d", sum.Gaps, len(rows))
	}
}

func TestGeneralUseIsAbsentFromARestrictedUseRule(t *testing.T) {
	restricted := func(r *application.Record) { r.RestrictedUse = true }
	f, sum := book(t, &shelf{rows: []export.Row{record(1, "2026-06-01"), record(2, "2026-06-02", restricted)}}, "us-federal-7cfr110")
	_, rows := sheet(t, f, "Application records", "Record number")
	if len(rows) != 1 || rows[0]["Record number"] != "2" || sum.Read != 2 {
		t.Errorf("listed %v", rows)
	}
}

func TestNoRecordsMakeAWorkbookThatSaysSo(t *testing.T) {
	for name, s := range map[string]*shelf{
		"No application was recorded in these days.":                              {},
		"Nothing here: of the 1 record of these days none falls under this rule.": {rows: []export.Row{record(1, "2026-06-01")}},
	} {
		f, _ := book(t, s, "us-federal-7cfr110")
		for sheetName, first := range map[string]string{"Application records": "Record number", "Missing": "Record number",
			"By product": "Product", "By active ingredient": "Active ingredient"} {
			if _, rows := sheet(t, f, sheetName, first); len(rows) != 1 || rows[0][first] != name {
				t.Errorf("%s says %v, want %q", sheetName, rows, name)
			}
		}
	}
}

func TestTotalsCountCorrectionsOnce(t *testing.T) {
	liquid := func(r *application.Record) {
		r.ProductName, r.ActiveIngredient, r.Total = "Pond-safe 2", "", application.Amount{Entered: "1 gal", Value: 3.785411784, Unit: "L"}
	}
	wrong := record(1, "2026-06-01")
	wrong.CorrectedBySeq = 3
	right := record(3, "2026-06-01", func(r *application.Record) { r.Correction = "wrong amount" })
	right.CorrectsSeq = 1
	f, sum := book(t, &shelf{rows: []export.Row{wrong, right, record(4, "2026-06-02", liquid), record(5, "2026-06-03")}}, "us-md")
	_, rows := sheet(t, f, "Application records", "Record number")
	if len(rows) != 4 || rows[0]["Corrected by record"] != "3" || rows[1]["Corrects record"] != "1" || rows[1]["Why corrected"] != "wrong amount" {
		t.Errorf("records are %v", rows)
	}
	_, rows = sheet(t, f, "By product", "Product")
	want := []string{
		"map[Applications:2 Area treated (acres):0.4388 Area treated (sq ft):19112 Dry product (kg):0.2551 Dry product (lb):0.5625 EPA registration no.:000-111 Liquid product (L): Liquid product (gal): Product:Greenfield 4L]",
		"map[Applications:1 Area treated (acres):0.2194 Area treated (sq ft):9556 Dry product (kg): Dry product (lb): EPA registration no.:000-111 Liquid product (L):3.7854 Liquid product (gal):1 Product:Pond-safe 2]"}
	for i := range want {
		if got := fmt.Sprint(rows[i]); got != want[i] {
			t.Errorf("product %d is\n%s, want\n%s", i, got, want[i])
		}
	}
	_, rows = sheet(t, f, "By active ingredient", "Active ingredient")
	if len(rows) != 2 || rows[0]["Active ingredient"] != "none stated" || rows[1]["Applications"] != "2" {
		t.Errorf("ingredients are %v", rows)
	}
	if sum.Superseded != 1 {
		t.Errorf("summary %+v", sum)
	}
}

func TestAboutSaysHowToCheckAndHowSureTheRuleIs(t *testing.T) {
	broken := record(1, "2026-06-01")
	broken.Broken = true
	f, sum := book(t, &shelf{rows: []export.Row{broken}}, "us-md")
	rows, err := f.GetRows("About")
	if err != nil {
		t.Fatal(err)
	}
	text := fmt.Sprint(rows)
	for _, want := range []string{"thirdcut verify --seq 77 --hash " + application.Chain(application.Hash{}, "head").String(),
		"2 years from the application: through Thu 1 Jun 2028 (COMAR 15.05.01.12)", "COMAR 15.05.01.12; seen: full", "1 record no longer as sealed"} {
		if !strings.Contains(text, want) {
			t.Errorf("About does not say %q:\n%s", want, text)
		}
	}
	_, records := sheet(t, f, "Application records", "Record number")
	if sum.Broken != 1 || !strings.HasPrefix(records[0]["Findings when recorded"], "THIS RECORD DOES NOT MATCH ITS SEAL") {
		t.Errorf("a record that was changed is listed as %v", records)
	}
}

func TestAFactFromMemoryIsMarked(t *testing.T) {
	rule, err := recordrule.ByID("us-md")
	if err != nil {
		t.Fatal(err)
	}
	rule.ID, rule.Elements = "own", slices.Clone(rule.Elements)
	rule.Elements[0].Status, rule.Retention = "from_memory", &recordrule.Retention{Years: 5, Citation: "§ 9", Status: "from_memory"}
	var out bytes.Buffer
	if _, err := service(&shelf{rows: []export.Row{record(1, "2026-06-01", func(r *application.Record) { r.Applicator.Name = "" })}}).
		WriteFile(t.Context(), rule, spring, july, &out); err != nil {
		t.Fatal(err)
	}
	f, err := excelize.OpenReader(&out)
	if err != nil {
		t.Fatal(err)
	}
	rows, _ := f.GetRows("About")
	for _, want := range []string{"5 years (§ 9) [not seen; check before relying on it]", "COMAR 15.05.01.12.A; not seen; check before relying on it"} {
		if !strings.Contains(fmt.Sprint(rows), want) {
			t.Errorf("About does not mark %q", want)
		}
	}
	if _, missing := sheet(t, f, "Missing", "Record number"); missing[0]["How sure the rule is"] != "not seen; check before relying on it" || missing[0]["Wanted by"] != "no time set" {
		t.Errorf("missing is %v", missing)
	}
}

func TestEachDayIsJudgedByTheVersionInForce(t *testing.T) {
	old, err := recordrule.ByID("us-md")
	if err != nil {
		t.Fatal(err)
	}
	renewed := old
	old.EffectiveTo, renewed.EffectiveFrom = civil.MustDate("2026-05-31"), civil.MustDate("2026-06-01")
	renewed.Elements = append(slices.Clone(old.Elements), recordrule.Element{ID: "customer_phone", Requirement: "phone", Citation: "new", Status: "published"})
	s := service(&shelf{rows: []export.Row{record(1, "2026-05-31"), record(2, "2026-06-01")}})
	var out bytes.Buffer
	sum, err := s.WriteVersions(t.Context(), []recordrule.Rule{old, renewed}, spring, july, &out)
	if err != nil {
		t.Fatal(err)
	}
	f, err := excelize.OpenReader(&out)
	if err != nil {
		t.Fatal(err)
	}
	_, rows := sheet(t, f, "Missing", "Record number")
	if sum.Listed != 2 || len(rows) != 1 || rows[0]["Record number"] != "2" || rows[0]["Missing"] != "Customer phone" {
		t.Errorf("listed %d, missing %v", sum.Listed, rows)
	}
}

func TestCSVHoldsTheFirstSheet(t *testing.T) {
	s := &shelf{rows: []export.Row{record(1, "2026-06-01", func(r *application.Record) { r.Target = "@weeds, \"all\"\nand more" }), record(2, "2026-06-02")}}
	v := service(s)
	f, err := v.Ask(t.Context(), "us-md", export.CSV, spring, july, uuid.New())
	if err != nil {
		t.Fatal(err)
	}
	if err := v.Write(t.Context(), f.ID, nil); err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(bytes.NewReader(s.kept.Bytes())).ReadAll() // refuses rows of different widths and stray quotes
	if err != nil {
		t.Fatal(err)
	}
	if len(rows) != 3 || rows[0][0] != "Record number" || rows[2][0] != "2" {
		t.Fatalf("read back %q", rows)
	}
	if at := slices.Index(rows[0], "Target pest or purpose"); rows[1][at] != "'@weeds, \"all\"\nand more" {
		t.Errorf("the target came back as %q", rows[1][at])
	}
	x, _ := book(t, s, "us-md")
	_, inBook := sheet(t, x, "Application records", "Record number")
	for i, h := range rows[0] {
		if got := inBook[1][h]; got != rows[2][i] {
			t.Errorf("%s is %q in the workbook, %q as CSV", h, got, rows[2][i])
		}
	}
}

func TestGapsFile(t *testing.T) {
	lacks := func(r *application.Record) { r.Equipment, r.SiteType, r.RestrictedUse = "", "", true }
	old := record(1, "2026-06-01", lacks)
	old.CorrectedBySeq = 3
	var out bytes.Buffer
	n, err := service(&shelf{rows: []export.Row{old, record(2, "2026-06-02", lacks), record(4, "2026-06-02")}}).
		WriteGaps(t.Context(), &out, []string{"us-md", "us-federal-7cfr110", "us-md"}, spring, july)
	if err != nil {
		t.Fatal(err)
	}
	// Nobody answers for the applications of these records (110.3(a)(6)), which is
	// one more gap of the federal rule.
	text := out.String()
	for _, want := range []string{"record,rule,element,due_by\r\n", "2,us-federal-7cfr110,site_type,2026-06-16\r\n", "2,us-md,equipment,\r\n", "2,us-md,site_type,\r\n"} {
		if strings.Count(text, want) != 1 {
			t.Errorf("%q stands %d times in\n%s", want, strings.Count(text, want), text)
		}
	}
	if strings.Contains(text, "\n1,") || strings.Contains(text, "\n4,") {
		t.Errorf("a corrected record or one that lacks nothing is listed:\n%s", text)
	}
	if int(n) != strings.Count(text, "\r\n")-1 {
		t.Errorf("%d gaps counted in\n%s", n, text)
	}
}

func TestHoursAreWantedByATimeOfDay(t *testing.T) {
	rule, err := recordrule.ByID("us-md")
	if err != nil {
		t.Fatal(err)
	}
	rule.TimeToRecord = &recordrule.TimeToRecord{Value: 24, Unit: recordrule.Hour}
	var out bytes.Buffer
	s := service(&shelf{rows: []export.Row{record(1, "2026-06-01", func(r *application.Record) { r.Equipment = "" })}})
	if _, err := s.WriteFile(t.Context(), rule, spring, july, &out); err != nil {
		t.Fatal(err)
	}
	f, err := excelize.OpenReader(&out)
	if err != nil {
		t.Fatal(err)
	}
	if _, rows := sheet(t, f, "Missing", "Record number"); rows[0]["Wanted by"] != "2026-06-02 09:05" {
		t.Errorf("24 h after 09:05 on 1 June is %v", rows[0])
	}
}

func TestAskRefusesWhatCannotBeMade(t *testing.T) {
	v := service(&shelf{})
	for _, c := range []struct {
		rule, format string
		from, to     civil.Date
		kind         fault.Kind
		code         string
	}{
		{"us-xx", "xlsx", spring, july, fault.NotFound, "rule"},
		{"us-md", "pdf", spring, july, fault.Invalid, "export"},
		{"us-md", "xlsx", july, spring, fault.Invalid, "export"},
		{"us-md", "xlsx", civil.Date{}, july, fault.Invalid, "export"},
		{"us-md", "xlsx", spring, civil.Date{}, fault.Invalid, "export"},
		{"us-md", "xlsx", civil.MustDate("2016-07-05"), july, fault.Invalid, "export"},
		{kindOf(recordrule.IncompleteRule), "xlsx", spring, july, fault.Rule, "incomplete-rule"},
		{kindOf(recordrule.PostingRule), "xlsx", spring, july, fault.Rule, "no-record-rule"},
	} {
		if _, err := v.Ask(t.Context(), c.rule, c.format, c.from, c.to, uuid.New()); !fault.Is(err, c.kind) || !fault.HasCode(err, c.code) {
			t.Errorf("%s %s %s to %s: %v", c.rule, c.format, c.from, c.to, err)
		}
	}
	f, err := v.Ask(t.Context(), "us-md", "xlsx", civil.MustDate("2016-07-06"), july, uuid.New())
	if err != nil || f.FileName != "application-records-us-md-2016-07-06-to-2026-07-06.xlsx" {
		t.Errorf("ten years: %q, %v", f.FileName, err)
	}
}

func kindOf(k recordrule.Kind) string {
	for _, r := range recordrule.All() {
		if r.Kind == k {
			return r.ID
		}
	}
	panic("no rule of the kind " + k)
}

func TestWriteTellsProgressAndKeepsFailures(t *testing.T) {
	s := &shelf{}
	for i := range int64(1200) {
		s.rows = append(s.rows, record(i+1, "2026-06-01"))
	}
	v := service(s)
	f, err := v.Ask(t.Context(), "us-md", export.XLSX, spring, july, uuid.New())
	if err != nil {
		t.Fatal(err)
	}
	s.failing = errors.New("connection lost")
	if err := v.Write(t.Context(), f.ID, nil); !errors.Is(err, s.failing) {
		t.Errorf("a lost connection gave %v", err)
	}
	if got := s.files[f.ID]; got.State != export.Failed || strings.Contains(got.Problem, "connection") || got.Problem == "" {
		t.Errorf("after a failure: %+v", got)
	}
	s.failing = nil
	var heard []string
	if err := v.Write(t.Context(), f.ID, func(done, total int64) { heard = append(heard, fmt.Sprint(done, "/", total)) }); err != nil {
		t.Fatal(err)
	}
	if got := s.files[f.ID]; got.State != export.Ready || got.RowsDone != 1200 || got.ChainSeq != 77 || fmt.Sprint(heard) != "[500/1200 1000/1200 1200/1200]" {
		t.Errorf("export %+v, progress %v", got, heard)
	}
	size := s.kept.Len()
	if err := v.Write(t.Context(), f.ID, nil); err != nil || s.kept.Len() != size {
		t.Errorf("writing a ready export again: %v, %d bytes more", err, s.kept.Len()-size)
	}
}

// 7 CFR 110.3(b): spot work of a day under 0.1 acre (4,356 sq ft) in all needs
// neither the kind of site nor the applicator.
func TestSpotWorkNeedsTheShortListOnly(t *testing.T) {
	spot := func(sqft float64) func(*application.Record) {
		return func(r *application.Record) {
			r.Spot, r.RestrictedUse, r.SiteType = true, true, ""
			r.Lines = []application.Line{{Name: "Front", AreaTreated: application.Amount{Entered: "some", Value: sqft, Unit: "sq ft"}}}
		}
	}
	for _, c := range []struct {
		areas []float64
		gaps  bool
	}{{[]float64{2000}, false}, {[]float64{2000, 2300}, false}, {[]float64{2000, 2356}, true}, {[]float64{4355}, false}} {
		s := &shelf{}
		for i, a := range c.areas {
			s.rows = append(s.rows, record(int64(i+1), "2026-06-02", spot(a)))
		}
		s.rows = append(s.rows, record(9, "2026-06-03", spot(4000))) // another day does not add up
		var out bytes.Buffer
		if _, err := service(s).WriteGaps(t.Context(), &out, []string{"us-federal-7cfr110"}, spring, july); err != nil {
			t.Fatal(err)
		}
		if got := strings.Contains(out.String(), "1,us-federal-7cfr110,site_type,2026-06-16"); got != c.gaps || strings.Contains(out.String(), "9,us-federal-7cfr110,site_type") {
			t.Errorf("%v sq ft: %s", c.areas, out.String())
		}
	}
}
