package postgres

import (
	"context"
	"database/sql"
	"fmt"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/jmoiron/sqlx"

	"thirdcut/internal/account"
	"thirdcut/internal/fault"
	"thirdcut/internal/visit"
)

// Quarantine keeps an entry that could not be taken in. The same entry sent
// again is kept once; settled says that the office has dealt with it.
func (db *DB) Quarantine(ctx context.Context, q visit.Quarantined) (settled bool, err error) {
	err = db.inTx(ctx, func(tx *sqlx.Tx) error {
		_, err := tx.ExecContext(ctx, `insert into field_quarantine (entry_id, content, content_hash, code, reason, sent_by, received_at)
			values ($1, $2, $3, $4, $5, $6, $7) on conflict on constraint field_quarantine_unique do nothing`,
			q.EntryID, q.Content, q.Hash[:], q.Code, q.Reason, orNull(q.SentBy), db.Real())
		if err != nil {
			return fmt.Errorf("keep entry in quarantine: %w", err)
		}
		err = tx.GetContext(ctx, &settled, `select settled_at is not null from field_quarantine where entry_id = $1 and content_hash = $2`,
			q.EntryID, q.Hash[:])
		if err != nil {
			return fmt.Errorf("look at quarantined entry: %w", err)
		}
		return nil
	})
	return settled, err
}

// leaveQuarantine settles the entry where it waited and has now been taken in.
func leaveQuarantine(ctx context.Context, tx *sqlx.Tx, c visit.Closing, at time.Time) error {
	_, err := tx.ExecContext(ctx, `update field_quarantine set settled_at = $3, settled_by = $4, settled_how = 'taken in later'
		where entry_id = $1 and content_hash = $2 and settled_at is null`, c.Entry.ID.String(), c.Hash[:], at, orNull(c.By))
	if err != nil {
		return fmt.Errorf("settle quarantined entry: %w", err)
	}
	return nil
}

const quarantineColumns = `id, entry_id, content, content_hash, code, reason, sent_by, received_at, settled_at, settled_by, settled_how`

type quarantineRow struct {
	ID          int64         `db:"id"`
	EntryID     string        `db:"entry_id"`
	Content     string        `db:"content"`
	ContentHash []byte        `db:"content_hash"`
	Code        string        `db:"code"`
	Reason      string        `db:"reason"`
	SentBy      uuid.NullUUID `db:"sent_by"`
	ReceivedAt  time.Time     `db:"received_at"`
	SettledAt   sql.NullTime  `db:"settled_at"`
	SettledBy   uuid.NullUUID `db:"settled_by"`
	SettledHow  string        `db:"settled_how"`
}

func (r quarantineRow) quarantined() visit.Quarantined {
	q := visit.Quarantined{ID: r.ID, EntryID: r.EntryID, Content: r.Content, Code: r.Code, Reason: r.Reason, SentBy: r.SentBy.UUID,
		ReceivedAt: r.ReceivedAt, SettledAt: r.SettledAt.Time, SettledBy: r.SettledBy.UUID, SettledHow: r.SettledHow}
	copy(q.Hash[:], r.ContentHash)
	return q
}

// QuarantineOpen returns the entries that wait for a person, the oldest first.
func (db *DB) QuarantineOpen(ctx context.Context) ([]visit.Quarantined, error) {
	var rows []quarantineRow
	err := db.SelectContext(ctx, &rows, `select `+quarantineColumns+` from field_quarantine where settled_at is null order by received_at, id`)
	if err != nil {
		return nil, fmt.Errorf("read quarantine: %w", err)
	}
	list := make([]visit.Quarantined, len(rows))
	for i, r := range rows {
		list[i] = r.quarantined()
	}
	return list, nil
}

// SettleQuarantine says how the office dealt with an entry; the entry stays.
// Faults: Invalid "settled-how" without words, NotFound "quarantined-entry",
// Conflict "already-settled".
func (db *DB) SettleQuarantine(ctx context.Context, id int64, how string, by uuid.UUID) error {
	how = strings.TrimSpace(how)
	if how == "" {
		return fault.New(fault.Invalid, "settled-how", "say in a few words how the entry was dealt with")
	}
	return db.inTx(ctx, func(tx *sqlx.Tx) error {
		var open bool
		err := tx.GetContext(ctx, &open, `select settled_at is null from field_quarantine where id = $1 for update`, id)
		if err == sql.ErrNoRows {
			return noSuch("quarantined entry", id)
		}
		if err != nil {
			return fmt.Errorf("hold quarantined entry: %w", err)
		}
		if !open {
			return fault.New(fault.Conflict, "already-settled", "somebody dealt with that entry already")
		}
		_, err = tx.ExecContext(ctx, `update field_quarantine set settled_at = $2, settled_by = $3, settled_how = $4 where id = $1`,
			id, db.Real(), orNull(by), how)
		if err != nil {
			return fmt.Errorf("settle quarantined entry: %w", err)
		}
		return addAudit(ctx, tx, account.AuditEntry{At: db.Real(), PersonID: by, Action: "quarantine.settle", Subject: fmt.Sprint(id), Detail: how})
	})
}
