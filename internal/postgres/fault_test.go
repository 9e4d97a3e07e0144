package postgres_test

import (
	"context"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"

	"statorbook/internal/catalog"
	"statorbook/internal/errs"
	"statorbook/internal/pgtest"
	"statorbook/internal/postgres"
)

// TestImportFailsAsAWhole makes the insert into each table fail in turn (reliability F14): nothing
// of the import may stay, whichever statement it was.
func TestImportFailsAsAWhole(t *testing.T) {
	t.Parallel()
	owner, app := pgtest.NewURLs(t)
	store := open(t, app)
	admin, err := pgx.Connect(t.Context(), owner)
	require.NoError(t, err)
	defer admin.Close(context.Background())
	_, err = admin.Exec(t.Context(), `CREATE FUNCTION fail() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN RAISE EXCEPTION 'made to fail' USING ERRCODE = 'disk_full'; END $$`)
	require.NoError(t, err)
	text := write(t, sampleWire(t, nil), sampleFamily(t, 1, nil), addedCore(1, 99, 70), sampleWinding(t, 1, 1, nil))
	tables := []string{"institute", "person", "wire_size", "wire_size_revision", "family", "family_revision", "core", "family_core",
		"added_core", "winding", "winding_revision", "change", "audit"}
	count := func() (n int) {
		for _, table := range tables {
			var rows int
			require.NoError(t, admin.QueryRow(t.Context(), `SELECT count(*) FROM `+table).Scan(&rows))
			n += rows
		}
		return n
	}
	for _, table := range tables {
		_, err = admin.Exec(t.Context(), `CREATE TRIGGER zz_fail BEFORE INSERT ON `+table+` FOR EACH ROW EXECUTE FUNCTION fail()`)
		require.NoError(t, err)
		_, err = store.Import(t.Context(), reader(text), postgres.ImportOptions{Credit: &school})
		require.Equal(t, errs.KindStorageFull, errs.KindOf(err), "%s: %v", table, err)
		_, err = admin.Exec(t.Context(), `DROP TRIGGER zz_fail ON `+table)
		require.NoError(t, err)
		require.Zero(t, count(), table)
	}
	report, _ := imported(t, store, text, postgres.ImportOptions{Credit: &school})
	require.Equal(t, map[catalog.Outcome]int{catalog.OutcomeNew: 4}, report.Counts)
	require.Equal(t, int64(1), report.Revision, "what failed left no gap")
}

// TestImportMeetsTheEndOfItsConnection ends the server's process in the middle of an import.
func TestImportMeetsTheEndOfItsConnection(t *testing.T) {
	t.Parallel()
	_, app := pgtest.NewURLs(t)
	store := open(t, app)
	admin, err := pgx.Connect(t.Context(), app) // a role may end its own connections
	require.NoError(t, err)
	defer admin.Close(context.Background())
	text := write(t, sampleFamily(t, 1, nil), sampleWinding(t, 1, 1, nil))
	ended := 0
	_, err = store.Import(t.Context(), reader(text), postgres.ImportOptions{OnRow: func(catalog.ImportRow) error {
		if ended > 0 {
			return nil
		}
		return admin.QueryRow(t.Context(), `SELECT count(pg_terminate_backend(pid)) FROM pg_stat_activity
			WHERE datname = current_database() AND pid <> pg_backend_pid() AND state <> 'idle'`).Scan(&ended)
	}})
	require.Equal(t, errs.KindUnavailable, errs.KindOf(err), "%v", err)
	require.Equal(t, 1, ended)
	revision, err := store.CatalogueRevision(t.Context())
	require.NoError(t, err, "the pool has made a new connection")
	require.Zero(t, revision)
}

// TestImportWaitsItsTurn lets a publication hold the catalogue: reading and staging go on, storing waits.
func TestImportWaitsItsTurn(t *testing.T) {
	t.Parallel()
	owner, app := pgtest.NewURLs(t)
	store := open(t, app)
	holder, err := pgx.Connect(t.Context(), owner)
	require.NoError(t, err)
	defer holder.Close(context.Background())
	tx, err := holder.Begin(t.Context())
	require.NoError(t, err)
	_, err = tx.Exec(t.Context(), `SELECT catalogue_bump()`)
	require.NoError(t, err)
	text := write(t, sampleFamily(t, 1, nil))
	result := make(chan catalog.ImportReport, 1)
	go func() {
		report, err := store.Import(t.Context(), reader(text), postgres.ImportOptions{})
		if err == nil {
			result <- report
		}
		close(result)
	}()
	require.Eventually(t, func() bool { return blockedBy(t, tx) }, patience, 10*time.Millisecond)
	other, err := store.CatalogueRevision(t.Context())
	require.NoError(t, err, "readers do not wait")
	require.Zero(t, other)
	require.NoError(t, tx.Commit(t.Context()))
	report, ok := <-result
	require.True(t, ok)
	require.Equal(t, int64(2), report.Revision)
	_, err = store.Family(t.Context(), sampleID("f", 1))
	require.NoError(t, err)
}
