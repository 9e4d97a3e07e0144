package postgres_test

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"reflect"
	"slices"
	"sync"
	"testing"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"

	"statorbook/internal/bundle"
	"statorbook/internal/catalog"
	"statorbook/internal/errs"
	"statorbook/internal/match"
	"statorbook/internal/pgtest"
	"statorbook/internal/postgres"
	"statorbook/internal/simworld"
	"statorbook/internal/stator"
	"statorbook/internal/unit"
	"statorbook/internal/wire"
	"statorbook/seeds"
)

// follower is what a process keeps: a builder and the revision it stands at.
type follower struct {
	store    *postgres.Store
	wires    *wire.Table
	builder  *match.Builder
	revision int64
	steps    []postgres.Step
}

func newFollower(t testing.TB, store *postgres.Store, wires *wire.Table) *follower {
	t.Helper()
	f := &follower{store: store, wires: wires, builder: match.NewBuilder(wires)}
	var err error
	f.revision, err = store.LoadMatch(t.Context(), f.builder)
	require.NoError(t, err)
	return f
}

// follow advances and gives the index.
func (f *follower) follow(t testing.TB) *match.Index {
	t.Helper()
	step, err := f.store.Follow(t.Context(), f.revision, f.builder)
	require.NoError(t, err)
	require.False(t, step.Afresh)
	f.revision = step.Revision
	f.steps = append(f.steps, step)
	return f.builder.Build()
}

// requireAsFresh compares with the index that a fresh load gives, bit for bit.
func (f *follower) requireAsFresh(t testing.TB, got *match.Index, what string) {
	t.Helper()
	b := match.NewBuilder(f.wires)
	revision, err := f.store.LoadMatch(t.Context(), b)
	require.NoError(t, err)
	require.Equal(t, revision, f.revision)
	want := b.Build()
	require.Equal(t, want.Stats(), got.Stats(), what)
	require.True(t, reflect.DeepEqual(*want, *got), "%s: the followed index is not the fresh one", what)
}

// world is an invented catalogue as lines of a bundle, with the revision that each record has reached.
type world struct {
	wires    *wire.Table
	families []bundle.Family
	windings []bundle.Winding
	at       map[string]int
	gone     map[string]bool
}

func newWorld(t testing.TB, seed uint64, records int) *world {
	t.Helper()
	table, err := seedWires()
	require.NoError(t, err)
	made, err := simworld.NewWorld(simworld.Config{Records: records, Seed: seed}, table)
	require.NoError(t, err)
	w := &world{wires: table, at: map[string]int{}, gone: map[string]bool{}}
	for f, windings := range made.Catalogue() {
		w.families = append(w.families, bundle.FamilyOf(f))
		for _, r := range windings {
			w.windings = append(w.windings, bundle.WindingOf(r))
		}
	}
	return w
}

// seedWires is the shipped wire table.
var seedWires = sync.OnceValues(func() (*wire.Table, error) {
	file, err := seeds.Files.Open("wires.jsonl")
	if err != nil {
		return nil, err
	}
	defer file.Close()
	var sizes []wire.Size
	for in := bundle.NewReader(file, bundle.Options{}); ; {
		line, err := in.Next()
		switch {
		case errors.Is(err, io.EOF):
			return wire.NewTable(sizes)
		case err != nil:
			return nil, err
		case line.Wire != nil:
			sizes = append(sizes, line.Wire.ToDomain())
		}
	}
})

// family and winding give the next revision of a record as a line.
func (w *world) family(f *bundle.Family) record {
	w.at[f.ID]++
	f.Revision = w.at[f.ID]
	f.State, f.WithdrawnReason = w.state(f.ID)
	return record{bundle.KindFamily, f.ID, f.Revision, f}
}

func (w *world) winding(f *bundle.Winding) record {
	w.at[f.ID]++
	f.Revision = w.at[f.ID]
	f.State, f.WithdrawnReason = w.state(f.ID)
	return record{bundle.KindWinding, f.ID, f.Revision, f}
}

// like draws a winding that could lie on the same stator as the given one.
func (w *world) like(dice *rand.Rand, f *bundle.Winding) *bundle.Winding {
	ring := func(id string) [3]bundle.Count {
		core := w.families[slices.IndexFunc(w.families, func(f bundle.Family) bool { return f.ID == id })].Core
		second := bundle.Count(0)
		if core.SecondRing != nil {
			second = core.SecondRing.Slots
		}
		return [3]bundle.Count{core.Phases, core.Slots, second}
	}
	for {
		if other := &w.windings[dice.IntN(len(w.windings))]; ring(other.FamilyID) == ring(f.FamilyID) {
			return other
		}
	}
}

func (w *world) state(id string) (state, reason string) {
	if w.gone[id] {
		return "withdrawn", "drawn"
	}
	return "published", ""
}

// TestFollowedIndexIsTheFreshOne publishes, supersedes, withdraws and brings back families, stacks
// and windings at random, moves windings between families, and has records seen again. After each
// step the followed index is that of a fresh load, bit for bit.
func TestFollowedIndexIsTheFreshOne(t *testing.T) {
	t.Parallel()
	for seed := range uint64(3) {
		t.Run(fmt.Sprint(seed), func(t *testing.T) {
			t.Parallel()
			owner, app := pgtest.NewURLs(t)
			store := open(t, app)
			w := newWorld(t, 40+seed, 150)
			dice := rand.New(rand.NewPCG(seed, 7))
			f := newFollower(t, store, w.wires)
			f.requireAsFresh(t, f.follow(t), "empty")
			for step := range 40 {
				what := w.step(t, dice, owner, store, step)
				if dice.IntN(3) == 0 {
					continue // two changes are followed at once
				}
				f.requireAsFresh(t, f.follow(t), fmt.Sprint("step ", step, ": ", what))
			}
			f.requireAsFresh(t, f.follow(t), "the last step")
			f.requireAsFresh(t, f.follow(t), "nothing new")
			require.Zero(t, f.steps[len(f.steps)-1].Families+f.steps[len(f.steps)-1].Windings)
		})
	}
}

// step changes the catalogue at random and says how.
func (w *world) step(t testing.TB, dice *rand.Rand, owner string, store *postgres.Store, n int) string {
	t.Helper()
	var lines []record
	what := "windings"
	some := func(most int) []int { return dice.Perm(len(w.windings))[:1+dice.IntN(most)] }
	switch kind := dice.IntN(8); {
	case n < 4 || kind == 0:
		what = "families with their windings"
		for i := range w.families {
			if dice.IntN(3) > 0 {
				continue
			}
			family := &w.families[i]
			lines = append(lines, w.family(family))
			for j := range w.windings {
				if w.windings[j].FamilyID == family.ID && dice.IntN(2) == 0 {
					lines = append(lines, w.winding(&w.windings[j]))
				}
			}
		}
	case kind == 1:
		what = "a family with other dimensions, or withdrawn"
		family := &w.families[dice.IntN(len(w.families))]
		family.Core.GapDiameter.Value += 0.1
		w.gone[family.ID] = w.at[family.ID] > 0 && dice.IntN(2) == 0
		lines = append(lines, w.family(family))
	case kind == 2:
		what = "a stack that joins a family"
		family := &w.families[dice.IntN(len(w.families))]
		if w.at[family.ID] == 0 {
			return "nothing"
		}
		id := sampleID("d", n)
		lines = append(lines, record{bundle.KindCore, id, 1, &bundle.StandaloneCore{ID: id, FamilyID: family.ID, StackLength: bundle.M{Measured: unit.Of(float64(20 + n))}}})
	case kind == 3:
		what = "sightings"
		execute(t, owner, `UPDATE winding SET times_seen = times_seen + 1 WHERE id IN (SELECT id FROM winding ORDER BY id LIMIT 3)`)
	case kind == 4:
		what = "windings that were on another core"
		for _, i := range some(4) {
			other := w.like(dice, &w.windings[i])
			if w.at[other.FamilyID] > 0 {
				w.windings[i].FamilyID, w.windings[i].CoreID = other.FamilyID, other.CoreID
				lines = append(lines, w.winding(&w.windings[i]))
			}
		}
	case kind == 5:
		what = "withdrawals"
		for _, i := range some(6) {
			if record := &w.windings[i]; w.at[record.ID] > 0 {
				w.gone[record.ID] = true
				lines = append(lines, w.winding(record))
			}
		}
	default:
		for _, i := range some(10) {
			record := &w.windings[i]
			if w.at[record.FamilyID] == 0 {
				continue
			}
			delete(w.gone, record.ID)
			other := w.like(dice, record)
			record.CoreAsMeasured, record.Scheme, record.Nameplate = other.CoreAsMeasured, other.Scheme, other.Nameplate
			lines = append(lines, w.winding(record))
		}
	}
	if len(lines) > 0 {
		_, rows := imported(t, store, write(t, lines...), postgres.ImportOptions{})
		for _, r := range rows {
			require.Equal(t, catalog.OutcomeNew, r.Outcome, "%s: %+v", what, r)
		}
	}
	return what
}

// TestFollowSaysWhenToLoadAfresh: another wire table changes every record, and so does a database
// that was set back.
func TestFollowSaysWhenToLoadAfresh(t *testing.T) {
	t.Parallel()
	_, app := pgtest.NewURLs(t)
	store := open(t, app)
	imported(t, store, write(t, sampleFamily(t, 1, nil), sampleWinding(t, 1, 1, nil)), postgres.ImportOptions{})
	f := newFollower(t, store, nil)
	step, err := store.Follow(t.Context(), f.revision+1, f.builder)
	require.NoError(t, err)
	require.True(t, step.Afresh, "the database is behind")
	imported(t, store, write(t, sampleWire(t, nil)), postgres.ImportOptions{})
	step, err = store.Follow(t.Context(), f.revision, f.builder)
	require.NoError(t, err)
	require.True(t, step.Afresh, "a wire size came")
	step, err = store.Follow(t.Context(), step.Revision, f.builder)
	require.NoError(t, err)
	require.Equal(t, postgres.Step{Revision: 2}, step)
	bad, err := store.Follow(failing(t), step.Revision, f.builder)
	require.Error(t, err)
	require.Equal(t, errs.KindTimeout, errs.KindOf(err), "%v", err)
	require.Zero(t, bad)
}

// failing is a context that has ended.
func failing(t testing.TB) context.Context {
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	return ctx
}

// TestFollowGivesChangedTables: thermal classes and materials come whole, and only when they changed.
func TestFollowGivesChangedTables(t *testing.T) {
	t.Parallel()
	owner, app := pgtest.NewURLs(t)
	store := open(t, app)
	imported(t, store, write(t, sampleFamily(t, 1, nil)), postgres.ImportOptions{})
	f := newFollower(t, store, nil)
	execute(t, owner, `WITH h AS (INSERT INTO insulation_class (id, revision, state) VALUES ('F', 1, 'published') RETURNING id)
		INSERT INTO insulation_class_revision (insulation_class_id, revision, state, content_hash, body)
		SELECT id, 1, 'published', sha256('x'::bytea)::sha256, '{"letter": "F", "max_hot_spot_c": 155}' FROM h`)
	f.follow(t)
	require.True(t, f.steps[0].Tables)
	require.Len(t, f.steps[0].Classes, 1)
	f.follow(t)
	require.False(t, f.steps[1].Tables)
	require.Nil(t, f.steps[1].Classes)
}

// TestWithdrawnSince names exactly what is not to be shown any more.
func TestWithdrawnSince(t *testing.T) {
	t.Parallel()
	_, app := pgtest.NewURLs(t)
	store := open(t, app)
	gone := func(w *bundle.Winding) { w.Revision, w.State, w.WithdrawnReason = 2, "withdrawn", "x" }
	imported(t, store, write(t, sampleFamily(t, 1, nil), sampleFamily(t, 2, nil), sampleWinding(t, 1, 1, nil), sampleWinding(t, 2, 1, nil), sampleWinding(t, 3, 2, nil)), postgres.ImportOptions{})
	imported(t, store, write(t, sampleWinding(t, 1, 1, gone)), postgres.ImportOptions{})
	imported(t, store, write(t, sampleFamily(t, 2, func(f *bundle.Family) { f.Revision, f.State, f.WithdrawnReason = 2, "withdrawn", "x" })), postgres.ImportOptions{})
	imported(t, store, write(t, sampleWinding(t, 2, 1, func(w *bundle.Winding) { w.Revision, w.Remarks = 2, "again" })), postgres.ImportOptions{})
	for since, want := range [][]string{{sampleID("b", 1), sampleID("f", 2)}, {sampleID("b", 1), sampleID("f", 2)}, {sampleID("f", 2)}, {}, {}} {
		w, err := store.WithdrawnSince(t.Context(), int64(since))
		require.NoError(t, err)
		require.Equal(t, int64(4), w.Revision)
		var ids []string
		for id := range w.IDs {
			ids = append(ids, id)
		}
		slices.Sort(ids)
		require.ElementsMatch(t, want, ids, "since %d", since)
	}
}

// TestFollowedWithdrawalStopsMatching asks the index before and after.
func TestFollowedWithdrawalStopsMatching(t *testing.T) {
	t.Parallel()
	_, app := pgtest.NewURLs(t)
	store := open(t, app)
	imported(t, store, write(t, sampleFamily(t, 1, nil), sampleWinding(t, 1, 1, nil), sampleWinding(t, 2, 1, nil)), postgres.ImportOptions{})
	f := newFollower(t, store, nil)
	found := func(x *match.Index) (ids []string) {
		a, err := x.Match(match.Query{Measurements: stator.Core{Phases: 1, RotorPosition: stator.RotorInside, Slots: 24, GapDiameter: unit.Of(60.5), StackLength: unit.Of(28)}})
		require.NoError(t, err)
		for _, c := range a.Candidates {
			ids = append(ids, c.WindingID)
		}
		return ids
	}
	before := f.follow(t)
	require.ElementsMatch(t, []string{sampleID("b", 1), sampleID("b", 2)}, found(before))
	imported(t, store, write(t, sampleWinding(t, 1, 1, func(w *bundle.Winding) { w.Revision, w.State, w.WithdrawnReason = 2, "withdrawn", "x" })), postgres.ImportOptions{})
	require.Equal(t, []string{sampleID("b", 2)}, found(f.follow(t)))
	require.Len(t, found(before), 2, "the index that was handed out does not change")
	imported(t, store, write(t, sampleFamily(t, 1, func(w *bundle.Family) { w.Revision, w.State, w.WithdrawnReason = 2, "withdrawn", "x" })), postgres.ImportOptions{})
	require.Empty(t, found(f.follow(t)))
}

// TestFollowReadsByIndex: a poll must not read the whole catalogue.
func TestFollowReadsByIndex(t *testing.T) {
	t.Parallel()
	owner, app := pgtest.NewURLs(t)
	store := open(t, app)
	var lines []record
	for n := range 400 {
		lines = append(lines, sampleWinding(t, n+1, 1, nil))
	}
	imported(t, store, write(t, append(lines, sampleFamily(t, 1, nil))...), postgres.ImportOptions{})
	execute(t, owner, `ANALYZE`)
	conn, err := pgx.Connect(t.Context(), app)
	require.NoError(t, err)
	defer conn.Close(context.Background())
	_, err = conn.Exec(t.Context(), `SET enable_seqscan = off`)
	require.NoError(t, err)
	rows, err := conn.Query(t.Context(), `EXPLAIN SELECT w.id FROM winding w WHERE w.catalogue_revision > 1 UNION ALL SELECT f.id FROM family f WHERE f.catalogue_revision > 1 UNION ALL
		SELECT c.record_id::uuid FROM change c WHERE c.record_kind = 'core' AND c.catalogue_revision > 1`)
	require.NoError(t, err)
	plan, err := pgx.CollectRows(rows, pgx.RowTo[string])
	require.NoError(t, err)
	for _, line := range plan {
		require.NotContains(t, line, "Seq Scan", "%v", plan)
	}
}
