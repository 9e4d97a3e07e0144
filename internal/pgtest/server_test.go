//go:build unix && !aix && !solaris

package pgtest

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"testing/fstest"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"

	"statorbook/internal/localpg"
)

// borrowed is a server as TEST_DATABASE_URL would name it: the test roles need
// their password.
func borrowed(t *testing.T) string {
	t.Helper()
	dir, err := os.MkdirTemp("", "pgtest-")
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, os.RemoveAll(dir)) })
	require.NoError(t, os.Chmod(dir, 0o755))
	pg, err := localpg.Start(t.Context(), localpg.Config{Root: dir, Unsafe: true})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, pg.Stop()) })
	hba := filepath.Join(pg.DataDir(), "pg_hba.conf")
	require.NoError(t, os.WriteFile(hba, []byte("local all postgres trust\nlocal all all scram-sha-256\n"), 0o600))
	ask(t, pg.AdminURL(), "select pg_reload_conf()::text")
	_, err = pgx.Connect(t.Context(), pg.AppURL())
	require.ErrorContains(t, err, "28P01", "the server must ask for passwords now")
	return pg.AdminURL()
}

func ask(t *testing.T, url, sql string) string {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), url)
	require.NoError(t, err)
	defer func() { _ = conn.Close(context.Background()) }()
	var text string
	require.NoError(t, conn.QueryRow(t.Context(), sql).Scan(&text))
	return text
}

// Two test binaries at once on a server that is not theirs, with what a killed
// run left a long time ago, and the database of somebody else.
func TestExistingServerIsLeftAsItWas(t *testing.T) {
	t.Parallel()
	url := borrowed(t)
	conn, err := pgx.Connect(t.Context(), url)
	require.NoError(t, err)
	for _, name := range []string{"statorbook_test_12_old_1", "somebody_else"} {
		_, err := conn.Exec(t.Context(), "create database "+name)
		require.NoError(t, err)
	}
	require.NoError(t, conn.Close(t.Context()))

	var wg sync.WaitGroup
	servers, errs := make([]*server, 2), make([]error, 2)
	for i := range servers {
		wg.Go(func() { servers[i], errs[i] = startExisting(context.Background(), url) })
	}
	wg.Wait()
	for i, s := range servers {
		require.NoError(t, errs[i])
		t.Run("use", func(t *testing.T) {
			owner, app := s.clone(t, s.template)
			require.Equal(t, testOwner, ask(t, owner, "select current_user"))
			require.Equal(t, testApp, ask(t, app, "select session_user"))
			require.Equal(t, "0", ask(t, app, "select revision::text from catalogue_state"))
			require.NotEqual(t, "0", ask(t, app, "show statement_timeout"))
		})
	}
	require.NotEqual(t, servers[0].prefix, servers[1].prefix)
	for _, s := range servers {
		require.NoError(t, s.close())
	}
	require.Equal(t, "postgres somebody_else statorbook template0 template1",
		ask(t, url, "select string_agg(datname, ' ' order by datname) from pg_database"))
}

func TestExistingServerRefused(t *testing.T) {
	t.Parallel()
	for url, want := range map[string]string{
		"host=localhost dbname=x":                    "must have the form postgres://",
		"mysql://root@localhost/":                    "must have the form postgres://",
		"postgres://u:p@/x?host=/nonexistent/folder": "TEST_DATABASE_URL: ",
		"postgres://u:p@localhost:notaport/x":        "TEST_DATABASE_URL",
	} {
		_, err := startExisting(t.Context(), url)
		require.ErrorContains(t, err, want, url)
	}
	url := borrowed(t)
	ask(t, url, "select set_config('x.y', '', false)")
	conn, err := pgx.Connect(t.Context(), url)
	require.NoError(t, err)
	defer func() { _ = conn.Close(context.Background()) }()
	_, err = conn.Exec(t.Context(), "create role weak login password 'weak'")
	require.NoError(t, err)
	_, err = startExisting(t.Context(), strings.Replace(url, "postgres@", "weak:weak@", 1))
	require.ErrorContains(t, err, "permission denied", "a user without rights is told so")
}

func TestNoServerNamesTheWaysOut(t *testing.T) {
	t.Parallel()
	text := noServer(errors.Join(errors.New("nothing found"), localpg.ErrNoBinaries))
	require.Contains(t, text, "nothing found")
	require.Contains(t, text, "TEST_DATABASE_URL=postgres://")
}

// The first run of a machine makes the cached folder, the next ones use it, and
// nothing but it stays.
func TestCachedFolderIsMadeOnce(t *testing.T) {
	t.Parallel()
	parent, err := os.MkdirTemp("", "pgtest-") // the server's user must be able to enter
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, os.RemoveAll(parent)) })
	require.NoError(t, os.Chmod(parent, 0o755))
	base, err := baseFolder(parent)
	require.NoError(t, err)

	golden, bins, run, alive, err := claim(t.Context(), base, base)
	require.NoError(t, err)
	require.FileExists(t, filepath.Join(golden, "PG_VERSION"))
	require.NoFileExists(t, filepath.Join(golden, "postmaster.pid"), "it was stopped cleanly")
	require.Contains(t, golden, bins.Version)
	info, err := os.Stat(filepath.Join(golden, "global", "pg_control"))
	require.NoError(t, err)
	require.NoError(t, alive.Close()) // as if this run had been killed

	again, _, second, alive, err := claim(t.Context(), base, base)
	require.NoError(t, err)
	require.Equal(t, golden, again)
	require.NotEqual(t, run, second)
	same, err := os.Stat(filepath.Join(golden, "global", "pg_control"))
	require.NoError(t, err)
	require.Equal(t, info.ModTime(), same.ModTime(), "not made a second time")
	require.NoDirExists(t, run, "what the killed run left is gone")
	require.NoError(t, alive.Close())

	pg, err := localpg.Start(t.Context(), localpg.Config{Root: second, BinDir: bins.Dir, Unsafe: true, CopyFrom: golden})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, pg.Stop()) })
	require.Equal(t, "0", ask(t, pg.AppURL(), "select revision::text from catalogue_state"))
}

func TestSweep(t *testing.T) {
	t.Parallel()
	base := t.TempDir()
	long := time.Now().Add(-2 * goldenLife)
	for _, name := range []string{"run-dead", "run-alive", "build-1", "golden-old", "golden-used", "binaries"} {
		require.NoError(t, os.Mkdir(filepath.Join(base, name), 0o700))
	}
	require.NoError(t, os.Chtimes(filepath.Join(base, "golden-old"), long, long))
	require.NoError(t, os.Chtimes(filepath.Join(base, "run-alive"), long, long))
	alive, err := lockFile(t.Context(), filepath.Join(base, "run-alive", "alive"))
	require.NoError(t, err)
	defer func() { _ = alive.Close() }()
	sweep(base)
	left, err := filepath.Glob(filepath.Join(base, "*"))
	require.NoError(t, err)
	for i := range left {
		left[i] = filepath.Base(left[i])
	}
	require.Equal(t, []string{"binaries", "golden-used", "run-alive"}, left)
}

func TestLockFileWaitsForItsTurn(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "lock")
	first, err := lockFile(t.Context(), path)
	require.NoError(t, err)
	ctx, cancel := context.WithTimeout(t.Context(), 100*time.Millisecond)
	defer cancel()
	_, err = lockFile(ctx, path)
	require.ErrorIs(t, err, context.DeadlineExceeded)
	require.NoError(t, first.Close())
	second, err := lockFile(t.Context(), path)
	require.NoError(t, err)
	require.NoError(t, second.Close())
}

// Another user of the machine must not be able to lay the folder out for us.
func TestBaseFolderOfSomebodyElse(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	base, err := baseFolder(dir)
	require.NoError(t, err)
	again, err := baseFolder(dir)
	require.NoError(t, err)
	require.Equal(t, base, again)

	require.NoError(t, os.Chmod(base, 0o777))
	_, err = baseFolder(dir)
	require.ErrorContains(t, err, "nobody else can write")
	require.NoError(t, os.Remove(base))
	require.NoError(t, os.Symlink(dir, base))
	_, err = baseFolder(dir)
	require.ErrorContains(t, err, "remove it, or set TMPDIR")
}

func TestMigrationsKey(t *testing.T) {
	t.Parallel()
	file := func(text string) *fstest.MapFile { return &fstest.MapFile{Data: []byte(text)} }
	sets := []fstest.MapFS{
		{"1_a.sql": file("a")},
		{"1_a.sql": file("b")},
		{"1_b.sql": file("a")},
		{"1_a.sql": file("a"), "2_b.sql": file("")},
		{"1_a.sql": file("a2_b.sql 0\n")},
	}
	seen := map[string]int{}
	for i, set := range sets {
		key, err := migrationsKey(set)
		require.NoError(t, err)
		other, dup := seen[key]
		require.False(t, dup, "sets %d and %d have the same key", i, other)
		seen[key] = i
		again, err := migrationsKey(set)
		require.NoError(t, err)
		require.Equal(t, key, again)
	}
}
