package jobs

import (
	"context"
	"time"

	"thirdcut/internal/postgres"
)

// keepDone is how long a job that was done stays on record.
const keepDone = 30 * 24 * time.Hour

// jobsTidy drops jobs done long ago, so that the outbox does not grow for ever.
func (w *Worker) jobsTidy() kind {
	return kind{name: postgres.JobTidy, timeout: 5 * time.Minute, maxRetry: 8, handle: decoded(func(ctx context.Context, _ struct{}) error {
		_, err := w.DB.TidyJobs(ctx, w.DB.Real().Add(-keepDone))
		return err
	})}
}
