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
	"thirdcut/internal/fault"
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

// AddProduct keeps a new product; its labels are added after it. An id left
// open is made. fault.Conflict "product-name-taken".
func (db *DB) AddProduct(ctx context.Context, p product.Product) (product.Product, error) {
	err := db.inTx(ctx, func(tx *sqlx.Tx) error {
		p.Version, p.Labels = 1, nil
		if err := newID(&p.ID); err != nil {
			return err
		}
		if err := product.Validate(p); err != nil {
			return err
		}
		_, err := tx.ExecContext(ctx, `insert into product (id, name, kind, form, epa_reg_no, active_ingredient,
			concentration_percent, formulation, restricted_use, n_percent, p2o5_percent, k2o_percent, n_slow_percent,
			fe_percent, retired_on, version, updated_at)
			values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17)`, productValues(p, db.Real())...)
		if err != nil {
			return fmt.Errorf("add product: %w", err)
		}
		return nil
	})
	return p, err
}

// SaveProduct changes a product at that version, without its labels:
// fault.NeedsVersion, fault.Stale, fault.NotFound "product", fault.Invalid
// "product". The form stays once a lot or a label hangs on the product:
// fault.Conflict "product-in-use".
func (db *DB) SaveProduct(ctx context.Context, id uuid.UUID, version int, change func(*product.Product) error) (p product.Product, err error) {
	err = db.inTx(ctx, func(tx *sqlx.Tx) error {
		if p, err = lockProduct(ctx, tx, id); err != nil {
			return err
		}
		if err := checkVersion("product", p.Version, version); err != nil {
			return err
		}
		after, differs, err := changed(p, change)
		if err != nil || !differs {
			return err
		}
		after.ID, after.Version, after.Labels = id, p.Version+1, p.Labels
		if err := product.Validate(after); err != nil {
			return err
		}
		if err := keepForm(ctx, tx, p, after); err != nil {
			return err
		}
		_, err = tx.ExecContext(ctx, `update product set name = $2, kind = $3, form = $4, epa_reg_no = $5,
			active_ingredient = $6, concentration_percent = $7, formulation = $8, restricted_use = $9, n_percent = $10,
			p2o5_percent = $11, k2o_percent = $12, n_slow_percent = $13, fe_percent = $14, retired_on = $15, version = $16,
			updated_at = $17 where id = $1`, productValues(after, db.Real())...)
		if err != nil {
			return fmt.Errorf("save product: %w", err)
		}
		p = after
		return nil
	})
	return p, err
}

// keepForm refuses to turn a product in use from dry to liquid or the other
// way, since its lots are kept in kilograms or litres and its rates read so.
func keepForm(ctx context.Context, tx *sqlx.Tx, before, after product.Product) error {
	if before.Form == after.Form {
		return nil
	}
	var inUse bool
	err := tx.GetContext(ctx, &inUse, `select exists (select 1 from lot where product_id = $1)
		or exists (select 1 from label_version where product_id = $1)`, before.ID)
	if err != nil {
		return fmt.Errorf("look for uses of product: %w", err)
	}
	if inUse {
		return fault.New(fault.Conflict, "product-in-use",
			"%s has lots or labels as a %s product; add the %s one as a product of its own", before.Name, before.Form, after.Form)
	}
	return nil
}

func productValues(p product.Product, at time.Time) []any {
	return []any{p.ID, p.Name, p.Kind, p.Form, p.EPARegNo, p.ActiveIngredient, p.ConcentrationPercent, p.Formulation,
		p.RestrictedUse, p.NPercent, p.P2O5Percent, p.K2OPercent, p.NSlowPercent, p.FePercent, p.RetiredOn, p.Version, at}
}
