//go:build unix && !aix && !solaris

package localpg

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"syscall"
)

func (s *Server) logPath() string { return filepath.Join(s.cfg.Root, "postgres.log") }

// folderError says what to do when the state folder cannot be used.
func folderError(root string, err error) error {
	const elsewhere = "set STATORBOOK_DATA_DIR to a folder that this user can write, or DATABASE_URL to a PostgreSQL"
	switch {
	case errors.Is(err, syscall.ENOSPC) || errors.Is(err, syscall.EDQUOT):
		return fmt.Errorf("the disk that holds the state folder %s is full (%w): make room, or %s", root, err, elsewhere)
	case errors.Is(err, syscall.EROFS):
		return fmt.Errorf("the state folder %s is read-only (%w): %s", root, err, elsewhere)
	case errors.Is(err, fs.ErrPermission):
		return fmt.Errorf("the state folder %s is closed to this user (%w): %s", root, err, elsewhere)
	}
	return fmt.Errorf("state folder %s: %w", root, err)
}

// makeStateFolder makes the state folder, unless the server's user could not
// reach it: then nothing is made.
func makeStateFolder(root string) error {
	acct, err := serverAccount(filepath.Join(root, "data"))
	if err != nil {
		return err
	}
	there := root
	for {
		if info, err := os.Stat(there); err == nil && info.IsDir() || there == filepath.Dir(there) {
			break
		}
		there = filepath.Dir(there)
	}
	if err := acct.canEnter(there); err != nil {
		return err
	}
	return makeRoot(root)
}

// makeRoot makes the state folder and its missing parents. For root they can be
// entered by all, because the server runs as another user; what they hold is
// closed one level down. An existing folder is left as it is.
func makeRoot(root string) error {
	info, err := os.Stat(root)
	if err == nil && !info.IsDir() {
		return fmt.Errorf("the state folder %s is a file: set STATORBOOK_DATA_DIR to a folder", root)
	}
	if err == nil {
		return nil
	}
	if !errors.Is(err, fs.ErrNotExist) {
		return folderError(root, err)
	}
	if parent := filepath.Dir(root); parent != root {
		if err := makeRoot(parent); err != nil {
			return err
		}
	}
	mode := fs.FileMode(0o700)
	if os.Geteuid() == 0 {
		mode = 0o755
	}
	if err := os.Mkdir(root, mode); err != nil {
		if errors.Is(err, fs.ErrExist) { // another process was faster
			return nil
		}
		return folderError(root, err)
	}
	if err := os.Chmod(root, mode); err != nil { // whatever the umask says
		return folderError(root, err)
	}
	return nil
}

// checkWritable writes and removes a small file, so that a full or read-only
// disk is told in our words and before postgres fails on it.
func checkWritable(root string) error {
	f, err := os.CreateTemp(root, "init-check-")
	if err != nil {
		return folderError(root, err)
	}
	_, err = f.Write(make([]byte, 64<<10))
	err = errors.Join(err, f.Close(), os.Remove(f.Name()))
	if err != nil {
		return folderError(root, err)
	}
	return nil
}

// plainPath has no character that a server setting or a URL takes for its own.
var plainPath = regexp.MustCompile(`^[A-Za-z0-9/._-]+$`)

// maxSocketPath is the length that a socket's path may have everywhere: macOS
// allows 103 bytes, Linux 107 (sun_path in sys/un.h).
const maxSocketPath = 100

// socketFolder returns the folder of the socket: inside the state folder if that
// path is short and plain, else one in the temporary folder, named after the
// state folder so that it is found again.
func socketFolder(root string) string {
	dir := filepath.Join(root, "run")
	if fitsSocket(dir) {
		return dir
	}
	sum := sha256.Sum256([]byte(root))
	name := "statorbook-" + hex.EncodeToString(sum[:6])
	if dir = filepath.Join(os.TempDir(), name); fitsSocket(dir) {
		return dir
	}
	return filepath.Join("/tmp", name)
}

func fitsSocket(dir string) bool {
	return len(dir)+1+len(socketName) <= maxSocketPath && plainPath.MatchString(dir)
}

// globEscape quotes a path for filepath.Glob.
func globEscape(path string) string {
	return strings.NewReplacer(`\`, `\\`, `*`, `\*`, `?`, `\?`, `[`, `\[`).Replace(path)
}
