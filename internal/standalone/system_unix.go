//go:build unix

package standalone

import (
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"strconv"
	"syscall"

	"thirdcut/internal/fault"
)

// account is the user that the server runs as. PostgreSQL refuses to run as
// root, so root steps down to an existing user; everybody else is himself.
type account struct {
	name     string
	uid, gid uint32
	stepDown bool
}

// serverAccount chooses the user for the cluster: the one whose data it is,
// where it is there; so a user postgres that is added later changes nothing.
func serverAccount(cluster string) (*account, error) {
	owner, there := ownerOf(cluster)
	if me := os.Geteuid(); me != 0 {
		if there && int(owner) != me {
			return nil, fault.New(fault.Forbidden, "not-your-data", "the data in %s belongs to %s; run this as that user, or choose another folder with --dir", cluster, userName(owner))
		}
		return &account{uid: uint32(me)}, nil
	}
	if there && owner != 0 {
		u, err := user.LookupId(strconv.Itoa(int(owner)))
		if err != nil {
			return nil, fault.New(fault.Unavailable, "no-user", "the data in %s belongs to user %d, which this machine does not know; give it to the user postgres with chown -R", cluster, owner)
		}
		return stepDownTo(u)
	}
	for _, name := range []string{"postgres", "nobody"} {
		if u, err := user.Lookup(name); err == nil {
			return stepDownTo(u)
		}
	}
	return nil, fault.New(fault.Unavailable, "no-user", "PostgreSQL refuses to run as root and there is neither a user postgres nor nobody to step down to; start Thirdcut as an ordinary user")
}

func stepDownTo(u *user.User) (*account, error) {
	uid, err1 := strconv.ParseUint(u.Uid, 10, 32)
	gid, err2 := strconv.ParseUint(u.Gid, 10, 32)
	if err := errors.Join(err1, err2); err != nil {
		return nil, fmt.Errorf("read the numbers of user %s: %w", u.Username, err)
	}
	return &account{name: u.Username, uid: uint32(uid), gid: uint32(gid), stepDown: true}, nil
}

func userName(uid uint32) string {
	if u, err := user.LookupId(strconv.Itoa(int(uid))); err == nil {
		return "user " + u.Username
	}
	return fmt.Sprintf("user %d", uid)
}

func ownerOf(path string) (uid uint32, there bool) {
	info, err := os.Stat(path)
	if err != nil {
		return 0, false
	}
	st, ok := info.Sys().(*syscall.Stat_t)
	if !ok {
		return 0, false
	}
	return st.Uid, true
}

// mine says whether the file belongs to the user that this process runs as.
func mine(info os.FileInfo) bool {
	st, ok := info.Sys().(*syscall.Stat_t)
	return ok && int(st.Uid) == os.Geteuid()
}

// become makes the command run as the account.
func (a *account) become(cmd *exec.Cmd) {
	if !a.stepDown {
		return
	}
	if cmd.SysProcAttr == nil {
		cmd.SysProcAttr = &syscall.SysProcAttr{}
	}
	cmd.SysProcAttr.Credential = &syscall.Credential{Uid: a.uid, Gid: a.gid}
}

// own gives the folder to the account, closed to all others.
func (a *account) own(dir string) error {
	if a.stepDown {
		if err := os.Chown(dir, int(a.uid), int(a.gid)); err != nil {
			return fmt.Errorf("give %s to %s: %w", dir, a.name, err)
		}
	}
	if err := os.Chmod(dir, 0o700); err != nil {
		return fmt.Errorf("close %s: %w", dir, err)
	}
	return nil
}

// letThrough opens a folder of ours so far that the account can walk through.
func (a *account) letThrough(dir string) error {
	if !a.stepDown {
		return nil
	}
	if err := os.Chmod(dir, 0o711); err != nil {
		return fmt.Errorf("open %s: %w", dir, err)
	}
	return nil
}

// canReach refuses a folder under one that the account may not walk through:
// the server would fail with a message that points elsewhere.
func (a *account) canReach(dir string) error {
	if !a.stepDown {
		return nil
	}
	for d := dir; ; d = filepath.Dir(d) {
		info, err := os.Stat(d)
		if err != nil {
			return fmt.Errorf("look at %s: %w", d, err)
		}
		if !a.mayWalk(info) {
			return fault.New(fault.Unavailable, "closed-folder", "PostgreSQL runs as %s and cannot reach %s, since %s is closed to it; choose a folder such as /var/lib/thirdcut with --dir", a.name, dir, d)
		}
		if d == filepath.Dir(d) {
			return nil
		}
	}
}

func (a *account) mayWalk(info os.FileInfo) bool {
	need := os.FileMode(0o001)
	if st, ok := info.Sys().(*syscall.Stat_t); ok {
		switch {
		case st.Uid == a.uid:
			need = 0o100
		case st.Gid == a.gid:
			need = 0o010
		}
	}
	return info.Mode().Perm()&need != 0
}

var errHeld = errors.New("the lock is held")

// tryLock takes the file's lock, or returns errHeld. Closing frees it; so does
// the system when the process ends, however it ends.
func tryLock(file string) (io.Closer, error) {
	f, err := os.OpenFile(file, os.O_CREATE|os.O_RDWR, 0o644)
	if err != nil {
		return nil, err
	}
	return lockOpen(f, syscall.LOCK_EX)
}

// probeLock says whether somebody holds the lock of a file that is there.
func probeLock(file string) (held bool, err error) {
	f, err := os.Open(file)
	if err != nil {
		return false, err
	}
	lock, err := lockOpen(f, syscall.LOCK_SH)
	if errors.Is(err, errHeld) {
		return true, nil
	}
	if err != nil {
		return false, err
	}
	return false, lock.Close()
}

func lockOpen(f *os.File, how int) (io.Closer, error) {
	err := syscall.Flock(int(f.Fd()), how|syscall.LOCK_NB)
	if err == nil {
		return f, nil
	}
	f.Close()
	if errors.Is(err, syscall.EWOULDBLOCK) {
		return nil, errHeld
	}
	return nil, err
}

func alive(pid int) bool { return !errors.Is(syscall.Kill(pid, 0), syscall.ESRCH) }

func interrupt(pid int) error { return syscall.Kill(pid, syscall.SIGINT) }
