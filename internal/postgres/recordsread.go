package postgres

import (
	"context"
	"database/sql"
	"errors"
	"fmt"

	"github.com/google/uuid"
	"github.com/jmoiron/sqlx"

	"thirdcut/internal/application"
	"thirdcut/internal/civil"
)

// sealedColumns needs record r.
const sealedColumns = `r.sealed_text, r.prev_hash, r.hash,
	(select s.id from application_record s where s.supersedes_id = r.id) as superseded_by`

type sealedRow struct {
	SealedText   string        `db:"sealed_text"`
	PrevHash     []byte        `db:"prev_hash"`
	Hash         []byte        `db:"hash"`
	SupersededBy uuid.NullUUID `db:"superseded_by"`
}

// sealed reads the record out of its sealed text: the columns serve search only.
func (r sealedRow) sealed() (application.Sealed, error) {
	rec, err := application.Unseal(r.SealedText)
	if err != nil {
		return application.Sealed{}, err
	}
	s := application.Sealed{Record: rec, Text: r.SealedText, SupersededBy: r.SupersededBy.UUID}
	copy(s.PrevHash[:], r.PrevHash)
	copy(s.Hash[:], r.Hash)
	return s, nil
}

// eachRecord hands on records one at a time, so that years of them need no
// room. Where names them by r and may go on with an order.
func eachRecord(ctx context.Context, q sqlx.QueryerContext, where string, args []any, f func(application.Sealed) error) error {
	rows, err := q.QueryxContext(ctx, `select `+sealedColumns+` from application_record r `+where, args...)
	if err != nil {
		return fmt.Errorf("read records: %w", err)
	}
	defer rows.Close()
	for rows.Next() {
		var r sealedRow
		if err := rows.StructScan(&r); err != nil {
			return fmt.Errorf("read record: %w", err)
		}
		s, err := r.sealed()
		if err != nil {
			return err
		}
		if err := f(s); err != nil {
			return err
		}
	}
	if err := rows.Err(); err != nil {
		return fmt.Errorf("read records: %w", err)
	}
	return nil
}

// recordByID reads one record; fault.NotFound "record".
func recordByID(ctx context.Context, q sqlx.ExtContext, id uuid.UUID) (application.Sealed, error) {
	var r sealedRow
	err := sqlx.GetContext(ctx, q, &r, `select `+sealedColumns+` from application_record r where r.id = $1`, id)
	if errors.Is(err, sql.ErrNoRows) {
		return application.Sealed{}, noSuch("record", id)
	}
	if err != nil {
		return application.Sealed{}, fmt.Errorf("read record: %w", err)
	}
	return r.sealed()
}

// Record returns one application record as it was sealed, a corrected one too,
// or fault.NotFound "record".
func (db *DB) Record(ctx context.Context, id uuid.UUID) (application.Sealed, error) {
	return recordByID(ctx, db.DB, id)
}

// RecordQuery narrows a list of records. Zero values leave open; of the page
// query, Search finds words of product, registration number and county.
type RecordQuery struct {
	PageQuery
	From, To   civil.Date // days of application, both included
	PropertyID uuid.UUID
	CrewIDs    []uuid.UUID // only of visits of these crews; nil: all
	Superseded bool        // corrected ones too
}

// RecordsPage returns records by day of application and number, the first first.
func (db *DB) RecordsPage(ctx context.Context, p RecordQuery) (page Page[application.Sealed], err error) {
	crews := any(nil)
	if p.CrewIDs != nil {
		crews = idArray(p.CrewIDs)
	}
	err = db.inSnapshot(ctx, func(q sqlx.ExtContext) error {
		ids, next, err := keyset(ctx, q, p.PageQuery, `select r.applied_on::text || ' ' || lpad(r.seq::text, 19, '0') as key, r.id
			from application_record r
			where ($1 = '' or r.product_name ilike $1 or r.epa_reg_no ilike $1 or r.county ilike $1)
			and ($2 = '' or (r.applied_on, r.seq) > (split_part($2, ' ', 1)::date, split_part($2, ' ', 2)::bigint))
			and $3::uuid is not null
			and r.applied_on >= coalesce($5, '-infinity'::date) and r.applied_on <= coalesce($6, 'infinity'::date)
			and ($7::uuid is null or r.property_id = $7)
			and ($8::uuid[] is null or exists (select 1 from visit v where v.id = r.visit_id and v.crew_id = any($8::uuid[])))
			and ($9 or not exists (select 1 from application_record s where s.supersedes_id = r.id))
			order by r.applied_on, r.seq limit $4`, p.From, p.To, orNull(p.PropertyID), crews, p.Superseded)
		if err != nil {
			return err
		}
		page.Next = next
		return eachRecord(ctx, q, `where r.id = any($1::uuid[]) order by r.applied_on, r.seq`, []any{idArray(ids)},
			func(s application.Sealed) error {
				page.Items = append(page.Items, s)
				return nil
			})
	})
	return page, err
}

// Days of application, both included; a zero date leaves that end open.
const recordDays = `r.applied_on >= coalesce($1, '-infinity'::date) and r.applied_on <= coalesce($2, 'infinity'::date)`

const notSuperseded = `not exists (select 1 from application_record s where s.supersedes_id = r.id)`

// StreamRecords hands on the records of those days that no correction has
// replaced, by day and number, and returns the end of the chain at the same
// moment. It reads one snapshot: records that come in meanwhile are not in it.
func (db *DB) StreamRecords(ctx context.Context, from, to civil.Date, f func(application.Sealed) error) (head application.Head, err error) {
	return db.streamRecords(ctx, `where `+recordDays+` and `+notSuperseded+` order by r.applied_on, r.seq`, []any{from, to}, f)
}

// StreamAllRecords is StreamRecords with the corrected ones.
func (db *DB) StreamAllRecords(ctx context.Context, from, to civil.Date, f func(application.Sealed) error) (head application.Head, err error) {
	return db.streamRecords(ctx, `where `+recordDays+` order by r.applied_on, r.seq`, []any{from, to}, f)
}

func (db *DB) streamRecords(ctx context.Context, where string, args []any, f func(application.Sealed) error) (head application.Head, err error) {
	err = db.inSnapshot(ctx, func(q sqlx.ExtContext) error {
		if head, err = readChain(ctx, q, ""); err != nil {
			return err
		}
		return eachRecord(ctx, q, where, args, f)
	})
	return head, err
}

// CountRecords counts what StreamRecords hands on.
func (db *DB) CountRecords(ctx context.Context, from, to civil.Date) (n int64, err error) {
	err = db.GetContext(ctx, &n, `select count(*) from application_record r where `+recordDays+` and `+notSuperseded, from, to)
	if err != nil {
		return 0, fmt.Errorf("count records: %w", err)
	}
	return n, nil
}
