package postgres

import (
	"context"
	"fmt"
	"reflect"

	"github.com/google/uuid"
	"github.com/jmoiron/sqlx"

	"thirdcut/internal/fault"
	"thirdcut/internal/schedule"
	"thirdcut/internal/visit"
)

// MoveVisit locks the visit with its day and the day it goes to, hands arrange
// the visits that stand there in order, and writes what it returns: every visit
// that changed and both route sheets become new versions.
//
// Faults: NotFound "visit", Stale "stale", Conflict "visit-ended".
func (db *DB) MoveVisit(ctx context.Context, id uuid.UUID, version int, to schedule.Place,
	arrange func(moved visit.Visit, from, into []visit.Visit) (schedule.Arranged, error)) (v visit.Visit, err error) {
	err = db.inTx(ctx, func(tx *sqlx.Tx) error {
		if err := holdPlan(ctx, tx); err != nil {
			return err
		}
		if v, err = lockVisit(ctx, tx, id); err != nil {
			return err
		}
		if v.Version != version {
			return fault.New(fault.Stale, "stale", "the visit was changed in between; look at it again")
		}
		if v.State != visit.Planned && v.State != visit.Out {
			return fault.New(fault.Conflict, "visit-ended", "the visit is %s and cannot be moved; place a new one", v.State)
		}
		from, err := lockDay(ctx, tx, schedule.Place{CrewID: v.CrewID, Date: v.Date})
		if err != nil {
			return err
		}
		into := from
		if v.CrewID != to.CrewID || v.Date != to.Date {
			if into, err = lockDay(ctx, tx, to); err != nil {
				return err
			}
		}
		before := map[uuid.UUID]visit.Visit{v.ID: v}
		for _, w := range append(append([]visit.Visit{}, from...), into...) {
			before[w.ID] = w
		}
		a, err := arrange(v, from, into)
		if err != nil {
			return err
		}
		if err := db.saveArranged(ctx, tx, before, a); err != nil {
			return err
		}
		v, err = visitByID(ctx, tx, id)
		return err
	})
	return v, err
}

// holdPlan lets one hand at a time change which visits stand on which day.
func holdPlan(ctx context.Context, tx *sqlx.Tx) error {
	if _, err := tx.ExecContext(ctx, `select pg_advisory_xact_lock(hashtext('accept plan'))`); err != nil {
		return fmt.Errorf("wait for another plan: %w", err)
	}
	return nil
}

func lockDay(ctx context.Context, tx *sqlx.Tx, p schedule.Place) ([]visit.Visit, error) {
	return visitsWhere(ctx, tx, `where crew_id = $1 and date = $2 and state <> 'withdrawn' order by position, id for update`, p.CrewID, p.Date)
}

func (db *DB) saveArranged(ctx context.Context, tx *sqlx.Tx, before map[uuid.UUID]visit.Visit, a schedule.Arranged) error {
	for _, v := range a.Visits {
		was, ok := before[v.ID]
		if !ok || reflect.DeepEqual(was, v) {
			continue
		}
		_, err := tx.ExecContext(ctx, `update visit set crew_id = $2, date = $3, state = $4, position = $5, arrive_minute = $6, leave_minute = $7,
			driving_minutes = $8, pinned = $9, version = version + 1, updated_at = $10 where id = $1`,
			v.ID, v.CrewID, v.Date, string(v.State), v.Position, int(v.Arrive), int(v.Leave), v.DrivingMinutes, v.Pinned, db.Real())
		if err != nil {
			return fmt.Errorf("move visit %s: %w", v.ID, err)
		}
		if err := saveFindings(ctx, tx, was, v); err != nil {
			return err
		}
	}
	for _, s := range a.Sheets {
		_, err := tx.ExecContext(ctx, `
			insert into route_sheet (crew_id, date, driving_minutes, working_minutes, start_minute, end_minute) values ($1, $2, $3, $4, $5, $6)
			on conflict (crew_id, date) do update set version = route_sheet.version + 1, driving_minutes = excluded.driving_minutes,
				working_minutes = excluded.working_minutes, start_minute = excluded.start_minute, end_minute = excluded.end_minute`,
			s.CrewID, s.Date, s.DrivingMinutes, s.WorkingMinutes, int(s.Start), int(s.End))
		if err != nil {
			return fmt.Errorf("keep the route sheet of %s: %w", s.Date, err)
		}
	}
	return nil
}

// saveFindings writes what the labels say of the tasks on their new day.
func saveFindings(ctx context.Context, tx *sqlx.Tx, was, is visit.Visit) error {
	for i, t := range is.Tasks {
		if reflect.DeepEqual(was.Tasks[i].Findings, t.Findings) {
			continue
		}
		findings, err := asJSON(orNone(t.Findings))
		if err != nil {
			return err
		}
		if _, err := tx.ExecContext(ctx, `update visit_task set findings = $2 where id = $1`, t.ID, findings); err != nil {
			return fmt.Errorf("keep what the label says of task %s: %w", t.ID, err)
		}
	}
	return nil
}

// renumber gives the stops of each crew's day of the plan their numbers by
// time: what a plan goes round keeps its time, and what comes before it may be
// more or less than there was.
func renumber(ctx context.Context, tx *sqlx.Tx, p schedule.Proposal) error {
	_, err := tx.ExecContext(ctx, `
		update visit v set position = r.n, version = v.version + 1
		from (select id, row_number() over (partition by crew_id, date order by arrive_minute, position, id) as n
			from visit where date between $1 and $2 and state <> 'withdrawn') r
		where r.id = v.id and v.position <> r.n`, p.From, p.To)
	if err != nil {
		return fmt.Errorf("number the stops: %w", err)
	}
	return nil
}
