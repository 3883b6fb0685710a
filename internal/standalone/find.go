package standalone

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"

	"thirdcut/internal/fault"
)

// FloorMajor is the oldest PostgreSQL that the statements are written for.
const FloorMajor = 15

// BinVariable names the setting that points at a folder of PostgreSQL binaries.
const BinVariable = "THIRDCUT_PG_BIN"

// Places is where binaries are looked for. The zero value is this machine:
// the variable, PATH, and where systems install PostgreSQL.
type Places struct {
	Bin   string   // one folder, taken before all others
	Path  string   // a PATH; empty is the process's own
	Globs []string // patterns of folders; nil is the usual ones
}

var usualGlobs = []string{
	"/usr/lib/postgresql/*/bin",
	"/usr/pgsql-*/bin",
	"/usr/local/pgsql/bin",
	"/opt/homebrew/opt/postgresql@*/bin",
	"/usr/local/opt/postgresql@*/bin",
	"/Applications/Postgres.app/Contents/Versions/*/bin",
}

// binaries is a folder with initdb and postgres of one major version.
type binaries struct {
	bin   string
	major int
}

// find returns binaries for a cluster of major version have (0: any): what is
// on the machine, else what was fetched before, else a fetch.
func find(ctx context.Context, o Options, have int, say func(string, ...any)) (bin string, major int, err error) {
	found := append(installed(ctx, o.Look), fetchedBefore(ctx, cacheOf(o))...)
	if b, ok := choose(found, have); ok {
		return b.bin, b.major, nil
	}
	if have != 0 && have != fetchMajor {
		return "", 0, otherMajor(found, have)
	}
	if o.NoFetch {
		return "", 0, noneFound("fetching one was switched off")
	}
	b, err := fetch(ctx, cacheOf(o), say)
	if err != nil {
		if have != 0 {
			return "", 0, otherMajor(found, have)
		}
		return "", 0, err
	}
	return b.bin, b.major, nil
}

func cacheOf(o Options) string {
	if o.Cache != "" {
		return o.Cache
	}
	return CacheDir()
}

// choose takes the cluster's own major version, or for a new cluster the first
// that is new enough.
func choose(found []binaries, have int) (binaries, bool) {
	for _, b := range found {
		if (have != 0 && b.major == have) || (have == 0 && b.major >= FloorMajor) {
			return b, true
		}
	}
	return binaries{}, false
}

func otherMajor(found []binaries, have int) error {
	there := "none is on this machine"
	if len(found) > 0 {
		there = fmt.Sprintf("this machine has %d", found[0].major)
	}
	return fault.New(fault.Unavailable, "other-postgres",
		"the data was made by PostgreSQL %d and %s; nothing was touched. Install PostgreSQL %d, or set %s to its bin folder, or take a backup with the old version and restore it into a new data folder",
		have, there, have, BinVariable)
}

func noneFound(why string) error {
	return fault.New(fault.Unavailable, "no-postgres",
		"no PostgreSQL %d or newer was found and %s; install it (Debian: apt install postgresql, Fedora: dnf install postgresql-server, macOS: brew install postgresql@17), or set DATABASE_URL to a running one", FloorMajor, why)
}

// installed lists what is on the machine, in the order in which it is taken.
func installed(ctx context.Context, p Places) []binaries {
	var dirs []string
	if p.Bin != "" {
		dirs = append(dirs, p.Bin)
	} else if b := os.Getenv(BinVariable); b != "" {
		dirs = append(dirs, b)
	}
	path := p.Path
	if path == "" {
		path = os.Getenv("PATH")
	}
	for _, d := range filepath.SplitList(path) {
		// A distribution links single programs into PATH; the rest lies beside
		// what the link points to.
		if real, err := filepath.EvalSymlinks(filepath.Join(d, "initdb")); err == nil {
			dirs = append(dirs, filepath.Dir(real))
		}
	}
	globs := p.Globs
	if globs == nil {
		globs = usualGlobs
	}
	var globbed []binaries
	for _, g := range globs {
		matches, _ := filepath.Glob(g) // only a bad pattern fails, and these are ours
		for _, m := range matches {
			if b, err := look(ctx, m); err == nil {
				globbed = append(globbed, b)
			}
		}
	}
	slices.SortStableFunc(globbed, func(a, b binaries) int { return b.major - a.major }) // newest first
	var found []binaries
	for _, d := range dirs {
		if b, err := look(ctx, d); err == nil {
			found = append(found, b)
		}
	}
	return append(found, globbed...)
}

var versionWords = regexp.MustCompile(`\(PostgreSQL\) (\d+)`)

// look asks the binaries in a folder for their version.
func look(ctx context.Context, dir string) (binaries, error) {
	if _, err := os.Stat(filepath.Join(dir, "initdb")); err != nil {
		return binaries{}, err
	}
	out, err := exec.CommandContext(ctx, filepath.Join(dir, "postgres"), "--version").Output()
	if err != nil {
		return binaries{}, err
	}
	m := versionWords.FindSubmatch(out)
	if m == nil {
		return binaries{}, errors.New("no version")
	}
	major, err := strconv.Atoi(string(m[1]))
	return binaries{dir, major}, err
}
