package match

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"statorbook/internal/stator"
	"statorbook/internal/unit"
	"statorbook/internal/winding"
	"statorbook/internal/wire"
)

// What a catalogue does not tell must neither speak for a record nor break an answer.

// plainRecord is a single-phase winding of the demo core for 230 V and 50 Hz.
func plainRecord(id string, edit func(*RecordEntry)) RecordEntry {
	c, yes := demoCore(), true
	set := func(role winding.Role, turns float64, size string) winding.CoilSet {
		return winding.CoilSet{Role: role, Ring: winding.RingGap, ParallelPaths: 1, Wires: []wire.Wire{{System: wire.SWG, Size: size, Conductor: wire.Copper, Build: wire.Grade2, Strands: 1}},
			Pattern: &winding.Pattern{Kind: winding.Concentric, Throws: []int{7, 5}, Turns: []float64{turns, turns / 2}, Groups: 4, Alternate: &yes}}
	}
	e := RecordEntry{ID: id, CoreID: "c", FamilyID: "f", Status: "demo", MotorType: "permanent_split_capacitor", Origin: "factory", TimesSeen: 1, CoreAsMeasured: &c,
		Nameplate: winding.Nameplate{Voltage: unit.Of(230), Frequency: unit.Of(50), Power: unit.Of(180), Poles: 4},
		Scheme:    winding.Scheme{Poles: 4, CoilSets: []winding.CoilSet{set(winding.Main, 100, "25"), set(winding.Auxiliary, 120, "28")}}}
	if edit != nil {
		edit(&e)
	}
	return e
}

func plainIndex(edits ...func(*RecordEntry)) *Index {
	b := NewBuilder(testWires())
	for i, edit := range edits {
		b.AddRecord(plainRecord(fmt.Sprint(i), edit))
	}
	return b.Build()
}

func probabilityOf(a *Answer, id string) float64 {
	for _, c := range a.Candidates {
		if c.WindingID == id {
			return c.Probability
		}
	}
	return 0
}

// TestUntoldPlate: of two records on one core, one of which does not tell a figure of its plate, the other is likelier
// when the plate says its figure and less likely when it says another. (A record that told no voltage was once taken
// to agree with any better than one that told the right one.)
func TestUntoldPlate(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		forget       func(*RecordEntry)
		right, wrong Query
	}{
		"voltage": {
			func(e *RecordEntry) { e.Nameplate.Voltage = unit.Measured{} },
			Query{Nameplate: &winding.Nameplate{Voltage: unit.Of(230)}}, Query{Nameplate: &winding.Nameplate{Voltage: unit.Of(110)}},
		},
		"voltage on site": {
			func(e *RecordEntry) { e.Nameplate.Voltage = unit.Measured{} },
			Query{Supply: &winding.Supply{Voltage: unit.Of(230)}}, Query{Supply: &winding.Supply{Voltage: unit.Of(110)}},
		},
		"frequency": {
			func(e *RecordEntry) { e.Nameplate.Frequency = unit.Measured{} },
			Query{Nameplate: &winding.Nameplate{Frequency: unit.Of(50)}}, Query{Nameplate: &winding.Nameplate{Frequency: unit.Of(60)}},
		},
		"kind of motor": {
			func(e *RecordEntry) { e.MotorType = "unknown" },
			Query{MotorType: "permanent_split_capacitor"}, Query{MotorType: "capacitor_start"},
		},
	} {
		x := plainIndex(nil, c.forget)
		c.right.Measurements, c.wrong.Measurements = demoCore(), demoCore()
		right, wrong := mustMatch(t, x, c.right), mustMatch(t, x, c.wrong)
		require.Greater(t, probabilityOf(&right, "0"), probabilityOf(&right, "1"), name)
		require.Less(t, probabilityOf(&wrong, "0"), probabilityOf(&wrong, "1"), name)
		require.Greater(t, probabilityOf(&right, "1"), 0.01, name)
	}
}

// TestUntoldDesigns: what a record does not tell agrees as well as the designs that tell it do on average, and records
// that tell neither voltage nor frequency make no other design rarer.
func TestUntoldDesigns(t *testing.T) {
	t.Parallel()
	forget := func(e *RecordEntry) { e.Nameplate.Voltage, e.Nameplate.Frequency = unit.Measured{}, unit.Measured{} }
	x := plainIndex(nil, forget, forget)
	sum := 0.0
	for i := range x.designs {
		if d := &x.designs[i]; d.phases == 1 {
			sum += x.model.design[i]
			require.True(t, x.model.design[i] == 0 || d.voltage > 0 && d.frequency > 0)
		}
	}
	require.InDelta(t, 1, sum, 1e-12)

	for _, volts := range []float64{110, 230, 333} {
		p := x.prepare(&Query{Nameplate: &winding.Nameplate{Voltage: unit.Of(volts)}})
		list := x.designLikelihoods(p, nil)
		want, untold := 0.0, 0.0
		for i := range x.designs {
			switch d := &x.designs[i]; {
			case d.phases == 1 && d.voltage > 0:
				want += x.model.design[i] * voltAgree(&p.plate.volts, math.Log(d.voltage))
			case d.phases == 1 && i > 0:
				untold = list[i]
			}
		}
		require.InDelta(t, want, untold, 1e-12, "%g V", volts)
	}
}

// TestStackNobodyMeasured: a stack that the catalogue only expects is no reason to call a reading wrong, and measuring
// it does not tell such a core from others as if it were known to a fifth of a millimetre.
func TestStackNobodyMeasured(t *testing.T) {
	t.Parallel()
	x := plainIndex(func(e *RecordEntry) { e.CoreAsMeasured.StackLength = unit.Measured{} })
	require.False(t, x.core.known(0))
	expected := x.core.length(0)
	for _, share := range []float64{0.7, 0.8, 0.9, 1.1, 1.2, 1.3} {
		q := Query{Measurements: demoCore(), Nameplate: &winding.Nameplate{Voltage: unit.Of(230), Frequency: unit.Of(50), Power: unit.Of(180), Poles: 4}}
		q.Measurements.StackLength = unit.Of(math.Round(share * expected))
		a := mustMatch(t, x, q)
		require.Greater(t, a.Cores[0].Probability, 0.5)
		require.False(t, slices.ContainsFunc(a.Readings, func(r ReadAs) bool { return r.Field == dims[dStack].field }), "%+v", a.Readings)
	}
	require.InDelta(t, sq(x.model.stack[rotorInside].sd*expected), x.stackVariance(0), 1e-9)
	s := x.siteOf(0)
	require.InDelta(t, x.stackVariance(0), s.rvStack*s.stack*s.stack, 1e-9)
}

// TestSlotsNobodyCounted: laminations whose slots nobody counted do not hide the new ones, when the query has no count
// either: their most usual count was taken for none at all, and then there was no proposal.
func TestSlotsNobodyCounted(t *testing.T) {
	t.Parallel()
	uncounted := func(e *RecordEntry) { e.CoreAsMeasured.Slots, e.FamilyID, e.CoreID = 0, "", "" }
	x := plainIndex(uncounted, uncounted, uncounted)
	require.Equal(t, 24, x.commonSlots(rotorInside), "of common practice")
	c := demoCore()
	c.Slots = 0
	a := mustMatch(t, x, Query{Measurements: c})
	require.NotEmpty(t, a.Proposals)
	require.Equal(t, 1.0, a.None.Family)
}

// TestRotorOfASecondRing: who tells of a second ring and not where the rotor is has a fan, and is told that it was taken so.
func TestRotorOfASecondRing(t *testing.T) {
	t.Parallel()
	c := stator.Core{Slots: 14, SecondRing: &stator.Ring{}}
	told := func() bool {
		a := mustMatch(t, sampleWorld().index, Query{Measurements: c})
		return slices.ContainsFunc(a.Assumed, func(s winding.Assumption) bool {
			return s.Field == "measurements.rotor_position" && s.Value == string(stator.RotorOutside)
		})
	}
	require.True(t, told())
	c.RotorPosition = stator.RotorOutside
	require.False(t, told())
}

// TestTurnsNobodyCounted: an auxiliary whose number of groups nobody wrote down, and which does not lie in the core,
// has no turns in series that could be told. Its coils still have turns, and the answer has no NaN.
func TestTurnsNobodyCounted(t *testing.T) {
	t.Parallel()
	x := plainIndex(func(e *RecordEntry) {
		e.Scheme.CoilSets[1].Pattern.Groups = 0
		e.Scheme.CoilSets[1].Pattern.Throws = []int{99, 5}
	})
	q := Query{Measurements: demoCore(), Nameplate: &winding.Nameplate{Voltage: unit.Of(230), Frequency: unit.Of(50), Poles: 4}}
	told := 0
	for _, stack := range []float64{45, 70} { // the record itself, and scaled to another stack
		q.Measurements.StackLength = unit.Of(stack)
		for _, p := range mustMatch(t, x, q).Proposals {
			for _, s := range p.CoilSets {
				if s.Role == winding.Auxiliary && s.SeriesTurns.P50 == 0 {
					told++
					require.Positive(t, s.TurnsPerCoil[0].P05)
					require.Less(t, s.TurnsPerCoil[0].P50, 500.0)
				}
			}
		}
	}
	require.Greater(t, told, 1)
}

// TestInfiniteTurns: turns that are no number that anybody could count are not known.
func TestInfiniteTurns(t *testing.T) {
	t.Parallel()
	for _, turns := range []float64{math.Inf(1), math.NaN(), 1e300} {
		x := plainIndex(func(e *RecordEntry) { e.Scheme.CoilSets[0].Pattern.Turns[0] = turns })
		require.Zero(t, x.series(x.recs[0].turnsMain))
		mustMatch(t, x, Query{Measurements: demoCore()})
	}
}

// TestGrossAreaIsToldAsTyped: a gross slot area is compared as its net one, and called wrong in the figures that were typed.
func TestGrossAreaIsToldAsTyped(t *testing.T) {
	t.Parallel()
	x := plainIndex(nil)
	q := Query{Measurements: demoCore(), Nameplate: &winding.Nameplate{Voltage: unit.Of(230), Frequency: unit.Of(50), Power: unit.Of(180), Poles: 4}}
	q.Measurements.SlotAreaBasis = stator.AreaGross
	q.Measurements.SlotArea = unit.Of(8.095) // for 80.95, of which 84 % are 68
	a := mustMatch(t, x, q)
	at := slices.IndexFunc(a.Readings, func(r ReadAs) bool { return r.Field == dims[dArea].field })
	require.GreaterOrEqual(t, at, 0, "%+v", a.Readings)
	require.InDelta(t, 8.095, a.Readings[at].Typed, 1e-9)
	require.InDelta(t, 80.95, a.Readings[at].ReadAs, 1e-3)
}

// TestCoresOfRecordsWithoutFamily: a record that has a core but no family leaves nothing behind when it goes.
func TestCoresOfRecordsWithoutFamily(t *testing.T) {
	t.Parallel()
	b := NewBuilder(nil)
	for range 100 {
		b.AddRecord(plainRecord("0", func(e *RecordEntry) { e.FamilyID = "" }))
	}
	require.Len(t, b.cores, 1)
	require.Equal(t, 1, b.Build().Stats().Cores)
	require.True(t, b.RemoveRecord("0"))
	require.Zero(t, b.Build().Stats().Cores)
}
