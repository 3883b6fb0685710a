package migrations_test

import (
	"database/sql"
	"fmt"
	"strings"
	"testing"

	"thirdcut/internal/testkit/golden"
	"thirdcut/internal/testkit/pgtest"
	"thirdcut/migrations"
)

func TestMain(m *testing.M) { pgtest.Main(m) }

// schema.sql shows what all migrations add up to, read back from the database's
// own catalogue, so that nobody has to add them up by eye. It is not run.
func TestSchemaFileIsInStep(t *testing.T) {
	db, err := sql.Open("postgres", pgtest.New(t))
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	var b strings.Builder
	b.WriteString("-- What the numbered migrations add up to, read back from PostgreSQL's catalogue.\n-- Made by: go test ./migrations -update. Not run by anything.\n")
	for _, table := range lines(t, db, `select c.relname from pg_class c join pg_namespace n on n.oid = c.relnamespace
		where n.nspname = 'public' and c.relkind = 'r' and c.relname <> 'goose_db_version' order by 1`) {
		fmt.Fprintf(&b, "\ncreate table %s (\n", table)
		body := lines(t, db, `select format('    %I %s%s%s%s', a.attname, format_type(a.atttypid, a.atttypmod),
				case when a.attnotnull then ' not null' else '' end,
				case a.attidentity when 'a' then ' generated always as identity' else '' end,
				coalesce(' default ' || pg_get_expr(d.adbin, d.adrelid), ''))
			from pg_attribute a left join pg_attrdef d on d.adrelid = a.attrelid and d.adnum = a.attnum
			where a.attrelid = $1::regclass and a.attnum > 0 and not a.attisdropped order by a.attnum`, table)
		body = append(body, lines(t, db, `select format('    constraint %I %s', conname, pg_get_constraintdef(oid)) from pg_constraint
			where conrelid = $1::regclass and contype in ('p', 'u', 'f', 'c') order by contype = 'p' desc, conname`, table)...)
		b.WriteString(strings.Join(body, ",\n") + "\n);\n")
		for _, x := range lines(t, db, `select pg_get_indexdef(i.indexrelid) from pg_index i
			where i.indrelid = $1::regclass and not exists (select from pg_constraint where conindid = i.indexrelid) order by 1`, table) {
			b.WriteString(x + ";\n")
		}
		for _, x := range lines(t, db, `select pg_get_triggerdef(oid) from pg_trigger where tgrelid = $1::regclass and not tgisinternal order by tgname`, table) {
			b.WriteString(x + ";\n")
		}
	}
	for _, f := range lines(t, db, `select pg_get_functiondef(p.oid) from pg_proc p join pg_namespace n on n.oid = p.pronamespace where n.nspname = 'public' order by proname`) {
		b.WriteString("\n" + strings.TrimRight(f, "\n") + ";\n")
	}
	golden.Equal(t, "schema.sql", []byte(b.String()))
}

// Every constraint that a person can run into has a name that says what it
// guards: the database's own inventions end in numbers or in _check.
func TestConstraintsAreNamed(t *testing.T) {
	db, err := sql.Open("postgres", pgtest.New(t))
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	for _, name := range lines(t, db, `select conrelid::regclass || ' ' || conname from pg_constraint
		where connamespace = 'public'::regnamespace and contype in ('c', 'u', 'f') and conrelid::regclass::text <> 'goose_db_version'
			and (conname ~ '_(check|key|fkey)[0-9]*$')`) {
		t.Errorf("constraint without a name of its own: %s", name)
	}
}

func TestUpTwiceChangesNothing(t *testing.T) {
	db, err := sql.Open("postgres", pgtest.New(t))
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	before := lines(t, db, `select count(*)::text from goose_db_version`)
	if err := migrations.Up(t.Context(), db); err != nil {
		t.Fatal(err)
	}
	if after := lines(t, db, `select count(*)::text from goose_db_version`); after[0] != before[0] {
		t.Errorf("a second run did %s migrations more than %s", after[0], before[0])
	}
}

func lines(t *testing.T, db *sql.DB, query string, args ...any) []string {
	t.Helper()
	rows, err := db.Query(query, args...)
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	var out []string
	for rows.Next() {
		var s string
		if err := rows.Scan(&s); err != nil {
			t.Fatal(err)
		}
		out = append(out, s)
	}
	if err := rows.Err(); err != nil {
		t.Fatal(err)
	}
	return out
}
