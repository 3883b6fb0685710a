//go:build unix

package standalone

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"
)

// ownerVariable makes this test program a Thirdcut that owns a folder, to be killed.
const ownerVariable = "THIRDCUT_TEST_OWNER_OF"

func TestMain(m *testing.M) {
	if dir := os.Getenv(ownerVariable); dir != "" {
		ownFolderUntilKilled(dir)
	}
	os.Unsetenv(BinVariable)
	os.Exit(m.Run())
}

func ownFolderUntilKilled(dir string) {
	s, err := Start(context.Background(), Options{Dir: dir, NoFetch: true})
	if err != nil {
		fmt.Println(err)
		os.Exit(1)
	}
	fmt.Println("ready", s.DatabaseURL())
	time.Sleep(10 * time.Minute)
	os.Exit(1)
}

func TestSecondStartFindsTheRows(t *testing.T) {
	t.Parallel()
	dir := filepath.Join(place(t), "data")
	began := time.Now()
	said := &lines{}
	s := run(t, Options{Dir: dir, Progress: said})
	t.Logf("first start %v", time.Since(began))
	exec1(t, s.DatabaseURL(), `create table kept as select 7 as n`)
	if n := number(t, s.DatabaseURL(), `select count(*) from pg_settings where name = 'listen_addresses' and setting = '' or name = 'fsync' and setting = 'on' or name = 'data_checksums' and setting = 'on'`); n != 3 {
		t.Errorf("%d of the three settings (no port, fsync, checksums) hold", n)
	}
	if !strings.Contains(said.String(), "PostgreSQL "+s.PGVersion()+" from ") || strings.Count(said.String(), "\n") != 2 {
		t.Errorf("it said %q, want a line on the new database and one on what it took", said)
	}
	began = time.Now()
	if err := s.Stop(); err != nil {
		t.Fatal(err)
	}
	t.Logf("stop %v", time.Since(began))
	for _, gone := range []string{runFile, socketFolder, makingFolder, "postgres/postmaster.pid"} {
		if _, err := os.Lstat(filepath.Join(dir, gone)); !errors.Is(err, os.ErrNotExist) {
			t.Errorf("%s is left after a clean stop (%v)", gone, err)
		}
	}
	if err := s.Stop(); err != nil {
		t.Errorf("a second Stop: %v", err)
	}

	began = time.Now()
	s = run(t, Options{Dir: dir})
	t.Logf("second start %v", time.Since(began))
	if n := number(t, s.DatabaseURL(), `select n from kept`); n != 7 {
		t.Errorf("the row is %d, want 7", n)
	}
	url := s.DatabaseURL()
	if err := s.RestartPostgres(context.Background()); err != nil {
		t.Fatal(err)
	}
	if n := number(t, url, `select n from kept`); n != 7 {
		t.Errorf("after a restart the row is %d, want 7", n)
	}
	if strings.Contains(string(s.child.said.bytes()), "automatic recovery") {
		t.Errorf("a clean stop needed recovery:\n%s", s.child.said.bytes())
	}
}

func TestRunningServerIsFoundByItsFolder(t *testing.T) {
	t.Parallel()
	dir := filepath.Join(place(t), "data")
	_, err := FindRunning(dir)
	refused(t, err, "not-running", dir, "serve --standalone")
	before := time.Now().Add(-time.Second)
	s := run(t, Options{Dir: dir})
	got, err := FindRunning(dir)
	if err != nil {
		t.Fatal(err)
	}
	if got.PID != os.Getpid() || got.DatabaseURL != s.DatabaseURL() || got.PGVersion != s.PGVersion() || got.Queue != InProcess || got.Addr != "" ||
		got.StartedAt.Before(before) || got.StartedAt.After(time.Now()) {
		t.Errorf("found %+v", got)
	}
	if err := s.Announce("http://127.0.0.1:8080", ""); err != nil {
		t.Fatal(err)
	}
	if got, err = FindRunning(dir); err != nil || got.Addr != "http://127.0.0.1:8080" || got.Queue != InProcess || got.PID != os.Getpid() {
		t.Errorf("found %+v, %v", got, err)
	}
	info, err := os.Stat(filepath.Join(dir, runFile))
	if err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("run.json is open to others: %v, %v", info.Mode(), err)
	}
	refusedStart(t, Options{Dir: dir, NoFetch: true}, "already-running", dir, fmt.Sprintf("process %d", os.Getpid()), "--dir")
	if n := number(t, s.DatabaseURL(), `select 1`); n != 1 {
		t.Error("the refused start harmed the owner")
	}
	if err := s.Stop(); err != nil {
		t.Fatal(err)
	}
	_, err = FindRunning(dir)
	refused(t, err, "not-running", dir)
}

// A killed owner leaves run.json behind; on Linux the kernel ends its server.
func TestKilledOwnerLeavesAFolderToStartFrom(t *testing.T) {
	t.Parallel()
	dir := filepath.Join(place(t), "data")
	owner := exec.Command(os.Args[0])
	owner.Env = append(os.Environ(), ownerVariable+"="+dir)
	out, err := owner.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := owner.Start(); err != nil {
		t.Fatal(err)
	}
	defer owner.Process.Kill()
	var word, url string
	if _, err := fmt.Fscan(out, &word, &url); err != nil || word != "ready" {
		t.Fatalf("the owner said %s %s, %v", word, url, err)
	}
	if got, err := FindRunning(dir); err != nil || got.PID != owner.Process.Pid {
		t.Fatalf("found %+v, %v", got, err)
	}
	exec1(t, url, `create table kept as select 7 as n`)
	if err := owner.Process.Signal(syscall.SIGKILL); err != nil {
		t.Fatal(err)
	}
	owner.Wait() // it was killed: that is the point
	if _, err := os.Stat(filepath.Join(dir, runFile)); err != nil {
		t.Fatalf("the test wants a run.json left behind: %v", err)
	}
	_, err = FindRunning(dir)
	refused(t, err, "not-running", dir)

	began := time.Now()
	s := run(t, Options{Dir: dir})
	t.Logf("start after SIGKILL %v", time.Since(began))
	if n := number(t, s.DatabaseURL(), `select n from kept`); n != 7 {
		t.Errorf("the row is %d, want 7", n)
	}
	if said := string(s.child.said.bytes()); strings.Contains(said, "automatic recovery") {
		t.Errorf("the server of the killed owner did not end cleanly:\n%s", said)
	}
}

func postmaster(t *testing.T, s *Server) *os.Process {
	t.Helper()
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.child == nil {
		t.Fatal("no database runs")
	}
	return s.child.cmd.Process
}

func TestDatabaseThatDiesIsBroughtBack(t *testing.T) {
	t.Parallel()
	said := &lines{}
	s := run(t, Options{Dir: filepath.Join(place(t), "data"), Progress: said})
	exec1(t, s.DatabaseURL(), `create table kept as select 7 as n`)
	first := postmaster(t, s)
	if err := first.Kill(); err != nil {
		t.Fatal(err)
	}
	db := open(t, s.DatabaseURL())
	var n int
	eventually(t, "an answer", 30*time.Second, func() bool { return db.QueryRow(`select n from kept`).Scan(&n) == nil })
	if n != 7 || s.Err() != nil {
		t.Errorf("the row is %d, want 7; %v", n, s.Err())
	}
	if second := postmaster(t, s); second.Pid == first.Pid {
		t.Error("it is the killed process that answers")
	}
	if !strings.Contains(said.String(), "starting it again") {
		t.Errorf("nobody was told: %q", said)
	}
}

func TestDatabaseThatCannotComeBackIsReported(t *testing.T) {
	t.Parallel()
	s := run(t, Options{Dir: filepath.Join(place(t), "data")})
	if err := os.Remove(filepath.Join(s.Dir(), clusterFolder, "global", "pg_control")); err != nil {
		t.Fatal(err)
	}
	if err := postmaster(t, s).Kill(); err != nil {
		t.Fatal(err)
	}
	select {
	case <-s.Down():
	case <-time.After(time.Minute):
		t.Fatal("Down was not closed")
	}
	refused(t, s.Err(), "database-down", s.Dir(), "pg_control", "start Thirdcut again")
}

func TestThrowawayLeavesNothing(t *testing.T) {
	t.Setenv("TMPDIR", place(t))
	began := time.Now()
	s := run(t, Options{Throwaway: true})
	t.Logf("throwaway start %v", time.Since(began))
	if n := number(t, s.DatabaseURL(), `select count(*) from pg_settings where name in ('fsync', 'synchronous_commit', 'full_page_writes') and setting = 'off'`); n != 3 {
		t.Errorf("%d of three settings are off", n)
	}
	if !strings.HasPrefix(s.Dir(), os.TempDir()) {
		t.Errorf("it lies in %s", s.Dir())
	}
	began = time.Now()
	if err := s.Stop(); err != nil {
		t.Fatal(err)
	}
	t.Logf("throwaway stop %v", time.Since(began))
	if left, err := os.ReadDir(os.TempDir()); err != nil || len(left) != 0 {
		t.Errorf("left behind: %v, %v", left, err)
	}
}

func TestLeftoversOfKilledThrowawaysAreCleared(t *testing.T) {
	t.Setenv("TMPDIR", place(t))
	old := time.Now().Add(-2 * time.Minute)
	dirs := map[string]bool{} // path: is it to be cleared
	for name, cleared := range map[string]bool{"thirdcut-once-dead": true, "thirdcut-once-alive": false, "thirdcut-once-young": false, "another": false} {
		dir := filepath.Join(os.TempDir(), name)
		write(t, filepath.Join(dir, lockFile), "", 0o644)
		dirs[dir] = cleared
		if !strings.HasSuffix(name, "young") {
			if err := os.Chtimes(dir, old, old); err != nil {
				t.Fatal(err)
			}
		}
	}
	lock, err := tryLock(filepath.Join(os.TempDir(), "thirdcut-once-alive", lockFile))
	if err != nil {
		t.Fatal(err)
	}
	defer lock.Close()
	clearThrowaways()
	for dir, cleared := range dirs {
		if _, err := os.Stat(dir); errors.Is(err, os.ErrNotExist) != cleared {
			t.Errorf("%s: cleared should be %v, %v", dir, cleared, err)
		}
	}
}

func TestSettingsOfThePersonAreLeftOut(t *testing.T) {
	for name, value := range map[string]string{"PGHOST": "nowhere.invalid", "PGPORT": "1", "PGDATABASE": "other", "PGUSER": "somebody", "PGSSLMODE": "require", "PGDATA": "/nonexistent"} {
		t.Setenv(name, value)
	}
	s := run(t, Options{Throwaway: true})
	if n := number(t, s.DatabaseURL(), `select count(*) from pg_database where datname = current_database() and datname = 'thirdcut'`); n != 1 {
		t.Error("it is another database")
	}
}

func TestLongFolderNameStillHasASocket(t *testing.T) {
	t.Parallel()
	s := run(t, Options{Dir: filepath.Join(place(t), strings.Repeat("long-", 20), "data")})
	if n := number(t, s.DatabaseURL(), `select 1`); n != 1 {
		t.Error("no answer")
	}
	if err := s.Stop(); err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(s.socket); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("the socket's folder is left: %v", err)
	}
}

// A start that was killed while it made the cluster leaves a half one beside
// the place of the data.
func TestHalfMadeClusterIsNotTakenForData(t *testing.T) {
	t.Parallel()
	dir := filepath.Join(place(t), "data")
	write(t, filepath.Join(dir, lockFile), "", 0o644)
	write(t, filepath.Join(dir, makingFolder, "PG_VERSION"), "15\n", 0o644)
	s := run(t, Options{Dir: dir})
	if n := number(t, s.DatabaseURL(), `select 1`); n != 1 {
		t.Error("no answer")
	}
}

func TestDataOfAnotherMajorVersionIsNotTouched(t *testing.T) {
	dir := filepath.Join(place(t), "data")
	version := filepath.Join(dir, clusterFolder, "PG_VERSION")
	marker := filepath.Join(dir, clusterFolder, "base", "marker")
	write(t, version, "14\n", 0o644)
	write(t, marker, "years of records", 0o644)
	look := Places{Path: "/nonexistent", Globs: []string{fakeBin(t, filepath.Join(place(t), "17"), "17.2")}}
	cache := filepath.Join(place(t), "cache")
	for _, o := range []Options{
		{Dir: dir, NoFetch: true, Look: look, Cache: cache},
		{Dir: dir, Look: look, Cache: cache}, // the pinned build would not fit: nothing is fetched
	} {
		refusedStart(t, o, "other-postgres", "PostgreSQL 14", "PostgreSQL 17", "nothing was touched", BinVariable, "backup")
	}
	refusedStart(t, Options{Dir: dir, NoFetch: true, Look: nowhere, Cache: cache}, "other-postgres", "PostgreSQL 14", "no PostgreSQL is on this machine")
	for file, want := range map[string]string{version: "14\n", marker: "years of records"} {
		if got, err := os.ReadFile(file); err != nil || string(got) != want {
			t.Errorf("%s holds %q, %v", file, got, err)
		}
	}
	if inside, err := os.ReadDir(dir); err != nil || len(inside) != 2 { // the data and the lock
		t.Errorf("the folder now holds %v, %v", inside, err)
	}
}

func TestFolderOfSomethingElseIsRefused(t *testing.T) {
	dir := place(t)
	file := filepath.Join(dir, "letters.txt")
	write(t, file, "dear customer", 0o644)
	refusedStart(t, Options{Dir: dir, NoFetch: true}, "not-a-cluster", dir, "letters.txt", "--dir")

	dir2 := place(t)
	inside := filepath.Join(dir2, clusterFolder, "notes")
	write(t, inside, "mine", 0o644)
	refusedStart(t, Options{Dir: dir2, NoFetch: true}, "not-a-cluster", filepath.Join(dir2, clusterFolder), "--dir")

	dir3 := place(t)
	odd := filepath.Join(dir3, clusterFolder, "PG_VERSION")
	write(t, odd, "soup", 0o644)
	refusedStart(t, Options{Dir: dir3, NoFetch: true}, "not-a-cluster", "--dir")

	refusedStart(t, Options{Dir: filepath.Join(file, "data"), NoFetch: true}, "no-folder", "--dir")
	for f, want := range map[string]string{file: "dear customer", inside: "mine", odd: "soup"} {
		if got, err := os.ReadFile(f); err != nil || string(got) != want {
			t.Errorf("%s holds %q, %v", f, got, err)
		}
	}
	if entries, err := os.ReadDir(dir); err != nil || len(entries) != 1 {
		t.Errorf("something was put into a stranger's folder: %v, %v", entries, err)
	}
}

// The demo's data folder lies in the default one and may be the first there.
func TestDataFolderInADataFolderIsNoStranger(t *testing.T) {
	dir := place(t)
	write(t, filepath.Join(dir, "demo", lockFile), "", 0o644)
	write(t, filepath.Join(dir, "lost+found", "x"), "", 0o644)
	write(t, filepath.Join(dir, ".hidden"), "", 0o644)
	if err := refuseForeign(dir); err != nil {
		t.Errorf("refused: %v", err)
	}
	write(t, filepath.Join(dir, "letters", "x"), "", 0o644)
	refused(t, refuseForeign(dir), "not-a-cluster", "there is letters")
}

func TestRunningDatabaseIsTakenFirst(t *testing.T) {
	t.Parallel()
	theirs := run(t, Options{Throwaway: true})
	dir := filepath.Join(place(t), "data")
	said := &lines{}
	s, err := Start(context.Background(), Options{Dir: dir, DatabaseURL: theirs.DatabaseURL(), Look: nowhere, NoFetch: true, Progress: said})
	if err != nil {
		t.Fatal(err)
	}
	if said.String() != "PostgreSQL "+theirs.PGVersion()+" at DATABASE_URL\n" {
		t.Errorf("it said %q", said)
	}
	got, err := FindRunning(dir)
	if err != nil || got.DatabaseURL != theirs.DatabaseURL() || got.PGVersion != theirs.PGVersion() {
		t.Errorf("found %+v, %v", got, err)
	}
	if err := s.RestartPostgres(context.Background()); err == nil {
		t.Error("somebody else's server was restarted")
	}
	if err := s.Stop(); err != nil {
		t.Fatal(err)
	}
	if n := number(t, theirs.DatabaseURL(), `select 1`); n != 1 {
		t.Error("somebody else's server was stopped")
	}
	if _, err := os.Stat(filepath.Join(dir, clusterFolder)); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("a cluster was made for nothing: %v", err)
	}
	refusedStart(t, Options{Dir: dir, DatabaseURL: "postgres://x@/y?host=/nonexistent&sslmode=disable"}, "no-database", "DATABASE_URL")
}

func TestStartStopsWhenItsContextEnds(t *testing.T) {
	t.Setenv("TMPDIR", place(t))
	ctx, cancel := context.WithCancel(context.Background())
	time.AfterFunc(50*time.Millisecond, cancel)
	s, err := Start(ctx, Options{Throwaway: true, NoFetch: true})
	if err == nil {
		s.Stop()
		t.Fatal("it started although it was called off")
	}
	if left, err := os.ReadDir(os.TempDir()); err != nil || len(left) != 0 {
		t.Errorf("left behind: %v, %v", left, err)
	}
}

func TestReasonIsTheLineThatSaysWhy(t *testing.T) {
	for _, c := range []struct{ said, want string }{
		{"2026-06-02 10:00:00 UTC [7] LOG:  starting\n2026-06-02 10:00:00 UTC [7] FATAL:  data directory \"x\" has wrong ownership\n2026 HINT:  The server must be started by its owner.\n", `data directory "x" has wrong ownership`},
		{"creating\ninitdb: error: could not create directory \"x\": Permission denied\n", `could not create directory "x": Permission denied`},
		{"one\ntwo\n", "two"},
		{"", "it gave no reason"},
	} {
		if got := reason([]byte(c.said)); got != c.want {
			t.Errorf("of %q it is %q, want %q", c.said, got, c.want)
		}
	}
}

func TestTailKeepsTheEnd(t *testing.T) {
	var kept tail
	for i := range 5000 {
		fmt.Fprintf(&kept, "line %d\n", i)
	}
	if b := kept.bytes(); len(b) != 16<<10 || !strings.HasSuffix(string(b), "line 4998\nline 4999\n") {
		t.Errorf("kept %d bytes ending in %q", len(b), b[max(0, len(b)-40):])
	}
}
