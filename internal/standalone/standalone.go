// Package standalone runs the private PostgreSQL and the private queue of
// one-machine use and of the tests: its own data folder, a socket and no port.
package standalone

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"sync"

	"github.com/hibiken/asynq"
)

// Options says where the servers live and how they are found.
type Options struct {
	// Dir is the data folder; empty is DefaultDir. Ignored when Throwaway.
	Dir string
	// DatabaseURL is a PostgreSQL that somebody else runs (DATABASE_URL): it is
	// taken before all others and never started or stopped from here. Ignored
	// when Throwaway, which promises an empty database.
	DatabaseURL string
	// Throwaway keeps nothing: a folder in the temporary place, no syncing to
	// disk, removed at Stop. For tests and for a demo that only writes files.
	Throwaway bool
	// NoFetch stops before anything is downloaded.
	NoFetch bool
	// Progress is told in lines what is found, fetched and started; nil is
	// silence. It may be written to from another goroutine until Stop returns.
	Progress io.Writer
	// Cache is where fetched binaries are kept; empty is CacheDir.
	Cache string
	// Look is where binaries are looked for; the zero value is this machine.
	Look Places
}

// Server is a running pair of servers. Stop ends both.
type Server struct {
	options Options
	dir     string // holds the cluster, the lock, the socket and run.json
	url     string
	version string
	bin     string // folder of the binaries
	account *account
	socket  string // folder of the socket
	lock    io.Closer
	queue   *queue
	told    sync.Mutex // one line of progress at a time

	life    context.Context // ends when Stop begins
	endLife context.CancelFunc
	down    chan struct{} // closed when the database is gone for good
	downErr error         // why, after down

	mu     sync.Mutex // held by whoever starts or ends the database
	child  *child
	deaths int // in a row, none of them after a steady life
}

const (
	clusterFolder = "postgres"
	makingFolder  = "postgres.making"
	socketFolder  = "socket"
	database      = "thirdcut"
)

// Start finds PostgreSQL, makes the cluster where there is none, starts it and
// the queue, and writes run.json. A database that dies while the program lives
// is started again; see Down.
//
// Faults: Conflict "already-running" when another process owns the folder;
// Unavailable "no-postgres" when no binaries are to be had, "other-postgres"
// when the data was made by another major version, "old-postgres" when the
// server at DatabaseURL is too old, "no-database" when it does not answer,
// "closed-folder" and "no-folder" when the folder cannot be used, "no-start"
// and "no-cluster" with PostgreSQL's own reason; Forbidden "not-your-data"
// when the data belongs to another user; Invalid "not-a-cluster" when the
// folder holds something else, "bad-pg-bin" when THIRDCUT_PG_BIN is wrong.
func Start(ctx context.Context, o Options) (*Server, error) {
	s := &Server{options: o, down: make(chan struct{})}
	s.life, s.endLife = context.WithCancel(context.Background())
	if err := s.start(ctx); err != nil {
		// The first failure is the one to tell.
		_ = s.Stop()
		return nil, err
	}
	return s, nil
}

func (s *Server) start(ctx context.Context) error {
	if err := s.ownFolder(); err != nil {
		return err
	}
	if err := s.openDatabase(ctx); err != nil {
		return err
	}
	s.queue = startQueue()
	if s.options.Throwaway {
		return nil
	}
	return s.writeRun()
}

func (s *Server) openDatabase(ctx context.Context) error {
	if s.options.DatabaseURL != "" && !s.options.Throwaway {
		return s.useRunning(ctx)
	}
	if err := s.prepareCluster(ctx); err != nil {
		return err
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.startPostgres(ctx)
}

// DatabaseURL is the address of the database, for lib/pq.
func (s *Server) DatabaseURL() string { return s.url }

// PGVersion is the version of the database, as in "15.18".
func (s *Server) PGVersion() string { return s.version }

// Queue is the address of the in-process queue. What uses it is stopped before the server.
func (s *Server) Queue() asynq.RedisConnOpt { return s.queue }

// Dir is the data folder.
func (s *Server) Dir() string { return s.dir }

// Down is closed when the private database died and could not be brought back;
// Err says why. The program should say so and end.
func (s *Server) Down() <-chan struct{} { return s.down }

// Err is why the database is down; nil while it is not.
func (s *Server) Err() error {
	select {
	case <-s.down:
		return s.downErr
	default:
		return nil
	}
}

// EmptyQueue drops everything in the queue, as a courier that lost its bag. For tests.
func (s *Server) EmptyQueue() { s.queue.empty() }

// RestartPostgres stops the database and starts it again on the same data,
// version and address. For tests.
func (s *Server) RestartPostgres(ctx context.Context) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.child == nil {
		return errors.New("this server does not run the database")
	}
	if err := s.endPostgres(); err != nil {
		return err
	}
	return s.startPostgres(ctx)
}

// Stop ends both servers, takes run.json away and gives the folder free. It may
// be called twice. The error says that the database did not end by itself.
func (s *Server) Stop() error {
	s.endLife() // an attempt to bring the database back gives up at once
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.queue != nil {
		s.queue.stop()
	}
	failed := s.endPostgres()
	if s.socket != "" {
		os.RemoveAll(s.socket)
	}
	if s.lock == nil {
		return failed
	}
	os.Remove(filepath.Join(s.dir, runFile))
	if s.options.Throwaway {
		os.RemoveAll(s.dir)
	}
	s.lock.Close() // frees the lock
	s.lock = nil
	return failed
}

func (s *Server) say(format string, args ...any) {
	if s.options.Progress == nil {
		return
	}
	s.told.Lock()
	defer s.told.Unlock()
	fmt.Fprintf(s.options.Progress, format+"\n", args...)
}
