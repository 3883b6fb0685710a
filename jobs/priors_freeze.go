package jobs

import (
	"context"
	"time"

	"thirdcut/internal/postgres"
)

// JobAgeForecasts marks forecasts of days that have passed as estimated.
const JobAgeForecasts = "forecasts:age"

// priorsFreeze takes the night's means as the starting point of new areas.
func (w *Worker) priorsFreeze() kind {
	return kind{postgres.JobFreezePriors, time.Minute, 8, decoded(func(ctx context.Context, _ struct{}) error {
		return w.Schedule.FreezePriors(ctx)
	})}
}

// forecastsAge marks forecasts that nothing has replaced.
func (w *Worker) forecastsAge() kind {
	return kind{JobAgeForecasts, time.Minute, 8, decoded(func(ctx context.Context, _ struct{}) error {
		c, err := w.DB.Company(ctx)
		if err != nil {
			return err
		}
		_, err = w.DB.AgeForecasts(ctx, c.Clock(w.DB.Real).Today())
		return err
	})}
}

// kinds lists the kinds of task that this program knows.
func (w *Worker) kinds() []kind {
	return append([]kind{w.growthLearn(), w.windowsRefresh(), w.planCompute(), w.priorsFreeze(), w.forecastsAge(), w.recordsExport()}, w.more...)
}
