package winding_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"statorbook/internal/stator"
	"statorbook/internal/unit"
	"statorbook/internal/winding"
)

// TestMaterialsOfTheWorkedStator checks counts and sizes by hand. Allowances are common practice, no source.
func TestMaterialsOfTheWorkedStator(t *testing.T) {
	t.Parallel()
	in := workedStator()
	in.Nameplate.InsulationClass = "B"
	with := winding.DefaultAllowances()
	got, err := winding.Materials(in, with, benchTable(t))
	require.NoError(t, err)
	// Coils 1-6 and 2-5 of four groups lie in 16 of 24 slots, one side in each: no separators.
	require.Len(t, got.Liners, 1)
	require.Equal(t, 16, got.Liners[0].Count)
	require.Equal(t, 17, got.Liners[0].CountToCut)
	require.InDelta(t, 45+2*6, float64(got.Liners[0].Length), 1e-9)
	// Outline of the slot between teeth of 4.1 mm, from 1 mm below the gap to 11.5 mm.
	top, bottom := 2*math.Pi*34/24-4.1, 2*math.Pi*44.5/24-4.1
	require.InDelta(t, 2*math.Hypot(10.5, (bottom-top)/2)+bottom+2*2, float64(got.Liners[0].Width), 1e-9)
	require.Empty(t, got.Separators)
	require.Equal(t, 16, got.Wedges[0].Count)
	require.InDelta(t, top, float64(got.Wedges[0].Width), 1e-9)
	require.Equal(t, 3, got.Joints)
	require.Equal(t, 2, got.Leads)
	require.InDelta(t, 3*40+2*100, float64(got.Sleeving), 1e-9)
	require.InDelta(t, 2*math.Pi*77.5*3, float64(got.Lacing), 1e-6)
	require.Len(t, got.Formers, 2)
	require.InDelta(t, 266.17, float64(got.Formers[0].Perimeter), 0.005)
	require.Equal(t, []float64{153}, got.Formers[0].Turns)
	require.Equal(t, 6, got.Formers[0].Throw)
	require.InDelta(t, 57, float64(got.Formers[0].Length), 1e-9)
	require.InDelta(t, 5*math.Pi*77.5/24, float64(got.Formers[0].Width), 1e-9)
	require.Len(t, got.Wires, 1)
	require.InDelta(t, 376.6, float64(got.Wires[0].Mass), 0.05)
	require.InDelta(t, 376.6*1.07, float64(got.Wires[0].Buy), 0.06)
	require.InDelta(t, 266.4, float64(got.Wires[0].Metre), 0.05)
	require.Contains(t, got.Varnish, "120 to 130")
	require.NotEmpty(t, got.Cautions)
}

// TestMaterialsOfTwoLayersAndRings wants a separator in each slot of a double layer, and sheet for both rings of a fan.
func TestMaterialsOfTwoLayersAndRings(t *testing.T) {
	t.Parallel()
	in := workedStator()
	in.Scheme = threePhase(4, 6, 8, 40)
	for i := range in.Scheme.CoilSets {
		in.Scheme.CoilSets[i].Wires = bare(0.45, 2)
	}
	got, err := winding.Materials(in, winding.DefaultAllowances(), benchTable(t))
	require.NoError(t, err)
	require.Equal(t, 24, got.Liners[0].Count)
	require.Equal(t, 24, got.Separators[0].Count)
	require.Equal(t, 3*(4-1), got.Joints)
	require.Equal(t, 24, got.PhasePapers)
	require.Len(t, got.Wires, 1)
	require.Len(t, got.Wires[0].Roles, 3)
	require.Contains(t, got.Varnish, "not known")

	ring, err := winding.Materials(fan(), winding.DefaultAllowances(), benchTable(t))
	require.NoError(t, err)
	require.Len(t, ring.Liners, 2)
	require.Equal(t, winding.RingBack, ring.Liners[1].Ring)
	require.Equal(t, 26, ring.Joints)

	bareCore := workedStator()
	bareCore.Core.ToothWidth = unit.Measured{}
	rect, err := winding.Materials(bareCore, winding.DefaultAllowances(), benchTable(t))
	require.NoError(t, err)
	require.InDelta(t, 2*11.5+68/11.5+4, float64(rect.Liners[0].Width), 1e-9)
	bareCore.Core.SlotArea = unit.Measured{}
	none, err := winding.Materials(bareCore, winding.DefaultAllowances(), benchTable(t))
	require.NoError(t, err)
	require.Empty(t, none.Liners)
	require.Contains(t, none.Missing, "core.tooth_width_mm")
	bareCore.Scheme.CoilSets = nil
	_, err = winding.Materials(bareCore, winding.DefaultAllowances(), benchTable(t))
	require.Error(t, err)
}

// TestFormerIsWithinTheTurn: a rectangle longer round than the mean turn that is wound on it cannot be its former. Round
// one tooth the coil is as wide as the tooth and one of its sides.
func TestFormerIsWithinTheTurn(t *testing.T) {
	t.Parallel()
	in := fan()
	bill, err := winding.Materials(in, winding.DefaultAllowances(), benchTable(t))
	require.NoError(t, err)
	slot, ok := stator.DerivedSlotArea(in.Core)
	require.True(t, ok)
	require.InDelta(t, 14+float64(slot.Gross)/float64(slot.Height)/2, float64(bill.Formers[0].Width), 1e-9)
	require.InDelta(t, 20+12, float64(bill.Formers[0].Length), 1e-9)
	in.MeanTurns = []winding.KnownTurn{{Length: 90, From: "by a turn that was measured"}}
	tight, err := winding.Materials(in, winding.DefaultAllowances(), benchTable(t))
	require.NoError(t, err)
	f := tight.Formers[0]
	require.Less(t, float64(f.Length), 32.0)
	require.LessOrEqual(t, 2*float64(f.Length+f.Width), 90+1e-9)
	in.MeanTurns[0].Length = 50
	tight, err = winding.Materials(in, winding.DefaultAllowances(), benchTable(t))
	require.NoError(t, err)
	require.InDelta(t, 20, float64(tight.Formers[0].Length), 1e-9, "never shorter than the stack")
	in.Core.ToothWidth = unit.Measured{}
	wide, err := winding.Materials(in, winding.DefaultAllowances(), benchTable(t))
	require.NoError(t, err)
	require.InDelta(t, math.Pi*(130-12)/14, float64(wide.Formers[0].Width), 1e-9)
}
