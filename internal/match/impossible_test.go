package match

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"statorbook/internal/errs"
	"statorbook/internal/stator"
	"statorbook/internal/unit"
	"statorbook/internal/winding"
)

// TestReadingNotRefused: 1180 for 118 is a reading, in a core that nothing else makes impossible and in one
// that it does.
func TestReadingNotRefused(t *testing.T) {
	t.Parallel()
	w := sampleWorld()
	q, r := exactQuery(w, 0)
	back := q.Measurements.BackDiameter.Value
	q.Measurements.BackDiameter = unit.Of(back * 10)
	a := mustMatch(t, w.index, q)
	require.Equal(t, r.CoreID, a.Cores[0].CoreID)
	require.Len(t, a.Readings, 1)
	require.Equal(t, "back_diameter_mm", a.Readings[0].Field)
	require.InDelta(t, back, a.Readings[0].ReadAs, 0.3)
	require.Greater(t, a.Readings[0].Probability, 0.5)
}

// TestOneExplanationOfAnImpossibleCore: where the catalogue tells which figure was meant and that makes the core possible,
// no second figure is called wrong (a back diameter of 93.4 mm is not 93.4 inches because the gap diameter lacks its point).
func TestOneExplanationOfAnImpossibleCore(t *testing.T) {
	t.Parallel()
	w := sampleWorld()
	told := 0
	for i := range 60 {
		q, _ := exactQuery(w, i)
		if q.Measurements.RotorPosition != stator.RotorInside || !q.Measurements.GapDiameter.Given {
			continue
		}
		gap := q.Measurements.GapDiameter.Value
		q.Measurements.GapDiameter = unit.Of(gap * 10)
		a := mustMatch(t, w.index, q)
		require.True(t, slices.ContainsFunc(a.Readings, func(r ReadAs) bool { return r.Field == "gap_diameter_mm" && math.Abs(r.ReadAs-gap) < 0.5 }), "%+v", a.Readings)
		require.Len(t, a.Readings, 1, "%+v", a.Readings)
		for _, f := range a.Findings {
			if f.LikelySlip != nil {
				require.Equal(t, "measurements.gap_diameter_mm", f.LikelySlip.Field)
				told++
			}
		}
	}
	require.Greater(t, told, 10)
}

// TestImpossibleGeometry follows the contract: 422 only if no alternative reading removes the impossibility.
func TestImpossibleGeometry(t *testing.T) {
	t.Parallel()
	x := sampleWorld().index
	core := func(edit func(*stator.Core)) Query {
		c := demoCore()
		edit(&c)
		return Query{Measurements: c}
	}
	for _, c := range []struct {
		name    string
		q       Query
		refused bool
		field   string
	}{
		{"gap ten times", core(func(c *stator.Core) { c.GapDiameter = unit.Of(660) }), false, "gap_diameter_mm"},
		{"tooth ten times", core(func(c *stator.Core) { c.ToothWidth = unit.Of(41) }), false, "tooth_width_mm"},
		{"depth with digits swapped", core(func(c *stator.Core) { c.SlotDepth = unit.Of(51.1) }), false, "slot_depth_mm"},
		{"gap on the wrong side in every reading", Query{Measurements: stator.Core{Slots: 24, RotorPosition: stator.RotorInside, GapDiameter: unit.Of(777), BackDiameter: unit.Of(0.11)}}, true, "/measurements/gap_diameter_mm"},
		{"negative", core(func(c *stator.Core) { c.StackLength = unit.Of(-45) }), true, "/measurements/stack_length_mm"},
		{"not a number", core(func(c *stator.Core) { c.StackLength = unit.Of(math.NaN()) }), true, "/measurements/stack_length_mm"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			a, err := x.Match(c.q)
			if c.refused {
				require.Error(t, err)
				require.Equal(t, errs.KindImpossible, errs.KindOf(err))
				var e *errs.Error
				require.ErrorAs(t, err, &e)
				require.NotEmpty(t, e.Fields)
				require.Equal(t, c.field, e.Fields[0].Pointer)
				return
			}
			require.NoError(t, err)
			requireSound(t, &a)
			require.True(t, slices.ContainsFunc(a.Readings, func(r ReadAs) bool { return r.Field == c.field }), "%+v", a.Readings)
		})
	}
}

// TestContradictoryReadings: every dimension is of another machine; the answer stays sound and knows that it knows little.
func TestContradictoryReadings(t *testing.T) {
	t.Parallel()
	c := stator.Core{Slots: 24, RotorPosition: stator.RotorInside, GapDiameter: unit.Of(31.3), BackDiameter: unit.Of(199), StackLength: unit.Of(3), ToothWidth: unit.Of(0.4), SlotDepth: unit.Of(0.9), SlotOpening: unit.Of(3.9), BackIron: unit.Of(44), SlotArea: unit.Of(0.7)}
	a, err := sampleWorld().index.Match(Query{Measurements: c, Nameplate: &winding.Nameplate{Voltage: unit.Of(13), Frequency: unit.Of(50), Power: unit.Of(2999), Current: unit.Of(0.001), Speed: unit.Of(99999), Poles: 70, Connection: "delta"}})
	require.NoError(t, err)
	requireSound(t, &a)
	require.Greater(t, a.None.Core, 0.5)
}
