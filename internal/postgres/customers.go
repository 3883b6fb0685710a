package postgres

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jmoiron/sqlx"

	"thirdcut/internal/property"
)

const customerColumns = `id, coalesce(import_key, '') as import_key, name, email, phone, billing_address, version`

type customerRow struct {
	ID             uuid.UUID `db:"id"`
	ImportKey      string    `db:"import_key"`
	Name           string    `db:"name"`
	Email          string    `db:"email"`
	Phone          string    `db:"phone"`
	BillingAddress string    `db:"billing_address"`
	Version        int       `db:"version"`
}

func (r customerRow) customer() property.Customer { return property.Customer(r) }

func readCustomer(ctx context.Context, q sqlx.ExtContext, id uuid.UUID, lock string) (property.Customer, error) {
	var r customerRow
	err := sqlx.GetContext(ctx, q, &r, `select `+customerColumns+` from customer where id = $1`+lock, id)
	if errors.Is(err, sql.ErrNoRows) {
		return property.Customer{}, noSuch("customer", id)
	}
	if err != nil {
		return property.Customer{}, fmt.Errorf("read customer: %w", err)
	}
	return r.customer(), nil
}

// customerByID reads one customer; fault.NotFound "customer".
func customerByID(ctx context.Context, q sqlx.ExtContext, id uuid.UUID) (property.Customer, error) {
	return readCustomer(ctx, q, id, "")
}

// Customer returns one customer, or fault.NotFound "customer".
func (db *DB) Customer(ctx context.Context, id uuid.UUID) (property.Customer, error) {
	return customerByID(ctx, db.DB, id)
}

// AddCustomer keeps a new customer. An id left open is made.
func (db *DB) AddCustomer(ctx context.Context, c property.Customer) (property.Customer, error) {
	err := db.inTx(ctx, func(tx *sqlx.Tx) error {
		c.Version = 1
		if err := newID(&c.ID); err != nil {
			return err
		}
		if err := property.ValidateCustomer(c); err != nil {
			return err
		}
		_, err := tx.ExecContext(ctx, `insert into customer (id, import_key, name, email, phone, billing_address, version, updated_at)
			values ($1, $2, $3, $4, $5, $6, $7, $8)`, customerValues(c, db.Real())...)
		if err != nil {
			return fmt.Errorf("add customer: %w", err)
		}
		return nil
	})
	return c, err
}

// SaveCustomer changes a customer at that version: fault.NeedsVersion,
// fault.Stale, fault.NotFound "customer", fault.Invalid "customer".
func (db *DB) SaveCustomer(ctx context.Context, id uuid.UUID, version int, change func(*property.Customer) error) (c property.Customer, err error) {
	err = db.inTx(ctx, func(tx *sqlx.Tx) error {
		if c, err = readCustomer(ctx, tx, id, " for update"); err != nil {
			return err
		}
		if err := checkVersion("customer", c.Version, version); err != nil {
			return err
		}
		after, differs, err := changed(c, change)
		if err != nil || !differs {
			return err
		}
		after.ID, after.Version = id, c.Version+1
		if err := property.ValidateCustomer(after); err != nil {
			return err
		}
		_, err = tx.ExecContext(ctx, `update customer set import_key = $2, name = $3, email = $4, phone = $5,
			billing_address = $6, version = $7, updated_at = $8 where id = $1`, customerValues(after, db.Real())...)
		if err != nil {
			return fmt.Errorf("save customer: %w", err)
		}
		c = after
		return nil
	})
	return c, err
}

func customerValues(c property.Customer, at time.Time) []any {
	return []any{c.ID, textOrNull(c.ImportKey), c.Name, c.Email, c.Phone, c.BillingAddress, c.Version, at}
}
