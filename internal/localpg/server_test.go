//go:build unix && !aix && !solaris

package localpg

import (
	"context"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/stretchr/testify/require"
)

// The one test with a complete, durable first start. It also sets variables that
// once misled pgx and the server.
func TestColdThenWarmStart(t *testing.T) {
	t.Setenv("PGSERVICE", "no-such-service")
	t.Setenv("PGPORT", "1")
	t.Setenv("LC_ALL", "xx_YY")
	root := filepath.Join(diskDir(t), "new", "state")
	var log logLines
	s, err := Start(context.Background(), Config{Root: root, Log: log.logger()})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, s.Stop()) })
	for _, line := range []string{"no DATABASE_URL: private postgres ", "data in " + s.DataDir(), "database folder created", "private postgres ready"} {
		require.Contains(t, log.String(), line)
	}
	exec1(t, s.OwnerURL(), "create table kept (t text); insert into kept values ('kept')")
	require.NoError(t, s.Stop())
	require.NoError(t, s.Stop(), "a second Stop does nothing")
	require.Contains(t, lastLine(log.String()), "private postgres stopped")
	require.Empty(t, commandLine(s.proc.pid()))
	require.NoFileExists(t, filepath.Join(s.DataDir(), pidName))

	var again logLines
	warm, err := Start(context.Background(), Config{Root: root, Log: again.logger()})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, warm.Stop()) })
	require.NotContains(t, again.String(), "created")
	require.NotContains(t, again.String(), "did not stop cleanly")
	require.Equal(t, "kept", query(t, warm.OwnerURL(), "select t from kept"))
	require.Equal(t, s.AppURL(), warm.AppURL())
}

// What PostgreSQL calls durable is in its manual, chapter "Reliability and the
// Write-Ahead Log"; role attributes in the manual page of CREATE ROLE.
func TestDurablePrivateAndWithoutPort(t *testing.T) {
	t.Parallel()
	s := start(t, Config{Root: publicDir(t)})
	for setting, want := range map[string]string{
		"fsync": "on", "synchronous_commit": "on", "full_page_writes": "on", "data_checksums": "on",
		"listen_addresses": "", "unix_socket_permissions": "0700", "server_encoding": "UTF8", "timezone": "UTC",
	} {
		require.Equal(t, want, query(t, s.AppURL(), "show "+setting), setting)
	}
	info, err := os.Stat(s.socket)
	require.NoError(t, err)
	require.Equal(t, os.FileMode(0o700), info.Mode().Perm())
	// No port: a second server of another folder runs beside it.
	other := start(t, Config{Root: publicDir(t), Unsafe: true})
	require.Equal(t, "off", query(t, other.AppURL(), "show fsync"))
	require.NotEqual(t, s.proc.pid(), other.proc.pid())
}

func TestRoles(t *testing.T) {
	t.Parallel()
	s := start(t, Config{Root: publicDir(t), Unsafe: true, Name: "bench"})
	require.Equal(t, "bench_owner", query(t, s.AppURL(), "select pg_get_userbyid(datdba) from pg_database where datname = current_database()"))
	for _, url := range []string{s.AppURL(), s.OwnerURL()} {
		require.Equal(t, "false", query(t, url,
			"select (rolsuper or rolbypassrls or rolcreaterole or rolcreatedb or rolreplication)::text from pg_roles where rolname = current_user"))
	}
	require.Equal(t, "bench_app", query(t, s.AppURL(), "select current_user"))

	exec1(t, s.OwnerURL(), "create table closed (t text)")
	for sql, why := range map[string]string{
		"create table mine (t text)":           "42501",
		"select t from closed":                 "42501",
		"truncate closed":                      "42501",
		"drop table closed":                    "42501",
		"set role bench_owner":                 "42501",
		"set session_replication_role=replica": "42501",
	} {
		_, err := tryQuery(s.AppURL(), sql)
		require.ErrorContains(t, err, why, sql)
	}
	// Nobody else may connect to the database, although the socket trusts.
	exec1(t, s.AdminURL(), "create role stranger login")
	_, err := tryQuery(s.URL("stranger", "bench"), "select 'in'")
	require.ErrorContains(t, err, "42501")
}

func TestManyColdStartsShareOnePostgres(t *testing.T) {
	t.Parallel()
	root := publicDir(t)
	var log logLines
	var wg sync.WaitGroup
	servers := make([]*Server, 4)
	errs := make([]error, len(servers))
	for i := range servers {
		wg.Go(func() {
			servers[i], errs[i] = Start(context.Background(), Config{Root: root, Unsafe: true, Log: log.logger()})
		})
	}
	wg.Wait()
	for i, s := range servers {
		require.NoError(t, errs[i])
		t.Cleanup(func() { require.NoError(t, s.Stop()) })
		require.Equal(t, "statorbook_app", query(t, s.AppURL(), "select current_user"))
	}
	require.Equal(t, 1, strings.Count(log.String(), "database folder created"))
	require.Equal(t, 1, strings.Count(log.String(), "private postgres ready"))
	require.Equal(t, 3, strings.Count(log.String(), "sharing the postgres of process "+strconv.Itoa(os.Getpid())))
}

// A guest's pool finds the database again after the owner has left.
func TestGuestTakesOverFromAnOwnerThatLeaves(t *testing.T) {
	t.Parallel()
	root := publicDir(t)
	owner := start(t, Config{Root: root, Unsafe: true})
	var log logLines
	guest := start(t, Config{Root: root, Unsafe: true, Log: log.logger()})
	require.Nil(t, guest.proc)
	require.Equal(t, owner.AppURL(), guest.AppURL())
	pool, err := pgxpool.New(context.Background(), guest.AppURL())
	require.NoError(t, err)
	defer pool.Close()
	require.NoError(t, pool.Ping(context.Background()))

	require.NoError(t, owner.Stop())
	eventually(t, "the guest's pool answers", func() bool { return pool.Ping(context.Background()) == nil })
	require.Contains(t, log.String(), "taking over")
	pool.Close()
	require.NoError(t, guest.Stop())
	require.NotContains(t, log.String(), "is gone")
	require.NoFileExists(t, filepath.Join(guest.DataDir(), pidName), "the last one out stops postgres")
}

func TestGuestLeavesPostgresAlone(t *testing.T) {
	t.Parallel()
	root := publicDir(t)
	owner := start(t, Config{Root: root, Unsafe: true})
	guest := start(t, Config{Root: root, Unsafe: true})
	require.NoError(t, guest.Stop())
	require.Equal(t, "here", query(t, owner.AppURL(), "select 'here'"))
}

// Service and postgres are killed together under write load, with default
// durability. A guest takes over, and every acknowledged row must be there.
// (A kill keeps what the kernel holds; a power cut was not tried.)
func TestNothingAcknowledgedIsLostByAKill(t *testing.T) {
	t.Parallel()
	root := diskDir(t)
	start(t, Config{Root: root}).stopNow(t) // a data folder without waiting for initdb
	c := startChild(t, "write", root)
	var log logLines
	guest := start(t, Config{Root: root, Log: log.logger()})
	acked := 0
	for acked < 50 && c.lines.Scan() {
		n, err := strconv.Atoi(c.lines.Text())
		require.NoError(t, err, c.lines.Text())
		acked = n
	}
	require.NoError(t, c.cmd.Process.Kill())
	require.NoError(t, syscall.Kill(c.pgPid, syscall.SIGKILL))
	for c.lines.Scan() { // what was printed before the kill arrived
		if n, err := strconv.Atoi(c.lines.Text()); err == nil {
			acked = n
		}
	}
	_ = c.cmd.Wait()
	var got string
	eventually(t, "the guest has taken over", func() bool {
		var err error
		got, err = tryQuery(guest.OwnerURL(), "select count(distinct n)::text from written")
		return err == nil
	})
	rows, err := strconv.Atoi(got)
	require.NoError(t, err)
	require.GreaterOrEqual(t, acked, 50)
	require.GreaterOrEqual(t, rows, acked)
	require.Contains(t, log.String(), "taking over")
	require.Contains(t, log.String(), "the last run did not stop cleanly")
}

func (s *Server) stopNow(t *testing.T) {
	t.Helper()
	require.NoError(t, s.Stop())
}

// A terminal sends Ctrl-C to the whole process group. postgres must not hear it
// before its user has finished; the helper exits 1 if it did.
func TestCtrlC(t *testing.T) {
	t.Parallel()
	root := publicDir(t)
	start(t, Config{Root: root, Unsafe: true}).stopNow(t)
	c := startChild(t, "serve", root)
	require.True(t, runsOn(c.pgPid, filepath.Join(root, "data")))
	require.NoError(t, syscall.Kill(-c.cmd.Process.Pid, syscall.SIGINT))
	for c.lines.Scan() {
		require.Empty(t, c.lines.Text())
	}
	require.NoError(t, c.cmd.Wait())
	require.False(t, runsOn(c.pgPid, filepath.Join(root, "data")))
	text, err := os.ReadFile(filepath.Join(root, "postgres.log"))
	require.NoError(t, err)
	require.Contains(t, lastLine(string(text)), "database system is shut down")
}

// Where the system has no parent-death signal a killed owner leaves its postgres
// running; here one is started by hand.
func TestLeftOverPostgresIsStopped(t *testing.T) {
	t.Parallel()
	root := publicDir(t)
	first := start(t, Config{Root: root, Unsafe: true})
	first.stopNow(t)
	orphan := first.acct.command(context.Background(), filepath.Join(first.bins.Dir, "postgres"), "-D", first.data,
		"-c", "listen_addresses=", "-c", "unix_socket_directories="+first.socket)
	require.NoError(t, orphan.Start())
	ended := make(chan error, 1)
	go func() { ended <- orphan.Wait() }()
	eventually(t, "the left-over is ready", func() bool { state, _ := readPidFile(first.data); return state == "ready" })

	var log logLines
	s := start(t, Config{Root: root, Unsafe: true, Log: log.logger()})
	require.Contains(t, log.String(), "stopping a postgres left over from an earlier run")
	require.NoError(t, <-ended, "it was stopped cleanly")
	require.Equal(t, "here", query(t, s.AppURL(), "select 'here'"))
}

// postgres takes any living process with the old number for itself.
func TestRecycledProcessNumber(t *testing.T) {
	t.Parallel()
	root := publicDir(t)
	first := start(t, Config{Root: root, Unsafe: true})
	first.stopNow(t)
	number := strconv.Itoa(os.Getppid()) + "\n" // lives, and is not ours to stop
	for _, path := range []string{filepath.Join(first.data, pidName), filepath.Join(first.socket, socketName+".lock")} {
		require.NoError(t, os.WriteFile(path, []byte(number), 0o600))
	}
	require.NoError(t, os.MkdirAll(filepath.Join(root, "init-99"), 0o700), "and a killed first start")
	var log logLines
	s := start(t, Config{Root: root, Unsafe: true, Log: log.logger()})
	require.Contains(t, log.String(), "did not stop cleanly")
	require.Equal(t, "here", query(t, s.AppURL(), "select 'here'"))
	require.NoDirExists(t, filepath.Join(root, "init-99"))
}

func TestDoneTellsThatPostgresEnded(t *testing.T) {
	t.Parallel()
	s := start(t, Config{Root: publicDir(t), Unsafe: true})
	require.NoError(t, s.Err())
	require.NoError(t, syscall.Kill(s.proc.pid(), syscall.SIGQUIT))
	select {
	case <-s.Done():
	case <-time.After(patience):
		require.Fail(t, "Done was not closed")
	}
	require.ErrorContains(t, s.Err(), "postgres ended by itself")
	require.ErrorContains(t, s.Err(), "immediate shutdown")
}

func TestCancelledStartLeavesNothing(t *testing.T) {
	t.Parallel()
	root := publicDir(t)
	ctx, cancel := context.WithCancel(context.Background())
	go func() {
		// In the middle of initdb, or of what comes before it.
		for {
			if dirs, _ := filepath.Glob(filepath.Join(root, "init-[0-9]*")); len(dirs) > 0 {
				cancel()
				return
			}
			time.Sleep(5 * time.Millisecond)
		}
	}()
	_, err := Start(ctx, Config{Root: root, Unsafe: true})
	require.ErrorIs(t, err, context.Canceled)
	require.NoDirExists(t, filepath.Join(root, "data"))
	start(t, Config{Root: root, Unsafe: true})
}

func TestStartRefusesBadConfig(t *testing.T) {
	t.Parallel()
	file := filepath.Join(publicDir(t), "file")
	require.NoError(t, os.WriteFile(file, nil, 0o600))
	for name, tc := range map[string]struct {
		cfg  Config
		want string
	}{
		"no folder":       {Config{}, "no state folder"},
		"a file":          {Config{Root: file}, "is a file"},
		"below a file":    {Config{Root: filepath.Join(file, "x")}, "not a directory"},
		"name with quote": {Config{Root: "/x", Name: `a"b`}, "cannot name a database"},
		"long name":       {Config{Root: "/x", Name: strings.Repeat("a", 41)}, "cannot name a database"},
		"no programs":     {Config{Root: publicDir(t), BinDir: "/nonexistent"}, "STATORBOOK_PG_BIN: /nonexistent"},
	} {
		_, err := Start(context.Background(), tc.cfg)
		require.ErrorContains(t, err, tc.want, name)
	}
}
