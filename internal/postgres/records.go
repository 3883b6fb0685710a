package postgres

import (
	"context"
	"fmt"

	"github.com/jmoiron/sqlx"

	"thirdcut/internal/application"
	"thirdcut/internal/stock"
)

// lockChain reads the end of the chain and holds it: whoever appends a record
// waits here, so it comes last in every transaction.
func lockChain(ctx context.Context, tx *sqlx.Tx) (application.Head, error) {
	return readChain(ctx, tx, ` for update`)
}

func readChain(ctx context.Context, q sqlx.ExtContext, lock string) (h application.Head, err error) {
	var r struct {
		Seq  int64  `db:"seq"`
		Hash []byte `db:"hash"`
	}
	if err := sqlx.GetContext(ctx, q, &r, `select seq, hash from application_chain where id = 1`+lock); err != nil {
		return h, fmt.Errorf("read the end of the record chain: %w", err)
	}
	copy(h.Hash[:], r.Hash)
	h.Seq = r.Seq
	return h, nil
}

// ChainHead returns the end of the chain of records as it stands.
func (db *DB) ChainHead(ctx context.Context) (application.Head, error) {
	return readChain(ctx, db.DB, "")
}

// appendRecord seals the record at the end of the chain and sets its Seq.
func appendRecord(ctx context.Context, tx *sqlx.Tx, rec *application.Record) error {
	head, err := lockChain(ctx, tx)
	if err != nil {
		return err
	}
	rec.Seq = head.Seq + 1
	text, hash, err := application.Seal(*rec, head.Hash)
	if err != nil {
		return err
	}
	// What is in the columns is read back from the sealed text, so that the two agree.
	if *rec, err = application.Unseal(text); err != nil {
		return err
	}
	findings, err := asJSON(orNone(rec.Findings))
	if err != nil {
		return err
	}
	_, err = tx.ExecContext(ctx, `insert into application_record (id, seq, close_out_id, visit_id, property_id, product_id,
		supersedes_id, applied_on, started_at, finished_at, product_name, epa_reg_no, pesticide, restricted_use, state, county,
		applicator_id, findings, recorded_at, sealed_text, prev_hash, hash)
		values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17, $18, $19, $20, $21, $22)`,
		rec.ID, rec.Seq, orNull(rec.CloseOutID), orNull(rec.VisitID), rec.PropertyID, rec.ProductID, orNull(rec.SupersedesID),
		rec.AppliedOn, timeOrNull(rec.StartedAt), timeOrNull(rec.FinishedAt), rec.ProductName, rec.EPARegNo, rec.Pesticide,
		rec.RestrictedUse, rec.State, rec.County, rec.Applicator.PersonID, findings, rec.RecordedAt, text, head.Hash[:], hash[:])
	if err != nil {
		return fmt.Errorf("append record: %w", err)
	}
	if err := insertLines(ctx, tx, *rec); err != nil {
		return err
	}
	_, err = tx.ExecContext(ctx, `update application_chain set seq = $1, hash = $2 where id = 1`, rec.Seq, hash[:])
	if err != nil {
		return fmt.Errorf("move the end of the record chain: %w", err)
	}
	return nil
}

var applicationLineBulk = newBulkTable("application_line", "record_id uuid", "turf_area_id uuid", "product_id uuid",
	"applied_on date", "area_treated_sqft numeric", "amount numeric", "amount_unit text")

func insertLines(ctx context.Context, tx *sqlx.Tx, rec application.Record) error {
	rows := make([][]any, len(rec.Lines))
	for i, l := range rec.Lines {
		rows[i] = []any{rec.ID, l.TurfAreaID, rec.ProductID, rec.AppliedOn, l.AreaTreated.Value, l.Amount.Value, l.Amount.Unit}
	}
	return applicationLineBulk.insert(ctx, tx, rows)
}

// insertMove books an amount as it is: what was used may leave less than nothing.
func insertMove(ctx context.Context, tx *sqlx.Tx, m stock.Move) error {
	if err := newID(&m.ID); err != nil {
		return err
	}
	_, err := tx.ExecContext(ctx, `insert into stock_move (id, lot_id, kind, amount, amount_unit, entered, record_id, at, by_person)
		values ($1, $2, $3, $4, $5, $6, $7, $8, $9)`,
		m.ID, m.LotID, m.Kind, m.Amount, m.Unit, m.Entered, orNull(m.RecordID), m.At, orNull(m.ByPerson))
	if err != nil {
		return fmt.Errorf("book stock move: %w", err)
	}
	return nil
}
