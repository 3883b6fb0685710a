package postgres

import (
	"bytes"
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"strconv"
	"time"

	"github.com/google/uuid"
	"github.com/jmoiron/sqlx"

	"thirdcut/internal/application"
	"thirdcut/internal/civil"
)

// mostProblems is how many problems a check lists before it stops reading.
const mostProblems = 20

// verifyColumns is every column of a record, with its lines as one document.
const verifyColumns = `r.id, r.seq, r.close_out_id, r.visit_id, r.property_id, r.product_id, r.supersedes_id, r.applied_on,
	r.started_at, r.finished_at, r.product_name, r.epa_reg_no, r.pesticide, r.restricted_use, r.state, r.county, r.applicator_id,
	r.findings, r.recorded_at, r.sealed_text, r.prev_hash, r.hash,
	coalesce((select jsonb_agg(jsonb_build_object('area', l.turf_area_id, 'product', l.product_id, 'on', l.applied_on,
		'sqft', l.area_treated_sqft::text, 'amount', l.amount::text, 'unit', l.amount_unit)) from application_line l
		where l.record_id = r.id), '[]') as lines`

type verifyRow struct {
	ID            uuid.UUID     `db:"id"`
	Seq           int64         `db:"seq"`
	CloseOutID    uuid.NullUUID `db:"close_out_id"`
	VisitID       uuid.NullUUID `db:"visit_id"`
	PropertyID    uuid.UUID     `db:"property_id"`
	ProductID     uuid.UUID     `db:"product_id"`
	SupersedesID  uuid.NullUUID `db:"supersedes_id"`
	AppliedOn     civil.Date    `db:"applied_on"`
	StartedAt     sql.NullTime  `db:"started_at"`
	FinishedAt    sql.NullTime  `db:"finished_at"`
	ProductName   string        `db:"product_name"`
	EPARegNo      string        `db:"epa_reg_no"`
	Pesticide     bool          `db:"pesticide"`
	RestrictedUse bool          `db:"restricted_use"`
	State         string        `db:"state"`
	County        string        `db:"county"`
	ApplicatorID  uuid.UUID     `db:"applicator_id"`
	Findings      []byte        `db:"findings"`
	RecordedAt    time.Time     `db:"recorded_at"`
	SealedText    string        `db:"sealed_text"`
	PrevHash      []byte        `db:"prev_hash"`
	Hash          []byte        `db:"hash"`
	Lines         []byte        `db:"lines"`
}

type verifyLine struct {
	Area    uuid.UUID  `json:"area"`
	Product uuid.UUID  `json:"product"`
	On      civil.Date `json:"on"`
	SqFt    string     `json:"sqft"`
	Amount  string     `json:"amount"`
	Unit    string     `json:"unit"`
}

// VerifyRecords reads every record in the order of the chain and says whether
// each is as it was written: its hash fits its text and the record before, its
// columns and lines fit its text, no number is missing, and the chain ends
// where the database and, where one is given, a printed head say. The first
// problem names the first record that differs; after 20 it stops.
func (db *DB) VerifyRecords(ctx context.Context, printed *application.Head) (v application.Verified, err error) {
	err = db.inSnapshot(ctx, func(q sqlx.ExtContext) error {
		kept, err := readChain(ctx, q, "")
		if err != nil {
			return err
		}
		c := chainCheck{out: &v, printed: printed}
		if err := c.read(ctx, q); err != nil {
			return err
		}
		c.end(kept)
		return nil
	})
	return v, err
}

type chainCheck struct {
	out     *application.Verified
	printed *application.Head
	last    application.Head
	stopped bool
}

func (c *chainCheck) read(ctx context.Context, q sqlx.QueryerContext) error {
	rows, err := q.QueryxContext(ctx, `select `+verifyColumns+` from application_record r order by r.seq`)
	if err != nil {
		return fmt.Errorf("read the record chain: %w", err)
	}
	defer rows.Close()
	for rows.Next() && !c.stopped {
		var r verifyRow
		if err := rows.StructScan(&r); err != nil {
			return fmt.Errorf("read the record chain: %w", err)
		}
		c.record(r)
	}
	return rows.Err()
}

func (c *chainCheck) say(format string, args ...any) {
	c.out.Problems = append(c.out.Problems, fmt.Sprintf(format, args...))
	c.stopped = len(c.out.Problems) >= mostProblems
}

func (c *chainCheck) record(r verifyRow) {
	c.out.Records++
	name := fmt.Sprintf("record %d (%s)", r.Seq, r.ID)
	if r.Seq != c.last.Seq+1 {
		c.say("%s: record %s is missing before it", name, span(c.last.Seq+1, r.Seq-1))
	} else if !bytes.Equal(r.PrevHash, c.last.Hash[:]) {
		c.say("%s: it was chained to another record than the one before it now, or one of the two was altered", name)
	}
	var prev, hash application.Hash
	copy(prev[:], r.PrevHash)
	copy(hash[:], r.Hash)
	if application.Chain(prev, r.SealedText) != hash {
		c.say("%s: its text was altered; it no longer gives the hash under which it was sealed", name)
	}
	if rec, err := application.Unseal(r.SealedText); err != nil {
		c.say("%s: its text can no longer be read as a record", name)
	} else {
		c.columns(name, r, rec)
		c.lines(name, r, rec)
	}
	if p := c.printed; p != nil && p.Seq == r.Seq && p.Hash != hash {
		c.say("%s: its hash is %s, the printed one is %s; the chain up to here was written anew", name, hash, p.Hash)
	}
	c.last = application.Head{Seq: r.Seq, Hash: hash}
}

// span writes one number or the first and last of several.
func span(from, to int64) string {
	if from >= to {
		return strconv.FormatInt(from, 10)
	}
	return fmt.Sprintf("%d to %d", from, to)
}

// columns compares what the search reads with what was sealed.
func (c *chainCheck) columns(name string, r verifyRow, rec application.Record) {
	findings := "[]"
	if b, err := asJSON(orNone(rec.Findings)); err == nil {
		findings = sameJSON([]byte(b))
	}
	for _, col := range []struct{ name, column, sealed string }{
		{"id", r.ID.String(), rec.ID.String()},
		{"seq", fmt.Sprint(r.Seq), fmt.Sprint(rec.Seq)},
		{"close_out_id", r.CloseOutID.UUID.String(), rec.CloseOutID.String()},
		{"visit_id", r.VisitID.UUID.String(), rec.VisitID.String()},
		{"property_id", r.PropertyID.String(), rec.PropertyID.String()},
		{"product_id", r.ProductID.String(), rec.ProductID.String()},
		{"supersedes_id", r.SupersedesID.UUID.String(), rec.SupersedesID.String()},
		{"applied_on", r.AppliedOn.String(), rec.AppliedOn.String()},
		{"started_at", moment(r.StartedAt.Time), moment(rec.StartedAt)},
		{"finished_at", moment(r.FinishedAt.Time), moment(rec.FinishedAt)},
		{"product_name", r.ProductName, rec.ProductName},
		{"epa_reg_no", r.EPARegNo, rec.EPARegNo},
		{"pesticide", fmt.Sprint(r.Pesticide), fmt.Sprint(rec.Pesticide)},
		{"restricted_use", fmt.Sprint(r.RestrictedUse), fmt.Sprint(rec.RestrictedUse)},
		{"state", r.State, rec.State},
		{"county", r.County, rec.County},
		{"applicator_id", r.ApplicatorID.String(), rec.Applicator.PersonID.String()},
		{"findings", sameJSON(r.Findings), findings},
		{"recorded_at", moment(r.RecordedAt), moment(rec.RecordedAt)},
	} {
		if col.column != col.sealed {
			c.say("%s: column %s says %q, the sealed text %q", name, col.name, col.column, col.sealed)
		}
	}
}

func moment(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.UTC().Format(time.RFC3339Nano)
}

func sameJSON(b []byte) string {
	canonical, err := application.Canonical(b)
	if err != nil {
		return string(b)
	}
	return string(canonical)
}

func (c *chainCheck) lines(name string, r verifyRow, rec application.Record) {
	var lines []verifyLine
	if err := json.Unmarshal(r.Lines, &lines); err != nil {
		c.say("%s: its lines cannot be read", name)
		return
	}
	by := map[uuid.UUID]verifyLine{}
	for _, l := range lines {
		by[l.Area] = l
	}
	if len(by) != len(rec.Lines) {
		c.say("%s: it has %d lines, the sealed text %d", name, len(by), len(rec.Lines))
	}
	for _, l := range rec.Lines {
		have, ok := by[l.TurfAreaID]
		want := verifyLine{l.TurfAreaID, rec.ProductID, rec.AppliedOn, numeral(l.AreaTreated.Value), numeral(l.Amount.Value), l.Amount.Unit}
		if !ok {
			c.say("%s: its line of turf area %s (%s) is gone", name, l.TurfAreaID, l.Name)
			continue
		}
		have.SqFt, have.Amount = reread(have.SqFt), reread(have.Amount)
		if have != want {
			c.say("%s: its line of turf area %s (%s) says %s sq ft, %s %s on %s, the sealed text %s sq ft, %s %s on %s", name,
				l.TurfAreaID, l.Name, have.SqFt, have.Amount, have.Unit, have.On, want.SqFt, want.Amount, want.Unit, want.On)
		}
	}
}

func numeral(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }

// reread writes a numeric of the database as the same number in Go.
func reread(s string) string {
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		return s
	}
	return numeral(v)
}

// end compares where the chain ends.
func (c *chainCheck) end(kept application.Head) {
	c.out.Head = c.last
	if c.stopped {
		return
	}
	switch {
	case kept.Seq > c.last.Seq:
		c.say("record %s is missing at the end of the chain", span(c.last.Seq+1, kept.Seq))
	case kept != c.last:
		c.say("record %d: it is not where the chain is said to end (%d, %s)", c.last.Seq, kept.Seq, kept.Hash)
	}
	if p := c.printed; p != nil && p.Seq > c.last.Seq {
		c.say("record %s is missing: a printed export ends at %d, %s", span(c.last.Seq+1, p.Seq), p.Seq, p.Hash)
	}
}
