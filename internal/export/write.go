package export

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"time"

	"thirdcut/internal/application"
	"thirdcut/internal/civil"
	"thirdcut/internal/company"
	"thirdcut/internal/fault"
	"thirdcut/internal/recordrule"
)

// progressEvery is after how many records the progress is told.
const progressEvery = 500

type column struct {
	header string
	width  float64
}

type columns []column

func (c columns) split() (headers []string, widths []float64) {
	for _, one := range c {
		headers = append(headers, one.header)
		widths = append(widths, one.width)
	}
	return headers, widths
}

// writer writes one file in one pass over the records: the rows and what they
// lack go out as they come, only totals are kept.
type writer struct {
	*Service
	company  company.Settings
	printed  time.Time         // business time
	rules    []recordrule.Rule // the versions of one rule
	from, to civil.Date
	elements []recordrule.Column
	zones    zones

	started  func(total int64) error
	progress func(done, total int64)

	total int64
	sums  *sums
	keep  keeping
	Summary
}

func (s *Service) newWriter(ctx context.Context, rules []recordrule.Rule, from, to civil.Date) (*writer, error) {
	c, err := s.Store.Company(ctx)
	if err != nil {
		return nil, err
	}
	return &writer{Service: s, company: c, printed: c.Clock(s.Real).Now(), rules: rules, from: from, to: to,
		elements: elementsOf(rules), zones: zones{c.Zone.String(): c.Zone}, sums: newSums()}, nil
}

// elementsOf lists the columns of all versions of a rule, each once, in the
// order of the latest version that has it.
func elementsOf(rules []recordrule.Rule) []recordrule.Column {
	var list []recordrule.Column
	for _, r := range slices.Backward(rules) {
		for _, c := range recordrule.Columns(r) {
			if !slices.ContainsFunc(list, func(have recordrule.Column) bool { return have.ID == c.ID }) {
				list = append(list, c)
			}
		}
	}
	return list
}

// rule is the version in force on the day, the latest where none is.
func (w *writer) rule(on civil.Date) recordrule.Rule {
	for _, r := range w.rules {
		if r.InForce(on) {
			return r
		}
	}
	return w.latest()
}

func (w *writer) latest() recordrule.Rule { return w.rules[len(w.rules)-1] }

// recordColumns are those of the first sheet and of the CSV file.
func (w *writer) recordColumns() columns {
	list := columns{{"Record number", 9}}
	for _, c := range w.elements {
		list = append(list, column{header(c), width(c)})
	}
	if !w.asksForProduct() {
		list = append(list, column{headers["product_name"], widths["product_name"]})
	}
	return append(list, column{"Re-entry", 28}, column{"Findings when recorded", 34}, column{"Corrects record", 10},
		column{"Why corrected", 24}, column{"Corrected by record", 10})
}

// asksForProduct says whether the product stands among the rule's elements.
// Where it does not, it follows them, so that the totals can be traced.
func (w *writer) asksForProduct() bool {
	return slices.ContainsFunc(w.elements, func(c recordrule.Column) bool { return c.ID == "product_name" })
}

func (w *writer) recordCells(r Row, judged recordrule.Record, zone *time.Location) []any {
	c := cells{r.Record, judged, zone}
	row := make([]any, 0, len(w.elements)+7)
	row = append(row, r.Seq)
	for _, e := range w.elements {
		row = append(row, c.of(e.ID))
	}
	if !w.asksForProduct() {
		row = append(row, r.ProductName)
	}
	findings := c.findings()
	if r.Broken {
		findings = joined("THIS RECORD DOES NOT MATCH ITS SEAL: it was changed after it was kept; run thirdcut verify", findings)
	}
	return append(row, c.reentry(), findings, numberOrNone(r.CorrectsSeq), r.Correction, numberOrNone(r.CorrectedBySeq))
}

func joined(a, b string) string {
	if a == "" || b == "" {
		return a + b
	}
	return a + "; " + b
}

func numberOrNone(seq int64) any {
	if seq == 0 {
		return nil
	}
	return seq
}

func (w *writer) write(ctx context.Context, format string, out io.Writer) error {
	switch format {
	case XLSX:
		return w.book(ctx, out)
	case CSV:
		return w.table(ctx, out)
	}
	return fault.New(fault.Invalid, "export", "%q is no format of an export; choose xlsx or csv", format)
}

func (w *writer) begin(head application.Head, total int64) error {
	w.Head, w.total = head, total
	if w.started != nil {
		return w.started(total)
	}
	return nil
}

// each reads the records and hands on those that the rule asks for.
func (w *writer) each(ctx context.Context, open func() error, use func(r Row, judged recordrule.Record, zone *time.Location) error) error {
	err := readDays(ctx, w.Store, w.from, w.to, func(head application.Head, total int64) error {
		if err := w.begin(head, total); err != nil {
			return err
		}
		return open()
	}, func(r Row) error {
		w.Read++
		if w.progress != nil && w.Read%progressEvery == 0 {
			w.progress(w.Read, w.total)
		}
		judged := r.Judged()
		if !w.rule(r.AppliedOn).Applies(judged) {
			return nil
		}
		zone, err := w.zones.of(r.Record)
		if err != nil {
			return err
		}
		w.Listed++
		if r.CorrectedBySeq != 0 {
			w.Superseded++
		}
		if r.Broken {
			w.Broken++
		}
		return use(r, judged, zone)
	})
	if err == nil && w.progress != nil {
		w.progress(w.Read, w.total)
	}
	return err
}

func (w *writer) table(ctx context.Context, out io.Writer) error {
	var t Table
	err := w.each(ctx, func() (err error) {
		headers, _ := w.recordColumns().split()
		t, err = w.NewTable(out, headers)
		return err
	}, func(r Row, judged recordrule.Record, zone *time.Location) error {
		return t.Row(w.recordCells(r, judged, zone)...)
	})
	if err != nil {
		return err
	}
	return t.Close()
}

// book writes the five sheets of a workbook.
func (w *writer) book(ctx context.Context, out io.Writer) error {
	b, err := w.NewBook(out)
	if err != nil {
		return err
	}
	defer b.Abort()
	var record, missing func(cells ...any) error
	err = w.each(ctx, func() (err error) {
		if record, err = open(b, "Application records", w.above("application records"), w.recordColumns()); err != nil {
			return err
		}
		missing, err = open(b, "Missing", w.above("what records lack"), missingColumns)
		return err
	}, func(r Row, judged recordrule.Record, zone *time.Location) error {
		if err := record(w.recordCells(r, judged, zone)...); err != nil {
			return err
		}
		if r.CorrectedBySeq != 0 {
			return nil // what counts is the correction
		}
		w.sums.add(r.Record)
		return w.judge(r, judged, zone, missing)
	})
	if err != nil {
		return err
	}
	if w.Listed == 0 {
		if err := record(w.none()); err != nil {
			return err
		}
	}
	if w.Gaps == 0 {
		if err := missing(w.nothingMissing()); err != nil {
			return err
		}
	}
	if err := errors.Join(w.sumSheets(b), w.about(b)); err != nil {
		return err
	}
	return b.Close()
}

func open(b Book, name string, above []string, c columns) (func(cells ...any) error, error) {
	headers, widths := c.split()
	return b.Open(name, above, headers, widths)
}

// above are the lines over the header row: what is needed to judge a printed page.
func (w *writer) above(title string) []string {
	r := w.latest()
	return []string{
		w.company.Name + ": " + title,
		fmt.Sprintf("%s: %s (%s)", r.Jurisdiction, r.Title, r.Citation),
		fmt.Sprintf("Applications from %s to %s", w.from.Words(), w.to.Words()),
		fmt.Sprintf("Head of the chain of records: record %d, SHA-256 %s", w.Head.Seq, w.Head.Hash),
		"Printed on " + w.printed.In(w.company.Zone).Format("2006-01-02 15:04 MST"),
	}
}

func (w *writer) none() string {
	if w.Read == 0 {
		return "No application was recorded in these days."
	}
	return fmt.Sprintf("Nothing here: of the %s of these days none falls under this rule.", count(w.Read, "record"))
}

func (w *writer) nothingMissing() string {
	if w.Listed == 0 {
		return w.none()
	}
	return "No record lacks anything that the rule asks for."
}

var missingColumns = columns{{"Record number", 9}, {"Applied on", 12}, {"Missing", 28}, {"What the rule asks for", 50},
	{"Citation", 28}, {"Wanted by", 17}, {"How sure the rule is", 26}}

// judge lists what the record lacks under the version in force on its day.
func (w *writer) judge(r Row, judged recordrule.Record, zone *time.Location, missing func(cells ...any) error) error {
	rule := w.rule(r.AppliedOn)
	report, err := recordrule.Evaluate(rule, judged, w.when(r.Record, zone))
	if err != nil {
		return err
	}
	w.keep.add(report.RetainUntil)
	if report.Late {
		w.Late++
	}
	for _, g := range report.Gaps {
		w.Gaps++
		if err := missing(r.Seq, r.AppliedOn, named(g), g.Requirement, g.Citation, wantedBy(rule, g, zone), statusWords(g.Status)); err != nil {
			return err
		}
	}
	return nil
}

func (s *writer) when(r application.Record, zone *time.Location) recordrule.When {
	return recordrule.When{StartedAt: r.StartedAt, FinishedAt: r.FinishedAt, RecordedAt: r.RecordedAt,
		Calendar: recordrule.Calendar{Zone: zone, WorkWeek: s.company.WorkWeek, Holidays: s.company.Holidays}}
}

func named(g recordrule.Gap) string {
	if h, ok := headers[g.Element]; ok {
		return h
	}
	if g.Requirement != "" {
		return g.Requirement
	}
	return g.Element
}

// wantedBy is a day, or a moment where the rule counts hours.
func wantedBy(r recordrule.Rule, g recordrule.Gap, zone *time.Location) any {
	switch {
	case g.Due.IsZero():
		return "no time set"
	case r.TimeToRecord != nil && r.TimeToRecord.Unit == recordrule.Hour:
		return g.Due.By.In(zone)
	}
	return g.Due.On
}

func statusWords(status string) string {
	if words, ok := recordrule.Words().Statuses[status]; ok {
		return words
	}
	return status
}

func (w *writer) sumSheets(b Book) error {
	for _, sheet := range []struct {
		name, title string
		first       columns
		totals      []*sum
	}{
		{"By product", "totals by product", columns{{"Product", 30}, {"EPA registration no.", 18}}, inOrder(w.sums.products)},
		{"By active ingredient", "totals by active ingredient", columns{{"Active ingredient", 34}}, inOrder(w.sums.ingredients)},
	} {
		row, err := open(b, sheet.name, append(w.above(sheet.title), "Corrected records are not counted, their corrections are."),
			append(sheet.first, sumColumns...))
		if err != nil {
			return err
		}
		if len(sheet.totals) == 0 {
			if err := row(w.none()); err != nil {
				return err
			}
		}
		for _, t := range sheet.totals {
			cells := []any{t.name, t.epaRegNo}[:len(sheet.first)]
			if err := row(append(cells, t.cells()...)...); err != nil {
				return err
			}
		}
	}
	return nil
}

// zones are time zones by name, each loaded once.
type zones map[string]*time.Location

func (z zones) of(r application.Record) (*time.Location, error) {
	if zone, ok := z[r.Zone]; ok {
		return zone, nil
	}
	zone, err := time.LoadLocation(r.Zone)
	if err != nil {
		return nil, fault.New(fault.Invalid, "zone", "record %d names the time zone %q, which this machine does not know; install its time zone data", r.Seq, r.Zone).Because(err)
	}
	z[r.Zone] = zone
	return zone, nil
}
