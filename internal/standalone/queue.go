package standalone

import (
	"context"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"time"

	"github.com/alicebob/miniredis/v2"
	"github.com/hibiken/asynq"
	"github.com/redis/go-redis/v9"

	"thirdcut/internal/fault"
)

// queue is a Redis-protocol server inside this process, reached by an
// in-memory pipe: nothing listens. It forgets everything at the end, which the
// outbox in PostgreSQL makes good.
type queue struct {
	server *miniredis.Miniredis
	done   chan struct{}
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
	close(q.done)
	q.server.Close()
}

// InProcessQueue starts a queue of its own, for tests and for a worker that has
// no Redis; stop ends it.
func InProcessQueue() (opt asynq.RedisConnOpt, stop func()) {
	q := startQueue()
	return q, q.stop
}

// RedisServer is a real server as a private child.
type RedisServer struct {
	child  *child
	socket string
}

// StartRedis starts a redis-server found on PATH on a socket in dir, with
// appended file and no port. fault.Unavailable "no-redis" when there is none.
func StartRedis(ctx context.Context, dir string) (*RedisServer, error) {
	bin, err := exec.LookPath("redis-server")
	if err != nil {
		return nil, fault.New(fault.Unavailable, "no-redis", "there is no redis-server on this machine; install the package redis-server, or leave REDIS_URL empty for the queue inside the program")
	}
	socket := filepath.Join(dir, "redis.sock")
	cmd := exec.Command(bin, "--port", "0", "--unixsocket", socket, "--unixsocketperm", "700", "--dir", dir,
		"--appendonly", "yes", "--save", "", "--daemonize", "no")
	cmd.Env = append(os.Environ(), "LC_ALL=C")
	c := &child{cmd: cmd, gone: make(chan struct{}), said: &tail{}}
	cmd.Stdout, cmd.Stderr = c.said, c.said
	if err := c.start(); err != nil {
		return nil, fault.New(fault.Unavailable, "no-redis", "redis-server could not be started").Because(err)
	}
	s := &RedisServer{child: c, socket: socket}
	client := redis.NewClient(&redis.Options{Network: "unix", Addr: socket, DisableIdentity: true})
	defer client.Close()
	for range 400 {
		if client.Ping(ctx).Err() == nil {
			return s, nil
		}
		select {
		case <-c.gone:
			return nil, fault.New(fault.Unavailable, "no-redis", "redis-server ended at once: %s", lastLine(c.said.bytes())).Because(c.err)
		case <-ctx.Done():
			s.Stop()
			return nil, ctx.Err()
		case <-time.After(10 * time.Millisecond):
		}
	}
	s.Stop()
	return nil, fault.New(fault.Unavailable, "no-redis", "redis-server did not answer: %s", lastLine(c.said.bytes()))
}

// Queue is the server's address for asynq.
func (s *RedisServer) Queue() asynq.RedisConnOpt {
	return asynq.RedisClientOpt{Network: "unix", Addr: s.socket}
}

// Stop ends the server.
func (s *RedisServer) Stop() error { return s.child.stop() }
