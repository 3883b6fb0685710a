package postgres

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jmoiron/sqlx"
	"github.com/lib/pq"

	"thirdcut/internal/application"
	"thirdcut/internal/fault"
	"thirdcut/internal/label"
	"thirdcut/internal/visit"
)

// CloseVisit keeps one report from the field with all that follows from it in
// one transaction: the report with its tasks and observations, the visit's
// state, the application records in the chain, what they take out of the shed,
// and the work for later. The visit's row is held while decide looks at the
// facts, so that of several reports of one visit each sees those before it.
//
// A report that is there already gives its first answer again. Faults: NotFound
// "visit"; Conflict "other-content" for an id that holds another content;
// Invalid "not-storable" for what no column takes; and those of decide.
func (db *DB) CloseVisit(ctx context.Context, c visit.Closing, decide func(visit.Facts) (visit.Decision, error)) (kept visit.Kept, err error) {
	err = db.inTx(ctx, func(tx *sqlx.Tx) error {
		v, err := lockVisit(ctx, tx, c.Entry.VisitID)
		if err != nil {
			return err
		}
		var found bool
		if kept, found, err = keptReport(ctx, tx, c.Entry.ID, c.Hash); found || err != nil {
			return err
		}
		facts, err := fieldFacts(ctx, tx, v, c, db.Real)
		if err != nil {
			return err
		}
		d, err := decide(facts)
		if err != nil {
			return err
		}
		kept = visit.Kept{Findings: orNone(d.Findings), Marks: orNone(d.Marks)}
		return keepReport(ctx, tx, v, c, d, db.Real())
	})
	return kept, storable(err)
}

// storable turns a value that the database cannot hold into a fault, so that
// sending it again does not go on forever.
func storable(err error) error {
	var e *pq.Error
	if fault.As(err) != nil || !errors.As(err, &e) {
		return err
	}
	if class := e.Code.Class(); class == "22" || class == "23" {
		return fault.New(fault.Invalid, "not-storable", "a value of the report fits no place where it belongs (%s%s); look at the entry and enter it by hand", e.Code.Name(), named(e.Constraint)).Because(err)
	}
	return err
}

func named(constraint string) string {
	if constraint == "" {
		return ""
	}
	return ", " + constraint
}

// keptReport answers a report that was kept before.
func keptReport(ctx context.Context, tx *sqlx.Tx, id uuid.UUID, hash [sha256.Size]byte) (kept visit.Kept, found bool, err error) {
	var r struct {
		ContentHash []byte                      `db:"content_hash"`
		Marks       pq.StringArray              `db:"marks"`
		Findings    jsonColumn[[]label.Finding] `db:"findings"`
	}
	err = tx.GetContext(ctx, &r, `select content_hash, marks, findings from close_out where id = $1`, id)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		return kept, false, nil
	case err != nil:
		return kept, false, fmt.Errorf("look for report: %w", err)
	case string(r.ContentHash) != string(hash[:]):
		return kept, false, fault.New(fault.Conflict, "other-content", "a report of that id is kept already and says something else; the office must look at both")
	}
	return visit.Kept{Already: true, Findings: orNone(r.Findings.V), Marks: orNone([]string(r.Marks))}, true, nil
}

var (
	taskReportBulk = newBulkTable("task_report", "close_out_id uuid", "turf_area_id uuid", "work text", "done boolean",
		"done_on date", "machine_id uuid", "height_set_in numeric", "clippings text", "note text")
	observationBulk = newBulkTable("observation", "id uuid", "close_out_id uuid", "turf_area_id uuid", "kind text",
		"value numeric", "unit text", "entered text", "seen_at timestamptz", "seen_on date", "person_id uuid")
)

func keepReport(ctx context.Context, tx *sqlx.Tx, v visit.Visit, c visit.Closing, d visit.Decision, received time.Time) error {
	for _, step := range []func() error{
		func() error { return insertCloseOut(ctx, tx, c, d, received) },
		func() error { return insertTaskReports(ctx, tx, c, d) },
		func() error { return insertReadings(ctx, tx, c, d) },
		func() error { return moveVisit(ctx, tx, v, d, received) },
		func() error { return askForWork(ctx, tx, v, d) },
		func() error { return leaveQuarantine(ctx, tx, c, received) },
		// The chain comes last: it is one row that every application waits for.
		func() error { return keepApplications(ctx, tx, d.Applications) },
	} {
		if err := step(); err != nil {
			return err
		}
	}
	return nil
}

func insertCloseOut(ctx context.Context, tx *sqlx.Tx, c visit.Closing, d visit.Decision, received time.Time) error {
	findings, err := asJSON(orNone(d.Findings))
	if err != nil {
		return err
	}
	e := c.Entry
	_, err = tx.ExecContext(ctx, `insert into close_out (id, visit_id, content_hash, content, outcome, reason, reported_by,
		started_at, finished_at, device_id, device_at, received_at, marks, findings)
		values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14)`,
		e.ID, e.VisitID, c.Hash[:], c.Content, e.Outcome, e.Reason, c.By, timeOrNull(e.StartedAt), e.FinishedAt,
		e.DeviceID, timeOrNull(e.DeviceAt), received, textArray(d.Marks), findings)
	if err != nil {
		return fmt.Errorf("keep report: %w", err)
	}
	return nil
}

func insertTaskReports(ctx context.Context, tx *sqlx.Tx, c visit.Closing, d visit.Decision) error {
	rows := make([][]any, len(d.Tasks))
	for i, t := range d.Tasks {
		rows[i] = []any{c.Entry.ID, t.TurfAreaID, string(t.Work), t.Done, t.On, orNull(t.MachineID), t.SetIn, t.Clippings, t.Note}
	}
	return taskReportBulk.insert(ctx, tx, rows)
}

func insertReadings(ctx context.Context, tx *sqlx.Tx, c visit.Closing, d visit.Decision) error {
	zone, err := companyZone(ctx, tx)
	if err != nil {
		return err
	}
	rows := make([][]any, len(d.Readings))
	for i, r := range d.Readings {
		rows[i] = []any{r.ID, c.Entry.ID, r.TurfAreaID, r.Kind, r.Value, r.Unit, r.Entered, c.Entry.FinishedAt,
			dayOf(c.Entry.FinishedAt, zone), c.By}
	}
	return observationBulk.insert(ctx, tx, rows)
}

// moveVisit sets where the visit stands, where the report changes that.
func moveVisit(ctx context.Context, tx *sqlx.Tx, v visit.Visit, d visit.Decision, at time.Time) error {
	if d.State == v.State && d.Reason == v.Reason {
		return nil
	}
	_, err := tx.ExecContext(ctx, `update visit set state = $2, reason = $3, version = version + 1, updated_at = $4 where id = $1`,
		v.ID, string(d.State), d.Reason, at)
	if err != nil {
		return fmt.Errorf("close visit: %w", err)
	}
	return nil
}

func askForWork(ctx context.Context, tx *sqlx.Tx, v visit.Visit, d visit.Decision) error {
	for _, area := range d.Learn {
		if err := addJob(ctx, tx, JobLearnGrowth, LearnGrowth{TurfAreaID: area}, time.Time{}); err != nil {
			return err
		}
	}
	return refreshWindows(ctx, tx, v.PropertyID)
}

func keepApplications(ctx context.Context, tx *sqlx.Tx, built []application.Built) error {
	for _, b := range built {
		rec := b.Record
		if err := appendRecord(ctx, tx, &rec); err != nil {
			return err
		}
		for _, m := range b.Moves {
			if err := insertMove(ctx, tx, m); err != nil {
				return err
			}
		}
	}
	return nil
}
