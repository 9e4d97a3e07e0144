package winding_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"statorbook/internal/stator"
	"statorbook/internal/unit"
	"statorbook/internal/winding"
)

// fortyEight is a 48-slot double-layer three-phase stator, 4 poles, throw 1-11.
func fortyEight() winding.AnalysisInput {
	s := threePhase(4, 11, 16, 20)
	for i := range s.CoilSets {
		s.CoilSets[i].Wires = bare(0.8, 2)
	}
	return winding.AnalysisInput{
		Core: stator.Core{
			Phases:        3,
			RotorPosition: stator.RotorInside,
			Slots:         48,
			GapDiameter:   unit.Of(120),
			BackDiameter:  unit.Of(195),
			StackLength:   unit.Of(110),
			ToothWidth:    unit.Of(4),
			SlotDepth:     unit.Of(18),
			BackIron:      unit.Of(19.5),
		},
		Nameplate: &winding.Nameplate{
			Voltage:    unit.Of(400),
			Frequency:  unit.Of(50),
			Current:    unit.Of(6.5),
			Power:      unit.Of(3000),
			Speed:      unit.Of(1430),
			Connection: winding.ConnStar,
		},
		Scheme: s,
	}
}

// TestFortyEight gives the 48-slot winding of the benchmark against the table of winding factors (48/4, span 10).
func TestFortyEight(t *testing.T) {
	t.Parallel()
	got, err := winding.Analyse(fortyEight(), benchTable(t))
	require.NoError(t, err)
	for _, r := range got.Roles {
		require.InDelta(t, 0.925031, *r.WindingFactor, 1e-6)
		require.InDelta(t, 320, r.SeriesTurns, 0)
	}
	require.InDelta(t, 120, *got.Displacement, 1e-9)
	require.Len(t, got.Terminals, 3)
	require.InEpsilon(t, 2*float64(*got.Roles[0].Resistance20), float64(got.Terminals[0].Resistance20), 1e-12)
	require.InDelta(t, 2.0/3*float64(*got.Roles[0].Resistance20), float64(winding.DeltaTerminals(*got.Roles[0].Resistance20)), 1e-12)
	require.Nil(t, got.TurnsRatio)
	require.InDelta(t, 1-1430.0/1500, *got.Speed.Slip, 1e-12)
	require.Contains(t, got.Methods, "terminals")
	in := fortyEight()
	in.Nameplate.Connection = winding.ConnDelta
	delta, err := winding.Analyse(in, benchTable(t))
	require.NoError(t, err)
	require.InEpsilon(t, float64(got.Terminals[0].Resistance20)/3, float64(delta.Terminals[0].Resistance20), 1e-12)
	require.InEpsilon(t, float64(*got.FluxPerPole)*1.7320508, float64(*delta.FluxPerPole), 1e-6)
}

func BenchmarkAnalyse48DoubleLayer(b *testing.B) {
	in, table := fortyEight(), benchTable(b)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := winding.Analyse(in, table); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkAnalyseTwoRingFan(b *testing.B) {
	in, table := fan(), benchTable(b)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := winding.Analyse(in, table); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkCheck(b *testing.B) {
	s, table := soundSheet(b), benchTable(b)
	b.ReportAllocs()
	for b.Loop() {
		if winding.Check(s, table).Verdict != winding.Coherent {
			b.Fatal("not coherent")
		}
	}
}

func BenchmarkFactor(b *testing.B) {
	all, _, err := winding.ExpandScheme(fortyEight().Scheme, fortyEight().Core)
	require.NoError(b, err)
	b.ReportAllocs()
	for b.Loop() {
		winding.Factor(all[0], 48, 4, 1)
	}
}
