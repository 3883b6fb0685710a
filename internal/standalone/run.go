package standalone

import (
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"syscall"
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
	Address     string    `json:"address,omitempty"` // where the pages are
	Queue       string    `json:"queue"`             // in-process, or a URL
	Postgres    int       `json:"postgres_major"`
	StartedAt   time.Time `json:"started_at"`
}

func (s *Server) writeRun() error {
	return writeRunFile(s.dir, Run{PID: os.Getpid(), DatabaseURL: s.url, Queue: "in-process", Postgres: s.major, StartedAt: time.Now().UTC()})
}

// Announce notes where the pages are, for other commands on the same folder.
func (s *Server) Announce(address string) error {
	if s.options.Throwaway {
		return nil
	}
	run, err := readRun(s.dir)
	if err != nil {
		return err
	}
	run.Address = address
	return writeRunFile(s.dir, run)
}

// writeRunFile replaces the file whole, readable by the owner alone.
func writeRunFile(dir string, run Run) error {
	b, err := json.MarshalIndent(run, "", "  ")
	if err != nil {
		return fmt.Errorf("write %s: %w", runFile, err)
	}
	next := filepath.Join(dir, runFile+".next")
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

// FindRunning returns what runs on the data folder. A run.json that a killed
// server left behind does not count. fault.NotFound "not-running".
func FindRunning(dir string) (Run, error) {
	if dir == "" {
		dir = DefaultDir()
	}
	none := fault.New(fault.NotFound, "not-running", "no Thirdcut runs on the data folder %s; start it with thirdcut serve --standalone --dir %s, or set DATABASE_URL", dir, dir)
	held, err := held(dir)
	if err != nil || !held {
		return Run{}, none.Because(err)
	}
	run, err := readRun(dir)
	if errors.Is(err, os.ErrPermission) {
		return Run{}, fault.New(fault.Forbidden, "not-your-server", "the Thirdcut on %s was started by another user; run this command as that user", dir)
	}
	if err != nil {
		return Run{}, none.Because(err)
	}
	return run, nil
}

// lockFolder owns the folder until the file is closed; the system frees it
// when the process ends, however it ends.
func lockFolder(dir string) (*os.File, error) {
	f, err := os.OpenFile(filepath.Join(dir, lockFile), os.O_CREATE|os.O_RDWR, 0o644)
	if err != nil {
		return nil, fault.New(fault.Unavailable, "no-folder", "the data folder %s cannot be written to; choose another with --dir", dir).Because(err)
	}
	if err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB); err != nil {
		f.Close()
		who := ""
		if run, err := readRun(dir); err == nil {
			who = fmt.Sprintf(" (process %d)", run.PID)
		}
		return nil, fault.New(fault.Conflict, "already-running", "another Thirdcut%s owns the data folder %s; use that one, or another folder with --dir", who, dir)
	}
	return f, nil
}

// held says whether somebody owns the folder now.
func held(dir string) (bool, error) {
	f, err := os.Open(filepath.Join(dir, lockFile))
	if err != nil {
		return false, err
	}
	defer f.Close()
	if err := syscall.Flock(int(f.Fd()), syscall.LOCK_SH|syscall.LOCK_NB); err != nil {
		return true, nil
	}
	return false, nil
}
