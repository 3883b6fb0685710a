package standalone

import (
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"

	"thirdcut/internal/fault"
)

const (
	runFile  = "run.json"
	lockFile = "lock"
)

// Run is what run.json says of the server that owns a data folder.
type Run struct {
	PID         int       `json:"pid"`
	DatabaseURL string    `json:"database_url"`
	Addr        string    `json:"addr,omitempty"` // where the pages are, once Announce was told
	StartedAt   time.Time `json:"started_at"`
	PGVersion   string    `json:"pg_version"` // as in "15.18"
	Queue       string    `json:"queue"`      // "in-process", or a URL
}

// InProcess is Run.Queue where the queue lives in the owner alone: other
// processes leave work in the outbox and do not reach the queue.
const InProcess = "in-process"

func (s *Server) writeRun() error {
	return writeRunFile(s.dir, Run{PID: os.Getpid(), DatabaseURL: s.url, StartedAt: time.Now().UTC(), PGVersion: s.version, Queue: InProcess})
}

// Announce notes where the pages are, for other commands on the same folder.
// An empty queueURL means the in-process queue.
func (s *Server) Announce(addr, queueURL string) error {
	if s.options.Throwaway {
		return nil
	}
	run, err := readRun(s.dir)
	if err != nil {
		return err
	}
	run.Addr, run.Queue = addr, cmp.Or(queueURL, InProcess)
	return writeRunFile(s.dir, run)
}

// writeRunFile replaces the file whole, readable by the owner alone: a
// DATABASE_URL may hold a password.
func writeRunFile(dir string, run Run) error {
	b, err := json.MarshalIndent(run, "", "  ")
	if err != nil {
		return fmt.Errorf("write %s: %w", runFile, err)
	}
	next := filepath.Join(dir, runFile+".next")
	os.Remove(next) // one of before keeps its mode
	if err := os.WriteFile(next, append(b, '\n'), 0o600); err != nil {
		return fmt.Errorf("write %s: %w", runFile, err)
	}
	if err := os.Rename(next, filepath.Join(dir, runFile)); err != nil {
		return fmt.Errorf("write %s: %w", runFile, err)
	}
	return nil
}

func readRun(dir string) (Run, error) {
	var run Run
	b, err := os.ReadFile(filepath.Join(dir, runFile))
	if err != nil {
		return run, err
	}
	if err := json.Unmarshal(b, &run); err != nil {
		return run, fmt.Errorf("read %s in %s: %w", runFile, dir, err)
	}
	return run, nil
}

// FindRunning returns what runs on the data folder; empty is DefaultDir. A
// run.json that a killed server left behind does not count. Faults: NotFound
// "not-running", Forbidden "not-your-server" when it is another user's.
func FindRunning(dir string) (Run, error) {
	if dir == "" {
		dir = DefaultDir()
	}
	none := fault.New(fault.NotFound, "not-running", "no Thirdcut runs on the data folder %s; start it with thirdcut serve --standalone --dir %s, or set DATABASE_URL", dir, dir)
	// The note is read before the lock is tried: a server that is just starting
	// has no note yet, and its lock is left alone.
	run, err := readRun(dir)
	if errors.Is(err, os.ErrPermission) {
		return Run{}, fault.New(fault.Forbidden, "not-your-server", "the data folder %s belongs to another user; run this command as that user", dir)
	}
	if err != nil {
		return Run{}, none.Because(err)
	}
	held, err := probeLock(filepath.Join(dir, lockFile))
	if err != nil || !held {
		return Run{}, none.Because(err)
	}
	return run, nil
}

// lockFolder owns the folder until the lock is closed.
func lockFolder(dir string) (io.Closer, error) {
	var lock io.Closer
	err := errHeld
	// Somebody who only asks whether it is held holds it for a moment.
	for try := 0; errors.Is(err, errHeld) && try < 10; try++ {
		if try > 0 {
			time.Sleep(30 * time.Millisecond)
		}
		lock, err = tryLock(filepath.Join(dir, lockFile))
	}
	if errors.Is(err, errHeld) {
		who := ""
		if run, err := readRun(dir); err == nil {
			who = fmt.Sprintf(" (process %d)", run.PID)
		}
		return nil, fault.New(fault.Conflict, "already-running", "another Thirdcut%s owns the data folder %s; use that one, or another folder with --dir", who, dir)
	}
	if err != nil {
		return nil, fault.New(fault.Unavailable, "no-folder", "the data folder %s cannot be written to; choose another with --dir", dir).Because(err)
	}
	return lock, nil
}
