package winding_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"statorbook/internal/errs"
	"statorbook/internal/stator"
	"statorbook/internal/unit"
	"statorbook/internal/winding"
	"statorbook/internal/wire"
)

// soundSheet is the worked stator with an auxiliary, mass and resistance as its turns, wire and mean turn (sheet form) make
// them, times a maker's ends of 1.05. Everything in it agrees.
func soundSheet(t testing.TB) winding.Sheet {
	t.Helper()
	in := workedStator()
	s := winding.Sheet{
		Core:      in.Core,
		MotorType: "permanent_split_capacitor",
		Origin:    "factory",
		Nameplate: *in.Nameplate,
		Scheme:    in.Scheme,
	}
	s.Core.SlotDepth, s.Core.BackDiameter = unit.Of(11.5), unit.Of(112)
	s.Scheme.CoilSets = append(s.Scheme.CoilSets, winding.CoilSet{Role: winding.Auxiliary, Pattern: &winding.Pattern{Kind: winding.Lap, Throws: []int{6}, Turns: []float64{250}, Groups: 4, Alternate: yes()}})
	sizes := []string{"26", "34"}
	for i := range s.Scheme.CoilSets {
		s.Scheme.CoilSets[i].Wires = []wire.Wire{{System: wire.SWG, Size: sizes[i], Conductor: wire.Copper, Strands: 1}}
	}
	weigh(t, &s)
	return s
}

// weigh fills in mass and resistance of every set.
func weigh(t testing.TB, s *winding.Sheet) {
	t.Helper()
	all, _, err := winding.ExpandScheme(s.Scheme, s.Core)
	require.NoError(t, err)
	for i := range s.Scheme.CoilSets {
		set := &s.Scheme.CoilSets[i]
		c, ok, err := winding.ConductorOf(*set, benchTable(t))
		require.NoError(t, err)
		require.True(t, ok)
		length, ok := winding.MeanTurnOf(s.Core, set.Ring, all[i], winding.SheetMeanTurn)
		require.True(t, ok)
		turns := winding.TurnsOf(all[i])
		set.Mass, set.MassState = unit.Of(float64(c.Mass(turns, 1.05*length))), "bare"
		set.Resistance, set.Temperature = unit.Of(float64(c.Resistance20(turns, 1.05*length, winding.Paths(*set)))), unit.Of(20)
	}
}

func TestSoundSheet(t *testing.T) {
	t.Parallel()
	got := winding.Check(soundSheet(t), benchTable(t))
	for _, f := range got.Findings {
		require.Equal(t, errs.SeverityNote, f.Severity, f.Message)
	}
	require.Equal(t, winding.Coherent, got.Verdict)
	require.Len(t, got.Figures, 2)
	for _, f := range got.Figures {
		require.InDelta(t, 0, f.LnArea, 1e-9)
		require.InDelta(t, math.Log(1.05), f.LnLength, 1e-9)
		require.InDelta(t, math.Log(1.05), f.LnMass, 1e-9)
		require.InDelta(t, math.Log(1.05), f.LnResistance, 1e-9)
	}
}

// TestSlipsAreNamed makes one slip at a time and wants it found and, where mass and resistance tell it apart, named.
func TestSlipsAreNamed(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		slip            func(*winding.Sheet)
		code, corrected string
	}{
		"gauge": {
			func(s *winding.Sheet) { s.Scheme.CoilSets[1].Wires[0].Size = "35" },
			"gauge_off_by_1",
			"swg 34",
		},
		"gauge by two": {
			func(s *winding.Sheet) { s.Scheme.CoilSets[1].Wires[0].Size = "36" },
			"gauge_off_by_2",
			"swg 34",
		},
		"strands": {func(s *winding.Sheet) {
			s.Scheme.CoilSets[0].Mass.Value *= 2
			s.Scheme.CoilSets[0].Resistance.Value /= 2
		}, "strands_forgotten", "2"},
		"mass of both": {
			func(s *winding.Sheet) { s.Scheme.CoilSets[0].Mass.Value *= 2 },
			"mass_of_both",
			"",
		},
		"turns halved": {
			func(s *winding.Sheet) { s.Scheme.CoilSets[0].Pattern.Turns = []float64{76.5, 63} },
			"turns_halved",
			"1116",
		},
		"turns doubled": {
			func(s *winding.Sheet) { s.Scheme.CoilSets[0].Pattern.Turns = []float64{306, 252} },
			"turns_doubled",
			"1116",
		},
		"paths": {
			func(s *winding.Sheet) { s.Scheme.CoilSets[0].Resistance.Value /= 4 },
			"paths_wrong",
			"2",
		},
		"turns digits": {
			func(s *winding.Sheet) { s.Scheme.CoilSets[1].Pattern.Turns = []float64{520} },
			"",
			"",
		},
		"resistance digits": {func(s *winding.Sheet) {
			s.Scheme.CoilSets[1].Resistance = unit.Of(10 * s.Scheme.CoilSets[1].Resistance.Value)
		}, "", ""},
		"aluminium": {func(s *winding.Sheet) {
			s.Scheme.CoilSets[0].Mass.Value *= wire.DensityAluminium / wire.DensityCopper
			s.Scheme.CoilSets[0].Resistance.Value *= wire.ResistivityAluminium * 58
		}, "material_wrong", "aluminium"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			s := soundSheet(t)
			c.slip(&s)
			got := winding.Check(s, benchTable(t))
			require.Equal(t, winding.Suspect, got.Verdict)
			var first *errs.Finding
			for i, f := range got.Findings {
				switch f.Code {
				case "wire_disagrees", "turns_disagree", "mass_disagrees", "resistance_disagrees":
					first = &got.Findings[i]
				}
			}
			require.NotNil(t, first, "%+v", got.Findings)
			require.NotNil(t, first.Expected)
			require.Less(t, first.Expected.Low, first.Expected.High)
			require.True(t, *first.Found < first.Expected.Low || *first.Found > first.Expected.High)
			if c.code != "" {
				require.NotNil(t, first.LikelySlip, first.Message)
				require.Equal(t, c.code, first.LikelySlip.Code)
				if c.corrected != "" {
					require.Equal(t, c.corrected, first.LikelySlip.Corrected)
				}
			}
		})
	}
}

// TestThreePhaseSlips wants a line-to-line reading named, and phases that differ told.
func TestThreePhaseSlips(t *testing.T) {
	t.Parallel()
	sheet := func() winding.Sheet {
		s := soundSheet(t)
		s.Core.Phases = 3
		s.Nameplate = winding.Nameplate{
			Voltage:    unit.Of(400),
			Frequency:  unit.Of(50),
			Current:    unit.Of(0.9),
			Power:      unit.Of(300),
			Connection: winding.ConnStar,
		}
		s.Scheme = threePhase(4, 6, 8, 75)
		for i := range s.Scheme.CoilSets {
			s.Scheme.CoilSets[i].Wires = metric("0.450")
		}
		weigh(t, &s)
		return s
	}
	require.Equal(t, winding.Coherent, winding.Check(sheet(), benchTable(t)).Verdict)

	s := sheet()
	for i := range s.Scheme.CoilSets {
		s.Scheme.CoilSets[i].Resistance.Value *= 2
	}
	got := winding.Check(s, benchTable(t))
	named := ""
	for _, f := range got.Findings {
		if f.LikelySlip != nil {
			named = f.LikelySlip.Code
		}
	}
	require.Equal(t, "r_line_to_line", named)

	s = sheet()
	s.Scheme.CoilSets[2].Resistance.Value *= 1.08
	require.Contains(t, codes(winding.Check(s, benchTable(t)).Findings), "phases_differ")

	s = sheet()
	s.Scheme.CoilSets[2].Pattern.Turns = []float64{70}
	got = winding.Check(s, benchTable(t))
	require.Equal(t, winding.Impossible, got.Verdict)
	require.Contains(t, codes(got.Findings), "three_phase_unbalanced")

	s = sheet()
	s.Nameplate.Power = unit.Of(3000)
	require.Contains(t, codes(winding.Check(s, benchTable(t)).Findings), "power_above_input")

	s = sheet()
	s.Scheme.Poles = 8
	s.Scheme.CoilSets[0].Pattern.Throws = []int{8}
	require.Contains(t, codes(winding.Check(s, benchTable(t)).Findings), "over_pitched")
}

// TestImpossibleSheets wants an error finding and never a refusal, with dotted field names.
func TestImpossibleSheets(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		edit        func(*winding.Sheet)
		code, field string
	}{
		"throw": {
			func(s *winding.Sheet) { s.Scheme.CoilSets[0].Pattern.Throws[0] = 40 },
			"throw_impossible",
			"scheme.coil_sets[0].pattern.throws[0]",
		},
		"gap": {
			func(s *winding.Sheet) { s.Core.GapDiameter = unit.Of(660) },
			"gap_on_wrong_side",
			"core.gap_diameter_mm",
		},
		"wire": {
			func(s *winding.Sheet) { s.Scheme.CoilSets[0].Wires[0].Size = "99" },
			"",
			"scheme.coil_sets[0].wires[0]",
		},
		"poles": {func(s *winding.Sheet) { s.Scheme.Poles = 3 }, "poles_impossible", "scheme.poles"},
		"volts": {
			func(s *winding.Sheet) { s.Nameplate.Voltage = unit.Of(-1) },
			"out_of_range",
			"nameplate.voltage_v",
		},
		"paths": {
			func(s *winding.Sheet) { s.Scheme.CoilSets[0].ParallelPaths = 3 },
			"paths_impossible",
			"scheme.coil_sets[0].parallel_paths",
		},
		"second ring": {
			func(s *winding.Sheet) { s.Scheme.CoilSets[1].Ring = winding.RingBack },
			"no_second_ring",
			"scheme.coil_sets[1].ring",
		},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			s := soundSheet(t)
			c.edit(&s)
			got := winding.Check(s, benchTable(t))
			require.Equal(t, winding.Impossible, got.Verdict)
			found := false
			for _, f := range got.Findings {
				if f.Severity == errs.SeverityError && (c.code == "" || f.Code == c.code) {
					require.NotEmpty(t, f.Fields)
					found = found || len(f.Fields[0]) >= len(c.field) && f.Fields[0][:len(c.field)] == c.field
				}
			}
			require.True(t, found, "%+v", got.Findings)
		})
	}
}

// TestEmptySheets wants no panic, and no more than a note where nothing is told: what is missing is not impossible.
func TestEmptySheets(t *testing.T) {
	t.Parallel()
	notes := func(s winding.Sheet) []string {
		got := winding.Check(s, benchTable(t))
		require.Equal(t, winding.Coherent, got.Verdict)
		var codes []string
		for _, f := range got.Findings {
			require.Equal(t, errs.SeverityNote, f.Severity, f.Message)
			codes = append(codes, f.Code)
		}
		return codes
	}
	require.Empty(t, notes(winding.Sheet{}))
	s := soundSheet(t)
	s.Core = stator.Core{}
	require.Contains(t, notes(s), "slots_missing")
	s.Scheme.CoilSets[1].Ring = winding.RingBack
	require.Contains(t, notes(s), "slots_missing")
	require.NotContains(t, notes(s), "no_second_ring")
	s = soundSheet(t)
	for i := range s.Scheme.CoilSets {
		s.Scheme.CoilSets[i].Wires = nil
	}
	got := winding.Check(s, nil)
	require.NotEqual(t, winding.Impossible, got.Verdict)
	s.Core = stator.Core{Slots: 24}
	got = winding.Check(s, benchTable(t))
	require.Len(t, got.Figures, 2)
	require.True(t, math.IsNaN(got.Figures[0].LnLength))
}

// TestMassState corrects enamel: a winding weighed with it is not suspect.
func TestMassState(t *testing.T) {
	t.Parallel()
	s := soundSheet(t)
	for i := range s.Scheme.CoilSets {
		s.Scheme.CoilSets[i].Mass.Value *= 1.035
		s.Scheme.CoilSets[i].MassState = "enamelled"
	}
	got := winding.Check(s, benchTable(t))
	require.Equal(t, winding.Coherent, got.Verdict)
	require.InDelta(t, 0, got.Figures[0].LnArea, 1e-6)
	for _, state := range []string{"bare", "enamelled", "varnished", "with_leads", ""} {
		share, sd := winding.EnamelShare(state)
		require.GreaterOrEqual(t, share, 0.0)
		require.GreaterOrEqual(t, sd, 0.0)
	}
}

// TestReferenceDensity by hand: tooth and back-iron limits joined.
func TestReferenceDensity(t *testing.T) {
	t.Parallel()
	core := workedStator().Core
	tau := math.Pi * 66 / 4
	tooth := 1.5 * 4.1 * 0.95 / (tau * math.Sin(math.Pi*4/48))
	iron := 2 * 1.4 * 11.5 * 0.95 / tau
	got, ok := winding.ReferenceDensity(core, 4)
	require.True(t, ok)
	require.InDelta(t, math.Pow(math.Pow(tooth, -4)+math.Pow(iron, -4), -0.25), float64(got), 1e-12)
	core.BackIron = unit.Measured{}
	got, ok = winding.ReferenceDensity(core, 4)
	require.True(t, ok)
	require.InDelta(t, tooth, float64(got), 1e-12)
	core.ToothWidth = unit.Measured{}
	_, ok = winding.ReferenceDensity(core, 4)
	require.False(t, ok)
}

// A wire that is named twice, and not alike, is a finding of sheet and analysis: SWG 24 is 0.5588 mm (BS 3737).
// The size stands.
func TestWireNamedTwice(t *testing.T) {
	t.Parallel()
	table := benchTable(t)
	codes := func(s winding.Sheet) (check, analysis []string) {
		for _, f := range winding.Check(s, table).Findings {
			if f.Code == "wire_named_twice" {
				check = append(check, f.Fields...)
				require.Equal(t, errs.SeverityWarning, f.Severity)
			}
		}
		a, err := winding.Analyse(winding.AnalysisInput{Core: s.Core, Nameplate: &s.Nameplate, Scheme: s.Scheme}, table)
		require.NoError(t, err)
		for _, f := range a.Findings {
			if f.Code == "wire_named_twice" {
				analysis = append(analysis, f.Fields...)
			}
		}
		return check, analysis
	}
	s := soundSheet(t)
	check, analysis := codes(s)
	require.Empty(t, check)
	require.Empty(t, analysis)
	w := s.Scheme.CoilSets[1].Wires[0]
	r, err := table.Resolve(w)
	require.NoError(t, err)
	w.Diameter = unit.Of(float64(r.Bare) * 1.02)
	s.Scheme.CoilSets[1].Wires[0] = w
	check, analysis = codes(s)
	require.Empty(t, check)
	require.Empty(t, analysis)
	w.Diameter = unit.Of(float64(r.Bare) * 1.5)
	if w.System == wire.Bare {
		w.Size = "24"
	}
	s.Scheme.CoilSets[1].Wires[0] = w
	check, analysis = codes(s)
	require.Equal(t, []string{"scheme.coil_sets[1].wires[0]"}, check)
	require.Equal(t, []string{"scheme.coil_sets[1].wires[0]"}, analysis)
	require.NotEqual(t, winding.Coherent, winding.Check(s, table).Verdict)
}
