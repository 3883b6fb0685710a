package jobs

import (
	"context"
	"time"

	"thirdcut/internal/postgres"
)

// planCompute makes a plan that was asked for.
func (w *Worker) planCompute() kind {
	return kind{postgres.JobComputePlan, 15 * time.Minute, 3, decoded(func(ctx context.Context, p postgres.ComputePlan) error {
		return w.Schedule.ComputePlan(ctx, p.ProposalID)
	})}
}
