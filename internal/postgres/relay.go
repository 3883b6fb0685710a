package postgres

import (
	"context"
	"database/sql/driver"
	"encoding/json"
	"fmt"
	"time"

	"github.com/jmoiron/sqlx"

	"thirdcut/internal/fault"
)

// OutboxChannel is where a commit with new jobs is told.
const OutboxChannel = "job_outbox"

// OutboxJob is one job that waits for the queue, or failed.
type OutboxJob struct {
	ID        int64           `db:"id"`
	Kind      string          `db:"kind"`
	Payload   json.RawMessage `db:"payload"`
	Attempts  int             `db:"attempts"`
	LastError string          `db:"last_error"`
	CreatedAt time.Time       `db:"created_at"`
	FailedAt  *time.Time      `db:"failed_at"`
	Again     bool            `db:"again"` // this life of the queue was given it before
}

// RelaySeat is the place of the one relay: while it is held, no other relay
// hands jobs over. It lives on a connection of its own and ends with it.
type RelaySeat struct{ conn *sqlx.Conn }

// TakeRelaySeat tries for the seat; nil when another process has it.
func (db *DB) TakeRelaySeat(ctx context.Context) (*RelaySeat, error) {
	conn, err := db.Connx(ctx)
	if err != nil {
		return nil, fmt.Errorf("connect for the relay: %w", err)
	}
	var ours bool
	if err := conn.GetContext(ctx, &ours, `select pg_try_advisory_lock(hashtext('thirdcut relay'))`); err != nil || !ours {
		conn.Close()
		return nil, err
	}
	return &RelaySeat{conn}, nil
}

// Leave gives the seat up.
func (s *RelaySeat) Leave() {
	// Free at once; should that fail, the server frees it when it sees the session gone.
	ctx, cancel := context.WithTimeout(context.Background(), 2*time.Second)
	defer cancel()
	_, _ = s.conn.ExecContext(ctx, `select pg_advisory_unlock(hashtext('thirdcut relay'))`)
	// The lock ends with the session, so the connection must not go back to
	// the pool, as it would for any other error than this one.
	_ = s.conn.Raw(func(any) error { return driver.ErrBadConn })
	s.conn.Close()
}

// resendAfter is how long a job that was handed over may stay undone before it
// is handed over again.
const resendAfter = 15 * time.Minute

// Due returns jobs that this life of the queue (epoch) has not been given, or
// was given long ago, oldest first.
func (s *RelaySeat) Due(ctx context.Context, epoch string, limit int) ([]OutboxJob, error) {
	var jobs []OutboxJob
	err := s.conn.SelectContext(ctx, &jobs, `
		select id, kind, payload, attempts, last_error, created_at, failed_at, sent_epoch is not distinct from $1 as again from job_outbox
		where done_at is null and failed_at is null and run_at <= now()
			and (sent_epoch is distinct from $1 or sent_at < now() - make_interval(secs => $2))
		order by run_at, id limit $3`, epoch, resendAfter.Seconds(), limit)
	if err != nil {
		return nil, fmt.Errorf("read jobs to hand over: %w", err)
	}
	return jobs, nil
}

// Sent notes that the job was handed to this life of the queue.
func (s *RelaySeat) Sent(ctx context.Context, epoch string, id int64) error {
	if _, err := s.conn.ExecContext(ctx, `update job_outbox set sent_epoch = $2, sent_at = now() where id = $1`, id, epoch); err != nil {
		return fmt.Errorf("note job %d as handed over: %w", id, err)
	}
	return nil
}

// JobOpen says whether a job is still to be done.
func (db *DB) JobOpen(ctx context.Context, id int64) (bool, error) {
	var open bool
	err := db.GetContext(ctx, &open, `select coalesce((select done_at is null and failed_at is null from job_outbox where id = $1), false)`, id)
	if err != nil {
		return false, fmt.Errorf("look for job %d: %w", id, err)
	}
	return open, nil
}

// JobDone marks a job done whose work had no effect to commit with it.
func (db *DB) JobDone(ctx context.Context, id int64) error {
	if _, err := db.ExecContext(ctx, `update job_outbox set done_at = now() where id = $1 and done_at is null`, id); err != nil {
		return fmt.Errorf("finish job %d: %w", id, err)
	}
	return nil
}

// JobFailed notes a try that failed; for good puts it on the office's list.
func (db *DB) JobFailed(ctx context.Context, id int64, why string, forGood bool) error {
	_, err := db.ExecContext(ctx, `
		update job_outbox set attempts = attempts + 1, last_error = left($2, 2000), failed_at = case when $3 then now() else failed_at end
		where id = $1 and done_at is null`, id, why, forGood)
	if err != nil {
		return fmt.Errorf("note the failure of job %d: %w", id, err)
	}
	return nil
}

// FailedJobs lists the jobs that were given up, latest first.
func (db *DB) FailedJobs(ctx context.Context, limit int) ([]OutboxJob, error) {
	jobs := []OutboxJob{}
	err := db.SelectContext(ctx, &jobs, `
		select id, kind, payload, attempts, last_error, created_at, failed_at from job_outbox
		where failed_at is not null and done_at is null order by failed_at desc limit $1`, pageLimit(limit))
	if err != nil {
		return nil, fmt.Errorf("read failed jobs: %w", err)
	}
	return jobs, nil
}

// RetryJob lets a job that was given up be tried again; fault.NotFound "job".
func (db *DB) RetryJob(ctx context.Context, id int64) error {
	return db.inTx(ctx, func(tx *sqlx.Tx) error {
		res, err := tx.ExecContext(ctx, `
			update job_outbox set failed_at = null, sent_epoch = null, sent_at = null, run_at = now()
			where id = $1 and failed_at is not null and done_at is null`, id)
		if err != nil {
			return fmt.Errorf("retry job %d: %w", id, err)
		}
		if n, err := res.RowsAffected(); err != nil || n == 0 {
			return fault.New(fault.NotFound, "job", "there is no failed job %d; it may have been tried again already", id)
		}
		_, err = tx.ExecContext(ctx, `select pg_notify('job_outbox', '')`)
		return err
	})
}

// JobFigures is how the jobs stand.
type JobFigures struct {
	Waiting       int     `db:"waiting"`
	Failed        int     `db:"failed"`
	OldestSeconds float64 `db:"oldest_seconds"` // age of the oldest that waits
}

// JobFigures counts the jobs that wait and that failed.
func (db *DB) JobFigures(ctx context.Context) (f JobFigures, err error) {
	err = db.GetContext(ctx, &f, `
		select count(*) filter (where failed_at is null and run_at <= now()) as waiting, count(*) filter (where failed_at is not null) as failed,
			coalesce(extract(epoch from now() - min(run_at) filter (where failed_at is null and run_at <= now())), 0) as oldest_seconds
		from job_outbox where done_at is null`)
	if err != nil {
		return f, fmt.Errorf("count jobs: %w", err)
	}
	return f, nil
}

// TidyJobs drops jobs that were done before that instant, and returns how many.
// Jobs that failed stay for the office. The job that the context works for is
// done in the same transaction.
func (db *DB) TidyJobs(ctx context.Context, before time.Time) (n int64, err error) {
	err = db.inTx(ctx, func(tx *sqlx.Tx) error {
		undone, err := claimJob(ctx, tx)
		if err != nil || !undone {
			return err
		}
		res, err := tx.ExecContext(ctx, `delete from job_outbox where done_at < $1`, before)
		if err != nil {
			return fmt.Errorf("drop jobs done before %s: %w", before, err)
		}
		if n, err = res.RowsAffected(); err != nil {
			return err
		}
		return finishJob(ctx, tx)
	})
	return n, err
}

// AskPeriodic asks for a periodic job once a period: the first caller with a
// new period adds it, all others do nothing. Several processes may ask at once.
func (db *DB) AskPeriodic(ctx context.Context, name, period, kind string, payload any) error {
	return db.inTx(ctx, func(tx *sqlx.Tx) error {
		res, err := tx.ExecContext(ctx, `
			insert into timetable (name, last_run_on, updated_at) values ($1, $2, now())
			on conflict (name) do update set last_run_on = excluded.last_run_on, updated_at = now() where timetable.last_run_on <> excluded.last_run_on`, name, period)
		if err != nil {
			return fmt.Errorf("look into the timetable for %s: %w", name, err)
		}
		if n, err := res.RowsAffected(); err != nil || n == 0 {
			return err
		}
		return addJob(ctx, tx, kind, payload, time.Time{})
	})
}
