package postgres

import (
	"context"
	"database/sql"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jmoiron/sqlx"

	"thirdcut/internal/civil"
	"thirdcut/internal/fault"
	"thirdcut/internal/schedule"
	"thirdcut/internal/visit"
)

const proposalColumns = `id, from_date, to_date, state, asked_by, asked_at, computed_at, basis, document, problem, version, decided_by, decided_at`

type proposalRow struct {
	ID         uuid.UUID                     `db:"id"`
	From       civil.Date                    `db:"from_date"`
	To         civil.Date                    `db:"to_date"`
	State      string                        `db:"state"`
	AskedBy    uuid.NullUUID                 `db:"asked_by"`
	AskedAt    time.Time                     `db:"asked_at"`
	ComputedAt sql.NullTime                  `db:"computed_at"`
	Basis      string                        `db:"basis"`
	Document   jsonColumn[schedule.Document] `db:"document"`
	Problem    string                        `db:"problem"`
	Version    int                           `db:"version"`
	DecidedBy  uuid.NullUUID                 `db:"decided_by"`
	DecidedAt  sql.NullTime                  `db:"decided_at"`
}

func (r proposalRow) proposal() schedule.Proposal {
	return schedule.Proposal{ID: r.ID, From: r.From, To: r.To, State: schedule.ProposalState(r.State), AskedBy: r.AskedBy.UUID, AskedAt: r.AskedAt,
		ComputedAt: r.ComputedAt.Time, Basis: r.Basis, Plan: r.Document.V, Problem: r.Problem, Version: r.Version, DecidedBy: r.DecidedBy.UUID, DecidedAt: r.DecidedAt.Time}
}

// AskPlan keeps the question and the job that will answer it.
func (db *DB) AskPlan(ctx context.Context, p schedule.Proposal) error {
	return db.inTx(ctx, func(tx *sqlx.Tx) error {
		_, err := tx.ExecContext(ctx, `insert into proposal (id, from_date, to_date, state, asked_by, asked_at) values ($1, $2, $3, 'asked', $4, $5)`,
			p.ID, p.From, p.To, orNull(p.AskedBy), p.AskedAt)
		if err != nil {
			return fmt.Errorf("ask for plan %s: %w", p.ID, err)
		}
		return addJob(ctx, tx, JobComputePlan, ComputePlan{p.ID}, time.Time{})
	})
}

// Proposal returns one proposal; fault.NotFound "proposal".
func (db *DB) Proposal(ctx context.Context, id uuid.UUID) (schedule.Proposal, error) {
	return proposalByID(ctx, db.DB, id, "")
}

func proposalByID(ctx context.Context, q sqlx.ExtContext, id uuid.UUID, lock string) (schedule.Proposal, error) {
	var r proposalRow
	err := sqlx.GetContext(ctx, q, &r, `select `+proposalColumns+` from proposal where id = $1 `+lock, id)
	if err == sql.ErrNoRows {
		return schedule.Proposal{}, noSuch("proposal", id)
	}
	if err != nil {
		return schedule.Proposal{}, fmt.Errorf("read proposal %s: %w", id, err)
	}
	return r.proposal(), nil
}

// ProposalLine is a proposal in a list: its figures without its visits.
type ProposalLine struct {
	ID       uuid.UUID              `db:"id"`
	From     civil.Date             `db:"from_date"`
	To       civil.Date             `db:"to_date"`
	State    schedule.ProposalState `db:"state"`
	AskedAt  time.Time              `db:"asked_at"`
	Visits   int                    `db:"visits"`
	Unplaced int                    `db:"unplaced"`
	Driving  float64                `db:"driving"`
	Version  int                    `db:"version"`
}

// ProposalLines lists the latest proposals, newest first.
func (db *DB) ProposalLines(ctx context.Context, limit int) ([]ProposalLine, error) {
	var list []ProposalLine
	err := db.SelectContext(ctx, &list, `
		select id, from_date, to_date, state, asked_at, version,
			coalesce(jsonb_array_length(case jsonb_typeof(document -> 'visits') when 'array' then document -> 'visits' end), 0) as visits,
			coalesce(jsonb_array_length(case jsonb_typeof(document -> 'unplaced') when 'array' then document -> 'unplaced' end), 0) as unplaced,
			coalesce((document ->> 'driving_minutes')::float8, 0) as driving
		from proposal order by asked_at desc, id desc limit $1`, pageLimit(limit))
	if err != nil {
		return nil, fmt.Errorf("read proposals: %w", err)
	}
	return list, nil
}

// StartPlan marks the proposal as being made; false when it is made or decided
// already. One that failed is made again: whoever calls was asked to try.
func (db *DB) StartPlan(ctx context.Context, id uuid.UUID) (again bool, err error) {
	err = db.inTx(ctx, func(tx *sqlx.Tx) error {
		p, err := proposalByID(ctx, tx, id, "for update")
		if err != nil {
			return err
		}
		if again = p.State == schedule.Asked || p.State == schedule.Computing || p.State == schedule.Failed; !again {
			return finishJob(ctx, tx)
		}
		_, err = tx.ExecContext(ctx, `update proposal set state = 'computing', problem = '' where id = $1`, id)
		return err
	})
	return again, err
}

// KeepPlan keeps a made plan as a proposal, in the transaction in which its job is done.
func (db *DB) KeepPlan(ctx context.Context, id uuid.UUID, basis string, d schedule.Document) error {
	document, err := asJSON(d)
	if err != nil {
		return err
	}
	return db.settlePlan(ctx, id, `update proposal set state = 'proposed', document = $2, basis = $3, computed_at = $4, version = version + 1
		where id = $1 and state in ('asked', 'computing')`, document, basis, db.Real())
}

// FailPlan says why no plan could be made.
func (db *DB) FailPlan(ctx context.Context, id uuid.UUID, why string) error {
	return db.settlePlan(ctx, id, `update proposal set state = 'failed', problem = $2, computed_at = $3, version = version + 1
		where id = $1 and state in ('asked', 'computing')`, why, db.Real())
}

func (db *DB) settlePlan(ctx context.Context, id uuid.UUID, statement string, args ...any) error {
	return db.inTx(ctx, func(tx *sqlx.Tx) error {
		undone, err := claimJob(ctx, tx)
		if err != nil || !undone {
			return err
		}
		if _, err := tx.ExecContext(ctx, statement, append([]any{id}, args...)...); err != nil {
			return fmt.Errorf("settle plan %s: %w", id, err)
		}
		return finishJob(ctx, tx)
	})
}

// lockProposal locks a proposal that is to be decided on.
func lockProposal(ctx context.Context, tx *sqlx.Tx, id uuid.UUID, version int) (schedule.Proposal, error) {
	p, err := proposalByID(ctx, tx, id, "for update")
	if err != nil {
		return p, err
	}
	if p.State != schedule.Proposed {
		return p, fault.New(fault.Stale, "plan-decided", "the plan is %s already; ask for a new one", p.State)
	}
	if p.Version != version {
		return p, fault.New(fault.Stale, "stale", "the plan was changed in between; look at it again")
	}
	return p, nil
}

// DropPlan puts a proposal away.
func (db *DB) DropPlan(ctx context.Context, id uuid.UUID, version int, by uuid.UUID) error {
	return db.inTx(ctx, func(tx *sqlx.Tx) error {
		if _, err := lockProposal(ctx, tx, id, version); err != nil {
			return err
		}
		return db.decide(ctx, tx, id, schedule.Dropped, by)
	})
}

func (db *DB) decide(ctx context.Context, tx *sqlx.Tx, id uuid.UUID, state schedule.ProposalState, by uuid.UUID) error {
	clock, err := db.businessClock(ctx, tx)
	if err != nil {
		return err
	}
	_, err = tx.ExecContext(ctx, `update proposal set state = $2, decided_by = $3, decided_at = $4, version = version + 1 where id = $1`,
		id, string(state), orNull(by), clock.Now())
	if err != nil {
		return fmt.Errorf("decide on plan %s: %w", id, err)
	}
	return nil
}

// AcceptPlan locks the proposal and the days, hands check the visits that stand
// there now, and writes what it returns in place of the planned visits that
// nobody placed by hand, all in one transaction.
func (db *DB) AcceptPlan(ctx context.Context, id uuid.UUID, version int, by uuid.UUID,
	check func(schedule.Proposal, []visit.Visit) ([]visit.Visit, []schedule.RouteSheet, error)) error {
	return db.inTx(ctx, func(tx *sqlx.Tx) error {
		p, err := lockProposal(ctx, tx, id, version)
		if err != nil {
			return err
		}
		// Plans are accepted one at a time; sending and closing lock single visits.
		if err := holdPlan(ctx, tx); err != nil {
			return err
		}
		now, err := visitsWhere(ctx, tx, `where date between $1 and $2 and state <> 'withdrawn' order by id for update`, p.From, p.To)
		if err != nil {
			return err
		}
		visits, sheets, err := check(p, now)
		if err != nil {
			return err
		}
		if err := dropPlanned(ctx, tx, p); err != nil {
			return err
		}
		if err := insertVisits(ctx, tx, visits, db.Real()); err != nil {
			return err
		}
		if err := renumber(ctx, tx, p); err != nil {
			return err
		}
		if err := saveSheets(ctx, tx, p, sheets); err != nil {
			return err
		}
		return db.decide(ctx, tx, id, schedule.Accepted, by)
	})
}

// dropPlanned takes off the visits that the new plan stands in for. Nobody has
// been told of them and nothing hangs on them, so they go for good.
func dropPlanned(ctx context.Context, tx *sqlx.Tx, p schedule.Proposal) error {
	for _, statement := range []string{
		`delete from visit_task t using visit v where t.visit_id = v.id and v.date between $1 and $2 and v.state = 'planned' and not v.pinned
			and not exists (select from close_out c where c.visit_id = v.id)`,
		`delete from visit v where v.date between $1 and $2 and v.state = 'planned' and not v.pinned
			and not exists (select from close_out c where c.visit_id = v.id)`,
	} {
		if _, err := tx.ExecContext(ctx, statement, p.From, p.To); err != nil {
			return fmt.Errorf("take off what was planned before: %w", err)
		}
	}
	return nil
}

func insertVisits(ctx context.Context, tx *sqlx.Tx, visits []visit.Visit, at time.Time) error {
	var rows, taskRows [][]any
	for i := range visits {
		v := &visits[i]
		rows = append(rows, []any{v.ID, v.PropertyID, v.CrewID, v.Date, string(v.State), v.Position, int(v.Arrive),
			int(v.Leave), v.DrivingMinutes, v.Pinned, v.Reason, orNull(v.ProposalID), 1, at})
		tasks, err := taskValues(v)
		if err != nil {
			return err
		}
		taskRows = append(taskRows, tasks...)
	}
	if err := visitBulk.insert(ctx, tx, rows); err != nil {
		return err
	}
	return visitTaskBulk.insert(ctx, tx, taskRows)
}

func saveSheets(ctx context.Context, tx *sqlx.Tx, p schedule.Proposal, sheets []schedule.RouteSheet) error {
	_, err := tx.ExecContext(ctx, `
		delete from route_sheet s where s.date between $1 and $2 and s.sent_at is null
			and not exists (select from visit v where v.crew_id = s.crew_id and v.date = s.date)`, p.From, p.To)
	if err != nil {
		return fmt.Errorf("drop empty route sheets: %w", err)
	}
	for _, s := range sheets {
		_, err := tx.ExecContext(ctx, `
			insert into route_sheet (crew_id, date, driving_minutes, working_minutes, start_minute, end_minute, proposal_id)
			values ($1, $2, $3, $4, $5, $6, $7)
			on conflict (crew_id, date) do update set version = route_sheet.version + 1, driving_minutes = excluded.driving_minutes,
				working_minutes = excluded.working_minutes, start_minute = excluded.start_minute, end_minute = excluded.end_minute, proposal_id = excluded.proposal_id`,
			s.CrewID, s.Date, s.DrivingMinutes, s.WorkingMinutes, int(s.Start), int(s.End), orNull(s.ProposalID))
		if err != nil {
			return fmt.Errorf("keep the route sheet of %s: %w", s.Date, err)
		}
	}
	return nil
}

const sheetColumns = `crew_id, date, version, sent_at, driving_minutes, working_minutes, coalesce(start_minute, 0) as start_minute, coalesce(end_minute, 0) as end_minute, proposal_id`

type sheetRow struct {
	CrewID     uuid.UUID     `db:"crew_id"`
	Date       civil.Date    `db:"date"`
	Version    int           `db:"version"`
	SentAt     sql.NullTime  `db:"sent_at"`
	Driving    float64       `db:"driving_minutes"`
	Working    float64       `db:"working_minutes"`
	Start      int           `db:"start_minute"`
	End        int           `db:"end_minute"`
	ProposalID uuid.NullUUID `db:"proposal_id"`
}

func (r sheetRow) sheet() schedule.RouteSheet {
	return schedule.RouteSheet{CrewID: r.CrewID, Date: r.Date, Version: r.Version, SentAt: r.SentAt.Time, DrivingMinutes: r.Driving,
		WorkingMinutes: r.Working, Start: civil.TimeOfDay(r.Start), End: civil.TimeOfDay(r.End), ProposalID: r.ProposalID.UUID}
}

// Sheets returns the route sheets of the days, by day and crew.
func (db *DB) Sheets(ctx context.Context, from, to civil.Date) ([]schedule.RouteSheet, error) {
	var rows []sheetRow
	err := db.SelectContext(ctx, &rows, `select `+sheetColumns+` from route_sheet where date between $1 and $2 order by date, crew_id`, from, to)
	if err != nil {
		return nil, fmt.Errorf("read route sheets: %w", err)
	}
	list := make([]schedule.RouteSheet, len(rows))
	for i, r := range rows {
		list[i] = r.sheet()
	}
	return list, nil
}

// VisitsBetween returns all visits of the days with their tasks, withdrawn ones left out.
func (db *DB) VisitsBetween(ctx context.Context, from, to civil.Date) (list []visit.Visit, err error) {
	err = db.inSnapshot(ctx, func(q sqlx.ExtContext) error {
		list, err = visitsWhere(ctx, q, `where date between $1 and $2 and state <> 'withdrawn' order by date, crew_id, position, id`, from, to)
		return err
	})
	return list, err
}

// SendSheet gives a crew's day out: its planned visits go out. A sheet that has
// nothing new stays as it is. fault.NotFound "sheet" where the crew has no visits.
func (db *DB) SendSheet(ctx context.Context, crewID uuid.UUID, date civil.Date) (sheet schedule.RouteSheet, err error) {
	err = db.inTx(ctx, func(tx *sqlx.Tx) error {
		clock, err := db.businessClock(ctx, tx)
		if err != nil {
			return err
		}
		var r sheetRow
		if err := tx.GetContext(ctx, &r, `select `+sheetColumns+` from route_sheet where crew_id = $1 and date = $2 for update`, crewID, date); err != nil {
			return notFound(err, "sheet", "the crew has no route sheet on %s; accept a plan or place a visit first", date)
		}
		res, err := tx.ExecContext(ctx, `update visit set state = 'out', version = version + 1, updated_at = $3 where crew_id = $1 and date = $2 and state = 'planned'`, crewID, date, db.Real())
		if err != nil {
			return fmt.Errorf("send the visits of %s: %w", date, err)
		}
		sheet = r.sheet()
		if n, err := res.RowsAffected(); err != nil || n == 0 {
			return err
		}
		sheet.SentAt = clock.Now()
		_, err = tx.ExecContext(ctx, `update route_sheet set sent_at = $3 where crew_id = $1 and date = $2`, crewID, date, sheet.SentAt)
		if err != nil {
			return fmt.Errorf("send the route sheet of %s: %w", date, err)
		}
		return nil
	})
	return sheet, err
}

// WithdrawVisit takes a visit off with a reason. A closed one stays.
func (db *DB) WithdrawVisit(ctx context.Context, id uuid.UUID, version int, reason string) error {
	return db.inTx(ctx, func(tx *sqlx.Tx) error {
		v, err := lockVisit(ctx, tx, id)
		if err != nil {
			return err
		}
		if v.Version != version {
			return fault.New(fault.Stale, "stale", "the visit was changed in between; look at it again")
		}
		if v.State == visit.Closed || v.State == visit.Withdrawn {
			return fault.New(fault.Conflict, "visit-ended", "the visit is %s and cannot be withdrawn", v.State)
		}
		_, err = tx.ExecContext(ctx, `update visit set state = 'withdrawn', reason = $2, version = version + 1, updated_at = $3 where id = $1`, id, reason, db.Real())
		if err != nil {
			return fmt.Errorf("withdraw visit %s: %w", id, err)
		}
		_, err = tx.ExecContext(ctx, `update route_sheet set version = version + 1 where crew_id = $1 and date = $2`, v.CrewID, v.Date)
		return err
	})
}
