package jobs

import (
	"context"
	"time"

	"thirdcut/internal/civil"
	"thirdcut/internal/fault"
	"thirdcut/internal/postgres"
)

// entry is one line of the timetable: a job that is due once a business day,
// from an hour on.
type entry struct {
	name  string
	kind  string
	after civil.TimeOfDay
}

// timetableEntries are the periodic jobs. What they do is a sweep over what
// PostgreSQL says, so a missed night is made good at the next look.
var timetableEntries = []entry{
	{"age forecasts", postgres.JobAgeForecasts, 20},
	{"freeze priors", postgres.JobFreezePriors, 30},
	{"tidy jobs", postgres.JobTidy, 40},
	{"windows of all lawns", postgres.JobRefreshWindows, 60},
}

// timetable looks once a minute which periodic jobs are due.
func (w *Worker) timetable(ctx context.Context) {
	for ctx.Err() == nil {
		if err := w.lookAtTimetable(ctx); err != nil && ctx.Err() == nil {
			w.log().Warn("the timetable could not be looked at", "err", err)
		}
		pause(ctx, time.Minute)
	}
}

func (w *Worker) lookAtTimetable(ctx context.Context) error {
	c, err := w.DB.Company(ctx)
	if fault.HasCode(err, "no-company") {
		return nil // nothing is due yet
	}
	if err != nil {
		return err
	}
	clock := c.Clock(w.DB.Real)
	now := civil.TimeOf(clock.Now(), clock.Zone)
	for _, e := range timetableEntries {
		if now < e.after {
			continue
		}
		if err := w.DB.AskPeriodic(ctx, e.name, clock.Today().String(), e.kind, struct{}{}); err != nil {
			return err
		}
	}
	return nil
}
