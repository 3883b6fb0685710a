//go:build windows

package standalone

import (
	"errors"
	"io"
	"os"
	"os/exec"
	"runtime"
	"syscall"

	"thirdcut/internal/fault"
)

// account is the user that the server runs as: here always our own.
type account struct{}

// serverAccount refuses: the private PostgreSQL is supervised by signals that
// this system does not have. DatabaseURL works everywhere.
func serverAccount(string) (*account, error) {
	return nil, fault.New(fault.Unavailable, "not-here", "Thirdcut does not run a PostgreSQL of its own on %s; install PostgreSQL, start it, and set DATABASE_URL to it", runtime.GOOS)
}

func (*account) become(*exec.Cmd)        {}
func (*account) own(string) error        { return nil }
func (*account) letThrough(string) error { return nil }
func (*account) canReach(string) error   { return nil }

// mine answers no, so that nothing is cleared where owners cannot be told.
func mine(os.FileInfo) bool { return false }

var errHeld = errors.New("the lock is held")

// sharingViolation is the system's ERROR_SHARING_VIOLATION.
const sharingViolation = syscall.Errno(32)

// tryLock opens the file so that nobody else can, or returns errHeld. Closing
// frees it; so does the system when the process ends.
func tryLock(file string) (io.Closer, error) {
	name, err := syscall.UTF16PtrFromString(file)
	if err != nil {
		return nil, err
	}
	h, err := syscall.CreateFile(name, syscall.GENERIC_READ|syscall.GENERIC_WRITE, 0, nil, syscall.OPEN_ALWAYS, syscall.FILE_ATTRIBUTE_NORMAL, 0)
	if errors.Is(err, sharingViolation) {
		return nil, errHeld
	}
	if err != nil {
		return nil, err
	}
	return os.NewFile(uintptr(h), file), nil
}

// probeLock says whether somebody holds the lock of a file that is there.
func probeLock(file string) (held bool, err error) {
	if _, err := os.Stat(file); err != nil {
		return false, err
	}
	lock, err := tryLock(file)
	if errors.Is(err, errHeld) {
		return true, nil
	}
	if err != nil {
		return false, err
	}
	return false, lock.Close()
}

// alive cannot be asked without a signal here; the lock alone tells.
func alive(int) bool { return true }

func interrupt(int) error { return errors.ErrUnsupported }
