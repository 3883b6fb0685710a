package postgres

import (
	"context"
	"fmt"
	"slices"
	"time"

	"github.com/google/uuid"
	"github.com/jmoiron/sqlx"

	"thirdcut/internal/account"
	"thirdcut/internal/application"
	"thirdcut/internal/fault"
	"thirdcut/internal/stock"
	"thirdcut/internal/visit"
)

// CorrectRecord appends a record that supersedes the one of that id, as change
// makes it, with the reason and who corrected it; the old one stays as it was
// sealed. What follows from the application (rate, mix, re-entry, licences,
// findings) is worked out anew from what is then told; what the lots gave is
// set right by the difference. Faults: NotFound "record" and "person", Conflict
// "already-corrected" for a record that was corrected before, and those of
// application.Record.Changed and application.Correct.
func (db *DB) CorrectRecord(ctx context.Context, id uuid.UUID, change func(*application.Record) error, reason string, by uuid.UUID) (s application.Sealed, err error) {
	err = db.inTx(ctx, func(tx *sqlx.Tx) error {
		old, err := recordByID(ctx, tx, id)
		if err != nil {
			return err
		}
		if old.SupersededBy != uuid.Nil {
			return fault.New(fault.Conflict, "already-corrected", "that record has been corrected already; correct the correction, record %s", old.SupersededBy)
		}
		rec, moves, err := db.correction(ctx, tx, old.Record, change, reason, by)
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

// correction builds the new record from what is on file around the old one's
// visit, as if the old one had not been made, and what it moves in the lots.
func (db *DB) correction(ctx context.Context, tx *sqlx.Tx, old application.Record, change func(*application.Record) error, reason string, by uuid.UUID) (rec application.Record, moves []stock.Move, err error) {
	person, err := personByID(ctx, tx, by)
	if err != nil {
		return rec, nil, err
	}
	changed, told, err := old.Changed(change)
	if err != nil {
		return rec, nil, err
	}
	if err := newID(&told.ID); err != nil {
		return rec, nil, err
	}
	v, err := lockVisit(ctx, tx, old.VisitID)
	if err != nil {
		return rec, nil, err
	}
	c := visit.Closing{By: by, Entry: visit.Entry{ID: old.CloseOutID, VisitID: old.VisitID, Applications: []visit.Application{told}}}
	if err := tx.GetContext(ctx, &c.Entry.FinishedAt, `select finished_at from close_out where id = $1`, old.CloseOutID); err != nil {
		return rec, nil, fmt.Errorf("read the report of record %s: %w", old.ID, err)
	}
	facts, err := fieldFacts(ctx, tx, v, c, db.Real)
	if err != nil {
		return rec, nil, err
	}
	taken, err := takenBy(ctx, tx, old.ID)
	if err != nil {
		return rec, nil, err
	}
	f := facts.For(c.Entry, told, by)
	f.Past = slices.DeleteFunc(f.Past, func(p application.Past) bool { return p.RecordID == old.ID })
	f.Lots = asBefore(f.Lots, taken)
	rec, err = application.Correct(old, changed, told, f, reason, application.Who{PersonID: person.ID, Name: person.Name})
	if err != nil {
		return rec, nil, err
	}
	moves, err = correctStock(ctx, tx, taken, rec, by)
	return rec, moves, err
}

// asBefore returns the lots as if the record had taken nothing: taken is negative.
func asBefore(lots map[uuid.UUID]stock.Lot, taken map[uuid.UUID]float64) map[uuid.UUID]stock.Lot {
	before := map[uuid.UUID]stock.Lot{}
	for id, lot := range lots {
		lot.Left -= taken[id]
		before[id] = lot
	}
	return before
}

// correctStock makes the moves by which the lots have given what the new record
// says, after whatever the old one and those before it took.
func correctStock(ctx context.Context, tx *sqlx.Tx, taken map[uuid.UUID]float64, rec application.Record, by uuid.UUID) ([]stock.Move, error) {
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
	lots = asBefore(lots, taken)
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
