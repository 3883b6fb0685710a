package postgres

import (
	"context"
	"database/sql"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jmoiron/sqlx"
	"github.com/lib/pq"

	"thirdcut/internal/civil"
	"thirdcut/internal/label"
	"thirdcut/internal/mowing"
	"thirdcut/internal/schedule"
	"thirdcut/internal/turf"
	"thirdcut/internal/visit"
	"thirdcut/internal/weather"
)

// LawnsFor reads the properties (nil: all in use) with all that windows and
// plans are computed from, in one snapshot and a constant number of statements.
func (db *DB) LawnsFor(ctx context.Context, properties []uuid.UUID, today civil.Date) (l schedule.Lawns, err error) {
	err = db.inSnapshot(ctx, func(q sqlx.ExtContext) error {
		if l.Properties, err = propertiesBy(ctx, q, PropertyFilter{IDs: properties, WithoutOutlines: true}); err != nil {
			return err
		}
		if l.Cuts, err = cutsFor(ctx, q, properties, l, today); err != nil {
			return err
		}
		if l.Learned, err = learnedOf(ctx, q, today.Year, properties); err != nil {
			return err
		}
		if l.Priors, err = priors(ctx, q); err != nil {
			return err
		}
		if l.Applied, err = appliedSince(ctx, q, today.AddDays(-400), properties); err != nil {
			return err
		}
		if l.Choices, err = choices(ctx, q); err != nil {
			return err
		}
		ids := make([]uuid.UUID, len(l.Choices))
		for i, c := range l.Choices {
			ids[i] = c.ProductID
		}
		l.Products, err = productsByID(ctx, q, ids)
		return err
	})
	return l, err
}

// cutsFor reads the last cuts: of all areas at once, or area by area for a few
// properties, which spares a small refresh the whole company's history.
func cutsFor(ctx context.Context, q sqlx.ExtContext, properties []uuid.UUID, l schedule.Lawns, today civil.Date) (map[uuid.UUID]visit.Cut, error) {
	if properties == nil {
		return lastCuts(ctx, q)
	}
	by := map[uuid.UUID]visit.Cut{}
	for _, p := range l.Properties {
		for _, a := range p.Areas {
			for _, year := range []int{today.Year - 1, today.Year} {
				list, err := heights(ctx, q, a.ID, year)
				if err != nil {
					return nil, err
				}
				for _, c := range list {
					if c.Mowed {
						by[a.ID] = c
					}
				}
			}
		}
	}
	return by, nil
}

func learnedOf(ctx context.Context, q sqlx.ExtContext, season int, properties []uuid.UUID) (map[uuid.UUID]mowing.Learned, error) {
	var rows []struct {
		AreaID   uuid.UUID  `db:"turf_area_id"`
		X        float64    `db:"ln_factor"`
		Variance float64    `db:"variance"`
		On       civil.Date `db:"as_of"`
	}
	err := sqlx.SelectContext(ctx, q, &rows, `
		select g.turf_area_id, g.ln_factor, g.variance, g.as_of from learned_growth g join turf_area a on a.id = g.turf_area_id
		where g.season = $1 and ($2::uuid[] is null or a.property_id = any($2::uuid[]))`, season, idsOrNull(properties))
	if err != nil {
		return nil, fmt.Errorf("read learned growth: %w", err)
	}
	by := make(map[uuid.UUID]mowing.Learned, len(rows))
	for _, r := range rows {
		by[r.AreaID] = mowing.Learned{X: r.X, P: r.Variance, On: r.On}
	}
	return by, nil
}

// idsOrNull is the ids as an array, or NULL for nil: no narrowing.
func idsOrNull(ids []uuid.UUID) any {
	if ids == nil {
		return nil
	}
	return idArray(ids)
}

func priors(ctx context.Context, q sqlx.ExtContext) (map[turf.Species]float64, error) {
	var rows []struct {
		Species string  `db:"species"`
		Mean    float64 `db:"ln_mean"`
	}
	err := sqlx.SelectContext(ctx, q, &rows, `select distinct on (species) species, ln_mean from growth_prior order by species, version desc`)
	if err != nil {
		return nil, fmt.Errorf("read growth priors: %w", err)
	}
	by := map[turf.Species]float64{}
	for _, r := range rows {
		by[turf.Species(r.Species)] = r.Mean
	}
	return by, nil
}

type appliedRow struct {
	AreaID    uuid.UUID       `db:"turf_area_id"`
	RecordID  uuid.UUID       `db:"record_id"`
	ProductID uuid.UUID       `db:"product_id"`
	Name      string          `db:"product_name"`
	On        civil.Date      `db:"applied_on"`
	ReentryAt sql.NullTime    `db:"reentry_at"`
	Amount    float64         `db:"amount"`
	Unit      string          `db:"amount_unit"`
	SqFt      float64         `db:"area_treated_sqft"`
	N         sql.NullFloat64 `db:"n_percent"`
	After     sql.NullInt64   `db:"mow_wait_after"`
	Before    sql.NullInt64   `db:"mow_wait_before"`
}

// appliedSince reads what went down, by turf area, corrections in place of
// what they correct.
func appliedSince(ctx context.Context, q sqlx.ExtContext, since civil.Date, properties []uuid.UUID) (map[uuid.UUID][]schedule.Applied, error) {
	var rows []appliedRow
	err := sqlx.SelectContext(ctx, q, &rows, `
		select l.turf_area_id, l.record_id, l.product_id, r.product_name, l.applied_on, l.amount, l.amount_unit, l.area_treated_sqft, p.n_percent,
			nullif(r.sealed_text::jsonb ->> 'reentry_at', '')::timestamptz as reentry_at,
			(v.limits ->> 'mow_wait_after_days')::int as mow_wait_after, (v.limits ->> 'mow_wait_before_days')::int as mow_wait_before
		from application_line l
		join application_record r on r.id = l.record_id
		join product p on p.id = l.product_id
		left join label_version v on v.id = nullif(r.sealed_text::jsonb ->> 'label_version_id', '')::uuid
		where l.applied_on >= $1 and ($2::uuid[] is null or r.property_id = any($2::uuid[]))
			and not exists (select from application_record s where s.supersedes_id = r.id)
		order by l.turf_area_id, l.applied_on`, since, idsOrNull(properties))
	if err != nil {
		return nil, fmt.Errorf("read applications: %w", err)
	}
	by := map[uuid.UUID][]schedule.Applied{}
	for _, r := range rows {
		a := schedule.Applied{RecordID: r.RecordID, ProductID: r.ProductID, ProductName: r.Name, On: r.On, ReentryAt: r.ReentryAt.Time,
			Amount: r.Amount, Unit: r.Unit, SqFt: r.SqFt, MowWaitAfterDays: intOf(r.After), MowWaitBeforeDays: intOf(r.Before)}
		if r.N.Valid {
			a.NPercent = &r.N.Float64
		}
		by[r.AreaID] = append(by[r.AreaID], a)
	}
	return by, nil
}

func intOf(n sql.NullInt64) *int {
	if !n.Valid {
		return nil
	}
	v := int(n.Int64)
	return &v
}

func choices(ctx context.Context, q sqlx.ExtContext) ([]schedule.Choice, error) {
	var rows []struct {
		ID        uuid.UUID       `db:"id"`
		Target    string          `db:"target"`
		Season    string          `db:"season"`
		Work      string          `db:"work"`
		ProductID uuid.UUID       `db:"product_id"`
		Pattern   string          `db:"pattern"`
		Rate      sql.NullFloat64 `db:"rate"`
		RateUnit  string          `db:"rate_unit"`
		Purpose   string          `db:"purpose"`
		Method    string          `db:"method"`
	}
	err := sqlx.SelectContext(ctx, q, &rows, `select id, target, season, work, product_id, pattern, rate, rate_unit, purpose, method from treatment_choice order by target, season`)
	if err != nil {
		return nil, fmt.Errorf("read treatment choices: %w", err)
	}
	list := make([]schedule.Choice, len(rows))
	for i, r := range rows {
		list[i] = schedule.Choice{ID: r.ID, Target: r.Target, Season: r.Season, Work: turf.Work(r.Work), ProductID: r.ProductID, Pattern: r.Pattern,
			Rate: r.Rate.Float64, RateUnit: label.RateUnit(r.RateUnit), Purpose: r.Purpose, Method: r.Method}
	}
	return list, nil
}

// AddChoice keeps which product the company uses for a treatment; the choice
// before it for the same target and season gives way.
func (db *DB) AddChoice(ctx context.Context, c schedule.Choice) error {
	return db.inTx(ctx, func(tx *sqlx.Tx) error {
		if err := newID(&c.ID); err != nil {
			return err
		}
		_, err := tx.ExecContext(ctx, `
			insert into treatment_choice (id, target, season, work, product_id, pattern, rate, rate_unit, purpose, method)
			values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)
			on conflict (target, season) do update set work = excluded.work, product_id = excluded.product_id, pattern = excluded.pattern,
				rate = excluded.rate, rate_unit = excluded.rate_unit, purpose = excluded.purpose, method = excluded.method`,
			c.ID, c.Target, c.Season, string(c.Work), c.ProductID, c.Pattern, floatOrNull(c.Rate), string(c.RateUnit), c.Purpose, c.Method)
		if err != nil {
			return fmt.Errorf("keep treatment choice: %w", err)
		}
		return addJob(ctx, tx, JobRefreshWindows, RefreshWindows{}, time.Time{})
	})
}

// WeatherOf returns a weather place with all its days.
func (db *DB) WeatherOf(ctx context.Context, placeID string) (weather.Place, []weather.Day, error) {
	p, err := db.WeatherPlace(ctx, placeID)
	if err != nil {
		return weather.Place{}, nil, err
	}
	days, err := db.WeatherDays(ctx, placeID, civil.Date{}, civil.Date{})
	return p.Place, days, err
}

var dueWindowBulk = newBulkTable("due_window", "turf_area_id uuid", "work text", "opens date", "best date", "closes date",
	"tight boolean", "reason text", "detail jsonb", "computed_at timestamptz")

// OpenRefreshes notes the moment and lists the undone refreshes of one
// property, or all for uuid.Nil.
func (db *DB) OpenRefreshes(ctx context.Context, propertyID uuid.UUID) (schedule.Refreshes, error) {
	asked := schedule.Refreshes{PropertyID: propertyID}
	err := db.inSnapshot(ctx, func(q sqlx.ExtContext) error {
		if err := sqlx.GetContext(ctx, q, &asked.At, `select now()`); err != nil {
			return fmt.Errorf("read the time: %w", err)
		}
		err := sqlx.SelectContext(ctx, q, &asked.IDs, `
			select id from job_outbox where done_at is null and failed_at is null and kind = $1
				and ($2::uuid is null or payload ->> 'property_id' = $2::uuid::text)`, JobRefreshWindows, orNull(propertyID))
		if err != nil {
			return fmt.Errorf("read refreshes asked for: %w", err)
		}
		return nil
	})
	return asked, err
}

// rowsAtOnce is how many windows go to the server in one statement: a window
// carries its days, so a statement of all would be hundreds of megabytes.
const rowsAtOnce = 2000

// SaveWindows replaces the windows of the areas by those given, and those of
// what is out of use by none, in the same transaction in which the jobs that
// asked for them are done: those answered, and the one that the context works for.
//
// Another refresh that was answered meanwhile may have read later and saved
// earlier than this one. What both computed is then asked for once more.
func (db *DB) SaveWindows(ctx context.Context, areas []uuid.UUID, windows []schedule.AreaWindow, answered schedule.Refreshes) error {
	rows := make([][]any, len(windows))
	for i, w := range windows {
		detail, err := asJSON(w.Window)
		if err != nil {
			return err
		}
		rows[i] = []any{w.TurfAreaID, string(w.Window.Work), w.Window.Opens, w.Window.Best, w.Window.Closes, w.Window.Tight, w.Window.Reason, detail, w.ComputedAt}
	}
	return db.inTx(ctx, func(tx *sqlx.Tx) error {
		// One refresh at a time, so that two never weave their rows together. The
		// lock comes before the job: whoever waits holds no job that others finish.
		if _, err := tx.ExecContext(ctx, `select pg_advisory_xact_lock(hashtext('due_window'))`); err != nil {
			return fmt.Errorf("wait for other refreshes: %w", err)
		}
		undone, err := claimJob(ctx, tx)
		if err != nil || !undone {
			return err
		}
		if err := replaceWindows(ctx, tx, answered.PropertyID, areas, rows); err != nil {
			return err
		}
		if err := askOvertaken(ctx, tx, answered); err != nil {
			return err
		}
		_, err = tx.ExecContext(ctx, `update job_outbox set done_at = now() where id = any($1) and done_at is null`, pq.Array(answered.IDs))
		if err != nil {
			return fmt.Errorf("finish refreshes: %w", err)
		}
		return finishJob(ctx, tx)
	})
}

// replaceWindows drops the old windows, of one property all that it has, without
// a look at any other, and writes the new ones.
func replaceWindows(ctx context.Context, tx *sqlx.Tx, propertyID uuid.UUID, areas []uuid.UUID, rows [][]any) error {
	_, err := tx.ExecContext(ctx, `delete from due_window w using turf_area a, property p
		where a.id = w.turf_area_id and p.id = a.property_id
			and (a.property_id = $2::uuid or $2::uuid is null and (a.id = any($1::uuid[]) or a.retired_on is not null or p.retired_on is not null))`,
		idArray(areas), orNull(propertyID))
	if err != nil {
		return fmt.Errorf("drop old windows: %w", err)
	}
	for from := 0; from < len(rows); from += rowsAtOnce {
		if err := dueWindowBulk.insert(ctx, tx, rows[from:min(from+rowsAtOnce, len(rows))]); err != nil {
			return err
		}
	}
	return nil
}

// askOvertaken asks again for what was saved by others since this refresh began
// to read: a refresh of all asks for those properties, one of a property for itself.
func askOvertaken(ctx context.Context, tx *sqlx.Tx, answered schedule.Refreshes) error {
	var overtaken []uuid.NullUUID
	err := tx.SelectContext(ctx, &overtaken, `
		select distinct coalesce((payload ->> 'property_id')::uuid, $3::uuid) from job_outbox
		where done_at >= $2 and kind = $1 and not id = any($4)
			and ($3::uuid is null or not payload ? 'property_id' or (payload ->> 'property_id')::uuid = $3::uuid)`,
		JobRefreshWindows, answered.At, orNull(answered.PropertyID), pq.Array(orNone(answered.IDs)))
	if err != nil {
		return fmt.Errorf("look for refreshes done meanwhile: %w", err)
	}
	for _, p := range overtaken {
		if err := refreshWindows(ctx, tx, p.UUID); err != nil {
			return err
		}
	}
	return nil
}

// Windows returns the stored windows of a property's areas.
func (db *DB) Windows(ctx context.Context, propertyID uuid.UUID) (map[uuid.UUID][]turf.Window, error) {
	var rows []struct {
		AreaID uuid.UUID               `db:"turf_area_id"`
		Detail jsonColumn[turf.Window] `db:"detail"`
	}
	err := db.SelectContext(ctx, &rows, `
		select w.turf_area_id, w.detail from due_window w join turf_area a on a.id = w.turf_area_id
		where a.property_id = $1 order by w.turf_area_id, w.best nulls last, w.work`, propertyID)
	if err != nil {
		return nil, fmt.Errorf("read windows: %w", err)
	}
	by := map[uuid.UUID][]turf.Window{}
	for _, r := range rows {
		by[r.AreaID] = append(by[r.AreaID], r.Detail.V)
	}
	return by, nil
}

// WindowLine is one stored window in a list.
type WindowLine struct {
	PropertyID uuid.UUID    `db:"property_id"`
	Address    string       `db:"address"`
	AreaID     uuid.UUID    `db:"turf_area_id"`
	AreaName   string       `db:"area_name"`
	Work       turf.Work    `db:"work"`
	Opens      civil.Date   `db:"opens"`
	Best       civil.Date   `db:"best"`
	Closes     civil.Date   `db:"closes"`
	Tight      bool         `db:"tight"`
	Reason     string       `db:"reason"`
	ComputedAt sql.NullTime `db:"computed_at"`
}

// AllWindows hands every stored window to each, by address, area and work.
func (db *DB) AllWindows(ctx context.Context, each func(WindowLine) error) error {
	rows, err := db.QueryxContext(ctx, `
		select p.id as property_id, p.address, a.id as turf_area_id, a.name as area_name, w.work, w.opens, w.best, w.closes, w.tight, w.reason, w.computed_at
		from due_window w join turf_area a on a.id = w.turf_area_id join property p on p.id = a.property_id
		order by lower(p.address), p.id, a.name, w.work`)
	if err != nil {
		return fmt.Errorf("read windows: %w", err)
	}
	defer rows.Close()
	for rows.Next() {
		var l WindowLine
		if err := rows.StructScan(&l); err != nil {
			return fmt.Errorf("read windows: %w", err)
		}
		if err := each(l); err != nil {
			return err
		}
	}
	return rows.Err()
}

// DueCounts says how many mowing windows hold the day and how many closed before it.
func (db *DB) DueCounts(ctx context.Context, today civil.Date) (open, past int, err error) {
	err = db.QueryRowxContext(ctx, `
		select count(*) filter (where opens <= $1 and closes >= $1), count(*) filter (where closes < $1) from due_window where work = 'mow'`, today).Scan(&open, &past)
	if err != nil {
		return 0, 0, fmt.Errorf("count due windows: %w", err)
	}
	return open, past, nil
}

// Learn recomputes an area's season under the area's lock and asks for the
// property's windows anew. The job that asked for it is done in the same transaction.
func (db *DB) Learn(ctx context.Context, areaID uuid.UUID, season int, learn func(schedule.Season) (schedule.Growth, error)) error {
	return db.inTx(ctx, func(tx *sqlx.Tx) error {
		// The area is locked before the job: whoever waits for the area then holds
		// no job that the one before it is about to finish.
		area, err := readArea(ctx, tx, areaID, " for update")
		if err != nil {
			return err
		}
		undone, err := claimJob(ctx, tx)
		if err != nil || !undone {
			return err
		}
		s := schedule.Season{Area: area}
		if s.Property, err = propertyByID(ctx, tx, s.Area.PropertyID); err != nil {
			return err
		}
		if s.Heights, err = heights(ctx, tx, areaID, season); err != nil {
			return err
		}
		if err := priorOf(ctx, tx, &s); err != nil {
			return err
		}
		g, err := learn(s)
		if err != nil {
			return err
		}
		steps, err := asJSON(g.Steps)
		if err != nil {
			return err
		}
		_, err = tx.ExecContext(ctx, `
			insert into learned_growth (turf_area_id, season, ln_factor, variance, as_of, steps, prior_version, computed_at)
			values ($1, $2, $3, $4, $5, $6, $7, $8)
			on conflict (turf_area_id, season) do update set ln_factor = excluded.ln_factor, variance = excluded.variance, as_of = excluded.as_of,
				steps = excluded.steps, prior_version = excluded.prior_version, computed_at = excluded.computed_at`,
			areaID, season, g.Learned.X, g.Learned.P, g.Learned.On, steps, s.PriorNo, db.Real())
		if err != nil {
			return fmt.Errorf("keep what area %s taught: %w", areaID, err)
		}
		// The heights were read after the area was locked, so every undone
		// question about it is answered by this.
		_, err = tx.ExecContext(ctx, `update job_outbox set done_at = now() where done_at is null and failed_at is null and kind = $1 and payload ->> 'turf_area_id' = $2`,
			JobLearnGrowth, areaID.String())
		if err != nil {
			return fmt.Errorf("finish questions about area %s: %w", areaID, err)
		}
		if err := refreshWindows(ctx, tx, s.Area.PropertyID); err != nil {
			return err
		}
		return finishJob(ctx, tx)
	})
}

func priorOf(ctx context.Context, tx *sqlx.Tx, s *schedule.Season) error {
	err := tx.QueryRowContext(ctx, `select ln_mean, version from growth_prior where species = $1 order by version desc limit 1`, string(s.Area.Species)).Scan(&s.PriorX, &s.PriorNo)
	if err != nil && err != sql.ErrNoRows {
		return fmt.Errorf("read the prior of %s: %w", s.Area.Species, err)
	}
	return nil
}

// Factors lists what has been learned this season, by species.
func (db *DB) Factors(ctx context.Context, season int) (map[turf.Species][]float64, error) {
	var rows []struct {
		Species string  `db:"species"`
		X       float64 `db:"ln_factor"`
	}
	err := db.SelectContext(ctx, &rows, `
		select a.species, g.ln_factor from learned_growth g join turf_area a on a.id = g.turf_area_id
		where g.season = $1 and g.as_of is not null order by a.species, a.id`, season)
	if err != nil {
		return nil, fmt.Errorf("read learned growth: %w", err)
	}
	by := map[turf.Species][]float64{}
	for _, r := range rows {
		by[turf.Species(r.Species)] = append(by[turf.Species(r.Species)], r.X)
	}
	return by, nil
}

// SavePriors freezes new priors, each as the next version of its species.
func (db *DB) SavePriors(ctx context.Context, list []schedule.Prior) error {
	return db.inTx(ctx, func(tx *sqlx.Tx) error {
		undone, err := claimJob(ctx, tx)
		if err != nil || !undone {
			return err
		}
		for _, p := range list {
			_, err := tx.ExecContext(ctx, `
				insert into growth_prior (species, version, ln_mean, ln_sd, areas, frozen_at)
				values ($1, coalesce((select max(version) from growth_prior where species = $1), 0) + 1, $2, $3, $4, $5)`,
				string(p.Species), p.Mean, p.SD, p.Areas, db.Real())
			if err != nil {
				return fmt.Errorf("freeze the prior of %s: %w", p.Species, err)
			}
		}
		return finishJob(ctx, tx)
	})
}

// NextCuts returns the earliest best day of a cut of each property.
func (db *DB) NextCuts(ctx context.Context, properties []uuid.UUID) (map[uuid.UUID]civil.Date, error) {
	var rows []struct {
		ID   uuid.UUID  `db:"property_id"`
		Best civil.Date `db:"best"`
	}
	err := db.SelectContext(ctx, &rows, `
		select a.property_id, min(w.best) as best from due_window w join turf_area a on a.id = w.turf_area_id
		where w.work = 'mow' and w.best is not null and a.property_id = any($1::uuid[]) group by a.property_id`, idArray(properties))
	if err != nil {
		return nil, fmt.Errorf("read next cuts: %w", err)
	}
	by := make(map[uuid.UUID]civil.Date, len(rows))
	for _, r := range rows {
		by[r.ID] = r.Best
	}
	return by, nil
}
