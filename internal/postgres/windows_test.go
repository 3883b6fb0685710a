package postgres_test

import (
	"context"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"thirdcut/internal/civil"
	"thirdcut/internal/postgres"
	"thirdcut/internal/property"
	"thirdcut/internal/schedule"
	"thirdcut/internal/testkit/build"
	"thirdcut/internal/testkit/pgtest"
	"thirdcut/internal/turf"
	"thirdcut/internal/unit"
	"thirdcut/internal/visit"
	"thirdcut/internal/weather"
)

// planned is a company of build whose first lawn is agreed to, with the weather
// of a year and a half, on the morning of build.Day.
type planned struct {
	*build.World
	t       *testing.T
	service *schedule.Service
}

func newPlanned(t *testing.T) *planned {
	t.Helper()
	t.Parallel()
	db := build.Open(t, pgtest.New(t))
	morning := func() time.Time { return time.Date(2026, 6, 3, 10, 0, 0, 0, time.UTC) }
	db.Real = morning
	p := &planned{World: build.Company(t, db), t: t, service: &schedule.Service{Store: db, Real: morning, Iterations: 200}}
	p.agree(p.Property)
	var days []weather.Day
	for d := civil.MustDate("2025-01-01"); d.Before(build.Day); d = d.AddDays(1) {
		days = append(days, weather.Day{Date: d, Max: 25, Min: 13, Precipitation: 4 * unit.Millimetre, Quality: weather.Observed, Source: "made up"})
	}
	_, err := db.SaveWeatherDays(p.Ctx, "shop", days)
	p.ok(err)
	p.forget()
	return p
}

func (p *planned) ok(err error) {
	p.t.Helper()
	if err != nil {
		p.t.Fatal(err)
	}
}

// agree gives the property a service plan of mowing and edging.
func (p *planned) agree(of property.Property, more ...turf.Work) {
	p.t.Helper()
	_, err := p.SaveServicePlan(p.Ctx, of.ID, 0, build.Day, func(s *property.ServicePlan) error {
		*s = property.ServicePlan{SeasonFrom: civil.MonthDay{Month: 3, Day: 1}, SeasonTo: civil.MonthDay{Month: 11, Day: 30}, PriceBasis: "per_visit",
			Services: append([]turf.Work{turf.Mow, turf.Edge}, more...), AgreedOn: civil.MustDate("2026-03-01")}
		return nil
	})
	p.ok(err)
}

// forget drops the jobs asked for so far.
func (p *planned) forget() {
	p.t.Helper()
	_, err := p.ExecContext(p.Ctx, `delete from job_outbox`)
	p.ok(err)
}

func (p *planned) number(query string, args ...any) (n int) {
	p.t.Helper()
	p.ok(p.GetContext(p.Ctx, &n, query, args...))
	return n
}

// job adds a job and returns its number.
func (p *planned) job(kind, payload string) int64 {
	p.t.Helper()
	var id int64
	p.ok(p.GetContext(p.Ctx, &id, `insert into job_outbox (kind, payload) values ($1, $2) returning id`, kind, payload))
	return id
}

func (p *planned) refreshJob(property uuid.UUID) int64 {
	if property == uuid.Nil {
		return p.job(postgres.JobRefreshWindows, `{}`)
	}
	return p.job(postgres.JobRefreshWindows, `{"property_id": "`+property.String()+`"}`)
}

// open counts the refreshes that wait, of the property or with uuid.Nil of all.
func (p *planned) open(property uuid.UUID) int {
	p.t.Helper()
	if property == uuid.Nil {
		return p.number(`select count(*) from job_outbox where done_at is null and kind = 'windows:refresh' and not payload ? 'property_id'`)
	}
	return p.number(`select count(*) from job_outbox where done_at is null and kind = 'windows:refresh' and payload ->> 'property_id' = $1`, property.String())
}

// blocked waits until n sessions of the database wait for a lock.
func (p *planned) blocked(n int) {
	p.t.Helper()
	for end := time.Now().Add(10 * time.Second); ; time.Sleep(10 * time.Millisecond) {
		if p.number(`select count(*) from pg_stat_activity where datname = current_database() and wait_event_type = 'Lock'`) >= n {
			return
		}
		if time.Now().After(end) {
			p.t.Fatalf("no %d sessions wait for a lock", n)
		}
	}
}

// A worker that waits for an area another one learns from must not hold its own
// job, which the other is about to finish: each would wait for the other.
func TestWaitingForAnAreaHoldsNoJob(t *testing.T) {
	p := newPlanned(t)
	area := build.Front(p.Property).ID
	waiting := p.job(postgres.JobLearnGrowth, `{"turf_area_id": "`+area.String()+`"}`)
	tx, err := p.BeginTxx(p.Ctx, nil)
	p.ok(err)
	defer tx.Rollback()
	_, err = tx.ExecContext(p.Ctx, `select from turf_area where id = $1 for update`, area)
	p.ok(err)
	learned := make(chan error, 1)
	go func() { learned <- p.service.Learn(postgres.WithJob(context.Background(), waiting), area) }()
	p.blocked(1)
	_, err = tx.ExecContext(p.Ctx, `set local lock_timeout = '2s'`)
	p.ok(err)
	if _, err := tx.ExecContext(p.Ctx, `update job_outbox set done_at = now() where id = $1`, waiting); err != nil {
		t.Errorf("the job is held by a worker that waits for the area: %v", err)
	}
	p.ok(tx.Commit())
	p.ok(<-learned)
	if n := p.number(`select count(*) from learned_growth`); n != 0 {
		t.Errorf("a job that was done meanwhile learned once more")
	}
}

func TestWaitingToSaveWindowsHoldsNoJob(t *testing.T) {
	p := newPlanned(t)
	waiting := p.refreshJob(p.Property.ID)
	tx, err := p.BeginTxx(p.Ctx, nil)
	p.ok(err)
	defer tx.Rollback()
	_, err = tx.ExecContext(p.Ctx, `select pg_advisory_xact_lock(hashtext('due_window'))`)
	p.ok(err)
	saved := make(chan error, 1)
	go func() {
		saved <- p.service.RefreshWindows(postgres.WithJob(context.Background(), waiting), p.Property.ID)
	}()
	p.blocked(1)
	_, err = tx.ExecContext(p.Ctx, `set local lock_timeout = '2s'`)
	p.ok(err)
	if _, err := tx.ExecContext(p.Ctx, `update job_outbox set done_at = now() where id = $1`, waiting); err != nil {
		t.Errorf("the job is held by a worker that waits to save: %v", err)
	}
	p.ok(tx.Commit())
	p.ok(<-saved)
	if n := p.number(`select count(*) from due_window`); n != 0 {
		t.Errorf("a job that was done meanwhile saved %d windows", n)
	}
}

// A refresh that began to read before another one and saves after it may put
// older windows over newer ones. That is asked for again, and only that.
func TestOvertakenRefreshIsAskedForAgain(t *testing.T) {
	p := newPlanned(t)
	second := p.Lawn("3 Fern Way")
	p.agree(second)
	p.forget()
	// meanwhile runs between the reading and the saving of a refresh of its own.
	overtake := func(of uuid.UUID, meanwhile func()) {
		t.Helper()
		asked, err := p.OpenRefreshes(p.Ctx, of)
		p.ok(err)
		meanwhile()
		p.ok(p.SaveWindows(p.Ctx, nil, nil, asked))
	}
	run := func(of uuid.UUID) {
		t.Helper()
		p.ok(p.service.RefreshWindows(postgres.WithJob(p.Ctx, p.refreshJob(of)), of))
	}
	cases := []struct {
		name                string
		slow                uuid.UUID
		fast                func()
		first, second, full int // refreshes that wait afterwards
	}{
		{"nothing meanwhile", uuid.Nil, func() {}, 0, 0, 0},
		{"one of all, overtaken by one of a property", uuid.Nil, func() { run(second.ID) }, 0, 1, 0},
		{"one of all, overtaken by one of all", uuid.Nil, func() { run(uuid.Nil) }, 0, 0, 1},
		{"one of a property, overtaken by one of all", p.Property.ID, func() { run(uuid.Nil) }, 1, 0, 0},
		{"one of a property, overtaken by its own", p.Property.ID, func() { run(p.Property.ID) }, 1, 0, 0},
		{"one of a property, beside another's", p.Property.ID, func() { run(second.ID) }, 0, 0, 0},
	}
	for _, c := range cases {
		p.forget()
		overtake(c.slow, c.fast)
		if a, b, all := p.open(p.Property.ID), p.open(second.ID), p.open(uuid.Nil); a != c.first || b != c.second || all != c.full {
			t.Errorf("%s: refreshes that wait are %d of the first, %d of the second, %d of all; want %d, %d, %d", c.name, a, b, all, c.first, c.second, c.full)
		}
	}
}

func TestRefreshAnswersWhatWasAskedBeforeItRead(t *testing.T) {
	p := newPlanned(t)
	for range 3 {
		p.refreshJob(p.Property.ID)
	}
	mine := p.refreshJob(uuid.Nil)
	p.ok(p.service.RefreshWindows(postgres.WithJob(p.Ctx, mine), uuid.Nil))
	if n := p.number(`select count(*) from job_outbox where done_at is null`); n != 0 {
		t.Errorf("%d jobs wait that a refresh of all has answered", n)
	}
	windows, err := p.Windows(p.Ctx, p.Property.ID)
	p.ok(err)
	if len(windows) != 2 {
		t.Errorf("windows of %d areas, want 2: %+v", len(windows), windows)
	}
}

func TestWindowsEndWithTheUseOfTheArea(t *testing.T) {
	p := newPlanned(t)
	second := p.Lawn("3 Fern Way")
	p.agree(second)
	p.ok(p.service.RefreshWindows(p.Ctx, uuid.Nil))
	if n := p.number(`select count(*) from due_window`); n != 4 {
		t.Fatalf("%d windows of four areas", n)
	}
	front := build.Front(p.Property)
	_, err := p.SaveTurfArea(p.Ctx, front.ID, front.Version, func(a *property.TurfArea) error { a.RetiredOn = build.Day; return nil })
	p.ok(err)
	_, err = p.SaveProperty(p.Ctx, second.ID, second.Version, func(s *property.Property) error { s.RetiredOn = build.Day; return nil })
	p.ok(err)
	for _, id := range []uuid.UUID{p.Property.ID, second.ID} {
		p.ok(p.service.RefreshWindows(p.Ctx, id))
	}
	var left []uuid.UUID
	p.ok(p.SelectContext(p.Ctx, &left, `select turf_area_id from due_window`))
	if len(left) != 1 || left[0] != build.Back(p.Property).ID {
		t.Errorf("windows are left of %v, want of the back alone (%s)", left, build.Back(p.Property).ID)
	}
}

func TestLawnThatNobodyMeasuredIsDueSoonAndSaysSo(t *testing.T) {
	p := newPlanned(t)
	p.ok(p.service.RefreshWindows(p.Ctx, p.Property.ID))
	windows, err := p.Windows(p.Ctx, p.Property.ID)
	p.ok(err)
	for id, list := range windows {
		w := list[0]
		if w.Opens != build.Day || w.Closes.Since(build.Day) < 2 || w.Closes.Since(build.Day) > 20 || !strings.Contains(w.Reason, "No measured height yet") {
			t.Errorf("area %s: window %s to %s, %q", id, w.Opens, w.Closes, w.Reason)
		}
	}
	// A cut on record takes its place.
	v := p.Visit(p.Crew, p.Property, build.Day)
	entry := p.Mown(v, p.Property)
	entry.StartedAt, entry.FinishedAt = p.At("05:00"), p.At("05:45")
	res := p.report(entry)
	if res.Outcome != visit.Accepted {
		t.Fatalf("the report was answered %+v", res)
	}
	p.ok(p.service.RefreshWindows(p.Ctx, p.Property.ID))
	windows, err = p.Windows(p.Ctx, p.Property.ID)
	p.ok(err)
	if w := windows[build.Front(p.Property).ID][0]; w.Opens == build.Day || strings.Contains(w.Reason, "No measured height yet") {
		t.Errorf("after a cut with its height: opens %s, %q", w.Opens, w.Reason)
	}
}
