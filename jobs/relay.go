package jobs

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/hibiken/asynq"
	"github.com/lib/pq"
	"github.com/redis/go-redis/v9"

	"thirdcut/internal/postgres"
)

const (
	// epochKey holds the queue's name of its own life. A queue that lost
	// everything has lost the key too, gets a new one, and so is given every
	// undone job again.
	epochKey   = "thirdcut:epoch"
	pollEvery  = 2 * time.Second
	handAtOnce = 200
)

// relay hands outbox rows to the queue while it holds the relay's seat, and
// tries for the seat while another process has it. A failure is tried again.
func (w *Worker) relay(ctx context.Context) {
	for ctx.Err() == nil {
		if err := w.sit(ctx); err != nil && ctx.Err() == nil {
			w.log().Warn("the relay stands still and tries again", "err", err)
		}
		pause(ctx, pollEvery)
	}
}

func pause(ctx context.Context, d time.Duration) {
	select {
	case <-ctx.Done():
	case <-time.After(d):
	}
}

// sit relays until something fails; nil where another process has the seat.
func (w *Worker) sit(ctx context.Context) error {
	seat, err := w.DB.TakeRelaySeat(ctx)
	if err != nil || seat == nil {
		return err
	}
	defer seat.Leave()
	ear := pq.NewListener(w.URL, 100*time.Millisecond, 10*time.Second, nil)
	defer ear.Close()
	// Listen waits for a database that is away as long as it is away.
	defer context.AfterFunc(ctx, func() { ear.Close() })()
	if err := ear.Listen(postgres.OutboxChannel); err != nil {
		return fmt.Errorf("listen for jobs: %w", err)
	}
	hand, err := w.newHand()
	if err != nil {
		return err
	}
	defer hand.close()
	poll := time.NewTicker(pollEvery)
	defer poll.Stop()
	for {
		if err := hand.over(ctx, seat, w); err != nil {
			return err
		}
		select {
		case <-ctx.Done():
			return nil
		case <-ear.Notify: // nil after the connection was made anew: look again all the same
		case <-poll.C:
		}
	}
}

// hand is the relay's connection to the queue.
type hand struct {
	redis     redis.UniversalClient
	client    *asynq.Client
	inspector *asynq.Inspector
	kinds     map[string]kind
}

func (w *Worker) newHand() (*hand, error) {
	c, ok := w.Queue.MakeRedisClient().(redis.UniversalClient)
	if !ok {
		return nil, errors.New("the queue's client is of an unknown kind")
	}
	h := &hand{redis: c, client: asynq.NewClient(w.Queue), inspector: asynq.NewInspector(w.Queue), kinds: map[string]kind{}}
	for _, k := range w.kinds() {
		h.kinds[k.name] = k
	}
	return h, nil
}

func (h *hand) close() {
	h.inspector.Close()
	h.client.Close()
	h.redis.Close()
}

// epoch is the name of this life of the queue; the first who asks gives it one.
func (h *hand) epoch(ctx context.Context) (string, error) {
	if err := h.redis.SetNX(ctx, epochKey, uuid.NewString(), 0).Err(); err != nil {
		return "", fmt.Errorf("mark the queue: %w", err)
	}
	name, err := h.redis.Get(ctx, epochKey).Result()
	if err != nil {
		return "", fmt.Errorf("read the queue's mark: %w", err)
	}
	return name, nil
}

// over hands over what is due until nothing is left.
func (h *hand) over(ctx context.Context, seat *postgres.RelaySeat, w *Worker) error {
	for {
		epoch, err := h.epoch(ctx)
		if err != nil {
			return err
		}
		jobs, err := seat.Due(ctx, epoch, handAtOnce)
		if err != nil {
			return err
		}
		handed := 0
		for _, j := range jobs {
			given, err := h.one(ctx, j, w)
			if err != nil {
				return err
			}
			if !given {
				continue
			}
			handed++
			if err := seat.Sent(ctx, epoch, j.ID); err != nil {
				return err
			}
		}
		if len(jobs) < handAtOnce || handed == 0 {
			return nil
		}
	}
}

// one hands one job over; false when the queue could not take it yet.
func (h *hand) one(ctx context.Context, j postgres.OutboxJob, w *Worker) (given bool, err error) {
	k, ok := h.kinds[j.Kind]
	if !ok {
		return true, w.DB.JobFailed(ctx, j.ID, "this program knows no job "+j.Kind, true)
	}
	task, err := newTask(j, k)
	if err != nil {
		return false, err
	}
	_, err = h.client.EnqueueContext(ctx, task)
	if errors.Is(err, asynq.ErrTaskIDConflict) {
		return h.again(ctx, j, task, w)
	}
	if err != nil {
		return false, fmt.Errorf("hand over job %d: %w", j.ID, err)
	}
	return true, nil
}

// again deals with a task that the queue has already. One that waits or is to
// be retried is fine. One that runs may be the last try of a job that was given
// up a moment ago, so that is looked at again. One that was put away would
// swallow the new one.
func (h *hand) again(ctx context.Context, j postgres.OutboxJob, task *asynq.Task, w *Worker) (given bool, err error) {
	info, err := h.inspector.GetTaskInfo("default", taskID(j.ID))
	if errors.Is(err, asynq.ErrTaskNotFound) || errors.Is(err, asynq.ErrQueueNotFound) {
		return false, nil // it ended in between; the next round sees
	}
	if err != nil {
		return false, fmt.Errorf("look at task %d: %w", j.ID, err)
	}
	switch info.State {
	case asynq.TaskStateArchived:
		if j.Again && info.LastErr == asynq.ErrLeaseExpired.Error() {
			// Nobody was left to say so: each try took its worker along.
			const why = "given up, since the worker that tried it died each time"
			return true, errors.Join(w.DB.JobFailed(ctx, j.ID, why, true), w.tell(ctx, j.Kind, j.Payload, why))
		}
	case asynq.TaskStateCompleted:
	case asynq.TaskStateActive:
		return false, nil
	default:
		return true, nil
	}
	if err := h.inspector.DeleteTask("default", taskID(j.ID)); err != nil && !errors.Is(err, asynq.ErrTaskNotFound) {
		return false, fmt.Errorf("clear task %d: %w", j.ID, err)
	}
	if _, err := h.client.EnqueueContext(ctx, task); err != nil && !errors.Is(err, asynq.ErrTaskIDConflict) {
		return false, fmt.Errorf("hand over job %d again: %w", j.ID, err)
	}
	return true, nil
}
