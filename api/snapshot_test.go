package main

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"os"
	"reflect"
	"runtime"
	"strconv"
	"sync/atomic"
	"testing"
	"time"

	"statorbook/internal/bundle"
	"statorbook/internal/catalog"
	"statorbook/internal/httpapi"
	"statorbook/internal/pgtest"
	"statorbook/internal/postgres"
	"statorbook/internal/simworld"
	"statorbook/seeds"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"
)

// keeperOn gives a keeper on a database with the seeds, and what changes the database under it.
func keeperOn(t testing.TB) (k *keeper, store *postgres.Store, execute func(sql string)) {
	t.Helper()
	owner, app := pgtest.NewURLs(t)
	store, err := postgres.Open(t.Context(), app)
	require.NoError(t, err)
	t.Cleanup(store.Close)
	var held atomic.Pointer[postgres.Store]
	held.Store(store)
	log := slog.New(slog.DiscardHandler)
	for _, name := range seeds.Names() {
		require.NoError(t, seedBundle(t.Context(), store, log, name))
	}
	k = newKeeper(log, &held)
	require.NoError(t, k.refresh(t.Context()))
	return k, store, func(sql string) {
		conn, err := pgx.Connect(t.Context(), owner)
		require.NoError(t, err)
		defer func() { _ = conn.Close(context.WithoutCancel(t.Context())) }()
		_, err = conn.Exec(t.Context(), sql)
		require.NoError(t, err)
	}
}

// sighted has one record seen once more.
const sighted = `UPDATE winding SET times_seen = times_seen + 1 WHERE id = (SELECT min(id::text) FROM winding)::uuid`

// requireFresh compares what the keeper holds with a fresh load.
func requireFresh(t testing.TB, k *keeper, store *postgres.Store) {
	t.Helper()
	got := k.current.Load()
	want, _, err := loadSnapshot(t.Context(), store)
	require.NoError(t, err)
	require.Equal(t, want.Revision, got.Revision)
	require.Equal(t, want.Wires.All(), got.Wires.All())
	require.Equal(t, want.Classes, got.Classes)
	require.Equal(t, want.Materials, got.Materials)
	require.Equal(t, want.Index.Stats(), got.Index.Stats())
}

// TestKeeperFollows: a sighting is followed in place, other wires and a builder in doubt are loaded
// afresh, and nothing new gives no new snapshot.
func TestKeeperFollows(t *testing.T) {
	t.Parallel()
	k, store, execute := keeperOn(t)
	first, builder := k.current.Load(), k.builder
	require.NoError(t, k.refresh(t.Context()))
	require.Same(t, first, k.current.Load(), "nothing is new")

	execute(sighted)
	require.NoError(t, k.refresh(t.Context()))
	second := k.current.Load()
	require.Equal(t, first.Revision+1, second.Revision)
	require.Same(t, builder, k.builder, "followed in place")
	require.Same(t, first.Wires, second.Wires)
	require.False(t, reflect.DeepEqual(first.Index, second.Index), "the index knows of the sighting")
	requireFresh(t, k, store)

	execute(`UPDATE wire_size SET modified_at = now() WHERE id = 'swg-34'`)
	require.NoError(t, k.refresh(t.Context()))
	require.NotSame(t, builder, k.builder, "wires changed: loaded afresh")
	requireFresh(t, k, store)

	execute(`UPDATE insulation_class SET modified_at = now() WHERE id = 'F'`)
	builder = k.builder
	require.NoError(t, k.refresh(t.Context()))
	require.Same(t, builder, k.builder)
	requireFresh(t, k, store)

	execute(`UPDATE catalogue_state SET revision = 1`) // the database was set back
	k.withheld.Store(&httpapi.Withheld{Revision: 9, IDs: map[string]bool{"x": true}})
	require.NoError(t, k.refresh(t.Context()))
	require.Equal(t, int64(1), k.current.Load().Revision)
	require.NotSame(t, builder, k.builder)
	require.Nil(t, k.withheld.Load(), "what was withdrawn later than that is not withdrawn now")
}

// TestKeeperDropsABuilderInDoubt: a look that failed may have left half of the changes in the builder.
func TestKeeperDropsABuilderInDoubt(t *testing.T) {
	t.Parallel()
	k, store, execute := keeperOn(t)
	before := k.current.Load()
	execute(sighted)
	execute(`ALTER TABLE winding_revision RENAME COLUMN body TO body_away`)
	require.Error(t, k.refresh(t.Context()))
	require.Nil(t, k.builder)
	require.Same(t, before, k.current.Load(), "what is in memory is still served")
	require.Error(t, k.ready())
	execute(`ALTER TABLE winding_revision RENAME COLUMN body_away TO body`)
	require.NoError(t, k.refresh(t.Context()))
	require.NoError(t, k.ready())
	require.NotNil(t, k.builder)
	requireFresh(t, k, store)
}

// TestRefreshWithholdsFirst: whatever the following takes, here for ever since nobody does it, a
// withdrawn record is withheld, the request goes on after two seconds, and a caller that has hung up
// changes nothing.
func TestRefreshWithholdsFirst(t *testing.T) {
	t.Parallel()
	k, _, execute := keeperOn(t)
	snap := k.current.Load()
	require.NoError(t, k.withhold(t.Context()))
	require.Empty(t, k.withheld.Load().IDs)
	execute(`UPDATE winding SET state = 'withdrawn' WHERE slug = 'demo-ceiling-fan-05-a'`)
	gone, cancel := context.WithCancel(t.Context())
	cancel()
	begun := time.Now()
	k.Refresh(gone)
	require.Less(t, time.Since(begun), refreshLimit+10*time.Second)
	w := k.withheld.Load()
	require.Len(t, w.IDs, 1)
	require.Greater(t, w.Revision, snap.Revision)

	// The one who follows answers all who wait, those who have given up too: before their two seconds are over, but
	// for a moment in which the machine had no time for him.
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan struct{})
	go func() { k.run(ctx); close(ended) }()
	require.Eventually(t, func() bool {
		begun := time.Now()
		k.Refresh(t.Context())
		return time.Since(begun) < refreshLimit
	}, patience, time.Millisecond, "nobody was answered")
	require.Equal(t, w.Revision, k.current.Load().Revision)
	require.Len(t, k.withheld.Load().IDs, 1, "a question may still be under way on the old snapshot")
	stop()
	<-ended
}

// BenchmarkCatchUp measures how long one change takes until it is in the index, and what keeping the
// builder costs, with 2,000 records or as many as STATORBOOK_BENCH_RECORDS says.
func BenchmarkCatchUp(b *testing.B) {
	records := 2000
	if n, err := strconv.Atoi(os.Getenv("STATORBOOK_BENCH_RECORDS")); err == nil {
		records = n
	}
	k, store, execute := keeperOn(b)
	snap := k.current.Load()
	world, err := simworld.NewWorld(simworld.Config{Records: records, Seed: 5}, snap.Wires)
	require.NoError(b, err)
	begun := time.Now()
	require.NoError(b, importWorld(b.Context(), store, world))
	b.Logf("imported in %s", time.Since(begun).Round(time.Millisecond))
	k.builder = nil
	k.current.Store(nil)
	empty := heapInUse()
	begun = time.Now()
	require.NoError(b, k.refresh(b.Context()))
	loaded := time.Since(begun)
	both := heapInUse()
	k.builder = nil
	alone := heapInUse()
	stats := k.current.Load().Index.Stats()
	b.Logf("%d records: fresh load %s; heap %.1f MB with index and builder, %.1f MB without the builder; index says %.1f MB", stats.Records,
		loaded.Round(time.Millisecond), float64(both-empty)/1e6, float64(alone-empty)/1e6, float64(stats.Bytes)/1e6)
	require.NoError(b, reload(b.Context(), k))
	for b.Loop() {
		b.StopTimer()
		execute(sighted)
		b.StartTimer()
		require.NoError(b, k.refresh(b.Context()))
	}
	b.StopTimer()
	begun = time.Now()
	for range 3 { // the last change once more
		_, err := store.Follow(b.Context(), k.current.Load().Revision-1, k.builder)
		require.NoError(b, err)
	}
	b.ReportMetric(float64(time.Since(begun).Milliseconds())/3, "ms/read")
	begun = time.Now()
	for range 3 {
		k.builder.Build()
	}
	b.ReportMetric(float64(time.Since(begun).Milliseconds())/3, "ms/build")
	b.ReportMetric(float64(loaded.Milliseconds()), "ms/fresh-load")
	b.ReportMetric(float64(both-alone)/float64(stats.Records), "builder-B/record")
	b.ReportMetric(float64(alone-empty)/float64(stats.Records), "index-B/record")
}

// reload loads afresh.
func reload(ctx context.Context, k *keeper) error {
	k.builder = nil
	k.current.Store(nil)
	return k.refresh(ctx)
}

func heapInUse() int64 {
	runtime.GC()
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return int64(m.HeapAlloc)
}

// importWorld stores an invented catalogue.
func importWorld(ctx context.Context, store *postgres.Store, world *simworld.World) error {
	in, out := io.Pipe()
	go func() {
		w := bundle.NewWriter(out)
		err := w.Manifest("bench", 1, bundle.Manifest{Licence: "CC0-1.0", Demo: true, Title: "bench"})
		for f, windings := range world.Catalogue() {
			if err == nil {
				err = w.Write(bundle.KindFamily, f.ID, 1, bundle.FamilyOf(f))
			}
			for _, r := range windings {
				if err == nil {
					err = w.Write(bundle.KindWinding, r.ID, 1, bundle.WindingOf(r))
				}
			}
		}
		if err == nil {
			err = w.Close()
		}
		out.CloseWithError(err)
	}()
	report, err := store.Import(ctx, bundle.NewReader(in, bundle.Options{}), postgres.ImportOptions{})
	if err == nil && report.Counts[catalog.OutcomeRefused] > 0 {
		err = fmt.Errorf("refused: %v", report.Counts)
	}
	return err
}
