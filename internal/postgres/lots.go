package postgres

import (
	"context"
	"fmt"
	"time"

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

// AddLot keeps a new lot with the amount that came in. Ids left open are made.
// Faults: Invalid "lot", Invalid "stock-move", NotFound "product", Conflict "lot-taken".
func (db *DB) AddLot(ctx context.Context, l stock.Lot, received stock.Move) (lot stock.Lot, err error) {
	err = db.inTx(ctx, func(tx *sqlx.Tx) error {
		if err := newID(&l.ID); err != nil {
			return err
		}
		if err := stock.ValidateLot(l); err != nil {
			return err
		}
		_, err := tx.ExecContext(ctx, `insert into lot (id, product_id, number, received_on, expires_on)
			values ($1, $2, $3, $4, $5)`, l.ID, l.ProductID, l.Number, l.ReceivedOn, l.ExpiresOn)
		if err != nil {
			return fmt.Errorf("add lot: %w", err)
		}
		received.LotID, received.Kind = l.ID, "received"
		lot, err = bookMove(ctx, tx, received)
		return err
	})
	return lot, err
}

// AddStockMove books an amount on a lot as stock.Settle reads it, and returns
// the lot with what is then left. At is when it happened; an id left open is
// made. Faults: NotFound "lot", Invalid "stock-move", Rule "not-that-much".
func (db *DB) AddStockMove(ctx context.Context, m stock.Move) (lot stock.Lot, err error) {
	err = db.inTx(ctx, func(tx *sqlx.Tx) error {
		if err := lockRow(ctx, tx, "lot", "lot", m.LotID); err != nil {
			return err
		}
		lot, err = bookMove(ctx, tx, m)
		return err
	})
	return lot, err
}

func bookMove(ctx context.Context, tx *sqlx.Tx, m stock.Move) (stock.Lot, error) {
	lots, err := lotsByID(ctx, tx, []uuid.UUID{m.LotID})
	if err != nil {
		return stock.Lot{}, err
	}
	if len(lots) == 0 {
		return stock.Lot{}, noSuch("lot", m.LotID)
	}
	lot := lots[0]
	if m, err = stock.Settle(lot, m); err != nil {
		return lot, err
	}
	if err := newID(&m.ID); err != nil {
		return lot, err
	}
	_, err = tx.ExecContext(ctx, `insert into stock_move (id, lot_id, kind, amount, amount_unit, entered, record_id, at, by_person)
		values ($1, $2, $3, $4, $5, $6, $7, $8, $9)`,
		m.ID, m.LotID, m.Kind, m.Amount, m.Unit, m.Entered, orNull(m.RecordID), m.At, orNull(m.ByPerson))
	if err != nil {
		return lot, fmt.Errorf("book stock move: %w", err)
	}
	lot.Left += m.Amount
	return lot, nil
}

// StockMoves returns what was booked on a lot, the latest first.
func (db *DB) StockMoves(ctx context.Context, lotID uuid.UUID) ([]stock.Move, error) {
	var rows []moveRow
	err := db.SelectContext(ctx, &rows, `select `+moveColumns+` from stock_move where lot_id = $1 order by at desc, id`, lotID)
	if err != nil {
		return nil, fmt.Errorf("read stock moves: %w", err)
	}
	moves := make([]stock.Move, len(rows))
	for i, r := range rows {
		moves[i] = r.move()
	}
	return moves, nil
}

const moveColumns = `id, lot_id, kind, amount, amount_unit, entered, record_id, at, by_person`

type moveRow struct {
	ID         uuid.UUID     `db:"id"`
	LotID      uuid.UUID     `db:"lot_id"`
	Kind       string        `db:"kind"`
	Amount     float64       `db:"amount"`
	AmountUnit string        `db:"amount_unit"`
	Entered    string        `db:"entered"`
	RecordID   uuid.NullUUID `db:"record_id"`
	At         time.Time     `db:"at"`
	ByPerson   uuid.NullUUID `db:"by_person"`
}

func (r moveRow) move() stock.Move {
	return stock.Move{ID: r.ID, LotID: r.LotID, Kind: r.Kind, Amount: r.Amount, Unit: r.AmountUnit, Entered: r.Entered,
		RecordID: r.RecordID.UUID, At: r.At, ByPerson: r.ByPerson.UUID}
}
