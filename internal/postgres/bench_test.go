package postgres_test

import (
	"context"
	"testing"

	"github.com/stretchr/testify/require"

	"statorbook/internal/catalog"
	"statorbook/internal/match"
	"statorbook/internal/pgtest"
	"statorbook/internal/postgres"
)

const benchRecords = 2000

// benchBundle is one family with 2,000 windings.
func benchBundle(b *testing.B) string {
	records := []record{sampleFamily(b, 1, nil)}
	for n := range benchRecords {
		records = append(records, sampleWinding(b, n, 1, nil))
	}
	return write(b, records...)
}

// BenchmarkImport imports 2,001 new records, each time into a database of its own; the test server
// does not wait for its disk.
func BenchmarkImport(b *testing.B) {
	text := benchBundle(b)
	b.ReportAllocs()
	for range b.N {
		b.StopTimer()
		_, app := pgtest.NewURLs(b)
		store := open(b, app)
		b.StartTimer()
		report, err := store.Import(b.Context(), reader(text), postgres.ImportOptions{})
		require.NoError(b, err)
		require.True(b, report.Applied)
	}
	b.ReportMetric(float64(benchRecords*b.N)/b.Elapsed().Seconds(), "records/s")
}

// filled is a store with the records of benchBundle.
func filled(b *testing.B) *postgres.Store {
	text := benchBundle(b)
	_, app := pgtest.NewFrom(b, "bench", func(ctx context.Context, _, app string) error {
		store, err := postgres.Open(ctx, app)
		if err != nil {
			return err
		}
		defer store.Close()
		_, err = store.Import(ctx, reader(text), postgres.ImportOptions{})
		return err
	})
	return open(b, app)
}

// BenchmarkLoadMatch reads 2,000 records into an index builder.
func BenchmarkLoadMatch(b *testing.B) {
	store := filled(b)
	b.ReportAllocs()
	for b.Loop() {
		_, err := store.LoadMatch(b.Context(), match.NewBuilder(nil))
		require.NoError(b, err)
	}
	b.ReportMetric(float64(benchRecords*b.N)/b.Elapsed().Seconds(), "records/s")
}

// BenchmarkWinding reads one record by slug.
func BenchmarkWinding(b *testing.B) {
	store := filled(b)
	b.ReportAllocs()
	for b.Loop() {
		_, err := store.Winding(b.Context(), "demo-winding-77")
		require.NoError(b, err)
	}
}

// BenchmarkWindings reads a page of 50 records from the middle of a list.
func BenchmarkWindings(b *testing.B) {
	store := filled(b)
	b.ReportAllocs()
	for b.Loop() {
		page, err := store.Windings(b.Context(), catalog.WindingFilter{}, catalog.PageRequest{After: "demo-winding-500"})
		require.NoError(b, err)
		require.Len(b, page.Items, catalog.DefaultPageSize)
	}
}
