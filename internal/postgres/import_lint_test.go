package postgres_test

import (
	"crypto/sha256"
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"statorbook/internal/bundle"
	"statorbook/internal/catalog"
	"statorbook/internal/errs"
	"statorbook/internal/match"
	"statorbook/internal/pgtest"
	"statorbook/internal/postgres"
	"statorbook/internal/unit"
	"statorbook/internal/wire"
	"statorbook/seeds"
)

// TestImportLints shows where the checks of package catalog enter: what cannot be is refused with
// the place, what is doubtful is stored with the record (contract rules 4 and 5).
func TestImportLints(t *testing.T) {
	t.Parallel()
	_, app := pgtest.NewURLs(t)
	store := open(t, app)
	wires, err := seeds.Files.ReadFile("wires.jsonl")
	require.NoError(t, err)
	imported(t, store, string(wires), postgres.ImportOptions{})
	imported(t, store, write(t, sampleFamily(t, 1, nil)), postgres.ImportOptions{})

	_, rows := imported(t, store, write(t,
		sampleWinding(t, 2, 1, func(w *bundle.Winding) { w.Scheme.CoilSets[0].Pattern.Throws = []int{26, 4} }),
		sampleWinding(t, 3, 1, func(w *bundle.Winding) { w.Quality = map[string]string{"Power!": "plate"} }),
		sampleWinding(t, 4, 1, func(w *bundle.Winding) { w.Licence = "all rights reserved" }),
		sampleWinding(t, 5, 1, func(w *bundle.Winding) {
			w.CoreAsMeasured.BackDiameter.Measured, w.CoreAsMeasured.GapDiameter.Measured = unit.Of(60), unit.Of(1180)
		}),
		sampleWinding(t, 6, 1, func(w *bundle.Winding) { w.Licence, w.Source = "", "" })), postgres.ImportOptions{})
	for line, pointer := range map[int]string{2: "/body/scheme", 3: "/body/quality/Power!", 4: "/body/licence"} {
		require.Equal(t, catalog.OutcomeRefused, rows[line].Outcome, "%+v", rows[line])
		require.NotEmpty(t, rows[line].Detail)
		require.Contains(t, rows[line].Fields[0].Pointer, pointer, "%+v", rows[line].Fields)
	}
	for _, line := range []int{5, 6} {
		require.Equal(t, catalog.OutcomeNew, rows[line].Outcome, "%+v", rows[line])
		require.NotEmpty(t, rows[line].Findings)
	}
	odd, err := store.Winding(t.Context(), "demo-winding-5")
	require.NoError(t, err)
	require.Equal(t, rows[5].Findings, odd.Findings, "the findings stay with the record")
	require.Equal(t, "1180", odd.CoreAsMeasured.GapDiameter.Text, "and the reading stays as it was typed")
	severe := 0
	for _, f := range odd.Findings {
		if f.Severity == errs.SeverityError {
			severe++
		}
	}
	require.NotZero(t, severe, "a back diameter inside the bore is an error that import accepts: %+v", odd.Findings)
	missing, err := store.Winding(t.Context(), "demo-winding-6")
	require.NoError(t, err)
	require.Contains(t, []string{missing.Findings[0].Code, missing.Findings[1].Code}, "licence_missing")
}

// TestImportJudgesGaugesOfItsOwnBundle brings the wire table and a record in one file.
func TestImportJudgesGaugesOfItsOwnBundle(t *testing.T) {
	t.Parallel()
	_, app := pgtest.NewURLs(t)
	store := open(t, app)
	unknown := func(w *bundle.Winding) { w.Scheme.CoilSets[0].Wires[0].Size = "24" }
	_, rows := imported(t, store, write(t, sampleFamily(t, 1, nil), sampleWire(t, nil), sampleWinding(t, 1, 1, nil), sampleWinding(t, 2, 1, unknown)),
		postgres.ImportOptions{})
	require.Equal(t, catalog.OutcomeNew, rows[4].Outcome, "%+v", rows[4])
	require.False(t, aboutGauge(rows[4]), "%+v", rows[4])
	require.True(t, aboutGauge(rows[5]), "no table has this gauge: %+v", rows[5])
}

// aboutGauge says whether a wire of the record was refused or found unknown.
func aboutGauge(row catalog.ImportRow) bool {
	for _, f := range row.Findings {
		if f.Severity == errs.SeverityError && strings.Contains(strings.Join(f.Fields, " "), "wires[0]") {
			return true
		}
	}
	return row.Outcome == catalog.OutcomeRefused
}

// A size that no table can hold would keep every process from loading the catalogue: it is refused by itself, with
// the reason, and the rest of the bundle is taken.
func TestImportRefusesSizesThatNoTableHolds(t *testing.T) {
	t.Parallel()
	_, app := pgtest.NewURLs(t)
	store := open(t, app)
	local := func(id string, change func(*bundle.WireSize)) record {
		return sampleWire(t, func(w *bundle.WireSize) {
			*w = bundle.WireSize{System: "metric", Size: "0.515", Conductor: bundle.SizeConductor{Diameter: bundle.M{Measured: unit.Of(0.515)}}}
			if change != nil {
				change(w)
			}
			w.ID = id
		})
	}
	_, rows := imported(t, store, write(t,
		local("metric-0.515", nil),
		local("metric-0.517", func(w *bundle.WireSize) { w.Size = "0.516" }),
		local("metric-0.518", func(w *bundle.WireSize) { w.Size, w.Conductor.DiameterMax = "0.518", 0.5 }),
		local("metric-0.519", func(w *bundle.WireSize) { *w = bundle.WireSize{} }),
		local("metric-0.525", func(w *bundle.WireSize) {
			w.Size, w.Covered = "0.525", []bundle.Cover{{Build: "grade_1", OverallMin: 0.6, OverallMax: 0.5}}
		}),
		local("metric-0 530", func(w *bundle.WireSize) { w.Size = "0 530" })), postgres.ImportOptions{})
	require.Equal(t, catalog.OutcomeNew, rows[2].Outcome, "%+v", rows[2])
	for line, about := range map[int]string{3: "the id should be", 4: "not in the order", 5: "has no table", 6: "figures of grade_1", 7: "parts joined by single hyphens"} {
		require.Equal(t, catalog.OutcomeRefused, rows[line].Outcome, "%+v", rows[line])
		require.Contains(t, rows[line].Fields[0].Detail, about)
	}
	var table *wire.Table
	_, err := store.LoadCatalogue(t.Context(), func(c postgres.Catalogue) (*match.Builder, error) {
		sizes := make([]wire.Size, len(c.Wires))
		for i, s := range c.Wires {
			sizes[i] = s.Size
		}
		var err error
		table, err = wire.NewTable(sizes)
		return match.NewBuilder(table), err
	})
	require.NoError(t, err)
	require.Equal(t, 1, table.Len())
}

// A body without an id takes the id of its line; if the body cannot have that one, the line is refused and not stored.
func TestImportRefusesReferenceRowsThatCannotBeRead(t *testing.T) {
	t.Parallel()
	_, app := pgtest.NewURLs(t)
	store := open(t, app)
	text := `{"kind":"manifest","id":"m","revision":1,"body":{"format":1,"licence":"CC0-1.0","demo":true,"title":"test"}}
{"kind":"insulation_class","id":"275","revision":1,"body":{"max_hot_spot_c":275}}
{"kind":"insulation_class","id":"qqqqqqqqqqq","revision":1,"body":{"max_hot_spot_c":276}}
{"kind":"insulating_material","id":"Film","revision":1,"body":{"name":"film"}}
`
	text += fmt.Sprintf(`{"kind":"end","count":4,"sha256":"%x"}`, sha256.Sum256([]byte(text)))
	_, rows := imported(t, store, text, postgres.ImportOptions{})
	require.Equal(t, catalog.OutcomeNew, rows[2].Outcome, "%+v", rows[2])
	for line, pointer := range map[int]string{3: "/body/letter", 4: "/body/id"} {
		require.Equal(t, catalog.OutcomeRefused, rows[line].Outcome, "%+v", rows[line])
		require.Equal(t, pointer, rows[line].Fields[0].Pointer)
	}
	classes, err := store.InsulationClasses(t.Context())
	require.NoError(t, err)
	require.Len(t, classes, 1)
	_, err = store.InsulatingMaterials(t.Context())
	require.NoError(t, err)
}
