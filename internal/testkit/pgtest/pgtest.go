// Package pgtest gives each test a database of its own on a real PostgreSQL.
//
// The tests of a package share one server, which is started when the first of
// them asks and is thrown away at the end. Where THIRDCUT_TEST_DATABASE_URL
// names a server, its databases are made there.
package pgtest

import (
	"context"
	"database/sql"
	"fmt"
	"net/url"
	"os"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/jmoiron/sqlx"
	_ "github.com/lib/pq" // the tests' own connection

	"thirdcut/internal/standalone"
	"thirdcut/migrations"
)

// ServerVariable names a running server to use in place of a private one.
const ServerVariable = "THIRDCUT_TEST_DATABASE_URL"

var shared struct {
	once     sync.Once
	err      error
	admin    *sql.DB
	url      string // of some database of the server
	template string
	server   *standalone.Server
	main     bool
	clones   atomic.Int64
}

// Main runs a package's tests and ends the server that they started. Each
// package that uses New has it as its TestMain.
func Main(m *testing.M) {
	shared.main = true
	code := m.Run()
	if shared.admin != nil {
		shared.admin.Close()
	}
	if shared.server != nil {
		if err := shared.server.Stop(); err != nil {
			fmt.Fprintln(os.Stderr, err)
			code = max(code, 1)
		}
	}
	os.Exit(code)
}

// New returns the address of a fresh database with all migrations done. It is
// the test's alone and dropped with the server. Without a server the test fails.
func New(t testing.TB) string {
	t.Helper()
	if !shared.main {
		t.Fatal("pgtest: the package needs func TestMain(m *testing.M) { pgtest.Main(m) }, which ends the server")
	}
	shared.once.Do(func() { shared.err = start() })
	if shared.err != nil {
		t.Fatalf("the test needs PostgreSQL: %v", shared.err)
	}
	name := fmt.Sprintf("t_%d_%d_%d", os.Getpid(), time.Now().UnixNano()%1e9, shared.clones.Add(1))
	if _, err := shared.admin.Exec(`create database ` + name + ` template ` + shared.template + ` strategy file_copy`); err != nil {
		t.Fatalf("clone the template database: %v", err)
	}
	if shared.server == nil { // somebody else's server: leave nothing behind
		t.Cleanup(func() {
			if _, err := shared.admin.Exec(`drop database if exists ` + name + ` with (force)`); err != nil {
				t.Errorf("drop the test's database: %v", err)
			}
		})
	}
	return withDatabase(shared.url, name)
}

// DB is a fresh database as New makes it, opened; it is closed with the test.
func DB(t testing.TB) *sqlx.DB {
	t.Helper()
	db, err := sqlx.Open("postgres", New(t))
	if err != nil {
		t.Fatalf("open the test's database: %v", err)
	}
	t.Cleanup(func() { db.Close() })
	return db
}

// Server is the private server of this test process, for tests that restart
// it; nil when the tests run on a server of somebody else's.
func Server() *standalone.Server { return shared.server }

func start() error {
	ctx := context.Background()
	shared.url = os.Getenv(ServerVariable)
	if shared.url == "" {
		s, err := standalone.Start(ctx, standalone.Options{Throwaway: true, Progress: os.Stderr})
		if err != nil {
			return err
		}
		shared.server, shared.url = s, s.DatabaseURL()
	}
	if u, err := url.Parse(shared.url); err != nil || !strings.HasPrefix(u.Scheme, "postgres") {
		return fmt.Errorf("%s must be an address as in postgres://user@host/name?sslmode=disable", ServerVariable)
	}
	var err error
	if shared.admin, err = sql.Open("postgres", shared.url); err != nil {
		return err
	}
	shared.admin.SetMaxOpenConns(4)
	return makeTemplate(ctx)
}

// makeTemplate makes the database that tests are cloned from, named by what
// the migrations say. Test processes that share a server take turns.
func makeTemplate(ctx context.Context) error {
	hash, err := migrations.Hash()
	if err != nil {
		return err
	}
	shared.template = "template_" + hash
	conn, err := shared.admin.Conn(ctx)
	if err != nil {
		return fmt.Errorf("the server does not answer; start it, or unset %s for a private one: %w", ServerVariable, err)
	}
	defer conn.Close()
	if _, err := conn.ExecContext(ctx, `select pg_advisory_lock(hashtext('thirdcut test template'))`); err != nil {
		return err
	}
	defer conn.ExecContext(ctx, `select pg_advisory_unlock(hashtext('thirdcut test template'))`)
	var there bool
	if err := conn.QueryRowContext(ctx, `select exists (select from pg_database where datname = $1)`, shared.template).Scan(&there); err != nil || there {
		return err
	}
	making := shared.template + "_making"
	for _, stmt := range []string{`drop database if exists ` + making, `create database ` + making} {
		if _, err := conn.ExecContext(ctx, stmt); err != nil {
			return err
		}
	}
	db, err := sql.Open("postgres", withDatabase(shared.url, making))
	if err != nil {
		return err
	}
	err = migrations.Up(ctx, db)
	db.Close()
	if err != nil {
		return err
	}
	_, err = conn.ExecContext(ctx, `alter database `+making+` rename to `+shared.template)
	return err
}

// withDatabase is the address, which start has read, with another database in it.
func withDatabase(address, name string) string {
	u, err := url.Parse(address)
	if err != nil {
		panic(err)
	}
	u.Path = "/" + name
	return u.String()
}
