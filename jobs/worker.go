package jobs

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"sync"
	"time"

	"github.com/google/uuid"
	"github.com/hibiken/asynq"

	"thirdcut/internal/postgres"
	"thirdcut/internal/schedule"
)

// Exporter makes export files.
type Exporter interface {
	Write(ctx context.Context, exportID uuid.UUID, progress func(done, total int64)) error
}

// Worker does the jobs of one process. Any number of workers may run.
type Worker struct {
	DB       *postgres.DB
	URL      string // of the database, for the relay's ear
	Queue    asynq.RedisConnOpt
	Schedule *schedule.Service
	Exports  Exporter
	Log      *slog.Logger
	// Concurrency is how many jobs run at once; 0 is four.
	Concurrency int

	more  []kind        // kinds of the tests
	grace time.Duration // for running jobs at the end; 0 is twenty seconds
}

// Run relays and works until the context ends, then lets running jobs finish
// for a while and puts back what is left.
func (w *Worker) Run(ctx context.Context) error {
	n := w.Concurrency
	if n == 0 {
		n = 4
	}
	grace := w.grace
	if grace == 0 {
		grace = 20 * time.Second
	}
	// Jobs outlive ctx by the grace; what then still runs is put back and told to stop.
	base, stop := context.WithCancel(context.WithoutCancel(ctx))
	defer stop()
	server := asynq.NewServer(w.Queue, asynq.Config{
		Concurrency:       n,
		ErrorHandler:      asynq.ErrorHandlerFunc(w.failed),
		IsFailure:         func(err error) bool { return !errors.Is(err, errAway) },
		RetryDelayFunc:    retryDelay,
		ShutdownTimeout:   grace,
		BaseContext:       func() context.Context { return base },
		Logger:            quiet{w.log()},
		LogLevel:          asynq.WarnLevel,
		TaskCheckInterval: time.Second,
	})
	if err := server.Start(w.mux()); err != nil {
		return fmt.Errorf("start the worker: %w", err)
	}
	var beside sync.WaitGroup
	beside.Go(func() { w.relay(ctx) })
	beside.Go(func() { w.timetable(ctx) })
	<-ctx.Done()
	beside.Wait()
	server.Shutdown()
	return nil
}

// quiet hands the queue library's words to our log.
type quiet struct{ log *slog.Logger }

func (q quiet) Debug(args ...any) { q.log.Debug(fmt.Sprint(args...)) }
func (q quiet) Info(args ...any)  { q.log.Info(fmt.Sprint(args...)) }
func (q quiet) Warn(args ...any)  { q.log.Warn(fmt.Sprint(args...)) }
func (q quiet) Error(args ...any) { q.log.Error(fmt.Sprint(args...)) }
func (q quiet) Fatal(args ...any) { q.log.Error(fmt.Sprint(args...)) }
