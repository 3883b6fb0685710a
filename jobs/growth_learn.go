package jobs

import (
	"context"
	"time"

	"thirdcut/internal/postgres"
)

// growthLearn recomputes what one area's heights have taught.
func (w *Worker) growthLearn() kind {
	return kind{name: postgres.JobLearnGrowth, timeout: time.Minute, maxRetry: 8, handle: decoded(func(ctx context.Context, p postgres.LearnGrowth) error {
		return w.Schedule.Learn(ctx, p.TurfAreaID)
	})}
}
