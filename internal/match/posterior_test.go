package match

import (
	"cmp"
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// TestUnitPoints: centred, of the mixture's variance, uncorrelated, all finite.
func TestUnitPoints(t *testing.T) {
	t.Parallel()
	for k, set := range unitPoints {
		require.Len(t, set, 1<<k)
		var m, v [2]float64
		r := 0.0
		for _, p := range set {
			for c := range p {
				require.False(t, math.IsNaN(p[c]))
				m[c] += p[c] / float64(len(set))
				v[c] += p[c] * p[c] / float64(len(set))
			}
			r += p[0] * p[1] / float64(len(set))
		}
		require.InDelta(t, 0, m[0], 1e-9)
		if len(set) >= 4 {
			want := 1 - tailShare + tailShare*tailScale*tailScale
			require.InDelta(t, want, v[0], 1e-9)
			require.InDelta(t, 0, m[1], 1e-9)
			require.InDelta(t, 0, r, 1e-9)
			require.InDelta(t, want, v[1], 0.01*want)
		}
	}
}

// TestLadder: SWG 25 is 0.508 mm, SWG 26 0.457 mm (Imperial Standard Wire Gauge).
func TestLadder(t *testing.T) {
	t.Parallel()
	x := &Index{wires: testWires()}
	l := x.newLadder()
	at := func(d float64) float64 { return l.nearest(math.Log(math.Pi / 4 * d * d)) }
	require.Equal(t, 1.0, at(0.4572)-at(0.508))
	require.Equal(t, at(0.508), at(0.50))
	require.Equal(t, at(0.508), at(0.515))
	require.Equal(t, 0.0, at(99))
	require.Equal(t, float64(len(l.lnArea)-1), at(1e-5))
	x = &Index{}
	l = x.newLadder()
	require.Equal(t, 1.0, l.nearest(0.8)-l.nearest(1.0))
}

// TestCover: three clumps of points are covered one after the other, the heaviest first.
func TestCover(t *testing.T) {
	t.Parallel()
	x := &Index{}
	w := &work{recs: []recWeight{{rec: 0, w: 0.2}}, parts: []part{{w: 1}}}
	var pts []point
	clump := func(n, g, weight float64, count int, rec int32) {
		for i := range count {
			pts = append(pts, point{n: n + 0.002*float64(i), g: g, w: weight / float64(count), rec: rec, part: 0})
		}
	}
	clump(5, 30, 0.5, 5, -1)
	clump(6, 28, 0.3, 5, -1)
	clump(5, 20, 0.2, 1, 0)
	boxes := x.cover(w, pts)
	require.Len(t, boxes, 3)
	require.InDelta(t, 0.5, boxes[0].probability, 1e-9)
	require.InDelta(t, 0.3, boxes[1].probability, 1e-9)
	require.InDelta(t, 0.2, boxes[2].probability, 1e-9)
	require.Equal(t, int32(0), boxes[2].rec)
	sum := 0.0
	for _, b := range boxes {
		sum += b.probability
		require.GreaterOrEqual(t, b.mass, b.probability-1e-12)
	}
	require.LessOrEqual(t, sum, 1+1e-9)
	require.Empty(t, x.cover(w, nil))
}

// TestCoverPrefersTheRecord: a box that a record dominates stands on the record.
func TestCoverPrefersTheRecord(t *testing.T) {
	t.Parallel()
	x := &Index{}
	w := &work{recs: []recWeight{{rec: 3, w: 0.6}}, parts: []part{{w: 0.4}}}
	pts := []point{{n: 5, g: 30, w: 0.6, rec: 0, part: -1}}
	for i := range 8 {
		pts = append(pts, point{n: 5.03 + 0.004*float64(i), g: 30, w: 0.05, rec: -1})
	}
	boxes := x.cover(w, pts)
	require.Equal(t, 5.0, boxes[0].n)
	require.Equal(t, int32(0), boxes[0].rec)
}

// TestBits: two equally likely outcomes that a reading tells apart for sure carry one bit, three
// log2 3; outcomes that expect the same carry none. A small gap carries something between.
func TestBits(t *testing.T) {
	t.Parallel()
	x := &Index{}
	require.InDelta(t, 1, x.bits([]outcomeNormal{{0.5, 60, 0.1}, {0.5, 70, 0.1}}), 0.001)
	require.InDelta(t, math.Log2(3), x.bits([]outcomeNormal{{1, 50, 0.1}, {1, 60, 0.1}, {1, 70, 0.1}}), 0.001)
	require.InDelta(t, 0, x.bits([]outcomeNormal{{0.5, 60, 0.1}, {0.5, 60, 0.1}}), 0.001)
	require.Zero(t, x.bits([]outcomeNormal{{1, 60, 0.1}}))
	require.Zero(t, x.bits(nil))
	some := x.bits([]outcomeNormal{{0.5, 60, 0.1}, {0.5, 60.2, 0.1}})
	require.Greater(t, some, 0.3)
	require.Less(t, some, 0.6)
	// Mutual information of two normals 2 sd apart, by a fine grid: 0.486 bits.
	require.InDelta(t, gridBits(0.1, 60, 60.2), some, 0.03)
}

// gridBits integrates the mutual information of two equally likely normals on a fine grid.
func gridBits(sd, a, b float64) float64 {
	gain := 0.0
	const h = 0.0005
	for x := a - 1; x < b+1; x += h {
		pa, pb := normal(x-a, sd*sd), normal(x-b, sd*sd)
		mix := (pa + pb) / 2
		for _, p := range []float64{pa, pb} {
			if p > 0 {
				gain += 0.5 * p * math.Log2(p/mix) * h
			}
		}
	}
	return gain
}

// TestTailQuantile: the inverse of the mixture of a standard normal and its wide tail.
func TestTailQuantile(t *testing.T) {
	t.Parallel()
	last := math.Inf(-1)
	for _, u := range []float64{1e-4, 0.01, 0.05, 0.2, 0.5, 0.7, 0.95, 0.999} {
		z := tailQuantile(u)
		require.InDelta(t, u, 1-0.5*math.Erfc(z/math.Sqrt2)*(1-tailShare)-0.5*math.Erfc(z/tailScale/math.Sqrt2)*tailShare, 1e-9)
		require.Greater(t, z, last)
		last = z
	}
	require.InDelta(t, 0, tailQuantile(0.5), 1e-9)
}

// TestSpreadPart: the points of a component have its means, its variances (wider by the tail) and its correlation.
func TestSpreadPart(t *testing.T) {
	t.Parallel()
	x := &Index{wires: testWires()}
	x.ladder = x.newLadder()
	wide := 1 - tailShare + tailShare*tailScale*tailScale
	q := part{w: 0.4, g: gauss{n: 6, a: -2, vn: 0.01, va: 0.04, cna: -0.015}}
	for _, set := range unitPoints[5:] {
		var sum, n, a, nn, aa, na float64
		for _, p := range x.spreadPart(nil, &q, 7, set) {
			require.Equal(t, int32(7), p.part)
			require.Equal(t, x.ladder.nearest(p.a), p.g)
			sum, n, a = sum+p.w, n+p.w*p.n, a+p.w*p.a
			nn, aa, na = nn+p.w*sq(p.n-6), aa+p.w*sq(p.a+2), na+p.w*(p.n-6)*(p.a+2)
		}
		require.InDelta(t, 0.4, sum, 1e-12)
		require.InDelta(t, 6, n/sum, 1e-9)
		require.InDelta(t, -2, a/sum, 1e-9)
		require.InEpsilon(t, wide*0.01, nn/sum, 0.01)
		require.InEpsilon(t, wide*0.04, aa/sum, 0.02)
		require.InEpsilon(t, -wide*0.015, na/sum, 0.01)
	}
	absurd := part{w: 1, g: gauss{n: 900, a: -900, vn: 1, va: 1}}
	for _, p := range x.spreadPart(nil, &absurd, 0, unitPoints[3]) {
		require.Equal(t, [2]float64{lnMost, -lnMost}, [2]float64{p.n, p.a})
	}
}

// TestTopN against sorting: the greatest first, ties by place, nothing that is not above zero.
func TestTopN(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.SliceOfN(rapid.SampledFrom([]float64{0, -1, 1, 2, 2.5, 3, math.NaN()}), 0, 30).Draw(t, "values")
		most := rapid.IntRange(1, 12).Draw(t, "most")
		var want []int
		for i := range v {
			if v[i] > 0 {
				want = append(want, i)
			}
		}
		slices.SortStableFunc(want, func(a, b int) int { return cmp.Compare(v[b], v[a]) })
		got := topN(len(v), most, func(i int) float64 { return v[i] })
		require.Equal(t, want[:min(most, len(want))], append([]int(nil), got...))
	})
}

// TestCoverIsTheBest: the first box covers as much as any box about a point can, counted one by one.
func TestCoverIsTheBest(t *testing.T) {
	t.Parallel()
	x := &Index{}
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 60).Draw(t, "points")
		pts := make([]point, n)
		for i := range pts {
			pts[i] = point{n: rapid.Float64Range(5, 5.4).Draw(t, "n"), g: float64(rapid.IntRange(20, 26).Draw(t, "g")), w: rapid.Float64Range(0.01, 1).Draw(t, "w") / float64(n), rec: -1}
		}
		best := 0.0
		for i := range pts {
			sum := 0.0
			for k := range pts {
				if math.Abs(pts[k].n-pts[i].n) <= boxTurns && math.Abs(pts[k].g-pts[i].g) <= boxGauge {
					sum += pts[k].w
				}
			}
			best = max(best, sum)
		}
		boxes := x.cover(&work{parts: []part{{w: 1}}}, pts)
		require.InDelta(t, best, boxes[0].probability, 1e-9)
		for i, b := range boxes[1:] {
			require.LessOrEqual(t, b.probability, boxes[i].probability+1e-9)
		}
	})
}
