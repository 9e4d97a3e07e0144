package postgres_test

import (
	"context"
	"os"
	"os/exec"
	"strings"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"

	"statorbook/internal/errs"
	"statorbook/internal/pgtest"
	"statorbook/internal/postgres"
)

// schemaQueries dump everything that a migration can make, one line each, in a fixed order.
var schemaQueries = []string{
	`SELECT 'relation ' || c.relname || ' ' || c.relkind::text || ' rls=' || c.relrowsecurity || c.relforcerowsecurity || ' acl=' || coalesce(c.relacl::text, '')
		FROM pg_class c WHERE c.relnamespace = 'public'::regnamespace`,
	`SELECT 'column ' || a.attrelid::regclass || '.' || a.attnum || ' ' || a.attname || ' ' || format_type(a.atttypid, a.atttypmod) || ' ' || a.attnotnull
		|| ' ' || a.attgenerated::text || a.attidentity::text || ' ' || coalesce(pg_get_expr(d.adbin, d.adrelid), '') || ' ' || coalesce(l.collname, '') || ' acl=' || coalesce(a.attacl::text, '')
		FROM pg_attribute a JOIN pg_class c ON c.oid = a.attrelid LEFT JOIN pg_attrdef d ON d.adrelid = a.attrelid AND d.adnum = a.attnum
		LEFT JOIN pg_collation l ON l.oid = a.attcollation
		WHERE c.relnamespace = 'public'::regnamespace AND a.attnum > 0`,
	`SELECT 'constraint ' || coalesce(conrelid::regclass::text, contypid::regtype::text) || ' ' || conname || ' ' || pg_get_constraintdef(oid)
		FROM pg_constraint WHERE connamespace = 'public'::regnamespace`,
	`SELECT 'index ' || indexrelid::regclass || ' ' || pg_get_indexdef(indexrelid) FROM pg_index i JOIN pg_class c ON c.oid = i.indexrelid
		WHERE c.relnamespace = 'public'::regnamespace`,
	`SELECT 'trigger ' || tgrelid::regclass || ' ' || pg_get_triggerdef(oid) FROM pg_trigger WHERE NOT tgisinternal`,
	`SELECT 'function ' || oid::regprocedure || ' ' || pg_get_functiondef(oid) FROM pg_proc WHERE pronamespace = 'public'::regnamespace`,
	`SELECT 'type ' || typname || ' ' || typtype::text || ' ' || coalesce(format_type(typbasetype, typtypmod), '') FROM pg_type WHERE typnamespace = 'public'::regnamespace`,
	`SELECT 'policy ' || polrelid::regclass || ' ' || polname || ' ' || polcmd::text || ' ' || coalesce(pg_get_expr(polqual, polrelid), '')
		|| ' ' || coalesce(pg_get_expr(polwithcheck, polrelid), '') FROM pg_policy`,
	`SELECT 'schema ' || nspname || ' ' || coalesce(nspacl::text, '') FROM pg_namespace WHERE nspname = 'public'`,
}

// schemaOf gives the lines of schemaQueries, without goose's own table.
func schemaOf(t *testing.T, url string) []string {
	t.Helper()
	ctx := t.Context()
	conn, err := pgx.Connect(ctx, url)
	require.NoError(t, err)
	defer conn.Close(context.WithoutCancel(ctx))
	var all []string
	for _, query := range schemaQueries {
		rows, err := conn.Query(ctx, `SELECT line FROM (`+query+`) q (line) WHERE line NOT LIKE '%goose_db_version%' ORDER BY line COLLATE "C"`)
		require.NoError(t, err)
		lines, err := pgx.CollectRows(rows, pgx.RowTo[string])
		require.NoError(t, err)
		all = append(all, lines...)
	}
	return all
}

func TestUpDownUpGivesTheSameSchema(t *testing.T) {
	t.Parallel()
	owner, app := pgtest.NewEmpty(t)
	empty := schemaOf(t, owner)
	require.NoError(t, postgres.Migrate(t.Context(), owner, postgres.WithAppURL(app)))
	first := schemaOf(t, owner)
	require.Greater(t, len(first), len(empty)+200)
	latest, err := postgres.LatestSchema()
	require.NoError(t, err)

	for version := latest - 1; version >= 0; version-- {
		require.NoError(t, postgres.MigrateTo(t.Context(), owner, version))
	}
	down := schemaOf(t, owner)
	for i, line := range down { // the right to use the schema stays with the role
		if strings.HasPrefix(line, "schema ") {
			down[i] = empty[len(empty)-1]
		}
	}
	require.Equal(t, empty, down, "down takes everything away")
	require.NoError(t, postgres.Migrate(t.Context(), owner, postgres.WithAppURL(app)))
	require.Equal(t, first, schemaOf(t, owner))
	require.NoError(t, postgres.Migrate(t.Context(), owner, postgres.WithAppURL(app)), "again changes nothing")
	require.Equal(t, first, schemaOf(t, owner))
}

// TestFourProcessesMigrateAtOnce starts this test binary four times on one empty database.
func TestFourProcessesMigrateAtOnce(t *testing.T) {
	t.Parallel()
	owner, app := pgtest.NewEmpty(t)
	exe, err := os.Executable()
	require.NoError(t, err)
	outcome := make(chan error, 4)
	for range cap(outcome) {
		go func() {
			cmd := exec.CommandContext(t.Context(), exe, "-test.run=^TestMigrateChild$", "-test.count=1")
			cmd.Env = append(os.Environ(), "STATORBOOK_CHILD_OWNER="+owner, "STATORBOOK_CHILD_APP="+app)
			out, err := cmd.CombinedOutput()
			if err != nil {
				t.Logf("child: %s", out)
			}
			outcome <- err
		}()
	}
	for range cap(outcome) {
		require.NoError(t, <-outcome)
	}
	conn, err := pgx.Connect(t.Context(), owner)
	require.NoError(t, err)
	defer conn.Close(context.Background())
	latest, err := postgres.LatestSchema()
	require.NoError(t, err)
	var rows, versions int64
	require.NoError(t, conn.QueryRow(t.Context(), `SELECT count(*), count(DISTINCT version_id) FROM goose_db_version WHERE version_id > 0`).Scan(&rows, &versions))
	require.Equal(t, []int64{latest, latest}, []int64{rows, versions}, "each file ran once")
}

// TestMigrateChild is one process of TestFourProcessesMigrateAtOnce; on its own it checks that a
// wrong URL is told apart from a fault of ours.
func TestMigrateChild(t *testing.T) {
	owner := os.Getenv("STATORBOOK_CHILD_OWNER")
	if owner != "" {
		require.NoError(t, postgres.Migrate(t.Context(), owner, postgres.WithAppURL(os.Getenv("STATORBOOK_CHILD_APP"))))
		return
	}
	err := postgres.Migrate(t.Context(), "postgres://nobody@127.0.0.1:1/none?connect_timeout=2")
	require.Equal(t, errs.KindUnavailable, errs.KindOf(err), "%v", err)
}

func TestOneURLForEverything(t *testing.T) {
	t.Parallel()
	owner, _ := pgtest.NewEmpty(t)
	require.NoError(t, postgres.Migrate(t.Context(), owner, postgres.WithAppURL(owner)))
	store, err := postgres.Open(t.Context(), owner, postgres.WithConns(2))
	require.NoError(t, err)
	defer store.Close()
	require.NoError(t, store.Ready(t.Context()))
	condition, err := store.Condition(t.Context())
	require.NoError(t, err)
	require.False(t, condition.SecondWall, "the owner could switch row-level security off")
	require.False(t, condition.Limited, "no role defaults are set on whoever maintains the database")
}

func TestAppRoleGetsItsLimits(t *testing.T) {
	t.Parallel()
	owner, app := pgtest.NewURLs(t)
	store, err := postgres.Open(t.Context(), app, postgres.WithConns(2))
	require.NoError(t, err)
	defer store.Close()
	condition, err := store.Condition(t.Context())
	require.NoError(t, err)
	require.True(t, condition.SecondWall)
	require.True(t, condition.Limited)
	require.Regexp(t, `^1[5-9]\.|^[2-9][0-9]\.`, condition.Server)

	conn, err := pgx.Connect(t.Context(), app)
	require.NoError(t, err)
	defer conn.Close(context.Background())
	var statement, lock, idle string
	require.NoError(t, conn.QueryRow(t.Context(), `SELECT current_setting('statement_timeout'), current_setting('lock_timeout'),
		current_setting('idle_in_transaction_session_timeout')`).Scan(&statement, &lock, &idle))
	require.Equal(t, []string{"5s", "500ms", "10s"}, []string{statement, lock, idle})

	// What an operator sets stays.
	_, err = conn.Exec(t.Context(), `DO $$ BEGIN EXECUTE format('ALTER ROLE CURRENT_USER IN DATABASE %I SET lock_timeout = ''1s''', current_database()); END $$`)
	require.NoError(t, err)
	require.NoError(t, postgres.Migrate(t.Context(), owner, postgres.WithAppURL(app)))
	again, err := pgx.Connect(t.Context(), app)
	require.NoError(t, err)
	defer again.Close(context.Background())
	require.NoError(t, again.QueryRow(t.Context(), `SELECT current_setting('lock_timeout')`).Scan(&lock))
	require.Equal(t, "1s", lock)
}

func TestReadyWaitsForTheMigration(t *testing.T) {
	t.Parallel()
	owner, app := pgtest.NewEmpty(t)
	store, err := postgres.Open(t.Context(), app, postgres.WithConns(2))
	require.NoError(t, err)
	defer store.Close()
	require.Equal(t, errs.KindUnavailable, errs.KindOf(store.Ready(t.Context())), "empty database")
	require.NoError(t, postgres.Migrate(t.Context(), owner, postgres.WithAppURL(app)))
	require.NoError(t, store.Ready(t.Context()), "ready by itself")
	require.NoError(t, postgres.MigrateTo(t.Context(), owner, 3))
	require.Equal(t, errs.KindUnavailable, errs.KindOf(store.Ready(t.Context())), "half migrated")
}

// A migration that waits for a long reader lets the others pass (reliability F18): it gives its place in the
// queue up again and again, and is done when the reader is.
func TestMigrationLetsReadersPass(t *testing.T) {
	t.Parallel()
	owner, _ := pgtest.NewURLs(t)
	require.NoError(t, postgres.MigrateTo(t.Context(), owner, 5)) // the next one alters the tables of drafts
	connect := func() *pgx.Conn {
		conn, err := pgx.Connect(t.Context(), owner)
		require.NoError(t, err)
		t.Cleanup(func() { _ = conn.Close(context.Background()) })
		return conn
	}
	const read = `SELECT count(*) FROM winding_draft`
	long, err := connect().Begin(t.Context())
	require.NoError(t, err)
	_, err = long.Exec(t.Context(), read)
	require.NoError(t, err)
	migrated := make(chan error, 1)
	go func() { migrated <- postgres.Migrate(t.Context(), owner) }()
	watch, other, longest, reads, met := connect(), connect(), time.Duration(0), 0, 0
	for begun := time.Now(); met < 5; reads++ {
		require.Less(t, time.Since(begun), patience, "no read met the migration: this test saw nothing")
		var queued bool // the migration, before the read
		require.NoError(t, watch.QueryRow(t.Context(), `SELECT EXISTS (SELECT FROM pg_locks WHERE relation = 'winding_draft'::regclass AND NOT granted)`).Scan(&queued))
		asked := time.Now()
		_, err := other.Exec(t.Context(), read)
		require.NoError(t, err)
		longest = max(longest, time.Since(asked))
		if queued {
			met++
		}
	}
	require.Empty(t, migrated, "it waits")
	require.NoError(t, long.Rollback(t.Context()))
	require.NoError(t, <-migrated)
	t.Logf("%d reads, %d of them met the migration, the longest took %s", reads, met, longest)
	require.Less(t, longest, 3*time.Second) // 250 ms is the goal, the rest is room for a crowded machine
}
