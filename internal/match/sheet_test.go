package match

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"statorbook/internal/errs"
	"statorbook/internal/unit"
	"statorbook/internal/winding"
	"statorbook/internal/wire"
)

func requireSoundVerdict(t require.TestingT, v SheetVerdict) {
	finite(t, v.LnOdds)
	require.Contains(t, []winding.Verdict{winding.Coherent, winding.Suspect, winding.Impossible}, v.Verdict)
	for _, f := range v.Findings {
		require.NotEmpty(t, f.Code)
		require.NotEmpty(t, f.Message)
	}
}

// cleanSheet is a catalogued record as a sheet: its masses and resistances agree with its turns.
func cleanSheet(i int) winding.Sheet {
	e := sampleWorld().records[i].domain()
	return winding.Sheet{Core: *e.CoreAsMeasured, MotorType: e.MotorType, Origin: e.Origin, Nameplate: e.Nameplate, Scheme: e.Scheme}
}

// TestCleanSheetsPass: of evenly spread records of the catalogue at most a few look like a slip.
func TestCleanSheetsPass(t *testing.T) {
	t.Parallel()
	w := sampleWorld()
	flagged, n := 0, 0
	for i := 0; i < len(w.records); i += 13 {
		v := w.index.CheckRecord(cleanSheet(i))
		requireSoundVerdict(t, v)
		n++
		for _, f := range v.Findings {
			if f.Code == "likely_slip" {
				flagged++
			}
		}
	}
	require.LessOrEqual(t, float64(flagged), 0.03*float64(n)+1)
}

// TestSlipsAreNamed makes one slip in a clean single-phase sheet (record 1 of the sample: concentric
// coils, mass and resistance of both windings) and wants it found and named with the right figure.
func TestSlipsAreNamed(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		slip            func(*winding.Sheet)
		code, corrected string
	}{
		"turns halved":      {func(s *winding.Sheet) { scaleAll(s, 0, 0.5) }, "turns_halved", ""},
		"turns doubled":     {func(s *winding.Sheet) { scaleAll(s, 0, 2) }, "turns_doubled", ""},
		"gauge two off":     {func(s *winding.Sheet) { s.Scheme.CoilSets[0].Wires[0].Size = "0.300" }, "gauge_off_by_2", "metric 0.265"},
		"mass of both":      {func(s *winding.Sheet) { s.Scheme.CoilSets[0].Mass.Value += s.Scheme.CoilSets[1].Mass.Value }, "mass_of_both", ""},
		"paths":             {func(s *winding.Sheet) { s.Scheme.CoilSets[0].ParallelPaths = 2 }, "paths_wrong", "1"},
		"poles":             {func(s *winding.Sheet) { s.Scheme.Poles, s.Nameplate.Poles = 4, 4 }, "poles_wrong", "2"},
		"voltage":           {func(s *winding.Sheet) { s.Nameplate.Voltage = unit.Of(230) }, "voltage_wrong", ""},
		"throw one off":     {func(s *winding.Sheet) { s.Scheme.CoilSets[0].Pattern.Throws = []int{8, 5, 4} }, "throw_off_by_1", "6"},
		"throw two off":     {func(s *winding.Sheet) { s.Scheme.CoilSets[1].Pattern.Throws = []int{8, 4} }, "throw_off_by_2", "6"},
		"coils halved":      {func(s *winding.Sheet) { s.Scheme.CoilSets[0].Pattern.Groups = 1 }, "coils_halved", "2"},
		"stack ten times":   {func(s *winding.Sheet) { s.Core.StackLength = unit.Of(180) }, "stack_blunder", "18"},
		"resistance digits": {func(s *winding.Sheet) { s.Scheme.CoilSets[0].Resistance = unit.Of(215) }, "r_digit_swap", "125"},
		"mass digits":       {func(s *winding.Sheet) { s.Scheme.CoilSets[0].Mass = unit.Of(917) }, "mass_digit_swap", "197"},
		"digit of a coil":   {func(s *winding.Sheet) { s.Scheme.CoilSets[0].Pattern.Turns = []float64{420, 735, 235} }, "turns_digit", ""},
		"aluminium": {func(s *winding.Sheet) {
			for i := range s.Scheme.CoilSets {
				s.Scheme.CoilSets[i].Mass.Value *= wire.DensityAluminium / wire.DensityCopper
				s.Scheme.CoilSets[i].Resistance.Value *= wire.ResistivityAluminium / wire.ResistivityAnnealedCopper
			}
		}, "material_wrong", "aluminium"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			s := cleanSheet(1)
			deepen(&s)
			require.Equal(t, winding.Concentric, s.Scheme.CoilSets[0].Pattern.Kind)
			c.slip(&s)
			v := sampleWorld().index.CheckRecord(s)
			requireSoundVerdict(t, v)
			require.NotEqual(t, winding.Coherent, v.Verdict)
			require.NotNil(t, v.Slip)
			require.Contains(t, v.Slip.Code, c.code)
			if c.corrected != "" {
				require.Equal(t, c.corrected, v.Slip.Corrected)
			}
			require.Greater(t, v.LnOdds, flagFull)
			var found *errs.Finding
			for i := range v.Findings {
				if v.Findings[i].Code == "likely_slip" {
					found = &v.Findings[i]
				}
			}
			require.NotNil(t, found)
			require.Equal(t, v.LnOdds, *found.Odds)
			require.Equal(t, []string{v.Slip.Field}, found.Fields)
		})
	}
}

// deepen copies what a slip changes.
func deepen(s *winding.Sheet) {
	s.Scheme.CoilSets = append([]winding.CoilSet(nil), s.Scheme.CoilSets...)
	for i := range s.Scheme.CoilSets {
		set := &s.Scheme.CoilSets[i]
		p := *set.Pattern
		set.Pattern = &p
		set.Wires = append([]wire.Wire(nil), set.Wires...)
	}
}

func scaleAll(s *winding.Sheet, set int, k float64) {
	p := s.Scheme.CoilSets[set].Pattern
	p.Turns = append([]float64(nil), p.Turns...)
	for i := range p.Turns {
		p.Turns[i] = math.Round(p.Turns[i] * k)
	}
}

// TestThreePhaseSlips: star for delta, and a resistance measured between two leads.
func TestThreePhaseSlips(t *testing.T) {
	t.Parallel()
	w := sampleWorld()
	seen := map[string]int{}
	for i := range w.records {
		if len(w.records[i].Scheme.CoilSets) != 3 || i%5 != 0 {
			continue
		}
		s := cleanSheet(i)
		deepen(&s)
		factor := 2.0
		if s.Nameplate.Connection == winding.ConnDelta {
			factor = 2.0 / 3
		}
		for k := range s.Scheme.CoilSets {
			s.Scheme.CoilSets[k].Resistance.Value *= factor
		}
		if v := w.index.CheckRecord(s); v.Slip != nil && v.LnOdds > flagFull {
			seen[v.Slip.Code]++
		}
		s = cleanSheet(i)
		if s.Nameplate.Connection == winding.ConnDelta {
			s.Nameplate.Connection = winding.ConnStar
		} else {
			s.Nameplate.Connection = winding.ConnDelta
		}
		if v := w.index.CheckRecord(s); v.Slip != nil && v.LnOdds > flagFull {
			seen[v.Slip.Code]++
		}
		seen["n"]++
	}
	require.Greater(t, seen["n"], 50)
	require.GreaterOrEqual(t, float64(seen["r_line_to_line"]), 0.9*float64(seen["n"]))
	require.GreaterOrEqual(t, float64(seen["star_delta_swapped"]), 0.6*float64(seen["n"]))
}

// TestSheetsWithLittle: every field is optional.
func TestSheetsWithLittle(t *testing.T) {
	t.Parallel()
	x := sampleWorld().index
	v := x.CheckRecord(winding.Sheet{})
	requireSoundVerdict(t, v)
	require.Nil(t, v.Slip)
	require.Equal(t, noOdds, v.LnOdds)
	for i := range 40 {
		s := cleanSheet(i * 17)
		deepen(&s)
		set := &s.Scheme.CoilSets[0]
		switch i % 8 {
		case 0:
			set.Mass, set.Resistance = unit.Measured{}, unit.Measured{}
		case 1:
			set.Wires = nil
		case 2:
			s.Nameplate = winding.Nameplate{}
		case 3:
			s.Core.StackLength, s.Core.SlotDepth, s.Core.BackDiameter = unit.Measured{}, unit.Measured{}, unit.Measured{}
		case 4:
			s.Scheme.CoilSets = s.Scheme.CoilSets[:1]
		case 5:
			s.Core.GapDiameter = unit.Measured{}
		case 6:
			s.Scheme.Poles = 0
		case 7:
			set.Pattern, set.Coils = nil, []winding.Coil{{In: 1, Out: 6, Turns: 120}, {In: 7, Out: 12, Turns: 120}}
		}
		requireSoundVerdict(t, x.CheckRecord(s))
	}
	// An index without any record judges by its priors.
	requireSoundVerdict(t, NewBuilder(testWires()).Build().CheckRecord(cleanSheet(1)))
	requireSoundVerdict(t, NewBuilder(nil).Build().CheckRecord(cleanSheet(1)))
}

// TestAnySheet: hostile figures give a verdict, never a panic or a NaN.
func TestAnySheet(t *testing.T) {
	t.Parallel()
	x := sampleWorld().index
	rapid.Check(t, func(t *rapid.T) {
		s := cleanSheet(rapid.IntRange(0, 1999).Draw(t, "record"))
		deepen(&s)
		f := func(name string, middle float64) unit.Measured { return anyFigure(middle).Draw(t, name) }
		set := &s.Scheme.CoilSets[0]
		set.Mass, set.Resistance, set.Temperature = f("mass", 300), f("ohm", 20), f("temperature", 20)
		set.ParallelPaths = rapid.IntRange(0, 9).Draw(t, "paths")
		set.Wires[0].Strands = rapid.IntRange(0, 12).Draw(t, "strands")
		set.Wires[0].Size = rapid.SampledFrom([]string{"30", "0.315", "99", ""}).Draw(t, "size")
		for i := range set.Pattern.Throws {
			set.Pattern.Throws = append([]int(nil), set.Pattern.Throws...)
			set.Pattern.Throws[i] = rapid.IntRange(-1, 40).Draw(t, "throw")
		}
		set.Pattern.Turns = []float64{rapid.SampledFrom([]float64{0, 1, 120, 20000, -5, math.NaN(), math.Inf(1)}).Draw(t, "turns")}
		set.Pattern.Groups = rapid.IntRange(-1, 40).Draw(t, "groups")
		s.Scheme.Poles = rapid.IntRange(-2, 20).Draw(t, "poles")
		s.Core.StackLength, s.Core.GapDiameter = f("stack", 45), f("gap", 70)
		s.Nameplate.Voltage, s.Nameplate.Current = f("volts", 230), f("amps", 1)
		requireSoundVerdict(t, x.CheckRecord(s))
	})
}

// TestOddsAreSmooth: the odds of sound sheets spread out instead of sticking to one value, so that a
// threshold can be set at any share of false alarms.
func TestOddsAreSmooth(t *testing.T) {
	t.Parallel()
	clean := cleanOdds()
	require.Greater(t, len(clean), 300)
	same := 0
	for i := 1; i < len(clean); i++ {
		if clean[i] == clean[i-1] {
			same++
		}
	}
	require.Less(t, float64(same), 0.02*float64(len(clean)))
	require.Less(t, clean[len(clean)/2], 3.0)
}

// TestTimesText: e^odds in words that a bench reads: two digits, never an exponent (e = 2.71828: e^5 = 148.4, e^10.4 = 32,860).
func TestTimesText(t *testing.T) {
	t.Parallel()
	for odds, want := range map[float64]string{0: "about 1.0", 1: "about 2.7", 5: "about 150", 10.4: "about 33000", 14: "more than a million", 800: "more than a million"} {
		require.Equal(t, want, timesText(odds), odds)
	}
}
