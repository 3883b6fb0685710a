// Package migrations holds the database's shape as numbered SQL files and
// brings a database up to it.
package migrations

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"embed"
	"encoding/hex"
	"fmt"
	"io/fs"
	"time"

	"github.com/pressly/goose/v3"
	"github.com/pressly/goose/v3/lock"
)

// FS holds the numbered files. schema.sql, which only shows their sum, is not in it.
//
//go:embed 0*.sql
var FS embed.FS

// Up brings the database to the newest shape, each file in a transaction of
// its own: a file that fails leaves nothing of itself, and the next Up goes on
// with it. Several processes may do it at once: one works, the others wait, up
// to two minutes.
func Up(ctx context.Context, db *sql.DB) error { return up(ctx, db, FS) }

func up(ctx context.Context, db *sql.DB, files fs.FS) error {
	locker, err := lock.NewPostgresSessionLocker(lock.WithLockTimeout(1, 120))
	if err != nil {
		return fmt.Errorf("prepare the migration lock: %w", err)
	}
	p, err := goose.NewProvider(goose.DialectPostgres, db, files, goose.WithSessionLocker(locker))
	if err != nil {
		return fmt.Errorf("read the migrations: %w", err)
	}
	pending, err := p.HasPending(ctx)
	if err != nil {
		return fmt.Errorf("look for migrations to do: %w", err)
	}
	if !pending {
		return nil
	}
	ctx, cancel := context.WithTimeout(ctx, 30*time.Minute)
	defer cancel()
	if _, err := p.Up(ctx); err != nil {
		return fmt.Errorf("bring the database up to date: %w", err)
	}
	return nil
}

// Hash names the shape that the files make: the same files, the same hash.
func Hash() (string, error) {
	sum := sha256.New()
	names, err := fs.Glob(FS, "*.sql")
	if err != nil {
		return "", fmt.Errorf("list the migrations: %w", err)
	}
	for _, n := range names {
		b, err := FS.ReadFile(n)
		if err != nil {
			return "", fmt.Errorf("read migration %s: %w", n, err)
		}
		fmt.Fprintf(sum, "%s %d\n", n, len(b))
		sum.Write(b)
	}
	return hex.EncodeToString(sum.Sum(nil))[:16], nil
}
