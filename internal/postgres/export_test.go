package postgres_test

import (
	"bytes"
	"context"
	"errors"
	"testing"

	"github.com/stretchr/testify/require"

	"statorbook/internal/bundle"
	"statorbook/internal/catalog"
	"statorbook/internal/pgtest"
	"statorbook/internal/postgres"
	"statorbook/internal/unit"
	"statorbook/seeds"
)

// TestRoundTrip takes records from one server to another and back: the same contents, digit for
// digit (reliability G18).
func TestRoundTrip(t *testing.T) {
	t.Parallel()
	_, firstURL := pgtest.NewURLs(t)
	_, secondURL := pgtest.NewURLs(t)
	first, second := open(t, firstURL), open(t, secondURL)
	odd := func(w *bundle.Winding) {
		w.Nameplate.Current.Measured = unit.Measured{Given: true, Value: 1.5, Text: "1.500", Uncertainty: 0.01, Method: "clamp"}
		w.Nameplate.CapacitorUF.Measured = unit.Measured{Given: true, Value: 1e-3, Text: "0.00100"}
		w.CoilLength.Measured = unit.Measured{Given: true, Value: 99999.99999999999, Text: "99999.99999999999000000000"}
		w.CoilLength.Measured = unit.Measured{Given: true, Value: 99.99999999999999, Text: "99.9999999999999900000000"}
		w.Remarks, w.Demo, w.Slug = "ø 0,3 \"mm\" <b>&amp;\nzwölf", false, "shop-3"
		w.FamilyID, w.CoreID = "", ""
	}
	text := write(t, sampleWire(t, nil), sampleFamily(t, 1, nil), sampleFamily(t, 2, nil), addedCore(2, 99, 70), sampleWinding(t, 1, 1, nil),
		sampleWinding(t, 2, 2, func(w *bundle.Winding) { w.Revision, w.State, w.WithdrawnReason = 4, "withdrawn", "Copied wrong." }), sampleWinding(t, 3, 1, odd))
	report, _ := imported(t, first, text, postgres.ImportOptions{Credit: &school})
	require.Equal(t, 7, report.Counts[catalog.OutcomeNew])
	out := exported(t, first)
	require.Equal(t, hashes(t, text), hashes(t, out), "every record, with the content that came in")
	require.Equal(t, out, exported(t, first), "the same data give the same file")

	report, _ = imported(t, second, out, postgres.ImportOptions{})
	require.Equal(t, 7, report.Counts[catalog.OutcomeNew])
	back := exported(t, second)
	require.Equal(t, hashes(t, out), hashes(t, back))
	report, _ = imported(t, first, back, postgres.ImportOptions{})
	require.Equal(t, map[catalog.Outcome]int{catalog.OutcomeSame: 7}, report.Counts, "and nothing is new at home")

	w, err := second.Winding(t.Context(), "shop-3")
	require.NoError(t, err)
	require.Equal(t, "1.500", w.Nameplate.Current.Text)
	require.Equal(t, 0.01, w.Nameplate.Current.Uncertainty)
	require.Equal(t, "99.9999999999999900000000", w.CoilLength.Text)
	gone, err := second.Winding(t.Context(), sampleID("b", 2))
	require.NoError(t, err)
	require.Equal(t, "Copied wrong.", gone.Reason)
	demo, err := second.Winding(t.Context(), sampleID("b", 1))
	require.NoError(t, err)
	require.Equal(t, []string{"demo-winding-school", ""}, []string{demo.Institute, demo.Vetter}, "the claim travels, the vouching does not")
}

func TestExportOfSomeKinds(t *testing.T) {
	t.Parallel()
	_, app := pgtest.NewURLs(t)
	store := open(t, app)
	imported(t, store, write(t, sampleWire(t, nil), sampleFamily(t, 1, nil), sampleWinding(t, 1, 1, nil)), postgres.ImportOptions{})
	var out bytes.Buffer
	n, err := store.Export(t.Context(), bundle.NewWriter(&out), postgres.ExportOptions{Kinds: []bundle.Kind{bundle.KindWinding}})
	require.NoError(t, err)
	require.Equal(t, 1, n)
	require.NotContains(t, out.String(), `"kind":"family"`)
	require.Contains(t, out.String(), `"kind":"winding"`)

	full := errors.New("the disk of the receiver is full")
	_, err = store.Export(t.Context(), bundle.NewWriter(brokenWriter{full}), postgres.ExportOptions{})
	require.ErrorIs(t, err, full)
	_, err = store.CatalogueRevision(t.Context())
	require.NoError(t, err, "the connection is good again")
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	_, err = store.Export(ctx, bundle.NewWriter(&out), postgres.ExportOptions{})
	require.Error(t, err)
}

type brokenWriter struct{ err error }

func (w brokenWriter) Write([]byte) (int, error) { return 0, w.err }

// TestSeedsImport stores the reference tables that are shipped, and reads them back whole.
func TestSeedsImport(t *testing.T) {
	t.Parallel()
	_, app := pgtest.NewURLs(t)
	store := open(t, app)
	want := map[string]string{}
	for _, name := range []string{"wires.jsonl", "insulation.jsonl"} {
		text, err := seeds.Files.ReadFile(name)
		require.NoError(t, err)
		report, rows := imported(t, store, string(text), postgres.ImportOptions{Credit: &school})
		require.Equal(t, map[catalog.Outcome]int{catalog.OutcomeNew: report.Lines}, report.Counts, "%s: %+v", name, rows)
		for id, hash := range hashes(t, string(text)) {
			want[id] = hash
		}
	}
	require.Equal(t, want, hashes(t, exported(t, store)))
	sizes, err := store.WireSizes(t.Context())
	require.NoError(t, err)
	classes, err := store.InsulationClasses(t.Context())
	require.NoError(t, err)
	materials, err := store.InsulatingMaterials(t.Context())
	require.NoError(t, err)
	require.Equal(t, len(want), len(sizes)+len(classes)+len(materials))
	for i, s := range sizes[1:] {
		if before := sizes[i]; before.System == s.System {
			require.GreaterOrEqual(t, before.Diameter, s.Diameter, "thick to thin: %s %s", before.ID, s.ID)
		}
		require.Equal(t, 1, s.Revision)
		require.NotEmpty(t, s.Sources, s.ID)
	}
	for i, c := range classes[1:] {
		require.LessOrEqual(t, classes[i].MaxHotSpot, c.MaxHotSpot)
	}
}
