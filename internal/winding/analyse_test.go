package winding_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"statorbook/internal/errs"
	"statorbook/internal/stator"
	"statorbook/internal/unit"
	"statorbook/internal/winding"
	"statorbook/internal/wire"
)

// benchTable is a small table: metric 0.450 grade 2 as in IEC 60317-0-1 (overall at most 0.508 mm, as copied in the
// project's reference rows), and a few gauges of the round inch figures of SWG.
func benchTable(t testing.TB) *wire.Table {
	t.Helper()
	size := func(s wire.System, name string, d, over unit.Millimetre) wire.Size {
		row := wire.Size{ID: wire.SizeID(s, name), System: s, Size: name, Diameter: d}
		if over > 0 {
			row.Covers = []wire.Cover{{Build: wire.Grade2, OverallMax: over, Evidence: "reference row"}}
		}
		return row
	}
	table, err := wire.NewTable([]wire.Size{
		size(wire.Metric, "0.450", 0.45, 0.508), size(wire.Metric, "0.500", 0.5, 0.566), size(wire.Metric, "0.560", 0.56, 0.630),
		size(wire.SWG, "34", 0.23368, 0), size(wire.SWG, "35", 0.21336, 0), size(wire.SWG, "36", 0.19304, 0), size(wire.SWG, "26", 0.4572, 0),
	})
	require.NoError(t, err)
	return table
}

func metric(size string) []wire.Wire {
	return []wire.Wire{{System: wire.Metric, Size: size, Conductor: wire.Copper, Build: wire.Grade2, Strands: 1}}
}

func yes() *bool { b := true; return &b }

// workedStator is the stator of the project's worked example (derived there, not published): bore 66, stack 45, 24 slots,
// 4 poles, 230 V 50 Hz, tooth 4.1, back iron 11.5, net slot 68.0 mm², main coils 1-6 with 153 and 2-5 with 126 turns.
func workedStator() winding.AnalysisInput {
	return winding.AnalysisInput{
		Core: stator.Core{Phases: 1, RotorPosition: stator.RotorInside, Slots: 24, GapDiameter: unit.Of(66), StackLength: unit.Of(45), ToothWidth: unit.Of(4.1),
			SlotDepth: unit.Of(11.5), BackIron: unit.Of(11.5), SlotArea: unit.Of(68), SlotAreaBasis: stator.AreaNet},
		Nameplate: &winding.Nameplate{
			Voltage:    unit.Of(230),
			Frequency:  unit.Of(50),
			Current:    unit.Of(0.75),
			Speed:      unit.Of(1400),
			Connection: winding.ConnSingle,
		},
		Scheme: winding.Scheme{Poles: 4, CoilSets: []winding.CoilSet{{
			Role: winding.Main, Pattern: &winding.Pattern{Kind: winding.Concentric, Throws: []int{6, 4}, Turns: []float64{153, 126}, Groups: 4, FirstSlot: 1, Alternate: yes()}, Wires: metric("0.450"),
		}}},
	}
}

func TestWorkedStator(t *testing.T) {
	t.Parallel()
	in := workedStator()

	// The three limits of the blank core.
	limits := map[string]unit.Milliweber{}
	for _, l := range winding.FluxLimits(in.Core, 4) {
		limits[l.Part] = l.Flux
	}
	require.InDelta(t, 1.0158, float64(limits["tooth"]), 5e-5)
	require.InDelta(t, 1.2782, float64(limits["back_iron"]), 5e-5)
	require.InDelta(t, 1.1663, float64(limits["gap"]), 5e-5)
	require.Equal(t, "tooth", winding.FluxLimits(in.Core, 4)[0].Part)

	// The blank-core turns with the coils shared 55 to 45.
	coils, _, err := winding.Expand(winding.CoilSet{Role: winding.Main, Pattern: &winding.Pattern{Kind: winding.Concentric, Throws: []int{6, 4}, Turns: []float64{55, 45}, Groups: 4, FirstSlot: 1, Alternate: yes()}}, 4, in.Core)
	require.NoError(t, err)
	kw, _ := winding.Factor(coils, 24, 4, 1)
	require.InDelta(t, 0.849457, kw, 1e-6)
	require.InDelta(t, 1115.9, winding.SeriesTurnsFor(0.93*230, 50, kw, limits["tooth"]), 0.05)

	got, err := winding.Analyse(in, benchTable(t))
	require.NoError(t, err)
	main := got.RoleOf(winding.Main)
	require.InDelta(t, 1116, main.SeriesTurns, 0)
	require.InDelta(t, 0.849040, *main.WindingFactor, 1e-6)
	require.InDelta(t, 1.0162, float64(*got.FluxPerPole), 5e-5)
	require.Len(t, main.MeanTurns, 2)
	require.InDelta(t, 266.17, float64(main.MeanTurns[0].MeanTurn), 0.005)
	require.InDelta(t, 205.30, float64(main.MeanTurns[1].MeanTurn), 0.005)
	require.InDelta(t, 266.4, float64(*main.Length), 0.05)
	require.InDelta(t, 28.88, float64(*main.Resistance20), 0.005)
	require.InDelta(t, 35.12, float64(main.ResistanceAt.Ohm), 0.005)
	require.InDelta(t, 75, float64(main.ResistanceAt.Temperature), 0)
	require.InDelta(t, 376.6, float64(*main.Mass), 0.05)
	require.InDelta(t, 4.72, float64(*main.CurrentDensity), 0.005)
	full := got.Fullest()
	require.InDelta(t, 153, full.Conductors, 0)
	require.InDelta(t, 0.581, full.Fill.Square, 5e-4)
	require.InDelta(t, 0.456, full.Fill.Circle, 5e-4)
	require.InDelta(t, 0.358, full.Fill.Copper, 5e-4)
	require.InDelta(t, 1500, float64(got.Speed.Synchronous), 0)
	require.InDelta(t, 1.5*1.0162/1.0158, got.Densities.Teeth[0].T, 2e-4)
	require.InDelta(t, 213.9, float64(*got.EMF), 1e-9)
}

// TestAnalysisSaysWhatIsMissing gives less and less and wants every lost figure explained.
func TestAnalysisSaysWhatIsMissing(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		change  func(*winding.AnalysisInput)
		missing string
		gone    func(winding.Analysis) bool
	}{
		"no volts": {
			func(in *winding.AnalysisInput) { in.Nameplate.Voltage = unit.Measured{} },
			"nameplate.voltage_v",
			func(a winding.Analysis) bool { return a.EMF == nil && a.FluxPerPole == nil },
		},
		"no frequency": {
			func(in *winding.AnalysisInput) { in.Nameplate.Frequency = unit.Measured{} },
			"nameplate.frequency_hz",
			func(a winding.Analysis) bool { return a.EMF == nil && a.Speed == nil },
		},
		"no current": {
			func(in *winding.AnalysisInput) { in.Nameplate.Current = unit.Measured{} },
			"nameplate.current_a",
			func(a winding.Analysis) bool { return a.AmpereConductors == nil },
		},
		"no stack": {
			func(in *winding.AnalysisInput) { in.Core.StackLength = unit.Measured{} },
			"core.stack_length_mm",
			func(a winding.Analysis) bool { return a.Densities == nil && a.Roles[0].Mass == nil },
		},
		"no gap": {
			func(in *winding.AnalysisInput) { in.Core.GapDiameter = unit.Measured{} },
			"core.gap_diameter_mm",
			func(a winding.Analysis) bool { return a.AmpereConductors == nil && a.Roles[0].MeanTurn == nil },
		},
		"no tooth": {
			func(in *winding.AnalysisInput) { in.Core.ToothWidth = unit.Measured{} },
			"core.tooth_width_mm",
			func(a winding.Analysis) bool { return len(a.Densities.Teeth) == 0 },
		},
		"no iron": {
			func(in *winding.AnalysisInput) { in.Core.BackIron = unit.Measured{} },
			"core.back_iron_mm",
			func(a winding.Analysis) bool { return a.Densities.BackIron == 0 },
		},
		"no wire": {
			func(in *winding.AnalysisInput) { in.Scheme.CoilSets[0].Wires = nil },
			"scheme.coil_sets[0].wires",
			func(a winding.Analysis) bool { return a.Roles[0].Resistance20 == nil && len(a.Fill) == 0 },
		},
		"no build": {
			func(in *winding.AnalysisInput) { in.Scheme.CoilSets[0].Wires[0].Build = "" },
			"scheme.coil_sets[0].wires.build",
			func(a winding.Analysis) bool { return a.Fill[0].Fill.Square == 0 && a.Fill[0].Fill.Copper > 0 },
		},
		"no nameplate": {
			func(in *winding.AnalysisInput) { in.Nameplate = nil },
			"nameplate.voltage_v",
			func(a winding.Analysis) bool { return a.EMF == nil && a.Roles[0].WindingFactor != nil },
		},
		"no area": {func(in *winding.AnalysisInput) {
			in.Core.SlotArea, in.Core.ToothWidth = unit.Measured{}, unit.Measured{}
		}, "core.slot_area_mm2",
			func(a winding.Analysis) bool { return len(a.Fill) == 0 }},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			in := workedStator()
			c.change(&in)
			got, err := winding.Analyse(in, benchTable(t))
			require.NoError(t, err)
			require.Contains(t, got.Missing, c.missing)
			require.True(t, c.gone(got), "%+v", got.Missing)
			require.NotNil(t, got.Roles[0].WindingFactor)
		})
	}
}

// TestAnalysisRefuses wants 422 with the trade's reason, coil and slot named.
func TestAnalysisRefuses(t *testing.T) {
	t.Parallel()
	type change = func(*winding.AnalysisInput)
	coils := func(c ...winding.Coil) change {
		return func(in *winding.AnalysisInput) { in.Scheme.CoilSets[0].Pattern, in.Scheme.CoilSets[0].Coils = nil, c }
	}
	phases := func(p winding.Pattern, w float64) change {
		return func(in *winding.AnalysisInput) {
			in.Scheme = winding.Scheme{Poles: 4}
			for i, r := range []winding.Role{winding.PhaseU, winding.PhaseV, winding.PhaseW} {
				q := p
				q.Turns = []float64{50}
				if i == 2 {
					q.Turns = []float64{w}
				}
				in.Scheme.CoilSets = append(in.Scheme.CoilSets, winding.CoilSet{Role: r, Pattern: &q, Wires: metric("0.450")})
			}
		}
	}
	for name, c := range map[string]struct {
		change                change
		pointer, code, detail string
	}{
		"slot out of range": {
			coils(winding.Coil{In: 7, Out: 25, Turns: 10}),
			"/scheme/coil_sets/0/coils/0/out",
			"SLOT_OUT_OF_RANGE",
			"coil 7-25: there is no slot 25 in a ring of 24",
		},
		"same slot": {
			coils(winding.Coil{In: 7, Out: 7, Turns: 10}),
			"/scheme/coil_sets/0/coils/0",
			"SAME_SLOT_TWICE",
			"coil 7-7 lies in slot 7 twice",
		},
		"coil twice": {
			coils(winding.Coil{In: 7, Out: 14, Turns: 10}, winding.Coil{In: 7, Out: 14, Turns: 12}),
			"/scheme/coil_sets/0/coils/1",
			"COIL_TWICE",
			"coil 7-14 lies in slot 14 twice: it is already coil 1 of the list",
		},
		"zero turns": {
			coils(winding.Coil{In: 1, Out: 6}),
			"/scheme/coil_sets/0/coils/0/turns",
			"ZERO_TURNS",
			"coil 1-6 has no turns",
		},
		"negative turns": {
			coils(winding.Coil{In: 1, Out: 6, Turns: -3}),
			"/scheme/coil_sets/0/coils/0/turns",
			"TURNS_OUT_OF_RANGE",
			"turns must be above 0",
		},
		"no coils": {coils(), "/scheme/coil_sets/0/coils", "NO_COILS", "give coils or a pattern"},
		"throw 1": {
			func(in *winding.AnalysisInput) { in.Scheme.CoilSets[0].Pattern.Throws[0] = 1 },
			"/scheme/coil_sets/0/pattern/throws/0",
			"SAME_SLOT_TWICE",
			"throw 1-1",
		},
		"throw 25": {
			func(in *winding.AnalysisInput) { in.Scheme.CoilSets[0].Pattern.Throws[0] = 25 },
			"/scheme/coil_sets/0/pattern/throws/0",
			"THROW_IMPOSSIBLE",
			"throw 1-25 does not exist in a ring of 24 slots",
		},
		"odd step": {
			func(in *winding.AnalysisInput) { in.Scheme.CoilSets[0].Pattern.Throws[1] = 5 },
			"/scheme/coil_sets/0/pattern/throws/1",
			"NOT_CONCENTRIC",
			"cannot share one centre",
		},
		"turns missing": {
			func(in *winding.AnalysisInput) { in.Scheme.CoilSets[0].Pattern.Turns = []float64{1, 2, 3} },
			"/scheme/coil_sets/0/pattern/turns",
			"TURNS_COUNT",
			"3 turns for 2 throws",
		},
		"paths": {
			func(in *winding.AnalysisInput) { in.Scheme.CoilSets[0].ParallelPaths = 3 },
			"/scheme/coil_sets/0/parallel_paths",
			"PATHS_IMPOSSIBLE",
			"3 parallel paths do not divide the 4 coil groups of the main winding",
		},
		"odd poles": {
			func(in *winding.AnalysisInput) { in.Scheme.Poles = 3 },
			"/scheme/poles",
			"POLES_IMPOSSIBLE",
			"poles come in pairs",
		},
		"no sets": {
			func(in *winding.AnalysisInput) { in.Scheme.CoilSets = nil },
			"/scheme/coil_sets",
			"NO_COIL_SETS",
			"at least one",
		},
		"no second ring": {
			func(in *winding.AnalysisInput) { in.Scheme.CoilSets[0].Ring = winding.RingBack },
			"/scheme/coil_sets/0/ring",
			"NO_SECOND_RING",
			"no second_ring",
		},
		"wire": {func(in *winding.AnalysisInput) {
			in.Scheme.CoilSets[0].Wires = []wire.Wire{{System: wire.AWG, Size: "99", Conductor: wire.Copper, Strands: 1}}
		}, "/scheme/coil_sets/0/wires/0", "", ""},
		"gap above back": {
			func(in *winding.AnalysisInput) { in.Core.BackDiameter = unit.Of(60) },
			"/core/gap_diameter_mm",
			"GAP_ON_WRONG_SIDE",
			"must be below the back diameter",
		},
		"teeth": {
			func(in *winding.AnalysisInput) { in.Core.ToothWidth = unit.Of(41) },
			"/core/tooth_width_mm",
			"TEETH_WIDER_THAN_PITCH",
			"24 teeth of 41 mm do not fit",
		},
		"volts": {
			func(in *winding.AnalysisInput) { in.Nameplate.Voltage = unit.Of(-230) },
			"/nameplate/voltage_v",
			"OUT_OF_RANGE",
			"must be above 0",
		},
		"unbalanced slots": {func(in *winding.AnalysisInput) {
			in.Core.Slots = 22
			in.Core.SlotArea = unit.Measured{}
			phases(winding.Pattern{Kind: winding.Lap, Throws: []int{6}, Groups: 8}, 50)(in)
		}, "/scheme/coil_sets/0/pattern", "THREE_PHASE_UNBALANCED", "22 slots and 4 poles give no balanced"},
		"unbalanced turns": {
			phases(winding.Pattern{Kind: winding.Lap, Throws: []int{6}, Groups: 8}, 45),
			"/scheme/coil_sets/2",
			"THREE_PHASE_UNBALANCED",
			"phase_w has",
		},
		"groups": {
			phases(winding.Pattern{Kind: winding.Lap, Throws: []int{6}, Groups: 5}, 50),
			"/scheme/coil_sets/0/pattern/groups",
			"GROUPS_IMPOSSIBLE",
			"8 (double layer) or 4 (single layer)",
		},
		"roles": {func(in *winding.AnalysisInput) {
			in.Scheme.CoilSets = append(in.Scheme.CoilSets, winding.CoilSet{Role: winding.PhaseU, Coils: []winding.Coil{{In: 1, Out: 6, Turns: 5}}})
		}, "/scheme/coil_sets", "ROLES_MIXED", "do not go into one scheme"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			in := workedStator()
			c.change(&in)
			_, err := winding.Analyse(in, benchTable(t))
			require.Error(t, err)
			require.Equal(t, errs.KindImpossible, errs.KindOf(err))
			var e *errs.Error
			require.ErrorAs(t, err, &e)
			found := false
			for _, f := range e.Fields {
				if len(f.Pointer) >= len(c.pointer) && f.Pointer[:len(c.pointer)] == c.pointer && (c.code == "" || f.Code == c.code) {
					require.Contains(t, f.Detail, c.detail)
					found = true
				}
			}
			require.True(t, found, "no field %s %s in %+v", c.pointer, c.code, e.Fields)
		})
	}
}
