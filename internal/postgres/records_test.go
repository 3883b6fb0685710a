package postgres_test

import (
	"fmt"
	"strings"
	"testing"

	"github.com/google/uuid"

	"thirdcut/internal/application"
	"thirdcut/internal/civil"
	"thirdcut/internal/fault"
	"thirdcut/internal/label"
	"thirdcut/internal/postgres"
	"thirdcut/internal/turf"
)

// sprayed makes so many records and returns their ids in the order of the chain.
func (f *field) sprayed(n int) []uuid.UUID {
	f.t.Helper()
	var ids []uuid.UUID
	for range n {
		e := f.spray(f.report(f.visitFor(turf.Spray)), "1 fl oz")
		f.accepted(e)
		ids = append(ids, e.Applications[0].ID)
	}
	return ids
}

// tamper changes what no one may: the triggers are off while it runs.
func (f *field) tamper(statement string, args ...any) {
	f.t.Helper()
	for _, s := range []string{`alter table application_record disable trigger user`, `alter table application_line disable trigger user`} {
		_, err := f.ExecContext(f.ctx, s)
		f.ok(err)
	}
	r, err := f.ExecContext(f.ctx, statement, args...)
	f.ok(err)
	if n, _ := r.RowsAffected(); n == 0 {
		f.t.Fatalf("%s changed nothing", statement)
	}
}

func TestTamperingIsFoundAndNamed(t *testing.T) {
	cases := []struct {
		name, statement string
		want            []string // in the first problem
	}{
		{"column", `update application_record set county = 'Kent' where seq = 3`, []string{"record 3 (", "county", "Kent", "Carroll"}},
		{"findings column", `update application_record set findings = '[{"code": "x"}]' where seq = 2`, []string{"record 2 (", "findings"}},
		{"time column", `update application_record set finished_at = finished_at + interval '1 hour' where seq = 2`, []string{"record 2 (", "finished_at"}},
		{"text", `update application_record set sealed_text = replace(sealed_text, 'clover', 'moss!!') where seq = 4`, []string{"record 4 (", "text was altered"}},
		{"line amount", `update application_line set amount = amount * 2 where record_id = (select id from application_record where seq = 2)`, []string{"record 2 (", "Front", "0.05914706 L"}},
		{"line gone", `delete from application_line where record_id = (select id from application_record where seq = 5)`, []string{"record 5 (", "0 lines"}},
		{"text and its hash", `update application_record set sealed_text = replace(sealed_text, 'clover', 'moss!!'),
			hash = sha256(prev_hash || convert_to(replace(sealed_text, 'clover', 'moss!!'), 'UTF8')) where seq = 2`, []string{"record 3 (", "chained to another record"}},
		{"middle", `with gone as (delete from application_line where record_id = (select id from application_record where seq = 3)),
			moves as (update stock_move set record_id = null) delete from application_record where seq = 3`, []string{"record 4 (", "record 3 is missing"}},
		{"tail", `with gone as (delete from application_line where record_id in (select id from application_record where seq > 3)),
			moves as (update stock_move set record_id = null) delete from application_record where seq > 3`, []string{"record 4 to 5 is missing at the end"}},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			f := newField(t)
			f.sprayed(5)
			if v, err := f.VerifyRecords(f.ctx, nil); err != nil || !v.OK() || v.Records != 5 || v.Head.Seq != 5 {
				t.Fatalf("before: %+v, %v", v, err)
			}
			f.tamper(c.statement)
			v, err := f.VerifyRecords(f.ctx, nil)
			f.ok(err)
			if v.OK() {
				t.Fatal("nothing was found")
			}
			for _, w := range c.want {
				if !strings.Contains(v.Problems[0], w) {
					t.Errorf("the first problem says %q, not %q", v.Problems[0], w)
				}
			}
		})
	}
}

func TestACutTailIsFoundByAPrintedHead(t *testing.T) {
	f := newField(t)
	f.sprayed(3)
	printed, err := f.StreamRecords(f.ctx, civil.Date{}, civil.Date{}, func(application.Sealed) error { return nil })
	f.ok(err)
	f.sprayed(1)
	if v, err := f.VerifyRecords(f.ctx, &printed); err != nil || !v.OK() {
		t.Fatalf("grown since: %+v, %v", v, err)
	}
	f.tamper(`with gone as (delete from application_line where record_id in (select id from application_record where seq > 2)),
		moves as (update stock_move set record_id = null) delete from application_record where seq > 2`)
	_, err = f.ExecContext(f.ctx, `update application_chain set (seq, hash) = (select seq, hash from application_record where seq = 2)`)
	f.ok(err)
	if v, err := f.VerifyRecords(f.ctx, nil); err != nil || !v.OK() {
		t.Fatalf("without the printed head: %+v, %v", v, err)
	}
	v, err := f.VerifyRecords(f.ctx, &printed)
	f.ok(err)
	if v.OK() || !strings.Contains(v.Problems[0], "record 3 is missing: a printed export ends at 3") {
		t.Errorf("problems %q", v.Problems)
	}
	other := printed
	other.Seq, other.Hash[0] = 2, other.Hash[0]^1
	if v, err = f.VerifyRecords(f.ctx, &other); err != nil || v.OK() || !strings.Contains(v.Problems[0], "record 2 (") {
		t.Errorf("another hash: %+v, %v", v, err)
	}
}

func TestRecordsAreNeverChanged(t *testing.T) {
	f := newField(t)
	f.sprayed(1)
	for _, s := range []string{`update application_record set county = ''`, `delete from application_record`, `truncate application_record cascade`,
		`update application_line set amount = 9`, `delete from application_line`, `update close_out set reason = 'x'`} {
		if _, err := f.ExecContext(f.ctx, s); err == nil {
			t.Errorf("%s was let through", s)
		}
	}
}

func TestCorrectionsSupersede(t *testing.T) {
	f := newField(t)
	id := f.sprayed(1)[0]
	twice := func(r *application.Record) error {
		a, err := label.ParseAmount("2 fl oz", label.LiquidForm)
		r.Lines[0].Amount = application.Amount{Entered: a.Entered, Value: a.Volume.Litres(), Unit: "L"}
		r.Target = "plantain"
		return err
	}
	_, err := f.CorrectRecord(f.ctx, id, twice, "  ", f.person.ID)
	f.refused(err, fault.Invalid, "correction-reason")
	s, err := f.CorrectRecord(f.ctx, id, twice, "wrong jug", f.person.ID)
	f.ok(err)
	if s.Seq != 2 || s.SupersedesID != id || s.Correction != "wrong jug" || s.CorrectedBy.Name != f.person.Name || s.Total.Entered != "2 fl oz" ||
		s.Rate != "0.4 fl oz/1000 sq ft" || s.ID == id {
		t.Errorf("correction %+v", s.Record)
	}
	_, err = f.CorrectRecord(f.ctx, id, twice, "again", f.person.ID)
	f.refused(err, fault.Conflict, "already-corrected")
	old, err := f.Record(f.ctx, id)
	f.ok(err)
	if old.SupersededBy != s.ID || old.Target != "clover" || old.Total.Entered != "1 fl oz" {
		t.Errorf("the old record %+v", old)
	}
	lots, err := f.Lots(f.ctx, f.product.ID)
	f.ok(err)
	if left, want := lots[0].Left, 1-2*0.0295735295625; left < want-1e-6 || left > want+1e-6 {
		t.Errorf("%v L left, want %v", left, want)
	}
	_, err = f.CorrectRecord(f.ctx, s.ID, func(r *application.Record) error { r.Lots = nil; return nil }, "other lot", f.person.ID)
	f.ok(err)
	if lots, _ = f.Lots(f.ctx, f.product.ID); lots[0].Left < 1-1e-6 || lots[0].Left > 1+1e-6 {
		t.Errorf("%v L left after the lot was taken out of the record", lots[0].Left)
	}
	if v, err := f.VerifyRecords(f.ctx, nil); err != nil || !v.OK() || v.Records != 3 {
		t.Errorf("the chain: %+v, %v", v, err)
	}
	if n, err := f.CountRecords(f.ctx, civil.MustDate("2026-06-02"), civil.MustDate("2026-06-02")); err != nil || n != 1 {
		t.Errorf("%d records stand, %v", n, err)
	}
	_, err = f.Record(f.ctx, uuid.New())
	f.refused(err, fault.NotFound, "record")
	_, err = f.CorrectRecord(f.ctx, s.ID, func(r *application.Record) error { r.Lines = nil; return nil }, "none", f.person.ID)
	f.refused(err, fault.Conflict, "already-corrected")
}

func TestRecordPagesAndStreams(t *testing.T) {
	f := newField(t)
	ids := f.sprayed(7)
	_, err := f.CorrectRecord(f.ctx, ids[2], func(r *application.Record) error { r.Note = "n"; return nil }, "note", f.person.ID)
	f.ok(err)
	walk := func(q postgres.RecordQuery) (seqs []int64) {
		for {
			page, err := f.RecordsPage(f.ctx, q)
			f.ok(err)
			for _, s := range page.Items {
				seqs = append(seqs, s.Seq)
			}
			if q.After = page.Next; q.After == "" {
				return seqs
			}
		}
	}
	for want, q := range map[string]postgres.RecordQuery{
		"[1 2 4 5 6 7 8]":   {PageQuery: postgres.PageQuery{Limit: 3}},
		"[1 2 3 4 5 6 7 8]": {PageQuery: postgres.PageQuery{Limit: 3}, Superseded: true, PropertyID: f.property.ID, CrewIDs: []uuid.UUID{f.crew.ID}},
		"[]":                {CrewIDs: []uuid.UUID{}},
	} {
		if got := fmt.Sprint(walk(q)); got != want {
			t.Errorf("pages give %s, want %s", got, want)
		}
	}
	if got := walk(postgres.RecordQuery{From: civil.MustDate("2026-06-03")}); len(got) != 0 {
		t.Errorf("from the day after: %v", got)
	}
	var seqs []int64
	head, err := f.StreamRecords(f.ctx, civil.MustDate("2026-06-02"), civil.Date{}, func(s application.Sealed) error {
		if len(seqs) == 0 {
			f.sprayed(1) // comes in meanwhile and is not in the snapshot
		}
		seqs = append(seqs, s.Seq)
		return nil
	})
	f.ok(err)
	if fmt.Sprint(seqs) != "[1 2 4 5 6 7 8]" || head.Seq != 8 {
		t.Errorf("streamed %v, head %d", seqs, head.Seq)
	}
}
