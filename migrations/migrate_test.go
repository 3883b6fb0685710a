package migrations_test

import (
	"context"
	"fmt"
	"io/fs"
	"os"
	"regexp"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"github.com/jmoiron/sqlx"

	"thirdcut/internal/testkit/pgtest"
	"thirdcut/migrations"
)

// empty is a database in which nothing was done yet.
func empty(t *testing.T) *sqlx.DB {
	t.Helper()
	db := pgtest.DB(t)
	if _, err := db.Exec(`drop schema public cascade; create schema public`); err != nil {
		t.Fatal(err)
	}
	return db
}

func count(t *testing.T, db *sqlx.DB, query string) (n int) {
	t.Helper()
	if err := db.Get(&n, query); err != nil {
		t.Fatalf("%s: %v", query, err)
	}
	return n
}

const tables = `select count(*) from pg_tables where schemaname = 'public'`

// Several processes that start at once bring an empty database up together;
// afterwards there is nothing left to do.
func TestStartsAtOnceBringItUpTogether(t *testing.T) {
	t.Parallel()
	db := empty(t)
	ended := make(chan error, 4)
	began := time.Now()
	for range cap(ended) {
		go func() { ended <- migrations.Up(context.Background(), db.DB) }()
	}
	for range cap(ended) {
		if err := <-ended; err != nil {
			t.Error(err)
		}
	}
	t.Logf("%d at once: %v", cap(ended), time.Since(began))
	made := count(t, db, tables)
	began = time.Now()
	if err := migrations.Up(context.Background(), db.DB); err != nil {
		t.Error(err)
	}
	t.Logf("nothing to do: %v", time.Since(began))
	if made < 20 || count(t, db, tables) != made {
		t.Errorf("%d tables, then %d", made, count(t, db, tables))
	}
	files, err := fs.Glob(migrations.FS, "*.sql")
	if err != nil {
		t.Fatal(err)
	}
	if n := count(t, db, `select count(distinct version_id) from goose_db_version where is_applied and version_id > 0`); n != len(files) {
		t.Errorf("%d of %d files are noted as done", n, len(files))
	}
}

func TestFileThatFailsLeavesNothingAndIsGoneOnWith(t *testing.T) {
	t.Parallel()
	db, ctx := empty(t), context.Background()
	file := func(sql string) *fstest.MapFile { return &fstest.MapFile{Data: []byte("-- +goose Up\n" + sql + "\n")} }
	files := fstest.MapFS{
		"00001_a.sql": file(`create table a (n int);`),
		"00002_b.sql": file(`create table b (n int); insert into nowhere values (1);`),
	}
	if err := migrations.UpFrom(ctx, db.DB, files); err == nil || !strings.Contains(err.Error(), "nowhere") {
		t.Errorf("the failure is %v", err)
	}
	if n := count(t, db, `select count(*) from pg_tables where tablename in ('a', 'b')`); n != 1 {
		t.Errorf("%d tables, want that of the first file alone", n)
	}
	files["00002_b.sql"] = file(`create table b (n int);`)
	if err := migrations.UpFrom(ctx, db.DB, files); err != nil {
		t.Fatal(err)
	}
	if n := count(t, db, `select count(*) from pg_tables where tablename in ('a', 'b')`); n != 2 {
		t.Errorf("%d tables, want two", n)
	}
}

// A migration says why at its top, and the numbers have no gap or double.
func TestFilesAreNumberedAndSayWhy(t *testing.T) {
	names, err := fs.Glob(migrations.FS, "*")
	if err != nil {
		t.Fatal(err)
	}
	form := regexp.MustCompile(`^\d{5}_[a-z0-9_]+\.sql$`)
	for i, name := range names {
		if !form.MatchString(name) || !strings.HasPrefix(name, fmt.Sprintf("%05d_", i+1)) {
			t.Errorf("%s stands in place %d", name, i+1)
		}
		b, err := migrations.FS.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		if !strings.HasPrefix(string(b), "-- ") || strings.HasPrefix(string(b), "-- +goose") || !strings.Contains(string(b), "-- +goose Up\n") {
			t.Errorf("%s does not say at its top why", name)
		}
	}
	onDisk, err := os.ReadDir(".")
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range onDisk {
		if form.MatchString(f.Name()) {
			names = names[1:]
		}
	}
	if len(names) != 0 {
		t.Errorf("the program holds %d files more than the folder", len(names))
	}
}

func TestHashNamesTheFiles(t *testing.T) {
	a, err := migrations.Hash()
	if err != nil {
		t.Fatal(err)
	}
	if b, err := migrations.Hash(); err != nil || a != b || !regexp.MustCompile(`^[0-9a-f]{16}$`).MatchString(a) {
		t.Errorf("hashes %q and %q, %v", a, b, err)
	}
}
