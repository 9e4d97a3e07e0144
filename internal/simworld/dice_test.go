package simworld

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"statorbook/internal/unit"
)

// moments gives mean and standard deviation of n draws.
func moments(n int, draw func() float64) (mean, sd float64) {
	sum, squares := 0.0, 0.0
	for range n {
		v := draw()
		sum += v
		squares += v * v
	}
	mean = sum / float64(n)
	return mean, math.Sqrt(squares/float64(n) - mean*mean)
}

// TestSpreads holds the moments of the distributions against their formulas: Student's t with df
// degrees has variance df/(df-2); a normal cut at two sd has sd 0.8796 (both in any text on statistics).
func TestSpreads(t *testing.T) {
	t.Parallel()
	const n = 200_000
	for _, row := range []struct {
		name     string
		draw     func(dice) float64
		mean, sd float64
	}{
		{"normal", func(d dice) float64 { return d.normal(2) }, 0, 2},
		{"spread", func(d dice) float64 { return math.Log(d.spread(0.3)) }, 0, 0.3},
		{"firm", func(d dice) float64 { return math.Log(d.firm(0.1)) }, 0, 0.08796},
		{"student 6", func(d dice) float64 { return d.student(6, 1) }, 0, math.Sqrt(6.0 / 4)},
		{"laplace", func(d dice) float64 { return d.laplace(0.5) }, 0, 0.5},
		{"between", func(d dice) float64 { return d.between(1, 4) }, 2.5, 3 / math.Sqrt(12)},
		{"log between", func(d dice) float64 { return math.Log(d.logBetween(1, math.E)) }, 0.5, 1 / math.Sqrt(12)},
		{"index", func(d dice) float64 { return float64(d.index(1, 2, 1)) }, 1, math.Sqrt(0.5)},
	} {
		t.Run(row.name, func(t *testing.T) {
			t.Parallel()
			d := newDice(1, row.name, 0)
			mean, sd := moments(n, func() float64 { return row.draw(d) })
			require.InDelta(t, row.mean, mean, 5*row.sd/math.Sqrt(n))
			require.InEpsilon(t, row.sd, sd, 0.015)
		})
	}
}

// TestDiceAreTheirOwn wants different things to have different dice, and the same thing the same.
func TestDiceAreTheirOwn(t *testing.T) {
	t.Parallel()
	seen := map[uint64]string{}
	for _, name := range []string{"a", "b", "record"} {
		for n := range 50 {
			for seed := range uint64(4) {
				v := newDice(seed, name, n).r.Uint64()
				require.Equal(t, v, newDice(seed, name, n).r.Uint64())
				require.Empty(t, seen[v])
				seen[v] = name
			}
		}
	}
}

// TestFiguresAgreeWithTheirDigits: what is typed is what is meant.
func TestFiguresAgreeWithTheirDigits(t *testing.T) {
	t.Parallel()
	for _, row := range []struct {
		m    unit.Measured
		text string
	}{
		{read(73.84, 0.1), "73.8"}, {read(73.86, 0.05), "73.85"}, {read(20.3, 0.5), "20.5"}, {read(1185, 5), "1185"}, {read(0.0349, 0.01), "0.03"},
		{significant(144.4, 3), "144"}, {significant(1.2345, 3), "1.23"}, {significant(0.03156, 2), "0.032"}, {significant(12345, 2), "12000"}, {significant(0, 3), "0"},
	} {
		require.Equal(t, row.text, row.m.Text)
		require.True(t, row.m.Given)
	}
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.Float64Range(0.01, 9999).Draw(t, "v")
		step := rapid.SampledFrom([]float64{0.01, 0.05, 0.1, 0.5, 1}).Draw(t, "step")
		m := read(v, step)
		require.InDelta(t, v, m.Value, step/2+1e-9)
		require.Equal(t, m.Value, typed(m.Text).Value)
		s := significant(v, 3)
		require.InEpsilon(t, v, s.Value, 0.0051)
	})
}

func TestTypedPanicsOnNonsense(t *testing.T) {
	t.Parallel()
	for _, text := range []string{"", "x", "NaN", "Inf", "1e999"} {
		require.Panics(t, func() { typed(text) }, text)
	}
}

// TestBlunders wants every kind of gross error, each what its name says, none of them zero or below.
func TestBlunders(t *testing.T) {
	t.Parallel()
	d := newDice(3, "blunder", 0)
	kinds := map[blunderKind]int{}
	for i := range 5000 {
		m := read(d.logBetween(1.5, 400), pick(d, 0.01, 0.1, 0.5))
		if m.Value <= 0 {
			continue
		}
		bad, kind := blunder(d, m)
		kinds[kind]++
		require.NotEqual(t, m.Value, bad.Value, "%d: %s as %s by %s", i, m.Text, bad.Text, kind)
		require.Positive(t, bad.Value, "%s as %s by %s", m.Text, bad.Text, kind)
		ratio := bad.Value / m.Value
		switch kind {
		case digitSwap:
			a, b := []byte(m.Text), []byte(bad.Text)
			slices.Sort(a)
			slices.Sort(b)
			require.Equal(t, string(a), string(b))
		case wrongDigit:
			require.Len(t, bad.Text, len(m.Text))
		case inchRead:
			require.InEpsilon(t, 1/25.4, ratio, 0.02)
		case decimalOff:
			require.True(t, math.Abs(ratio-10) < 1e-9 || math.Abs(ratio-0.1) < 1e-9, "%s as %s", m.Text, bad.Text)
		case halfDouble:
			require.True(t, math.Abs(ratio-2) < 0.05 || math.Abs(ratio-0.5) < 0.05, "%s as %s", m.Text, bad.Text)
		}
	}
	for _, k := range []blunderKind{digitSwap, wrongDigit, inchRead, decimalOff, halfDouble} {
		require.Greater(t, kinds[k], 300, k)
	}
}

func TestShiftPoint(t *testing.T) {
	t.Parallel()
	for _, row := range []struct {
		in     string
		places int
		out    string
	}{{"73.8", 1, "738"}, {"73.8", -1, "7.38"}, {"4.05", -1, "0.405"}, {"0.5", 1, "5"}, {"0.5", -1, "0.05"}, {"118", 1, "1180"}, {"118", -1, "11.8"}, {"20", -1, "2"}, {"4.50", 1, "45"}} {
		require.Equal(t, row.out, shiftPoint(row.in, row.places), row.in)
	}
}

// TestBlunderOfOneDigit ends although nothing can be swapped.
func TestBlunderOfOneDigit(t *testing.T) {
	t.Parallel()
	d := newDice(4, "one", 0)
	for range 300 {
		bad, _ := blunder(d, typed("5"))
		require.Positive(t, bad.Value)
	}
	_, ok := swapDigits(d, "55")
	require.False(t, ok)
	_, ok = changeDigit(d, "0.0")
	require.False(t, ok)
}

func TestNearest(t *testing.T) {
	t.Parallel()
	require.InDelta(t, 2.25, nearest(2.3, runCapacitors), 0)
	require.InDelta(t, 1.0, nearest(0.2, runCapacitors), 0)
	require.InDelta(t, 100.0, nearest(900, runCapacitors), 0)
}
