package match

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"statorbook/internal/errs"
	"statorbook/internal/stator"
	"statorbook/internal/unit"
	"statorbook/internal/winding"
)

// TestSlippedFrequency: a plate whose frequency alone was misread stays answered, listed or not: speed,
// current and what else it says still fit the mains. Once in ten times at most it is taken for a machine
// of another kind; before the rest of the plate was weighed on both sides that happened to half of the
// unlisted ones.
func TestSlippedFrequency(t *testing.T) {
	t.Parallel()
	w := sampleWorld()
	asked, refused := map[string]int{}, map[string]int{}
	for _, factor := range []float64{2, 8, 10, 0.1} {
		for i := range w.queries {
			q := w.queries[i].domain()
			if q.Nameplate == nil || !q.Nameplate.Frequency.Given {
				continue
			}
			plate := *q.Nameplate
			plate.Frequency = unit.Of(plate.Frequency.Value * factor)
			q.Nameplate = &plate
			a, err := w.index.Match(q)
			if err != nil {
				continue // the geometry is impossible
			}
			kind := w.queries[i].Truth.Kind
			asked[kind]++
			if a.None == (Unlisted{1, 1, 1}) && len(a.Proposals) == 0 {
				refused[kind]++
			}
		}
	}
	require.Greater(t, asked["record"], 400)
	require.Zero(t, refused["record"])
	require.Greater(t, asked["new_family"], 100)
	require.LessOrEqual(t, refused["new_family"]*10, asked["new_family"])
	require.LessOrEqual(t, refused["new_stack"]*10, asked["new_stack"])
}

// TestOtherMachines: a plate that says one thing throughout, and not what matching answers for, stands.
func TestOtherMachines(t *testing.T) {
	t.Parallel()
	unlike := stator.Core{Slots: 24, RotorPosition: stator.RotorInside, GapDiameter: unit.Of(83.3), BackDiameter: unit.Of(131.7), StackLength: unit.Of(71.9)}
	for name, plate := range map[string]winding.Nameplate{
		"400 Hz, alone":           {Frequency: unit.Of(400), Voltage: unit.Of(200)},
		"400 Hz, its speed":       {Frequency: unit.Of(400), Voltage: unit.Of(200), Speed: unit.Of(11500), Poles: 4},
		"400 Hz, the whole plate": {Frequency: unit.Of(400), Voltage: unit.Of(200), Power: unit.Of(2000), Current: unit.Of(7), Speed: unit.Of(7600), Poles: 6},
		"200 Hz, its speed":       {Frequency: unit.Of(200), Voltage: unit.Of(200), Speed: unit.Of(5800), Poles: 4},
		"7.5 kW":                  {Power: unit.Of(7500), Voltage: unit.Of(400), Frequency: unit.Of(50), Current: unit.Of(15), Speed: unit.Of(1440), Poles: 4},
	} {
		a := mustMatch(t, sampleWorld().index, Query{Measurements: unlike, Nameplate: &plate})
		require.Equal(t, Unlisted{1, 1, 1}, a.None, name)
		require.Empty(t, a.Proposals, name)
	}
	// The density of the rest of a plate: faster than its field is hardly a reading of any machine.
	x := sampleWorld().index
	rest := func(speed float64) float64 {
		return x.prepare(&Query{Measurements: unlike, Nameplate: &winding.Nameplate{Frequency: unit.Of(400), Speed: unit.Of(speed), Poles: 4}}).otherMachine()
	}
	require.InDelta(t, wildDensity, rest(11500), 1e-9)
	require.InDelta(t, wildDensity*plateWild, rest(12500), 1e-9)
}

// TestOutsideService: matching abstains outside its range, and says so; a slip of the plate is no reason to.
func TestOutsideService(t *testing.T) {
	t.Parallel()
	w := sampleWorld()
	abstains := func(q Query) {
		t.Helper()
		a := mustMatch(t, w.index, q)
		require.Empty(t, a.Candidates)
		require.Empty(t, a.Proposals)
		require.Equal(t, Unlisted{1, 1, 1}, a.None)
		require.True(t, slices.ContainsFunc(a.Findings, func(f errs.Finding) bool { return f.Code == "outside_service_range" }))
	}
	abstains(Query{Measurements: stator.Core{Slots: 96, RotorPosition: stator.RotorInside, GapDiameter: unit.Of(300)}})
	unlike := stator.Core{Slots: 24, RotorPosition: stator.RotorInside, GapDiameter: unit.Of(83.3), BackDiameter: unit.Of(131.7), StackLength: unit.Of(71.9)}
	abstains(Query{Measurements: unlike, Nameplate: &winding.Nameplate{Frequency: unit.Of(400)}})
	abstains(Query{Measurements: unlike, Nameplate: &winding.Nameplate{Power: unit.Of(7500)}})

	q, r := exactQuery(w, 10)
	told := q
	told.Supply = &winding.Supply{Voltage: unit.Of(230), Frequency: unit.Of(400), Phases: 1}
	abstains(told) // the stator is known, but nothing is proposed for that supply
	n := *q.Nameplate
	n.Frequency = unit.Of(q.Nameplate.Frequency.Value * 10)
	q.Nameplate = &n
	a := mustMatch(t, w.index, q)
	require.Equal(t, r.CoreID, a.Cores[0].CoreID)
	require.True(t, slices.ContainsFunc(a.Findings, func(f errs.Finding) bool { return f.Code == "figure_doubtful" }))
}
