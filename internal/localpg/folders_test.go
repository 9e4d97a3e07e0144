//go:build unix && !aix && !solaris

package localpg

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"
)

// The places are those of the XDG base directory specification (state files), of
// the file system hierarchy standard (/var/lib) and of macOS.
func TestDefaultRoot(t *testing.T) {
	t.Parallel()
	type env = map[string]string
	home := env{"HOME": "/home/a"}
	for name, tc := range map[string]struct {
		uid  int
		goos string
		env  env
		want string
	}{
		"named":            {0, "linux", env{"STATORBOOK_DATA_DIR": "/srv/bench", "HOME": "/root"}, "/srv/bench"},
		"root":             {0, "linux", env{"HOME": "/root", "XDG_STATE_HOME": "/root/x"}, "/var/lib/statorbook"},
		"user":             {1000, "linux", home, "/home/a/.local/state/statorbook"},
		"user, BSD":        {1000, "freebsd", home, "/home/a/.local/state/statorbook"},
		"user, macOS":      {501, "darwin", env{"HOME": "/Users/a", "XDG_STATE_HOME": "/x"}, "/Users/a/Library/Application Support/statorbook"},
		"XDG":              {1000, "linux", env{"HOME": "/home/a", "XDG_STATE_HOME": "/x/state"}, "/x/state/statorbook"},
		"XDG relative":     {1000, "linux", env{"HOME": "/home/a", "XDG_STATE_HOME": "state"}, "/home/a/.local/state/statorbook"},
		"no home":          {1000, "linux", nil, ""},
		"home is relative": {1000, "linux", env{"HOME": "a"}, ""},
	} {
		got, err := defaultRoot("statorbook", tc.uid, tc.goos, func(name string) string { return tc.env[name] })
		require.Equal(t, tc.want, got, name)
		if tc.want == "" {
			require.ErrorContains(t, err, "set STATORBOOK_DATA_DIR", name)
			continue
		}
		require.NoError(t, err, name)
	}
	got, err := defaultRoot("statorbook", 1000, "linux", func(string) string { return "bench" })
	require.NoError(t, err)
	require.True(t, filepath.IsAbs(got), got)
}

// A path that is long, or has characters that a setting or URL reads otherwise,
// gets its socket in the temporary folder.
func TestSocketFolder(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct {
		root   string
		inside bool
	}{
		{"/var/lib/statorbook", true},
		{"/home/a_b/.local/state/statorbook", true},
		{"/Users/a/Library/Application Support/statorbook", false},
		{"/data/a,b", false},
		{"/data/werkstätte", false},
		{"/data/o'neil", false},
		{"/" + strings.Repeat("d", 81), true}, // 82, "/run" 4, "/.s.PGSQL.5432" 14
		{"/" + strings.Repeat("d", 82), false},
	} {
		dir := socketFolder(tc.root)
		require.Equal(t, tc.inside, dir == filepath.Join(tc.root, "run"), "%s -> %s", tc.root, dir)
		require.True(t, fitsSocket(dir), dir)
		require.LessOrEqual(t, len(filepath.Join(dir, socketName)), maxSocketPath)
		require.Equal(t, dir, socketFolder(tc.root), "found again")
	}
	require.NotEqual(t, socketFolder("/data/a,b"), socketFolder("/data/a,c"))
}

func TestSocketURLIsReadBack(t *testing.T) {
	t.Parallel()
	for _, dir := range []string{"/var/lib/statorbook/run", "/tmp/with space/run", "/tmp/a+b/run"} {
		cfg, err := pgx.ParseConfig(socketURL(dir, "a_app", "a"))
		require.NoError(t, err)
		require.Equal(t, dir, cfg.Host)
		require.Equal(t, uint16(5432), cfg.Port)
		require.Equal(t, "a_app", cfg.User)
		require.Equal(t, "a", cfg.Database)
		require.Nil(t, cfg.TLSConfig)
		require.Empty(t, cfg.Fallbacks)
	}
}

func TestOddFolderNames(t *testing.T) {
	t.Parallel()
	root := filepath.Join(publicDir(t), "Application Support, [old] *")
	s := start(t, Config{Root: root, Unsafe: true})
	t.Cleanup(func() { _ = os.RemoveAll(s.socket) })
	require.Equal(t, "here", query(t, s.AppURL(), "select 'here'"))
	require.NotContains(t, s.socket, "Application")
	guest := start(t, Config{Root: root, Unsafe: true})
	require.Equal(t, s.AppURL(), guest.AppURL())
}

// Another user must not be able to prepare our socket folder in /tmp.
func TestMakePrivateRefusesWhatOthersMade(t *testing.T) {
	t.Parallel()
	dir := publicDir(t)
	self := account{name: "self", uid: uint32(os.Geteuid()), gid: uint32(os.Getegid())}
	good := filepath.Join(dir, "good")
	require.NoError(t, self.makePrivate(good))
	require.NoError(t, self.makePrivate(good), "an own private folder is taken again")
	info, err := os.Stat(good)
	require.NoError(t, err)
	require.Equal(t, fs.FileMode(0o700), info.Mode().Perm())

	wide, link, file := filepath.Join(dir, "wide"), filepath.Join(dir, "link"), filepath.Join(dir, "file")
	require.NoError(t, os.Mkdir(wide, 0o755))
	require.NoError(t, os.Chmod(wide, 0o755))
	require.NoError(t, os.Symlink(good, link))
	require.NoError(t, os.WriteFile(file, nil, 0o700))
	for _, path := range []string{wide, link, file} {
		require.ErrorContains(t, self.makePrivate(path), "is not a private folder", path)
	}
	stranger := account{name: "stranger", uid: self.uid + 1, gid: self.gid}
	require.ErrorContains(t, stranger.makePrivate(good), "is not a private folder of user stranger")
}

func TestClosedParentIsNamed(t *testing.T) {
	t.Parallel()
	dir := publicDir(t)
	closed := filepath.Join(dir, "closed")
	root := filepath.Join(closed, "state")
	require.NoError(t, os.MkdirAll(root, 0o755))
	require.NoError(t, os.Chmod(closed, 0o700))
	other := account{name: "postgres", uid: uint32(os.Geteuid()) + 1, gid: uint32(os.Getegid()) + 1, drop: true}
	err := other.canEnter(root)
	require.ErrorContains(t, err, "who may not enter "+closed+" (mode 0700)")
	require.ErrorContains(t, err, "STATORBOOK_DATA_DIR")
	require.NoError(t, other.canEnter(dir))
	info, err := os.Stat(closed)
	require.NoError(t, err)
	require.Equal(t, fs.FileMode(0o700), info.Mode().Perm(), "the rights of a folder that exists are not ours to change")
}

// Nothing is made where the server's user could not reach it.
func TestClosedParentStaysEmpty(t *testing.T) {
	t.Parallel()
	closed := filepath.Join(publicDir(t), "closed")
	require.NoError(t, os.Mkdir(closed, 0o700))
	err := makeStateFolder(filepath.Join(closed, "a", "b"))
	if os.Geteuid() != 0 { // then the server's user is the one who owns the folder
		require.NoError(t, err)
		require.DirExists(t, filepath.Join(closed, "a", "b"))
		return
	}
	require.ErrorContains(t, err, "who may not enter "+closed)
	require.NoDirExists(t, filepath.Join(closed, "a"))
}

// The same with a whole start, where the tests run as root: everything below a
// closed folder must be left as it was.
func TestFoldersOfOthersAreRefused(t *testing.T) {
	t.Parallel()
	dir := publicDir(t)
	readOnly, foreign := filepath.Join(dir, "read-only"), filepath.Join(dir, "foreign")
	require.NoError(t, os.Mkdir(readOnly, 0o555))
	first := start(t, Config{Root: foreign, Unsafe: true})
	first.stopNow(t)

	if os.Geteuid() != 0 {
		_, err := Start(context.Background(), Config{Root: readOnly})
		require.ErrorContains(t, err, "closed to this user")
		return
	}
	// root may write everywhere, so a process of user nobody tries.
	exe := filepath.Join(dir, "helper")
	self, err := os.Executable()
	require.NoError(t, err)
	require.NoError(t, copyFile(self, exe))
	require.NoError(t, os.Chmod(exe, 0o755))
	nobody := account{name: "nobody", uid: 65534, gid: 65534, drop: true}
	for root, want := range map[string]string{
		readOnly:                         "the state folder " + readOnly + " is closed to this user",
		filepath.Join(readOnly, "below"): "is closed to this user",
		foreign:                          "the database folder " + foreign + "/data belongs to user " + userName(first.acct.uid) + ", this is user nobody",
	} {
		cmd := nobody.command(context.Background(), exe)
		cmd.Env = append(cmd.Env, helperRole+"=serve", helperRoot+"="+root)
		out, err := cmd.CombinedOutput()
		require.Error(t, err)
		require.Contains(t, string(out), want)
		require.Contains(t, string(out), "STATORBOOK_DATA_DIR")
	}
}

// For root the owner of the data folder runs it: when a user postgres appears
// later, what nobody made stays usable.
func TestServerAccountFollowsTheData(t *testing.T) {
	t.Parallel()
	data := filepath.Join(publicDir(t), "data")
	fresh, err := serverAccount(data)
	require.NoError(t, err)
	require.NotZero(t, fresh.uid, "postgres never runs as root")
	require.Equal(t, os.Geteuid() == 0, fresh.drop)
	require.NoError(t, os.Mkdir(data, 0o700))
	if os.Geteuid() != 0 {
		again, err := serverAccount(data)
		require.NoError(t, err)
		require.Equal(t, fresh, again)
		return
	}
	_, err = serverAccount(data)
	require.ErrorContains(t, err, data+" belongs to root")
	require.NoError(t, os.Chown(data, 54321, 54322))
	other, err := serverAccount(data)
	require.NoError(t, err)
	require.Equal(t, account{name: "54321", uid: 54321, gid: 54322, drop: true}, other)
}

func TestReadLockTakesNothingHalf(t *testing.T) {
	t.Parallel()
	s := &Server{cfg: Config{Root: t.TempDir()}}
	for text, ok := range map[string]bool{
		"":             false,
		"12":           false,
		"12\n/tmp/run": false,
		"12\n\n":       false,
		"x\n/tmp/r\n":  false,
		"12\n/tmp/r\n": true,
	} {
		require.NoError(t, os.WriteFile(s.lockPath(), []byte(text), 0o600))
		pid, socket, got := s.readLock()
		require.Equal(t, ok, got, "%q", text)
		if ok {
			require.Equal(t, 12, pid)
			require.Equal(t, "/tmp/r", socket)
		}
	}
}

func TestFolderErrorNamesTheWayOut(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct {
		err  error
		want string
	}{
		{syscall.ENOSPC, "is full"},
		{syscall.EDQUOT, "is full"},
		{syscall.EROFS, "is read-only"},
		{syscall.EACCES, "is closed to this user"},
		{syscall.EPERM, "is closed to this user"},
	} {
		err := folderError("/srv/x", fmt.Errorf("write /srv/x/f: %w", tc.err))
		require.ErrorIs(t, err, tc.err)
		require.ErrorContains(t, err, "/srv/x "+tc.want)
		require.ErrorContains(t, err, "set STATORBOOK_DATA_DIR")
		require.ErrorContains(t, err, "DATABASE_URL")
	}
	require.Equal(t, "state folder /srv/x: odd", folderError("/srv/x", errors.New("odd")).Error())
}

// The words of initdb are those of its sources (src/bin/initdb/initdb.c and
// src/common/username.c); those of the full disk and of the user without a name
// were seen here, on a small tmpfs and as user 12345.
func TestInitErrorNamesTheWayOut(t *testing.T) {
	t.Parallel()
	s := &Server{cfg: Config{Root: "/srv/x"}, acct: account{name: "12345"}, bins: Binaries{Dir: "/b"}}
	for out, want := range map[string]string{
		"initdb: error: could not write to file: No space left on device":                      "the disk that holds /srv/x is full",
		"HINT:  Check free disk space.\ninitdb: removing contents of data directory":           "the disk that holds /srv/x is full",
		"initdb: error: could not look up effective user ID 12345: user does not exist":        "user 12345 has no name",
		"initdb: error: something else that nobody has thought of, in more words than we know": "something else",
	} {
		err := s.initError(errors.New("exit status 1"), out)
		require.ErrorContains(t, err, want)
		require.ErrorContains(t, err, out)
	}
}

func TestServerLogIsTurnedOver(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "postgres.log")
	require.NoError(t, os.WriteFile(path, bytes.Repeat([]byte("x"), maxLog+1), 0o600))
	f, from, err := openLog(path)
	require.NoError(t, err)
	require.Zero(t, from)
	_, err = f.WriteString("1\n2\n3\n4\n5\n6\n7\n")
	require.NoError(t, err)
	require.NoError(t, f.Close())
	require.FileExists(t, path+".1")
	require.Equal(t, "2\n3\n4\n5\n6\n7", tailLog(path, 0))
	require.Equal(t, "7", tailLog(path, 12))
	require.Empty(t, tailLog(path+".none", 0))
}

func TestCopyTreeRefusesLinks(t *testing.T) {
	t.Parallel()
	from, to := t.TempDir(), t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(from, "f"), []byte("text"), 0o600))
	require.NoError(t, os.WriteFile(filepath.Join(from, pidName), []byte("1"), 0o600))
	require.NoError(t, account{}.copyTree(from, to))
	text, err := os.ReadFile(filepath.Join(to, "f"))
	require.NoError(t, err)
	require.Equal(t, "text", string(text))
	require.NoFileExists(t, filepath.Join(to, pidName))
	require.NoError(t, os.Symlink("/", filepath.Join(from, "link")))
	require.ErrorContains(t, account{}.copyTree(from, t.TempDir()), "neither file nor folder")
}
