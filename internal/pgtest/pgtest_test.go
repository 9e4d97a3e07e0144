package pgtest_test

import (
	"context"
	"fmt"
	"os"
	"sync/atomic"
	"testing"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/stretchr/testify/require"

	"statorbook/internal/pgtest"
	"statorbook/internal/postgres"
)

func TestMain(m *testing.M) { os.Exit(pgtest.Main(m)) }

// value connects, runs a query for one text, and leaves.
func value(t *testing.T, url, sql string, args ...any) string {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), url)
	require.NoError(t, err)
	defer func() { require.NoError(t, conn.Close(context.Background())) }()
	var text string
	require.NoError(t, conn.QueryRow(t.Context(), sql, args...).Scan(&text))
	return text
}

func run(t *testing.T, url, sql string) {
	t.Helper()
	require.NoError(t, execute(t.Context(), url, sql))
}

func execute(ctx context.Context, url, sql string) error {
	conn, err := pgx.Connect(ctx, url)
	if err != nil {
		return err
	}
	defer func() { _ = conn.Close(ctx) }()
	_, err = conn.Exec(ctx, sql)
	return err
}

func TestNewIsMigratedIsolatedAndUnprivileged(t *testing.T) {
	t.Parallel()
	for range 4 {
		t.Run("", func(t *testing.T) {
			t.Parallel()
			pool := pgtest.New(t)
			before := one(t, pool, "select count(*)::text from institute")
			_, err := pool.Exec(t.Context(), "insert into institute (slug, title) values ('demo-hall', 'Demo hall')")
			require.NoError(t, err)
			require.Equal(t, "1", one(t, pool, "select (count(*) - $1::int)::text from institute", before))
			require.Equal(t, "false", one(t, pool,
				"select (rolsuper or rolbypassrls or pg_get_userbyid(datdba) = current_user)::text from pg_roles, pg_database where rolname = current_user and datname = current_database()"))
			_, err = pool.Exec(t.Context(), "create table public.mine (t text)")
			require.ErrorContains(t, err, "42501")
		})
	}
}

func one(t *testing.T, pool *pgxpool.Pool, sql string, args ...any) string {
	t.Helper()
	var text string
	require.NoError(t, pool.QueryRow(t.Context(), sql, args...).Scan(&text))
	return text
}

func TestNewURLsAreTwoRolesOfOneDatabase(t *testing.T) {
	t.Parallel()
	owner, app := pgtest.NewURLs(t)
	require.Equal(t, value(t, owner, "select current_database()"), value(t, app, "select current_database()"))
	require.Equal(t, value(t, owner, "select current_user"), value(t, owner, "select pg_get_userbyid(datdba) from pg_database where datname = current_database()"))
	require.NotEqual(t, value(t, owner, "select current_user"), value(t, app, "select current_user"))
	run(t, owner, "create table made_here (t text)")
	require.Error(t, execute(t.Context(), app, "select t from made_here"))
	other, _ := pgtest.NewURLs(t)
	require.Equal(t, "", value(t, other, "select coalesce(to_regclass('made_here')::text, '')"))
}

// A clone must not differ from a database that was migrated in place: PostgreSQL
// copies neither the rights on a database nor the roles' defaults in it.
func TestCloneEqualsAMigratedDatabase(t *testing.T) {
	t.Parallel()
	owner, app := pgtest.NewEmpty(t)
	require.Equal(t, "0", value(t, owner, "select count(*)::text from pg_class where relnamespace = 'public'::regnamespace"))
	require.NoError(t, postgres.Migrate(t.Context(), owner, postgres.WithAppURL(app)))
	cloneOwner, cloneApp := pgtest.NewURLs(t)

	for _, sql := range []string{
		"select coalesce(string_agg(c, ' ' order by c), 'none') from pg_db_role_setting s, unnest(s.setconfig) c where setdatabase = (select oid from pg_database where datname = current_database())",
		"select datacl::text from pg_database where datname = current_database()",
		"select string_agg(relname || coalesce(relacl::text, ''), ' ' order by relname) from pg_class where relnamespace = 'public'::regnamespace",
		"select string_agg(version_id::text, ' ' order by version_id) from goose_db_version",
		"select current_setting('statement_timeout')",
	} {
		require.Equal(t, value(t, app, sql), value(t, cloneApp, sql), sql)
		require.Equal(t, value(t, owner, sql), value(t, cloneOwner, sql), sql)
	}
	require.NotEqual(t, "0", value(t, cloneApp, "select current_setting('statement_timeout')"), "the limits of the app's role are on")
}

func TestTxIsRolledBack(t *testing.T) {
	t.Parallel()
	for range 3 {
		t.Run("", func(t *testing.T) { // one after the other: each must find nothing
			tx := pgtest.Tx(t)
			var n int
			require.NoError(t, tx.QueryRow(t.Context(), "select count(*) from institute where slug = 'demo-hall'").Scan(&n))
			require.Zero(t, n)
			_, err := tx.Exec(t.Context(), "insert into institute (slug, title) values ('demo-hall', 'Demo hall')")
			require.NoError(t, err)
		})
	}
	t.Run("after an error", func(t *testing.T) {
		tx := pgtest.Tx(t)
		_, err := tx.Exec(t.Context(), "select 1/0")
		require.ErrorContains(t, err, "22012")
	})
	t.Run("two in one test", func(t *testing.T) {
		a, b := pgtest.Tx(t), pgtest.Tx(t)
		require.NoError(t, a.Conn().Ping(t.Context()))
		require.NoError(t, b.Conn().Ping(t.Context()))
	})
}

var runs atomic.Int32

func TestNewFromFillsOnce(t *testing.T) {
	t.Parallel()
	var filled atomic.Int32
	name := fmt.Sprint("one institute, run ", runs.Add(1)) // -count runs this test again in one binary
	fill := func(ctx context.Context, owner, _ string) error {
		filled.Add(1)
		return execute(ctx, owner, "insert into institute (slug, title) values ('demo-hall', 'Demo hall')")
	}
	t.Run("group", func(t *testing.T) {
		for range 4 {
			t.Run("", func(t *testing.T) {
				t.Parallel()
				owner, app := pgtest.NewFrom(t, name, fill)
				run(t, owner, "insert into institute (slug, title) values ('demo-loft', 'Demo loft')") // only in this clone
				require.Equal(t, "demo-hall demo-loft", value(t, app, "select string_agg(slug, ' ' order by slug) from institute where slug like 'demo-%'"))
			})
		}
	})
	require.Equal(t, int32(1), filled.Load())
}

func BenchmarkNew(b *testing.B) {
	for b.Loop() {
		pgtest.NewURLs(b)
	}
}

func BenchmarkTx(b *testing.B) {
	ctx := context.Background()
	for b.Loop() {
		tx := pgtest.Tx(b)
		_, err := tx.Exec(ctx, "insert into institute (slug, title) values ('demo-hall', 'Demo hall')")
		require.NoError(b, err)
		require.NoError(b, tx.Rollback(ctx))
	}
}
