package postgres

import (
	"context"
	"database/sql"
	"errors"
	"fmt"

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
