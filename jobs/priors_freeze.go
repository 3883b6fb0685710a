package jobs

import (
	"context"
	"time"

	"thirdcut/internal/postgres"
)

// priorsFreeze takes the night's means as the starting point of new areas.
func (w *Worker) priorsFreeze() kind {
	return kind{name: postgres.JobFreezePriors, timeout: time.Minute, maxRetry: 8, handle: decoded(func(ctx context.Context, _ struct{}) error {
		return w.Schedule.FreezePriors(ctx)
	})}
}
