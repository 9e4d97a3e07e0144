package match

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"statorbook/internal/stator"
	"statorbook/internal/unit"
	"statorbook/internal/winding"
	"statorbook/internal/wire"
)

// TestDigitsAreThoseTyped: the digits of a resistance read warm, and of a mass weighed with its enamel,
// are swapped as they stand on the sheet, and put right as they stood.
func TestDigitsAreThoseTyped(t *testing.T) {
	t.Parallel()
	s := cleanSheet(1)
	deepen(&s)
	main := &s.Scheme.CoilSets[0]
	warm := main.Resistance.Value * wire.TemperatureFactor(wire.Copper, 41) // 135 Ω for the 125 at 20 °C
	require.InDelta(t, 135, warm, 1)
	main.Temperature = unit.Of(41)
	main.Resistance = unit.Measured{Given: true, Value: 315, Text: "315"}
	v := sampleWorld().index.CheckRecord(s)
	require.NotNil(t, v.Slip)
	require.Equal(t, "r_digit_swap", v.Slip.Code)
	require.Equal(t, "135", v.Slip.Corrected)
	require.Greater(t, v.LnOdds, flagFull)

	s = cleanSheet(1)
	deepen(&s)
	main = &s.Scheme.CoilSets[0]
	share, _ := coatShare(main, testWires())
	require.Zero(t, share, "bare, as the record says")
	main.MassState = "enamelled"
	share, _ = coatShare(main, testWires())
	require.InDelta(t, 208, 197*(1+share), 4)
	main.Mass = unit.Measured{Given: true, Value: 280, Text: "280"}
	slip := sampleWorld().index.CheckRecord(s).Slip
	require.Equal(t, "mass_digit_swap", slip.Code)
	require.Equal(t, "208", slip.Corrected)
}

// threePhase is a catalogued three-phase record whose phases were weighed and measured one by one.
func threePhase(t *testing.T) winding.Sheet {
	w := sampleWorld()
	for i := range w.records {
		if len(w.records[i].Scheme.CoilSets) != 3 {
			continue
		}
		s := cleanSheet(i)
		deepen(&s)
		if !s.Scheme.CoilSets[0].Mass.Given || !s.Scheme.CoilSets[0].Resistance.Given {
			continue
		}
		for k, by := range []float64{1, 1.012, 0.991} {
			set := &s.Scheme.CoilSets[k]
			set.Mass.Value, set.Mass.Text = math.Round(set.Mass.Value*by), ""
			set.Resistance.Value, set.Resistance.Text = set.Resistance.Value*(2-by), ""
		}
		return s
	}
	t.Fatal("no three-phase record in the sample")
	return winding.Sheet{}
}

// TestPhasesAreCompared: a slip in one phase of three is found in that phase, and names it.
func TestPhasesAreCompared(t *testing.T) {
	t.Parallel()
	x := sampleWorld().index
	clean := x.CheckRecord(threePhase(t))
	require.Less(t, clean.LnOdds, flagFull)
	for name, c := range map[string]struct {
		set  int
		slip func(*winding.CoilSet)
		code string
	}{
		"mass of the second":      {1, func(c *winding.CoilSet) { c.Mass.Value *= 10 }, "mass_digit_swap"},
		"mass of the third":       {2, func(c *winding.CoilSet) { c.Mass.Value /= 10 }, "mass_digit_swap"},
		"resistance of the first": {0, func(c *winding.CoilSet) { c.Resistance.Value *= 10 }, "r_digit_swap"},
		"resistance of the third": {2, func(c *winding.CoilSet) { c.Resistance.Value /= 10 }, "r_digit_swap"},
	} {
		t.Run(name, func(t *testing.T) {
			s := threePhase(t)
			c.slip(&s.Scheme.CoilSets[c.set])
			v := x.CheckRecord(s)
			require.NotNil(t, v.Slip)
			require.Equal(t, c.code, v.Slip.Code)
			require.True(t, strings.HasPrefix(v.Slip.Field, "scheme.coil_sets["+string(rune('0'+c.set))+"]."), v.Slip.Field)
			require.Greater(t, v.LnOdds, flagFull)
		})
	}
}

func TestMiddleOfFigures(t *testing.T) {
	t.Parallel()
	var g setFigures
	require.True(t, math.IsNaN(g.middle()))
	require.True(t, g.alike())
	for i, v := range []float64{8, 2, 900, 7} {
		g.add(unit.Of(v), 0.5, i)
	}
	require.Equal(t, 3, g.n, "a winding has three phases")
	require.Equal(t, 4.0, g.middle())
	require.False(t, g.alike())
	require.InDelta(t, math.Log(4), g.apart()[0], 1e-12)
	require.InDelta(t, math.Log(112.5), g.apart()[1], 1e-12)
	two := setFigures{v: [3]float64{2, 8}, n: 2}
	require.Equal(t, 4.0, two.middle())
	twice := two.times(2)
	require.Equal(t, 8.0, twice.middle())
	require.Equal(t, 4.0, two.middle(), "what is corrected is a copy")
	require.Equal(t, "16", g.asTyped(8))
}

// TestCoatShare: common practice (no source) has weighings carry 2 to 3.5 % of enamel for grade 1 and 3 to 6 % for
// grade 2 on small wire; beside aluminium the same enamel is 8.89/2.703 times as much.
func TestCoatShare(t *testing.T) {
	t.Parallel()
	set := func(state, size string, b wire.Build, c wire.Conductor) *winding.CoilSet {
		return &winding.CoilSet{MassState: state, Wires: []wire.Wire{{System: wire.Metric, Size: size, Build: b, Conductor: c, Strands: 1}}}
	}
	share := func(c *winding.CoilSet) float64 {
		s, sd := coatShare(c, testWires())
		require.GreaterOrEqual(t, sd, 0.0)
		return s
	}
	require.Zero(t, share(set("bare", "0.315", wire.Grade2, wire.Copper)))
	one, two := share(set("enamelled", "0.315", wire.Grade1, wire.Copper)), share(set("enamelled", "0.315", wire.Grade2, wire.Copper))
	require.InDelta(t, 0.0275, one, 0.0075)
	require.InDelta(t, 0.045, two, 0.015)
	require.Greater(t, share(set("enamelled", "0.150", wire.Grade2, wire.Copper)), two, "thin wire carries more")
	require.InEpsilon(t, two*8.89/2.703, share(set("enamelled", "0.315", wire.Grade2, wire.Aluminium)), 0.01)
	require.Greater(t, share(set("varnished", "0.315", wire.Grade2, wire.Copper)), two)
	middle, sd := coatShare(set("", "0.315", wire.Grade2, wire.Copper), testWires())
	require.True(t, middle > 0 && middle < two && sd > 0.4*middle, "nobody knows whether it was stripped")
	usual, _ := winding.EnamelShare("enamelled")
	known, _ := coatShare(&winding.CoilSet{MassState: "enamelled"}, nil)
	require.Equal(t, usual, known)
}

// TestReferenceBasis: a reference density without its back iron, or without its teeth, is another check.
func TestReferenceBasis(t *testing.T) {
	t.Parallel()
	s := cleanSheet(1)
	s.Core.ToothWidth, s.Core.BackIron = unit.Of(4), unit.Of(9)
	basis := func(c stator.Core) int {
		s := s
		s.Core = c
		f, ok := factsOf(&s, testWires())
		require.True(t, ok)
		var v, extra [nChk]float64
		f.checks(0, &v, &extra)
		for _, check := range []int{chkDensity, chkTeeth, chkIron} {
			require.Equal(t, check != f.basis, math.IsNaN(v[check]))
		}
		return f.basis
	}
	require.Equal(t, chkDensity, basis(s.Core))
	c := s.Core
	c.BackIron, c.SlotDepth = unit.Measured{}, unit.Measured{}
	require.Equal(t, chkTeeth, basis(c))
	c = s.Core
	c.ToothWidth = unit.Measured{}
	require.Equal(t, chkIron, basis(c))
}

// TestManyStrands: more strands than the service works with are counted, and judged.
func TestManyStrands(t *testing.T) {
	t.Parallel()
	s := cleanSheet(1)
	deepen(&s)
	set := &s.Scheme.CoilSets[0]
	set.Wires[0].Strands = 8
	eight, n := conductorAsTold(set, testWires())
	require.Equal(t, 8, n)
	set.Wires[0].Strands = 9
	nine, n := conductorAsTold(set, testWires())
	require.Equal(t, 9, n)
	require.InEpsilon(t, eight*9/8, nine, 1e-12)
	v := sampleWorld().index.CheckRecord(s)
	requireSoundVerdict(t, v)
	require.Equal(t, winding.Impossible, v.Verdict)
	require.Greater(t, v.LnOdds, flagFull, "nine times the copper is no winding of this core")
	require.Equal(t, "strands_wrong", v.Slip.Code)
	require.Equal(t, "1", v.Slip.Corrected)
	require.NotEqual(t, "strands_wrong", slipText("strands_wrong"))
}

// TestEndsOfTeeth: the features of the mean turn are shares of it, and know coils on every tooth.
func TestEndsOfTeeth(t *testing.T) {
	t.Parallel()
	f := sheetFacts{stack: 20, slots: 12}
	s := setFacts{kind: winding.Tooth, groups: 12, span: 1, arcPitch: 25, tooth: 10, guessed: true}
	got := f.ends(&s)
	turn := 2*20 + 2.2*25 + 15.0
	require.InDeltaSlice(t, []float64{endArc: 55 / turn, endFixed: 15 / turn, endTooth: 20 / turn, endFull: 1, endGuess: 1}, got[:], 1e-12)
	s.groups, s.back, s.guessed, s.tooth = 6, true, false, math.NaN()
	got = f.ends(&s)
	require.InDeltaSlice(t, []float64{endArc: 55 / turn, endFixed: 15 / turn, endBack: 1, endGuess: 0}, got[:], 1e-12)
}
