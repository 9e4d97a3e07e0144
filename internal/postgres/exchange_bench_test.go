package postgres_test

import (
	"bytes"
	"flag"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"

	"statorbook/internal/bundle"
	"statorbook/internal/pgtest"
	"statorbook/internal/postgres"
)

// exchanged is how many records BenchmarkImportAgainstCopy takes: -args -exchanged 100000 for the size of
// a country's collection.
var exchanged = flag.Int("exchanged", 5000, "records of the benchmark of import against COPY")

// BenchmarkImportAgainstCopy imports new records of one family, with the checks of each and without a
// proof, the same with a signed review each, and then has COPY put the very rows into a third database,
// with its constraints and triggers. The test server does not wait for its disk. What a signature costs
// more is the verification of Ed25519 and another line to read.
func BenchmarkImportAgainstCopy(b *testing.B) {
	signer, verifier := keyOf(b, "far-school", "f")
	list := []vouched{{record: sampleFamily(b, 1, nil), institute: "far-school", signer: signer}}
	for n := range *exchanged {
		list = append(list, vouched{record: sampleWinding(b, n, 1, func(w *bundle.Winding) { w.Demo, w.Slug = false, "" }), institute: "far-school", signer: signer})
	}
	proved := writeVouched(b, list...)
	for i := range list {
		list[i].institute = ""
	}
	plain := writeVouched(b, list...)
	for range b.N {
		owner, app := pgtest.NewURLs(b)
		rate := rateOf(b, open(b, app), plain, verifier)
		_, second := pgtest.NewURLs(b)
		b.ReportMetric(rateOf(b, open(b, second), proved, verifier), "proved/s")
		target, _ := pgtest.NewURLs(b)
		copied := copyRows(b, owner, target)
		b.ReportMetric(rate, "imported/s")
		b.ReportMetric(copied, "copied/s")
		b.ReportMetric(rate/copied, "of_COPY")
	}
}

// rateOf imports a bundle and gives the records a second.
func rateOf(b *testing.B, store *postgres.Store, text, verifier string) float64 {
	b.Helper()
	pin(b, store, "far-school", verifier)
	keys := keysOf(b, store)
	begun := time.Now()
	report, err := store.Import(b.Context(), reader(text), postgres.ImportOptions{Keys: keys, Strict: true})
	require.NoError(b, err)
	require.True(b, report.Applied, "%+v", report)
	return float64(*exchanged) / time.Since(begun).Seconds()
}

// copied tables, with the columns that are not made by the table itself.
var copiedTables = []struct{ table, columns string }{
	{"family", "id, slug, revision, state, catalogue_revision"},
	{"family_revision", "family_id, revision, state, change, imported, demo, content_hash, body, findings"},
	{"core", "id, family_id"},
	{"winding", "id, slug, revision, state, family_id, core_id, poles, times_seen, catalogue_revision"},
	{"winding_revision", "winding_id, revision, state, change, imported, demo, content_hash, body, findings"},
}

// copyRows puts the rows of one database into another by COPY, in one transaction, and gives the winding
// records a second. Reading them is not counted.
func copyRows(b *testing.B, from, to string) float64 {
	b.Helper()
	source, err := pgx.Connect(b.Context(), from)
	require.NoError(b, err)
	defer source.Close(b.Context())
	target, err := pgx.Connect(b.Context(), to)
	require.NoError(b, err)
	defer target.Close(b.Context())
	rows := make([]bytes.Buffer, len(copiedTables))
	for i, t := range copiedTables {
		_, err := source.PgConn().CopyTo(b.Context(), &rows[i], "COPY (SELECT "+t.columns+" FROM "+t.table+") TO STDOUT")
		require.NoError(b, err)
	}
	begun := time.Now()
	tx, err := target.Begin(b.Context())
	require.NoError(b, err)
	for i, t := range copiedTables {
		_, err := target.PgConn().CopyFrom(b.Context(), &rows[i], "COPY "+t.table+" ("+t.columns+") FROM STDIN")
		require.NoError(b, err, t.table)
	}
	require.NoError(b, tx.Commit(b.Context()))
	return float64(*exchanged) / time.Since(begun).Seconds()
}
