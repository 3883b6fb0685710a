package postgres

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jmoiron/sqlx"
)

// The kinds of work for later, as noun:verb, with their payloads.
const (
	JobLearnGrowth    = "growth:learn"    // {"turf_area_id"}
	JobRefreshWindows = "windows:refresh" // {"property_id"}; without it all properties
	JobComputePlan    = "plan:compute"    // {"proposal_id"}
	JobWriteExport    = "records:export"  // {"export_id"}
	JobFreezePriors   = "priors:freeze"   // {}
	JobAgeForecasts   = "forecasts:age"   // {}: forecasts of days that have passed become estimates
	JobTidy           = "jobs:tidy"       // {}: drops jobs done long ago
)

type jobKey struct{}

// WithJob marks the context as working for the outbox row, so that the store
// method that commits the effect marks the row done in the same transaction.
func WithJob(ctx context.Context, outboxID int64) context.Context {
	return context.WithValue(ctx, jobKey{}, outboxID)
}

// addJob writes an outbox row in the caller's transaction; the relay is told
// at commit. A zero runAt means at once.
func addJob(ctx context.Context, tx *sqlx.Tx, kind string, payload any, runAt time.Time) error {
	body, err := json.Marshal(payload)
	if err != nil {
		return fmt.Errorf("write payload of %s: %w", kind, err)
	}
	_, err = tx.ExecContext(ctx, `
		insert into job_outbox (kind, payload, run_at)
		values ($1, $2, coalesce($3, now()))`, kind, string(body), timeOrNull(runAt))
	if err != nil {
		return fmt.Errorf("add job %s: %w", kind, err)
	}
	if _, err := tx.ExecContext(ctx, `select pg_notify('job_outbox', '')`); err != nil {
		return fmt.Errorf("tell the relay of %s: %w", kind, err)
	}
	return nil
}

// claimJob locks the outbox row that the context works for. It reports false
// when the row is already done, so that the caller commits no second effect.
// Outside a job it reports true.
func claimJob(ctx context.Context, tx *sqlx.Tx) (bool, error) {
	id, ok := ctx.Value(jobKey{}).(int64)
	if !ok {
		return true, nil
	}
	var undone bool
	err := tx.GetContext(ctx, &undone, `select done_at is null from job_outbox where id = $1 for update`, id)
	if err != nil {
		return false, fmt.Errorf("lock job %d: %w", id, err)
	}
	return undone, nil
}

// finishJob marks the outbox row that the context works for as done.
func finishJob(ctx context.Context, tx *sqlx.Tx) error {
	id, ok := ctx.Value(jobKey{}).(int64)
	if !ok {
		return nil
	}
	_, err := tx.ExecContext(ctx, `update job_outbox set done_at = now(), last_error = '' where id = $1`, id)
	if err != nil {
		return fmt.Errorf("finish job %d: %w", id, err)
	}
	return nil
}

// payloads of the kinds above, written and read in one place each.
type (
	// LearnGrowth asks for one area's growth to be learned again.
	LearnGrowth struct {
		TurfAreaID uuid.UUID `json:"turf_area_id"`
	}
	// RefreshWindows asks for due windows; a Nil property means all.
	RefreshWindows struct {
		PropertyID uuid.UUID `json:"property_id,omitzero"`
	}
	// ComputePlan asks for one proposal.
	ComputePlan struct {
		ProposalID uuid.UUID `json:"proposal_id"`
	}
	// WriteExport asks for one file.
	WriteExport struct {
		ExportID uuid.UUID `json:"export_id"`
	}
)
