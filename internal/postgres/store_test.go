package postgres_test

import (
	"context"
	"net"
	"sync"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"statorbook/internal/catalog"
	"statorbook/internal/errs"
	"statorbook/internal/match"
	"statorbook/internal/pgtest"
	"statorbook/internal/postgres"
)

func TestBadURL(t *testing.T) {
	t.Parallel()
	_, err := postgres.Open(t.Context(), "postgres://%zz")
	require.Equal(t, errs.KindInternal, errs.KindOf(err))
	require.Error(t, err)
}

// TestNobodyListens shows that every method tells an unreachable database apart, and soon.
func TestNobodyListens(t *testing.T) {
	t.Parallel()
	store := open(t, "postgres://nobody@127.0.0.1:1/none")
	start := time.Now()
	_, err := store.CatalogueRevision(t.Context())
	require.Equal(t, errs.KindUnavailable, errs.KindOf(err), "%v", err)
	require.Equal(t, errs.KindUnavailable, errs.KindOf(store.Ready(t.Context())))
	require.Less(t, time.Since(start), 5*time.Second)
}

// TestSilentServer accepts and never answers (reliability row F7): the caller is told in two
// seconds, and no goroutine stays.
func TestSilentServer(t *testing.T) {
	t.Parallel()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer listener.Close()
	var open sync.WaitGroup
	open.Go(func() {
		for {
			conn, err := listener.Accept()
			if err != nil {
				return
			}
			defer conn.Close()
		}
	})
	store, err := postgres.Open(t.Context(), "postgres://nobody@"+listener.Addr().String()+"/none?sslmode=disable")
	require.NoError(t, err)
	start := time.Now()
	_, err = store.CatalogueRevision(t.Context())
	require.Equal(t, errs.KindUnavailable, errs.KindOf(err), "%v", err)
	require.Less(t, time.Since(start), 4*time.Second)
	listener.Close()
	open.Wait()
	store.Close()
}

// TestBusyPool takes the only connection away: the next caller hears "busy" after two seconds. (The limit of a
// whole read, five seconds, would be told as a timeout.)
func TestBusyPool(t *testing.T) {
	t.Parallel()
	_, app := pgtest.NewURLs(t)
	store, err := postgres.Open(t.Context(), app, postgres.WithConns(1))
	require.NoError(t, err)
	defer store.Close()
	taken, err := store.Pool().Acquire(t.Context())
	require.NoError(t, err)
	start := time.Now()
	_, err = store.CatalogueRevision(t.Context())
	took := time.Since(start)
	taken.Release()
	require.Equal(t, errs.KindUnavailable, errs.KindOf(err), "%v", err)
	require.ErrorContains(t, err, "busy")
	require.GreaterOrEqual(t, took, 2*time.Second)
	require.Less(t, took, 5*time.Second)
	_, err = store.CatalogueRevision(t.Context())
	require.NoError(t, err, "works again by itself")
}

// TestLockTimeout shows that a read never waits for long behind a lock on its table: less than the five seconds
// that a statement may take.
func TestLockTimeout(t *testing.T) {
	t.Parallel()
	owner, app := pgtest.NewURLs(t)
	store := open(t, app)
	blocker := lockState(t, owner)
	start := time.Now()
	_, err := store.CatalogueRevision(t.Context())
	require.Equal(t, errs.KindTimeout, errs.KindOf(err), "%v", err)
	require.Less(t, time.Since(start), 4*time.Second)
	require.NoError(t, blocker.Rollback(t.Context()))
}

// TestCallersDeadlineHolds: a call ends with its caller's deadline. The owner's statements have no limit for locks,
// so that nothing else would end it for five seconds. (100 ms after the deadline is the goal; the rest is room
// for a crowded machine.)
func TestCallersDeadlineHolds(t *testing.T) {
	t.Parallel()
	owner, _ := pgtest.NewURLs(t)
	store := open(t, owner)
	lockState(t, owner)
	ctx, cancel := context.WithTimeout(t.Context(), 100*time.Millisecond)
	defer cancel()
	start := time.Now()
	_, err := store.CatalogueRevision(ctx)
	require.Equal(t, errs.KindTimeout, errs.KindOf(err), "%v", err)
	require.Less(t, time.Since(start), 2*time.Second)
}

// lockState holds a lock on catalogue_state that readers wait for.
func lockState(t *testing.T, owner string) pgx.Tx {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), owner)
	require.NoError(t, err)
	t.Cleanup(func() { _ = conn.Close(context.Background()) })
	tx, err := conn.Begin(t.Context())
	require.NoError(t, err)
	_, err = tx.Exec(t.Context(), `LOCK TABLE catalogue_state IN ACCESS EXCLUSIVE MODE`)
	require.NoError(t, err)
	return tx
}

// blockedBy says whether somebody waits for a lock in this database.
func blockedBy(t *testing.T, tx pgx.Tx) bool {
	// The list of sessions is read once in a transaction, unless it is told to forget.
	_, err := tx.Exec(t.Context(), `SELECT pg_stat_clear_snapshot()`)
	require.NoError(t, err)
	var waiting int
	err = tx.QueryRow(t.Context(), `SELECT count(*) FROM pg_locks
		WHERE NOT granted AND pid IN (SELECT pid FROM pg_stat_activity WHERE datname = current_database())`).Scan(&waiting)
	require.NoError(t, err)
	return waiting > 0
}

// TestSessionsStayClean uses every kind of statement on one connection and looks at what is left in
// its session. Behind a transaction-mode pooler the next caller would meet it.
func TestSessionsStayClean(t *testing.T) {
	t.Parallel()
	_, app := pgtest.NewURLs(t)
	store, err := postgres.Open(t.Context(), app, postgres.WithConns(1))
	require.NoError(t, err)
	defer store.Close()
	var before, after []string
	const settings = `SELECT name || '=' || setting FROM pg_settings WHERE name <> 'application_name' AND name NOT LIKE 'plpgsql.%'
		UNION ALL SELECT 'prepared ' || statement FROM pg_prepared_statements UNION ALL SELECT 'temporary ' || relname FROM pg_class WHERE relpersistence = 't'
		UNION ALL SELECT 'lock ' || locktype FROM pg_locks WHERE locktype = 'advisory' AND pid = pg_backend_pid()
		UNION ALL SELECT 'bump ' || coalesce(nullif(current_setting('statorbook.catalogue_bump', true), ''), 'none') ORDER BY 1`
	look := func() []string {
		rows, err := store.Pool().Query(t.Context(), settings, pgx.QueryExecModeExec)
		require.NoError(t, err)
		lines, err := pgx.CollectRows(rows, pgx.RowTo[string])
		require.NoError(t, err)
		return lines
	}
	before = look()
	imported(t, store, write(t, sampleFamily(t, 1, nil), sampleWinding(t, 1, 1, nil)), postgres.ImportOptions{Credit: &school})
	for range 3 {
		_, err = store.Families(t.Context(), catalog.FamilyFilter{Slots: 24}, catalog.PageRequest{})
		require.NoError(t, err)
		_, err = store.Winding(t.Context(), "demo-winding-1")
		require.NoError(t, err)
	}
	_, err = store.LoadMatch(t.Context(), match.NewBuilder(nil))
	require.NoError(t, err)
	exported(t, store)
	after = look()
	require.Equal(t, before, after)
}

// TestNoGoroutineStays opens, uses, cancels and closes; what ran before does not count.
func TestNoGoroutineStays(t *testing.T) {
	_, app := pgtest.NewURLs(t)
	before := goleak.IgnoreCurrent()
	store, err := postgres.Open(t.Context(), app, postgres.WithConns(3))
	require.NoError(t, err)
	var done sync.WaitGroup
	for i := range 2000 { // row F22
		done.Go(func() {
			ctx, cancel := context.WithTimeout(t.Context(), time.Duration(i%7)*200*time.Microsecond+1)
			defer cancel()
			_, _ = store.CatalogueRevision(ctx)
		})
	}
	done.Wait()
	_, err = store.CatalogueRevision(t.Context())
	require.NoError(t, err)
	store.Close()
	for begun := time.Now(); goleak.Find(before) != nil && time.Since(begun) < patience; { // they are ending
	}
	goleak.VerifyNone(t, before)
}
