package catalog

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"statorbook/internal/errs"
	"statorbook/internal/stator"
	"statorbook/internal/unit"
	"statorbook/internal/winding"
	"statorbook/internal/wire"
)

const anID = "01234567-89ab-4def-8123-456789abcdef"

// table is three sizes: enough to tell a known gauge from an unknown one.
func table(t testing.TB) *wire.Table {
	t.Helper()
	// Nominal diameters of SWG 33 to 35: BS 3737 (withdrawn), as GNU units 2.22 has them (0.0100, 0.0092, 0.0084 in).
	tab, err := wire.NewTable([]wire.Size{
		{ID: "swg-33", System: wire.SWG, Size: "33", Text: "0.2540", Diameter: 0.2540, Sources: []wire.Source{{Title: "demo"}}},
		{ID: "swg-34", System: wire.SWG, Size: "34", Text: "0.23368", Diameter: 0.23368, Sources: []wire.Source{{Title: "demo"}}},
		{ID: "swg-35", System: wire.SWG, Size: "35", Text: "0.21336", Diameter: 0.21336, Sources: []wire.Source{{Title: "demo"}}},
	})
	require.NoError(t, err)
	return tab
}

// sound is a record that nothing speaks against: a 24-slot 4-pole single-phase demo motor.
func sound() Winding {
	set := func(role winding.Role, first int) winding.CoilSet {
		yes := true
		return winding.CoilSet{
			Role: role, ParallelPaths: 1, Wires: []wire.Wire{{System: wire.SWG, Size: "34", Conductor: wire.Copper, Strands: 1}},
			Pattern: &winding.Pattern{Kind: winding.Concentric, Throws: []int{6, 4}, Turns: []float64{120, 90}, Groups: 4, FirstSlot: first, Alternate: &yes},
		}
	}
	return Winding{
		ID: anID, Slug: "demo-pump-01", CoreID: anID, FamilyID: anID, MotorType: "permanent_split_capacitor", Origin: "factory",
		CoreAsMeasured: &stator.Core{
			Phases: 1, RotorPosition: stator.RotorInside, Slots: 24, GapDiameter: unit.Of(60), BackDiameter: unit.Of(100),
			StackLength: unit.Of(40), ToothWidth: unit.Of(3.9), SlotDepth: unit.Of(12), SlotOpening: unit.Of(2.2), BackIron: unit.Of(8),
		},
		Nameplate: winding.Nameplate{Voltage: unit.Of(230), Frequency: unit.Of(50), Power: unit.Of(90), Current: unit.Of(0.8), Poles: 4},
		Scheme:    winding.Scheme{Poles: 4, CoilSets: []winding.CoilSet{set(winding.Main, 1), set(winding.Auxiliary, 4)}},
		Quality:   map[string]string{"nameplate.power_w": "plate", "scheme.coil_sets[0].pattern": "counted"},
		TimesSeen: 1, Provenance: Provenance{Revision: 1, State: Published, Source: "demo", Licence: "CC0-1.0", Demo: true},
	}
}

func soundFamily() Family {
	core := *sound().CoreAsMeasured
	core.StackLength = unit.Measured{}
	return Family{ID: anID, Slug: "demo-pump", Title: "demo pump", Application: "pump", Core: core,
		Cores: []FamilyCore{{ID: anID, StackLength: unit.Of(40)}}, Provenance: sound().Provenance}
}

func TestSoundRecordsPass(t *testing.T) {
	t.Parallel()
	for _, wires := range []*wire.Table{table(t), nil} {
		l := LintWinding(sound(), LintOptions{Wires: wires})
		require.NoError(t, l.Err())
		for _, f := range l.Findings {
			require.NotEqual(t, errs.SeverityError, f.Severity, f.Message)
		}
	}
	l := LintFamily(soundFamily(), LintOptions{New: true})
	require.NoError(t, l.Err())
	require.Empty(t, l.Findings)
	// Every field may be absent (contract, Shapes).
	require.NoError(t, LintWinding(Winding{}, LintOptions{Wires: table(t)}).Err())
	require.NoError(t, LintFamily(Family{}, LintOptions{}).Err())
}

func TestWindingFaults(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name  string
		spoil func(*Winding)
		want  string
	}{
		{"id", func(w *Winding) { w.ID = "demo" }, "/id INVALID_FORMAT"},
		{"slug", func(w *Winding) { w.Slug = "Demo Pump" }, "/slug INVALID_FORMAT"},
		{"slug like a UUID", func(w *Winding) { w.Slug = anID }, "/slug INVALID_FORMAT"},
		{"reserved slug", func(w *Winding) { w.Slug = "batch" }, "/slug RESERVED_SLUG"},
		{"core without family", func(w *Winding) { w.FamilyID = "" }, "/family_id CORE_WITHOUT_FAMILY"},
		{"motor type", func(w *Winding) { w.MotorType = "universal" }, "/motor_type VALUE_NOT_ALLOWED"},
		{"origin", func(w *Winding) { w.Origin = "new" }, "/origin VALUE_NOT_ALLOWED"},
		{"binding", func(w *Winding) { w.Binding = "glue" }, "/binding VALUE_NOT_ALLOWED"},
		{"mass state", func(w *Winding) { w.Scheme.CoilSets[1].MassState = "wet" }, "/scheme/coil_sets/1/mass_state VALUE_NOT_ALLOWED"},
		{"joining", func(w *Winding) { w.Scheme.CoilSets[0].Joining = "knot" }, "/scheme/coil_sets/0/joining VALUE_NOT_ALLOWED"},
		{"licence", func(w *Winding) { w.Licence = "all rights reserved" }, "/licence LICENCE_NOT_ALLOWED"},
		{"quality word", func(w *Winding) { w.Quality["x"] = "guessed" }, "/quality/x VALUE_NOT_ALLOWED"},
		{"quality name", func(w *Winding) { w.Quality["a/b"] = "plate" }, "/quality/a~1b INVALID_FORMAT"},
		{"rotor position", func(w *Winding) { w.CoreAsMeasured.RotorPosition = "left" }, "/core_as_measured/rotor_position VALUE_NOT_ALLOWED"},
		{"phases", func(w *Winding) { w.CoreAsMeasured.Phases = 2 }, "/core_as_measured/phases OUT_OF_RANGE"},
		{"slots", func(w *Winding) { w.CoreAsMeasured.Slots = 361 }, "/core_as_measured/slots OUT_OF_RANGE"},
		{"NaN", func(w *Winding) { w.CoreAsMeasured.GapDiameter.Value = math.NaN() }, "/core_as_measured/gap_diameter_mm OUT_OF_RANGE"},
		{"infinity", func(w *Winding) { w.Nameplate.Voltage.Value = math.Inf(1) }, "/nameplate/voltage_v OUT_OF_RANGE"},
		{"no turns", func(w *Winding) { w.Scheme.CoilSets[0].Pattern.Turns[1] = 0 }, "/scheme/coil_sets/0/pattern/turns/1 ZERO_TURNS"},
		{"a coil without turns, no core", func(w *Winding) {
			w.CoreAsMeasured, w.CoreID, w.FamilyID = nil, "", ""
			w.Scheme.CoilSets[0].Pattern = nil
			w.Scheme.CoilSets[0].Coils = []winding.Coil{{In: 1, Out: 6, Turns: 0}}
		}, "/scheme/coil_sets/0/coils/0/turns ZERO_TURNS"},
		{"turns", func(w *Winding) { w.Scheme.CoilSets[0].Pattern.Turns[1] = 20001 }, "/scheme/coil_sets/0/pattern/turns/1 OUT_OF_RANGE"},
		{"strands", func(w *Winding) { w.Scheme.CoilSets[0].Wires[0].Strands = 0 }, "/scheme/coil_sets/0/wires/0/strands OUT_OF_RANGE"},
		{"throw beyond the slots", func(w *Winding) { w.Scheme.CoilSets[0].Pattern.Throws[0] = 30 }, "/scheme/coil_sets/0/pattern/throws/0 THROW_IMPOSSIBLE"},
		{"unknown gauge", func(w *Winding) { w.Scheme.CoilSets[0].Wires[0].Size = "99" }, "/scheme/coil_sets/0/wires/0 UNKNOWN_SIZE"},
	}
	for _, tc := range tests {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			w := sound()
			tc.spoil(&w)
			l := LintWinding(w, LintOptions{Wires: table(t)})
			require.NotEmpty(t, l.Faults)
			var got []string
			for _, f := range l.Faults {
				require.NotEmpty(t, f.Detail)
				got = append(got, f.Pointer+" "+f.Code)
			}
			require.Equal(t, tc.want, strings.Join(got, ", "))
			require.Equal(t, errs.KindImpossible, errs.KindOf(l.Err()))
		})
	}
}

// Contract rule 4: what cannot be in core_as_measured is a finding of severity error that an import accepts.
func TestImpossibleMeasuredCoreIsAFinding(t *testing.T) {
	t.Parallel()
	w := sound()
	w.CoreAsMeasured.GapDiameter = unit.Of(160) // the rotor is inside, the back is 100
	l := LintWinding(w, LintOptions{Wires: table(t)})
	require.NoError(t, l.Err())
	f := l.Findings[0]
	require.Equal(t, "gap_on_wrong_side", f.Code)
	require.Equal(t, errs.SeverityError, f.Severity)
	require.Equal(t, "core_as_measured.gap_diameter_mm", f.Fields[0])
}

func TestImpossibleFamilyCore(t *testing.T) {
	t.Parallel()
	f := soundFamily()
	f.Core.GapDiameter = unit.Of(160)
	imported := LintFamily(f, LintOptions{})
	require.NoError(t, imported.Err(), "an import keeps it")
	require.Equal(t, "core.gap_diameter_mm", imported.Findings[0].Fields[0])
	made := LintFamily(f, LintOptions{New: true})
	require.Error(t, made.Err())
	require.Equal(t, "/core/gap_diameter_mm", made.Faults[0].Pointer)
	require.Equal(t, CodeImpossible, made.Faults[0].Code)
}

func TestFamilyFaults(t *testing.T) {
	t.Parallel()
	for want, spoil := range map[string]func(*Family){
		"/application VALUE_NOT_ALLOWED":          func(f *Family) { f.Application = "toaster" },
		"/core/stack_length_mm STACK_IN_FAMILY":   func(f *Family) { f.Core.StackLength = unit.Of(40) },
		"/cores/1/id CORE_TWICE":                  func(f *Family) { f.Cores = append(f.Cores, f.Cores[0]) },
		"/cores/0/id INVALID_FORMAT":              func(f *Family) { f.Cores[0].ID = "x" },
		"/cores/0/stack_length_mm OUT_OF_RANGE":   func(f *Family) { f.Cores[0].StackLength = unit.Of(0) },
		"/core/second_ring/slots OUT_OF_RANGE":    func(f *Family) { f.Core.SecondRing = &stator.Ring{Slots: 1} },
		"/core/slot_area_basis VALUE_NOT_ALLOWED": func(f *Family) { f.Core.SlotAreaBasis = "brutto" },
		"/licence LICENCE_NOT_ALLOWED":            func(f *Family) { f.Licence = "CC-BY-NC-4.0" },
		"/core/second_ring/turned_slots OUT_OF_RANGE": func(f *Family) {
			f.Core.SecondRing = &stator.Ring{TurnedSlots: unit.Of(1000)}
		},
	} {
		f := soundFamily()
		spoil(&f)
		l := LintFamily(f, LintOptions{})
		require.Len(t, l.Faults, 1, want)
		require.Equal(t, want, l.Faults[0].Pointer+" "+l.Faults[0].Code)
	}
}

func TestAllFaultsAreNamedTogether(t *testing.T) {
	t.Parallel()
	w := sound()
	w.ID, w.Origin, w.Licence, w.TimesSeen = "x", "x", "x", -1
	l := LintWinding(w, LintOptions{})
	require.Len(t, l.Faults, 4)
	require.ErrorContains(t, l.Err(), "4 things in the record cannot be.")
}

func TestMissingLicenceAndSourceAreSaid(t *testing.T) {
	t.Parallel()
	w := sound()
	w.Licence, w.Source = "", ""
	l := LintWinding(w, LintOptions{Wires: table(t)})
	require.NoError(t, l.Err())
	require.Equal(t, "licence_missing", l.Findings[0].Code)
	require.Equal(t, "source_missing", l.Findings[1].Code)
	require.Equal(t, UnprovedCode, Unproved("", "").Code)
	require.Contains(t, Unproved("demo-other-school", "").Message, "demo-other-school")
	require.Contains(t, Unproved("demo-other-school", "No key is known.").Message, "demo-other-school with a vetting proof that counts for nothing here: No key is known.")
}

// Every number that the walk meets has a bound, and every bound has a number: none is forgotten.
func TestEveryNumberHasABound(t *testing.T) {
	t.Parallel()
	seen := map[string]bool{}
	visit := visitor(func(name, pointer string, _ float64) {
		seen[name] = true
		_, known := BoundOf(name)
		require.True(t, known, name)
		require.True(t, strings.HasPrefix(pointer, "/"), pointer)
	})
	m := unit.Of(1)
	core := stator.Core{Phases: 1, Slots: 24, GapDiameter: m, BackDiameter: m, StackLength: m, ToothWidth: m, SlotDepth: m, SlotOpening: m, BackIron: m, SlotArea: m,
		SecondRing: &stator.Ring{Slots: 24, ToothWidth: m, SlotDepth: m, SlotOpening: m, SlotArea: m, TurnedSlots: m}}
	full := Winding{
		CoreAsMeasured: &core, OverhangLead: m, OverhangFar: m, CoilLength: m, CoilWidth: m, Liner: &Liner{Thickness: m}, Leads: []Lead{{SectionMM2: m}},
		TimesSeen: 1, Provenance: Provenance{Revision: 1},
		Nameplate: winding.Nameplate{Voltage: m, Frequency: m, Power: m, Current: m, Speed: m, Poles: 2, CapacitorUF: m, CapacitorV: m, SweepMM: m, SpeedTaps: 1},
		Scheme: winding.Scheme{Poles: 2, CoilSets: []winding.CoilSet{{
			Coils: []winding.Coil{{In: 1, Out: 2, Turns: 1}}, Pattern: &winding.Pattern{Throws: []int{2}, Turns: []float64{1}, Groups: 1, FirstSlot: 1},
			ParallelPaths: 1, Wires: []wire.Wire{{Diameter: m, Strands: 1}}, Mass: m, Resistance: m, Temperature: m, Tap: 1,
		}}},
	}
	visit.winding(full)
	visit.family(Family{Core: core, Cores: []FamilyCore{{StackLength: m}}})
	for _, b := range Bounds() {
		require.True(t, seen[b.Name], "%s is never looked at", b.Name)
		require.Less(t, b.Min, b.Max)
		require.False(t, b.Holds(math.NaN()) || b.Holds(math.Inf(1)) || b.Holds(math.Inf(-1)), b.Name)
		require.True(t, b.Holds(b.Min) && b.Holds(b.Max))
	}
	require.Len(t, boundOf, len(Bounds()), "no name stands twice")
}

// A lint never panics, whatever the numbers.
func TestLintSurvivesAnything(t *testing.T) {
	t.Parallel()
	wires := table(t)
	rapid.Check(t, func(t *rapid.T) {
		w := sound()
		odd := rapid.OneOf(rapid.Float64(), rapid.SampledFrom([]float64{0, -1, math.NaN(), math.Inf(1), 1e308, 5e-324}))
		w.CoreAsMeasured.GapDiameter.Value = odd.Draw(t, "gap")
		w.CoreAsMeasured.ToothWidth.Value = odd.Draw(t, "tooth")
		w.CoreAsMeasured.Slots = rapid.IntRange(-5, 400).Draw(t, "slots")
		w.Scheme.Poles = rapid.IntRange(-3, 130).Draw(t, "poles")
		w.Scheme.CoilSets[0].Pattern.Turns[0] = odd.Draw(t, "turns")
		w.Scheme.CoilSets[0].Pattern.Throws = rapid.SliceOfN(rapid.IntRange(-3, 400), 0, 4).Draw(t, "throws")
		w.Scheme.CoilSets[0].Pattern.Groups = rapid.IntRange(-2, 730).Draw(t, "groups")
		w.Scheme.CoilSets[1].Mass = unit.Of(odd.Draw(t, "mass"))
		l := LintWinding(w, LintOptions{Wires: wires})
		for _, f := range l.Faults {
			require.NotEmpty(t, f.Code)
		}
	})
}
