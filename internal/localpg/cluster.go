//go:build unix && !aix && !solaris

package localpg

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"
)

// settings are appended to the new cluster's configuration; its user may edit
// them. Durability is left at the server's defaults, which are the safe ones.
const settings = `
# --- written once by statorbook for its private server ---
max_connections = 60
shared_buffers = 64MB
wal_level = minimal
max_wal_senders = 0
max_wal_size = 256MB
timezone = 'UTC'
log_timezone = 'UTC'
log_checkpoints = off
`

// abandoned ends the statement of a killed client early: else its locks last as
// long as the statement. The server offers this on Linux and macOS.
const abandoned = "client_connection_check_interval = 500ms\n"

// access trusts whoever got into the private socket folder; nobody comes by network.
const access = `# written once by statorbook: the socket folder is the wall
local all all trust
host  all all all reject
`

// unsafeArgs make a server for tests quick and forgetful.
var unsafeArgs = []string{
	"-c", "fsync=off", "-c", "synchronous_commit=off", "-c", "full_page_writes=off",
	"-c", "autovacuum=off", "-c", "max_connections=100", "-c", "checkpoint_timeout=1h",
}

// createData makes the cluster if there is none: in a folder of its own that is
// renamed when complete, so a kill leaves no half cluster.
func (s *Server) createData(ctx context.Context) error {
	if _, err := os.Stat(s.data); err == nil {
		return nil
	}
	begun := time.Now()
	work := filepath.Join(s.cfg.Root, fmt.Sprintf("init-%d", os.Getpid()))
	defer func() { _ = os.RemoveAll(work) }() // gone already when all went well
	if err := s.acct.makePrivate(work); err != nil {
		return err
	}
	var err error
	if s.cfg.CopyFrom != "" {
		err = s.acct.copyTree(s.cfg.CopyFrom, work)
	} else {
		err = s.initCluster(ctx, work)
	}
	if err != nil {
		return err
	}
	if err := os.Rename(work, s.data); err != nil {
		return folderError(s.cfg.Root, err)
	}
	if !s.cfg.Unsafe {
		if err := syncPath(s.cfg.Root); err != nil {
			return folderError(s.cfg.Root, err)
		}
	}
	s.cfg.Log.Info("database folder created", "took", time.Since(begun).Round(100*time.Millisecond), "dir", s.data)
	return nil
}

// initCluster runs initdb and writes our settings.
func (s *Server) initCluster(ctx context.Context, dir string) error {
	var out []byte
	var err error
	// C.UTF-8 sorts by code point and knows letters beyond ASCII; some systems lack it.
	for _, locale := range []string{"C.UTF-8", "C"} {
		args := []string{"-D", dir, "-U", superuser, "-E", "UTF8", "--locale=" + locale,
			"--auth-local=trust", "--auth-host=reject", "--data-checksums"}
		if s.cfg.Unsafe {
			args = append(args, "--no-sync", "--wal-segsize=1")
		}
		out, err = s.acct.command(ctx, filepath.Join(s.bins.Dir, "initdb"), args...).CombinedOutput()
		if err == nil || !strings.Contains(string(out), "invalid locale") {
			break
		}
	}
	if ctx.Err() != nil {
		return fmt.Errorf("making the database folder: %w", context.Cause(ctx))
	}
	if err != nil {
		return s.initError(err, string(out))
	}
	conf := settings
	if runtime.GOOS == "linux" || runtime.GOOS == "darwin" {
		conf += abandoned
	}
	if err := writeSync(filepath.Join(dir, "postgresql.conf"), os.O_APPEND, conf); err != nil {
		return folderError(s.cfg.Root, err)
	}
	if err := writeSync(filepath.Join(dir, "pg_hba.conf"), os.O_TRUNC, access); err != nil {
		return folderError(s.cfg.Root, err)
	}
	return nil
}

// initError adds what to do to the words of initdb.
func (s *Server) initError(err error, out string) error {
	hint := ""
	switch {
	case saysDiskFull(out):
		hint = fmt.Sprintf("the disk that holds %s is full: make room (about 70 MB), or set STATORBOOK_DATA_DIR to another folder. ", s.cfg.Root)
	case strings.Contains(out, "could not look up effective user ID"):
		hint = fmt.Sprintf("user %s has no name on this system, which initdb needs: give it one, start as another user, or set DATABASE_URL to a PostgreSQL. ", s.acct.name)
	}
	return fmt.Errorf("%sinitdb (%s) failed: %w:\n%s", hint, s.bins.Dir, err, lastLines(out, 8))
}

// saysDiskFull recognises the two ways in which the server programs say it: the
// system's error text, and the hint of a write that came out short.
func saysDiskFull(out string) bool {
	return strings.Contains(out, "No space left on device") || strings.Contains(out, "Check free disk space")
}

func writeSync(path string, how int, text string) error {
	f, err := os.OpenFile(path, os.O_WRONLY|how, 0)
	if err != nil {
		return err
	}
	_, err = f.WriteString(text)
	return errors.Join(err, f.Sync(), f.Close())
}

// syncPath makes a rename in this folder last through a power cut.
func syncPath(dir string) error {
	f, err := os.Open(dir)
	if err != nil {
		return err
	}
	return errors.Join(f.Sync(), f.Close())
}

// copyTree copies a stopped cluster into an existing folder and gives it to the user.
func (a account) copyTree(from, to string) error {
	return filepath.WalkDir(from, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		rel, err := filepath.Rel(from, path)
		if err != nil || rel == "." || rel == pidName {
			return err
		}
		target := filepath.Join(to, rel)
		switch {
		case d.IsDir():
			err = os.Mkdir(target, 0o700)
		case d.Type().IsRegular():
			err = copyFile(path, target)
		default:
			return fmt.Errorf("%s is neither file nor folder: this cluster cannot be copied", path)
		}
		if err == nil && a.drop {
			err = os.Lchown(target, int(a.uid), int(a.gid))
		}
		return err
	})
}

func copyFile(from, to string) error {
	in, err := os.Open(from)
	if err != nil {
		return err
	}
	defer func() { _ = in.Close() }()
	out, err := os.OpenFile(to, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	_, err = io.Copy(out, in)
	return errors.Join(err, out.Close())
}

// createDatabase makes the two roles and the database, whichever is missing.
// The owner role runs migrations; the app role owns nothing, so that the grants
// and row rules of the migrations bind it.
func (s *Server) createDatabase(ctx context.Context) error {
	conn, err := pgx.Connect(ctx, s.AdminURL())
	if err != nil {
		return fmt.Errorf("the private postgres does not let us in: %w", err)
	}
	defer func() { _ = conn.Close(context.WithoutCancel(ctx)) }()
	for _, role := range []string{s.ownerRole(), s.appRole()} {
		err := createUnless(ctx, conn, "select exists (select from pg_roles where rolname = $1)", role,
			"create role "+role+" login nosuperuser nocreatedb nocreaterole noreplication nobypassrls")
		if err != nil {
			return fmt.Errorf("role %s: %w", role, err)
		}
	}
	name := s.cfg.Name
	err = createUnless(ctx, conn, "select exists (select from pg_database where datname = $1)", name,
		"create database "+name+" owner "+s.ownerRole())
	if err != nil {
		return fmt.Errorf("database %s: %w", name, err)
	}
	// No access list yet means that everybody may connect.
	err = createUnless(ctx, conn, "select exists (select from pg_database where datname = $1 and datacl is not null)", name,
		"begin; revoke all on database "+name+" from public; grant connect, temporary on database "+name+" to "+s.appRole()+"; commit")
	if err != nil {
		return fmt.Errorf("rights on database %s: %w", name, err)
	}
	return nil
}

// createUnless runs a statement when the query answers false for the name. The
// names in statements were checked to be plain.
func createUnless(ctx context.Context, conn *pgx.Conn, query, name, statement string) error {
	var there bool
	if err := conn.QueryRow(ctx, query, name).Scan(&there); err != nil || there {
		return err
	}
	_, err := conn.Exec(ctx, statement)
	return err
}
