package standalone

import (
	"cmp"
	"context"
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
func (s *Server) find(ctx context.Context, have int) (binaries, error) {
	found, err := s.installed(ctx)
	if err != nil {
		return binaries{}, err
	}
	found = append(found, s.fetchedBefore(ctx)...)
	if b, ok := choose(found, have); ok {
		return b, nil
	}
	if have != 0 && have != fetchMajor {
		return binaries{}, otherMajor(found, have)
	}
	if s.options.NoFetch {
		err = noneFound("fetching one is switched off")
	} else {
		var b binaries
		if b, err = s.fetch(ctx); err == nil {
			return b, nil
		}
	}
	if have != 0 {
		return binaries{}, otherMajor(found, have).Because(err)
	}
	return binaries{}, err
}

func (s *Server) cache() string {
	if s.options.Cache != "" {
		return s.options.Cache
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

func otherMajor(found []binaries, have int) *fault.Error {
	there := "no PostgreSQL is on this machine"
	if len(found) > 0 {
		there = fmt.Sprintf("this machine has PostgreSQL %d", found[0].major)
	}
	return fault.New(fault.Unavailable, "other-postgres",
		"the data was made by PostgreSQL %d and %s; nothing was touched. Install PostgreSQL %d, or set %s to its bin folder, or take a backup with the old version and restore it into a new data folder",
		have, there, have, BinVariable)
}

func noneFound(why string) *fault.Error {
	return fault.New(fault.Unavailable, "no-postgres",
		"no PostgreSQL %d or newer was found and %s; install it (Debian and Ubuntu: apt install postgresql; Fedora: dnf install postgresql-server; macOS: brew install postgresql@17), or set DATABASE_URL to a running one", FloorMajor, why)
}

// installed lists what is on the machine, in the order in which it is taken.
func (s *Server) installed(ctx context.Context) ([]binaries, error) {
	p := s.options.Look
	var found []binaries
	if named := cmp.Or(p.Bin, os.Getenv(BinVariable)); named != "" {
		b, err := s.look(ctx, named)
		if err != nil {
			return nil, fault.New(fault.Invalid, "bad-pg-bin", "%s names %s, which holds no PostgreSQL that runs; set it to a folder with initdb and postgres in it, or unset it", BinVariable, named).Because(err)
		}
		found = append(found, b)
	}
	for _, d := range filepath.SplitList(cmp.Or(p.Path, os.Getenv("PATH"))) {
		// A distribution links single programs into PATH; the rest lies beside
		// what the link points to.
		real, err := filepath.EvalSymlinks(filepath.Join(d, "initdb"))
		if err != nil {
			continue
		}
		if b, err := s.look(ctx, filepath.Dir(real)); err == nil {
			found = append(found, b)
		}
	}
	return append(found, s.globbed(ctx, p.Globs)...), nil
}

// globbed lists what lies where systems install PostgreSQL, newest first.
func (s *Server) globbed(ctx context.Context, globs []string) []binaries {
	if globs == nil {
		globs = usualGlobs
	}
	var found []binaries
	for _, g := range globs {
		matches, _ := filepath.Glob(g) // only a bad pattern fails, and these are ours
		for _, m := range matches {
			if b, err := s.look(ctx, m); err == nil {
				found = append(found, b)
			}
		}
	}
	slices.SortStableFunc(found, func(a, b binaries) int { return b.major - a.major })
	return found
}

var versionWords = regexp.MustCompile(`\(PostgreSQL\) (\d+)`)

// look asks the binaries in a folder for their version, as the user that is to
// run them: what he cannot reach is not there.
func (s *Server) look(ctx context.Context, dir string) (binaries, error) {
	if _, err := os.Stat(filepath.Join(dir, "initdb")); err != nil {
		return binaries{}, err
	}
	cmd := exec.CommandContext(ctx, filepath.Join(dir, "postgres"), "--version")
	cmd.Dir, cmd.Env = "/", serverEnv()
	s.account.become(cmd)
	out, err := cmd.Output()
	if err != nil {
		return binaries{}, err
	}
	m := versionWords.FindSubmatch(out)
	if m == nil {
		return binaries{}, fmt.Errorf("%s/postgres does not say its version", dir)
	}
	major, err := strconv.Atoi(string(m[1]))
	return binaries{dir, major}, err
}
