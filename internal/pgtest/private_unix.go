//go:build unix && !aix && !solaris

package pgtest

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"syscall"
	"time"

	"statorbook/internal/localpg"
	"statorbook/migrations"
)

// database is what localpg makes; here it is the template.
const database = "statorbook"

// goldenLife is how long an unused cached folder is kept.
const goldenLife = 7 * 24 * time.Hour

// startPrivate runs a server of our own on a copy of the cached data folder.
func startPrivate(ctx context.Context) (*server, error) {
	base, err := baseFolder(os.TempDir())
	if err != nil {
		return nil, err
	}
	runs := base
	if memory := memoryFolder(); memory != "" && os.Getenv("TMPDIR") == "" {
		if runs, err = baseFolder(memory); err != nil {
			return nil, err
		}
	}
	golden, bins, run, alive, err := claim(ctx, base, runs)
	if err != nil {
		return nil, err
	}
	remove := func() error { return errors.Join(os.RemoveAll(run), alive.Close()) }
	pg, err := localpg.Start(ctx, localpg.Config{Root: run, BinDir: bins.Dir, Name: database, Unsafe: true, CopyFrom: golden})
	if err != nil {
		return nil, errors.Join(err, remove())
	}
	s := privateServer(pg, remove)
	if s.admin, err = openPool(pg.AdminURL(), poolSize); err != nil {
		return nil, errors.Join(err, s.stop())
	}
	if err := s.migrateTemplate(ctx); err != nil {
		s.admin.Close()
		return nil, errors.Join(err, s.stop())
	}
	return s, nil
}

func privateServer(pg *localpg.Server, remove func() error) *server {
	return &server{
		ownerRole: database + "_owner", appRole: database + "_app",
		url: pg.URL, prefix: "t_", template: database,
		stop:   func() error { return errors.Join(pg.Stop(), remove()) },
		filled: map[string]*filledTemplate{}, defaults: map[string][]roleDefault{},
	}
}

// claim does what only one test binary at a time may do: sweep, find the server
// programs, make the cached folder if it is missing, and take a folder to run in.
// The open file tells later sweeps that we live.
func claim(ctx context.Context, base, runs string) (golden string, bins localpg.Binaries, run string, alive *os.File, err error) {
	lock, err := lockFile(ctx, filepath.Join(base, "lock"))
	if err != nil {
		return "", bins, "", nil, err
	}
	defer func() { _ = lock.Close() }()
	sweep(base)
	sweep(runs)
	cfg := localpg.Config{Root: base, BinCache: filepath.Join(base, "binaries")}
	if bins, err = localpg.FindBinaries(ctx, cfg); err != nil {
		return "", bins, "", nil, err
	}
	if golden, err = goldenFolder(ctx, base, bins); err != nil {
		return "", bins, "", nil, err
	}
	if run, err = openFolder(runs, "run-"); err != nil {
		return "", bins, "", nil, err
	}
	alive, err = lockFile(ctx, filepath.Join(run, "alive"))
	return golden, bins, run, alive, err
}

// goldenFolder returns the cached data folder for this version and these
// migrations, and makes it first if need be.
func goldenFolder(ctx context.Context, base string, bins localpg.Binaries) (string, error) {
	key, err := migrationsKey(migrations.FS)
	if err != nil {
		return "", err
	}
	golden := filepath.Join(base, fmt.Sprintf("golden-%s-%s", bins.Version, key))
	if _, err := os.Stat(golden); err == nil {
		now := time.Now()
		_ = os.Chtimes(golden, now, now) // used: only the sweep reads this
		return golden, nil
	}
	work, err := openFolder(base, "build-")
	if err != nil {
		return "", err
	}
	defer func() { _ = os.RemoveAll(work) }() // its data folder is gone by then
	pg, err := localpg.Start(ctx, localpg.Config{Root: work, BinDir: bins.Dir, Name: database, Unsafe: true})
	if err != nil {
		return "", err
	}
	s := privateServer(pg, func() error { return nil })
	if err := errors.Join(s.migrateTemplate(ctx), s.stop()); err != nil {
		return "", fmt.Errorf("migrating the database for tests: %w", err)
	}
	return golden, os.Rename(pg.DataDir(), golden)
}

// migrationsKey hashes the migration files.
func migrationsKey(files fs.FS) (string, error) {
	names, err := fs.Glob(files, "*.sql")
	if err != nil {
		return "", err
	}
	hash := sha256.New()
	for _, name := range names {
		text, err := fs.ReadFile(files, name)
		if err != nil {
			return "", err
		}
		fmt.Fprintf(hash, "%s %d\n%s", name, len(text), text)
	}
	return hex.EncodeToString(hash.Sum(nil)[:6]), nil
}

// baseFolder is where cached and running folders lie: below the temporary folder,
// because the server's user cannot enter the cache folder of root. Another user
// could have made it first, so its owner and rights are checked.
func baseFolder(parent string) (string, error) {
	base := filepath.Join(parent, fmt.Sprintf("statorbook-test-%d", os.Geteuid()))
	mode := fs.FileMode(0o700)
	if os.Geteuid() == 0 {
		mode = 0o755 // the server runs as another user
	}
	if err := os.Mkdir(base, mode); err == nil {
		if err := os.Chmod(base, mode); err != nil {
			return "", err
		}
	} else if !errors.Is(err, fs.ErrExist) {
		return "", err
	}
	info, err := os.Lstat(base)
	if err != nil {
		return "", err
	}
	st, ok := info.Sys().(*syscall.Stat_t)
	if !ok || !info.IsDir() || int(st.Uid) != os.Geteuid() || info.Mode().Perm()&0o022 != 0 {
		return "", fmt.Errorf("%s must be a folder of this user that nobody else can write (it is %s): remove it, or set TMPDIR", base, info.Mode())
	}
	return base, nil
}

// openFolder makes a new folder with the rights of the base folder.
func openFolder(base, prefix string) (string, error) {
	dir, err := os.MkdirTemp(base, prefix)
	if err != nil {
		return "", err
	}
	info, err := os.Stat(base)
	if err != nil {
		return "", err
	}
	return dir, os.Chmod(dir, info.Mode().Perm())
}

// lockFile waits for the exclusive lock of a file; closing it gives the lock away.
func lockFile(ctx context.Context, path string) (*os.File, error) {
	for {
		f, err := tryLock(path)
		if f != nil || err != nil {
			return f, err
		}
		select {
		case <-ctx.Done():
			return nil, fmt.Errorf("waiting for %s: %w", path, context.Cause(ctx))
		case <-time.After(20 * time.Millisecond):
		}
	}
}

// tryLock returns the locked file, or nothing when somebody else has the lock.
func tryLock(path string) (*os.File, error) {
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return nil, err
	}
	if err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB); err != nil {
		_ = f.Close()
		if errors.Is(err, syscall.EWOULDBLOCK) || errors.Is(err, syscall.EINTR) {
			return nil, nil
		}
		return nil, err
	}
	return f, nil
}

// sweep removes what killed test runs left, and cached folders that nobody uses
// any more. A postgres whose folder has gone stops by itself.
func sweep(base string) {
	runs, _ := filepath.Glob(filepath.Join(base, "run-*"))
	for _, run := range runs {
		if alive, err := tryLock(filepath.Join(run, "alive")); err == nil && alive != nil {
			_ = os.RemoveAll(run)
			_ = alive.Close()
		}
	}
	builds, _ := filepath.Glob(filepath.Join(base, "build-*"))
	for _, build := range builds { // we hold the lock under which they are made
		_ = os.RemoveAll(build)
	}
	goldens, _ := filepath.Glob(filepath.Join(base, "golden-*"))
	for _, golden := range goldens {
		if info, err := os.Stat(golden); err == nil && time.Since(info.ModTime()) > goldenLife {
			_ = os.RemoveAll(golden)
		}
	}
}
