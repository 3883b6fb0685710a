package jobs

import (
	"context"
	"time"

	"thirdcut/internal/postgres"
)

// growthLearn recomputes what one area's heights have taught.
func (w *Worker) growthLearn() kind {
	return kind{postgres.JobLearnGrowth, time.Minute, 8, decoded(func(ctx context.Context, p postgres.LearnGrowth) error {
		return w.Schedule.Learn(ctx, p.TurfAreaID)
	})}
}
