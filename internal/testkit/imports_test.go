package testkit

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
)

const module = "thirdcut"

// layer is a row of the table of packages. A package imports only what lies in
// rows above it; in a leftward row also what stands left of it.
type layer struct {
	name     string
	leftward bool
	packages string
}

var layers = []layer{
	{"words", true, "internal/unit internal/civil internal/fault internal/turf"},
	{"science", true, "internal/weather internal/growth internal/mowing internal/water internal/feed internal/label internal/recordrule internal/heat internal/geo internal/yard internal/money internal/route internal/plan internal/turfphoto"},
	{"records", true, "internal/company internal/property internal/crew internal/product internal/stock internal/application internal/visit internal/schedule internal/export internal/account"},
	{"schema", false, "migrations"},
	{"adapters", false, "internal/postgres internal/workbook internal/standalone internal/intake internal/outside"},
	{"edges", true, "api/web api jobs internal/calc internal/replay internal/scenario"},
	{"wiring", false, "cmd/thirdcut"},
}

// testkitPrefix is beside the layers: tests alone import it.
const testkitPrefix = "internal/testkit"

// fence keeps something that is imported to the packages that it is for. Names
// end in / where all below them is meant; "tests" stands for test files and testkit.
type fence struct {
	imports []string
	only    []string
	reason  string
}

var fences = []fence{
	{[]string{"github.com/lib/pq", "github.com/jmoiron/sqlx", "database/sql"},
		[]string{"internal/postgres", "migrations", "internal/standalone", "tests"},
		"SQL is spoken in internal/postgres alone; a rule that speaks it cannot be tested without a database"},
	{[]string{"github.com/pressly/goose/"}, []string{"migrations"}, "the database's shape is changed in one place"},
	{[]string{"github.com/xuri/excelize/"}, []string{"internal/workbook", "internal/intake", "tests"},
		"sheets are written by internal/workbook and read by internal/intake; rules know rows, not cells"},
	{[]string{"github.com/gin-gonic/gin", "github.com/danielgtaylor/huma/", "github.com/alexedwards/scs/"}, []string{"api"},
		"what HTTP is made of stays in api, so that a rule answers a command and a job as well"},
	{[]string{"github.com/hibiken/asynq", "github.com/redis/go-redis/"}, []string{"jobs", "internal/standalone", "cmd/thirdcut", "tests"},
		"work for later is an outbox row; only jobs and those that start it know the queue"},
	{[]string{"github.com/alicebob/miniredis/"}, []string{"internal/standalone"}, "the queue inside the program is started in one place"},
	{[]string{"github.com/alecthomas/kong"}, []string{"cmd/thirdcut"}, "commands and flags are read in cmd"},
	{[]string{"testing", "pgregory.net/rapid", "github.com/chromedp/", "github.com/getkin/kin-openapi/"}, []string{"tests"},
		"it is for tests and must not be part of the program"},
}

// pure is what the first three layers may not import: they do no input and
// output, keep no clock and write no log. The exceptions say why.
var pure = []string{"os", "os/", "net", "net/", "log", "log/", "syscall", "io/ioutil", "database/sql"}

// exceptions are single imports that a rule would forbid.
var exceptions = map[[2]string]string{
	{"jobs", "github.com/lib/pq"}:             "the relay is woken by pq.Listener; it holds no statement",
	{"internal/civil", "database/sql/driver"}: "a date reads and writes itself as a column's value",
	{"internal/route", "context"}:             "a search of minutes can be called off",
	{"internal/plan", "context"}:              "a search of minutes can be called off",
}

type imported struct {
	from, what string // without the module's name where it is ours
	test       bool
}

// forbidden returns why the import must not be, or "".
func forbidden(i imported) string {
	inTestkit := under(i.from, testkitPrefix)
	if exceptions[[2]string{i.from, i.what}] != "" {
		return ""
	}
	for _, f := range fences {
		if !covers(f.imports, i.what) || slices.Contains(f.only, i.from) || ((i.test || inTestkit) && slices.Contains(f.only, "tests")) {
			continue
		}
		return f.reason
	}
	if i.test || inTestkit {
		return ""
	}
	if under(i.what, testkitPrefix) {
		return "it is for tests and must not be part of the program"
	}
	from, _ := place(i.from)
	if from < 0 {
		return "the package stands in no layer; add it to the table in internal/testkit/imports_test.go"
	}
	if layers[from].name == "science" && i.what == "context" {
		return "science is pure functions, which have nothing to wait for"
	}
	if from <= 2 && covers(pure, i.what) {
		return "the layer of " + layers[from].name + " does no input and output, keeps no clock and writes no log"
	}
	return againstLayers(i)
}

// againstLayers judges an import among our own packages.
func againstLayers(i imported) string {
	from, fromAt := place(i.from)
	to, toAt := place(i.what)
	if to < 0 {
		return "" // not ours
	}
	switch {
	case to > from:
		return fmt.Sprintf("imports go downward: %s may not know %s", layers[from].name, layers[to].name)
	case to == from && (i.from == "api" && i.what == "jobs" || i.from == "jobs" && i.what == "api"):
		return "api and jobs never know each other: work for later is an outbox row"
	case to == from && !layers[from].leftward:
		return "the " + layers[from].name + " do not know each other"
	case to == from && toAt >= fromAt:
		return fmt.Sprintf("within the %s imports go leftward in the table, and %s stands right of %s", layers[from].name, i.what, i.from)
	}
	return ""
}

// place is a package's layer and its place in the row; -1 where it has none.
func place(pkg string) (row, at int) {
	for n, l := range layers {
		if at := slices.Index(strings.Fields(l.packages), pkg); at >= 0 {
			return n, at
		}
	}
	return -1, -1
}

func under(pkg, prefix string) bool { return pkg == prefix || strings.HasPrefix(pkg, prefix+"/") }

// covers says whether one of the names is the import or, ending in /, begins it.
func covers(names []string, what string) bool {
	return slices.ContainsFunc(names, func(n string) bool {
		return n == what || (strings.HasSuffix(n, "/") && strings.HasPrefix(what, n))
	})
}

// listed is what go list tells of a package.
type listed struct {
	ImportPath, Dir                    string
	Imports, TestImports, XTestImports []string
	GoFiles                            []string
	Error                              *struct{ Err string }
}

func list(t *testing.T) []listed {
	t.Helper()
	cmd := exec.Command("go", "list", "-e", "-json=ImportPath,Dir,Imports,TestImports,XTestImports,GoFiles,Error", module+"/...")
	cmd.Stderr = os.Stderr
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("go list: %v", err)
	}
	var all []listed
	for d := json.NewDecoder(bytes.NewReader(out)); ; {
		var l listed
		if err := d.Decode(&l); errors.Is(err, io.EOF) {
			return all
		} else if err != nil {
			t.Fatal(err)
		}
		all = append(all, l)
	}
}

func ours(path string) string {
	return strings.TrimPrefix(strings.TrimPrefix(path, module), "/")
}

func TestEveryImportIsAllowed(t *testing.T) {
	all := list(t)
	if len(all) < 30 {
		t.Fatalf("go list tells of %d packages only", len(all))
	}
	for _, p := range all {
		if p.Error != nil {
			t.Errorf("%s: %s", p.ImportPath, p.Error.Err)
		}
		from := ours(p.ImportPath)
		if row, _ := place(from); row < 0 && !under(from, testkitPrefix) {
			t.Errorf("%s stands in no layer; add it to the table in internal/testkit/imports_test.go", from)
			continue
		}
		for _, test := range []bool{false, true} {
			imports := p.Imports
			if test {
				imports = slices.Concat(p.TestImports, p.XTestImports)
			}
			for _, what := range imports {
				if why := forbidden(imported{from, ours(what), test}); why != "" {
					t.Errorf("%s imports %s: %s", from, ours(what), why)
				}
			}
		}
	}
}

// The test above is worth something only if it can fail.
func TestForbiddenImportsAreFound(t *testing.T) {
	for _, c := range []struct {
		from, what string
		test       bool
		reason     string // part of it; empty when the import is fine
	}{
		{"internal/unit", "internal/civil", false, "stands right of"},
		{"internal/civil", "internal/unit", false, ""},
		{"internal/growth", "internal/weather", false, ""},
		{"internal/weather", "internal/growth", false, "leftward"},
		{"internal/growth", "internal/growth", false, "leftward"},
		{"internal/mowing", "internal/visit", false, "downward"},
		{"internal/visit", "internal/postgres", false, "downward"},
		{"internal/application", "internal/visit", false, "leftward"},
		{"internal/visit", "internal/application", false, ""},
		{"internal/postgres", "internal/workbook", false, "do not know each other"},
		{"internal/postgres", "migrations", false, ""},
		{"migrations", "internal/postgres", false, "downward"},
		{"api", "jobs", false, "outbox"},
		{"jobs", "api", false, "outbox"},
		{"api", "api/web", false, ""},
		{"api", "cmd/thirdcut", false, "downward"},
		{"cmd/thirdcut", "api", false, ""},
		{"internal/elsewhere", "internal/unit", false, "no layer"},

		{"internal/visit", "github.com/lib/pq", false, "internal/postgres alone"},
		{"internal/visit", "github.com/lib/pq", true, ""},
		{"api", "github.com/jmoiron/sqlx", false, "internal/postgres alone"},
		{"internal/postgres", "github.com/jmoiron/sqlx", false, ""},
		{"jobs", "github.com/lib/pq", false, ""},
		{"jobs", "database/sql", false, "internal/postgres alone"},
		{"internal/export", "github.com/xuri/excelize/v2", false, "internal/workbook"},
		{"internal/export", "github.com/xuri/excelize/v2", true, ""},
		{"internal/workbook", "github.com/xuri/excelize/v2", false, ""},
		{"jobs", "github.com/gin-gonic/gin", false, "HTTP"},
		{"internal/schedule", "github.com/danielgtaylor/huma/v2", false, "HTTP"},
		{"api", "github.com/danielgtaylor/huma/v2/adapters/humagin", false, ""},
		{"api", "github.com/hibiken/asynq", false, "outbox"},
		{"jobs", "github.com/hibiken/asynq", false, ""},
		{"internal/testkit/redistest", "github.com/hibiken/asynq", false, ""},
		{"internal/testkit/redistest", "github.com/alicebob/miniredis/v2", false, "one place"},
		{"internal/postgres", "github.com/pressly/goose/v3", false, "one place"},
		{"internal/plan", "pgregory.net/rapid", false, "for tests"},
		{"internal/plan", "pgregory.net/rapid", true, ""},
		{"cmd/thirdcut", "internal/testkit/pgtest", false, "for tests"},
		{"cmd/thirdcut", "internal/testkit/pgtest", true, ""},

		{"internal/weather", "os", false, "no input and output"},
		{"internal/weather", "net/http", false, "no input and output"},
		{"internal/visit", "log/slog", false, "no input and output"},
		{"internal/weather", "os", true, ""},
		{"internal/weather", "context", false, "nothing to wait for"},
		{"internal/route", "context", false, ""},
		{"internal/visit", "context", false, ""},
		{"internal/intake", "os", false, ""},
		{"internal/civil", "database/sql", false, "internal/postgres alone"},
	} {
		why := forbidden(imported{c.from, c.what, c.test})
		if (c.reason == "") != (why == "") || !strings.Contains(why, c.reason) {
			t.Errorf("%s imports %s (in a test: %v): judged %q, want %q", c.from, c.what, c.test, why, c.reason)
		}
	}
}

// An exception that nobody needs any more would let the next one in unseen.
func TestExceptionsAreNeeded(t *testing.T) {
	for _, p := range list(t) {
		for e, why := range exceptions {
			if e[0] == ours(p.ImportPath) && !slices.ContainsFunc(p.Imports, func(i string) bool { return ours(i) == e[1] }) {
				t.Errorf("%s does not import %s (%s): take the exception out", e[0], e[1], why)
			}
		}
	}
}

// Each package stands in the table once, so that place has one answer.
func TestLayersNameEachPackageOnce(t *testing.T) {
	seen := map[string]bool{}
	for _, l := range layers {
		for _, p := range strings.Fields(l.packages) {
			if seen[p] {
				t.Errorf("%s stands twice", p)
			}
			seen[p] = true
		}
	}
}

// clockAllowed is who may read the machine's clock, and why. All others are
// given the time, so that a day can be tested and the demo's date set.
var clockAllowed = map[string]string{
	"cmd/thirdcut":        "the clock is read here and passed in",
	"internal/standalone": "servers are waited for and their start is noted in real time",
	"jobs":                "the queue, the relay and the timetable live in real time",
}

var clockNames = map[string]bool{"Now": true, "Since": true, "Until": true, "Local": true}

func mayReadClock(pkg string) bool { return clockAllowed[pkg] != "" || under(pkg, testkitPrefix) }

// clockUses lists where a file reads the machine's clock or its zone.
func clockUses(fset *token.FileSet, f *ast.File) (at []string) {
	name := importName(f, "time")
	ast.Inspect(f, func(n ast.Node) bool {
		s, ok := n.(*ast.SelectorExpr)
		if !ok || !clockNames[s.Sel.Name] {
			return true
		}
		// An identifier that resolves to something in the file is no package.
		if x, ok := s.X.(*ast.Ident); ok && x.Name == name && x.Obj == nil {
			at = append(at, fmt.Sprintf("%s: time.%s", fset.Position(s.Pos()), s.Sel.Name))
		}
		return true
	})
	return at
}

// importName is what a file calls a package of the standard library; empty when
// it does not import it.
func importName(f *ast.File, path string) string {
	for _, i := range f.Imports {
		if p, err := strconv.Unquote(i.Path.Value); err != nil || p != path {
			continue
		}
		if i.Name != nil {
			return i.Name.Name
		}
		return path
	}
	return ""
}

// statement is how a text begins that PostgreSQL is to carry out. A select is
// told from a sentence by what only statements have.
var statement = regexp.MustCompile(`(?is)^\s*(insert\s+into\s+\w+|delete\s+from\s+\w+|update\s+\w+\s+set\s|alter\s+table\s|create\s+(table|database|index|unique)\s|with\s+\w+\s+as\s*\(|select\s.*(\$1|\(|\*|=).*)`)

// sqlAllowed is who may hold statements, and why.
var sqlAllowed = map[string]string{
	"internal/postgres":   "every statement of the program is here",
	"migrations":          "the shape of the database",
	"internal/standalone": "asks a new server whether it is ready",
}

func maySpeakSQL(pkg string) bool { return sqlAllowed[pkg] != "" || under(pkg, testkitPrefix) }

func sqlTexts(fset *token.FileSet, f *ast.File) (at []string) {
	ast.Inspect(f, func(n ast.Node) bool {
		lit, ok := n.(*ast.BasicLit)
		if !ok || lit.Kind != token.STRING {
			return true
		}
		if text, err := strconv.Unquote(lit.Value); err == nil && statement.MatchString(text) {
			at = append(at, fmt.Sprintf("%s: %.60q", fset.Position(lit.Pos()), text))
		}
		return true
	})
	return at
}

func TestClockAndSQLStayInTheirPlaces(t *testing.T) {
	for _, p := range list(t) {
		from := ours(p.ImportPath)
		for _, name := range p.GoFiles { // tests may do both
			fset := token.NewFileSet()
			f, err := parser.ParseFile(fset, filepath.Join(p.Dir, name), nil, 0)
			if err != nil {
				t.Error(err)
				continue
			}
			if !mayReadClock(from) {
				for _, at := range clockUses(fset, f) {
					t.Errorf("%s: the time is passed in as a civil.Clock, a func() time.Time or an instant; only %v read the machine's", at, clockAllowed)
				}
			}
			if !maySpeakSQL(from) {
				for _, at := range sqlTexts(fset, f) {
					t.Errorf("%s: statements stand in internal/postgres alone", at)
				}
			}
		}
	}
}

// The scan finds what it is for, under another name too, and nothing else.
func TestScanFindsClockAndSQL(t *testing.T) {
	const src = `package p
import clock "time"
type w struct{ Now func() int }
func f(time w) (any, any, any) {
	_ = time.Now()
	_, _ = clock.Since(clock.Now()), clock.Local
	_ = clock.Duration(3)
	_ = "select id from visit where id = $1"
	_ = ` + "`\n\tINSERT INTO visit (id) values (1)`" + `
	_ = "with due as (select 1) select * from due"
	_ = "update visit set state = 'out'"
	_ = "select a crew from the list, then update it"
	_ = "delete the draft from the list"
	_ = "update the visit"
	return clock.Until, nil, nil
}`
	fset := token.NewFileSet()
	f, err := parser.ParseFile(fset, "p.go", src, 0)
	if err != nil {
		t.Fatal(err)
	}
	wantClock := []string{"p.go:6:9: time.Since", "p.go:6:21: time.Now", "p.go:6:35: time.Local", "p.go:16:9: time.Until"}
	if got := clockUses(fset, f); !slices.Equal(got, wantClock) {
		t.Errorf("clock: %q, want %q", got, wantClock)
	}
	got := sqlTexts(fset, f)
	var lines []string
	for _, at := range got {
		lines = append(lines, strings.Split(at, ":")[1])
	}
	if !slices.Equal(lines, []string{"8", "9", "11", "12"}) {
		t.Errorf("statements: %q", got)
	}
}
