package postgres

import (
	"context"
	"fmt"

	"github.com/google/uuid"
	"github.com/jmoiron/sqlx"

	"thirdcut/internal/civil"
	"thirdcut/internal/stock"
)

// lotColumns needs lot l, product p and the sum m of the lot's moves.
const lotColumns = `l.id, l.product_id, l.number, l.received_on, l.expires_on,
	coalesce(m.amount, 0) as amount, case p.form when 'dry' then 'kg' else 'L' end as amount_unit`

type lotRow struct {
	ID         uuid.UUID  `db:"id"`
	ProductID  uuid.UUID  `db:"product_id"`
	Number     string     `db:"number"`
	ReceivedOn civil.Date `db:"received_on"`
	ExpiresOn  civil.Date `db:"expires_on"`
	Amount     float64    `db:"amount"`
	AmountUnit string     `db:"amount_unit"`
}

func (r lotRow) lot() stock.Lot {
	return stock.Lot{ID: r.ID, ProductID: r.ProductID, Number: r.Number, ReceivedOn: r.ReceivedOn,
		ExpiresOn: r.ExpiresOn, Left: r.Amount, LeftUnit: r.AmountUnit}
}

// lotsOf reads the lots of a product with what is left, the first to expire first.
func lotsOf(ctx context.Context, q sqlx.ExtContext, productID uuid.UUID) ([]stock.Lot, error) {
	return lotsWhere(ctx, q, `l.product_id = $1`, productID)
}

// lotsByID reads the lots of those ids with what is left.
func lotsByID(ctx context.Context, q sqlx.ExtContext, ids []uuid.UUID) ([]stock.Lot, error) {
	return lotsWhere(ctx, q, `l.id = any($1::uuid[])`, idArray(ids))
}

func lotsWhere(ctx context.Context, q sqlx.ExtContext, where string, args ...any) ([]stock.Lot, error) {
	var rows []lotRow
	err := sqlx.SelectContext(ctx, q, &rows, `select `+lotColumns+` from lot l
		join product p on p.id = l.product_id
		left join lateral (select sum(amount) as amount from stock_move where lot_id = l.id) m on true
		where `+where+` order by l.expires_on nulls last, l.received_on, l.number`, args...)
	if err != nil {
		return nil, fmt.Errorf("read lots: %w", err)
	}
	lots := make([]stock.Lot, len(rows))
	for i, r := range rows {
		lots[i] = r.lot()
	}
	return lots, nil
}

// Lots returns the lots of a product with what is left in kilograms (dry) or
// litres (liquid), the first to expire first.
func (db *DB) Lots(ctx context.Context, productID uuid.UUID) ([]stock.Lot, error) {
	return lotsOf(ctx, db.DB, productID)
}
