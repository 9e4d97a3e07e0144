package postgres_test

import (
	"context"
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"

	"statorbook/internal/bundle"
	"statorbook/internal/catalog"
	"statorbook/internal/errs"
	"statorbook/internal/pgtest"
	"statorbook/internal/postgres"
	"statorbook/internal/stator"
	"statorbook/internal/unit"
)

// varied fills a store with six families that differ in what the filters ask for; number 6 is
// withdrawn.
func varied(t *testing.T) *postgres.Store {
	t.Helper()
	_, app := pgtest.NewURLs(t)
	store := open(t, app)
	lengths := func(gap, back, stack float64) func(*bundle.Family) {
		return func(f *bundle.Family) {
			f.Core.GapDiameter.Measured, f.Core.BackDiameter.Measured = unit.Of(gap), unit.Of(back)
			f.Cores = f.Cores[:1]
			f.Cores[0].StackLength.Measured = unit.Of(stack)
		}
	}
	three := func(f *bundle.Family) { f.Core.Phases, f.Core.Slots, f.Application = 3, 36, "general" }
	outside := func(f *bundle.Family) {
		f.Core.RotorPosition, f.Core.Slots, f.Application = "outside", 14, "ceiling_fan"
		f.Core.GapDiameter.Measured, f.Core.BackDiameter.Measured = unit.Of(122), unit.Of(27)
	}
	bare := func(f *bundle.Family) { f.Core.GapDiameter, f.Core.ToothWidth = bundle.M{}, bundle.M{} }
	gone := func(f *bundle.Family) { f.State, f.WithdrawnReason = "withdrawn", "Not a real stamping." }
	report, _ := imported(t, store, write(t,
		sampleFamily(t, 1, lengths(60.5, 110, 28)), sampleFamily(t, 2, lengths(60.501, 111, 45)), sampleFamily(t, 3, three),
		sampleFamily(t, 4, outside), sampleFamily(t, 5, bare), sampleFamily(t, 6, gone),
		sampleWinding(t, 1, 1, nil), sampleWinding(t, 2, 2, func(w *bundle.Winding) { w.Scheme.Poles = 2 }),
		sampleWinding(t, 3, 3, func(w *bundle.Winding) { w.Scheme.Poles, w.State = 2, "withdrawn" }),
		addedCore(2, 99, 70.25)), postgres.ImportOptions{})
	require.Equal(t, 10, report.Counts[catalog.OutcomeNew])
	return store
}

func TestFamilyFilters(t *testing.T) {
	t.Parallel()
	store := varied(t)
	window := func(d catalog.Dimension, low, high unit.Millimetre) catalog.FamilyFilter {
		return catalog.FamilyFilter{Windows: []catalog.Window{between(d, low, high)}}
	}
	cases := []struct {
		name   string
		filter catalog.FamilyFilter
		want   string
	}{
		{"all that are published", catalog.FamilyFilter{}, "12345"},
		{"phases", catalog.FamilyFilter{Phases: 3}, "3"},
		{"rotor outside", catalog.FamilyFilter{RotorPosition: stator.RotorOutside}, "4"},
		{"slots", catalog.FamilyFilter{Slots: 24}, "125"},
		{"application", catalog.FamilyFilter{Application: "ceiling_fan"}, "4"},
		{"unknown application", catalog.FamilyFilter{Application: "boat"}, ""},
		{"poles", catalog.FamilyFilter{Poles: 4}, "1"},
		{"a withdrawn winding does not count", catalog.FamilyFilter{Poles: 2}, "2"},
		{"two together", catalog.FamilyFilter{Phases: 1, Slots: 14}, "4"},
		{"both bounds belong to the window", window(catalog.GapDiameter, 60.5, 60.5), "13"},
		{"a micrometre apart", window(catalog.GapDiameter, 60.501, 60.501), "2"},
		{"open above", window(catalog.GapDiameter, 60.501, 0), "24"},
		{"open below", window(catalog.GapDiameter, 0, 60.5), "13"},
		{"finer than a micrometre", window(catalog.GapDiameter, 60.5001, 60.5009), "12 3"},
		{"back diameter", window(catalog.BackDiameter, 110.5, 112), "2"},
		{"any stack of the family", window(catalog.StackLength, 45, 45), "2345"},
		{"stack that was added", window(catalog.StackLength, 70.25, 71), "2"},
		{"no figure, not found", window(catalog.ToothWidth, 1, 10), "1234"},
		{"slot depth", window(catalog.SlotDepth, 16, 16), "12345"},
		{"slot opening", window(catalog.SlotOpening, 3, 4), ""},
		{"back iron", window(catalog.BackIron, 8.6, 8.6), "12345"},
		{"windows meet", catalog.FamilyFilter{Windows: []catalog.Window{between(catalog.GapDiameter, 50, 100), between(catalog.GapDiameter, 60.501, 200)}}, "2"},
		{"inverted", window(catalog.GapDiameter, 70, 60), ""},
	}
	for _, c := range cases {
		page, err := store.Families(t.Context(), c.filter, catalog.PageRequest{})
		require.NoError(t, err, c.name)
		got := ""
		for _, f := range page.Items {
			got += strings.TrimPrefix(f.Slug, "demo-family-")
		}
		require.Equal(t, strings.ReplaceAll(c.want, " ", ""), got, c.name)
		require.Empty(t, page.Next)
	}
	for _, w := range []catalog.Window{between(catalog.GapDiameter, -1, 5), between(catalog.GapDiameter, 0, 1e9), between(catalog.GapDiameter, unit.Millimetre(math.NaN()), 0)} {
		_, err := store.Families(t.Context(), catalog.FamilyFilter{Windows: []catalog.Window{w}}, catalog.PageRequest{})
		require.Equal(t, errs.KindImpossible, errs.KindOf(err), "%v", w)
	}
}

func between(d catalog.Dimension, low, high unit.Millimetre) catalog.Window {
	return catalog.Window{Dimension: d, Low: low, High: high}
}

func TestFamilyShowsAddedStacks(t *testing.T) {
	t.Parallel()
	store := varied(t)
	f, err := store.Family(t.Context(), "demo-family-2")
	require.NoError(t, err)
	require.Len(t, f.Cores, 2)
	require.Equal(t, sampleID("c", 99), f.Cores[1].ID)
	require.Equal(t, "70.25", f.Cores[1].StackLength.Text)
	gone, err := store.Family(t.Context(), sampleID("f", 6))
	require.NoError(t, err)
	require.Equal(t, catalog.StatusWithdrawn, gone.Status)
	require.Equal(t, "Not a real stamping.", gone.Reason)
}

func TestUnknownIDs(t *testing.T) {
	t.Parallel()
	_, app := pgtest.NewURLs(t)
	store := open(t, app)
	for _, ref := range []string{"", "demo-nothing", sampleID("f", 77), "' OR 1=1 --", "%", strings.Repeat("x", 10000), "NULL", "\\x00"} {
		_, err := store.Family(t.Context(), ref)
		require.Equal(t, errs.KindNotFound, errs.KindOf(err), "%q: %v", ref, err)
		_, err = store.Winding(t.Context(), ref)
		require.Equal(t, errs.KindNotFound, errs.KindOf(err), "%q: %v", ref, err)
	}
	page, err := store.Windings(t.Context(), catalog.WindingFilter{Family: "x"}, catalog.PageRequest{})
	require.NoError(t, err)
	require.Empty(t, page.Items)
}

// TestPagesGiveEachOnce walks a list in pages while another process adds to it: what was there at
// the start comes once and in order.
func TestPagesGiveEachOnce(t *testing.T) {
	t.Parallel()
	_, app := pgtest.NewURLs(t)
	store := open(t, app)
	var records []record
	for n := range 57 {
		records = append(records, sampleFamily(t, 2*n, func(f *bundle.Family) { f.Slug = fmt.Sprintf("demo-%03d", 2*n) }))
		records = append(records, sampleWinding(t, n, 0, func(w *bundle.Winding) { w.Slug = fmt.Sprintf("demo-%03d", n) }))
	}
	imported(t, store, write(t, records...), postgres.ImportOptions{})
	var seen []string
	for page := (catalog.PageRequest{Size: 10}); ; {
		got, err := store.Families(t.Context(), catalog.FamilyFilter{}, page)
		require.NoError(t, err)
		for _, f := range got.Items {
			seen = append(seen, f.Slug)
		}
		if got.Next == "" {
			break
		}
		require.Len(t, got.Items, 10)
		page.After = got.Next
		n := len(seen)*2 - 1 // lands before and after the place we are at
		imported(t, store, write(t, sampleFamily(t, n, func(f *bundle.Family) { f.Slug = fmt.Sprintf("demo-%03d", n-15) })), postgres.ImportOptions{})
	}
	even := seen[:0]
	for i, slug := range seen {
		require.True(t, i == 0 || i > 0 && slug > seen[i-1], "in order, none twice")
		even = append(even, slug)
	}
	for n := range 57 {
		require.Contains(t, even, fmt.Sprintf("demo-%03d", 2*n))
	}

	count := 0
	for page := (catalog.PageRequest{Size: 200}); ; {
		got, err := store.Windings(t.Context(), catalog.WindingFilter{Family: sampleID("f", 0), Poles: 4}, page)
		require.NoError(t, err)
		count += len(got.Items)
		if page.After = got.Next; got.Next == "" {
			break
		}
		page.Size = 13
	}
	require.Equal(t, 57, count)
	none, err := store.Windings(t.Context(), catalog.WindingFilter{Family: sampleID("f", 0), Poles: 2}, catalog.PageRequest{})
	require.NoError(t, err)
	require.Empty(t, none.Items)
	short, err := store.Windings(t.Context(), catalog.WindingFilter{}, catalog.PageRequest{})
	require.NoError(t, err)
	require.Len(t, short.Items, catalog.DefaultPageSize)
}

// TestListsReadNoWholeTable asks the planner, on tables of some thousand rows, how it would answer
// each list. Reading a whole table would make every caller wait for the size of the catalogue.
func TestListsReadNoWholeTable(t *testing.T) {
	t.Parallel()
	owner, _ := pgtest.NewURLs(t)
	conn, err := pgx.Connect(t.Context(), owner)
	require.NoError(t, err)
	defer conn.Close(context.Background())
	_, err = conn.Exec(t.Context(), manyRows)
	require.NoError(t, err)
	none := make([]any, 14)
	for i := range none {
		none[i] = 0
	}
	with := func(changes map[int]any) []any {
		args := append(append([]any{"", 51, 0, "", 0, "", 0}, none...), nil, nil)
		for n, v := range changes {
			args[n-1] = v
		}
		return args
	}
	family := postgres.FamilyList
	cases := []struct {
		name, sql string
		args      []any
	}{
		{"families, first page", family, with(nil)},
		{"families, later page", family, with(map[int]any{1: "demo-2500"})},
		{"families by phases", family, with(map[int]any{3: 3})},
		{"families by slots", family, with(map[int]any{5: 24, 3: 1})},
		{"families by application", family, with(map[int]any{6: "pump"})},
		{"families by poles", family, with(map[int]any{7: 4})},
		{"families by gap diameter", family, with(map[int]any{8: 60000, 9: 60100})},
		{"families by back diameter", family, with(map[int]any{10: 110000, 11: 110100})},
		{"families by stack length", family, with(map[int]any{12: 30000, 13: 30010})},
		{"families by all lengths", family, with(map[int]any{8: 60000, 9: 61000, 10: 100000, 12: 30000, 14: 1, 16: 1, 18: 1, 20: 1})},
		{"windings, first page", postgres.WindingList, []any{"", 51, nil, nil, 0, nil, nil}},
		{"windings, later page", postgres.WindingList, []any{"demo-2500", 51, nil, nil, 0, nil, nil}},
		{"windings of a family", postgres.WindingList, []any{"", 51, sampleID("f", 7), nil, 0, nil, nil}},
		{"windings of a family by slug", postgres.WindingList, []any{"", 51, nil, "demo-7", 0, nil, nil}},
		{"windings by poles", postgres.WindingList, []any{"", 51, nil, nil, 4, nil, nil}},
		{"one family", postgres.FamilyByRef, []any{sampleID("f", 7), nil}},
		{"one family by slug", postgres.FamilyByRef, []any{nil, "demo-7"}},
		{"one winding", postgres.WindingByRef, []any{sampleID("b", 7), nil}},
		{"one winding by slug", postgres.WindingByRef, []any{nil, "demo-7"}},
	}
	for _, c := range cases {
		rows, err := conn.Query(t.Context(), "EXPLAIN "+c.sql, append([]any{pgx.QueryExecModeDescribeExec}, c.args...)...)
		require.NoError(t, err, c.name)
		plan, err := pgx.CollectRows(rows, pgx.RowTo[string])
		require.NoError(t, err, c.name)
		for _, table := range []string{"family ", "family_revision", "family_core", "winding ", "winding_revision"} {
			require.NotContains(t, strings.Join(plan, "\n"), "Seq Scan on "+table, c.name)
		}
	}
}

// manyRows makes 5,000 families of three cores and 20,000 windings, and tells the planner of them.
const manyRows = `
INSERT INTO family (id, slug, revision, state) SELECT format('f%s-0000-4000-8000-%s', lpad(to_hex(n), 7, '0'), lpad(to_hex(n), 12, '0'))::uuid, 'demo-' || n, 1, 'published' FROM generate_series(1, 5000) n;
INSERT INTO family_revision (family_id, revision, state, change, imported, demo, content_hash, body)
	SELECT id, 1, 'published', 'publication', true, true, sha256(slug::text::bytea), jsonb_build_object('title', 'Demo', 'application', (ARRAY['pump', 'blower', 'general'])[1 + n % 3],
		'core', jsonb_build_object('phases', 1 + 2 * (n % 2), 'slots', 12 * (1 + n % 4), 'rotor_position', 'inside', 'gap_diameter_mm', 40 + n % 1000 / 10.0, 'back_diameter_mm', 80 + n % 2000 / 10.0,
			'tooth_width_mm', 2 + n % 50 / 10.0, 'slot_depth_mm', 10 + n % 100 / 10.0, 'slot_opening_mm', 2 + n % 20 / 10.0, 'back_iron_mm', 5 + n % 90 / 10.0))
	FROM (SELECT *, substr(slug, 6)::integer AS n FROM family) f;
INSERT INTO core (id, family_id) SELECT gen_random_uuid(), id FROM family, generate_series(1, 3);
INSERT INTO family_core (family_id, revision, core_id, stack_length_mm) SELECT family_id, 1, id, 20 + row_number() OVER () % 700 / 10.0 FROM core;
INSERT INTO winding (id, slug, revision, state, family_id, core_id, poles)
	SELECT format('b%s-0000-4000-8000-%s', lpad(to_hex(n), 7, '0'), lpad(to_hex(n), 12, '0'))::uuid, 'demo-' || n, 1, 'published', c.family_id, c.id, 2 + 2 * (n % 3)
	FROM (SELECT *, row_number() OVER () AS k FROM core) c JOIN generate_series(1, 20000) n ON k = 1 + n % 15000;
INSERT INTO winding_revision (winding_id, revision, state, change, imported, demo, content_hash, body)
	SELECT id, 1, 'published', 'publication', true, true, sha256(slug::text::bytea), '{"scheme": {"poles": 4}}' FROM winding;
ANALYZE;`
