//go:build unix

package standalone

import (
	"context"
	"os"
	"path/filepath"
	"testing"
)

// finder is a server that only looks for binaries.
func finder(t *testing.T, o Options) *Server {
	t.Helper()
	a, err := serverAccount("/nonexistent")
	if err != nil {
		t.Fatal(err)
	}
	if o.Cache == "" {
		o.Cache = filepath.Join(place(t), "cache")
	}
	return &Server{options: o, account: a}
}

// The order: the variable, PATH (links followed), the usual folders newest
// first, the cache. A cluster's own major version goes before that order.
func TestOrderInWhichPostgreSQLIsTaken(t *testing.T) {
	home := place(t)
	named := fakeBin(t, filepath.Join(home, "named"), "16.1")
	inPath := fakeBin(t, filepath.Join(home, "distro", "17", "bin"), "17.4 (Distro 17.4-1)")
	fakeBin(t, filepath.Join(home, "usual", "15", "bin"), "15.18")
	fakeBin(t, filepath.Join(home, "usual", "18", "bin"), "18beta1")
	fakeBin(t, filepath.Join(home, "usual", "9", "bin"), "9.6.24")
	if err := os.MkdirAll(filepath.Join(home, "path"), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink(filepath.Join(inPath, "initdb"), filepath.Join(home, "path", "initdb")); err != nil {
		t.Fatal(err)
	}
	path, globs := filepath.Join(home, "path"), []string{filepath.Join(home, "usual", "*", "bin")}
	cache := filepath.Join(home, "cache")
	fakeBin(t, filepath.Join(cache, "postgres-"+fetchVersion, "native", "bin"), "18.4")

	for _, c := range []struct {
		what string
		look Places
		have int
		want string
	}{
		{"the variable before all", Places{named, path, globs}, 0, named},
		{"PATH before the usual folders", Places{"", path, globs}, 0, inPath},
		{"the newest of the usual folders", Places{"", "/nonexistent", globs}, 0, filepath.Join(home, "usual", "18", "bin")},
		{"the cache last", Places{"", "/nonexistent", []string{}}, 0, filepath.Join(cache, "postgres-"+fetchVersion, "native", "bin")},
		{"the cluster's own version, over the variable", Places{named, path, globs}, 15, filepath.Join(home, "usual", "15", "bin")},
		{"the cluster's own version, from the cache", Places{named, path, []string{}}, 18, filepath.Join(cache, "postgres-"+fetchVersion, "native", "bin")},
		{"an old one for an old cluster", Places{named, path, globs}, 9, filepath.Join(home, "usual", "9", "bin")},
	} {
		got, err := finder(t, Options{NoFetch: true, Look: c.look, Cache: cache}).find(context.Background(), c.have)
		if err != nil || got.bin != c.want {
			t.Errorf("%s: took %+v, %v; want %s", c.what, got, err, c.want)
		}
	}

	t.Setenv(BinVariable, named)
	if got, err := finder(t, Options{NoFetch: true, Look: Places{"", path, globs}}).find(context.Background(), 0); err != nil || got.bin != named || got.major != 16 {
		t.Errorf("with %s set it took %+v, %v", BinVariable, got, err)
	}
}

func TestTooOldForANewCluster(t *testing.T) {
	old := fakeBin(t, filepath.Join(place(t), "bin"), "14.11")
	_, err := finder(t, Options{NoFetch: true, Look: Places{old, "/nonexistent", []string{}}}).find(context.Background(), 0)
	refused(t, err, "no-postgres", "15 or newer")
}

func TestNothingFoundSaysWhatToInstall(t *testing.T) {
	refusedStart(t, Options{Dir: filepath.Join(place(t), "data"), NoFetch: true, Look: nowhere, Cache: filepath.Join(place(t), "cache")},
		"no-postgres", "15 or newer", "switched off", "apt install postgresql", "DATABASE_URL")
}

func TestVariableThatNamesNothingIsSaid(t *testing.T) {
	wrong := place(t)
	t.Setenv(BinVariable, wrong)
	refusedStart(t, Options{Dir: filepath.Join(place(t), "data"), NoFetch: true}, "bad-pg-bin", BinVariable, wrong)
}
