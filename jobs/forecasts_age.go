package jobs

import (
	"context"
	"time"

	"thirdcut/internal/postgres"
)

// forecastsAge marks forecasts that nothing has replaced.
func (w *Worker) forecastsAge() kind {
	return kind{name: postgres.JobAgeForecasts, timeout: time.Minute, maxRetry: 8, handle: decoded(func(ctx context.Context, _ struct{}) error {
		c, err := w.DB.Company(ctx)
		if err != nil {
			return err
		}
		_, err = w.DB.AgeForecasts(ctx, c.Clock(w.DB.Real).Today())
		return err
	})}
}
