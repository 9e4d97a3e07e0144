package postgres_test

import (
	"errors"
	"testing"

	"github.com/stretchr/testify/require"

	"statorbook/internal/bundle"
	"statorbook/internal/errs"
	"statorbook/internal/match"
	"statorbook/internal/pgtest"
	"statorbook/internal/postgres"
	"statorbook/internal/stator"
	"statorbook/internal/unit"
	"statorbook/internal/wire"
)

// TestLoadCatalogue loads what is published and leaves out what is withdrawn.
func TestLoadCatalogue(t *testing.T) {
	t.Parallel()
	_, app := pgtest.NewURLs(t)
	store := open(t, app)
	withdrawn := func(f *bundle.Family) { f.State, f.WithdrawnReason = "withdrawn", "No such stamping." }
	imported(t, store, write(t, sampleWire(t, nil), sampleFamily(t, 1, nil), sampleFamily(t, 2, withdrawn), addedCore(1, 99, 70),
		sampleWinding(t, 1, 1, nil),
		sampleWinding(t, 2, 1, func(w *bundle.Winding) { w.State = "withdrawn" }),
		sampleWinding(t, 3, 2, nil), // its family is withdrawn
		sampleWinding(t, 4, 1, func(w *bundle.Winding) { w.Demo, w.Slug = false, "shop-4" })), postgres.ImportOptions{})

	var given postgres.Catalogue
	var builder *match.Builder
	c, err := store.LoadCatalogue(t.Context(), func(c postgres.Catalogue) (*match.Builder, error) {
		given = c
		table, err := wire.NewTable([]wire.Size{c.Wires[0].Size})
		builder = match.NewBuilder(table)
		return builder, err
	})
	require.NoError(t, err)
	require.Equal(t, given, c)
	require.Equal(t, int64(1), c.Revision)
	require.Equal(t, "swg-23", c.Wires[0].ID)
	index := builder.Build()
	stats := index.Stats()
	require.Equal(t, []int{1, 3, 2}, []int{stats.Families, stats.Cores, stats.Records}, "%+v", stats)

	answer, err := index.Match(match.Query{Measurements: stator.Core{Phases: 1, RotorPosition: stator.RotorInside, Slots: 24,
		GapDiameter: unit.Of(60.5), BackDiameter: unit.Of(110), StackLength: unit.Of(28)}})
	require.NoError(t, err)
	status := map[string]string{}
	for _, candidate := range answer.Candidates {
		status[candidate.WindingID] = candidate.Status
	}
	require.Equal(t, map[string]string{sampleID("b", 1): "demo", sampleID("b", 4): "foreign"}, status)

	again := match.NewBuilder(nil)
	revision, err := store.LoadMatch(t.Context(), again)
	require.NoError(t, err)
	require.Equal(t, c.Revision, revision)
	require.Equal(t, stats.Records, again.Build().Stats().Records)

	_, err = store.LoadCatalogue(t.Context(), func(postgres.Catalogue) (*match.Builder, error) { return nil, errors.New("no wires") })
	require.ErrorContains(t, err, "no wires")
	require.Equal(t, errs.KindInternal, errs.KindOf(err))
}
