package standalone

import (
	"fmt"
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

func serverAccount() (*account, error) {
	if os.Geteuid() != 0 {
		return &account{}, nil
	}
	for _, name := range []string{"postgres", "nobody"} {
		u, err := user.Lookup(name)
		if err != nil {
			continue
		}
		uid, err1 := strconv.ParseUint(u.Uid, 10, 32)
		gid, err2 := strconv.ParseUint(u.Gid, 10, 32)
		if err1 == nil && err2 == nil && uid != 0 {
			return &account{name: name, uid: uint32(uid), gid: uint32(gid), stepDown: true}, nil
		}
	}
	return nil, fault.New(fault.Unavailable, "no-user", "PostgreSQL refuses to run as root and there is neither a user postgres nor nobody to step down to; start Thirdcut as an ordinary user")
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
		st, ok := info.Sys().(*syscall.Stat_t)
		open := info.Mode().Perm()&0o001 != 0 || (ok && st.Uid == a.uid && info.Mode().Perm()&0o100 != 0)
		if !open {
			return fault.New(fault.Unavailable, "closed-folder", "PostgreSQL runs as %s and cannot reach %s, since %s is closed to it; choose a folder such as /var/lib/thirdcut with --dir", a.name, dir, d)
		}
		if d == filepath.Dir(d) {
			return nil
		}
	}
}
