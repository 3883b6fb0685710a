package postgres

import (
	"context"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jmoiron/sqlx"

	"thirdcut/internal/account"
	"thirdcut/internal/application"
	"thirdcut/internal/fault"
	"thirdcut/internal/stock"
)

// CorrectRecord appends a record that supersedes the one of that id, as change
// makes it, with the reason and who corrected it; the old one stays as it was
// sealed. What the lots gave is set right by the difference. Faults: NotFound
// "record" and "person", Conflict "already-corrected" for a record that was
// corrected before, and those of application.Correct.
func (db *DB) CorrectRecord(ctx context.Context, id uuid.UUID, change func(*application.Record) error, reason string, by uuid.UUID) (s application.Sealed, err error) {
	err = db.inTx(ctx, func(tx *sqlx.Tx) error {
		old, err := recordByID(ctx, tx, id)
		if err != nil {
			return err
		}
		if old.SupersededBy != uuid.Nil {
			return fault.New(fault.Conflict, "already-corrected", "that record has been corrected already; correct the correction, record %s", old.SupersededBy)
		}
		rec, err := correction(ctx, tx, db, old.Record, change, reason, by)
		if err != nil {
			return err
		}
		moves, err := correctStock(ctx, tx, old.Record, rec, by)
		if err != nil {
			return err
		}
		if err := appendRecord(ctx, tx, &rec); err != nil {
			return err
		}
		for _, m := range moves {
			if err := insertMove(ctx, tx, m); err != nil {
				return err
			}
		}
		err = addAudit(ctx, tx, account.AuditEntry{At: db.Real(), PersonID: by, Action: "record.correct", Subject: id.String(), Detail: rec.Correction})
		if err != nil {
			return err
		}
		if err := refreshWindows(ctx, tx, rec.PropertyID); err != nil {
			return err
		}
		s, err = recordByID(ctx, tx, rec.ID)
		return err
	})
	return s, err
}

func correction(ctx context.Context, tx *sqlx.Tx, db *DB, old application.Record, change func(*application.Record) error, reason string, by uuid.UUID) (application.Record, error) {
	person, err := personByID(ctx, tx, by)
	if err != nil {
		return application.Record{}, err
	}
	clock, err := db.businessClock(ctx, tx)
	if err != nil {
		return application.Record{}, err
	}
	rec, err := application.Correct(old, change, reason, application.Who{PersonID: person.ID, Name: person.Name}, clock.Now())
	if err != nil {
		return rec, err
	}
	return rec, newID(&rec.ID)
}

// correctStock makes the moves by which the lots have given what the new record
// says, after whatever the old one and those before it took.
func correctStock(ctx context.Context, tx *sqlx.Tx, old, rec application.Record, by uuid.UUID) ([]stock.Move, error) {
	taken, err := takenBy(ctx, tx, old.ID)
	if err != nil {
		return nil, err
	}
	var ids []uuid.UUID
	for id := range taken {
		ids = append(ids, id)
	}
	for _, l := range rec.Lots {
		ids = append(ids, l.LotID)
	}
	lots, err := holdLots(ctx, tx, ids)
	if err != nil {
		return nil, err
	}
	for id, amount := range taken { // as if it had never been taken
		lot := lots[id]
		lot.Left -= amount
		lots[id] = lot
	}
	draws := application.Draws(rec, lots)
	var moves []stock.Move
	for id, lot := range lots {
		if difference := -draws[id] - taken[id]; difference > 1e-9 || difference < -1e-9 {
			moves = append(moves, stock.Move{LotID: id, Kind: "used", Amount: difference, Unit: lot.LeftUnit,
				Entered: fmt.Sprintf("%+.6g %s by correction", difference, lot.LeftUnit), RecordID: rec.ID, At: endOf(rec), ByPerson: by})
		}
	}
	return moves, nil
}

func endOf(rec application.Record) time.Time {
	if rec.FinishedAt.IsZero() {
		return rec.RecordedAt
	}
	return rec.FinishedAt
}

// takenBy sums what each lot gave to the record and to those that it supersedes;
// taken out is negative.
func takenBy(ctx context.Context, q sqlx.ExtContext, id uuid.UUID) (map[uuid.UUID]float64, error) {
	var rows []struct {
		LotID  uuid.UUID `db:"lot_id"`
		Amount float64   `db:"amount"`
	}
	err := sqlx.SelectContext(ctx, q, &rows, `with recursive chain as (
			select id, supersedes_id from application_record where id = $1
			union all
			select r.id, r.supersedes_id from application_record r join chain c on r.id = c.supersedes_id)
		select m.lot_id, sum(m.amount) as amount from stock_move m
		join chain c on c.id = m.record_id join lot l on l.id = m.lot_id
		group by m.lot_id`, id)
	if err != nil {
		return nil, fmt.Errorf("read what the record took: %w", err)
	}
	taken := map[uuid.UUID]float64{}
	for _, r := range rows {
		taken[r.LotID] = r.Amount
	}
	return taken, nil
}
