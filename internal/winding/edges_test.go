package winding_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"statorbook/internal/errs"
	"statorbook/internal/stator"
	"statorbook/internal/unit"
	"statorbook/internal/winding"
	"statorbook/internal/wire"
)

// TestInputRanges wants every figure of plate and supply that no machine has refused by name, all at once.
func TestInputRanges(t *testing.T) {
	t.Parallel()
	bad := unit.Of(math.NaN())
	in := workedStator()
	in.Nameplate = &winding.Nameplate{
		Voltage:     bad,
		Frequency:   unit.Of(-50),
		Power:       unit.Of(1e9),
		Current:     unit.Of(0),
		Speed:       unit.Of(1e6),
		CapacitorUF: unit.Of(-1),
		CapacitorV:  unit.Of(math.Inf(1)),
		Poles:       5,
	}
	in.Supply = &winding.Supply{Voltage: unit.Of(-1), Frequency: unit.Of(5000)}
	in.Scheme.Poles = 122
	_, err := winding.Analyse(in, benchTable(t))
	var e *errs.Error
	require.ErrorAs(t, err, &e)
	got := map[string]bool{}
	for _, f := range e.Fields {
		got[f.Pointer] = true
		require.NotEmpty(t, f.Code)
	}
	for _, pointer := range []string{
		"/nameplate/voltage_v",
		"/nameplate/frequency_hz",
		"/nameplate/power_w",
		"/nameplate/current_a",
		"/nameplate/speed_rpm",
		"/nameplate/capacitor_uf",
		"/nameplate/capacitor_v",
		"/nameplate/poles",
		"/supply/voltage_v",
		"/supply/frequency_hz",
		"/scheme/poles",
	} {
		require.True(t, got[pointer], pointer)
	}
}

// TestServiceRange answers rings of 1 to 360 slots that the trade knows nothing of, with a finding.
func TestServiceRange(t *testing.T) {
	t.Parallel()
	for slots, inside := range map[int]bool{4: false, 6: true, 72: true, 96: false, 360: false} {
		in := winding.AnalysisInput{
			Core: stator.Core{Slots: slots},
			Scheme: winding.Scheme{Poles: 2, CoilSets: []winding.CoilSet{
				{Role: winding.Main, Coils: []winding.Coil{{In: 1, Out: 3, Turns: 10}}},
			}},
		}
		got, err := winding.Analyse(in, benchTable(t))
		require.NoError(t, err, slots)
		require.Len(t, got.Slots, slots)
		if inside {
			require.NotContains(t, codes(got.Findings), "outside_service_range", slots)
		} else {
			require.Contains(t, codes(got.Findings), "outside_service_range", slots)
		}
	}
	_, err := winding.Analyse(winding.AnalysisInput{
		Core:   stator.Core{Slots: 361},
		Scheme: winding.Scheme{Poles: 2, CoilSets: []winding.CoilSet{{Role: winding.Main, Coils: []winding.Coil{{In: 1, Out: 3, Turns: 10}}}}},
	}, benchTable(t))
	require.Equal(t, errs.KindImpossible, errs.KindOf(err))
}

// TestDiametralCoilsMayRepeat: in a two-pole double layer of full pitch both sides of a pair lie in the same slots.
func TestDiametralCoilsMayRepeat(t *testing.T) {
	t.Parallel()
	core := stator.Core{Slots: 12}
	s := winding.Scheme{Poles: 2, CoilSets: []winding.CoilSet{{Role: winding.Main, Coils: parseCoils(t, "1-7x10 1-7x10")}}}
	require.Empty(t, winding.Faults(s, [][]winding.Coil{s.CoilSets[0].Coils}, core))
	s.CoilSets[0].Coils = parseCoils(t, "1-7x10 7-1x10 1-7x10")
	faults := winding.Faults(s, [][]winding.Coil{s.CoilSets[0].Coils}, core)
	require.Len(t, faults, 1)
	require.Equal(t, "COIL_TWICE", faults[0].Code)
	require.Contains(t, faults[0].Detail, "coil 1-7 lies in slot 7 twice")
}

// TestBalanceFaults: unlike axes and a phase on the axis of another; a phase named from its other end is no fault.
func TestBalanceFaults(t *testing.T) {
	t.Parallel()
	core := stator.Core{Slots: 24}
	lay := func(v, w string) []winding.Fault {
		s := winding.Scheme{Poles: 4, CoilSets: []winding.CoilSet{
			{Role: winding.PhaseU, Coils: parseCoils(t, "1-7x10")},
			{Role: winding.PhaseV, Coils: parseCoils(t, v)},
			{Role: winding.PhaseW, Coils: parseCoils(t, w)},
		}}
		all := [][]winding.Coil{s.CoilSets[0].Coils, s.CoilSets[1].Coils, s.CoilSets[2].Coils}
		return winding.Faults(s, all, core)
	}
	require.Empty(t, lay("5-11x10", "9-15x10"))
	require.Empty(t, lay("11-5x10", "9-15x10"), "the ends of a phase may be swapped")
	require.Len(t, lay("5-11x10", "5-11x10"), 1, "two phases on one axis")
	require.Len(t, lay("4-10x10", "9-15x10"), 1, "90 degrees")
	require.Len(t, lay("5-11x10", "9-15x9"), 1, "fewer turns")
}

// TestHeatingOutside wants no curve where readings do not bend, and no unbalance of one voltage.
func TestHeatingOutside(t *testing.T) {
	t.Parallel()
	for _, c := range [][3]float64{{20, 40, 30}, {20, 50, 30}, {20, 20, 30}, {20, 10, 30}, {0, 10, 30}, {-5, 10, 30}, {20, 30, 0}, {math.NaN(), 30, 30}} {
		_, _, ok := winding.HeatingCurve(unit.Kelvin(c[0]), unit.Kelvin(c[1]), c[2])
		require.False(t, ok, "%v", c)
	}
	require.Zero(t, winding.VoltageUnbalance(230))
	require.Zero(t, winding.VoltageUnbalance(0, 0))
	require.Zero(t, winding.VoltageUnbalance(400, 400, 400))
	require.InDelta(t, 1, float64(winding.RiseAt(1, 1e9, 1)), 1e-12)
	require.Zero(t, float64(winding.RiseAt(40, 0, 1)))
}

// TestFactorFunctions sets the closed forms against the star of slots for whole slots per pole and phase.
func TestFactorFunctions(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ slots, poles, span int }{{24, 4, 5}, {36, 4, 7}, {36, 6, 5}, {48, 4, 10}, {54, 6, 8}} {
		q := c.slots / 3 / c.poles
		beta := 180 * float64(c.poles) / float64(c.slots)
		short := 180 - beta*float64(c.span)
		all, _, err := winding.ExpandScheme(threePhase(c.poles, c.span+1, c.slots/3, 1), stator.Core{Slots: c.slots})
		require.NoError(t, err)
		for _, h := range winding.HarmonicOrders {
			want := math.Abs(winding.PitchFactor(short, h) * winding.DistributionFactor(q, beta, h))
			got, _ := winding.Factor(all[0], c.slots, c.poles, h)
			require.InDelta(t, want, got, 1e-9, "%+v harmonic %d", c, h)
		}
	}
	require.InDelta(t, 1, winding.DistributionFactor(4, 0, 1), 1e-12, "coils that all add up")
	require.InDelta(t, -1, winding.DistributionFactor(2, 360, 1), 1e-9, "the limit where the formula divides by zero")
	require.False(t, math.IsNaN(winding.DistributionFactor(3, 360, 5)))
}

// TestStarAndDelta checks line resistances against each other: a star of R and a delta of 3R read alike.
func TestStarAndDelta(t *testing.T) {
	t.Parallel()
	require.InDelta(t, float64(winding.StarTerminals(5)), float64(winding.DeltaTerminals(15)), 1e-12)
	require.InDelta(t, float64(winding.DeltaTerminals(15)), float64(winding.DeltaPair(15, 15, 15)), 1e-12)
	require.InDelta(t, 10*30/40.0, float64(winding.DeltaPair(10, 10, 20)), 1e-12)
}

// TestTurnsFarOffAreFound takes 274 turns for 472, and does not fall over a mass that is not a number.
func TestTurnsFarOffAreFound(t *testing.T) {
	t.Parallel()
	s := soundSheet(t)
	set := &s.Scheme.CoilSets[1]
	set.Pattern.Turns = []float64{472}
	weigh(t, &s)
	set.Pattern.Turns = []float64{274}
	got := winding.Check(s, benchTable(t))
	require.Contains(t, codes(got.Findings), "turns_disagree")

	s = soundSheet(t)
	s.Scheme.CoilSets[1].Mass = unit.Of(math.NaN())
	got = winding.Check(s, benchTable(t))
	require.True(t, math.IsNaN(got.Figures[1].LnMass))
	require.False(t, math.IsNaN(got.Figures[0].LnMass))
}

// TestCheckOfUnknownWireStillChecksTheRest wants one bad wire not to hide another set's slip.
func TestCheckOfUnknownWireStillChecksTheRest(t *testing.T) {
	t.Parallel()
	s := soundSheet(t)
	s.Scheme.CoilSets[0].Wires = []wire.Wire{{System: wire.AWG, Size: "99", Conductor: wire.Copper, Strands: 1}}
	s.Scheme.CoilSets[1].Wires[0].Size = "36"
	got := winding.Check(s, benchTable(t))
	require.Equal(t, winding.Impossible, got.Verdict)
	require.Contains(t, codes(got.Findings), "wire_disagrees")
}

// TestOneImpossibleSetDoesNotHideTheOthers expands what can be expanded.
func TestOneImpossibleSetDoesNotHideTheOthers(t *testing.T) {
	t.Parallel()
	s := soundSheet(t)
	s.Scheme.CoilSets[0].Pattern.Throws = []int{6, 5}
	s.Scheme.CoilSets[1].Wires[0].Size = "36"
	got := winding.Check(s, benchTable(t))
	require.Contains(t, codes(got.Findings), "not_concentric")
	require.Contains(t, codes(got.Findings), "wire_disagrees")
	require.Len(t, got.Figures, 1)
}

// TestUnevenSlots finds a three-phase winding that leaves slots empty.
func TestUnevenSlots(t *testing.T) {
	t.Parallel()
	s := winding.Sheet{Core: stator.Core{Slots: 24}, Scheme: winding.Scheme{Poles: 4, CoilSets: []winding.CoilSet{
		{Role: winding.PhaseU, Coils: parseCoils(t, "1-7x10")},
		{Role: winding.PhaseV, Coils: parseCoils(t, "5-11x10")},
		{Role: winding.PhaseW, Coils: parseCoils(t, "9-15x10")},
	}}}
	require.Contains(t, codes(winding.Check(s, benchTable(t)).Findings), "slots_uneven")
}
