package jobs

import (
	"context"
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
}

// Run relays and works until the context ends, then lets running jobs finish
// for a while and puts back what is left.
func (w *Worker) Run(ctx context.Context) error {
	n := w.Concurrency
	if n == 0 {
		n = 4
	}
	server := asynq.NewServer(w.Queue, asynq.Config{
		Concurrency:       n,
		ErrorHandler:      asynq.ErrorHandlerFunc(w.failed),
		RetryDelayFunc:    retryDelay,
		ShutdownTimeout:   20 * time.Second,
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
