package winding_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"statorbook/internal/unit"
	"statorbook/internal/winding"
	"statorbook/internal/wire"
)

// TestMeanTurnsOnRecord weighs and measures a winding of a known mean turn and wants it back. Copper is
// 8.89 g/cm³ and 1/58 Ω mm²/m, as in the project's constants; 20 °C unless said.
func TestMeanTurnsOnRecord(t *testing.T) {
	t.Parallel()
	const turns, area, length = 14 * 290, math.Pi / 4 * 0.28 * 0.28, 118.0 // coils x turns, mm2, mm
	metres := turns * length / 1000
	gram, ohm := 8.89*metres*area, metres/58/area
	cases := []struct {
		name string
		edit func(set *winding.CoilSet)
		want float64 // mm, 0 = nothing is told
		from string
	}{
		{"nothing", func(*winding.CoilSet) {}, 0, ""},
		{"bare copper weighed", func(s *winding.CoilSet) { s.Mass, s.MassState = unit.Of(gram), "bare" }, length, "by the mass on record"},
		{"enamel is taken off", func(s *winding.CoilSet) { s.Mass, s.MassState = unit.Of(gram*1.035), "enamelled" }, length, "by the mass on record"},
		{"resistance", func(s *winding.CoilSet) { s.Resistance = unit.Of(ohm) }, length, "by the resistance on record"},
		{"warm resistance", func(s *winding.CoilSet) {
			s.Resistance, s.Temperature = unit.Of(ohm*(234.5+30)/(234.5+20)), unit.Of(30)
		}, length, "by the resistance on record"},
		{"both", func(s *winding.CoilSet) { s.Mass, s.MassState, s.Resistance = unit.Of(gram), "bare", unit.Of(ohm*1.04) }, length, "by the mass on record"},
		{"they contradict each other", func(s *winding.CoilSet) { s.Mass, s.MassState, s.Resistance = unit.Of(gram), "bare", unit.Of(2*ohm) }, 0, ""},
		{"the mass of both windings", func(s *winding.CoilSet) { s.Mass, s.MassState = unit.Of(2*gram), "bare" }, 0, ""},
		{"two paths", func(s *winding.CoilSet) { s.ParallelPaths, s.Resistance = 2, unit.Of(ohm/4) }, length, "by the resistance on record"},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			in := fan()
			c.edit(&in.Scheme.CoilSets[0])
			known := winding.MeanTurnsOnRecord(in.Core, in.Scheme, benchTable(t))
			require.Len(t, known, 2)
			require.Zero(t, known[1])
			require.Equal(t, c.from, known[0].From)
			require.InDelta(t, c.want, float64(known[0].Length), 1e-6)
		})
	}
	in := fan()
	in.Scheme.CoilSets[0].Pattern.Throws = []int{99}
	require.Nil(t, winding.MeanTurnsOnRecord(in.Core, in.Scheme, benchTable(t)))
}

// TestPhaseBetweenLines leaves the resistance between two lines alone: it is not that of the phase.
func TestPhaseBetweenLines(t *testing.T) {
	t.Parallel()
	in := fan()
	in.Scheme.CoilSets = in.Scheme.CoilSets[:1]
	set := &in.Scheme.CoilSets[0]
	set.Pattern, set.Coils = nil, []winding.Coil{{In: 1, Out: 2, Turns: 14 * 290}}
	set.Role, set.Resistance = winding.PhaseU, unit.Of(14*290*0.130/58/(math.Pi/4*0.28*0.28))
	require.NotZero(t, winding.MeanTurnsOnRecord(in.Core, in.Scheme, benchTable(t))[0])
	set.LeadPair = "u-v"
	require.Zero(t, winding.MeanTurnsOnRecord(in.Core, in.Scheme, benchTable(t))[0])
}

// TestKnownMeanTurn wants every figure of an analysis and the cut list to follow a known mean turn.
func TestKnownMeanTurn(t *testing.T) {
	t.Parallel()
	in := fan()
	table := benchTable(t)
	rule, err := winding.Analyse(in, table)
	require.NoError(t, err)
	was := &rule.Roles[0]
	require.InDelta(t, winding.RuleSpread, was.MeanTurnSpread, 0)
	require.Empty(t, was.MeanTurnFrom)
	in.MeanTurns = []winding.KnownTurn{{Length: 0.9 * *was.MeanTurn, Spread: 0.02, From: "by a turn that was measured"}}
	got, err := winding.Analyse(in, table)
	require.NoError(t, err)
	r := &got.Roles[0]
	require.InDelta(t, 0.9, float64(*r.MeanTurn / *was.MeanTurn), 1e-12)
	require.InDelta(t, 0.9, float64(*r.Resistance20 / *was.Resistance20), 1e-12)
	require.InDelta(t, 0.9, float64(*r.Mass / *was.Mass), 1e-12)
	for i := range r.MeanTurns {
		require.InDelta(t, 0.9, float64(r.MeanTurns[i].MeanTurn/was.MeanTurns[i].MeanTurn), 1e-12)
	}
	require.InDelta(t, 0.02, r.MeanTurnSpread, 0)
	require.Contains(t, got.Methods["mean_turn_mm"].Method, "of the main winding by a turn that was measured")
	require.Equal(t, rule.Roles[1].Mass, got.Roles[1].Mass, "nothing is known of the other set")
	bill, err := winding.Materials(in, winding.DefaultAllowances(), table)
	require.NoError(t, err)
	sum := 0.0
	for _, w := range bill.Wires {
		sum += float64(w.Mass)
	}
	require.InDelta(t, float64(*got.Roles[0].Mass+*got.Roles[1].Mass), sum, 1e-9)
	require.Equal(t, wire.Copper, bill.Wires[0].Wire.Conductor)
}
