package jobs

import (
	"context"
	"time"

	"thirdcut/internal/postgres"
)

// windowsRefresh computes due windows, of one property or of all.
func (w *Worker) windowsRefresh() kind {
	return kind{name: postgres.JobRefreshWindows, timeout: 10 * time.Minute, maxRetry: 8, handle: decoded(func(ctx context.Context, p postgres.RefreshWindows) error {
		return w.Schedule.RefreshWindows(ctx, p.PropertyID)
	})}
}
