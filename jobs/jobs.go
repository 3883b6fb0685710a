// Package jobs carries work for later through asynq: one file a kind of task,
// the relay from the outbox to the queue, and the timetable. PostgreSQL holds
// every promise; the queue may forget everything at any moment.
package jobs

import (
	"context"
	"database/sql/driver"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"strconv"
	"strings"
	"time"

	"github.com/hibiken/asynq"
	"github.com/lib/pq"

	"thirdcut/internal/postgres"
)

// envelope is what travels: the outbox row's number and the payload.
type envelope struct {
	Outbox  int64           `json:"outbox"`
	Payload json.RawMessage `json:"payload"`
}

// kind is one kind of task.
type kind struct {
	name     string
	timeout  time.Duration
	maxRetry int
	handle   func(ctx context.Context, payload json.RawMessage) error
	// gaveUp tells those who wait for the effect that it will not come; nil:
	// nobody does, and the office's list of failed jobs is enough.
	gaveUp func(ctx context.Context, payload json.RawMessage, why string) error
}

// kinds lists the kinds of task that this program knows.
func (w *Worker) kinds() []kind {
	own := []kind{w.growthLearn(), w.windowsRefresh(), w.planCompute(), w.priorsFreeze(), w.forecastsAge(), w.recordsExport(), w.jobsTidy()}
	return append(own, w.more...)
}

// decoded makes a handler of a function that takes the payload as T. A payload
// that cannot be read is given up at once.
func decoded[T any](do func(context.Context, T) error) func(context.Context, json.RawMessage) error {
	return func(ctx context.Context, raw json.RawMessage) error {
		var v T
		if err := json.Unmarshal(raw, &v); err != nil {
			return fmt.Errorf("read the payload: %w: %w", err, asynq.SkipRetry)
		}
		return do(ctx, v)
	}
}

func taskID(outbox int64) string { return "ob:" + strconv.FormatInt(outbox, 10) }

// newTask makes the queue's task of an outbox row.
func newTask(j postgres.OutboxJob, k kind) (*asynq.Task, error) {
	body, err := json.Marshal(envelope{j.ID, j.Payload})
	if err != nil {
		return nil, fmt.Errorf("write task %d: %w", j.ID, err)
	}
	return asynq.NewTask(j.Kind, body, asynq.TaskID(taskID(j.ID)), asynq.Timeout(k.timeout), asynq.MaxRetry(k.maxRetry)), nil
}

// mux answers the tasks of all kinds.
func (w *Worker) mux() *asynq.ServeMux {
	m := asynq.NewServeMux()
	for _, k := range w.kinds() {
		m.HandleFunc(k.name, func(ctx context.Context, t *asynq.Task) error { return w.run(ctx, k, t) })
	}
	return m
}

// run does one task: nothing when its row is done already, else the work with
// the row's number in the context, so that the effect and "done" commit together.
func (w *Worker) run(ctx context.Context, k kind, t *asynq.Task) error {
	var e envelope
	if err := json.Unmarshal(t.Payload(), &e); err != nil || e.Outbox == 0 {
		return fmt.Errorf("read task %s: %w", t.Type(), errors.Join(err, asynq.SkipRetry))
	}
	open, err := w.DB.JobOpen(ctx, e.Outbox)
	if err != nil {
		return w.ofJob(err)
	}
	if !open {
		return nil
	}
	if err := k.handle(postgres.WithJob(ctx, e.Outbox), e.Payload); err != nil {
		return w.ofJob(fmt.Errorf("%s %d: %w", k.name, e.Outbox, err))
	}
	// For work that had nothing to commit.
	return w.ofJob(w.DB.JobDone(ctx, e.Outbox))
}

// errAway marks a try that failed because the database was away: it says
// nothing about the job and does not count as one of its tries.
var errAway = errors.New("the database was away")

func (w *Worker) ofJob(err error) error {
	if err == nil {
		return nil
	}
	ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
	defer cancel()
	if w.DB.PingContext(ctx) != nil || connectionLost(err) {
		return fmt.Errorf("%w: %w", errAway, err)
	}
	return err
}

// connectionLost says whether the error is of the connection and not of the work.
func connectionLost(err error) bool {
	var e *pq.Error
	if errors.As(err, &e) {
		return e.Code.Class() == "57" && e.Code != "57014" || e.Code.Class() == "08" // shut down, starting up; no connection
	}
	var n *net.OpError
	return errors.Is(err, driver.ErrBadConn) || errors.Is(err, io.EOF) || errors.As(err, &n)
}

// failed notes a try that failed; the last one puts the job on the office's list.
func (w *Worker) failed(ctx context.Context, t *asynq.Task, err error) {
	var e envelope
	if json.Unmarshal(t.Payload(), &e) != nil || e.Outbox == 0 {
		w.log().Error("a task that is none of ours failed", "type", t.Type(), "err", err)
		return
	}
	if errors.Is(err, errAway) {
		w.log().Warn("job waits for the database", "job", e.Outbox, "kind", t.Type(), "err", err)
		return
	}
	retried, _ := asynq.GetRetryCount(ctx)
	most, _ := asynq.GetMaxRetry(ctx)
	forGood := retried >= most || errors.Is(err, asynq.SkipRetry)
	w.log().Warn("job failed", "job", e.Outbox, "kind", t.Type(), "try", retried+1, "for_good", forGood, "err", err)
	// The task's own time may be over; noting it is not part of it.
	note, cancel := context.WithTimeout(context.WithoutCancel(ctx), 10*time.Second)
	defer cancel()
	why := plainWords(err)
	if err := w.DB.JobFailed(note, e.Outbox, why, forGood); err != nil {
		w.log().Error("the failure could not be noted", "job", e.Outbox, "err", err)
	}
	if !forGood {
		return
	}
	if err := w.tell(note, t.Type(), e.Payload, why); err != nil {
		w.log().Error("those who wait could not be told", "job", e.Outbox, "err", err)
	}
}

// tell lets those who wait for a job's effect know that it was given up.
func (w *Worker) tell(ctx context.Context, name string, payload json.RawMessage, why string) error {
	for _, k := range w.kinds() {
		if k.name == name && k.gaveUp != nil {
			return k.gaveUp(ctx, payload, why)
		}
	}
	return nil
}

// plainWords is the error as the office reads it.
func plainWords(err error) string {
	return strings.TrimSuffix(err.Error(), ": "+asynq.SkipRetry.Error())
}

// retryDelay waits longer with each try: 2, 4, 8 … seconds, ten minutes at most.
func retryDelay(n int, _ error, _ *asynq.Task) time.Duration {
	return min(2*time.Second<<min(n, 12), 10*time.Minute)
}

func (w *Worker) log() *slog.Logger {
	if w.Log != nil {
		return w.Log
	}
	return slog.Default()
}
