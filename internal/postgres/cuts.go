package postgres

import (
	"context"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jmoiron/sqlx"

	"thirdcut/internal/civil"
	"thirdcut/internal/visit"
)

// cutColumns puts together what all reports of one visit say of one area: of
// each value the one reported last. It needs facts f, one row a value.
const cutColumns = `f.turf_area_id, f.day as day, bool_or(f.mowed) as mowed, bool_or(f.first_cut) as first_cut,
	(array_agg(f.before_in order by f.received_at desc, f.close_out_id) filter (where f.before_in is not null))[1] as before_in,
	(array_agg(f.left_in order by f.received_at desc, f.close_out_id) filter (where f.left_in is not null))[1] as left_in,
	(array_agg(f.set_in order by f.received_at desc, f.close_out_id) filter (where f.set_in is not null))[1] as set_in,
	max(f.finished_at) as finished_at`

type cutRow struct {
	TurfAreaID uuid.UUID  `db:"turf_area_id"`
	Day        civil.Date `db:"day"`
	Mowed      bool       `db:"mowed"`
	FirstCut   bool       `db:"first_cut"`
	BeforeIn   *float64   `db:"before_in"`
	LeftIn     *float64   `db:"left_in"`
	SetIn      *float64   `db:"set_in"`
	FinishedAt time.Time  `db:"finished_at"`
}

func (r cutRow) cut() visit.Cut {
	return visit.Cut{TurfAreaID: r.TurfAreaID, On: r.Day, Mowed: r.Mowed, FirstCut: r.FirstCut,
		BeforeIn: r.BeforeIn, LeftIn: r.LeftIn, SetIn: r.SetIn, At: r.FinishedAt}
}

// lastCuts reads the last cut of every turf area in use that was ever cut.
func lastCuts(ctx context.Context, q sqlx.ExtContext) (map[uuid.UUID]visit.Cut, error) {
	var rows []cutRow
	// One look into the index an area and kind of cut, however long the history.
	err := sqlx.SelectContext(ctx, q, &rows, `with last as (
		select a.id, greatest(
			(select done_on from task_report where turf_area_id = a.id and work = 'mow' and done order by done_on desc limit 1),
			(select done_on from task_report where turf_area_id = a.id and work = 'first_cut' and done order by done_on desc limit 1)) as day
		from turf_area a where a.retired_on is null),
	facts as (
		select t.turf_area_id, t.done_on as day, t.close_out_id, c.received_at, c.finished_at, true as mowed,
			t.work = 'first_cut' as first_cut, o.before_in, o.left_in, t.height_set_in as set_in
		from last
		join task_report t on t.turf_area_id = last.id and t.done_on = last.day and t.done and t.work in ('mow', 'first_cut')
		join close_out c on c.id = t.close_out_id
		left join lateral (select
				(array_agg(value order by seen_at desc) filter (where kind = 'height_before'))[1] as before_in,
				(array_agg(value order by seen_at desc) filter (where kind = 'height_left'))[1] as left_in
			from observation where close_out_id = t.close_out_id and turf_area_id = t.turf_area_id
				and kind in ('height_before', 'height_left') and value is not null) o on true)
	select `+cutColumns+` from facts f group by f.turf_area_id, f.day`)
	if err != nil {
		return nil, fmt.Errorf("read last cuts: %w", err)
	}
	by := make(map[uuid.UUID]visit.Cut, len(rows))
	for _, r := range rows {
		by[r.TurfAreaID] = r.cut()
	}
	return by, nil
}

// LastCuts returns the last cut of every turf area in use; an area that was
// never cut is not in it. Of several reports of one day the latest counts.
func (db *DB) LastCuts(ctx context.Context) (map[uuid.UUID]visit.Cut, error) {
	return lastCuts(ctx, db.DB)
}

// heights reads the cuts and measured heights of one area in one calendar year.
func heights(ctx context.Context, q sqlx.ExtContext, areaID uuid.UUID, season int) ([]visit.Cut, error) {
	var rows []cutRow
	err := sqlx.SelectContext(ctx, q, &rows, `with facts as (
		select t.turf_area_id, t.done_on as day, t.close_out_id, c.visit_id, c.received_at, c.finished_at, true as mowed,
			t.work = 'first_cut' as first_cut, null::numeric as before_in, null::numeric as left_in, t.height_set_in as set_in
		from task_report t join close_out c on c.id = t.close_out_id
		where t.turf_area_id = $1 and t.done and t.work in ('mow', 'first_cut') and t.done_on between $2 and $3
		union all
		select o.turf_area_id, o.seen_on, o.close_out_id, c.visit_id, coalesce(c.received_at, o.seen_at),
			coalesce(c.finished_at, o.seen_at), false, false,
			case when o.kind <> 'height_left' then o.value end, case when o.kind = 'height_left' then o.value end, null
		from observation o left join close_out c on c.id = o.close_out_id
		where o.turf_area_id = $1 and o.kind in ('height_before', 'height_left', 'height') and o.value is not null
			and o.seen_on between $2 and $3)
	select `+cutColumns+` from facts f
	group by f.turf_area_id, f.day, coalesce(f.visit_id, f.close_out_id)
	order by f.day, max(f.finished_at)`, areaID, civil.On(season, 1, 1), civil.On(season, 12, 31))
	if err != nil {
		return nil, fmt.Errorf("read heights of area %s: %w", areaID, err)
	}
	cuts := make([]visit.Cut, len(rows))
	for i, r := range rows {
		cuts[i] = r.cut()
	}
	return cuts, nil
}

// Heights returns the cuts and measured heights of one turf area in one
// calendar year, the first one first: one entry a visit and day, in which of
// several reports of a visit the latest counts, value by value.
func (db *DB) Heights(ctx context.Context, areaID uuid.UUID, season int) ([]visit.Cut, error) {
	return heights(ctx, db.DB, areaID, season)
}
