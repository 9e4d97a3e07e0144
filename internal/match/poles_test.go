package match

import (
	"testing"

	"github.com/stretchr/testify/require"

	"statorbook/internal/winding"
)

func shares(list []poleCount) (sum float64, of map[[2]int]float64) {
	of = map[[2]int]float64{}
	for _, c := range list {
		sum += c.share
		of[[2]int{int(c.phases), int(c.poles)}] += c.share
	}
	return sum, of
}

// TestPriorPoles: inside rotors have 2 to 8 poles, but not more than the slots bear; fans about one pole a slot. Never
// nothing, and every pole number even.
func TestPriorPoles(t *testing.T) {
	t.Parallel()
	for slots := 2; slots <= 72; slots++ {
		for _, rotor := range []uint8{rotorInside, rotorOutside} {
			list := priorPoles(rotor, slots)
			sum, of := shares(list)
			require.Positive(t, sum)
			require.Len(t, of, len(list), "each once")
			for key := range of {
				require.Zero(t, key[1]%2)
				require.LessOrEqual(t, key[1], max(slots, 2))
			}
		}
	}
	_, of := shares(priorPoles(rotorOutside, 14))
	require.Greater(t, of[[2]int{1, 14}], 10*of[[2]int{3, 14}])
	_, of = shares(priorPoles(rotorInside, 24))
	require.Greater(t, of[[2]int{1, 4}], of[[2]int{1, 8}])
}

// TestPolesOf: a lamination's own records outweigh the general table the more of them there are, and nothing is
// impossible. A ring that nobody catalogued has the prior.
func TestPolesOf(t *testing.T) {
	t.Parallel()
	poles := func(n int) func(*RecordEntry) {
		return func(e *RecordEntry) { e.Scheme.Poles, e.Nameplate.Poles = n, n }
	}
	few, many := plainIndex(poles(6)), plainIndex(poles(6), poles(6), poles(6), poles(6), poles(6), poles(2))
	_, one := shares(few.polesOf(0))
	sum, six := shares(many.polesOf(0))
	require.InDelta(t, 1, sum, 1e-12)
	require.Greater(t, six[[2]int{1, 6}], one[[2]int{1, 6}])
	require.Greater(t, six[[2]int{1, 6}], 0.6)
	require.Greater(t, six[[2]int{1, 2}], six[[2]int{1, 8}])
	require.Positive(t, six[[2]int{3, 4}])
	require.Equal(t, priorPoles(rotorInside, 37), many.model.polesAt(rotorInside, 37))

	// Sorted: the most usual first, which readAsNew and expects take for the poles of a context.
	list := many.model.polesAt(rotorInside, 24)
	for i := 1; i < len(list); i++ {
		require.GreaterOrEqual(t, list[i-1].share, list[i].share)
	}
	only := onlyPoles(list, 4)
	sum, _ = shares(only)
	require.InDelta(t, 1, sum, 1e-12)
	for _, c := range only {
		require.Equal(t, uint8(4), c.poles)
	}
}

// TestAgreement: neighbouring records of one lamination are compared, those of two laminations are not.
func TestAgreement(t *testing.T) {
	t.Parallel()
	of := func(family string, n int) func(*RecordEntry) {
		return func(e *RecordEntry) { e.FamilyID, e.Scheme.Poles = family, n }
	}
	x := plainIndex(of("f", 4), of("f", 4), of("f", 2), of("g", 2), of("g", 2))
	same, pairs := x.agreement(0, 2)
	require.Equal(t, 3.0, pairs)
	require.Equal(t, 2.0, same)
	y := plainIndex(nil, func(e *RecordEntry) { e.Scheme.CoilSets[0].Role = winding.PhaseU })
	same, _ = y.agreement(0, 1)
	require.Zero(t, same, "as many poles, other phases")
}
