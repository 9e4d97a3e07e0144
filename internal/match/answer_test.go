package match

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
)

// TestMiscountedSlots: who counts a slot too few or too many is told, as likely as the answer says that it was so; who
// counts rightly is told nothing.
func TestMiscountedSlots(t *testing.T) {
	t.Parallel()
	w := sampleWorld()
	told := 0
	for i := range 40 {
		q, r := exactQuery(w, i*41)
		slots := q.Measurements.Slots
		slotsOf := func(a *Answer) int {
			return slices.IndexFunc(a.Readings, func(r ReadAs) bool { return r.Field == "slots" })
		}
		right := mustMatch(t, w.index, q)
		require.Negative(t, slotsOf(&right))

		q.Measurements.Slots = slots - 1 + 2*(i%2)
		a := mustMatch(t, w.index, q)
		if len(a.Cores) == 0 || a.Cores[0].CoreID != r.CoreID || a.Cores[0].Probability < 0.6 {
			continue
		}
		told++
		at := slotsOf(&a)
		require.GreaterOrEqual(t, at, 0)
		require.Equal(t, float64(q.Measurements.Slots), a.Readings[at].Typed)
		require.Equal(t, float64(slots), a.Readings[at].ReadAs)
		require.GreaterOrEqual(t, a.Readings[at].Probability, a.Cores[0].Probability-1e-9)
		require.LessOrEqual(t, a.Readings[at].Probability, 1.0)
	}
	require.Greater(t, told, 10)
}
