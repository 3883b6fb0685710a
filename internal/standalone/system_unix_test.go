//go:build unix

package standalone

import (
	"os"
	"os/user"
	"path/filepath"
	"strconv"
	"syscall"
	"testing"
)

func TestAccountReachesOnlyThroughOpenFolders(t *testing.T) {
	top := place(t)
	deep := filepath.Join(top, "a", "b")
	if err := makeAll(deep, 0o755); err != nil {
		t.Fatal(err)
	}
	me := uint32(os.Geteuid())
	stranger := &account{name: "stranger", uid: me + 54321, gid: uint32(os.Getegid()) + 54321, stepDown: true}
	if err := stranger.canReach(deep); err != nil {
		t.Errorf("open folders are refused: %v", err)
	}
	closed := filepath.Join(top, "a")
	if err := os.Chmod(closed, 0o700); err != nil {
		t.Fatal(err)
	}
	refused(t, stranger.canReach(deep), "closed-folder", "stranger", deep, closed+" is closed", "/var/lib/thirdcut")
	// Its owner and its group walk through where the modes say so.
	owner := &account{name: "owner", uid: me, gid: stranger.gid, stepDown: true}
	if err := owner.canReach(deep); err != nil {
		t.Errorf("the owner is refused: %v", err)
	}
	info, err := os.Stat(closed)
	if err != nil {
		t.Fatal(err)
	}
	member := &account{name: "member", uid: stranger.uid, gid: info.Sys().(*syscall.Stat_t).Gid, stepDown: true}
	refused(t, member.canReach(deep), "closed-folder", closed)
	if err := os.Chmod(closed, 0o710); err != nil {
		t.Fatal(err)
	}
	if err := member.canReach(deep); err != nil {
		t.Errorf("the group is refused: %v", err)
	}
	if err := (&account{}).canReach("/nonexistent"); err != nil {
		t.Errorf("who does not step down is refused: %v", err)
	}
}

// Root steps down to the user whose data it is; an ordinary user takes only
// his own.
func TestDataDecidesWhoRunsTheServer(t *testing.T) {
	dir := filepath.Join(place(t), "postgres")
	if err := os.Mkdir(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	if os.Geteuid() != 0 {
		if a, err := serverAccount(dir); err != nil || a.stepDown {
			t.Errorf("his own data: %+v, %v", a, err)
		}
		_, err := serverAccount("/")
		refused(t, err, "not-your-data", "user root", "--dir")
		return
	}
	nobody, err := user.Lookup("nobody")
	if err != nil {
		t.Fatal(err)
	}
	uid, _ := strconv.Atoi(nobody.Uid)
	if err := os.Chown(dir, uid, -1); err != nil {
		t.Fatal(err)
	}
	if a, err := serverAccount(dir); err != nil || !a.stepDown || a.name != "nobody" || int(a.uid) != uid {
		t.Errorf("nobody's data: %+v, %v", a, err)
	}
	if err := os.Chown(dir, 54321, -1); err != nil {
		t.Fatal(err)
	}
	_, err = serverAccount(dir)
	refused(t, err, "no-user", "54321", "chown")
	if a, err := serverAccount("/nonexistent"); err != nil || !a.stepDown || a.uid == 0 {
		t.Errorf("no data: %+v, %v", a, err)
	}
}

func TestFoldersAreMadeAsAskedWhateverTheUmask(t *testing.T) {
	top := place(t)
	defer syscall.Umask(syscall.Umask(0o077))
	deep := filepath.Join(top, "a", "b")
	if err := makeAll(deep, 0o755); err != nil {
		t.Fatal(err)
	}
	for _, dir := range []string{deep, filepath.Dir(deep)} {
		if info, err := os.Stat(dir); err != nil || info.Mode().Perm() != 0o755 {
			t.Errorf("%s: %v, %v", dir, info.Mode(), err)
		}
	}
}

func TestLockIsOnesAlone(t *testing.T) {
	file := filepath.Join(place(t), lockFile)
	if _, err := probeLock(file); err == nil {
		t.Error("a lock that is not there was probed")
	}
	first, err := tryLock(file)
	if err != nil {
		t.Fatal(err)
	}
	if held, err := probeLock(file); err != nil || !held {
		t.Errorf("held is %v, %v", held, err)
	}
	if _, err := tryLock(file); err != errHeld {
		t.Errorf("a second owner got %v", err)
	}
	first.Close()
	if held, err := probeLock(file); err != nil || held {
		t.Errorf("after it was freed held is %v, %v", held, err)
	}
}
