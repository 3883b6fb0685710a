package standalone

import (
	"bytes"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"time"

	_ "github.com/lib/pq" // the driver that asks whether the server is ready

	"thirdcut/internal/fault"
)

const (
	readyWithin = 60 * time.Second
	// A server that died is brought back; one that dies this often without
	// having lived for steadyAfter in between is not.
	mostDeaths  = 5
	steadyAfter = time.Minute
)

// useRunning takes the server at Options.DatabaseURL.
func (s *Server) useRunning(ctx context.Context) error {
	s.url = s.options.DatabaseURL
	db, err := sql.Open("postgres", s.url)
	if err != nil {
		return fault.New(fault.Unavailable, "no-database", "the database address in DATABASE_URL cannot be read; write it as postgres://user@host/name?sslmode=...").Because(err)
	}
	defer db.Close()
	ctx, cancel := context.WithTimeout(ctx, readyWithin)
	defer cancel()
	number, err := s.askVersion(ctx, db)
	if err != nil {
		return fault.New(fault.Unavailable, "no-database", "the database at DATABASE_URL does not answer; start it, or correct the address, or unset it for a private one").Because(err)
	}
	if number/10000 < FloorMajor {
		return fault.New(fault.Unavailable, "old-postgres", "the database at DATABASE_URL is PostgreSQL %s and Thirdcut needs %d or newer; upgrade it, or unset DATABASE_URL for a private one", s.version, FloorMajor)
	}
	s.say("PostgreSQL %s at DATABASE_URL", s.version)
	return nil
}

// askVersion notes the server's version and returns its number, as 150018 for 15.18.
func (s *Server) askVersion(ctx context.Context, db *sql.DB) (number int, err error) {
	err = db.QueryRowContext(ctx, `select current_setting('server_version_num')::int`).Scan(&number)
	if err == nil && s.version == "" { // it is read from other goroutines later
		s.version = fmt.Sprintf("%d.%d", number/10000, number%10000)
	}
	return number, err
}

// prepareCluster chooses the user and the binaries that fit what is in the
// folder, and makes a cluster where there is none.
func (s *Server) prepareCluster(ctx context.Context) (err error) {
	cluster := filepath.Join(s.dir, clusterFolder)
	if s.account, err = serverAccount(cluster); err != nil {
		return err
	}
	if s.options.Throwaway {
		if err := s.account.letThrough(s.dir); err != nil {
			return err
		}
	}
	if err := s.account.canReach(s.dir); err != nil {
		return err
	}
	have, err := clusterMajor(cluster)
	if err != nil {
		return err
	}
	found, err := s.find(ctx, have)
	if err != nil {
		return err
	}
	s.bin = found.bin
	if err := s.makeSocketFolder(); err != nil {
		return err
	}
	s.url = s.address(database)
	if have != 0 {
		return nil
	}
	return s.initCluster(ctx, cluster)
}

// initCluster makes the cluster beside its place and moves it there when it is
// whole: a half one, of a start that was killed, is never taken for data.
func (s *Server) initCluster(ctx context.Context, cluster string) error {
	making := filepath.Join(s.dir, makingFolder)
	if err := os.RemoveAll(making); err != nil {
		return fmt.Errorf("clear a start that was cut off: %w", err)
	}
	if err := os.Mkdir(making, 0o700); err != nil {
		return fault.New(fault.Unavailable, "no-folder", "the data folder %s cannot be written to; choose another with --dir", s.dir).Because(err)
	}
	if err := s.account.own(making); err != nil {
		return err
	}
	if err := s.runInitdb(ctx, making); err != nil {
		os.RemoveAll(making)
		return err
	}
	os.Remove(cluster) // an empty folder may stand there
	if err := os.Rename(making, cluster); err != nil {
		return fmt.Errorf("put the new cluster in its place: %w", err)
	}
	return nil
}

func (s *Server) runInitdb(ctx context.Context, dir string) error {
	args := []string{"-D", dir, "-U", "thirdcut", "-A", "trust", "-E", "UTF8", "--locale=C"}
	if s.options.Throwaway {
		args = append(args, "--no-sync")
	} else {
		args = append(args, "--data-checksums")
		s.say("making a new database in %s", s.dir)
	}
	c := newChild("initdb", exec.CommandContext(ctx, filepath.Join(s.bin, "initdb"), args...))
	c.cmd.Dir, c.cmd.Env = "/", serverEnv()
	s.account.become(c.cmd)
	err := c.start()
	if err == nil {
		<-c.gone
		err = c.err
	}
	if ctx.Err() != nil {
		return ctx.Err()
	}
	if err != nil {
		return fault.New(fault.Unavailable, "no-cluster", "PostgreSQL could not make its data folder in %s: %s", s.dir, reason(c.said.bytes())).Because(err)
	}
	return nil
}

// startPostgres starts the server on the cluster and waits until it answers.
// The caller holds mu.
func (s *Server) startPostgres(ctx context.Context) error {
	cluster := filepath.Join(s.dir, clusterFolder)
	if err := endOrphan(cluster); err != nil {
		return err
	}
	args := []string{"-D", cluster, "-k", s.socket, "-p", "5432",
		"-c", "listen_addresses=", "-c", "unix_socket_permissions=0700",
		"-c", "max_connections=200", "-c", "timezone=UTC", "-c", "log_timezone=UTC",
		"-c", "logging_collector=off", "-c", "jit=off"}
	if s.options.Throwaway {
		args = append(args, "-c", "fsync=off", "-c", "synchronous_commit=off", "-c", "full_page_writes=off",
			"-c", "max_wal_size=4GB", "-c", "checkpoint_timeout=30min")
	}
	c := newChild("PostgreSQL", exec.Command(filepath.Join(s.bin, "postgres"), args...))
	c.cmd.Dir, c.cmd.Env = "/", serverEnv()
	s.account.become(c.cmd)
	if err := c.start(); err != nil {
		return fault.New(fault.Unavailable, "no-start", "PostgreSQL could not be started from %s", s.bin).Because(err)
	}
	s.child = c
	if err := s.awaitReady(ctx, c); err != nil {
		return errors.Join(err, s.endPostgres())
	}
	go s.watch(c)
	s.say("PostgreSQL %s from %s on the data in %s", s.version, s.bin, s.dir)
	return nil
}

// endPostgres ends the server, if there is one. The caller holds mu.
func (s *Server) endPostgres() error {
	c := s.child
	s.child = nil // so that watch lets it go
	if c == nil {
		return nil
	}
	return c.stop()
}

// watch brings a server back that ended without being asked to.
func (s *Server) watch(c *child) {
	began := time.Now()
	<-c.gone
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.child != c || s.life.Err() != nil {
		return // it was, or is now being, ended on purpose
	}
	s.child = nil
	if time.Since(began) > steadyAfter {
		s.deaths = 0
	}
	err := fmt.Errorf("PostgreSQL ended: %s", reason(c.said.bytes()))
	for s.deaths++; s.deaths <= mostDeaths; s.deaths++ {
		s.say("%v; starting it again", err)
		if err = s.startPostgres(s.life); err == nil || s.life.Err() != nil {
			return
		}
		pause(s.life, 500*time.Millisecond)
	}
	s.say("%v; giving up", err)
	s.downErr = fault.New(fault.Unavailable, "database-down", "the private PostgreSQL in %s died %d times and stays down (%v); the data is untouched, look at the disk and start Thirdcut again", s.dir, mostDeaths, err)
	close(s.down)
}

// pause waits, or returns early when the context ends.
func pause(ctx context.Context, d time.Duration) {
	select {
	case <-ctx.Done():
	case <-time.After(d):
	}
}

// address is whole: what it left open would be taken from the PG… variables of
// the person's own.
func (s *Server) address(database string) string {
	q := url.Values{"host": {s.socket}, "port": {"5432"}, "sslmode": {"disable"}}
	u := url.URL{Scheme: "postgres", User: url.User("thirdcut"), Path: "/" + database, RawQuery: q.Encode()}
	return u.String()
}

// awaitReady waits until the server answers and makes the database where there is none.
func (s *Server) awaitReady(ctx context.Context, c *child) error {
	db, err := sql.Open("postgres", s.address("postgres"))
	if err != nil {
		return fmt.Errorf("open the private database: %w", err)
	}
	defer db.Close()
	ctx, cancel := context.WithTimeout(ctx, readyWithin)
	defer cancel()
	for wait := 5 * time.Millisecond; ; wait = min(2*wait, 200*time.Millisecond) {
		if err = db.PingContext(ctx); err == nil {
			break
		}
		select {
		case <-c.gone:
			return fault.New(fault.Unavailable, "no-start", "PostgreSQL ended at once: %s", reason(c.said.bytes())).Because(c.err)
		case <-ctx.Done():
			return fault.New(fault.Unavailable, "no-start", "PostgreSQL did not answer within %s: %s", readyWithin, reason(c.said.bytes())).Because(err)
		case <-time.After(wait):
		}
	}
	if _, err := s.askVersion(ctx, db); err != nil {
		return fmt.Errorf("ask the private database for its version: %w", err)
	}
	return makeDatabase(ctx, db)
}

func makeDatabase(ctx context.Context, db *sql.DB) error {
	var there bool
	if err := db.QueryRowContext(ctx, `select exists (select from pg_database where datname = $1)`, database).Scan(&there); err != nil {
		return fmt.Errorf("look for the database: %w", err)
	}
	if there {
		return nil
	}
	if _, err := db.ExecContext(ctx, `create database `+database); err != nil {
		return fmt.Errorf("make the database: %w", err)
	}
	return nil
}

// serverEnv is what the server may know of our surroundings: no PG… settings
// of the person's own.
func serverEnv() []string {
	env := []string{"LC_ALL=C", "TZ=UTC"}
	for _, kv := range os.Environ() {
		if strings.HasPrefix(kv, "PATH=") || strings.HasPrefix(kv, "LD_LIBRARY_PATH=") || strings.HasPrefix(kv, "TMPDIR=") {
			env = append(env, kv)
		}
	}
	return env
}

// endOrphan deals with a server that an earlier owner left on the cluster. We
// hold the folder's lock, so nobody uses it: it is asked to end.
func endOrphan(cluster string) error {
	b, err := os.ReadFile(filepath.Join(cluster, "postmaster.pid"))
	if err != nil {
		return nil // no server was left
	}
	var pid int
	if _, err := fmt.Sscan(string(b), &pid); err != nil || pid <= 1 || pid == os.Getpid() {
		return nil // no note of a server; the new one clears it
	}
	// The number may have gone to another process since, or to nobody.
	holds := func() bool { return alive(pid) && isPostgresOf(pid, cluster) }
	for i := range 300 {
		if !holds() {
			return nil
		}
		if i == 0 {
			_ = interrupt(pid) // gone since is fine
		}
		time.Sleep(100 * time.Millisecond)
	}
	return fault.New(fault.Unavailable, "orphan", "an earlier PostgreSQL (process %d) still holds %s and does not end; end it and start again", pid, cluster)
}

// isPostgresOf says whether the process is a server on that cluster, as far as
// the system tells; where it tells nothing the answer is yes.
func isPostgresOf(pid int, cluster string) bool {
	line, err := os.ReadFile(fmt.Sprintf("/proc/%d/cmdline", pid))
	if err != nil {
		_, noProc := os.Stat("/proc/self")
		return noProc != nil
	}
	return bytes.Contains(line, []byte(cluster))
}
