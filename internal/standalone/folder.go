package standalone

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"thirdcut/internal/fault"
)

// socketRoom is how long a socket folder's path may be: the system allows about
// 104 bytes for the whole path, and PostgreSQL's name in it takes 14.
const socketRoom = 88

// DefaultDir is the user's data folder; root's lies where the server's own
// user can reach it.
func DefaultDir() string {
	if os.Geteuid() == 0 {
		return "/var/lib/thirdcut"
	}
	if d := os.Getenv("XDG_DATA_HOME"); filepath.IsAbs(d) {
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

// ownFolder makes the data folder and takes its lock, and clears what an owner
// that was killed left behind.
func (s *Server) ownFolder() (err error) {
	if s.options.Throwaway {
		clearThrowaways()
		if s.dir, err = os.MkdirTemp("", throwawayPrefix+"*"); err != nil {
			return fault.New(fault.Unavailable, "no-folder", "no folder can be made in the temporary place %s; set TMPDIR to one that can be written to", os.TempDir()).Because(err)
		}
	} else if s.dir, err = makeDataFolder(s.options.Dir); err != nil {
		return err
	}
	if s.dir, err = filepath.EvalSymlinks(s.dir); err != nil {
		return fmt.Errorf("follow the data folder: %w", err)
	}
	if s.lock, err = lockFolder(s.dir); err != nil {
		return err
	}
	os.Remove(filepath.Join(s.dir, runFile)) // its writer is dead: we have the lock
	return nil
}

// makeDataFolder returns the folder's whole path. A folder that was there keeps
// its mode; one that is made is closed, but for root, whose server runs as
// another user that must walk through.
func makeDataFolder(dir string) (string, error) {
	if dir == "" {
		dir = DefaultDir()
	}
	dir, err := filepath.Abs(dir)
	if err != nil {
		return "", fmt.Errorf("find the data folder: %w", err)
	}
	if err := refuseForeign(dir); err != nil {
		return "", err
	}
	mode := os.FileMode(0o700)
	if os.Geteuid() == 0 {
		mode = 0o755
	}
	if err := makeAll(dir, mode); err != nil {
		return "", fault.New(fault.Unavailable, "no-folder", "the data folder %s cannot be made; choose another with --dir", dir).Because(err)
	}
	return dir, nil
}

// refuseForeign refuses a folder that holds things and none of ours, before
// anything is written into it.
func refuseForeign(dir string) error {
	inside, err := os.ReadDir(dir)
	if err != nil {
		return nil // it is missing, or what uses it next says what is wrong
	}
	foreign := ""
	for _, e := range inside {
		switch name := e.Name(); {
		case name == lockFile || name == clusterFolder:
			return nil
		case name == "lost+found" || name[0] == '.': // a disk of its own has that
		case exists(filepath.Join(dir, name, lockFile)): // a data folder in this one, as the demo's
		default:
			foreign = name
		}
	}
	if foreign == "" {
		return nil
	}
	return fault.New(fault.Invalid, "not-a-cluster", "the folder %s is not empty and holds no Thirdcut data (there is %s); choose an empty or a new one with --dir", dir, foreign)
}

func exists(path string) bool {
	_, err := os.Lstat(path)
	return err == nil
}

// makeAll makes the folder and its missing parents with that mode, whatever
// the process's umask takes away.
func makeAll(dir string, mode os.FileMode) error {
	if info, err := os.Stat(dir); err == nil {
		if !info.IsDir() {
			return fmt.Errorf("%s is not a folder", dir)
		}
		return nil
	}
	if parent := filepath.Dir(dir); parent != dir {
		if err := makeAll(parent, mode); err != nil {
			return err
		}
	}
	if err := os.Mkdir(dir, mode); err != nil {
		if errors.Is(err, os.ErrExist) { // somebody else was faster
			return nil
		}
		return err
	}
	return os.Chmod(dir, mode)
}

// makeSocketFolder puts the socket into the data folder, where nobody tidies
// up; where that path is too long, into the temporary place.
func (s *Server) makeSocketFolder() (err error) {
	s.socket = filepath.Join(s.dir, socketFolder)
	if len(s.socket) > socketRoom {
		if s.socket, err = os.MkdirTemp("/tmp", "thirdcut-s-*"); err != nil {
			return fmt.Errorf("make a folder for the socket: %w", err)
		}
	} else if err := os.Mkdir(s.socket, 0o700); err != nil && !errors.Is(err, os.ErrExist) {
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
		if _, err := fmt.Sscan(string(b), &major); err != nil || major < 1 {
			return 0, fault.New(fault.Invalid, "not-a-cluster", "the folder %s holds something that is no PostgreSQL data; choose another with --dir", dir)
		}
		return major, nil
	}
	inside, err := os.ReadDir(dir)
	switch {
	case errors.Is(err, os.ErrNotExist) || (err == nil && len(inside) == 0):
		return 0, nil
	case errors.Is(err, os.ErrPermission):
		return 0, fault.New(fault.Forbidden, "not-your-data", "the data in %s belongs to another user; run this as that user, or choose another folder with --dir", dir)
	case err != nil:
		return 0, fault.New(fault.Invalid, "not-a-cluster", "%s cannot be read as a folder of PostgreSQL data; choose another with --dir", dir).Because(err)
	}
	return 0, fault.New(fault.Invalid, "not-a-cluster", "the folder %s is not empty and holds no PostgreSQL data; choose another with --dir", dir)
}

const throwawayPrefix = "thirdcut-once-"

// clearThrowaways removes what throwaway servers left that were killed: their
// folders' locks are free. Young ones are left: they may not have locked yet.
func clearThrowaways() {
	left, _ := filepath.Glob(filepath.Join(os.TempDir(), throwawayPrefix+"*")) // the pattern is ours
	for _, dir := range left {
		info, err := os.Lstat(dir)
		if err != nil || !info.IsDir() || !mine(info) || time.Since(info.ModTime()) < time.Minute {
			continue
		}
		lock, err := tryLock(filepath.Join(dir, lockFile))
		if err != nil {
			continue // it lives
		}
		if endOrphan(filepath.Join(dir, clusterFolder)) == nil {
			os.RemoveAll(dir)
		}
		lock.Close()
	}
}
