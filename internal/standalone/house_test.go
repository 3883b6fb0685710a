//go:build unix

package standalone

import (
	"bytes"
	"context"
	"database/sql"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"thirdcut/internal/fault"
)

// place is a new folder that every user can walk to; the testing package's own
// are closed to the user that root steps down to.
func place(t *testing.T) string {
	t.Helper()
	dir, err := os.MkdirTemp("/tmp", "tct-")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(dir) })
	if err := os.Chmod(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	return dir
}

// lines is a Progress that a test reads.
type lines struct {
	mu  sync.Mutex
	buf bytes.Buffer
}

func (l *lines) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.buf.Write(p)
}

func (l *lines) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.buf.String()
}

// run starts a server for the test and stops it with the test.
func run(t *testing.T, o Options) *Server {
	t.Helper()
	o.NoFetch = true
	s, err := Start(context.Background(), o)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := s.Stop(); err != nil {
			t.Error(err)
		}
	})
	return s
}

func open(t *testing.T, url string) *sql.DB {
	t.Helper()
	db, err := sql.Open("postgres", url)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { db.Close() })
	return db
}

func exec1(t *testing.T, url, statement string) {
	t.Helper()
	db := open(t, url)
	if _, err := db.Exec(statement); err != nil {
		t.Fatalf("%s: %v", statement, err)
	}
	db.Close()
}

func number(t *testing.T, url, query string) (n int) {
	t.Helper()
	db := open(t, url)
	if err := db.QueryRow(query).Scan(&n); err != nil {
		t.Fatalf("%s: %v", query, err)
	}
	db.Close()
	return n
}

// refused wants a fault of that code whose one sentence has all the words.
func refused(t *testing.T, err error, code string, words ...string) {
	t.Helper()
	f := fault.As(err)
	if f == nil || f.Code != code {
		t.Fatalf("got %v, want a fault coded %s", err, code)
	}
	if strings.Contains(f.Detail, "\n") {
		t.Errorf("more than one line: %q", f.Detail)
	}
	for _, w := range words {
		if !strings.Contains(f.Detail, w) {
			t.Errorf("%q does not say %q", f.Detail, w)
		}
	}
}

// refusedStart wants Start to fail, and not to keep the folder's lock.
func refusedStart(t *testing.T, o Options, code string, words ...string) {
	t.Helper()
	s, err := Start(context.Background(), o)
	if err == nil {
		s.Stop()
	}
	refused(t, err, code, words...)
	held, err := probeLock(filepath.Join(o.Dir, lockFile))
	if held != (code == "already-running") {
		t.Errorf("after the refusal the lock's being held is %v, %v", held, err)
	}
}

// eventually waits for something that happens by itself.
func eventually(t *testing.T, what string, within time.Duration, is func() bool) {
	t.Helper()
	for end := time.Now().Add(within); time.Now().Before(end); time.Sleep(20 * time.Millisecond) {
		if is() {
			return
		}
	}
	t.Fatalf("%s did not happen within %s", what, within)
}

func write(t *testing.T, file, text string, mode os.FileMode) {
	t.Helper()
	if err := os.MkdirAll(filepath.Dir(file), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(file, []byte(text), mode); err != nil {
		t.Fatal(err)
	}
	if err := os.Chmod(file, mode); err != nil {
		t.Fatal(err)
	}
}

// fakeBin is a folder of programs that only tell their version.
func fakeBin(t *testing.T, dir, version string) string {
	t.Helper()
	write(t, filepath.Join(dir, "initdb"), "#!/bin/sh\nexit 1\n", 0o755)
	write(t, filepath.Join(dir, "postgres"), "#!/bin/sh\necho 'postgres (PostgreSQL) "+version+"'\n", 0o755)
	return dir
}

// nowhere finds nothing on any machine.
var nowhere = Places{Path: "/nonexistent", Globs: []string{}}
