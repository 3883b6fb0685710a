package jobs

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"thirdcut/internal/postgres"
)

// planCompute makes a plan that was asked for. One that was given up says so
// where people wait for it.
func (w *Worker) planCompute() kind {
	return kind{name: postgres.JobComputePlan, timeout: 15 * time.Minute, maxRetry: 3,
		handle: decoded(func(ctx context.Context, p postgres.ComputePlan) error {
			return w.Schedule.ComputePlan(ctx, p.ProposalID)
		}),
		gaveUp: func(ctx context.Context, payload json.RawMessage, why string) error {
			var p postgres.ComputePlan
			if json.Unmarshal(payload, &p) != nil {
				return nil // it names no plan that anybody waits for
			}
			return w.DB.FailPlan(ctx, p.ProposalID, fmt.Sprintf("The plan could not be made: %s. Try its job again under Jobs, or ask for a new plan.", why))
		}}
}
