package postgres_test

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/xuri/excelize/v2"

	"thirdcut/internal/civil"
	"thirdcut/internal/export"
	"thirdcut/internal/fault"
	"thirdcut/internal/postgres"
	"thirdcut/internal/recordrule"
	"thirdcut/internal/turf"
	"thirdcut/internal/workbook"
)

func (h *house) exports() *export.Service {
	return &export.Service{Store: h.DB, Rules: recordrule.Standard(), Real: func() time.Time { return h.now },
		NewBook:  func(out io.Writer) (export.Book, error) { return workbook.New(out, h.t.TempDir()) },
		NewTable: func(out io.Writer, header []string) (export.Table, error) { return workbook.NewCSV(out, header) }}
}

var aprilOn, julyOn = civil.MustDate("2026-04-01"), civil.MustDate("2026-07-06")

// exportJob is the outbox row that asks for the export.
func (h *house) exportJob(id uuid.UUID) (row int64, done bool) {
	h.t.Helper()
	var payload string
	h.ok(h.QueryRowContext(h.ctx, `select id, payload, done_at is not null from job_outbox where kind = 'records:export' and payload ->> 'export_id' = $1`, id).
		Scan(&row, &payload, &done))
	var p postgres.WriteExport
	h.ok(json.Unmarshal([]byte(payload), &p))
	if p.ExportID != id {
		h.t.Fatalf("the job asks for %s, want %s", p.ExportID, id)
	}
	return row, done
}

func TestExportsOfRealRecords(t *testing.T) {
	f := newField(t)
	for i := range 3 {
		f.accepted(f.spray(f.report(f.visitFor(turf.Spray)), fmt.Sprintf("%d.5 fl oz", i+1)))
	}
	s := f.exports()
	asked, err := s.Ask(f.ctx, "us-md", export.XLSX, aprilOn, julyOn, f.person.ID)
	f.ok(err)
	job, _ := f.exportJob(asked.ID)
	f.ok(s.Write(postgres.WithJob(f.ctx, job), asked.ID, func(done, _ int64) { f.ok(f.ExportProgress(f.ctx, asked.ID, done)) }))
	if _, done := f.exportJob(asked.ID); !done {
		t.Error("the job is not done with its file")
	}

	head, err := f.ChainHead(f.ctx)
	f.ok(err)
	ready, err := f.Export(f.ctx, asked.ID)
	f.ok(err)
	var out bytes.Buffer
	f.ok(f.CopyExport(f.ctx, asked.ID, &out))
	sum := sha256.Sum256(out.Bytes())
	if ready.State != export.Ready || ready.SizeBytes != int64(out.Len()) || !bytes.Equal(ready.SHA256, sum[:]) || ready.RowsDone != 3 || ready.RowsTotal != 3 ||
		ready.ChainSeq != head.Seq || !bytes.Equal(ready.ChainHash, head.Hash[:]) || head.Seq != 3 {
		t.Errorf("the export is kept as %+v, %d bytes", ready, out.Len())
	}
	book, err := excelize.OpenReader(&out)
	f.ok(err)
	rows, err := book.GetRows("Application records")
	f.ok(err)
	text := fmt.Sprint(rows)
	for _, want := range []string{"record 3, SHA-256 " + hex.EncodeToString(head.Hash[:]), "1.5 fl oz", "2.5 fl oz", "3.5 fl oz", "1 Fern Way", "Bo Reed", "clover"} {
		if !strings.Contains(text, want) {
			t.Errorf("the workbook does not say %q", want)
		}
	}
	missing, err := book.GetRows("Missing")
	f.ok(err)
	if !strings.Contains(fmt.Sprint(missing), "COMAR 15.05.01.12.J") { // nobody told the equipment
		t.Errorf("the equipment is not missing: %v", missing)
	}
	var gaps bytes.Buffer
	n, err := s.WriteGaps(f.ctx, &gaps, []string{"us-md", "us-federal-7cfr110"}, aprilOn, julyOn)
	f.ok(err)
	if n == 0 || !strings.Contains(gaps.String(), "3,us-md,equipment,\r\n") || strings.Contains(gaps.String(), "7cfr110") {
		t.Errorf("%d gaps:\n%s", n, gaps.String())
	}

	// Done once, nothing is written again, whoever asks.
	if again, err := f.StartExport(f.ctx, asked.ID, 9); err != nil || again {
		t.Errorf("a ready export starts again: %v, %v", again, err)
	}
	f.ok(s.Write(f.ctx, asked.ID, nil))
	if after, err := f.Export(f.ctx, asked.ID); err != nil || !after.FinishedAt.Equal(ready.FinishedAt) || after.SizeBytes != ready.SizeBytes {
		t.Errorf("a ready export became %+v, %v", after, err)
	}
}

func TestExportsTellARecordThatWasChanged(t *testing.T) {
	f := newField(t)
	f.accepted(f.spray(f.report(f.visitFor(turf.Spray)), "1 fl oz"))
	// Only whoever may switch the guard off can do this.
	for _, q := range []string{`alter table application_record disable trigger application_record_append_only`,
		`update application_record set sealed_text = replace(sealed_text, '"1 fl oz"', '"9 fl oz"')`} {
		_, err := f.ExecContext(f.ctx, q)
		f.ok(err)
	}
	sum, err := f.exports().WriteRule(f.ctx, "us-md", aprilOn, julyOn, io.Discard)
	f.ok(err)
	if sum.Broken != 1 || sum.Listed != 1 {
		t.Errorf("a changed record passed: %+v", sum)
	}
}

func TestExportsFailInWordsAndTryAgain(t *testing.T) {
	h := newHouse(t)
	s := h.exports()
	asked, err := s.Ask(h.ctx, "us-md", export.CSV, aprilOn, julyOn, uuid.Nil)
	h.ok(err)
	table := s.NewTable
	s.NewTable = func(io.Writer, []string) (export.Table, error) { return nil, io.ErrClosedPipe }
	if err := s.Write(h.ctx, asked.ID, nil); err == nil {
		t.Error("a failure was kept back")
	}
	if f, err := h.Export(h.ctx, asked.ID); err != nil || f.State != export.Failed || strings.Contains(f.Problem, "pipe") || f.Problem == "" {
		t.Errorf("after a failure: %+v, %v", f, err)
	}
	s.NewTable = table
	h.ok(s.Write(h.ctx, asked.ID, nil))
	f, err := h.Export(h.ctx, asked.ID)
	h.ok(err)
	if f.State != export.Ready || f.Problem != "" || f.ChainSeq != 0 || f.SizeBytes == 0 {
		t.Errorf("at the second try: %+v", f)
	}
	h.refused(s.Write(h.ctx, uuid.New(), nil), fault.NotFound, "no-export")
	if list, err := h.Exports(h.ctx, 10); err != nil || len(list) != 1 || list[0].ID != asked.ID {
		t.Errorf("exports are %v, %v", list, err)
	}
}

// Two workers may hold one export when a lease ran out: one whole file comes of
// it, of the attempt that finishes first, or of the later one where that has
// dropped what the earlier had kept.
func TestTwoAttemptsMakeOneFile(t *testing.T) {
	h := newHouse(t)
	of := func(c string) []byte { return bytes.Repeat([]byte(c), 1300<<10) }
	begin := func() export.File {
		asked, err := h.exports().Ask(h.ctx, "us-md", export.CSV, aprilOn, julyOn, uuid.Nil)
		h.ok(err)
		return asked
	}
	open := func(f export.File, content []byte) export.Sink {
		s := h.OpenExport(h.ctx, f.ID)
		_, err := s.Write(content)
		h.ok(err)
		return s
	}
	holds := func(f export.File, content []byte) {
		t.Helper()
		var out bytes.Buffer
		h.ok(h.CopyExport(h.ctx, f.ID, &out))
		ready, err := h.Export(h.ctx, f.ID)
		h.ok(err)
		if sum := sha256.Sum256(content); !bytes.Equal(out.Bytes(), content) || !bytes.Equal(ready.SHA256, sum[:]) || ready.State != export.Ready {
			t.Errorf("%d bytes are kept (%s), want %d", out.Len(), ready.State, len(content))
		}
	}
	hash := make([]byte, 32)

	f := begin()
	first, second := open(f, of("a")), open(f, of("b"))
	h.ok(first.Finish(1, hash, 1))
	if _, err := second.Write(of("b")); err == nil {
		t.Error("a part came in after the file was ready")
	}
	h.ok(second.Finish(2, hash, 2))
	holds(f, of("a"))

	f = begin()
	first = open(f, of("a"))
	_, err := h.StartExport(h.ctx, f.ID, 0)
	h.ok(err)
	second = open(f, of("b"))
	if err := first.Finish(1, hash, 1); err == nil {
		t.Error("an attempt whose parts were dropped made a file")
	}
	h.ok(second.Finish(2, hash, 2))
	holds(f, of("b"))
}
