package jobs

import (
	"context"
	"time"

	"thirdcut/internal/postgres"
)

// recordsExport makes an export file, with its progress kept for those who wait.
func (w *Worker) recordsExport() kind {
	return kind{name: postgres.JobWriteExport, timeout: time.Hour, maxRetry: 3, handle: decoded(func(ctx context.Context, p postgres.WriteExport) error {
		return w.Exports.Write(ctx, p.ExportID, func(done, _ int64) {
			// Progress is a courtesy: the next note makes a lost one good.
			_ = w.DB.ExportProgress(ctx, p.ExportID, done)
		})
	})}
}
