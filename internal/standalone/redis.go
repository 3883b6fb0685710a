package standalone

import (
	"context"
	"fmt"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"time"

	"github.com/hibiken/asynq"
	"github.com/redis/go-redis/v9"

	"thirdcut/internal/fault"
)

// RedisServer is a real server as a private child, on a socket and no port.
type RedisServer struct {
	child  *child
	dir    string
	socket string
}

// StartRedis starts a redis-server found on PATH that keeps its data in dir, an
// append-only file; a second start there finds what the first one kept.
// Faults: Unavailable "no-redis" when there is none or it does not start.
func StartRedis(ctx context.Context, dir string) (*RedisServer, error) {
	bin, err := exec.LookPath("redis-server")
	if err != nil {
		return nil, fault.New(fault.Unavailable, "no-redis", "there is no redis-server on this machine; install the package redis-server, or leave REDIS_URL empty for the queue inside the program")
	}
	// A socket's path has little room, so it lies apart from dir.
	place, err := os.MkdirTemp("/tmp", "thirdcut-q-*")
	if err != nil {
		return nil, fmt.Errorf("make a folder for the queue's socket: %w", err)
	}
	s := &RedisServer{dir: dir, socket: filepath.Join(place, "redis.sock")}
	cmd := exec.Command(bin, "--port", "0", "--unixsocket", s.socket, "--unixsocketperm", "700", "--dir", dir,
		"--appendonly", "yes", "--save", "", "--daemonize", "no")
	cmd.Env = serverEnv()
	s.child = newChild("redis-server", cmd)
	if err := s.child.start(); err != nil {
		os.RemoveAll(place)
		return nil, fault.New(fault.Unavailable, "no-redis", "redis-server could not be started from %s", bin).Because(err)
	}
	if err := s.awaitReady(ctx); err != nil {
		_ = s.Stop() // the first failure is the one to tell
		return nil, err
	}
	return s, nil
}

func (s *RedisServer) awaitReady(ctx context.Context) error {
	client := redis.NewClient(&redis.Options{Network: "unix", Addr: s.socket, DisableIdentity: true, MaxRetries: -1})
	defer client.Close()
	ctx, cancel := context.WithTimeout(ctx, readyWithin)
	defer cancel()
	for {
		// The client tries and complains at length where there is no socket yet.
		_, err := os.Stat(s.socket)
		if err == nil {
			err = client.Ping(ctx).Err()
		}
		if err == nil {
			return nil
		}
		select {
		case <-s.child.gone:
			return fault.New(fault.Unavailable, "no-redis", "redis-server for the data in %s ended at once: %s", s.dir, redisReason(s.child.said.bytes())).Because(s.child.err)
		case <-ctx.Done():
			return fault.New(fault.Unavailable, "no-redis", "redis-server for the data in %s did not answer within %s: %s", s.dir, readyWithin, redisReason(s.child.said.bytes())).Because(err)
		case <-time.After(5 * time.Millisecond):
		}
	}
}

// redisReason is the last thing the server said, without its process and time.
func redisReason(said []byte) string {
	why := reason(said)
	if _, after, ok := strings.Cut(why, " # "); ok {
		return after
	}
	return why
}

// Queue is the server's address for asynq.
func (s *RedisServer) Queue() asynq.RedisConnOpt {
	return asynq.RedisClientOpt{Network: "unix", Addr: s.socket}
}

// URL is the server's address in the form of REDIS_URL, as asynq.ParseRedisURI reads it.
func (s *RedisServer) URL() string {
	u := url.URL{Scheme: "redis-socket", Path: s.socket}
	return u.String()
}

// Stop ends the server; its data stays. It may be called twice.
func (s *RedisServer) Stop() error {
	err := s.child.stop()
	os.RemoveAll(filepath.Dir(s.socket))
	return err
}
