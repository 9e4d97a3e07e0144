package match

import (
	"testing"

	"github.com/stretchr/testify/require"

	"statorbook/internal/stator"
)

// TestNextTellsNewLaminationsApart takes gap, back and a stack that is not listed: as long as the lamination is in doubt,
// a dimension of the lamination is worth reading.
func TestNextTellsNewLaminationsApart(t *testing.T) {
	t.Parallel()
	w := sampleWorld()
	doubtful := 0
	for i := range 60 {
		full, _ := exactQuery(w, i*31)
		c := full.Measurements
		stack := c.StackLength
		stack.Value *= 1.4
		q := Query{Measurements: stator.Core{Slots: c.Slots, RotorPosition: c.RotorPosition, GapDiameter: c.GapDiameter, BackDiameter: c.BackDiameter, StackLength: stack}}
		a := mustMatch(t, w.index, q)
		if a.Decided != nil || a.None.Core < 0.5 || a.None.Family < 0.2*a.None.Core || a.None.Family > 0.8*a.None.Core {
			continue
		}
		doubtful++
		require.NotEmpty(t, a.Next)
		require.Contains(t, []string{dims[dBack].field, dims[dTooth].field, dims[dDepth].field, dims[dOpening].field, dims[dYoke].field}, a.Next[0].Field)
		require.Greater(t, a.Next[0].Bits, 0.1)
	}
	require.Greater(t, doubtful, 5)
}

// TestDecided: more dimensions are not asked for when one core is certain.
func TestDecided(t *testing.T) {
	t.Parallel()
	w := sampleWorld()
	decided := 0
	for i := 0; i < 60; i++ {
		q, r := exactQuery(w, i*31)
		a := mustMatch(t, w.index, q)
		if a.Decided == nil {
			continue
		}
		decided++
		require.GreaterOrEqual(t, a.Decided.Probability, decidedAt)
		require.Empty(t, a.Next)
		require.Equal(t, r.CoreID, a.Decided.CoreID)
		require.NotEmpty(t, a.Decided.Text)
	}
	require.Greater(t, decided, 20)
}
