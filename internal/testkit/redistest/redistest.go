// Package redistest gives each test a queue of its own: the one inside the
// program, or a real Redis server when THIRDCUT_TEST_REDIS is "server".
package redistest

import (
	"context"
	"os"
	"testing"

	"github.com/hibiken/asynq"
	"github.com/redis/go-redis/v9"

	"thirdcut/internal/standalone"
)

// Variable chooses the queue of the tests: empty or "server".
const Variable = "THIRDCUT_TEST_REDIS"

// New starts the test's own queue; it ends with the test. A real server that
// is asked for and not found fails the test.
func New(t testing.TB) asynq.RedisConnOpt {
	t.Helper()
	switch os.Getenv(Variable) {
	case "":
		opt, stop := standalone.InProcessQueue()
		t.Cleanup(stop)
		return opt
	case "server":
		dir, err := os.MkdirTemp("", "tcq-") // a socket's path has little room
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { os.RemoveAll(dir) })
		s, err := standalone.StartRedis(context.Background(), dir)
		if err != nil {
			t.Fatalf("the test needs a Redis server: %v", err)
		}
		t.Cleanup(func() {
			if err := s.Stop(); err != nil {
				t.Error(err)
			}
		})
		return s.Queue()
	}
	t.Fatalf("%s is %q; leave it empty or set it to \"server\"", Variable, os.Getenv(Variable))
	return nil
}

// Empty drops everything in the queue, as a courier that lost its bag.
func Empty(t testing.TB, opt asynq.RedisConnOpt) {
	t.Helper()
	client := opt.MakeRedisClient().(redis.UniversalClient)
	defer client.Close()
	if err := client.FlushAll(context.Background()).Err(); err != nil {
		t.Fatalf("empty the queue: %v", err)
	}
}
