package match

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mat"
	"pgregory.net/rapid"
)

// noise is a fixed sequence that looks normal: quantiles of the normal at evenly spread points.
func noise(i int) float64 {
	u := math.Mod(0.5+float64(i)*0.6180339887498949, 1)
	return math.Sqrt2 * math.Erfinv(2*u-1)
}

func flat(p int) prior {
	q := prior{b: make([]float64, p), hold: make([]float64, p), sd: 1, n: 1e-6}
	for i := range q.hold {
		q.hold[i] = 1e-9
	}
	return q
}

// TestFitAgainstQR compares the fit without outliers with gonum's QR least squares, an
// implementation of others. Normal equations lose by the square of the condition of the points, and
// so grows what the hold of the flat prior pulls.
func TestFitAgainstQR(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(8, 40).Draw(t, "n")
		r := rows{p: 3}
		a := mat.NewDense(n, 3, nil)
		y := mat.NewVecDense(n, nil)
		for i := range n {
			x := []float64{1, rapid.Float64Range(-2, 2).Draw(t, "x1"), rapid.Float64Range(-2, 2).Draw(t, "x2")}
			v := 2 - x[1] + 0.5*x[2]
			r.add(x, v, 1)
			a.SetRow(i, x)
			y.SetVec(i, v)
		}
		var qr mat.QR
		qr.Factorize(a)
		var want mat.VecDense
		if err := qr.SolveVecTo(&want, false, y); err != nil {
			t.Skip("points on a line")
		}
		if qr.Cond() > 1000 {
			t.Skip("points nearly on a line")
		}
		got := make([]float64, 3)
		r.solve(r.w, flat(3), got)
		for k := range got {
			require.InDelta(t, want.AtVec(k), got[k], 1e-8*qr.Cond()*qr.Cond())
		}
	})
}

// TestFitSurvivesGrossErrors: one figure in ten is off by a factor, and the plane stays.
func TestFitSurvivesGrossErrors(t *testing.T) {
	t.Parallel()
	r := rows{p: 2}
	for i := range 400 {
		x := float64(i%40)/20 - 1
		y := 1 + 0.7*x + 0.08*noise(i)
		if i%10 == 3 {
			y += 2.3 // ln 10
		}
		r.add([]float64{1, x}, y, 1)
	}
	f := r.fit(prior{b: []float64{0, 0}, hold: []float64{1, 1}, sd: 0.1, n: 4})
	require.InDelta(t, 1, f.b[0], 0.02)
	require.InDelta(t, 0.7, f.b[1], 0.03)
	require.InDelta(t, 0.08, f.sd, 0.02)

	// Plain least squares on the same points is pulled: that is why the fit is robust.
	plain := make([]float64, 2)
	r.solve(r.w, flat(2), plain)
	require.Greater(t, plain[0], 1.15)
}

// TestFitFallsBackToThePrior: without records the prior, with a few something between.
func TestFitFallsBackToThePrior(t *testing.T) {
	t.Parallel()
	p := prior{b: []float64{2, 0}, hold: []float64{4, 4}, sd: 0.2, n: 4}
	r := rows{p: 2}
	f := r.fit(p)
	require.Equal(t, p.b, f.b)
	require.Equal(t, 0.2, f.sd)
	for range 4 {
		r.add([]float64{1, 0}, 3, 1)
	}
	f = r.fit(p)
	require.InDelta(t, 2.5, f.b[0], 0.01)
	r.add([]float64{1, math.NaN()}, 3, 1)
	r.add([]float64{1, 0}, math.Inf(1), 1)
	r.add([]float64{1, 0}, 3, 0)
	require.Equal(t, 4, r.len())
}

func TestMedianAndMeanSD(t *testing.T) {
	t.Parallel()
	require.True(t, math.IsNaN(median(nil)))
	require.Equal(t, 2.0, median([]float64{3, 1, 2}))
	require.Equal(t, 2.5, median([]float64{4, 1, 2, 3}))
	m, s := meanSD(nil, 1, 2, 3)
	require.Equal(t, [2]float64{1, 2}, [2]float64{m, s})
	v := make([]float64, 500)
	for i := range v {
		v[i] = 5 + 0.3*noise(i)
	}
	m, s = meanSD(v, 0, 1, 1)
	require.InDelta(t, 5, m, 0.05)
	require.InDelta(t, 0.35, s, 0.1)
	m, s = plainMeanSD(v, 5, 0.3, 1)
	require.InDelta(t, 5, m, 0.03)
	require.InDelta(t, 0.3, s, 0.02)
}

// TestQuantilesAgainstSorting compares the linear-time quantiles with sorting.
func TestQuantilesAgainstSorting(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) weighted {
			return weighted{rapid.Float64Range(-5, 5).Draw(t, "v"), rapid.Float64Range(0.01, 1).Draw(t, "w")}
		}), 1, 80).Draw(t, "values")
		got := quantiles(v)
		slices.SortFunc(v, func(a, b weighted) int {
			if a.v < b.v {
				return -1
			}
			return 1
		})
		total := 0.0
		for _, x := range v {
			total += x.w
		}
		at := func(p float64) float64 {
			sum := 0.0
			for _, x := range v {
				if sum += x.w; sum >= p*total*(1-1e-12) {
					return x.v
				}
			}
			return v[len(v)-1].v
		}
		near := func(want, got float64) bool { // rounding may shift a tie to a neighbour
			i := slices.IndexFunc(v, func(x weighted) bool { return x.v == want })
			k := slices.IndexFunc(v, func(x weighted) bool { return x.v == got })
			return k >= 0 && k-i <= 1 && i-k <= 1
		}
		require.True(t, near(at(0.05), got.P05) && near(at(0.5), got.P50) && near(at(0.95), got.P95))
		require.LessOrEqual(t, got.P05, got.P50)
		require.LessOrEqual(t, got.P50, got.P95)
	})
	require.Zero(t, quantiles(nil))
	require.Equal(t, 3.0, quantiles([]weighted{{3, 1}}).P95)
}
