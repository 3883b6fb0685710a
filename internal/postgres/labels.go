package postgres

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jmoiron/sqlx"

	"thirdcut/internal/account"
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

// AddLabelVersion keeps the limits that EnteredBy read off a label. They bind
// nothing until confirmed (ConfirmLabelVersion). An id left open is made; the
// limits take revision and pattern of the version. Faults: NotFound "product",
// Invalid "label-version", Conflict "label-revision-taken".
func (db *DB) AddLabelVersion(ctx context.Context, v product.LabelVersion) (product.LabelVersion, error) {
	err := db.inTx(ctx, func(tx *sqlx.Tx) error {
		p, err := productByID(ctx, tx, v.ProductID)
		if err != nil {
			return err
		}
		clock, err := db.businessClock(ctx, tx)
		if err != nil {
			return err
		}
		if err := newID(&v.ID); err != nil {
			return err
		}
		v.EnteredAt, v.ConfirmedBy, v.ConfirmedAt = clock.Now(), uuid.Nil, time.Time{}
		v.Limits.Revision, v.Limits.Pattern = v.Revision, v.Pattern
		if err := product.ValidateLabel(p, v); err != nil {
			return err
		}
		limits, err := asJSON(v.Limits)
		if err != nil {
			return err
		}
		_, err = tx.ExecContext(ctx, `insert into label_version (id, product_id, revision, pattern, in_force_from, limits,
			entered_by, entered_at) values ($1, $2, $3, $4, $5, $6, $7, $8)`,
			v.ID, v.ProductID, v.Revision, v.Pattern, v.InForceFrom, limits, orNull(v.EnteredBy), v.EnteredAt)
		if err != nil {
			return fmt.Errorf("add label version: %w", err)
		}
		return nil
	})
	return v, err
}

// ConfirmLabelVersion marks the version as compared with the label by that
// person (product.Confirm says who may) and writes the audit entry with it.
func (db *DB) ConfirmLabelVersion(ctx context.Context, id, by uuid.UUID) (v product.LabelVersion, err error) {
	err = db.inTx(ctx, func(tx *sqlx.Tx) error {
		if v, err = readLabelVersion(ctx, tx, id, " for update"); err != nil {
			return err
		}
		if v, err = db.confirm(ctx, tx, v, by); err != nil {
			return err
		}
		_, err := tx.ExecContext(ctx, `update label_version set confirmed_by = $2, confirmed_at = $3 where id = $1`,
			id, v.ConfirmedBy, v.ConfirmedAt)
		if err != nil {
			return fmt.Errorf("confirm label version: %w", err)
		}
		how := "compared with the label by a second person"
		if v.Solo() {
			how = "compared with the label by the person who entered it"
		}
		return addAudit(ctx, tx, account.AuditEntry{At: db.Real(), PersonID: by, Action: "label.confirm",
			Subject: id.String(), Detail: how})
	})
	return v, err
}

func (db *DB) confirm(ctx context.Context, tx *sqlx.Tx, v product.LabelVersion, by uuid.UUID) (product.LabelVersion, error) {
	p, err := productByID(ctx, tx, v.ProductID)
	if err != nil {
		return v, err
	}
	settings, err := companySettings(ctx, tx)
	if err != nil {
		return v, err
	}
	staff, err := peopleWhere(ctx, tx, `order by lower(name), id`)
	if err != nil {
		return v, err
	}
	who, err := personByID(ctx, tx, by)
	if err != nil {
		return v, err
	}
	clock := settings.Clock(db.Real)
	return product.Confirm(p, v, who, staff, settings.State, clock.Today(), clock.Now())
}
