package winding_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"statorbook/internal/errs"
	"statorbook/internal/stator"
	"statorbook/internal/unit"
	"statorbook/internal/winding"
)

// fan is an invented two-ring ceiling-fan stator, 14+14 slots, 14 poles, whole-coil, 230 V 50 Hz.
func fan() winding.AnalysisInput {
	tooth := func(turns float64) *winding.Pattern {
		return &winding.Pattern{
			Kind:      winding.Tooth,
			Throws:    []int{2},
			Turns:     []float64{turns},
			Groups:    14,
			Alternate: yes(),
		}
	}
	return winding.AnalysisInput{
		Core: stator.Core{Phases: 1, RotorPosition: stator.RotorOutside, Slots: 14, GapDiameter: unit.Of(130), BackDiameter: unit.Of(64), StackLength: unit.Of(20),
			ToothWidth: unit.Of(14), SlotDepth: unit.Of(12), BackIron: unit.Of(7), SlotAreaBasis: stator.AreaNet,
			SecondRing: &stator.Ring{Slots: 14, ToothWidth: unit.Of(9), SlotDepth: unit.Of(14), SlotOpening: unit.Of(2), TurnedSlots: unit.Of(0.5)}},
		Nameplate: &winding.Nameplate{
			Voltage:    unit.Of(230),
			Frequency:  unit.Of(50),
			Current:    unit.Of(0.35),
			Speed:      unit.Of(370),
			SweepMM:    unit.Of(1200),
			Connection: winding.ConnSingle,
		},
		Scheme: winding.Scheme{Poles: 14, CoilSets: []winding.CoilSet{
			{Role: winding.Main, Ring: winding.RingGap, Pattern: tooth(290), Wires: bare(0.28, 1)},
			{Role: winding.Auxiliary, Ring: winding.RingBack, Pattern: tooth(300), Wires: bare(0.28, 1)},
		}},
	}
}

// TestFan checks a two-ring fan by hand: kw 1, axes 90 degrees apart, both rings' teeth and the slit legs.
func TestFan(t *testing.T) {
	t.Parallel()
	in := fan()
	got, err := winding.Analyse(in, benchTable(t))
	require.NoError(t, err)
	for _, r := range got.Roles {
		require.InDelta(t, 1, *r.WindingFactor, 1e-12)
	}
	require.InDelta(t, 90, *got.Displacement, 1e-9)
	require.InDelta(t, 300.0/290, *got.TurnsRatio, 1e-12)
	require.InDelta(t, 60*50*2/14.0, float64(got.Speed.Synchronous), 1e-9)
	flux := float64(*got.FluxPerPole)
	require.InDelta(t, 0.93*230*1000/(winding.EMFConstant*50*14*290), flux, 1e-9)
	// One slot per pole: sin(π/2) = 1, so all the flux of a pole goes through a tooth; the slits double the openings.
	require.Equal(t, []winding.ToothDensity{
		{Ring: winding.RingGap, Part: "tooth", T: got.Densities.Teeth[0].T},
		{Ring: winding.RingGap, Part: "slit_leg", T: got.Densities.Teeth[1].T},
		{Ring: winding.RingBack, Part: "tooth", T: got.Densities.Teeth[2].T},
	}, got.Densities.Teeth)
	require.InDelta(t, 1000*flux/(14*20*0.95), got.Densities.Teeth[0].T, 1e-9)
	require.InDelta(t, 1000*flux*0.70710678118/(6*20*0.95), got.Densities.Teeth[1].T, 1e-9)
	require.InDelta(t, 1000*flux/(9*20*0.95), got.Densities.Teeth[2].T, 1e-9)
	require.InDelta(t, 1000*flux/(2*7*20*0.95), got.Densities.BackIron, 1e-9)
	require.Len(t, got.Slots, 28)
	require.Len(t, got.Fill, 28)
	// The inner ring lies below the outer one: its coils are wound round narrower teeth.
	require.Less(t, float64(*got.Roles[1].MeanTurn), float64(*got.Roles[0].MeanTurn))
	for _, f := range got.Findings {
		require.Equal(t, errs.SeverityNote, f.Severity, f.Message)
	}
	require.InDelta(t, 253*1.43885, float64(got.Capacitor.Volts), 0.05) // 253 V·√(1+1.0345²)
	require.Equal(t, []string{"common-run", "common-start", "run-start"}, []string{got.Terminals[0].Pair, got.Terminals[1].Pair, got.Terminals[2].Pair})
	require.InDelta(t, float64(got.Terminals[0].Resistance20+got.Terminals[1].Resistance20), float64(got.Terminals[2].Resistance20), 1e-9)
}

// TestHalfCoilFan wants half as many coils, all in one sense, to make the same poles.
func TestHalfCoilFan(t *testing.T) {
	t.Parallel()
	in := fan()
	for i := range in.Scheme.CoilSets {
		p := in.Scheme.CoilSets[i].Pattern
		p.Groups, p.Alternate, p.Turns = 7, nil, []float64{2 * p.Turns[0]}
	}
	got, err := winding.Analyse(in, benchTable(t))
	require.NoError(t, err)
	fields := map[string]any{}
	for _, a := range got.Assumed {
		require.NotEmpty(t, a.Why)
		fields[a.Field] = a.Value
	}
	require.Equal(t, "no", fields["scheme.coil_sets[0].alternate"])
	require.InDelta(t, 1, fields["scheme.coil_sets[1].first_slot"], 0)
	require.Contains(t, fields, "back_emf_ratio")
	require.Contains(t, fields, "stacking_factor")
	require.Contains(t, fields, "core.second_ring.slot_area_mm2")
	require.InDelta(t, 1, *got.Roles[0].WindingFactor, 1e-12)
	require.InDelta(t, 90, *got.Displacement, 1e-9)
	require.Equal(t, 7, got.Roles[0].Coils)

	wrong := yes()
	in.Scheme.CoilSets[0].Pattern.Alternate = wrong // half-coil groups in alternating sense cancel
	got, err = winding.Analyse(in, benchTable(t))
	require.NoError(t, err)
	require.Contains(t, codes(got.Findings), "no_working_field")
}

// TestCapacitorVolts gives the two figures of the project's formula page: 253 V, a = 1.3 and 1.8.
func TestCapacitorVolts(t *testing.T) {
	t.Parallel()
	require.InDelta(t, 415, float64(winding.CapacitorVolts(winding.HighestSupply(230), 1.3)), 0.5)
	require.InDelta(t, 521, float64(winding.CapacitorVolts(winding.HighestSupply(230), 1.8)), 0.5)
}
