package pgtest

import (
	"os"
	"os/exec"
	"strings"
	"testing"
	"time"

	"github.com/jmoiron/sqlx"
)

func TestMain(m *testing.M) { Main(m) }

func count(t *testing.T, db *sqlx.DB, query string) (n int) {
	t.Helper()
	if err := db.Get(&n, query); err != nil {
		t.Fatalf("%s: %v", query, err)
	}
	return n
}

func TestEachTestHasItsOwnDatabase(t *testing.T) {
	a, b := DB(t), DB(t)
	if _, err := a.Exec(`insert into timetable (name, updated_at) values ('here', now())`); err != nil {
		t.Fatal(err)
	}
	if n := count(t, a, `select count(*) from timetable`); n != 1 {
		t.Errorf("the test's own database has %d rows, want 1", n)
	}
	if n := count(t, b, `select count(*) from timetable`); n != 0 {
		t.Errorf("the other database has %d rows of this one's", n)
	}
}

func TestDatabaseHasAllMigrationsDone(t *testing.T) {
	files, err := os.ReadDir("../../../migrations")
	if err != nil {
		t.Fatal(err)
	}
	want := 0
	for _, f := range files {
		if strings.HasPrefix(f.Name(), "0") && strings.HasSuffix(f.Name(), ".sql") {
			want++
		}
	}
	if n := count(t, DB(t), `select count(*) from goose_db_version where is_applied and version_id > 0`); n != want || want == 0 {
		t.Errorf("%d migrations are done, want %d", n, want)
	}
}

// again runs tests of this program in a process of its own.
func again(tests string, env ...string) (said string, err error) {
	cmd := exec.Command(os.Args[0], "-test.run=^("+tests+")$", "-test.v")
	cmd.Env = append(os.Environ(), env...)
	out, err := cmd.CombinedOutput()
	return string(out), err
}

func TestMissingServerFailsTheTest(t *testing.T) {
	for _, c := range []struct{ env, want string }{
		{ServerVariable + "=postgres://nobody@/none?host=/nonexistent&sslmode=disable", "the server does not answer; start it, or unset " + ServerVariable},
		{ServerVariable + "=soup", "must be an address as in postgres://"},
		{"THIRDCUT_PG_BIN=/nonexistent", "the test needs PostgreSQL: THIRDCUT_PG_BIN names /nonexistent"},
	} {
		env := []string{c.env}
		if !strings.HasPrefix(c.env, ServerVariable) {
			env = append(env, ServerVariable+"=")
		}
		said, err := again("TestEachTestHasItsOwnDatabase", env...)
		if err == nil || !strings.Contains(said, c.want) || !strings.Contains(said, "--- FAIL") || strings.Contains(said, "SKIP") {
			t.Errorf("with %s the test process ended with %v and said\n%s", c.env, err, said)
		}
	}
}

// Processes that start at once on one server share the template, and leave
// nothing but that behind.
func TestProcessesShareAServer(t *testing.T) {
	own := New(t)
	server := withDatabase(own, "postgres")
	ended := make(chan error, 3)
	for range 3 {
		go func() {
			said, err := again("TestEachTestHasItsOwnDatabase|TestDatabaseHasAllMigrationsDone", ServerVariable+"="+server)
			if err != nil {
				t.Log(said)
			}
			ended <- err
		}()
	}
	for range 3 {
		select {
		case err := <-ended:
			if err != nil {
				t.Error(err)
			}
		case <-time.After(2 * time.Minute):
			t.Fatal("a process did not end")
		}
	}
	db := DB(t)
	if n := count(t, db, `select count(*) from pg_database where datname like 'template\_%'`); n != 1 {
		t.Errorf("there are %d templates, want 1", n)
	}
	if os.Getenv(ServerVariable) == "" { // on the private server the names of others are gone
		if n := count(t, db, `select count(*) from pg_database where datname like 't\_%' and split_part(datname, '_', 2) <> split_part(current_database(), '_', 2)`); n != 0 {
			t.Errorf("%d databases of ended processes are left", n)
		}
	}
}

func BenchmarkNew(b *testing.B) {
	New(b) // starts the server
	for b.Loop() {
		New(b)
	}
}
