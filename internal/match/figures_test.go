package match

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"statorbook/internal/unit"
	"statorbook/internal/wire"
)

// TestStockComesFirst: with a wire of the stock close enough, the proposal takes it.
func TestStockComesFirst(t *testing.T) {
	t.Parallel()
	w := sampleWorld()
	q, r := exactQuery(w, 2)
	a := mustMatch(t, w.index, q)
	set := r.Scheme.domain().CoilSets[0]
	require.Equal(t, set.Wires[0].Size, a.Proposals[0].CoilSets[0].Wires[0].Size)
	area := a.Proposals[0].CoilSets[0].ConductorArea.P50
	near := testWires().Nearest(unit.SquareMillimetre(area), wire.NearestOptions{Systems: []wire.System{wire.Metric}, Build: wire.Grade1, Limit: 1, MaxStrands: 1})
	q.Stock = []wire.Wire{near[0].Wire}
	a = mustMatch(t, w.index, q)
	got := a.Proposals[0].CoilSets[0]
	require.True(t, got.FromStock)
	require.Equal(t, near[0].Wire.Size, got.Wires[0].Size)
}

// TestProposalFigures: fill, densities, resistance, mass, capacitor and its voltage at the highest supply (+10 %).
func TestProposalFigures(t *testing.T) {
	t.Parallel()
	w := sampleWorld()
	q, _ := exactQuery(w, 0) // a single-phase record with all dimensions
	p := mustMatch(t, w.index, q).Proposals[0]
	require.Equal(t, methodRecord, p.Basis.Method)
	require.NotNil(t, p.Densities)
	require.Greater(t, p.Densities.Gap, 0.1)
	require.Less(t, p.Densities.Gap, 1.2)
	main := p.CoilSets[0]
	require.NotNil(t, main.Fill)
	require.Greater(t, main.Fill.Square, 0.1)
	require.NotNil(t, main.CurrentDensity)
	rec := w.records[0].Scheme.domain().CoilSets[0]
	require.InDelta(t, rec.Resistance.Value, main.Resistance20.P50, 0.25*rec.Resistance.Value)
	require.InDelta(t, rec.Mass.Value, main.Mass.P50, 0.25*rec.Mass.Value)
	require.NotNil(t, p.Capacitor)
	// a = 1285/1195 turns of like coils: volts = 1.1·V·√(1+a²).
	volts := 1.1 * q.Nameplate.Voltage.Value * math.Sqrt(1+sq(1285.0/1195))
	require.InDelta(t, volts, p.Capacitor.VoltageV, 0.02*volts)
	require.InDelta(t, q.Nameplate.CapacitorUF.Value, p.Capacitor.UF.P50, 1e-9)
}
