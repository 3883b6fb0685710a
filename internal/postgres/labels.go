package postgres

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jmoiron/sqlx"

	"thirdcut/internal/civil"
	"thirdcut/internal/label"
	"thirdcut/internal/product"
)

const labelVersionColumns = `id, product_id, revision, pattern, in_force_from, limits, entered_by, entered_at,
	confirmed_by, confirmed_at`

type labelVersionRow struct {
	ID          uuid.UUID                `db:"id"`
	ProductID   uuid.UUID                `db:"product_id"`
	Revision    string                   `db:"revision"`
	Pattern     string                   `db:"pattern"`
	InForceFrom civil.Date               `db:"in_force_from"`
	Limits      jsonColumn[label.Limits] `db:"limits"`
	EnteredBy   uuid.NullUUID            `db:"entered_by"`
	EnteredAt   time.Time                `db:"entered_at"`
	ConfirmedBy uuid.NullUUID            `db:"confirmed_by"`
	ConfirmedAt sql.NullTime             `db:"confirmed_at"`
}

func (r labelVersionRow) version() product.LabelVersion {
	return product.LabelVersion{ID: r.ID, ProductID: r.ProductID, Revision: r.Revision, Pattern: r.Pattern,
		InForceFrom: r.InForceFrom, Limits: r.Limits.V, EnteredBy: r.EnteredBy.UUID, EnteredAt: r.EnteredAt,
		ConfirmedBy: r.ConfirmedBy.UUID, ConfirmedAt: r.ConfirmedAt.Time}
}

// labelsOf reads every label version of those products: by pattern, the one in
// force latest first, and of two on one day the one entered last.
func labelsOf(ctx context.Context, q sqlx.ExtContext, products []uuid.UUID) (map[uuid.UUID][]product.LabelVersion, error) {
	var rows []labelVersionRow
	err := sqlx.SelectContext(ctx, q, &rows, `select `+labelVersionColumns+` from label_version
		where product_id = any($1::uuid[])
		order by product_id, pattern, in_force_from desc, entered_at desc, id`, idArray(products))
	if err != nil {
		return nil, fmt.Errorf("read label versions: %w", err)
	}
	by := map[uuid.UUID][]product.LabelVersion{}
	for _, r := range rows {
		by[r.ProductID] = append(by[r.ProductID], r.version())
	}
	return by, nil
}

// labelVersionByID reads one label version; fault.NotFound "label-version".
func labelVersionByID(ctx context.Context, q sqlx.ExtContext, id uuid.UUID) (product.LabelVersion, error) {
	return readLabelVersion(ctx, q, id, "")
}

func readLabelVersion(ctx context.Context, q sqlx.ExtContext, id uuid.UUID, lock string) (product.LabelVersion, error) {
	var r labelVersionRow
	err := sqlx.GetContext(ctx, q, &r, `select `+labelVersionColumns+` from label_version where id = $1`+lock, id)
	if errors.Is(err, sql.ErrNoRows) {
		return product.LabelVersion{}, noSuch("label version", id)
	}
	if err != nil {
		return product.LabelVersion{}, fmt.Errorf("read label version: %w", err)
	}
	return r.version(), nil
}

// LabelVersion returns one label version, or fault.NotFound "label-version".
func (db *DB) LabelVersion(ctx context.Context, id uuid.UUID) (product.LabelVersion, error) {
	return labelVersionByID(ctx, db.DB, id)
}
