package postgres

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/jmoiron/sqlx"
	"github.com/lib/pq"

	"thirdcut/internal/account"
	"thirdcut/internal/fault"
)

// accountColumns needs account a, its person p and, as $1, the real time: whoever
// has left the company by today in its zone has a closed account.
const accountColumns = `a.person_id, p.name, a.sign_in_name, a.password_hash, a.roles,
	coalesce(a.closed_at, case when p.left_on <= ($1::timestamptz at time zone
		coalesce((select time_zone from company), 'UTC'))::date then $1::timestamptz end) as closed_at,
	a.session_epoch, a.version,
	array(select m.crew_id::text from crew_member m join crew c on c.id = m.crew_id
		where m.person_id = a.person_id and c.retired_on is null order by c.name) as crew_ids`

const accountFrom = ` from account a join person p on p.id = a.person_id `

type accountRow struct {
	PersonID     uuid.UUID      `db:"person_id"`
	Name         string         `db:"name"`
	SignInName   string         `db:"sign_in_name"`
	PasswordHash string         `db:"password_hash"`
	Roles        pq.StringArray `db:"roles"`
	ClosedAt     sql.NullTime   `db:"closed_at"`
	SessionEpoch int            `db:"session_epoch"`
	Version      int            `db:"version"`
	CrewIDs      pq.StringArray `db:"crew_ids"`
}

func (r accountRow) account() (account.Account, error) {
	a := account.Account{PersonID: r.PersonID, Name: r.Name, SignInName: r.SignInName, PasswordHash: r.PasswordHash,
		Roles: wordsOf[account.Role](r.Roles), ClosedAt: r.ClosedAt.Time, SessionEpoch: r.SessionEpoch, Version: r.Version}
	for _, text := range r.CrewIDs {
		id, err := uuid.Parse(text)
		if err != nil {
			return a, fmt.Errorf("read crews of account: %w", err)
		}
		a.CrewIDs = append(a.CrewIDs, id)
	}
	return a, nil
}

func readAccount(ctx context.Context, q sqlx.ExtContext, real time.Time, where string, args ...any) (account.Account, error) {
	var r accountRow
	err := sqlx.GetContext(ctx, q, &r, `select `+accountColumns+accountFrom+where, append([]any{real}, args...)...)
	if errors.Is(err, sql.ErrNoRows) {
		return account.Account{}, fault.New(fault.NotFound, "account", "there is no such sign-in; the person has none yet, or the name is wrong")
	}
	if err != nil {
		return account.Account{}, fmt.Errorf("read account: %w", err)
	}
	return r.account()
}

// Account returns a person's sign-in, a closed one too (ClosedAt tells), or
// fault.NotFound "account". Whoever has left the company has a closed one.
func (db *DB) Account(ctx context.Context, personID uuid.UUID) (account.Account, error) {
	return readAccount(ctx, db.DB, db.Real(), `where a.person_id = $2`, personID)
}

// AccountByName returns the account of the sign-in name, a closed one too, or
// fault.NotFound "account".
func (db *DB) AccountByName(ctx context.Context, signInName string) (account.Account, error) {
	return readAccount(ctx, db.DB, db.Real(), `where a.sign_in_name = $2`, strings.ToValidUTF8(strings.ReplaceAll(signInName, "\x00", ""), ""))
}

// Accounts returns every sign-in by the person's name, closed ones too.
func (db *DB) Accounts(ctx context.Context) ([]account.Account, error) {
	var rows []accountRow
	err := db.SelectContext(ctx, &rows, `select `+accountColumns+accountFrom+`order by lower(p.name), a.person_id`, db.Real())
	if err != nil {
		return nil, fmt.Errorf("read accounts: %w", err)
	}
	list := make([]account.Account, len(rows))
	for i, r := range rows {
		if list[i], err = r.account(); err != nil {
			return nil, err
		}
	}
	return list, nil
}

// CreateAccount keeps a new sign-in whose password is hashed already
// (account.Accounts.Create is the use case), with an audit entry. Faults:
// Conflict "sign-in-name-taken", Conflict "account-taken", NotFound "person".
func (db *DB) CreateAccount(ctx context.Context, a account.Account, by uuid.UUID) (made account.Account, err error) {
	err = db.inTx(ctx, func(tx *sqlx.Tx) error {
		_, err := tx.ExecContext(ctx, `insert into account (person_id, sign_in_name, password_hash, roles, updated_at)
			values ($1, $2, $3, $4, $5)`, a.PersonID, a.SignInName, a.PasswordHash, textArray(a.Roles), db.Real())
		if err != nil {
			return fmt.Errorf("create account: %w", err)
		}
		if err := db.auditAccount(ctx, tx, by, "account.create", a.PersonID, a.SignInName); err != nil {
			return err
		}
		made, err = readAccount(ctx, tx, db.Real(), `where a.person_id = $2`, a.PersonID)
		return err
	})
	return made, err
}

func (db *DB) auditAccount(ctx context.Context, tx *sqlx.Tx, by uuid.UUID, action string, of uuid.UUID, detail string) error {
	return addAudit(ctx, tx, account.AuditEntry{At: db.Real(), PersonID: by, Action: action, Subject: of.String(), Detail: detail})
}

// SetPasswordHash keeps another password and ends the account's sessions.
func (db *DB) SetPasswordHash(ctx context.Context, personID uuid.UUID, hash string, by uuid.UUID) error {
	return db.inTx(ctx, func(tx *sqlx.Tx) error {
		err := changeAccount(ctx, tx, personID, `update account set password_hash = $2, session_epoch = session_epoch + 1,
			version = version + 1, updated_at = $3 where person_id = $1`, hash, db.Real())
		if err != nil {
			return err
		}
		return db.auditAccount(ctx, tx, by, "account.password", personID, "")
	})
}

// ReplaceHash keeps the same password hashed anew; sessions go on.
func (db *DB) ReplaceHash(ctx context.Context, personID uuid.UUID, hash string) error {
	return db.inTx(ctx, func(tx *sqlx.Tx) error {
		return changeAccount(ctx, tx, personID, `update account set password_hash = $2, updated_at = $3 where person_id = $1`, hash, db.Real())
	})
}

func changeAccount(ctx context.Context, tx *sqlx.Tx, personID uuid.UUID, statement string, args ...any) error {
	done, err := tx.ExecContext(ctx, statement, append([]any{personID}, args...)...)
	if err != nil {
		return fmt.Errorf("change account: %w", err)
	}
	n, err := done.RowsAffected()
	if err == nil && n == 0 {
		return noSuch("account", personID)
	}
	return err
}

// SaveAccount changes sign-in name and roles of an account, or closes and opens
// it by ClosedAt, at that version. Other roles and closing end its sessions.
// The last open owner stays: fault.Conflict "last-owner".
func (db *DB) SaveAccount(ctx context.Context, personID uuid.UUID, version int, by uuid.UUID, change func(*account.Account) error) (a account.Account, err error) {
	err = db.inTx(ctx, func(tx *sqlx.Tx) error {
		// All accounts, in one order: two owners who close each other must meet.
		if _, err := tx.ExecContext(ctx, `select 1 from account order by person_id for update`); err != nil {
			return fmt.Errorf("lock accounts: %w", err)
		}
		if a, err = readAccount(ctx, tx, db.Real(), `where a.person_id = $2`, personID); err != nil {
			return err
		}
		if err := checkVersion("sign-in", a.Version, version); err != nil {
			return err
		}
		after, differs, err := changed(a, change)
		if err != nil || !differs {
			return err
		}
		if err := db.updateAccount(ctx, tx, a, &after); err != nil {
			return err
		}
		a = after
		detail := fmt.Sprintf("%s, roles %v, closed %v", after.SignInName, after.Roles, !after.ClosedAt.IsZero())
		return db.auditAccount(ctx, tx, by, "account.change", personID, detail)
	})
	return a, err
}

func (db *DB) updateAccount(ctx context.Context, tx *sqlx.Tx, before account.Account, after *account.Account) error {
	after.PersonID, after.Name, after.CrewIDs, after.PasswordHash = before.PersonID, before.Name, before.CrewIDs, before.PasswordHash
	after.SignInName = account.NormalName(after.SignInName)
	if err := account.Validate(*after); err != nil {
		return err
	}
	after.Version = before.Version + 1
	if account.EndsSessions(before, *after) {
		after.SessionEpoch = before.SessionEpoch + 1
	}
	err := changeAccount(ctx, tx, after.PersonID, `update account set sign_in_name = $2, roles = $3, closed_at = $4,
		session_epoch = $5, version = $6, updated_at = $7 where person_id = $1`, after.SignInName, textArray(after.Roles),
		timeOrNull(after.ClosedAt), after.SessionEpoch, after.Version, db.Real())
	if err != nil {
		return err
	}
	if before.ClosedAt.IsZero() && before.Has(account.Owner) {
		return keepAnOwner(ctx, tx)
	}
	return nil
}

func keepAnOwner(ctx context.Context, tx *sqlx.Tx) error {
	var owners int
	err := tx.GetContext(ctx, &owners, `select count(*) from account where closed_at is null and 'owner' = any(roles)`)
	if err != nil {
		return fmt.Errorf("count owners: %w", err)
	}
	if owners == 0 {
		return fault.New(fault.Conflict, "last-owner", "this is the last sign-in of an owner; make somebody else an owner first")
	}
	return nil
}

// CloseAccount ends a person's sign-in with its sessions and API tokens; closing
// a closed one changes nothing. Faults: NotFound "account", Conflict "last-owner".
func (db *DB) CloseAccount(ctx context.Context, personID, by uuid.UUID) error {
	a, err := db.Account(ctx, personID)
	if err != nil {
		return err
	}
	_, err = db.SaveAccount(ctx, personID, a.Version, by, func(a *account.Account) error {
		if a.ClosedAt.IsZero() {
			a.ClosedAt = db.Real().UTC().Truncate(time.Microsecond)
		}
		return nil
	})
	return err
}

// StartAttempt writes a failed sign-in down for each key, unless one of them is
// at its limit within the span: then it returns how long until it is not.
func (db *DB) StartAttempt(ctx context.Context, limits []account.Limit, span time.Duration) (at account.Attempt, wait time.Duration, err error) {
	now := db.Real().UTC().Truncate(time.Microsecond)
	err = db.inTx(ctx, func(tx *sqlx.Tx) error {
		at, wait = account.Attempt{At: now}, 0
		for _, l := range limits {
			w, err := waitFor(ctx, tx, l, now, span)
			if err != nil {
				return err
			}
			wait = max(wait, w)
		}
		if wait > 0 {
			return nil
		}
		for _, l := range limits {
			if strings.HasPrefix(l.Key, "name:") {
				at.NameKey = key(l.Key)
			} else {
				at.FromKey = key(l.Key)
			}
			_, err := tx.ExecContext(ctx, `insert into sign_in_failure (key, failed_at) values ($1, $2)`, key(l.Key), now)
			if err != nil {
				return fmt.Errorf("write failed sign-in: %w", err)
			}
		}
		return nil
	})
	return at, wait, err
}

// key is text that PostgreSQL stores, whatever was typed.
func key(s string) string { return strings.ToValidUTF8(strings.ReplaceAll(s, "\x00", ""), "") }

// waitFor locks the key, forgets its old failures and says how long to wait.
func waitFor(ctx context.Context, tx *sqlx.Tx, l account.Limit, now time.Time, span time.Duration) (time.Duration, error) {
	k := key(l.Key)
	if _, err := tx.ExecContext(ctx, `select pg_advisory_xact_lock(hashtextextended($1, 0))`, k); err != nil {
		return 0, fmt.Errorf("lock sign-in: %w", err)
	}
	if _, err := tx.ExecContext(ctx, `delete from sign_in_failure where key = $1 and failed_at <= $2`, k, now.Add(-span)); err != nil {
		return 0, fmt.Errorf("forget failed sign-ins: %w", err)
	}
	var latest []time.Time
	err := tx.SelectContext(ctx, &latest, `select failed_at from sign_in_failure where key = $1 order by failed_at desc limit $2`, k, l.Most)
	if err != nil {
		return 0, fmt.Errorf("count failed sign-ins: %w", err)
	}
	if len(latest) < l.Most {
		return 0, nil
	}
	return latest[len(latest)-1].Add(span).Sub(now), nil
}

// ClearAttempt takes back the attempt's failure of the address, and all of the name.
func (db *DB) ClearAttempt(ctx context.Context, a account.Attempt) error {
	return db.inTx(ctx, func(tx *sqlx.Tx) error {
		_, err := tx.ExecContext(ctx, `delete from sign_in_failure
			where key = $1 or (key = $2 and failed_at = $3)`, a.NameKey, a.FromKey, a.At)
		if err != nil {
			return fmt.Errorf("clear failed sign-ins: %w", err)
		}
		return nil
	})
}

// ForgetFailures drops failed sign-ins from before that moment, of names that
// nobody tried again, and returns how many.
func (db *DB) ForgetFailures(ctx context.Context, before time.Time) (dropped int64, err error) {
	done, err := db.ExecContext(ctx, `delete from sign_in_failure where failed_at < $1`, before)
	if err != nil {
		return 0, fmt.Errorf("forget failed sign-ins: %w", err)
	}
	return done.RowsAffected()
}
