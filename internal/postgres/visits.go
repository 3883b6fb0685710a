package postgres

import (
	"context"
	"database/sql"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jmoiron/sqlx"

	"thirdcut/internal/civil"
	"thirdcut/internal/label"
	"thirdcut/internal/turf"
	"thirdcut/internal/visit"
)

const visitColumns = `id, property_id, crew_id, date, state, position, arrive_minute, leave_minute, driving_minutes,
	pinned, reason, proposal_id, version`

type visitRow struct {
	ID             uuid.UUID     `db:"id"`
	PropertyID     uuid.UUID     `db:"property_id"`
	CrewID         uuid.UUID     `db:"crew_id"`
	Date           civil.Date    `db:"date"`
	State          string        `db:"state"`
	Position       int           `db:"position"`
	ArriveMinute   int           `db:"arrive_minute"`
	LeaveMinute    int           `db:"leave_minute"`
	DrivingMinutes float64       `db:"driving_minutes"`
	Pinned         bool          `db:"pinned"`
	Reason         string        `db:"reason"`
	ProposalID     uuid.NullUUID `db:"proposal_id"`
	Version        int           `db:"version"`
}

func (r visitRow) visit(tasks []visit.Task) visit.Visit {
	return visit.Visit{ID: r.ID, PropertyID: r.PropertyID, CrewID: r.CrewID, Date: r.Date, State: visit.State(r.State),
		Position: r.Position, Arrive: civil.TimeOfDay(r.ArriveMinute), Leave: civil.TimeOfDay(r.LeaveMinute),
		DrivingMinutes: r.DrivingMinutes, Pinned: r.Pinned, Reason: r.Reason, ProposalID: r.ProposalID.UUID,
		Version: r.Version, Tasks: tasks}
}

const visitTaskColumns = `id, visit_id, turf_area_id, work, minutes, due_opens, due_best, due_closes, why, product_id,
	label_version_id, rate, rate_unit, target, treatment, findings`

type visitTaskRow struct {
	ID             uuid.UUID                   `db:"id"`
	VisitID        uuid.UUID                   `db:"visit_id"`
	TurfAreaID     uuid.UUID                   `db:"turf_area_id"`
	Work           string                      `db:"work"`
	Minutes        float64                     `db:"minutes"`
	DueOpens       civil.Date                  `db:"due_opens"`
	DueBest        civil.Date                  `db:"due_best"`
	DueCloses      civil.Date                  `db:"due_closes"`
	Why            string                      `db:"why"`
	ProductID      uuid.NullUUID               `db:"product_id"`
	LabelVersionID uuid.NullUUID               `db:"label_version_id"`
	Rate           sql.NullFloat64             `db:"rate"`
	RateUnit       string                      `db:"rate_unit"`
	Target         string                      `db:"target"`
	Treatment      string                      `db:"treatment"`
	Findings       jsonColumn[[]label.Finding] `db:"findings"`
}

func (r visitTaskRow) task() visit.Task {
	return visit.Task{ID: r.ID, TurfAreaID: r.TurfAreaID, Work: turf.Work(r.Work), Minutes: r.Minutes,
		DueOpens: r.DueOpens, DueBest: r.DueBest, DueCloses: r.DueCloses, Why: r.Why, ProductID: r.ProductID.UUID,
		LabelVersionID: r.LabelVersionID.UUID, Rate: r.Rate.Float64, RateUnit: label.RateUnit(r.RateUnit),
		Target: r.Target, Treatment: r.Treatment, Findings: r.Findings.V}
}

// visitsWhere reads visits with their tasks in two queries, however many.
func visitsWhere(ctx context.Context, q sqlx.ExtContext, where string, args ...any) ([]visit.Visit, error) {
	var rows []visitRow
	if err := sqlx.SelectContext(ctx, q, &rows, `select `+visitColumns+` from visit `+where, args...); err != nil {
		return nil, fmt.Errorf("read visits: %w", err)
	}
	ids := make([]uuid.UUID, len(rows))
	for i, r := range rows {
		ids[i] = r.ID
	}
	tasks, err := tasksOf(ctx, q, ids)
	if err != nil {
		return nil, err
	}
	list := make([]visit.Visit, len(rows))
	for i, r := range rows {
		list[i] = r.visit(tasks[r.ID])
	}
	return list, nil
}

// tasksOf reads the tasks of those visits, by name of the area and work.
func tasksOf(ctx context.Context, q sqlx.ExtContext, visits []uuid.UUID) (map[uuid.UUID][]visit.Task, error) {
	by := map[uuid.UUID][]visit.Task{}
	if len(visits) == 0 {
		return by, nil
	}
	var rows []visitTaskRow
	err := sqlx.SelectContext(ctx, q, &rows, `select `+visitTaskColumns+` from visit_task
		where visit_id = any($1::uuid[]) order by visit_id, turf_area_id, work, id`, idArray(visits))
	if err != nil {
		return nil, fmt.Errorf("read visit tasks: %w", err)
	}
	for _, r := range rows {
		by[r.VisitID] = append(by[r.VisitID], r.task())
	}
	return by, nil
}

// visitByID reads one visit whole; fault.NotFound "visit".
func visitByID(ctx context.Context, q sqlx.ExtContext, id uuid.UUID) (visit.Visit, error) {
	list, err := visitsWhere(ctx, q, `where id = $1`, id)
	if err != nil {
		return visit.Visit{}, err
	}
	if len(list) == 0 {
		return visit.Visit{}, noSuch("visit", id)
	}
	return list[0], nil
}

// lockVisit reads one visit whole and holds its row; fault.NotFound "visit".
func lockVisit(ctx context.Context, tx *sqlx.Tx, id uuid.UUID) (visit.Visit, error) {
	list, err := visitsWhere(ctx, tx, `where id = $1 for update`, id)
	if err != nil {
		return visit.Visit{}, err
	}
	if len(list) == 0 {
		return visit.Visit{}, noSuch("visit", id)
	}
	return list[0], nil
}

// Visit returns one visit with its tasks, or fault.NotFound "visit".
func (db *DB) Visit(ctx context.Context, id uuid.UUID) (v visit.Visit, err error) {
	err = db.inSnapshot(ctx, func(q sqlx.ExtContext) error {
		v, err = visitByID(ctx, q, id)
		return err
	})
	return v, err
}

// VisitsOn returns the visits of one crew on one day in the order of its route
// sheet, without those withdrawn; uuid.Nil is every crew.
func (db *DB) VisitsOn(ctx context.Context, crewID uuid.UUID, date civil.Date) (list []visit.Visit, err error) {
	err = db.inSnapshot(ctx, func(q sqlx.ExtContext) error {
		list, err = visitsWhere(ctx, q, `where date = $1 and state <> 'withdrawn' and ($2::uuid is null or crew_id = $2)
			order by crew_id, position, id`, date, orNull(crewID))
		return err
	})
	return list, err
}

// VisitsOfProperty returns at most limit visits of one property, the latest
// first, withdrawn ones too.
func (db *DB) VisitsOfProperty(ctx context.Context, propertyID uuid.UUID, limit int) (list []visit.Visit, err error) {
	err = db.inSnapshot(ctx, func(q sqlx.ExtContext) error {
		list, err = visitsWhere(ctx, q, `where property_id = $1 order by date desc, position desc, id limit $2`,
			propertyID, pageLimit(limit))
		return err
	})
	return list, err
}

var (
	visitBulk = newBulkTable("visit", "id uuid", "property_id uuid", "crew_id uuid", "date date", "state text",
		"position smallint", "arrive_minute smallint", "leave_minute smallint", "driving_minutes numeric", "pinned boolean",
		"reason text", "proposal_id uuid", "version integer", "updated_at timestamptz")
	visitTaskBulk = newBulkTable("visit_task", "id uuid", "visit_id uuid", "turf_area_id uuid", "work text",
		"minutes numeric", "due_opens date", "due_best date", "due_closes date", "why text", "product_id uuid",
		"label_version_id uuid", "rate numeric", "rate_unit text", "target text", "findings jsonb", "treatment text")
)

// AddVisits keeps visits that the office places, all or none, in two
// statements however many. Ids left open are made; an empty state is planned; a
// visit without a position goes to the end of its crew's day. Each route sheet
// that gains a visit becomes a new version. Faults: Invalid "visit", Invalid
// "no-such-...", Conflict "already-saved".
func (db *DB) AddVisits(ctx context.Context, visits []visit.Visit) ([]visit.Visit, error) {
	added := make([]visit.Visit, len(visits))
	err := db.inTx(ctx, func(tx *sqlx.Tx) error {
		copy(added, visits)
		return addVisits(ctx, tx, added, db.Real())
	})
	return added, err
}

func addVisits(ctx context.Context, tx *sqlx.Tx, visits []visit.Visit, at time.Time) error {
	ends, err := openSheets(ctx, tx, visits)
	if err != nil {
		return err
	}
	var rows, taskRows [][]any
	for i := range visits {
		v := &visits[i]
		if v.State == "" {
			v.State = visit.Planned
		}
		v.Version = 1
		if err := newID(&v.ID); err != nil {
			return err
		}
		if err := visit.Validate(*v); err != nil {
			return err
		}
		day := crewDay{v.CrewID, v.Date}
		if v.Position == 0 {
			v.Position = ends[day] + 1
		}
		ends[day] = max(ends[day], v.Position)
		rows = append(rows, []any{v.ID, v.PropertyID, v.CrewID, v.Date, string(v.State), v.Position, int(v.Arrive),
			int(v.Leave), v.DrivingMinutes, v.Pinned, v.Reason, orNull(v.ProposalID), v.Version, at})
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

func taskValues(v *visit.Visit) ([][]any, error) {
	v.Tasks = append([]visit.Task(nil), v.Tasks...) // the caller's stay as they are
	rows := make([][]any, len(v.Tasks))
	for i := range v.Tasks {
		t := &v.Tasks[i]
		if err := newID(&t.ID); err != nil {
			return nil, err
		}
		findings, err := asJSON(orNone(t.Findings))
		if err != nil {
			return nil, err
		}
		rows[i] = []any{t.ID, v.ID, t.TurfAreaID, string(t.Work), t.Minutes, t.DueOpens, t.DueBest, t.DueCloses, t.Why,
			orNull(t.ProductID), orNull(t.LabelVersionID), floatOrNull(t.Rate), string(t.RateUnit), t.Target, findings, t.Treatment}
	}
	return rows, nil
}

// orNone makes a list that is written as [] and not as null.
func orNone[T any](list []T) []T {
	if list == nil {
		return []T{}
	}
	return list
}

type crewDay struct {
	crew uuid.UUID
	date civil.Date
}

// openSheets makes or raises the route sheets of the visits' days, which also
// keeps two people from giving out the same position, and returns the last
// position of each.
func openSheets(ctx context.Context, tx *sqlx.Tx, visits []visit.Visit) (map[crewDay]int, error) {
	var crews []uuid.UUID
	var dates []civil.Date
	seen := map[crewDay]bool{}
	for _, v := range visits {
		day := crewDay{v.CrewID, v.Date}
		if !seen[day] && !v.Date.IsZero() {
			seen[day] = true
			crews, dates = append(crews, v.CrewID), append(dates, v.Date)
		}
	}
	_, err := tx.ExecContext(ctx, `insert into route_sheet (crew_id, date)
		select crew_id, date from unnest($1::uuid[], $2::date[]) as d (crew_id, date) order by crew_id, date
		on conflict (crew_id, date) do update set version = route_sheet.version + 1`, idArray(crews), dateArray(dates))
	if err != nil {
		return nil, fmt.Errorf("open route sheets: %w", err)
	}
	var rows []struct {
		CrewID uuid.UUID  `db:"crew_id"`
		Date   civil.Date `db:"date"`
		Last   int        `db:"last"`
	}
	err = tx.SelectContext(ctx, &rows, `select d.crew_id, d.date, coalesce(max(v.position), 0) as last
		from unnest($1::uuid[], $2::date[]) as d (crew_id, date)
		left join visit v on v.crew_id = d.crew_id and v.date = d.date and v.state <> 'withdrawn'
		group by d.crew_id, d.date`, idArray(crews), dateArray(dates))
	if err != nil {
		return nil, fmt.Errorf("read the ends of route sheets: %w", err)
	}
	ends := make(map[crewDay]int, len(rows))
	for _, r := range rows {
		ends[crewDay{r.CrewID, r.Date}] = r.Last
	}
	return ends, nil
}
