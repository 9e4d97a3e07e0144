package match

import (
	"math"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"statorbook/internal/stator"
	"statorbook/internal/unit"
)

// TestQuadrature: the three- and five-point rules give the moments of a standard normal up to the fifth and the
// ninth: 1, 0, 1, 0, 3, 0, 15, 0, 105, 0.
func TestQuadrature(t *testing.T) {
	t.Parallel()
	moments := [...]float64{1, 0, 1, 0, 3, 0, 15, 0, 105, 0}
	check := func(nodes [][2]float64) {
		for k, want := range moments[:2*len(nodes)] {
			sum := 0.0
			for _, n := range nodes {
				sum += n[1] * math.Pow(n[0], float64(k))
			}
			require.InDelta(t, want, sum, 1e-9*math.Max(1, want), "moment %d of %d points", k, len(nodes))
		}
	}
	check(hermite[:])
	check(hermite5[:])
}

// TestGapDensity: the density of the gap diameters of new laminations sums to one for any slot count, catalogued or
// not, and is high where the catalogue has its gaps.
func TestGapDensity(t *testing.T) {
	t.Parallel()
	m := &sampleWorld().index.model
	for _, slots := range []float64{24, 36, 53} {
		for _, rel := range []float64{0, 0.02} {
			sum := integral(math.Log(0.2), math.Log(20000), 0.002, func(ln float64) float64 { return m.gapDensity(rotorInside, slots, ln, rel) })
			require.InDelta(t, 1, sum, 1e-3, "%g slots", slots)
		}
	}
	gaps := m.gaps.list[gapKey{rotorInside, 24}]
	require.NotEmpty(t, gaps)
	require.Greater(t, m.gapDensity(rotorInside, 24, float64(gaps[len(gaps)/2]), 0), 5*m.gapDensity(rotorInside, 24, math.Log(700), 0))
}

// TestLogReading: the density of a reading that is predicted in the logarithm, slips and all, sums to one over what may
// be typed. Alternative readings near what is expected are left out, as the figure as typed explains them.
func TestLogReading(t *testing.T) {
	t.Parallel()
	const step = 0.5
	sum := 0.0
	for n := 4; n < 8000; n++ {
		v := float64(n) * step
		r := newReading(dBack, typedMM(strconv.FormatFloat(v, 'f', 1, 64), v), 0.1)
		sum += step * logReading(&r, math.Log(101), 0.12)
	}
	require.InDelta(t, 1, sum, 0.02)
}

// TestSettle: a reading and what is expected of it are joined by their weights: the value lies between them, and less
// is left open than by either. Of two that cannot both be right the expected one stays.
func TestSettle(t *testing.T) {
	t.Parallel()
	x := sampleWorld().index
	ask := func(mm float64) *prepared {
		m := unit.Of(mm)
		m.Uncertainty = 0.5
		return x.prepare(&Query{Measurements: stator.Core{BackDiameter: m}})
	}
	rapid.Check(t, func(t *rapid.T) {
		read, sd := rapid.Float64Range(50, 200).Draw(t, "read"), rapid.Float64Range(0.01, 0.3).Draw(t, "sd")
		r, _ := ask(read).value(dBack)
		rel := math.Sqrt(r.vq[1]) / read
		mean := math.Log(read) + math.Hypot(sd, rel)*rapid.Float64Range(-3.9, 3.9).Draw(t, "z")
		got, v := settle(ask(read), dBack, mean, sd)
		require.GreaterOrEqual(t, got, math.Min(read, math.Exp(mean))*(1-1e-12))
		require.LessOrEqual(t, got, math.Max(read, math.Exp(mean))*(1+1e-12))
		require.LessOrEqual(t, v, math.Min(sd*sd, rel*rel)*(1+1e-12))
		require.InEpsilon(t, 1/(1/(sd*sd)+1/(rel*rel)), v, 1e-9, "precisions add")
	})
	got, v := settle(ask(7.7), dBack, math.Log(103.3), 0.05)
	require.InDelta(t, 103.3, got, 1e-9)
	require.InDelta(t, 0.0025, v, 1e-12)
	got, v = settle(x.prepare(&Query{}), dBack, math.Log(103.3), 0.05)
	require.InDelta(t, 103.3, got, 1e-9)
	require.InDelta(t, 0.0025, v, 1e-12)
	got, _ = settle(ask(1033), dBack, math.Log(103.3), 0.05)
	require.InDelta(t, 103.3, got, 0.5, "the point one place off")
}

// TestClosure: |back - gap|/2 = slot depth + back iron. Of a lamination whose back, gap and back iron are known the depth
// follows; a prediction of either is sharpened by the other.
func TestClosure(t *testing.T) {
	t.Parallel()
	x := sampleWorld().index
	c := x.model.chain[rotorInside]
	require.True(t, c.closed)
	row := lamRow{v: unknownVec(), slots: 24, poles: 4, rotor: rotorInside}
	row.v[dGap], row.v[dBack], row.v[dYoke] = 66, 112, 11.5
	full, known, closed := c.impute(&row)
	require.InDelta(t, 11.5-c.closure, full[dDepth], 1e-9)
	require.Equal(t, uint16(1<<dDepth), closed)
	require.Equal(t, uint16(1<<dGap|1<<dBack|1<<dYoke), known)

	p := x.prepare(&Query{Measurements: stator.Core{BackDiameter: unit.Of(112), BackIron: unit.Of(11.5)}})
	mean, sd := c.predict(dDepth, rotorInside, 4, 66, 24, &full)
	sharper, less := c.byClosure(p, dDepth, &full, mean, sd)
	require.Less(t, less, sd)
	require.Less(t, math.Abs(math.Exp(sharper)-11.5), math.Abs(math.Exp(mean)-11.5)+1e-9)
	same, as := c.byClosure(x.prepare(&Query{}), dDepth, &full, mean, sd)
	require.Equal(t, [2]float64{mean, sd}, [2]float64{same, as}, "nothing else was read")
}

// TestDims: every dimension is read and set under its own name, has a way to be measured, and scales its spread as it
// is told.
func TestDims(t *testing.T) {
	t.Parallel()
	for d := dGap; d < nDims; d++ {
		c := withReading(&stator.Core{SecondRing: &stator.Ring{}}, d, 7)
		for other := dGap; other < nDims; other++ {
			require.Equal(t, other == d, other.of(&c).Given, "%s", dims[other].field)
		}
		require.NotEmpty(t, HowToMeasure(dims[d].field))
		require.InDelta(t, map[bool]float64{true: 0.7, false: 0.1}[dims[d].rel], d.sd(0.1, -7), 1e-12)
	}
	require.Empty(t, HowToMeasure("no such"))
	for v, want := range map[float64]bool{1: true, 1e-7: false, 1e10: false, 0: false, -1: false, math.Inf(1): false} {
		require.Equal(t, want, usable(unit.Of(v)))
	}
	require.False(t, usable(unit.Of(math.NaN())))
	require.False(t, usable(unit.Measured{Value: 1}))
}
