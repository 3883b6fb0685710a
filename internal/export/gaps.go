package export

import (
	"context"
	"io"
	"slices"
	"time"

	"thirdcut/internal/application"
	"thirdcut/internal/civil"
	"thirdcut/internal/fault"
	"thirdcut/internal/recordrule"
)

// WriteGaps writes what the records of the days lack under any of the rules, as
// CSV: record (its number), rule, element (its id) and due_by, a day, or day
// and time in the record's zone where the rule counts hours, empty where it
// sets no time. Corrected records are passed over, their corrections count. It
// returns how many gaps there are; faults as Ask, but a rule that asks for no
// record (signs and fertiliser only) simply finds none.
func (s *Service) WriteGaps(ctx context.Context, out io.Writer, ruleIDs []string, from, to civil.Date) (gaps int64, err error) {
	if err := checkDays(from, to); err != nil {
		return 0, err
	}
	var judges []*writer
	for _, id := range slices.Compact(slices.Sorted(slices.Values(ruleIDs))) {
		rules, err := s.versions(id, from, to)
		if err != nil && !fault.HasCode(err, "no-record-rule") {
			return 0, err
		}
		if err != nil {
			continue
		}
		w, err := s.newWriter(ctx, rules, from, to)
		if err != nil {
			return 0, err
		}
		judges = append(judges, w)
	}
	t, err := s.NewTable(out, []string{"record", "rule", "element", "due_by"})
	if err != nil {
		return 0, err
	}
	err = readDays(ctx, s.Store, from, to, func(application.Head, int64) error { return nil }, func(r Row) error {
		if r.CorrectedBySeq != 0 {
			return nil
		}
		judged := r.Judged()
		for _, w := range judges {
			n, err := w.gapRows(t, r, judged)
			if err != nil {
				return err
			}
			gaps += n
		}
		return nil
	})
	if err != nil {
		return gaps, err
	}
	return gaps, t.Close()
}

func (w *writer) gapRows(t Table, r Row, judged recordrule.Record) (n int64, err error) {
	zone, err := w.zones.of(r.Record)
	if err != nil {
		return 0, err
	}
	rule := w.rule(r.AppliedOn)
	gaps, _, err := recordrule.Gaps(rule, judged, w.when(r.Record, zone))
	if err != nil {
		return 0, err
	}
	for _, g := range gaps {
		if err := t.Row(r.Seq, g.Rule, g.Element, dueBy(rule, g, zone)); err != nil {
			return n, err
		}
		n++
	}
	return n, nil
}

func dueBy(r recordrule.Rule, g recordrule.Gap, zone *time.Location) any {
	if g.Due.IsZero() {
		return nil
	}
	return wantedBy(r, g, zone)
}
