package jobs

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/hibiken/asynq"
	"github.com/redis/go-redis/v9"

	"thirdcut/internal/fault"
	"thirdcut/internal/postgres"
	"thirdcut/internal/testkit/build"
	"thirdcut/internal/testkit/pgtest"
	"thirdcut/internal/testkit/redistest"
)

func TestQueueThatIsEmptiedLosesNothing(t *testing.T) {
	h := newHouse(t)
	const n = 300
	h.ask(n)
	h.start(h.worker(wait(20 * time.Millisecond)))
	for _, at := range []int{30, 100} {
		h.eventually(fmt.Sprintf("%d effects", at), 20*time.Second, func() bool { return h.effects() >= at })
		if h.undone() == 0 {
			t.Fatal("nothing was left to lose")
		}
		redistest.Empty(t, h.queue)
	}
	h.allDone(30 * time.Second)
	h.once(n)
}

// workUntilKilled is the life of the victim.
func workUntilKilled() {
	ctx := context.Background()
	db, err := postgres.Open(ctx, os.Getenv(victim), time.Now)
	if err != nil {
		panic(err)
	}
	queue, err := asynq.ParseRedisURI(os.Getenv(victim + "_QUEUE"))
	if err != nil {
		panic(err)
	}
	w := &Worker{DB: db, URL: os.Getenv(victim), Queue: queue, Log: quietLog(), Concurrency: 4,
		more: []kind{counter(db, func(ctx context.Context) error {
			fmt.Println("working")
			return wait(100 * time.Millisecond)(ctx)
		})}}
	panic(w.Run(ctx))
}

// A worker that is killed leaves tasks that the queue holds to be running. It
// takes the queue a minute to see; the test lets that minute pass in the queue's
// own books.
func TestKilledWorkerLosesNothing(t *testing.T) {
	t.Setenv(redistest.Variable, "server") // another process cannot reach the queue inside this one
	h := newHouse(t)
	const n = 100
	h.ask(n)
	opt := h.queue.(asynq.RedisClientOpt)
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), victim+"="+h.url, victim+"_QUEUE="+queueURL(opt))
	cmd.Stderr = os.Stderr
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	lines := bufio.NewScanner(out)
	for i := 0; i < 22 && lines.Scan(); i++ { // in the middle of a batch
	}
	cmd.Process.Kill()
	cmd.Wait()
	client := h.queue.MakeRedisClient().(redis.UniversalClient)
	defer client.Close()
	ctx := context.Background()
	running, err := client.ZRange(ctx, "asynq:{default}:lease", 0, -1).Result()
	if err != nil || len(running) == 0 {
		t.Fatalf("the victim was killed with %d tasks running, %v", len(running), err)
	}
	if done := h.effects(); done == 0 || done == n {
		t.Fatalf("the victim was killed after %d effects", done)
	}
	for _, id := range running {
		if err := client.ZAdd(ctx, "asynq:{default}:lease", redis.Z{Score: float64(time.Now().Add(-time.Minute).Unix()), Member: id}).Err(); err != nil {
			t.Fatal(err)
		}
	}
	h.start(h.worker(wait(0)))
	h.allDone(30 * time.Second)
	h.once(n)
}

func queueURL(opt asynq.RedisClientOpt) string {
	if opt.Network == "unix" {
		return "redis-socket://" + opt.Addr
	}
	return "redis://" + opt.Addr
}

func TestDatabaseThatIsRestartedLosesNothing(t *testing.T) {
	h := newHouse(t)
	if pgtest.Server() == nil {
		t.Fatalf("this test restarts the server and may not do that to somebody else's; unset %s", pgtest.ServerVariable)
	}
	const n = 200
	h.ask(n)
	h.start(h.worker(wait(20 * time.Millisecond)))
	h.eventually("the first effects", 20*time.Second, func() bool { return h.effects() >= 20 })
	if err := pgtest.Server().RestartPostgres(context.Background()); err != nil {
		t.Fatal(err)
	}
	if h.undone() == 0 {
		t.Fatal("nothing was left to do after the restart")
	}
	h.allDone(60 * time.Second)
	h.once(n)
	if tries := h.number(`select coalesce(sum(attempts), 0) from job_outbox`); tries != 0 {
		t.Errorf("the restart was counted as %d failed tries of jobs", tries)
	}
}

func TestOneRelayAtATime(t *testing.T) {
	h := newHouse(t)
	ctx := context.Background()
	a, err := h.TakeRelaySeat(ctx)
	if err != nil || a == nil {
		t.Fatalf("the first relay got %v, %v", a, err)
	}
	if b, err := h.TakeRelaySeat(ctx); err != nil || b != nil {
		t.Fatalf("a second relay got the seat: %v, %v", b, err)
	}
	a.Leave()
	b, err := h.TakeRelaySeat(ctx)
	if err != nil || b == nil {
		t.Fatalf("the seat was not free after the first had left: %v, %v", b, err)
	}
	b.Leave()
}

func TestSecondRelayTakesOver(t *testing.T) {
	h := newHouse(t)
	// The first worker shares this process' pool, as two parts of one program do:
	// its seat must not live on in the pool.
	first := h.worker(wait(0))
	first.DB = h.DB
	stop := h.start(first)
	h.ask(20)
	h.allDone(10 * time.Second)
	h.start(h.worker(wait(0)))
	if n := h.number(`select count(*) from pg_locks where locktype = 'advisory' and granted and database = (select oid from pg_database where datname = current_database())`); n != 1 {
		t.Errorf("%d relays sit, want 1", n)
	}
	stop()
	h.do(`insert into job_outbox (kind, payload) select $1, jsonb_build_object('name', 'late-' || n) from generate_series(1, 20) n`, countKind)
	h.allDone(15 * time.Second)
	h.once(40)
}

func TestTaskThatComesTwiceHasOneEffect(t *testing.T) {
	h := newHouse(t)
	h.ask(1)
	id := int64(h.number(`select id from job_outbox`))
	w := h.worker(wait(0))
	k := w.more[0]
	// The first delivery waits for the second, so that two are surely at work at once.
	two, inside, work := make(chan struct{}), atomic.Int32{}, k.handle
	k.handle = func(ctx context.Context, payload json.RawMessage) error {
		if inside.Add(1) == 2 {
			close(two)
		}
		select {
		case <-two:
		case <-time.After(20 * time.Second):
		}
		return work(ctx, payload)
	}
	task, err := newTask(postgres.OutboxJob{ID: id, Kind: countKind, Payload: body(t, counted{"job-1"})}, k)
	if err != nil {
		t.Fatal(err)
	}
	ended := make(chan error, 5)
	for range 5 {
		go func() { ended <- w.run(context.Background(), k, task) }()
	}
	for range 5 {
		if err := <-ended; err != nil {
			t.Error(err)
		}
	}
	if h.tries.Load() < 2 {
		t.Fatalf("only %d deliveries worked at once; the test shows nothing", h.tries.Load())
	}
	if err := w.run(context.Background(), k, task); err != nil { // and one long after
		t.Error(err)
	}
	h.once(1)
}

func TestJobThatFailsForGoodIsListedAndRunsAgain(t *testing.T) {
	h := newHouse(t)
	var broken atomic.Bool
	broken.Store(true)
	w := h.worker(func(context.Context) error {
		if broken.Load() {
			return fmt.Errorf("the paper is out of stock: %w", asynq.SkipRetry)
		}
		return nil
	})
	h.start(w)
	h.ask(1)
	ctx := context.Background()
	list := h.failedOne("the paper is out of stock")
	if n := h.tries.Load(); n != 1 || list.Attempts != 1 {
		t.Errorf("tried %d times, noted %d, want 1", n, list.Attempts)
	}
	if f, err := h.JobFigures(ctx); err != nil || f.Failed != 1 || f.Waiting != 0 {
		t.Errorf("figures %+v, %v", f, err)
	}
	broken.Store(false)
	if err := h.RetryJob(ctx, list.ID); err != nil {
		t.Fatal(err)
	}
	h.allDone(10 * time.Second)
	h.once(1)
	if err := h.RetryJob(ctx, list.ID); !fault.HasCode(err, "job") {
		t.Errorf("retrying what is done: %v", err)
	}
}

// failedOne waits for the one job that failed for good and says those words.
func (h *house) failedOne(words string) postgres.OutboxJob {
	h.t.Helper()
	var list []postgres.OutboxJob
	h.eventually("a job is listed as failed", 10*time.Second, func() bool {
		var err error
		if list, err = h.FailedJobs(context.Background(), 10); err != nil {
			h.t.Fatal(err)
		}
		return len(list) > 0
	})
	if len(list) != 1 || !strings.Contains(list[0].LastError, words) || strings.Contains(list[0].LastError, "skip retry") || list[0].FailedAt == nil {
		h.t.Fatalf("the list is %+v, want one that says %q", list, words)
	}
	return list[0]
}

// A last try that is still on its way out when the office retries must not
// swallow the new one.
func TestRetryWhileTheLastTryEnds(t *testing.T) {
	h := newHouse(t)
	release, began := make(chan struct{}), make(chan struct{}, 9)
	w := h.worker(func(context.Context) error {
		if began <- struct{}{}; h.tries.Load() == 1 {
			<-release
			return errors.Join(errors.New("no"), asynq.SkipRetry)
		}
		return nil
	})
	h.start(w)
	h.ask(1)
	<-began
	ctx := context.Background()
	id := int64(h.number(`select id from job_outbox`))
	if err := h.JobFailed(ctx, id, "no", true); err != nil { // as the error handler notes it before the queue puts it away
		t.Fatal(err)
	}
	if err := h.RetryJob(ctx, id); err != nil {
		t.Fatal(err)
	}
	time.Sleep(300 * time.Millisecond) // the relay looks while it runs
	if n := h.number(`select count(*) from job_outbox where sent_at is not null`); n != 0 {
		t.Error("the job was noted as handed over while its last try still ran")
	}
	close(release)
	h.eventually("the first try is noted", 10*time.Second, func() bool {
		return h.effects() == 1 || h.number(`select count(*) from job_outbox where failed_at is not null`) == 1
	})
	if h.effects() == 0 {
		if err := h.RetryJob(ctx, id); err != nil {
			t.Fatal(err)
		}
	}
	h.allDone(15 * time.Second)
	h.once(1)
}

func TestUnknownKindAndUnreadablePayloadAreListed(t *testing.T) {
	h := newHouse(t)
	h.start(h.worker(wait(0)))
	h.do(`insert into job_outbox (kind) values ('bees:count')`)
	h.do(`select pg_notify('job_outbox', '')`)
	h.failedOne("this program knows no job bees:count")
	h.do(`delete from job_outbox`)
	h.do(`insert into job_outbox (kind, payload) values ($1, '{"name": 7}')`, countKind)
	h.do(`select pg_notify('job_outbox', '')`)
	h.failedOne("read the payload")
}

// A job that takes its worker along each time is given up in the end.
func TestJobThatKillsItsWorkersIsListed(t *testing.T) {
	h := newHouse(t)
	h.ask(1)
	ctx := context.Background()
	w := h.worker(wait(0))
	hand, err := w.newHand()
	if err != nil {
		t.Fatal(err)
	}
	defer hand.close()
	seat, err := h.TakeRelaySeat(ctx)
	if err != nil || seat == nil {
		t.Fatal(seat, err)
	}
	defer seat.Leave()
	if err := hand.over(ctx, seat, w); err != nil {
		t.Fatal(err)
	}
	id := int64(h.number(`select id from job_outbox where sent_at is not null`))
	if err := hand.inspector.ArchiveTask("default", taskID(id)); err != nil {
		t.Fatal(err)
	}
	key := "asynq:{default}:t:" + taskID(id)
	raw, err := hand.redis.HGet(ctx, key, "msg").Bytes()
	if err != nil {
		t.Fatal(err)
	}
	// The message is protobuf; its ninth field is the last error.
	said := asynq.ErrLeaseExpired.Error()
	raw = append(raw, append([]byte{7<<3 | 2, byte(len(said))}, said...)...)
	if err := hand.redis.HSet(ctx, key, "msg", raw).Err(); err != nil {
		t.Fatal(err)
	}
	h.do(`update job_outbox set sent_at = now() - interval '16 minutes'`)
	if err := hand.over(ctx, seat, w); err != nil {
		t.Fatal(err)
	}
	h.failedOne("the worker that tried it died each time")
}

func TestJobUndoneForLongIsHandedOverAgain(t *testing.T) {
	h := newHouse(t)
	h.ask(3)
	h.do(`update job_outbox set sent_epoch = 'lost', sent_at = now() - interval '16 minutes'`)
	ctx := context.Background()
	seat, err := h.TakeRelaySeat(ctx)
	if err != nil || seat == nil {
		t.Fatal(seat, err)
	}
	defer seat.Leave()
	due := func(epoch string) int {
		list, err := seat.Due(ctx, epoch, 10)
		if err != nil {
			t.Fatal(err)
		}
		return len(list)
	}
	if n := due("lost"); n != 3 {
		t.Errorf("%d jobs are due after 16 minutes, want 3", n)
	}
	h.do(`update job_outbox set sent_at = now() - interval '14 minutes'`)
	if n := due("lost"); n != 0 {
		t.Errorf("%d jobs are due after 14 minutes in the same life of the queue", n)
	}
	if n := due("new"); n != 3 {
		t.Errorf("%d jobs are due in a new life of the queue, want 3", n)
	}
	h.do(`update job_outbox set run_at = now() + interval '1 hour'`)
	if n := due("new"); n != 0 {
		t.Errorf("%d jobs of later are due now", n)
	}
}

func TestTimetableAsksOnceADay(t *testing.T) {
	h := newHouse(t)
	at := build.Clock() // 17:00 in Maryland
	looks := func() {
		t.Helper()
		ended := make(chan error, 3)
		for range 3 {
			w := h.worker(wait(0))
			w.DB.Real = func() time.Time { return at }
			go func() {
				for range 5 {
					if err := w.lookAtTimetable(context.Background()); err != nil {
						ended <- err
						return
					}
				}
				ended <- nil
			}()
		}
		for range 3 {
			if err := <-ended; err != nil {
				t.Fatal(err)
			}
		}
	}
	asked := func(want int) {
		t.Helper()
		looks()
		for _, e := range timetableEntries {
			if n := h.number(`select count(*) from job_outbox where kind = $1 and payload = '{}'`, e.kind); n != want {
				t.Errorf("%s was asked for %d times by %s, want %d", e.name, n, at, want)
			}
		}
	}
	asked(0) // no company yet
	build.Company(t, h.DB)
	h.do(`delete from job_outbox`)
	asked(1)
	at = at.Add(7*time.Hour + 15*time.Minute) // 00:15: the new day's hour has not come
	asked(1)
	at = at.Add(50 * time.Minute) // 01:05
	asked(2)
	h.Close()
	w := h.worker(wait(0))
	w.DB.Close()
	if err := w.lookAtTimetable(context.Background()); err == nil {
		t.Error("a database that is away was taken for no company")
	}
}

func TestShutdownLetsAJobFinish(t *testing.T) {
	h := newHouse(t)
	began := make(chan struct{}, 9)
	stop := h.start(h.worker(func(ctx context.Context) error {
		began <- struct{}{}
		return wait(time.Second)(ctx)
	}))
	h.ask(1)
	<-began
	stop()
	if h.undone() != 0 || h.tries.Load() != 1 {
		t.Errorf("after the end %d jobs are undone, tried %d times", h.undone(), h.tries.Load())
	}
	h.once(1)
}

func TestShutdownPutsALongJobBack(t *testing.T) {
	h := newHouse(t)
	began, told := make(chan struct{}, 9), make(chan struct{}, 9)
	w := h.worker(func(ctx context.Context) error {
		began <- struct{}{}
		<-ctx.Done()
		told <- struct{}{}
		return ctx.Err()
	})
	w.grace = 200 * time.Millisecond
	stop := h.start(w)
	h.ask(1)
	<-began
	stop()
	select {
	case <-told:
	case <-time.After(5 * time.Second):
		t.Error("the job that was put back was not told to stop")
	}
	if h.undone() != 1 || h.effects() != 0 {
		t.Fatalf("%d undone, %d effects", h.undone(), h.effects())
	}
	h.start(h.worker(wait(0)))
	h.allDone(15 * time.Second)
	h.once(1)
}
