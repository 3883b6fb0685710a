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
)

const tokenColumns = `id, person_id, name, created_at, last_used_at, revoked_at`

type tokenRow struct {
	ID         uuid.UUID    `db:"id"`
	PersonID   uuid.UUID    `db:"person_id"`
	Name       string       `db:"name"`
	CreatedAt  time.Time    `db:"created_at"`
	LastUsedAt sql.NullTime `db:"last_used_at"`
	RevokedAt  sql.NullTime `db:"revoked_at"`
}

func (r tokenRow) token() account.Token {
	return account.Token{ID: r.ID, PersonID: r.PersonID, Name: r.Name, CreatedAt: r.CreatedAt,
		LastUsedAt: r.LastUsedAt.Time, RevokedAt: r.RevokedAt.Time}
}

// NewToken makes an API token for a person's account. Its text is returned once
// and not kept. Faults: Invalid "token" without a name, NotFound "account".
func (db *DB) NewToken(ctx context.Context, personID uuid.UUID, name string) (text string, t account.Token, err error) {
	if strings.TrimSpace(name) == "" {
		return "", t, fault.New(fault.Invalid, "token", "the token needs a name").
			With("/name", "say what the token is for, so that you know later which to revoke")
	}
	text, hash := account.MakeToken()
	t = account.Token{PersonID: personID, Name: name, CreatedAt: db.Real().UTC().Truncate(time.Microsecond)}
	err = db.inTx(ctx, func(tx *sqlx.Tx) error {
		if err := newID(&t.ID); err != nil {
			return err
		}
		_, err := tx.ExecContext(ctx, `insert into api_token (id, person_id, name, token_hash, created_at)
			values ($1, $2, $3, $4, $5)`, t.ID, personID, name, hash, t.CreatedAt)
		if err != nil {
			return fmt.Errorf("make token: %w", err)
		}
		return db.auditAccount(ctx, tx, personID, "token.create", t.ID, name)
	})
	if err != nil {
		return "", account.Token{}, err
	}
	return text, t, nil
}

// tokenUse is how exactly the last use of a token is kept.
const tokenUse = 5 * time.Minute

// AccountByToken returns the account that an API token speaks for. A malformed,
// unknown or revoked token and one of a closed account answer alike:
// fault.SignIn "bad-token". The token's last use is kept to five minutes.
func (db *DB) AccountByToken(ctx context.Context, text string) (account.Account, error) {
	hash, err := account.HashToken(text)
	if err != nil {
		return account.Account{}, err
	}
	a, err := readAccount(ctx, db.DB, db.Real(), `where a.person_id = (select person_id from api_token
		where token_hash = $2 and revoked_at is null)`, hash)
	if fault.Is(err, fault.NotFound) || err == nil && !a.ClosedAt.IsZero() {
		return account.Account{}, account.ErrToken()
	}
	if err != nil {
		return account.Account{}, err
	}
	now := db.Real()
	_, err = db.ExecContext(ctx, `update api_token set last_used_at = $2
		where token_hash = $1 and (last_used_at is null or last_used_at < $3)`, hash, now, now.Add(-tokenUse))
	if err != nil {
		return account.Account{}, fmt.Errorf("keep use of token: %w", err)
	}
	return a, nil
}

// Tokens returns a person's API tokens, the latest first, revoked ones too.
func (db *DB) Tokens(ctx context.Context, personID uuid.UUID) ([]account.Token, error) {
	var rows []tokenRow
	err := db.SelectContext(ctx, &rows, `select `+tokenColumns+` from api_token where person_id = $1 order by created_at desc, id`, personID)
	if err != nil {
		return nil, fmt.Errorf("read tokens: %w", err)
	}
	list := make([]account.Token, len(rows))
	for i, r := range rows {
		list[i] = r.token()
	}
	return list, nil
}

// RevokeToken ends a token of the person; revoking it again changes nothing.
// Another person's token is fault.NotFound "token".
func (db *DB) RevokeToken(ctx context.Context, personID, id uuid.UUID) error {
	return db.inTx(ctx, func(tx *sqlx.Tx) error {
		done, err := tx.ExecContext(ctx, `update api_token set revoked_at = coalesce(revoked_at, $3)
			where id = $1 and person_id = $2`, id, personID, db.Real())
		if err != nil {
			return fmt.Errorf("revoke token: %w", err)
		}
		if n, err := done.RowsAffected(); err != nil || n == 0 {
			return noSuch("token", id)
		}
		return db.auditAccount(ctx, tx, personID, "token.revoke", id, "")
	})
}
