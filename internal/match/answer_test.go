package match

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"statorbook/internal/stator"
	"statorbook/internal/unit"
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

// TestShareOfARepair: 24 teeth of 9 mm do not fit round 54.3 mm; the reading that is taken for it is as likely as
// its share among all readings that make the core possible, and all of them together explain no more than slips do.
func TestShareOfARepair(t *testing.T) {
	t.Parallel()
	c := stator.Core{Slots: 24, RotorPosition: stator.RotorInside, GapDiameter: unit.Of(54.3), BackDiameter: unit.Of(93.4), StackLength: unit.Of(27), ToothWidth: unit.Of(9)}
	repaired, _, err := checkGeometry(&c)
	require.NoError(t, err)
	require.Len(t, repaired, 1)

	var best, all float64
	for _, d := range []dim{dGap, dBack, dTooth, dStack} {
		for _, a := range alternatives(d.of(&c)) {
			if trial := withReading(&c, d, a.value); !stator.Impossible(stator.Check(trial)) {
				all += a.share
				best = max(best, a.share)
			}
		}
	}
	require.Less(t, best, all, "more than one reading would do")
	require.InDelta(t, altShare*best/all, repaired[0].Probability, 1e-12)
	require.Less(t, repaired[0].Probability, altShare)
}
