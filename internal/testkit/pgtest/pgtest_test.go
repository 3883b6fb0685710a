package pgtest

import (
	"database/sql"
	"testing"
)

func TestMain(m *testing.M) { Main(m) }

func TestEachTestHasItsOwnDatabase(t *testing.T) {
	open := func() *sql.DB {
		db, err := sql.Open("postgres", New(t))
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { db.Close() })
		return db
	}
	a, b := open(), open()
	if _, err := a.Exec(`insert into timetable (name, updated_at) values ('here', now())`); err != nil {
		t.Fatal(err)
	}
	var n int
	if err := b.QueryRow(`select count(*) from timetable`).Scan(&n); err != nil {
		t.Fatal(err)
	}
	if n != 0 {
		t.Errorf("the other test's database has %d rows of this one's", n)
	}
}

func BenchmarkNew(b *testing.B) {
	for b.Loop() {
		New(b)
	}
}
