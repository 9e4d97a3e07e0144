package match

import (
	"math"
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

// TestClassBits: two equally likely classes that are always read right tell one bit, and less the worse they are read;
// classes of which one is certain tell nothing, and records that are not likely do not count.
func TestClassBits(t *testing.T) {
	t.Parallel()
	x := &Index{recs: make([]record, 4)}
	for i := range x.recs {
		x.recs[i].poles = uint8(2 + 2*(i%2))
	}
	bits := func(right float64, w ...float64) float64 {
		k := &work{}
		for i, v := range w {
			k.recs = append(k.recs, recWeight{rec: uint32(i), w: v})
		}
		return x.classBits(k, nil, right, func(r *record) int { return int(r.poles) })
	}
	require.InDelta(t, 1, bits(1-1e-12, 0.5, 0.5), 1e-6)
	require.InDelta(t, 1, bits(1-1e-12, 0.25, 0.25, 0.25, 0.25), 1e-6, "two classes, of two records each")
	require.InDelta(t, 0.5, bits(1-1e-12, 0.25, 0.25), 1e-6, "half is no record at all")
	require.Less(t, bits(0.9, 0.5, 0.5), bits(0.99, 0.5, 0.5))
	require.InDelta(t, -0.8*math.Log2(0.8)-0.2*math.Log2(0.2), bits(1-1e-12, 0.8, 0.2), 1e-6)
	require.Zero(t, bits(0.99, 0.9, 0, 0.1), "both of two poles")
	require.Zero(t, bits(0.99, 0.02, 0.02))
	require.Zero(t, bits(0.6, 0.5, 0.5), "read by guessing")
}

// TestDecide: 95 % for one core or for none ends the measuring.
func TestDecide(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		core, none float64
		want       *Decision
	}{{0.96, 0.03, &Decision{CoreID: "c", Probability: 0.96}}, {0.02, 0.95, &Decision{None: true, Probability: 0.95}}, {0.94, 0.05, nil}, {0, 0, nil}} {
		a := Answer{Cores: []CoreProbability{{CoreID: "c", Probability: c.core}}, None: Unlisted{Core: c.none}}
		(&Index{}).decide(&a)
		if c.want == nil {
			require.Nil(t, a.Decided)
			continue
		}
		require.Equal(t, [3]any{c.want.CoreID, c.want.None, c.want.Probability}, [3]any{a.Decided.CoreID, a.Decided.None, a.Decided.Probability})
		require.NotEmpty(t, a.Decided.Text)
	}
}
