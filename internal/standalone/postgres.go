package standalone

import (
	"bytes"
	"context"
	"database/sql"
	"fmt"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"sync"
	"syscall"
	"time"

	_ "github.com/lib/pq" // the driver that asks whether the server is ready

	"thirdcut/internal/fault"
)

// child is the running server process.
type child struct {
	cmd  *exec.Cmd
	gone chan struct{} // closed when it has ended
	err  error         // how it ended, after gone
	said *tail
}

// startPostgres starts the server on the cluster and waits until it answers.
func (s *Server) startPostgres(ctx context.Context) error {
	cluster := filepath.Join(s.dir, clusterFolder)
	if err := endOrphan(cluster); err != nil {
		return err
	}
	args := []string{"-D", cluster, "-k", s.socket,
		"-c", "listen_addresses=", "-c", "unix_socket_permissions=0700",
		"-c", "max_connections=200", "-c", "timezone=UTC", "-c", "log_timezone=UTC",
		"-c", "logging_collector=off", "-c", "jit=off"}
	if s.options.Throwaway {
		args = append(args, "-c", "fsync=off", "-c", "synchronous_commit=off", "-c", "full_page_writes=off",
			"-c", "max_wal_size=4GB", "-c", "checkpoint_timeout=30min", "-c", "autovacuum_naptime=10s")
	}
	cmd := exec.Command(filepath.Join(s.bin, "postgres"), args...)
	cmd.Dir, cmd.Env = "/", serverEnv()
	s.account.become(cmd)
	c := &child{cmd: cmd, gone: make(chan struct{}), said: &tail{}}
	cmd.Stdout, cmd.Stderr = c.said, c.said
	if err := c.start(); err != nil {
		return fault.New(fault.Unavailable, "no-start", "PostgreSQL could not be started from %s", s.bin).Because(err)
	}
	s.child = c
	if err := s.awaitReady(ctx); err != nil {
		return err
	}
	s.say("PostgreSQL %d from %s on the data in %s", s.major, s.bin, s.dir)
	return nil
}

func (s *Server) address(database string) string {
	q := url.Values{"host": {s.socket}, "sslmode": {"disable"}}
	u := url.URL{Scheme: "postgres", User: url.User("thirdcut"), Path: "/" + database, RawQuery: q.Encode()}
	return u.String()
}

// awaitReady waits until the server answers and makes the database where there is none.
func (s *Server) awaitReady(ctx context.Context) error {
	db, err := sql.Open("postgres", s.address("postgres"))
	if err != nil {
		return fmt.Errorf("open the private database: %w", err)
	}
	defer db.Close()
	ctx, cancel := context.WithTimeout(ctx, readyWithin)
	defer cancel()
	for pause := 5 * time.Millisecond; ; pause = min(2*pause, 200*time.Millisecond) {
		if err = db.PingContext(ctx); err == nil {
			break
		}
		select {
		case <-s.child.gone:
			return fault.New(fault.Unavailable, "no-start", "PostgreSQL ended at once: %s", lastLine(s.child.said.bytes())).Because(s.child.err)
		case <-ctx.Done():
			return fault.New(fault.Unavailable, "no-start", "PostgreSQL did not answer within %s: %s", readyWithin, lastLine(s.child.said.bytes())).Because(err)
		case <-time.After(pause):
		}
	}
	var there bool
	if err := db.QueryRowContext(ctx, `select exists (select from pg_database where datname = $1)`, database).Scan(&there); err != nil {
		return fmt.Errorf("look for the database: %w", err)
	}
	if !there {
		if _, err := db.ExecContext(ctx, `create database `+database); err != nil {
			return fmt.Errorf("make the database: %w", err)
		}
	}
	s.url = s.address(database)
	return nil
}

// stop asks for a fast shutdown and waits; a server that does not end within
// the time is ended at once, which costs it a recovery at the next start.
func (c *child) stop() error {
	select {
	case <-c.gone:
		return nil
	default:
	}
	_ = c.cmd.Process.Signal(syscall.SIGINT) // gone already is fine
	select {
	case <-c.gone:
		return nil
	case <-time.After(30 * time.Second):
	}
	_ = c.cmd.Process.Signal(syscall.SIGQUIT)
	select {
	case <-c.gone:
		return fmt.Errorf("PostgreSQL had to be stopped at once; it recovers at the next start")
	case <-time.After(10 * time.Second):
		_ = c.cmd.Process.Kill()
		<-c.gone
		return fmt.Errorf("PostgreSQL had to be killed; it recovers at the next start")
	}
}

// endOrphan deals with a server that an earlier owner left on the cluster. We
// hold the folder's lock, so nobody uses it: it is asked to end.
func endOrphan(cluster string) error {
	b, err := os.ReadFile(filepath.Join(cluster, "postmaster.pid"))
	if err != nil {
		return nil // no server was left
	}
	var pid int
	if _, err := fmt.Sscan(string(b), &pid); err != nil || pid <= 1 || !alive(pid) {
		return nil // a dead server's note; the new one clears it
	}
	if !isPostgresOf(pid, cluster) {
		return nil // the number has gone to another process since
	}
	_ = syscall.Kill(pid, syscall.SIGINT)
	for range 300 {
		if !alive(pid) {
			return nil
		}
		time.Sleep(100 * time.Millisecond)
	}
	return fault.New(fault.Unavailable, "orphan", "an earlier PostgreSQL (process %d) still holds %s and does not end; end it and start again", pid, cluster)
}

func alive(pid int) bool { return syscall.Kill(pid, 0) != syscall.ESRCH }

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

// tail keeps the last of what a process says.
type tail struct {
	mu  sync.Mutex
	buf []byte
}

func (t *tail) Write(p []byte) (int, error) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.buf = append(t.buf, p...)
	if over := len(t.buf) - 16<<10; over > 0 {
		t.buf = t.buf[over:]
	}
	return len(p), nil
}

func (t *tail) bytes() []byte {
	t.mu.Lock()
	defer t.mu.Unlock()
	return bytes.Clone(t.buf)
}
