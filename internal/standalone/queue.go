package standalone

import (
	"context"
	"net"
	"sync"
	"time"

	"github.com/alicebob/miniredis/v2"
	"github.com/hibiken/asynq"
	"github.com/redis/go-redis/v9"
)

// queue is a Redis-protocol server inside this process, reached by an
// in-memory pipe: nothing listens. It forgets everything at the end, which the
// outbox in PostgreSQL makes good.
type queue struct {
	server *miniredis.Miniredis
	done   chan struct{}
	once   sync.Once
}

func startQueue() *queue {
	q := &queue{server: miniredis.NewMiniRedis(), done: make(chan struct{})}
	// The library's clock stands still unless it is told that time has passed;
	// without it locks with a lifetime would never end.
	go func() {
		tick := time.NewTicker(time.Second)
		defer tick.Stop()
		last := time.Now()
		for {
			select {
			case <-q.done:
				return
			case now := <-tick.C:
				q.server.FastForward(now.Sub(last))
				last = now
			}
		}
	}()
	return q
}

// MakeRedisClient makes a client on the pipe; asynq asks for it in this form.
func (q *queue) MakeRedisClient() any {
	return redis.NewClient(&redis.Options{
		Dialer:          func(context.Context, string, string) (net.Conn, error) { return q.server.Dial() },
		DisableIdentity: true,
	})
}

func (q *queue) empty() { q.server.FlushAll() }

func (q *queue) stop() {
	q.once.Do(func() {
		close(q.done)
		q.server.Close()
	})
}

// InProcessQueue starts a queue of its own, for tests and for a worker that has
// no Redis; stop ends it.
func InProcessQueue() (opt asynq.RedisConnOpt, stop func()) {
	q := startQueue()
	return q, q.stop
}
