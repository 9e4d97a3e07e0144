package match

import (
	"testing"

	"github.com/stretchr/testify/require"

	"statorbook/internal/stator"
	"statorbook/internal/unit"
)

// TestOnlySlotsAndRotor: a broad answer, never an empty one.
func TestOnlySlotsAndRotor(t *testing.T) {
	t.Parallel()
	x := sampleWorld().index
	a := mustMatch(t, x, Query{Measurements: stator.Core{Slots: 24, RotorPosition: stator.RotorInside}})
	require.Len(t, a.Candidates, defaultLimit)
	require.Less(t, a.Candidates[0].Probability, 0.3)
	require.Greater(t, a.UnlistedProbability, 0.2)
	require.NotEmpty(t, a.Overall)
	require.Greater(t, a.Overall[0].SeriesTurns.P95, 3*a.Overall[0].SeriesTurns.P05)
	require.NotEmpty(t, a.Proposals)
	require.NotEmpty(t, a.Next)
	require.Nil(t, a.Decided)
	for i := 1; i < len(a.Next); i++ {
		require.GreaterOrEqual(t, a.Next[i-1].Bits, a.Next[i].Bits)
	}
}

// TestNothingGiven: not even slots: still a sound answer.
func TestNothingGiven(t *testing.T) {
	t.Parallel()
	a := mustMatch(t, sampleWorld().index, Query{})
	require.NotEmpty(t, a.Candidates)
	require.NotEmpty(t, a.Proposals)
}

// TestSlotsNearNothing: 56 slots, which no lamination has: no NaN, "not in the catalogue", and an
// estimate that says what it stands on.
func TestSlotsNearNothing(t *testing.T) {
	t.Parallel()
	x := sampleWorld().index
	c := stator.Core{Slots: 56, RotorPosition: stator.RotorInside, GapDiameter: unit.Of(120), BackDiameter: unit.Of(190), StackLength: unit.Of(80), ToothWidth: unit.Of(3.2)}
	a := mustMatch(t, x, Query{Measurements: c})
	require.Greater(t, a.None.Family, 0.9)
	require.NotNil(t, a.Decided)
	require.True(t, a.Decided.None)
	require.Equal(t, "estimated", a.Status)
	for _, p := range a.Proposals {
		require.NotEqual(t, methodRecord, p.Basis.Method)
	}
	require.Contains(t, extrapolatedFields(&a), "slots")
}

func extrapolatedFields(a *Answer) []string {
	var out []string
	for _, e := range a.Extrapolated {
		out = append(out, e.Field)
	}
	return out
}

// TestExtrapolation: a gap diameter beyond the catalogue is flagged with the range that it covers.
func TestExtrapolation(t *testing.T) {
	t.Parallel()
	x := sampleWorld().index
	c := stator.Core{Slots: 24, RotorPosition: stator.RotorInside, GapDiameter: unit.Of(263.7), BackDiameter: unit.Of(411.9), StackLength: unit.Of(83.3)}
	a := mustMatch(t, x, Query{Measurements: c})
	require.Contains(t, extrapolatedFields(&a), "gap_diameter_mm")
	for _, e := range a.Extrapolated {
		require.True(t, e.Value < e.Low || e.Value > e.High)
	}
	require.Greater(t, a.None.Family, 0.9)
}

// TestTheLargestIsNotOutside: a core as large as the largest of the catalogue is not outside its range, one a
// thirtieth larger is; the index keeps dimensions in steps.
func TestTheLargestIsNotOutside(t *testing.T) {
	t.Parallel()
	x := sampleWorld().index
	positions := []stator.RotorPosition{rotorInside: stator.RotorInside, rotorOutside: stator.RotorOutside}
	for rotor, ranges := range x.model.ranges {
		for d, r := range ranges {
			if r[1] == 0 || dim(d) >= dTooth2 && dim(d) < dStack {
				continue
			}
			for k, times := range []float64{1, 1 + 1.0/30} {
				core := withReading(&stator.Core{RotorPosition: positions[rotor]}, dim(d), hundredth(r[1])*times)
				var a Answer
				x.extrapolated(x.prepare(&Query{Measurements: core}), &a)
				require.Len(t, a.Extrapolated, k, "%s of %v", dims[d].field, hundredth(r[1])*times)
			}
		}
	}
}
