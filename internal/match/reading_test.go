package match

import (
	"math"
	"slices"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"statorbook/internal/unit"
)

func typedMM(text string, v float64) unit.Measured {
	return unit.Measured{Given: true, Value: v, Text: text}
}

// TestAlternatives wants each kind of slip among the alternative readings. Arithmetic by hand.
func TestAlternatives(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name string
		m    unit.Measured
		want []float64
		not  []float64
	}{
		{"digits swapped", typedMM("73.8", 73.8), []float64{37.8, 78.3}, []float64{73.8}},
		{"one digit wrong", typedMM("73.8", 73.8), []float64{73.1, 13.8, 3.8, 79.8}, nil},
		{"inch for millimetre", typedMM("3.1", 3.1), []float64{78.74}, nil},
		{"point one place off", typedMM("1180", 1180), []float64{118, 11800}, nil},
		{"half and double", typedMM("66", 66), []float64{33, 132}, nil},
		{"like digits do not swap", typedMM("55", 55), []float64{57}, []float64{55}},
		{"millimetre for inch", unit.Measured{Given: true, Value: 76.2, Text: "76.2", Unit: "[in_i]"}, []float64{3, 152.4}, nil},
		{"digits of the unit as typed", unit.Measured{Given: true, Value: 123, Text: "123", Unit: "cm"}, []float64{132, 213}, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			alts := alternatives(c.m)
			has := func(v float64) bool {
				return slices.ContainsFunc(alts, func(a alternative) bool { return math.Abs(a.value-v) < 1e-9*v })
			}
			for _, v := range c.want {
				require.True(t, has(v), "%g should be among the alternatives", v)
			}
			for _, v := range c.not {
				require.False(t, has(v), "%g is no alternative", v)
			}
			for _, a := range alts {
				require.Positive(t, a.value)
				require.Positive(t, a.weight)
			}
		})
	}
}

// TestAlternativeWeights: the shares of the kinds, each scaling with its derivative, for figures that
// have all kinds and for one of like digits, which has nothing to swap.
func TestAlternativeWeights(t *testing.T) {
	t.Parallel()
	scalings := wInch*unit.MillimetrePerInch + wPoint/2*(10+0.1) + wHalf/2*(2+0.5)
	for text, want := range map[string]float64{"73.8": wSwap + wDigit + scalings, "12.34": wSwap + wDigit + scalings, "55": wDigit + scalings} {
		v, err := strconv.ParseFloat(text, 64)
		require.NoError(t, err)
		sum := 0.0
		for _, a := range alternatives(typedMM(text, v)) {
			sum += a.weight
		}
		require.InDelta(t, want, sum, 1e-9, text)
	}
}

// TestCoreIsADensity integrates the likelihood of a sound reading over what might have been typed:
// 1 - slip rate, by the trapezoid rule.
func TestCoreIsADensity(t *testing.T) {
	t.Parallel()
	for k := range nScale {
		r := newReading(dGap, unit.Of(60), 0.1)
		r.alts, r.broad = nil, 0
		sum := 0.0
		const h = 0.002
		for x := 40.0; x < 80; x += h {
			r.x = x
			l := [nScale]float64{1, 1, 1}
			r.like(60, 0.01, &l)
			sum += l[k] * h
		}
		require.InDelta(t, 1-slipRate, sum, 2e-4)
	}
}

// TestBestAlternative: 78.3 for a core of 73.8 was a swap; 60.1 for 60.0 stands as typed.
func TestBestAlternative(t *testing.T) {
	t.Parallel()
	r := newReading(dGap, typedMM("78.3", 78.3), 0.1)
	v, p, ok := r.bestAlternative(73.8, 0.01)
	require.True(t, ok)
	require.InDelta(t, 73.8, v, 1e-9)
	require.Greater(t, p, 0.9)
	r = newReading(dGap, typedMM("60.1", 60.1), 0.1)
	_, _, ok = r.bestAlternative(60, 0.01)
	require.False(t, ok)
	r = newReading(dGap, typedMM("78.3", 78.3), 0.1)
	_, _, ok = r.bestAlternative(51.27, 0.0001)
	require.False(t, ok, "nothing that a pen does turns 51.27 into 78.3")
}

// TestSlipOutweighsNoise: a reading that one slip explains is far likelier than one that nothing does.
func TestSlipOutweighsNoise(t *testing.T) {
	t.Parallel()
	like := func(text string, v, c float64) float64 {
		r := newReading(dGap, typedMM(text, v), 0.1)
		l := [nScale]float64{1, 1, 1}
		r.like(c, 0.0025, &l)
		return l[1]
	}
	require.Greater(t, like("78.3", 78.3, 73.8), 10*like("78.3", 78.3, 71.5))
	require.Greater(t, like("118", 118, 118), 100*like("1180", 1180, 118))
	require.Greater(t, like("1180", 1180, 118), 3*like("1180", 1180, 119.7))
}

// TestWideningNeverSharpens is the sense in which "widening an uncertainty never narrows a result"
// can be proved: for one reading that is not beyond the reach of slips, the likelihood ratio of two
// catalogued values never moves away from 1 when the uncertainty grows, because
// ((1+b²/s²)/(1+a²/s²))³ falls in s for |b| > |a|. Mixtures over several dimensions can still gain
// information about a third hypothesis, so no more is claimed.
func TestWideningNeverSharpens(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.Float64Range(20, 200).Draw(t, "x")
		u := rapid.Float64Range(0.02, 2).Draw(t, "u")
		wider := u * rapid.Float64Range(1, 20).Draw(t, "times")
		a := x + u*rapid.Float64Range(-2, 2).Draw(t, "a")
		b := x + u*rapid.Float64Range(-2, 2).Draw(t, "b")
		ratio := func(u float64) float64 {
			m := unit.Of(x)
			m.Uncertainty = u
			r := newReading(dGap, m, 0.01)
			la, lb := [nScale]float64{1, 1, 1}, [nScale]float64{1, 1, 1}
			r.like(a, 1e-6, &la)
			r.like(b, 1e-6, &lb)
			return math.Abs(math.Log(la[1] / lb[1]))
		}
		require.LessOrEqual(t, ratio(wider), ratio(u)+1e-9)
	})
}

// TestHostileUncertainty: nothing, a kilometre, the infinite and NaN are held within what an instrument can do.
func TestHostileUncertainty(t *testing.T) {
	t.Parallel()
	for _, u := range []float64{0, -1, 1e-300, 1e300, math.Inf(1), math.NaN(), 1e6} {
		m := unit.Of(60)
		m.Uncertainty, m.Resolution = u, u
		r := newReading(dGap, m, 0.1)
		l := [nScale]float64{1, 1, 1}
		r.like(61, 0.01, &l)
		for k := range l {
			require.Greater(t, l[k], 0.0, "uncertainty %g", u)
			require.Less(t, l[k], 500.0, "uncertainty %g", u)
		}
	}
}

// TestRoundingStep: figures that are all multiples of a coarse step show it.
func TestRoundingStep(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		values    []float64
		low, high float64
	}{
		{[]float64{60, 101, 4, 16}, 0.7, 1},
		{[]float64{60.5, 101, 4.5, 16}, 0.4, 0.6},
		{[]float64{60.3, 101.1, 4.7}, 0.08, 0.13},
		{[]float64{60.35, 101.15, 4.7}, 0.04, 0.06},
		{[]float64{60.37, 101.12}, 0.009, 0.02},
		{nil, 0.05, 0.3},
	} {
		got := roundingStep(c.values)
		require.GreaterOrEqual(t, got, c.low, c.values)
		require.LessOrEqual(t, got, c.high, c.values)
	}
}

// TestFigureSlips: 5 Hz for 50, 4000 V for 400, 1150 for 115 are slips; 51 for 50 is one too, of a digit.
func TestFigureSlips(t *testing.T) {
	t.Parallel()
	for _, c := range [][2]float64{{5, 50}, {500, 50}, {4000, 400}, {1150, 115}, {25, 50}, {70, 50}, {2200, 220}} {
		require.Positive(t, slipTo(figureSlips(unit.Of(c[0])), math.Log(c[1])), "%g for %g", c[0], c[1])
	}
	require.Zero(t, slipTo(figureSlips(unit.Of(400)), math.Log(50)))
}
