package jobs

import (
	"context"
	"encoding/json"
	"io"
	"log/slog"
	"os"
	"sync/atomic"
	"testing"
	"time"

	"github.com/hibiken/asynq"

	"thirdcut/internal/postgres"
	"thirdcut/internal/schedule"
	"thirdcut/internal/testkit/pgtest"
	"thirdcut/internal/testkit/redistest"
	"thirdcut/internal/turf"
)

// countKind is a kind of the tests: its effect is one row of growth_prior,
// named by the payload and numbered from 1, so that an effect that happens
// twice shows as a second row.
const countKind = "test:count"

type counted struct {
	Name string `json:"name"`
}

// house is a database and a queue with workers on them.
type house struct {
	*postgres.DB
	t     *testing.T
	url   string
	queue asynq.RedisConnOpt
	tries atomic.Int64
}

func newHouse(t *testing.T) *house {
	t.Helper()
	h := &house{t: t, url: pgtest.New(t), queue: redistest.New(t)}
	h.DB = openDB(t, h.url)
	return h
}

func openDB(t *testing.T, url string) *postgres.DB {
	t.Helper()
	db, err := postgres.Open(context.Background(), url, time.Now)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { db.Close() })
	return db
}

func quietLog() *slog.Logger {
	if testing.Testing() && os.Getenv("THIRDCUT_TEST_LOG") != "" {
		return slog.New(slog.NewTextHandler(os.Stderr, nil))
	}
	return slog.New(slog.NewTextHandler(io.Discard, nil))
}

// counter is the tests' kind, with a wait before its effect.
func counter(db *postgres.DB, before func(context.Context) error) kind {
	return kind{name: countKind, timeout: time.Minute, maxRetry: 8, handle: decoded(func(ctx context.Context, p counted) error {
		if err := before(ctx); err != nil {
			return err
		}
		return db.SavePriors(ctx, []schedule.Prior{{Species: turf.Species(p.Name), Areas: 1}})
	})}
}

// wait lets a job take that long.
func wait(d time.Duration) func(context.Context) error {
	return func(ctx context.Context) error { pause(ctx, d); return ctx.Err() }
}

// worker makes one with a database of its own, as another process has.
func (h *house) worker(before func(context.Context) error) *Worker {
	db := openDB(h.t, h.url)
	return &Worker{DB: db, URL: h.url, Queue: h.queue, Schedule: &schedule.Service{Store: db, Real: time.Now}, Log: quietLog(),
		Concurrency: 4, grace: 5 * time.Second, more: []kind{counter(db, func(ctx context.Context) error { h.tries.Add(1); return before(ctx) })}}
}

// start runs the worker until the returned function or the test ends it.
func (h *house) start(w *Worker) (stop func()) {
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- w.Run(ctx) }()
	var once atomic.Bool
	stop = func() {
		if once.Swap(true) {
			return
		}
		cancel()
		select {
		case err := <-ended:
			if err != nil {
				h.t.Errorf("the worker ended with %v", err)
			}
		case <-time.After(30 * time.Second):
			h.t.Error("the worker did not end within 30 s")
		}
	}
	h.t.Cleanup(stop)
	return stop
}

// ask adds n jobs, each of its own name.
func (h *house) ask(n int) {
	h.t.Helper()
	h.do(`insert into job_outbox (kind, payload) select $1, jsonb_build_object('name', 'job-' || n) from generate_series(1, $2) n`, countKind, n)
	h.do(`select pg_notify('job_outbox', '')`)
}

func (h *house) do(statement string, args ...any) {
	h.t.Helper()
	if _, err := h.Exec(statement, args...); err != nil {
		h.t.Fatalf("%s: %v", statement, err)
	}
}

func (h *house) number(query string, args ...any) (n int) {
	h.t.Helper()
	if err := h.Get(&n, query, args...); err != nil {
		h.t.Fatalf("%s: %v", query, err)
	}
	return n
}

func (h *house) effects() int { return h.number(`select count(*) from growth_prior`) }
func (h *house) undone() int {
	return h.number(`select count(*) from job_outbox where done_at is null`)
}

// once checks that each of n jobs had its effect, and had it once.
func (h *house) once(n int) {
	h.t.Helper()
	if got := h.effects(); got != n {
		h.t.Errorf("%d effects of %d jobs", got, n)
	}
	if twice := h.number(`select count(*) from growth_prior where version > 1`); twice != 0 {
		h.t.Errorf("%d effects happened again", twice)
	}
	if failed := h.number(`select count(*) from job_outbox where failed_at is not null`); failed != 0 {
		h.t.Errorf("%d jobs are listed as failed", failed)
	}
}

func (h *house) eventually(what string, within time.Duration, is func() bool) {
	h.t.Helper()
	for end := time.Now().Add(within); !is(); time.Sleep(20 * time.Millisecond) {
		if time.Now().After(end) {
			var state []byte
			_ = h.Get(&state, `select coalesce(json_agg(o), '[]') from (select id, kind, sent_at, attempts, last_error from job_outbox where done_at is null limit 5) o`)
			h.t.Fatalf("after %s still not so: %s; undone: %s", within, what, state)
		}
	}
}

func (h *house) allDone(within time.Duration) {
	h.t.Helper()
	h.eventually("all jobs are done", within, func() bool { return h.undone() == 0 })
}

func body(t *testing.T, v any) json.RawMessage {
	t.Helper()
	b, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	return b
}
