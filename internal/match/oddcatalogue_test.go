package match

import (
	"fmt"
	"math"
	"os"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"statorbook/internal/stator"
	"statorbook/internal/unit"
	"statorbook/internal/winding"
	"statorbook/internal/wire"
)

// anySet draws a coil set such as a record may hold: much of it absent, some of it nonsense, all of it within the
// bounds in which figures are stored.
func anySet() *rapid.Generator[winding.CoilSet] {
	return rapid.Custom(func(t *rapid.T) winding.CoilSet {
		turns := rapid.SampledFrom([]float64{0, 1, 50, 100, 433, 55.5, 20000})
		s := winding.CoilSet{
			Role: rapid.SampledFrom([]winding.Role{winding.Main, winding.Auxiliary, winding.PhaseU, winding.PhaseW, winding.Speed}).Draw(t, "role"),
			Ring: rapid.SampledFrom([]winding.RingName{"", winding.RingGap, winding.RingBack}).Draw(t, "ring"), ParallelPaths: rapid.SampledFrom([]int{0, 1, 2, 12}).Draw(t, "paths"),
			Mass: anyFigure(300).Draw(t, "mass"), Resistance: anyFigure(20).Draw(t, "ohm"), MassState: rapid.SampledFrom([]string{"", "bare", "enamelled"}).Draw(t, "state"),
		}
		if rapid.Bool().Draw(t, "pattern") {
			s.Pattern = &winding.Pattern{
				Kind:   rapid.SampledFrom([]winding.PatternKind{winding.Lap, winding.Concentric, winding.Tooth, winding.Skein}).Draw(t, "kind"),
				Throws: rapid.SliceOfN(rapid.SampledFrom([]int{2, 4, 6, 8, 99}), 0, 3).Draw(t, "throws"), Turns: rapid.SliceOfN(turns, 0, 3).Draw(t, "turns"),
				Groups: rapid.SampledFrom([]int{0, 2, 4, 6, 8, 24}).Draw(t, "groups"), FirstSlot: rapid.IntRange(0, 9).Draw(t, "first"),
			}
		} else {
			for range rapid.IntRange(0, 3).Draw(t, "coils") {
				s.Coils = append(s.Coils, winding.Coil{In: rapid.IntRange(1, 30).Draw(t, "in"), Out: rapid.IntRange(1, 30).Draw(t, "out"), Turns: turns.Draw(t, "coil")})
			}
		}
		for range rapid.IntRange(0, 2).Draw(t, "wires") {
			s.Wires = append(s.Wires, wire.Wire{
				System: rapid.SampledFrom([]wire.System{wire.SWG, wire.AWG, wire.Bare, wire.Metric}).Draw(t, "system"), Size: rapid.SampledFrom([]string{"", "30", "25", "999"}).Draw(t, "size"),
				Diameter: anyFigure(0.4).Draw(t, "diameter"), Conductor: rapid.SampledFrom([]wire.Conductor{"", wire.Copper, wire.Aluminium}).Draw(t, "metal"),
				Build: rapid.SampledFrom([]wire.Build{"", wire.Grade2, wire.Heavy}).Draw(t, "build"), Strands: rapid.SampledFrom([]int{0, 1, 3, 8}).Draw(t, "strands"),
			})
		}
		return s
	})
}

// anyRecord draws a record of any sort; families and cores are few, so that records share them.
func anyRecord() *rapid.Generator[RecordEntry] {
	return rapid.Custom(func(t *rapid.T) RecordEntry {
		e := RecordEntry{
			CoreID: rapid.SampledFrom([]string{"", "c1", "c2"}).Draw(t, "core"), FamilyID: rapid.SampledFrom([]string{"", "f1", "f2"}).Draw(t, "family"),
			TimesSeen: rapid.SampledFrom([]int{0, 1, 7, 1e9}).Draw(t, "seen"), MotorType: rapid.SampledFrom([]string{"", "unknown", "permanent_split_capacitor"}).Draw(t, "motor"),
			Origin: rapid.SampledFrom([]string{"", "factory", "previously_rewound"}).Draw(t, "origin"),
		}
		q := anyQuery().Draw(t, "as measured")
		if rapid.Bool().Draw(t, "measured") {
			e.CoreAsMeasured = &q.Measurements
		}
		if q.Nameplate != nil {
			e.Nameplate = *q.Nameplate
		}
		e.Scheme = winding.Scheme{Poles: rapid.SampledFrom([]int{0, 2, 4, 6, 14, 3, 120}).Draw(t, "poles"), CoilSets: rapid.SliceOfN(anySet(), 0, 3).Draw(t, "sets")}
		return e
	})
}

// anyCatalogue draws a catalogue of up to two families and as many records as are wanted.
func anyCatalogue(records int) *rapid.Generator[*Builder] {
	return rapid.Custom(func(t *rapid.T) *Builder {
		b := NewBuilder(testWires())
		for k := range rapid.IntRange(0, 2).Draw(t, "families") {
			e := FamilyEntry{ID: fmt.Sprint("f", k+1), Core: anyQuery().Draw(t, "family").Measurements}
			for j := range rapid.IntRange(0, 2).Draw(t, "cores") {
				e.Cores = append(e.Cores, CoreEntry{ID: fmt.Sprint("c", j+1), StackLength: anyFigure(45).Draw(t, "stack")})
			}
			b.AddFamily(e)
		}
		for i := range records {
			e := anyRecord().Draw(t, "record")
			e.ID = fmt.Sprint("r", i)
			b.AddRecord(e)
		}
		return b
	})
}

// TestAnyCatalogue: whatever a catalogue of 0, 1, 3 or 20 records holds (families without records, records without
// family, core, wires, mass or plate, windings that cannot be laid), every answer is sound: to any query, to one
// dimension alone, and to nothing at all. The draws have fixed seeds; STATORBOOK_CATALOGUES asks for more of them
// (3,000 were run).
func TestAnyCatalogue(t *testing.T) {
	t.Parallel()
	count := 40
	if n, err := strconv.Atoi(os.Getenv("STATORBOOK_CATALOGUES")); err == nil {
		count = n
	}
	any := anyQuery()
	for seed := range count {
		x := anyCatalogue([]int{0, 1, 3, 20}[seed%4]).Example(seed).Build()
		queries := []Query{{}, any.Example(2 * seed), any.Example(2*seed + 1)}
		for d := dGap; d < dTooth2; d++ {
			queries = append(queries, Query{Measurements: withReading(&stator.Core{}, d, 30)})
		}
		queries = append(queries, Query{Measurements: withReading(&stator.Core{Slots: 24}, dStack, 45)}, Query{Supply: &winding.Supply{Voltage: unit.Of(230)}})
		for _, q := range queries {
			a, err := x.Match(q)
			if err == nil {
				requireSound(t, &a)
			}
			again, _ := x.Match(q)
			require.Equal(t, a, again, "the same answer again, seed %d", seed)
		}
	}
}

// TestEmptyAndTinyCatalogues: nothing catalogued, or one record: documented priors, sound answers.
func TestEmptyAndTinyCatalogues(t *testing.T) {
	t.Parallel()
	empty := NewBuilder(testWires()).Build()
	a := mustMatch(t, empty, Query{Measurements: demoCore(), Nameplate: &winding.Nameplate{Voltage: unit.Of(230), Frequency: unit.Of(50), Poles: 4}})
	require.Equal(t, 1.0, a.None.Family)
	require.NotEmpty(t, a.Proposals)
	require.Equal(t, methodLimits, a.Proposals[0].Basis.Method)
	// The worked stator without data of the physics page comes to 1116 turns: priors alone are within a third.
	require.InDelta(t, 1116, a.Overall[0].SeriesTurns.P50, 370)
	mustMatch(t, NewBuilder(nil).Build(), Query{Measurements: demoCore()})

	w := sampleWorld()
	b := NewBuilder(testWires())
	b.AddRecord(w.records[0].domain())
	one := b.Build()
	q, r := exactQuery(w, 0)
	a = mustMatch(t, one, q)
	require.Equal(t, r.ID, a.Candidates[0].WindingID)
	require.Greater(t, a.Candidates[0].Probability, 0.5)
}

// TestAccidentalRecords: records without turns, wires, plate, core or dimensions are taken in and do no harm.
func TestAccidentalRecords(t *testing.T) {
	t.Parallel()
	w := sampleWorld()
	b := NewBuilder(testWires())
	for i := range 30 {
		b.AddRecord(w.records[i].domain())
	}
	b.AddRecord(RecordEntry{ID: "bare", CoreID: "c", FamilyID: "f"})
	odd := demoCore()
	odd.GapDiameter, odd.Slots = unit.Of(math.Inf(1)), 0
	b.AddRecord(RecordEntry{ID: "odd", CoreID: "c2", FamilyID: "f2", CoreAsMeasured: &odd, TimesSeen: -5, Scheme: winding.Scheme{Poles: 3, CoilSets: []winding.CoilSet{{Role: winding.Main, Coils: []winding.Coil{{In: 1, Out: 99, Turns: math.NaN()}}, Wires: []wire.Wire{{System: "swg", Size: "999"}}}}}})
	x := b.Build()
	q, _ := exactQuery(w, 3)
	mustMatch(t, x, q)
	mustMatch(t, x, Query{Measurements: stator.Core{Slots: 24, RotorPosition: stator.RotorInside}})
	mustMatch(t, x, Query{})
	requireSoundVerdict(t, x.CheckRecord(sheetOf(&w.entries[0])))
}
