package match

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"statorbook/internal/stator"
	"statorbook/internal/unit"
	"statorbook/internal/winding"
)

// TestSecondRingIsJudged: the inner ring of a fan that is not catalogued was measured, so its teeth, the legs beside
// its slits and the fill of its slots are told.
func TestSecondRingIsJudged(t *testing.T) {
	t.Parallel()
	q := Query{Measurements: stator.Core{Phases: 1, RotorPosition: stator.RotorOutside, Slots: 16, GapDiameter: unit.Of(137.9), BackDiameter: unit.Of(88.8), StackLength: unit.Of(29),
		ToothWidth: unit.Of(12.9), SlotDepth: unit.Of(8.1), SlotOpening: unit.Of(2.5),
		SecondRing: &stator.Ring{Slots: 16, ToothWidth: unit.Of(7.1), SlotDepth: unit.Of(7.4), SlotOpening: unit.Of(2.3)}},
		Supply: &winding.Supply{Voltage: unit.Of(230), Frequency: unit.Of(50), Phases: 1}}
	a := mustMatch(t, sampleWorld().index, q)
	require.Greater(t, a.None.Family, 0.5, "a lamination of its own")
	seen := 0
	for _, p := range a.Proposals {
		if p.Basis.Method != methodReference || len(p.CoilSets) < 2 || p.Densities == nil {
			continue
		}
		seen++
		parts := map[string]bool{}
		for _, tooth := range p.Densities.Teeth {
			parts[string(tooth.Ring)+" "+tooth.Part] = true
		}
		require.Equal(t, map[string]bool{"gap tooth": true, "gap slit_leg": true, "back tooth": true}, parts)
		for _, s := range p.CoilSets {
			require.NotNil(t, s.Fill, "%s", s.Role)
		}
	}
	require.Positive(t, seen)
}

// TestThinnerAuxiliary: where the pattern's proportion makes the slots too full, the auxiliary of a predicted winding
// is taken thinner and that is told; the main winding, which the readings speak of, stays.
func TestThinnerAuxiliary(t *testing.T) {
	t.Parallel()
	const step = "the auxiliary's wire is taken thinner"
	told := 0
	for _, a := range sampleAnswers() {
		for i := range a.Proposals {
			p := &a.Proposals[i]
			if !slices.ContainsFunc(p.Basis.Steps, func(s string) bool { return len(s) > len(step) && s[:len(step)] == step }) {
				continue
			}
			told++
			require.NotEqual(t, methodRecord, p.Basis.Method)
			require.LessOrEqual(t, p.squareFill(), winding.HandFill().High)
			require.Nil(t, findingOf(p, winding.CodeSquareFill))
		}
	}
	require.Positive(t, told)
}
