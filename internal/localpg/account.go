//go:build unix && !aix && !solaris

package localpg

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"strconv"
	"syscall"
	"time"
)

// account is the user that runs the server programs. postgres refuses to run as
// root, so root drops to another one.
type account struct {
	name     string
	uid, gid uint32
	drop     bool // we are root and must change the user
}

// serverAccount picks the user: ourselves; for root the owner of an existing
// data folder, else postgres, else nobody.
func serverAccount(data string) (account, error) {
	self := uint32(os.Geteuid()) //nolint:gosec // a user id is not negative on unix
	owner, ownerGroup, exists, err := ownerOf(data)
	if err != nil {
		return account{}, folderError(filepath.Dir(data), err)
	}
	if self != 0 {
		if exists && owner != self {
			return account{}, fmt.Errorf("the database folder %s belongs to user %s, this is user %s: start as that user, or set STATORBOOK_DATA_DIR to another folder",
				data, userName(owner), userName(self))
		}
		return account{name: userName(self), uid: self, gid: uint32(os.Getegid())}, nil //nolint:gosec // as above
	}
	if exists {
		if owner == 0 {
			return account{}, fmt.Errorf("the database folder %s belongs to root, and postgres does not run as root: give it to the user postgres (chown -R), or set STATORBOOK_DATA_DIR to another folder", data)
		}
		return account{name: userName(owner), uid: owner, gid: ownerGroup, drop: true}, nil
	}
	for _, name := range []string{"postgres", "nobody"} {
		u, err := user.Lookup(name)
		if err != nil {
			continue
		}
		uid, err1 := strconv.ParseUint(u.Uid, 10, 32)
		gid, err2 := strconv.ParseUint(u.Gid, 10, 32)
		if err1 == nil && err2 == nil && uid != 0 {
			return account{name: name, uid: uint32(uid), gid: uint32(gid), drop: true}, nil
		}
	}
	return account{}, errors.New("postgres does not run as root, and this system has neither a user postgres nor nobody: start as another user, or set DATABASE_URL to a PostgreSQL")
}

// ownerOf returns who owns a folder, if it exists.
func ownerOf(dir string) (uid, gid uint32, exists bool, err error) {
	info, err := os.Stat(dir)
	if errors.Is(err, fs.ErrNotExist) || errors.Is(err, syscall.ENOTDIR) { // a file on the way is told by makeRoot
		return 0, 0, false, nil
	}
	if err != nil {
		return 0, 0, false, err
	}
	st, ok := info.Sys().(*syscall.Stat_t)
	if !ok {
		return 0, 0, false, fmt.Errorf("%s: owner unknown", dir)
	}
	return st.Uid, st.Gid, true, nil
}

// userName returns a user's name, or the number of one without a name.
func userName(uid uint32) string {
	number := strconv.FormatUint(uint64(uid), 10)
	if u, err := user.LookupId(number); err == nil {
		return u.Username
	}
	return number
}

// canEnter checks that the user may pass through a folder and all its parents.
// We never change the rights of a folder that we did not make.
func (a account) canEnter(dir string) error {
	if !a.drop {
		return nil
	}
	for {
		info, err := os.Stat(dir)
		if err != nil {
			return err
		}
		bit := fs.FileMode(0o001)
		if st, ok := info.Sys().(*syscall.Stat_t); ok && st.Uid == a.uid {
			bit = 0o100
		} else if ok && st.Gid == a.gid {
			bit = 0o010
		}
		if info.Mode()&bit == 0 {
			return fmt.Errorf("started by root, postgres runs as user %s, who may not enter %s (mode %04o): set STATORBOOK_DATA_DIR to another folder, such as /var/lib/statorbook (tests: TMPDIR)",
				a.name, dir, info.Mode().Perm())
		}
		if dir == filepath.Dir(dir) {
			return nil
		}
		dir = filepath.Dir(dir)
	}
}

// makePrivate makes a folder that only the server's user can enter, or checks an
// existing one. In a shared temporary folder somebody else may have been faster,
// so links, other owners and wider rights are refused.
func (a account) makePrivate(dir string) error {
	err := os.Mkdir(dir, 0o700)
	switch {
	case err == nil:
		if err := os.Chmod(dir, 0o700); err != nil {
			return folderError(dir, err)
		}
		if a.drop {
			if err := os.Lchown(dir, int(a.uid), int(a.gid)); err != nil {
				return folderError(dir, err)
			}
		}
	case !errors.Is(err, fs.ErrExist):
		return folderError(dir, err)
	}
	info, err := os.Lstat(dir)
	if err != nil {
		return folderError(dir, err)
	}
	st, ok := info.Sys().(*syscall.Stat_t)
	if !ok || !info.IsDir() || st.Uid != a.uid || info.Mode().Perm() != 0o700 {
		return fmt.Errorf("%s is not a private folder of user %s (it is %s): remove it and start again", dir, a.name, info.Mode())
	}
	return nil
}

// command prepares a server program: as the server's user, in a process group of
// its own (the terminal's Ctrl-C is for us; requests finish first), in a clean
// environment, so that PGPORT or a locale of ours cannot leak into the cluster.
func (a account) command(ctx context.Context, path string, args ...string) *exec.Cmd {
	cmd := exec.CommandContext(ctx, path, args...)
	cmd.Env = []string{"PATH=/usr/local/bin:/usr/bin:/bin", "TZ=UTC"}
	for _, name := range []string{"LD_LIBRARY_PATH", "DYLD_LIBRARY_PATH"} {
		if v := os.Getenv(name); v != "" {
			cmd.Env = append(cmd.Env, name+"="+v)
		}
	}
	cmd.Dir = "/"
	cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true}
	if a.drop {
		cmd.SysProcAttr.Credential = &syscall.Credential{Uid: a.uid, Gid: a.gid}
	}
	// A cancelled program takes its children along.
	cmd.Cancel = func() error { return syscall.Kill(-cmd.Process.Pid, syscall.SIGKILL) }
	cmd.WaitDelay = 5 * time.Second
	return cmd
}
