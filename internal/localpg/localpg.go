// Package localpg gives the program a PostgreSQL of its own when nobody
// configured one: it finds the server programs (or fetches them with npm), makes
// a durable cluster in the user's state folder, runs it, and returns URLs.
//
// The cluster is private. It listens on no TCP port; its socket lies in a folder
// that only the server's user may enter, and only there connections are trusted.
// It uses the default durability (fsync and synchronous commit on) and page
// checksums, because this folder may become somebody's only copy.
//
// One exclusive lock on a file, owner.lock, is the whole protocol between
// processes: who holds it runs postgres, all others are guests on the same
// socket, and a guest that gets the lock takes over. The lock goes with its
// process, so a killed owner blocks nobody.
//
// A container loses its private folder with itself: set DATABASE_URL there.
package localpg

import (
	"errors"
	"fmt"
	"log/slog"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"runtime"
)

// MinMajor is the oldest PostgreSQL major version that is used.
const MinMajor = 15

// superuser is the cluster's first role. Only this package and the test helper
// use it: to make roles and databases.
const superuser = "postgres"

// ErrNoBinaries marks the error of a machine without usable server programs.
// Its text names every way out.
var ErrNoBinaries = errors.New("no PostgreSQL server programs found")

// ErrUnsupported marks the error of an operating system on which this package
// cannot run a server.
var ErrUnsupported = errors.New("no private PostgreSQL on this system")

// Config says where and how to run the private server.
type Config struct {
	// Root is the state folder; it is made when missing. Required, see DefaultRoot.
	Root string
	// BinDir holds the server programs to use (initdb and postgres). Empty means
	// STATORBOOK_PG_BIN, and without it a search.
	BinDir string
	// Name is the database; its roles are Name_owner and Name_app. Empty means
	// statorbook. Lower-case letters, digits and underscores, at most 40.
	Name string
	// Unsafe trades durability for speed. For tests only: a crash loses data.
	Unsafe bool
	// CopyFrom is the data folder of a stopped server, copied instead of running
	// initdb when Root has no data yet. For tests.
	CopyFrom string
	// BinCache is where fetched server programs are kept. Empty means a folder in Root.
	BinCache string
	// Search replaces the usual places in which server programs are looked for.
	Search *Search
	// Log receives a handful of lines for the person who started the program.
	// Nil means none.
	Log *slog.Logger
}

// Search lists the places in which server programs are looked for.
type Search struct {
	// Path is a list of folders as in the PATH variable. npm is looked for here too.
	Path string
	// Folders are further folders; each may be a pattern of filepath.Glob.
	Folders []string
}

var plainName = regexp.MustCompile(`^[a-z][a-z0-9_]{0,39}$`)

// withDefaults returns the configuration with empty fields filled, or an error
// for one that cannot work.
func (c Config) withDefaults() (Config, error) {
	if c.Root == "" {
		return c, errors.New("localpg: no state folder given")
	}
	root, err := filepath.Abs(c.Root)
	if err != nil {
		return c, fmt.Errorf("localpg: state folder %s: %w", c.Root, err)
	}
	c.Root = root
	if c.Name == "" {
		c.Name = "statorbook"
	}
	if !plainName.MatchString(c.Name) {
		return c, fmt.Errorf("localpg: %q cannot name a database: use lower-case letters, digits and _, at most 40", c.Name)
	}
	if c.BinDir == "" {
		c.BinDir = os.Getenv("STATORBOOK_PG_BIN")
	}
	if c.BinCache == "" {
		c.BinCache = filepath.Join(c.Root, "binaries")
	}
	if c.Search == nil {
		c.Search = usualPlaces()
	}
	if c.Log == nil {
		c.Log = slog.New(slog.DiscardHandler)
	}
	return c, nil
}

// DefaultRoot returns the state folder of an application: STATORBOOK_DATA_DIR if
// set; else /var/lib/app for root, the user's Library folder on macOS, and
// XDG_STATE_HOME or ~/.local/state elsewhere. Never a cache folder: cleaners may
// empty those. Without any of these, and without a home folder, it is an error.
func DefaultRoot(app string) (string, error) {
	return defaultRoot(app, os.Geteuid(), runtime.GOOS, os.Getenv)
}

func defaultRoot(app string, uid int, goos string, getenv func(string) string) (string, error) {
	if dir := getenv("STATORBOOK_DATA_DIR"); dir != "" {
		return filepath.Abs(dir)
	}
	if uid == 0 {
		return filepath.Join("/var/lib", app), nil
	}
	// The base-directory rules say that a relative XDG path is to be ignored.
	if dir := getenv("XDG_STATE_HOME"); filepath.IsAbs(dir) && goos != "darwin" {
		return filepath.Join(dir, app), nil
	}
	home := getenv("HOME")
	switch {
	case !filepath.IsAbs(home):
		return "", errors.New("no home folder to keep data in: set STATORBOOK_DATA_DIR to a folder, or DATABASE_URL to a PostgreSQL")
	case goos == "darwin":
		return filepath.Join(home, "Library", "Application Support", app), nil
	}
	return filepath.Join(home, ".local", "state", app), nil
}

// socketURL writes a connection URL for a unix socket. Spaces are written as %20
// because pgx does not decode + in this place.
func socketURL(socket, role, database string) string {
	u := url.URL{
		Scheme:   "postgres",
		User:     url.User(role),
		Path:     "/" + database,
		RawQuery: "host=" + url.PathEscape(socket) + "&port=5432&sslmode=disable",
	}
	return u.String()
}
