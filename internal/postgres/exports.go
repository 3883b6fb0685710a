package postgres

import (
	"bytes"
	"context"
	"crypto/sha256"
	"database/sql"
	"errors"
	"fmt"
	"hash"
	"io"
	"math/rand/v2"
	"time"

	"github.com/google/uuid"
	"github.com/jmoiron/sqlx"

	"thirdcut/internal/application"
	"thirdcut/internal/civil"
	"thirdcut/internal/export"
)

const exportColumns = `id, kind, format, rule_id, from_date, to_date, state, rows_done, rows_total, file_name, size_bytes,
	sha256, coalesce(chain_seq, 0) as chain_seq, chain_hash, problem, asked_by, asked_at, finished_at`

type exportRow struct {
	ID         uuid.UUID     `db:"id"`
	Kind       string        `db:"kind"`
	Format     string        `db:"format"`
	RuleID     string        `db:"rule_id"`
	FromDate   civil.Date    `db:"from_date"`
	ToDate     civil.Date    `db:"to_date"`
	State      string        `db:"state"`
	RowsDone   int64         `db:"rows_done"`
	RowsTotal  int64         `db:"rows_total"`
	FileName   string        `db:"file_name"`
	SizeBytes  int64         `db:"size_bytes"`
	SHA256     []byte        `db:"sha256"`
	ChainSeq   int64         `db:"chain_seq"`
	ChainHash  []byte        `db:"chain_hash"`
	Problem    string        `db:"problem"`
	AskedBy    uuid.NullUUID `db:"asked_by"`
	AskedAt    time.Time     `db:"asked_at"`
	FinishedAt *time.Time    `db:"finished_at"`
}

func (r exportRow) file() export.File {
	f := export.File{ID: r.ID, Kind: r.Kind, Format: r.Format, RuleID: r.RuleID, From: r.FromDate, To: r.ToDate, State: r.State,
		RowsDone: r.RowsDone, RowsTotal: r.RowsTotal, FileName: r.FileName, SizeBytes: r.SizeBytes, SHA256: r.SHA256,
		ChainSeq: r.ChainSeq, ChainHash: r.ChainHash, Problem: r.Problem, AskedBy: r.AskedBy.UUID, AskedAt: r.AskedAt}
	if r.FinishedAt != nil {
		f.FinishedAt = *r.FinishedAt
	}
	return f
}

// AskExport keeps what was asked for and the job that will make it.
func (db *DB) AskExport(ctx context.Context, f export.File) error {
	return db.inTx(ctx, func(tx *sqlx.Tx) error {
		_, err := tx.ExecContext(ctx, `
			insert into export_file (id, kind, format, rule_id, from_date, to_date, state, file_name, asked_by, asked_at)
			values ($1, $2, $3, $4, $5, $6, 'asked', $7, $8, $9)`,
			f.ID, f.Kind, f.Format, f.RuleID, f.From, f.To, f.FileName, orNull(f.AskedBy), f.AskedAt)
		if err != nil {
			return fmt.Errorf("ask for export %s: %w", f.ID, err)
		}
		return addJob(ctx, tx, JobWriteExport, WriteExport{f.ID}, time.Time{})
	})
}

// Export returns one export; fault.NotFound "no-export".
func (db *DB) Export(ctx context.Context, id uuid.UUID) (export.File, error) {
	var r exportRow
	if err := db.GetContext(ctx, &r, `select `+exportColumns+` from export_file where id = $1`, id); err != nil {
		return export.File{}, notFound(err, "no-export", "there is no export %s; it may have been asked for elsewhere", id)
	}
	return r.file(), nil
}

// Exports lists the latest exports, newest first.
func (db *DB) Exports(ctx context.Context, limit int) ([]export.File, error) {
	var rows []exportRow
	err := db.SelectContext(ctx, &rows, `select `+exportColumns+` from export_file order by asked_at desc, id limit $1`, pageLimit(limit))
	if err != nil {
		return nil, fmt.Errorf("read exports: %w", err)
	}
	files := make([]export.File, len(rows))
	for i, r := range rows {
		files[i] = r.file()
	}
	return files, nil
}

// StartExport marks the export as running with the number of rows to come. It
// reports false when it is ready already (the job ran before). What an earlier
// attempt left is dropped.
func (db *DB) StartExport(ctx context.Context, id uuid.UUID, rows int64) (again bool, err error) {
	err = db.inTx(ctx, func(tx *sqlx.Tx) error {
		var state string
		if err := tx.GetContext(ctx, &state, `select state from export_file where id = $1 for update`, id); err != nil {
			return notFound(err, "no-export", "there is no export %s", id)
		}
		if again = state != "ready"; !again {
			return finishJob(ctx, tx)
		}
		if _, err := tx.ExecContext(ctx, `delete from export_chunk where export_id = $1`, id); err != nil {
			return fmt.Errorf("drop what export %s left before: %w", id, err)
		}
		_, err := tx.ExecContext(ctx, `update export_file set state = 'running', rows_done = 0, rows_total = $2, problem = '' where id = $1`, id, rows)
		if err != nil {
			return fmt.Errorf("start export %s: %w", id, err)
		}
		return nil
	})
	return again, err
}

// ExportProgress notes how many rows are written.
func (db *DB) ExportProgress(ctx context.Context, id uuid.UUID, rows int64) error {
	if _, err := db.ExecContext(ctx, `update export_file set rows_done = $2 where id = $1 and state = 'running'`, id, rows); err != nil {
		return fmt.Errorf("note progress of export %s: %w", id, err)
	}
	return nil
}

// exportChunkSize keeps a row far under what a database likes to move at once.
const exportChunkSize = 512 << 10

// ExportSink takes an export's bytes and keeps them as chunks. Two workers that
// write one export at a time (a lease that ran out) keep apart by attempt: the
// first to finish makes the file, of the other's nothing stays.
type ExportSink struct {
	ctx     context.Context
	db      *DB
	id      uuid.UUID
	attempt int32
	number  int
	size    int64
	sum     hash.Hash
	buf     []byte
}

// OpenExport opens the sink of one attempt at an export.
func (db *DB) OpenExport(ctx context.Context, id uuid.UUID) export.Sink {
	return &ExportSink{ctx: ctx, db: db, id: id, attempt: rand.Int32(), sum: sha256.New()}
}

// Write keeps what is given, a chunk at a time. It fails once another attempt
// has made the file.
func (s *ExportSink) Write(p []byte) (int, error) {
	for taken := 0; taken < len(p); {
		n := min(len(p)-taken, exportChunkSize-len(s.buf))
		s.buf = append(s.buf, p[taken:taken+n]...)
		taken += n
		if len(s.buf) == exportChunkSize {
			if err := s.put(); err != nil {
				return 0, err
			}
		}
	}
	return len(p), nil
}

// put keeps the buffer as the next chunk. The file's row is held while that is
// done, so that no chunk comes in after the file is ready.
func (s *ExportSink) put() error {
	done, err := s.db.ExecContext(s.ctx, `
		insert into export_chunk (export_id, attempt, number, data)
		select id, $2, $3, $4 from export_file where id = $1 and state <> 'ready' for share`, s.id, s.attempt, s.number, s.buf)
	if err != nil {
		return fmt.Errorf("keep part %d of export %s: %w", s.number, s.id, err)
	}
	if n, err := done.RowsAffected(); err != nil || n == 0 {
		return errors.Join(errOvertaken, err)
	}
	s.number++
	s.size += int64(len(s.buf))
	s.sum.Write(s.buf)
	s.buf = s.buf[:0]
	return nil
}

var errOvertaken = errors.New("another attempt at the export has taken over")

// Finish makes the export ready in the same transaction in which its job is
// done; the chain's head is what the file has printed. Where another attempt
// made the file already, that one stays.
func (s *ExportSink) Finish(chainSeq int64, chainHash []byte, rows int64) error {
	if len(s.buf) > 0 {
		if err := s.put(); err != nil && !errors.Is(err, errOvertaken) {
			return err
		}
	}
	return s.db.inTx(s.ctx, func(tx *sqlx.Tx) error {
		var state string
		if err := tx.GetContext(s.ctx, &state, `select state from export_file where id = $1 for update`, s.id); err != nil {
			return notFound(err, "no-export", "there is no export %s", s.id)
		}
		if state == "ready" {
			return finishJob(s.ctx, tx)
		}
		if err := s.whole(tx); err != nil {
			return err
		}
		_, err := tx.ExecContext(s.ctx, `
			update export_file set state = 'ready', problem = '', rows_done = $2, rows_total = $2, size_bytes = $3, sha256 = $4,
				chain_seq = $5, chain_hash = $6, finished_at = $7 where id = $1`,
			s.id, rows, s.size, s.sum.Sum(nil), chainSeq, chainHash, s.db.Real())
		if err != nil {
			return fmt.Errorf("finish export %s: %w", s.id, err)
		}
		return finishJob(s.ctx, tx)
	})
}

// whole drops what other attempts left and sees that nothing of this one is
// gone: an attempt that started later may have dropped it.
func (s *ExportSink) whole(tx *sqlx.Tx) error {
	if _, err := tx.ExecContext(s.ctx, `delete from export_chunk where export_id = $1 and attempt <> $2`, s.id, s.attempt); err != nil {
		return fmt.Errorf("drop other attempts at export %s: %w", s.id, err)
	}
	var there int
	if err := tx.GetContext(s.ctx, &there, `select count(*) from export_chunk where export_id = $1`, s.id); err != nil {
		return fmt.Errorf("count the parts of export %s: %w", s.id, err)
	}
	if there != s.number || len(s.buf) > 0 {
		return errOvertaken
	}
	return nil
}

// exportedSQL reads records with the numbers of what they supersede and of what
// supersedes them.
const exportedSQL = `select r.sealed_text, r.prev_hash, r.hash, coalesce(b.seq, 0), coalesce(a.seq, 0)
	from application_record r
	left join application_record b on b.id = r.supersedes_id
	left join application_record a on a.supersedes_id = r.id
	where r.applied_on between $1 and $2 order by r.applied_on, r.seq`

// ReadRecords reads the records of applications from the first to the last day,
// both included, in the order of day and number, all in one snapshot: begin is
// told the chain's head and how many records will come. Memory stays flat.
func (db *DB) ReadRecords(ctx context.Context, from, to civil.Date, begin func(head application.Head, total int64) error, each func(export.Row) error) error {
	tx, err := db.BeginTxx(ctx, &sql.TxOptions{Isolation: sql.LevelRepeatableRead, ReadOnly: true})
	if err != nil {
		return fmt.Errorf("begin to read records: %w", err)
	}
	defer tx.Rollback() // nothing was written
	head, err := readChain(ctx, tx, "")
	if err != nil {
		return err
	}
	var total int64
	if err := tx.GetContext(ctx, &total, `select count(*) from application_record where applied_on between $1 and $2`, from, to); err != nil {
		return fmt.Errorf("count records: %w", err)
	}
	if err := begin(head, total); err != nil {
		return err
	}
	rows, err := tx.QueryContext(ctx, exportedSQL, from, to)
	if err != nil {
		return fmt.Errorf("read records: %w", err)
	}
	defer rows.Close()
	for rows.Next() {
		r, err := scanExported(rows)
		if err != nil {
			return err
		}
		if err := each(r); err != nil {
			return err
		}
	}
	if err := rows.Err(); err != nil {
		return fmt.Errorf("read records: %w", err)
	}
	return nil
}

func scanExported(rows *sql.Rows) (r export.Row, err error) {
	var text string
	var prev, hash []byte
	if err := rows.Scan(&text, &prev, &hash, &r.CorrectsSeq, &r.CorrectedBySeq); err != nil {
		return r, fmt.Errorf("read a record: %w", err)
	}
	if r.Record, err = application.Unseal(text); err != nil {
		return r, err
	}
	sum := application.Chain(application.Hash(prev), text)
	r.Broken = !bytes.Equal(sum[:], hash)
	return r, nil
}

// FailExport says why an export was not made.
func (db *DB) FailExport(ctx context.Context, id uuid.UUID, why string) error {
	_, err := db.ExecContext(ctx, `update export_file set state = 'failed', problem = $2, finished_at = $3 where id = $1 and state <> 'ready'`, id, why, db.Real())
	if err != nil {
		return fmt.Errorf("fail export %s: %w", id, err)
	}
	return nil
}

// CopyExport writes a ready export's bytes to out.
func (db *DB) CopyExport(ctx context.Context, id uuid.UUID, out io.Writer) error {
	rows, err := db.QueryContext(ctx, `select data from export_chunk where export_id = $1 order by number`, id)
	if err != nil {
		return fmt.Errorf("read export %s: %w", id, err)
	}
	defer rows.Close()
	for rows.Next() {
		var data []byte
		if err := rows.Scan(&data); err != nil {
			return fmt.Errorf("read export %s: %w", id, err)
		}
		if _, err := out.Write(data); err != nil {
			return fmt.Errorf("send export %s: %w", id, err)
		}
	}
	return rows.Err()
}
