package postgres

import (
	"context"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jmoiron/sqlx"

	"thirdcut/internal/account"
)

const auditColumns = `id, at, person_id, action, subject, detail`

type auditRow struct {
	ID       int64         `db:"id"`
	At       time.Time     `db:"at"`
	PersonID uuid.NullUUID `db:"person_id"`
	Action   string        `db:"action"`
	Subject  string        `db:"subject"`
	Detail   string        `db:"detail"`
}

func (r auditRow) entry() account.AuditEntry {
	return account.AuditEntry{ID: r.ID, At: r.At, PersonID: r.PersonID.UUID, Action: r.Action, Subject: r.Subject, Detail: r.Detail}
}

func addAudit(ctx context.Context, tx *sqlx.Tx, e account.AuditEntry) error {
	_, err := tx.ExecContext(ctx, `insert into audit_entry (at, person_id, action, subject, detail)
		values ($1, $2, $3, $4, $5)`, e.At, orNull(e.PersonID), e.Action, e.Subject, e.Detail)
	if err != nil {
		return fmt.Errorf("add audit entry: %w", err)
	}
	return nil
}

// AddAudit writes down who did what. A zero At is now.
func (db *DB) AddAudit(ctx context.Context, e account.AuditEntry) error {
	if e.At.IsZero() {
		e.At = db.Real()
	}
	return db.inTx(ctx, func(tx *sqlx.Tx) error { return addAudit(ctx, tx, e) })
}

// AuditEntries returns at most limit entries, the latest first, after the
// entry with that id; 0 starts at the latest.
func (db *DB) AuditEntries(ctx context.Context, after int64, limit int) ([]account.AuditEntry, error) {
	var rows []auditRow
	err := db.SelectContext(ctx, &rows, `select `+auditColumns+` from audit_entry
		where $1 = 0 or (at, id) < (select at, id from audit_entry where id = $1)
		order by at desc, id desc limit $2`, after, pageLimit(limit))
	if err != nil {
		return nil, fmt.Errorf("read audit entries: %w", err)
	}
	entries := make([]account.AuditEntry, len(rows))
	for i, r := range rows {
		entries[i] = r.entry()
	}
	return entries, nil
}
