package postgres

import (
	"context"
	"database/sql"
	"errors"
	"fmt"

	"github.com/google/uuid"
	"github.com/jmoiron/sqlx"

	"thirdcut/internal/civil"
	"thirdcut/internal/product"
)

const productColumns = `id, name, kind, form, epa_reg_no, active_ingredient, concentration_percent, formulation,
	restricted_use, n_percent, p2o5_percent, k2o_percent, n_slow_percent, fe_percent, retired_on, version`

type productRow struct {
	ID                   uuid.UUID  `db:"id"`
	Name                 string     `db:"name"`
	Kind                 string     `db:"kind"`
	Form                 string     `db:"form"`
	EPARegNo             string     `db:"epa_reg_no"`
	ActiveIngredient     string     `db:"active_ingredient"`
	ConcentrationPercent *float64   `db:"concentration_percent"`
	Formulation          string     `db:"formulation"`
	RestrictedUse        bool       `db:"restricted_use"`
	NPercent             *float64   `db:"n_percent"`
	P2O5Percent          *float64   `db:"p2o5_percent"`
	K2OPercent           *float64   `db:"k2o_percent"`
	NSlowPercent         *float64   `db:"n_slow_percent"`
	FePercent            *float64   `db:"fe_percent"`
	RetiredOn            civil.Date `db:"retired_on"`
	Version              int        `db:"version"`
}

func (r productRow) product(labels []product.LabelVersion) product.Product {
	return product.Product{ID: r.ID, Name: r.Name, Kind: r.Kind, Form: r.Form, EPARegNo: r.EPARegNo,
		ActiveIngredient: r.ActiveIngredient, ConcentrationPercent: r.ConcentrationPercent,
		Formulation: r.Formulation, RestrictedUse: r.RestrictedUse, NPercent: r.NPercent,
		P2O5Percent: r.P2O5Percent, K2OPercent: r.K2OPercent, NSlowPercent: r.NSlowPercent,
		FePercent: r.FePercent, RetiredOn: r.RetiredOn, Version: r.Version, Labels: labels}
}

// productsWhere reads products with every label version in two queries.
func productsWhere(ctx context.Context, q sqlx.ExtContext, where string, args ...any) ([]product.Product, error) {
	var rows []productRow
	err := sqlx.SelectContext(ctx, q, &rows, `select `+productColumns+` from product `+where, args...)
	if err != nil {
		return nil, fmt.Errorf("read products: %w", err)
	}
	ids := make([]uuid.UUID, len(rows))
	for i, r := range rows {
		ids[i] = r.ID
	}
	labels, err := labelsOf(ctx, q, ids)
	if err != nil {
		return nil, err
	}
	list := make([]product.Product, len(rows))
	for i, r := range rows {
		list[i] = r.product(labels[r.ID])
	}
	return list, nil
}

// productByID reads one product with its label versions, a retired one too;
// fault.NotFound "product".
func productByID(ctx context.Context, q sqlx.ExtContext, id uuid.UUID) (product.Product, error) {
	list, err := productsWhere(ctx, q, `where id = $1`, id)
	if err != nil {
		return product.Product{}, err
	}
	if len(list) == 0 {
		return product.Product{}, noSuch("product", id)
	}
	return list[0], nil
}

// productsByID reads the products of those ids, retired ones too.
func productsByID(ctx context.Context, q sqlx.ExtContext, ids []uuid.UUID) (map[uuid.UUID]product.Product, error) {
	list, err := productsWhere(ctx, q, `where id = any($1::uuid[])`, idArray(ids))
	if err != nil {
		return nil, err
	}
	by := make(map[uuid.UUID]product.Product, len(list))
	for _, p := range list {
		by[p.ID] = p
	}
	return by, nil
}

// allProducts reads the products that are not retired, by name.
func allProducts(ctx context.Context, q sqlx.ExtContext) ([]product.Product, error) {
	return productsWhere(ctx, q, `where retired_on is null order by lower(name), id`)
}

// Product returns one product with its label versions, a retired one too, or
// fault.NotFound "product".
func (db *DB) Product(ctx context.Context, id uuid.UUID) (p product.Product, err error) {
	err = db.inSnapshot(ctx, func(q sqlx.ExtContext) error {
		p, err = productByID(ctx, q, id)
		return err
	})
	return p, err
}

// Products returns the products that are not retired, by name, with labels.
func (db *DB) Products(ctx context.Context) (list []product.Product, err error) {
	err = db.inSnapshot(ctx, func(q sqlx.ExtContext) error {
		list, err = allProducts(ctx, q)
		return err
	})
	return list, err
}

func lockProduct(ctx context.Context, tx *sqlx.Tx, id uuid.UUID) (product.Product, error) {
	var r productRow
	err := tx.GetContext(ctx, &r, `select `+productColumns+` from product where id = $1 for update`, id)
	if errors.Is(err, sql.ErrNoRows) {
		return product.Product{}, noSuch("product", id)
	}
	if err != nil {
		return product.Product{}, fmt.Errorf("lock product: %w", err)
	}
	labels, err := labelsOf(ctx, tx, []uuid.UUID{id})
	return r.product(labels[id]), err
}
