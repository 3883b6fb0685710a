// Package standalone runs the private PostgreSQL and the private queue of
// one-machine use and of the tests: its own data folder, a socket and no port.
package standalone

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"time"

	"github.com/hibiken/asynq"

	"thirdcut/internal/fault"
)

// Options says where the servers live and how they are found.
type Options struct {
	// Dir is the data folder; empty is DefaultDir. Ignored when Throwaway.
	Dir string
	// Throwaway keeps nothing: a folder in the temporary place, no syncing to
	// disk, removed at Stop. For tests and for a demo that only writes files.
	Throwaway bool
	// NoFetch stops before anything is downloaded.
	NoFetch bool
	// Progress is told in lines what is found, fetched and started; nil is silence.
	Progress io.Writer
	// Cache is where fetched binaries are kept; empty is CacheDir.
	Cache string
	// Look is where binaries are looked for; the zero value is this machine.
	Look Places
}

// Server is a running pair of servers. Stop ends both.
type Server struct {
	options Options
	dir     string // holds the cluster, the lock and run.json
	socket  string // folder of the socket
	bin     string
	major   int
	account *account
	lock    *os.File
	child   *child
	queue   *queue
	url     string
}

const (
	clusterFolder = "postgres"
	database      = "thirdcut"
	readyWithin   = 60 * time.Second
)

// Start finds PostgreSQL, makes the cluster where there is none, starts it and
// the queue, and writes run.json. Faults: Conflict "already-running" when
// another process owns the folder, Unavailable "no-postgres" when no binaries
// are to be had, Unavailable "other-postgres" when the data was made by
// another major version, Invalid "not-a-cluster" when the folder holds
// something else.
func Start(ctx context.Context, o Options) (*Server, error) {
	s := &Server{options: o}
	if err := s.prepare(ctx); err != nil {
		s.Stop()
		return nil, err
	}
	if err := s.startPostgres(ctx); err != nil {
		s.Stop()
		return nil, err
	}
	s.queue = startQueue()
	if !o.Throwaway {
		if err := s.writeRun(); err != nil {
			s.Stop()
			return nil, err
		}
	}
	return s, nil
}

// DatabaseURL is the address of the database, for lib/pq.
func (s *Server) DatabaseURL() string { return s.url }

// Queue is the address of the in-process queue.
func (s *Server) Queue() asynq.RedisConnOpt { return s.queue }

// Dir is the data folder.
func (s *Server) Dir() string { return s.dir }

// EmptyQueue drops everything in the queue, as a courier that lost its bag. For tests.
func (s *Server) EmptyQueue() { s.queue.empty() }

// RestartPostgres stops the database and starts it again on the same data. For tests.
func (s *Server) RestartPostgres(ctx context.Context) error {
	if err := s.child.stop(); err != nil {
		return err
	}
	return s.startPostgres(ctx)
}

// Stop ends both servers and gives the folder free. It may be called twice.
func (s *Server) Stop() error {
	var failed error
	if s.queue != nil {
		s.queue.stop()
		s.queue = nil
	}
	if s.child != nil {
		failed = s.child.stop()
		s.child = nil
	}
	if s.socket != "" {
		os.RemoveAll(s.socket)
	}
	if s.lock != nil {
		os.Remove(filepath.Join(s.dir, runFile))
		s.lock.Close() // frees the lock
		s.lock = nil
	}
	if s.options.Throwaway && s.dir != "" {
		os.RemoveAll(s.dir)
	}
	return failed
}

func (s *Server) say(format string, args ...any) {
	if s.options.Progress != nil {
		fmt.Fprintf(s.options.Progress, format+"\n", args...)
	}
}

// prepare owns the folder, finds binaries that fit what is in it, and makes a
// cluster where there is none.
func (s *Server) prepare(ctx context.Context) (err error) {
	if s.account, err = serverAccount(); err != nil {
		return err
	}
	if err := s.makeFolders(); err != nil {
		return err
	}
	if !s.options.Throwaway {
		if s.lock, err = lockFolder(s.dir); err != nil {
			return err
		}
	}
	have, err := clusterMajor(filepath.Join(s.dir, clusterFolder))
	if err != nil {
		return err
	}
	if s.bin, s.major, err = find(ctx, s.options, have, s.say); err != nil {
		return err
	}
	if have != 0 {
		return nil
	}
	return s.initCluster(ctx)
}

func (s *Server) makeFolders() (err error) {
	if s.options.Throwaway {
		if s.dir, err = os.MkdirTemp("", "thirdcut-once-*"); err != nil {
			return fmt.Errorf("make a temporary folder: %w", err)
		}
	} else {
		if s.dir = s.options.Dir; s.dir == "" {
			s.dir = DefaultDir()
		}
		if s.dir, err = filepath.Abs(s.dir); err != nil {
			return fmt.Errorf("find the data folder: %w", err)
		}
		if err := os.MkdirAll(s.dir, 0o755); err != nil {
			return fault.New(fault.Unavailable, "no-folder", "the data folder %s cannot be made; choose another with --dir", s.dir).Because(err)
		}
	}
	// The server's user must be able to walk down to its cluster.
	if err := os.Chmod(s.dir, 0o755); err != nil {
		return fault.New(fault.Unavailable, "no-folder", "the data folder %s belongs to somebody else; choose another with --dir", s.dir).Because(err)
	}
	if err := s.account.canReach(s.dir); err != nil {
		return err
	}
	// A socket's path has little room (about 107 bytes), so it lies apart.
	if s.socket, err = os.MkdirTemp("/tmp", "tc-"); err != nil {
		return fmt.Errorf("make a folder for the socket: %w", err)
	}
	return s.account.own(s.socket)
}

// clusterMajor is the major version of the cluster in the folder, 0 where the
// folder is missing or empty.
func clusterMajor(dir string) (int, error) {
	b, err := os.ReadFile(filepath.Join(dir, "PG_VERSION"))
	if err == nil {
		var major int
		if _, err := fmt.Sscan(string(b), &major); err != nil {
			return 0, fault.New(fault.Invalid, "not-a-cluster", "the folder %s holds something that is no PostgreSQL data; choose another with --dir", dir)
		}
		return major, nil
	}
	inside, err := os.ReadDir(dir)
	if errors.Is(err, os.ErrNotExist) || (err == nil && len(inside) == 0) {
		return 0, nil
	}
	if err != nil {
		return 0, fmt.Errorf("look into %s: %w", dir, err)
	}
	return 0, fault.New(fault.Invalid, "not-a-cluster", "the folder %s is not empty and holds no PostgreSQL data; choose another with --dir", dir)
}

func (s *Server) initCluster(ctx context.Context) error {
	cluster := filepath.Join(s.dir, clusterFolder)
	if err := os.MkdirAll(cluster, 0o700); err != nil {
		return fmt.Errorf("make the cluster's folder: %w", err)
	}
	if err := s.account.own(cluster); err != nil {
		return err
	}
	args := []string{"-D", cluster, "-U", "thirdcut", "-A", "trust", "-E", "UTF8", "--locale=C"}
	if s.options.Throwaway {
		args = append(args, "--no-sync")
	}
	cmd := exec.CommandContext(ctx, filepath.Join(s.bin, "initdb"), args...)
	cmd.Dir, cmd.Env = "/", serverEnv()
	s.account.become(cmd)
	if out, err := cmd.CombinedOutput(); err != nil {
		os.RemoveAll(cluster)
		return fault.New(fault.Unavailable, "no-cluster", "PostgreSQL could not make its data folder in %s: %s", s.dir, lastLine(out)).Because(err)
	}
	return nil
}

// serverEnv is what the server may know of our surroundings: no PG* settings
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

func lastLine(out []byte) string {
	lines := strings.Split(strings.TrimSpace(string(out)), "\n")
	return strings.TrimSpace(lines[len(lines)-1])
}

// DefaultDir is the user's data folder; root's lies where the server's own
// user can reach it.
func DefaultDir() string {
	if os.Geteuid() == 0 {
		return "/var/lib/thirdcut"
	}
	if d := os.Getenv("XDG_DATA_HOME"); d != "" {
		return filepath.Join(d, "thirdcut")
	}
	home, err := os.UserHomeDir()
	if err != nil {
		return filepath.Join(os.TempDir(), fmt.Sprintf("thirdcut-%d", os.Geteuid()))
	}
	return filepath.Join(home, ".local", "share", "thirdcut")
}

// CacheDir is where fetched binaries are kept; root's lies where the server's
// own user can reach it.
func CacheDir() string {
	if os.Geteuid() == 0 {
		return "/var/cache/thirdcut"
	}
	if d, err := os.UserCacheDir(); err == nil {
		return filepath.Join(d, "thirdcut")
	}
	return filepath.Join(os.TempDir(), fmt.Sprintf("thirdcut-cache-%d", os.Geteuid()))
}
