package redistest

import (
	"context"
	"errors"
	"fmt"
	"runtime"
	"strings"
	"testing"

	"github.com/redis/go-redis/v9"
)

func TestEachTestHasItsOwnQueue(t *testing.T) {
	for _, kind := range []string{"", "server"} {
		t.Run("kind "+kind, func(t *testing.T) {
			t.Setenv(Variable, kind)
			ctx := context.Background()
			a, b := New(t), New(t)
			ca, cb := a.MakeRedisClient().(redis.UniversalClient), b.MakeRedisClient().(redis.UniversalClient)
			defer ca.Close()
			defer cb.Close()
			if info := ca.Info(ctx, "server").Val(); kind == "server" && !strings.Contains(info, "redis_version:") {
				t.Errorf("asked for a real server, got %q", info)
			}
			if err := ca.Set(ctx, "mine", "1", 0).Err(); err != nil {
				t.Fatal(err)
			}
			if err := cb.Get(ctx, "mine").Err(); !errors.Is(err, redis.Nil) {
				t.Errorf("the other test's queue knows it: %v", err)
			}
			Empty(t, a)
			if err := ca.Get(ctx, "mine").Err(); !errors.Is(err, redis.Nil) {
				t.Errorf("it was not emptied: %v", err)
			}
		})
	}
}

// watched is a test that is let fail.
type watched struct {
	testing.TB
	said string
}

func (w *watched) Helper()                   {}
func (w *watched) Fatalf(f string, a ...any) { w.said = fmt.Sprintf(f, a...); runtime.Goexit() }

func TestMissingServerFailsTheTest(t *testing.T) {
	for _, c := range []struct{ kind, path, want string }{
		{"server", t.TempDir(), "the test needs a Redis server: there is no redis-server on this machine"},
		{"sever", "", `leave it empty or set it to "server"`},
	} {
		t.Run(c.kind, func(t *testing.T) {
			t.Setenv(Variable, c.kind)
			if c.path != "" {
				t.Setenv("PATH", c.path)
			}
			w := &watched{TB: t}
			done := make(chan bool)
			go func() {
				defer close(done)
				New(w)
			}()
			<-done
			if !strings.Contains(w.said, c.want) {
				t.Errorf("it said %q, want %q", w.said, c.want)
			}
		})
	}
}
