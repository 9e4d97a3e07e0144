package winding_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"statorbook/internal/unit"
	"statorbook/internal/winding"
	"statorbook/internal/wire"
)

// TestMeanTurn checks the mid-slot circles of both rings and rotor positions, and what is guessed.
func TestMeanTurn(t *testing.T) {
	t.Parallel()
	core := fan().Core
	outer, guessed, ok := winding.MidSlotDiameter(core, winding.RingGap)
	require.True(t, ok)
	require.False(t, guessed)
	require.InDelta(t, 130-12, float64(outer), 1e-12)
	inner, guessed, ok := winding.MidSlotDiameter(core, winding.RingBack)
	require.True(t, ok)
	require.False(t, guessed)
	require.InDelta(t, 130-2*12-14, float64(inner), 1e-12)
	core.SecondRing.SlotDepth = unit.Measured{}
	_, guessed, ok = winding.MidSlotDiameter(core, winding.RingBack)
	require.True(t, ok)
	require.True(t, guessed)

	bore := workedStator().Core
	sheet, ok := winding.MeanTurn(bore, winding.RingGap, 5, winding.SheetMeanTurn)
	require.True(t, ok)
	require.InDelta(t, 2*45+2.2*5*math.Pi*77.5/24+15, float64(sheet), 1e-9)
	other, ok := winding.MeanTurn(bore, winding.RingGap, -19, winding.SheetMeanTurn)
	require.True(t, ok)
	require.InDelta(t, float64(sheet), float64(other), 1e-9, "19 slots one way are 5 the other")
	bore.SlotDepth, bore.BackIron = unit.Measured{}, unit.Measured{}
	mid, guessed, ok := winding.MidSlotDiameter(bore, winding.RingGap)
	require.True(t, ok)
	require.True(t, guessed)
	require.InDelta(t, 1.15*66, float64(mid), 1e-9)
	bore.GapDiameter = unit.Measured{}
	_, ok = winding.MeanTurn(bore, winding.RingGap, 5, winding.BenchMeanTurn)
	require.False(t, ok)
	_, ok = winding.MeanTurnOf(bore, winding.RingGap, nil, winding.BenchMeanTurn)
	require.False(t, ok)
}

// TestTurnsOfSets counts turns without laying coils.
func TestTurnsOfSets(t *testing.T) {
	t.Parallel()
	pattern := winding.CoilSet{
		Pattern:       &winding.Pattern{Throws: []int{6, 4}, Turns: []float64{153, 126}, Groups: 4},
		ParallelPaths: 2,
	}
	require.InDelta(t, 1116, winding.TotalTurns(pattern), 0)
	require.InDelta(t, 558, winding.SeriesTurns(pattern), 0)
	hank := winding.CoilSet{Pattern: &winding.Pattern{Kind: winding.Skein, Throws: []int{12, 10, 8}, Turns: []float64{30}, Groups: 2}}
	require.InDelta(t, 180, winding.SeriesTurns(hank), 0)
	open := winding.CoilSet{Pattern: &winding.Pattern{Throws: []int{6}, Turns: []float64{10}}}
	require.Zero(t, winding.SeriesTurns(open), "groups are not told")
	explicit := winding.CoilSet{Coils: parseCoils(t, "1-6x10 12-7x12.5")}
	require.InDelta(t, 22.5, winding.SeriesTurns(explicit), 0)
}

// TestConductors checks strands, paths, mixed sizes and metals by hand.
func TestConductors(t *testing.T) {
	t.Parallel()
	table := benchTable(t)
	set := winding.CoilSet{ParallelPaths: 2, Wires: append(bare(0.5, 2), bare(0.4, 1)...)}
	c, ok, err := winding.ConductorOf(set, table)
	require.NoError(t, err)
	require.True(t, ok)
	require.Equal(t, 3, c.Strands)
	one := math.Pi / 4 * (2*0.25 + 0.16)
	require.InDelta(t, one, float64(c.Area), 1e-12)
	turn, ok, err := winding.ConductorArea(set, table)
	require.NoError(t, err)
	require.True(t, ok)
	require.InDelta(t, 2*one, float64(turn), 1e-12, "metal of one turn: strands x paths")
	require.Zero(t, c.Square, "no overall diameter is known")
	// 100 turns of 1 m in two paths: 50 m of conductor in each, two in parallel.
	require.InDelta(t, 50/(58*one)/2, float64(c.Resistance20(100, 1000, 2)), 1e-12)
	require.InDelta(t, 8.89*one*100, float64(c.Mass(100, 1000)), 1e-9)
	require.InDelta(t, (234.5+75)/(234.5+20), c.TemperatureFactor(75), 1e-12)

	al := winding.CoilSet{Wires: []wire.Wire{{System: wire.Bare, Diameter: unit.Of(1), Conductor: wire.Aluminium, Strands: 1}}}
	a, _, err := winding.ConductorOf(al, table)
	require.NoError(t, err)
	require.InDelta(t, 0.028264*100/(math.Pi/4), float64(a.Resistance20(100, 1000, 1)), 1e-9)
	require.InDelta(t, 2.703*math.Pi/4*100, float64(a.Mass(100, 1000)), 1e-9)
	require.InDelta(t, (225.0+75)/(225+20), a.TemperatureFactor(75), 1e-12)

	mixed := winding.CoilSet{Wires: append(bare(1, 1), al.Wires...)}
	m, _, err := winding.ConductorOf(mixed, table)
	require.NoError(t, err)
	low, high := c.TemperatureFactor(100), a.TemperatureFactor(100)
	require.Greater(t, m.TemperatureFactor(100), math.Min(low, high))
	require.Less(t, m.TemperatureFactor(100), math.Max(low, high))

	_, ok, err = winding.ConductorOf(winding.CoilSet{}, table)
	require.NoError(t, err)
	require.False(t, ok)
	_, _, err = winding.ConductorOf(set, nil)
	require.Error(t, err)
	require.True(t, math.IsNaN(float64(winding.Conductor{}.Resistance20(1, 1, 1))))
}
