package match

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"statorbook/internal/stator"
	"statorbook/internal/unit"
)

func stackQuery(x *Index, text string, v float64) *prepared {
	m := unit.Of(v)
	m.Text = text
	return x.prepare(&Query{Measurements: stator.Core{Slots: 24, RotorPosition: stator.RotorInside, StackLength: m}})
}

// stackIndex is an index that knows stacks alone: 40 mm at a gap of 70 mm, within a third.
func stackIndex() *Index {
	x := &Index{}
	for rotor := range x.model.stack {
		x.model.stack[rotor] = linear{b: []float64{math.Log(40.0 / 70), 0, 0}, sd: 0.33}
	}
	x.model.stackOwn = [2]float64{0.8, 0.8}
	return x
}

// TestStackOptions: a stack of a usual length stands as typed; one that no such machine has is also read
// as what was probably meant, the decimal point first, and if nothing explains it what is expected stays.
func TestStackOptions(t *testing.T) {
	t.Parallel()
	x := stackIndex()
	best := func(o []stackOption) stackOption {
		top := o[0]
		for _, e := range o {
			if e.density > top.density {
				top = e
			}
		}
		return top
	}
	for _, c := range []struct {
		text   string
		typed  float64
		best   float64
		within float64
	}{{"42.5", 42.5, 42.5, 0.5}, {"25", 25, 25, 0.5}, {"3.3", 3.3, 33, 0.6}, {"390", 390, 39, 0.6}, {"1.55", 1.55, 39.37, 1}, {"0.0017", 0.0017, 40, 1}} {
		o := x.stackOptions(stackQuery(x, c.text, c.typed), rotorInside, 4, 70, -1)
		require.InDelta(t, c.best, best(o).stack, c.within, c.text)
		if c.best == c.typed {
			require.Len(t, o, 1, c.text)
		}
	}
	none := x.stackOptions(x.prepare(&Query{Measurements: stator.Core{Slots: 24}}), rotorInside, 4, 70, -1)
	require.Len(t, none, 1)
	require.InDelta(t, 40, none[0].stack, 1e-9)
	require.InDelta(t, 0.33*0.33, none[0].rel, 1e-9)
	require.Equal(t, 1.0, none[0].density)
}

// TestStackOptionsKeepTheDensity: however a stack is read, the options together have the density of the
// reading, every option is a length, and its variance is no more than that of what is expected.
func TestStackOptionsKeepTheDensity(t *testing.T) {
	t.Parallel()
	x := stackIndex()
	rapid.Check(t, func(t *rapid.T) {
		v := math.Round(math.Exp(rapid.Float64Range(-3, 8).Draw(t, "ln stack"))*100) / 100
		if v <= 0 {
			return
		}
		p := stackQuery(x, "", v)
		o := x.stackOptions(p, rotorInside, 4, 70, -1)
		r, _ := p.value(dStack)
		mean, sd := x.expectStack(rotorInside, 4, 70, -1)
		want := logReading(r, mean, sd)
		require.InEpsilon(t, want, densityOf(o), 0.01)
		for _, e := range o {
			require.Greater(t, e.stack, 0.0)
			require.Greater(t, e.density, 0.0)
			require.Greater(t, e.rel, 0.0)
			require.LessOrEqual(t, e.rel, sd*sd*(1+1e-12))
		}
		c := context{weight: 1}
		sum := 0.0
		for _, e := range c.withStacks(o, 0.5, nil) {
			sum += e.weight
		}
		require.InEpsilon(t, 0.5*densityOf(o), sum, 1e-12)
	})
}

// TestExpectStack: the other stacks of a lamination move what is expected of the next one towards theirs.
func TestExpectStack(t *testing.T) {
	t.Parallel()
	x := stackIndex()
	x.lam.rotor, x.lam.poles = []uint8{rotorInside, rotorInside}, []uint8{4, 4}
	for d := range x.lam.vals {
		x.lam.vals[d] = []float32{70, 70}
	}
	x.lam.coreStart = []uint32{0, 2, 3}
	x.core.stack = []float32{60, 60, -50} // the last is predicted, not known
	mean, sd := x.expectStack(rotorInside, 4, 70, -1)
	require.InDelta(t, math.Log(40), mean, 1e-9)
	near, nearSD := x.expectStack(rotorInside, 4, 70, 0)
	// Shared 0.2, own 0.8 of the variance, two stacks: shrunk to a third.
	require.InDelta(t, math.Log(40)+math.Log(1.5)/3, near, 1e-6)
	require.InDelta(t, math.Sqrt(0.8+0.2*2/3)*0.33, nearSD, 1e-6)
	require.Less(t, nearSD, sd)
	alone, aloneSD := x.expectStack(rotorInside, 4, 70, 1)
	require.Equal(t, mean, alone)
	require.Equal(t, sd, aloneSD)
}

// TestSlippedStackOfANewCore: a catalogued lamination with a stack that the catalogue lacks, typed a
// decimal place off, is not taken for a machine of a tenth of its length.
func TestSlippedStackOfANewCore(t *testing.T) {
	t.Parallel()
	x := sampleWorld().index
	n, apart := 0, 0.0
	for i := range sampleWorld().queries {
		q := &sampleWorld().queries[i]
		if q.Truth.Kind != "new_stack" || !q.Request.Measurements.StackLength.m.Given {
			continue
		}
		right := q.domain()
		slipped := right
		slipped.Measurements.StackLength = unit.Of(right.Measurements.StackLength.Value / 10)
		a, err := x.Match(right)
		require.NoError(t, err)
		b, err := x.Match(slipped)
		if err != nil {
			continue
		}
		n++
		apart += math.Abs(math.Log(b.Overall[0].SeriesTurns.P50 / a.Overall[0].SeriesTurns.P50))
	}
	require.Greater(t, n, 10)
	require.Less(t, apart/float64(n), 0.25, "mean |ln| of the medians of turns")
}
