//go:build unix && !aix && !solaris

package localpg

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"
)

// A server that does not come up is told with the end of its own log.
func TestServerThatDoesNotStart(t *testing.T) {
	t.Parallel()
	root := publicDir(t)
	first := start(t, Config{Root: root, Unsafe: true})
	first.stopNow(t)
	conf := filepath.Join(first.data, "postgresql.conf")
	good, err := os.ReadFile(conf)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(conf, append(good, "no_such_setting = 1\n"...), 0o600))
	_, err = Start(context.Background(), Config{Root: root, Unsafe: true})
	require.ErrorContains(t, err, "postgres did not start (exit status 1)")
	require.ErrorContains(t, err, first.logPath())
	require.ErrorContains(t, err, `unrecognized configuration parameter "no_such_setting"`)
	require.NotContains(t, err.Error(), "database system is shut down", "the log of the run before is not shown")

	require.NoError(t, os.WriteFile(conf, good, 0o600))
	start(t, Config{Root: root, Unsafe: true}) // the failed start gave the lock away
}

// A backend that outlives its killed server still has the shared memory; the next
// start must wait for it and not go around it.
func TestStartWaitsForALivingBackend(t *testing.T) {
	t.Parallel()
	root := publicDir(t)
	first := start(t, Config{Root: root, Unsafe: true})
	conn, err := pgx.Connect(context.Background(), first.AppURL())
	require.NoError(t, err)
	defer func() { _ = conn.Close(context.Background()) }()
	var backend int
	require.NoError(t, conn.QueryRow(context.Background(), "select pg_backend_pid()").Scan(&backend))
	require.NoError(t, syscall.Kill(backend, syscall.SIGSTOP))
	t.Cleanup(func() { _ = syscall.Kill(backend, syscall.SIGKILL) })
	require.NoError(t, syscall.Kill(first.proc.pid(), syscall.SIGKILL))
	<-first.Done()
	first.stopNow(t)

	released := make(chan time.Time, 1)
	go func() {
		log := filepath.Join(root, "postgres.log")
		for end := time.Now().Add(patience); time.Now().Before(end) && !contains(log, "pre-existing shared memory block"); {
			time.Sleep(10 * time.Millisecond)
		}
		released <- time.Now()
		_ = syscall.Kill(backend, syscall.SIGKILL)
	}()
	second := start(t, Config{Root: root, Unsafe: true})
	ready := time.Now()
	require.True(t, ready.After(<-released), "postgres started beside a living backend")
	require.True(t, contains(second.logPath(), "pre-existing shared memory block"))
	require.Equal(t, "here", query(t, second.AppURL(), "select 'here'"))
}

func contains(path, text string) bool {
	content, err := os.ReadFile(path)
	return err == nil && bytes.Contains(content, []byte(text))
}

// A guest that cannot take over must say so: its program has no database any more.
func TestTakeOverThatFails(t *testing.T) {
	t.Parallel()
	root := publicDir(t)
	owner := start(t, Config{Root: root, Unsafe: true})
	guest := start(t, Config{Root: root, Unsafe: true})
	require.NoError(t, os.WriteFile(filepath.Join(owner.data, "PG_VERSION"), []byte("13\n"), 0o600))
	owner.stopNow(t)
	select {
	case <-guest.Done():
	case <-time.After(patience):
		require.Fail(t, "Done was not closed")
	}
	require.ErrorContains(t, guest.Err(), "taking over the private postgres: ")
	require.ErrorContains(t, guest.Err(), "made by PostgreSQL 13")
	require.NoError(t, guest.Stop())
}

// A start that waits for an owner which never gets ready ends with its context.
func TestWaitForAnOwnerThatNeverGetsReady(t *testing.T) {
	t.Parallel()
	s := &Server{cfg: Config{Root: publicDir(t)}}
	held, err := s.tryLock()
	require.NoError(t, err)
	require.True(t, held)
	defer s.unlock()
	s.socket = filepath.Join(s.cfg.Root, "run")
	require.NoError(t, s.writeLock())

	var log logLines
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() {
		_, err := Start(ctx, Config{Root: s.cfg.Root, Log: log.logger()})
		ended <- err
	}()
	waits := "waiting for process " + strconv.Itoa(os.Getpid()) + " to start postgres"
	eventually(t, "it says what it waits for", func() bool { return strings.Contains(log.String(), waits) })
	require.Empty(t, ended, "it waits")
	cancel()
	err = <-ended
	require.ErrorIs(t, err, context.Canceled)
	require.ErrorContains(t, err, waits)
}
