package export

import (
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	"github.com/google/uuid"

	"thirdcut/internal/application"
	"thirdcut/internal/civil"
	"thirdcut/internal/company"
	"thirdcut/internal/fault"
	"thirdcut/internal/recordrule"
)

// Kinds, formats and states of exports.
const (
	ApplicationRecords = "application_records"

	XLSX = "xlsx"
	CSV  = "csv"

	Asked   = "asked"
	Running = "running"
	Ready   = "ready"
	Failed  = "failed"
)

// MaxYears is how long a time one export may cover; records are kept for less.
const MaxYears = 10

// Row is one record on its way into an export.
type Row struct {
	application.Record
	CorrectsSeq    int64 // number of the record that it supersedes; 0: none
	CorrectedBySeq int64 // number of the record that supersedes it; 0: none
	Broken         bool  // its text does not give the hash it was sealed with
}

// Sink takes the bytes of an export; Finish makes it ready.
type Sink interface {
	io.Writer
	Finish(chainSeq int64, chainHash []byte, rows int64) error
}

// Store is what the use cases need of the database.
type Store interface {
	Company(ctx context.Context) (company.Settings, error)

	// ReadRecords reads the records of applications from the first to the last
	// day, both included, in the order of day and number, all in one snapshot:
	// begin is told the chain's head and how many records will come.
	ReadRecords(ctx context.Context, from, to civil.Date, begin func(head application.Head, total int64) error, each func(Row) error) error

	AskExport(ctx context.Context, f File) error
	Export(ctx context.Context, id uuid.UUID) (File, error)
	StartExport(ctx context.Context, id uuid.UUID, rows int64) (again bool, err error)
	OpenExport(ctx context.Context, id uuid.UUID) Sink
	FailExport(ctx context.Context, id uuid.UUID, why string) error
}

// Book is a workbook that is written: sheets that grow side by side. Open
// returns what adds a row; cells are string, bool, numbers, *float64,
// civil.Date, time.Time or nil. Abort drops what is unfinished and is safe
// after Close.
type Book interface {
	Open(name string, above, headers []string, widths []float64) (row func(cells ...any) error, err error)
	Close() error
	Abort()
}

// Table is a CSV file that is written; the cells are those of a Book.
type Table interface {
	Row(cells ...any) error
	Close() error
}

// Service makes exports. Real is the real clock.
type Service struct {
	Store    Store
	Rules    *recordrule.Set
	NewBook  func(out io.Writer) (Book, error)
	NewTable func(out io.Writer, header []string) (Table, error)
	Real     func() time.Time
}

// Summary is what went into a file.
type Summary struct {
	Head       application.Head // of the chain when the records were read
	Read       int64            // records of those days, whether the rule asks for them or not
	Listed     int64            // records in the file
	Superseded int64            // of these, with a later correction
	Gaps       int64            // elements missing
	Late       int64            // recorded after the rule's time
	Broken     int64            // whose text no longer gives its hash
}

// Ask keeps that the person wants the records that the rule asks for, from the
// first to the last day, both included, as xlsx or csv; a job makes the file.
//
// Faults: NotFound "rule"; Rule "incomplete-rule" or "no-record-rule" where the
// rule cannot judge records; Invalid "export" for days or a format that will not do.
func (s *Service) Ask(ctx context.Context, ruleID, format string, from, to civil.Date, by uuid.UUID) (File, error) {
	if _, err := s.versions(ruleID, from, to); err != nil {
		return File{}, err
	}
	if err := checkAsked(format, from, to); err != nil {
		return File{}, err
	}
	id, err := uuid.NewV7()
	if err != nil {
		return File{}, fmt.Errorf("make an id for the export: %w", err)
	}
	f := File{ID: id, Kind: ApplicationRecords, Format: format, RuleID: ruleID, From: from, To: to, State: Asked,
		FileName: FileName(ruleID, format, from, to), AskedBy: by, AskedAt: s.Real()}
	if err := s.Store.AskExport(ctx, f); err != nil {
		return File{}, err
	}
	return f, nil
}

// FileName is the name under which an export is saved.
func FileName(ruleID, format string, from, to civil.Date) string {
	return fmt.Sprintf("application-records-%s-%s-to-%s.%s", ruleID, from, to, format)
}

func checkAsked(format string, from, to civil.Date) error {
	bad := fault.New(fault.Invalid, "export", "the export cannot be made as asked")
	if format != XLSX && format != CSV {
		bad = bad.With("/format", "%q is no format of an export; choose xlsx or csv", format)
	}
	if detail, pointer := wrongDays(from, to); detail != "" {
		bad = bad.With(pointer, "%s", detail)
	}
	if len(bad.Fields) > 0 {
		return bad
	}
	return nil
}

func checkDays(from, to civil.Date) error {
	if detail, pointer := wrongDays(from, to); detail != "" {
		return fault.New(fault.Invalid, "export", "the records cannot be read for those days").With(pointer, "%s", detail)
	}
	return nil
}

func wrongDays(from, to civil.Date) (detail, pointer string) {
	switch {
	case from.IsZero():
		return "give the first day, as YYYY-MM-DD", "/from"
	case to.IsZero():
		return "give the last day, as YYYY-MM-DD", "/to"
	case to.Before(from):
		return fmt.Sprintf("the last day, %s, is before the first, %s; exchange them", to, from), "/to"
	case to.After(from.AddYears(MaxYears)):
		return fmt.Sprintf("%s to %s is over %d years; export it in parts", from, to, MaxYears), "/to"
	}
	return "", ""
}

// versions are the versions of a rule in force on any of the days, oldest first.
func (s *Service) versions(id string, from, to civil.Date) ([]recordrule.Rule, error) {
	latest, ok := s.Rules.FindByID(id)
	if !ok {
		return nil, fault.New(fault.NotFound, "rule", "there is no record rule %q; choose one of the list, such as us-md", id)
	}
	var list []recordrule.Rule
	for _, r := range s.Rules.Rules() {
		begun := r.EffectiveFrom.IsZero() || !r.EffectiveFrom.After(to)
		ended := !r.EffectiveTo.IsZero() && r.EffectiveTo.Before(from)
		if r.ID == id && begun && !ended {
			list = append(list, r)
		}
	}
	if len(list) == 0 { // nothing of it was in force: the file will say that no record falls under it
		list = append(list, latest)
	}
	for _, r := range list {
		if err := judgesRecords(r); err != nil {
			return nil, err
		}
	}
	return list, nil
}

func judgesRecords(r recordrule.Rule) error {
	if err := r.Judges(); err != nil {
		return err
	}
	if r.Kind != recordrule.RecordRule {
		return fault.New(fault.Rule, "no-record-rule",
			"%s (%s) asks for no record of an application; choose a record rule", r.ID, r.Jurisdiction)
	}
	return nil
}

// Write makes the export that was asked for and keeps it. Done before, it does
// nothing. progress may be nil; it hears how many of the records are read. A failure is kept with the export, in words, unless ctx
// was cancelled, as at a shutdown; the job may try again.
func (s *Service) Write(ctx context.Context, exportID uuid.UUID, progress func(done, total int64)) error {
	err := s.write(ctx, exportID, progress)
	if err == nil || errors.Is(ctx.Err(), context.Canceled) {
		return err
	}
	why := "the file could not be made; it will be tried again, or ask for it anew"
	if f := fault.As(err); f != nil {
		why = f.Error()
	}
	if kept := s.Store.FailExport(context.WithoutCancel(ctx), exportID, why); kept != nil {
		return fmt.Errorf("%w (and that could not be noted: %v)", err, kept)
	}
	return err
}

func (s *Service) write(ctx context.Context, id uuid.UUID, progress func(done, total int64)) error {
	f, err := s.Store.Export(ctx, id)
	if err != nil {
		return err
	}
	rules, err := s.versions(f.RuleID, f.From, f.To)
	if err != nil {
		return err
	}
	w, err := s.newWriter(ctx, rules, f.From, f.To)
	if err != nil {
		return err
	}
	ready := false
	w.started = func(total int64) error {
		again, err := s.Store.StartExport(ctx, id, total)
		if err == nil && !again {
			ready, err = true, errReady
		}
		return err
	}
	w.progress = progress
	sink := s.Store.OpenExport(ctx, id)
	err = w.write(ctx, f.Format, sink)
	if ready {
		return nil
	}
	if err != nil {
		return err
	}
	return sink.Finish(w.Head.Seq, w.Head.Hash[:], w.Read)
}

// errReady ends the reading of records for a file that is there already.
var errReady = errors.New("the export is ready already")

// WriteRule writes the workbook of a rule of the program to out; faults as Ask.
func (s *Service) WriteRule(ctx context.Context, ruleID string, from, to civil.Date, out io.Writer) (Summary, error) {
	if err := checkDays(from, to); err != nil {
		return Summary{}, err
	}
	rules, err := s.versions(ruleID, from, to)
	if err != nil {
		return Summary{}, err
	}
	return s.writeBook(ctx, rules, from, to, out)
}

// WriteFile writes the workbook of any rule, such as one that recordrule.Parse
// read from a file, to out; faults as Ask.
func (s *Service) WriteFile(ctx context.Context, rule recordrule.Rule, from, to civil.Date, out io.Writer) (Summary, error) {
	if err := checkDays(from, to); err != nil {
		return Summary{}, err
	}
	if err := judgesRecords(rule); err != nil {
		return Summary{}, err
	}
	return s.writeBook(ctx, []recordrule.Rule{rule}, from, to, out)
}

func (s *Service) writeBook(ctx context.Context, rules []recordrule.Rule, from, to civil.Date, out io.Writer) (Summary, error) {
	w, err := s.newWriter(ctx, rules, from, to)
	if err != nil {
		return Summary{}, err
	}
	err = w.write(ctx, XLSX, out)
	return w.Summary, err
}
