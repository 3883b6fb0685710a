//go:build unix

package standalone

import (
	"context"
	"errors"
	"path/filepath"
	"testing"
	"time"

	"github.com/hibiken/asynq"
	"github.com/redis/go-redis/v9"
)

// Both queues do the same for asynq.
func queues(t *testing.T) map[string]asynq.RedisConnOpt {
	t.Helper()
	inside, stop := InProcessQueue()
	t.Cleanup(stop)
	s, err := StartRedis(context.Background(), place(t))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := s.Stop(); err != nil {
			t.Error(err)
		}
	})
	return map[string]asynq.RedisConnOpt{"in-process": inside, "redis-server": s.Queue()}
}

func TestTaskGoesThroughTheQueue(t *testing.T) {
	t.Parallel()
	for name, opt := range queues(t) {
		client := asynq.NewClient(opt)
		defer client.Close()
		if _, err := client.Enqueue(asynq.NewTask("lawn:look", []byte("7")), asynq.TaskID("ob:1")); err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if _, err := client.Enqueue(asynq.NewTask("lawn:look", []byte("7")), asynq.TaskID("ob:1")); !errors.Is(err, asynq.ErrTaskIDConflict) {
			t.Errorf("%s: the same task twice: %v", name, err)
		}
		got := make(chan string, 2)
		worker := asynq.NewServer(opt, asynq.Config{Concurrency: 2, LogLevel: asynq.FatalLevel})
		err := worker.Start(asynq.HandlerFunc(func(_ context.Context, task *asynq.Task) error {
			got <- string(task.Payload())
			return nil
		}))
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		select {
		case payload := <-got:
			if payload != "7" {
				t.Errorf("%s: the task says %q", name, payload)
			}
		case <-time.After(20 * time.Second):
			t.Errorf("%s: the task was not done", name)
		}
		worker.Shutdown()
	}
}

// Inside the program time passes for keys with a lifetime only because the
// queue is told so.
func TestUniqueLockEnds(t *testing.T) {
	t.Parallel()
	for name, opt := range queues(t) {
		client := asynq.NewClient(opt)
		defer client.Close()
		enqueue := func() error {
			_, err := client.Enqueue(asynq.NewTask("lawn:look", nil), asynq.Unique(time.Second))
			return err
		}
		if err := enqueue(); err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if err := enqueue(); !errors.Is(err, asynq.ErrDuplicateTask) {
			t.Errorf("%s: a second one at once: %v", name, err)
		}
		eventually(t, name+": the end of the lock", 10*time.Second, func() bool { return enqueue() == nil })
	}
}

func TestQueueIsEmptied(t *testing.T) {
	s := &Server{queue: startQueue()}
	defer s.queue.stop()
	client := s.Queue().MakeRedisClient().(redis.UniversalClient)
	defer client.Close()
	ctx := context.Background()
	if err := client.Set(ctx, "marker", "1", 0).Err(); err != nil {
		t.Fatal(err)
	}
	s.EmptyQueue()
	if err := client.Get(ctx, "marker").Err(); !errors.Is(err, redis.Nil) {
		t.Errorf("the marker is still there: %v", err)
	}
}

func TestTwoQueuesShareNothing(t *testing.T) {
	a, stopA := InProcessQueue()
	defer stopA()
	b, stopB := InProcessQueue()
	defer stopB()
	ctx := context.Background()
	ca, cb := a.MakeRedisClient().(redis.UniversalClient), b.MakeRedisClient().(redis.UniversalClient)
	defer ca.Close()
	defer cb.Close()
	if err := ca.Set(ctx, "mine", "1", 0).Err(); err != nil {
		t.Fatal(err)
	}
	if err := cb.Get(ctx, "mine").Err(); !errors.Is(err, redis.Nil) {
		t.Errorf("the other queue knows it: %v", err)
	}
	stopA() // twice is fine
}

func TestRedisServerKeepsWhatItHas(t *testing.T) {
	dir, ctx := place(t), context.Background()
	for _, first := range []bool{true, false} {
		began := time.Now()
		s, err := StartRedis(ctx, dir)
		if err != nil {
			t.Fatal(err)
		}
		t.Logf("redis-server answers after %v", time.Since(began))
		opt, err := asynq.ParseRedisURI(s.URL())
		if err != nil {
			t.Fatal(err)
		}
		client := opt.MakeRedisClient().(redis.UniversalClient)
		if first {
			err = client.Set(ctx, "marker", "7", 0).Err()
		} else if got := client.Get(ctx, "marker"); got.Val() != "7" {
			t.Errorf("the second server holds %q, %v", got.Val(), got.Err())
		}
		client.Close()
		if err != nil {
			t.Fatal(err)
		}
		if err := s.Stop(); err != nil {
			t.Fatal(err)
		}
		if err := s.Stop(); err != nil {
			t.Errorf("a second Stop: %v", err)
		}
	}
}

func TestNoRedisServerIsSaid(t *testing.T) {
	_, err := StartRedis(context.Background(), filepath.Join(place(t), "missing"))
	refused(t, err, "no-redis", "ended at once", "missing")
	t.Setenv("PATH", place(t))
	_, err = StartRedis(context.Background(), place(t))
	refused(t, err, "no-redis", "install the package redis-server", "REDIS_URL")
}
