package postgres_test

import (
	"context"
	"fmt"
	"math/rand/v2"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/stretchr/testify/require"

	"statorbook/internal/bundle"
	"statorbook/internal/catalog"
	"statorbook/internal/errs"
	"statorbook/internal/pgtest"
	"statorbook/internal/postgres"
)

// wholeFeed reads the feed from the beginning in pages of size.
func wholeFeed(t testing.TB, store *postgres.Store, size int) []catalog.Change {
	t.Helper()
	var all []catalog.Change
	var at catalog.Mark
	for {
		page, err := store.Changes(t.Context(), at, size)
		require.NoError(t, err)
		require.LessOrEqual(t, len(page.Items), size)
		all = append(all, page.Items...)
		if !page.More {
			return all
		}
		require.Len(t, page.Items, size)
		at = page.Items[size-1].Mark
	}
}

func TestChangesTellWhatHappened(t *testing.T) {
	t.Parallel()
	_, app := pgtest.NewURLs(t)
	store := open(t, app)
	empty, err := store.Changes(t.Context(), catalog.Mark{}, 10)
	require.NoError(t, err)
	require.Empty(t, empty.Items)
	require.False(t, empty.More)
	pulse, err := store.Pulse(t.Context())
	require.NoError(t, err)
	require.Equal(t, postgres.Pulse{}, pulse)

	imported(t, store, write(t, sampleWire(t, nil), sampleFamily(t, 1, nil), addedCore(1, 99, 70), sampleWinding(t, 1, 1, nil)), postgres.ImportOptions{})
	imported(t, store, write(t, sampleWinding(t, 1, 1, func(w *bundle.Winding) { w.Revision, w.Remarks = 2, "again" })), postgres.ImportOptions{})
	imported(t, store, write(t, sampleWinding(t, 1, 1, func(w *bundle.Winding) {
		w.Revision, w.State, w.WithdrawnReason = 3, "withdrawn", "The turns were halved."
	})), postgres.ImportOptions{})

	var got []string
	all := wholeFeed(t, store, 2)
	for _, c := range all {
		got = append(got, fmt.Sprintf("%d.%d %s %s %s %d %s %q", c.CatalogueRevision, c.Item, c.Kind, c.RecordKind, c.RecordID, c.Revision, c.State, c.Reason))
		require.WithinDuration(t, time.Now(), c.At, time.Minute)
		require.Equal(t, time.UTC, c.At.Location())
		require.Equal(t, c.Hash[:8], c.Check[:])
		require.NotEqual(t, catalog.Hash{}, c.Hash)
	}
	require.Equal(t, []string{
		`1.1 publication wire swg-23 1 published ""`,
		`1.2 publication family ` + sampleID("f", 1) + ` 1 published ""`,
		`1.3 publication core ` + sampleID("c", 99) + ` 1 published ""`,
		`1.4 publication winding ` + sampleID("b", 1) + ` 1 published ""`,
		`2.1 supersession winding ` + sampleID("b", 1) + ` 2 published ""`,
		`3.1 withdrawal winding ` + sampleID("b", 1) + ` 3 withdrawn "The turns were halved."`,
	}, got)
	for size := 1; size <= 7; size++ {
		require.Equal(t, all, wholeFeed(t, store, size), "pages of %d", size)
	}
	for i, c := range all {
		page, err := store.Changes(t.Context(), c.Mark, 200)
		require.NoError(t, err)
		require.Equal(t, append([]catalog.Change{}, all[i+1:]...), append([]catalog.Change{}, page.Items...))
		require.False(t, page.More)
	}
	pulse, err = store.Pulse(t.Context())
	require.NoError(t, err)
	require.Equal(t, postgres.Pulse{Catalogue: 3, Feed: 3}, pulse)
}

// TestSightingMovesOnlyTheCatalogue: the index must follow how often a record was seen, but there is
// nothing for a reader of the feed.
func TestSightingMovesOnlyTheCatalogue(t *testing.T) {
	t.Parallel()
	owner, app := pgtest.NewURLs(t)
	store := open(t, app)
	imported(t, store, write(t, sampleFamily(t, 1, nil), sampleWinding(t, 1, 1, nil)), postgres.ImportOptions{})
	execute(t, owner, `UPDATE winding SET times_seen = times_seen + 1`)
	pulse, err := store.Pulse(t.Context())
	require.NoError(t, err)
	require.Equal(t, postgres.Pulse{Catalogue: 2, Feed: 1}, pulse)
}

// execute runs one statement as the role of url.
func execute(t testing.TB, url, sql string, args ...any) {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), url)
	require.NoError(t, err)
	defer conn.Close(context.WithoutCancel(t.Context()))
	_, err = conn.Exec(t.Context(), sql, args...)
	require.NoError(t, err)
}

// TestForeignMarks: a place that this feed never had is refused, whichever part of it is wrong.
func TestForeignMarks(t *testing.T) {
	t.Parallel()
	_, app := pgtest.NewURLs(t)
	store := open(t, app)
	imported(t, store, write(t, sampleFamily(t, 1, nil), sampleWinding(t, 1, 1, nil)), postgres.ImportOptions{})
	good := wholeFeed(t, store, 9)[0].Mark
	_, err := store.Changes(t.Context(), good, 9)
	require.NoError(t, err)
	for name, wrong := range map[string]catalog.Mark{
		"another revision": {CatalogueRevision: 2, Item: good.Item, Check: good.Check},
		"revision nought":  {CatalogueRevision: 0, Item: good.Item, Check: good.Check},
		"another item":     {CatalogueRevision: 1, Item: good.Item + 1, Check: good.Check},
		"item nought":      {CatalogueRevision: 1, Item: 0, Check: good.Check},
		"another content":  {CatalogueRevision: 1, Item: good.Item, Check: [8]byte{1}},
		"the future":       {CatalogueRevision: 1<<53 - 1, Item: 1<<31 - 1, Check: good.Check},
	} {
		_, err := store.Changes(t.Context(), wrong, 9)
		require.Equal(t, errs.KindNotFound, errs.KindOf(err), "%s: %v", name, err)
	}
}

// TestReplayRebuildsWhatIsPublished publishes, supersedes and withdraws at random; a reader that
// takes the feed from the beginning, and of several changes of one record the one with the highest
// revision, has the same records as the tables.
func TestReplayRebuildsWhatIsPublished(t *testing.T) {
	t.Parallel()
	owner, app := pgtest.NewURLs(t)
	store := open(t, app)
	dice := rand.New(rand.NewPCG(6, 28))
	const families, windings = 4, 12
	revisions := map[string]int{}
	gone := map[string]bool{}
	for step := range 60 {
		var lines []record
		for range 1 + dice.IntN(5) {
			f, n := 1+dice.IntN(families), 1+dice.IntN(windings)
			if dice.IntN(5) == 0 || revisions[sampleID("f", f)] == 0 {
				lines = append(lines, sampleFamily(t, f, func(b *bundle.Family) {
					b.Title = fmt.Sprint("step ", step)
					b.Revision, b.State, b.WithdrawnReason = nextRevision(dice, revisions, gone, b.ID)
				}))
				continue
			}
			lines = append(lines, sampleWinding(t, n, f, func(b *bundle.Winding) {
				b.FamilyID, b.CoreID = sampleID("f", 1+n%families), sampleID("c", 2*(1+n%families)) // a record keeps its place
				if revisions[b.FamilyID] == 0 {
					b.FamilyID, b.CoreID = sampleID("f", f), sampleID("c", 2*f)
				}
				b.Remarks = fmt.Sprint("step ", step)
				b.Revision, b.State, b.WithdrawnReason = nextRevision(dice, revisions, gone, b.ID)
			}))
		}
		report, rows := imported(t, store, write(t, lines...), postgres.ImportOptions{})
		require.Equal(t, len(lines), report.Counts[catalog.OutcomeNew], "%+v", rows)
	}

	type standing struct {
		Revision int
		Hash     catalog.Hash
	}
	replayed, last := map[string]standing{}, map[string]int{}
	for _, c := range wholeFeed(t, store, 7) {
		if c.Revision <= last[c.RecordID] {
			continue
		}
		last[c.RecordID] = c.Revision
		if c.State == catalog.Published {
			replayed[c.RecordID] = standing{c.Revision, c.Hash}
		} else {
			delete(replayed, c.RecordID)
		}
	}
	stored := map[string]standing{}
	conn, err := pgx.Connect(t.Context(), owner)
	require.NoError(t, err)
	defer conn.Close(context.Background())
	rows, err := conn.Query(t.Context(), `
		SELECT h.id::text, h.revision, r.content_hash FROM winding h JOIN winding_revision r ON r.winding_id = h.id AND r.revision = h.revision WHERE h.state = 'published'
		UNION ALL SELECT h.id::text, h.revision, r.content_hash FROM family h JOIN family_revision r ON r.family_id = h.id AND r.revision = h.revision WHERE h.state = 'published'`)
	require.NoError(t, err)
	var id string
	var revision int
	var hash []byte
	_, err = pgx.ForEachRow(rows, []any{&id, &revision, &hash}, func() error {
		stored[id] = standing{revision, catalog.Hash(hash)}
		return nil
	})
	require.NoError(t, err)
	require.NotEmpty(t, stored)
	require.Less(t, len(stored), families+windings, "something was withdrawn")
	require.Equal(t, stored, replayed)
}

// nextRevision draws what becomes of a record: published anew, or withdrawn.
func nextRevision(dice *rand.Rand, revisions map[string]int, gone map[string]bool, id string) (int, string, string) {
	revisions[id]++
	gone[id] = revisions[id] > 1 && !gone[id] && dice.IntN(3) == 0
	if gone[id] {
		return revisions[id], "withdrawn", "drawn"
	}
	return revisions[id], "published", ""
}

// writersAndReader runs six writers that each make acts transactions with one change in each, and one
// reader that follows the feed meanwhile. act writes the change row of one transaction with the id.
func writersAndReader(t *testing.T, app string, acts int, act func(ctx context.Context, tx pgx.Tx, id string) error) (lost, twice int) {
	t.Helper()
	const writers = 6
	store := open(t, app)
	defer store.Close() // not only with the test: it may run many rounds
	config, err := pgxpool.ParseConfig(app)
	require.NoError(t, err)
	config.ConnConfig.RuntimeParams["lock_timeout"] = "60s" // six wait for each other, and the machine may be crowded
	pool, err := pgxpool.NewWithConfig(t.Context(), config)
	require.NoError(t, err)
	defer pool.Close()
	var written sync.Map
	var failed atomic.Value
	var group sync.WaitGroup
	for range writers {
		group.Go(func() {
			for range acts {
				id := uuid.NewString()
				err := pgx.BeginFunc(t.Context(), pool, func(tx pgx.Tx) error {
					if err := act(t.Context(), tx, id); err != nil {
						return err
					}
					time.Sleep(time.Duration(rand.IntN(4)) * time.Millisecond) // a transaction has more to do
					return nil
				})
				if err != nil {
					failed.Store(err)
					return
				}
				written.Store(id, true)
			}
		})
	}
	done := make(chan struct{})
	go func() { group.Wait(); close(done) }()
	seen := map[string]int{}
	var at catalog.Mark
	for ended := false; ; {
		page, err := store.Changes(t.Context(), at, 7)
		require.NoError(t, err)
		for _, c := range page.Items {
			seen[c.RecordID]++
			at = c.Mark
		}
		if len(page.Items) > 0 {
			continue
		}
		if ended {
			break
		}
		select {
		case <-done:
			ended = true // one more look after the last commit
		case <-time.After(time.Millisecond):
		}
	}
	require.Nil(t, failed.Load())
	total := 0
	written.Range(func(id, _ any) bool {
		total++
		switch seen[id.(string)] {
		case 0:
			lost++
		case 1:
		default:
			twice++
		}
		return true
	})
	require.Equal(t, writers*acts, total)
	t.Logf("%d changes by %d writers: %d lost, %d twice", total, writers, lost, twice)
	return lost, twice
}

const insertChange = `INSERT INTO change (catalogue_revision, item, change, record_kind, record_id, revision, content_hash)
	VALUES (%s, 1, 'publication', 'winding', $1, 1, sha256($1::text::bytea))`

// TestSixWritersLoseNothing is G11 of the reliability table.
func TestSixWritersLoseNothing(t *testing.T) {
	t.Parallel()
	_, app := pgtest.NewURLs(t)
	lost, twice := writersAndReader(t, app, 100, func(ctx context.Context, tx pgx.Tx, id string) error {
		_, err := tx.Exec(ctx, fmt.Sprintf(insertChange, "catalogue_bump()"), id)
		return err
	})
	require.Zero(t, lost)
	require.Zero(t, twice)
}

// TestPlainSequenceIsSeenToLose takes the revisions from a sequence, which holds no lock until the
// commit: the same harness must see that changes get lost, or it would prove nothing.
func TestPlainSequenceIsSeenToLose(t *testing.T) {
	t.Parallel()
	owner, app := pgtest.NewURLs(t)
	execute(t, owner, `CREATE SEQUENCE bypass`)
	execute(t, owner, `DO $$ BEGIN EXECUTE format('GRANT USAGE ON SEQUENCE bypass TO %I', (SELECT grantee FROM information_schema.role_table_grants WHERE table_name = 'change' AND privilege_type = 'INSERT' AND grantee <> current_user LIMIT 1)); END $$`)
	lost := 0
	for round := 0; lost == 0 && round < 20; round++ {
		lost, _ = writersAndReader(t, app, 50, func(ctx context.Context, tx pgx.Tx, id string) error {
			_, err := tx.Exec(ctx, fmt.Sprintf(insertChange, "nextval('bypass')"), id)
			if id[0] == '0' { // some take long, so that a reader that is starved by other tests passes them too
				time.Sleep(100 * time.Millisecond)
			}
			return err
		})
	}
	require.Positive(t, lost)
}

// TestImportersLoseNothing has six importers of small bundles, each record its own change.
func TestImportersLoseNothing(t *testing.T) {
	t.Parallel()
	_, app := pgtest.NewURLs(t)
	const writers, bundles, each = 6, 6, 3
	store := open(t, app)
	imported(t, store, write(t, sampleFamily(t, 1, nil)), postgres.ImportOptions{})
	var group sync.WaitGroup
	for w := range writers {
		importer := open(t, app)
		group.Go(func() {
			for b := range bundles {
				var lines []record
				for i := range each {
					lines = append(lines, sampleWinding(t, 1+(w*bundles+b)*each+i, 1, nil))
				}
				imported(t, importer, write(t, lines...), postgres.ImportOptions{})
			}
		})
	}
	done := make(chan struct{})
	go func() { group.Wait(); close(done) }()
	seen := map[string]int{}
	var at catalog.Mark
	for ended := false; !ended; {
		select {
		case <-done:
			ended = true
		case <-time.After(2 * time.Millisecond):
		}
		for more := true; more; {
			page, err := store.Changes(t.Context(), at, 2)
			require.NoError(t, err)
			for _, c := range page.Items {
				seen[c.RecordID]++
				at = c.Mark
			}
			more = len(page.Items) > 0
		}
	}
	require.Len(t, seen, 1+writers*bundles*each)
	for id, times := range seen {
		require.Equal(t, 1, times, id)
	}
}
