package postgres

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jmoiron/sqlx"

	"thirdcut/internal/crew"
)

// AddPerson keeps a new person with licences. Ids left open are made.
func (db *DB) AddPerson(ctx context.Context, p crew.Person) (crew.Person, error) {
	err := db.inTx(ctx, func(tx *sqlx.Tx) error {
		p.Version = 1
		if err := readyPerson(&p); err != nil {
			return err
		}
		_, err := tx.ExecContext(ctx, `insert into person (id, name, email, phone, left_on, version, updated_at)
			values ($1, $2, $3, $4, $5, $6, $7)`, personValues(p, db.Real())...)
		if err != nil {
			return fmt.Errorf("add person: %w", err)
		}
		return saveLicenses(ctx, tx, p)
	})
	return p, err
}

// SavePerson changes a person, licences included, at that version:
// fault.NeedsVersion, fault.Stale, fault.NotFound "person", fault.Invalid "person".
func (db *DB) SavePerson(ctx context.Context, id uuid.UUID, version int, change func(*crew.Person) error) (p crew.Person, err error) {
	err = db.inTx(ctx, func(tx *sqlx.Tx) error {
		if err := lockRow(ctx, tx, "person", "person", id); err != nil {
			return err
		}
		before, err := personByID(ctx, tx, id)
		if err != nil {
			return err
		}
		if err := checkVersion("person", before.Version, version); err != nil {
			return err
		}
		after, differs, err := changed(before, change)
		if p = before; err != nil || !differs {
			return err
		}
		after.ID, after.Version = id, before.Version+1
		if err := readyPerson(&after); err != nil {
			return err
		}
		_, err = tx.ExecContext(ctx, `update person set name = $2, email = $3, phone = $4, left_on = $5, version = $6,
			updated_at = $7 where id = $1`, personValues(after, db.Real())...)
		if err != nil {
			return fmt.Errorf("save person: %w", err)
		}
		p = after
		return saveLicenses(ctx, tx, after)
	})
	return p, err
}

// lockRow locks one row by its id; the table is a constant of the caller.
func lockRow(ctx context.Context, tx *sqlx.Tx, table, thing string, id uuid.UUID) error {
	var one int
	err := tx.GetContext(ctx, &one, `select 1 from `+table+` where id = $1 for update`, id)
	if errors.Is(err, sql.ErrNoRows) {
		return noSuch(thing, id)
	}
	if err != nil {
		return fmt.Errorf("lock %s: %w", thing, err)
	}
	return nil
}

func readyPerson(p *crew.Person) error {
	if err := newID(&p.ID); err != nil {
		return err
	}
	for i := range p.Licenses {
		if err := newID(&p.Licenses[i].ID); err != nil {
			return err
		}
	}
	return crew.ValidatePerson(*p)
}

func personValues(p crew.Person, at time.Time) []any {
	return []any{p.ID, p.Name, p.Email, p.Phone, p.LeftOn, p.Version, at}
}

// saveLicenses makes the person's licences those of p: a licence keeps its id.
func saveLicenses(ctx context.Context, tx *sqlx.Tx, p crew.Person) error {
	keep := make([]uuid.UUID, len(p.Licenses))
	for i, l := range p.Licenses {
		keep[i] = l.ID
	}
	_, err := tx.ExecContext(ctx, `delete from license where person_id = $1 and id <> all($2::uuid[])`, p.ID, idArray(keep))
	if err != nil {
		return fmt.Errorf("drop licences: %w", err)
	}
	for _, l := range p.Licenses {
		done, err := tx.ExecContext(ctx, `insert into license (id, person_id, kind, state, number, category, valid_from, valid_to)
			values ($1, $2, $3, $4, $5, $6, $7, $8)
			on conflict (id) do update set kind = excluded.kind, state = excluded.state, number = excluded.number,
				category = excluded.category, valid_from = excluded.valid_from, valid_to = excluded.valid_to
			where license.person_id = excluded.person_id`,
			l.ID, p.ID, string(l.Kind), l.State, l.Number, l.Category, l.ValidFrom, l.ValidTo)
		if err != nil {
			return fmt.Errorf("save licence: %w", err)
		}
		if n, err := done.RowsAffected(); err != nil || n == 0 {
			return noSuch("licence", l.ID) // the id is another person's
		}
	}
	return nil
}
