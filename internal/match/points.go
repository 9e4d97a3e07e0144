package match

import (
	"cmp"
	"math"
	"slices"

	"statorbook/internal/unit"
)

// point is one way in which the lost winding may be: ln series turns, ln conductor area, weight.
type point struct {
	n, a, w float64
	g       float64 // nearest gauge, counted down the ladder
	rec     int32   // index into work.recs, -1 for a predicted winding
	part    int32   // index into work.parts, -1 for a record
}

// How the posterior is turned into points (measured on simulated worlds of our own).
const (
	pointBudget = 1600 // points of predicted windings
	pointCut    = 2e-5 // lighter components are left out
	tailShare   = 0.10 // of each component is wider,
	tailScale   = 2.2  // by this much
	lnMost      = 40.0 // no winding is beyond: a catalogue of nonsense must not lead to infinite turns or areas
)

// unitPoints holds sets of n points of a standard normal pair with a wide tail, n a power of two from
// 2 to 128: deterministic, centred, of unit variance (tail included), uncorrelated.
var unitPoints = makeUnitPoints()

func makeUnitPoints() (sets [8][][2]float64) {
	for k := range sets {
		n := 1 << k
		set := make([][2]float64, n)
		for i := range set {
			// The R2 sequence (from memory) spreads points evenly over the square.
			u := math.Mod(0.5+float64(i+1)*0.7548776662466927, 1)
			v := math.Mod(0.5+float64(i+1)*0.5698402909980532, 1)
			set[i] = [2]float64{tailQuantile(u), tailQuantile(v)}
		}
		standardise(set)
		sets[k] = set
	}
	return sets
}

// tailQuantile is the quantile of the mixture of a standard normal and the wide tail, by bisection.
func tailQuantile(u float64) float64 {
	low, high := -9.0, 9.0
	for range 60 {
		mid := (low + high) / 2
		if (1-tailShare)*phi(mid)+tailShare*phi(mid/tailScale) < u {
			low = mid
		} else {
			high = mid
		}
	}
	return (low + high) / 2
}

// standardise centres a set and takes the correlation out; the variance is that of the mixture.
func standardise(set [][2]float64) {
	n := float64(len(set))
	if n < 4 {
		for i := range set {
			set[i] = [2]float64{float64(2*i) - (n - 1), 0}
		}
		return
	}
	want := math.Sqrt(1 - tailShare + tailShare*tailScale*tailScale)
	for c := range 2 {
		m, v := 0.0, 0.0
		for i := range set {
			m += set[i][c] / n
		}
		for i := range set {
			set[i][c] -= m
			v += set[i][c] * set[i][c] / n
		}
		for i := range set {
			set[i][c] *= want / math.Sqrt(v)
		}
		if c == 1 {
			r := 0.0
			for i := range set {
				r += set[i][0] * set[i][1] / n / (want * want)
			}
			for i := range set {
				set[i][1] = (set[i][1] - r*set[i][0]) / math.Sqrt(1-r*r)
			}
		}
	}
}

// gaugeLadder places conductor areas on a ladder of gauges, one unit a gauge.
type gaugeLadder struct {
	lnArea []float64 // falling
}

// newLadder makes the ladder of the Imperial gauges of the table; without one a gauge is a tenth of the diameter.
func (x *Index) newLadder() gaugeLadder {
	var l gaugeLadder
	if x.wires != nil {
		for _, s := range x.wires.Sizes("swg") {
			l.lnArea = append(l.lnArea, 2*math.Log(float64(s.Diameter))+math.Log(math.Pi/4))
		}
	}
	if len(l.lnArea) < 2 {
		l.lnArea = nil
		for i := range 60 {
			l.lnArea = append(l.lnArea, 5-0.2*float64(i))
		}
	}
	l.lnArea = exact(l.lnArea)
	return l
}

// nearest is the number of the gauge nearest to a conductor area, thick to thin.
func (l *gaugeLadder) nearest(lnArea float64) float64 {
	n := len(l.lnArea)
	i, _ := slices.BinarySearchFunc(l.lnArea, lnArea, func(e, t float64) int { return cmp.Compare(t, e) })
	i = min(max(i, 1), n-1)
	if l.lnArea[i-1]-lnArea < lnArea-l.lnArea[i] {
		i--
	}
	return float64(i)
}

// spread turns the beliefs into points; their weights sum to 1.
func (x *Index) spread(w *work) []point {
	pts := w.points[:0]
	total := 0.0
	for i := range w.recs {
		r := &w.recs[i]
		rec := &x.recs[r.rec]
		if r.w < pointCut || !(x.series(rec.turnsMain) > 0) || !(x.main(rec).area > 0) {
			continue
		}
		a := math.Log(float64(x.main(rec).area))
		pts = append(pts, point{n: math.Log(float64(x.series(rec.turnsMain))), a: a, w: r.w, g: x.ladder.nearest(a), rec: int32(i), part: -1})
		total += r.w
	}
	mass := 0.0
	for i := range w.parts {
		mass += w.parts[i].w
	}
	for i := range w.parts {
		q := &w.parts[i]
		if q.w < pointCut {
			continue
		}
		k := 0
		for k < len(unitPoints)-1 && float64(int(1)<<k) < pointBudget*q.w/mass {
			k++
		}
		pts = x.spreadPart(pts, q, int32(i), unitPoints[k])
		total += q.w
	}
	if total > 0 {
		for i := range pts {
			pts[i].w /= total
		}
	}
	w.points = pts
	return pts
}

// spreadPart appends the points of one component.
func (x *Index) spreadPart(pts []point, q *part, i int32, set [][2]float64) []point {
	sn := math.Sqrt(q.g.vn)
	slope := q.g.cna / q.g.vn
	sa := math.Sqrt(math.Max(q.g.va-q.g.cna*slope, 1e-8))
	share := q.w / float64(len(set))
	for _, u := range set {
		n := clamp(q.g.n+sn*u[0], lnMost)
		a := clamp(q.g.a+slope*sn*u[0]+sa*u[1], lnMost)
		pts = append(pts, point{n: n, a: a, w: share, g: x.ladder.nearest(a), rec: -1, part: i})
	}
	return pts
}

// weighted is one value with a weight.
type weighted struct{ v, w float64 }

// quantileBins divides the span of the values; only the bins that hold a quantile are sorted.
const quantileBins = 128

// quantiles gives the 5, 50 and 95 % points of weighted values: the least value at which the running
// weight reaches the share. Zero for none. It is exact and takes time in proportion to the number.
func quantiles(v []weighted) unit.Range {
	low, high, total := math.Inf(1), math.Inf(-1), 0.0
	for i := range v {
		low, high = min(low, v[i].v), max(high, v[i].v)
		total += v[i].w
	}
	if len(v) == 0 || !(total > 0) {
		return unit.Range{}
	}
	if !(high > low) {
		return unit.Range{P05: low, P50: low, P95: low}
	}
	q := quantiler{v: v, low: low, scale: quantileBins / (high - low)}
	for i := range v {
		q.hist[q.bin(v[i].v)] += v[i].w
	}
	return unit.Range{P05: q.at(0.05 * total), P50: q.at(0.5 * total), P95: q.at(0.95 * total)}
}

type quantiler struct {
	v          []weighted
	low, scale float64
	hist       [quantileBins]float64
	buf        []weighted
}

func (q *quantiler) bin(v float64) int { return min(int((v-q.low)*q.scale), quantileBins-1) }

// at finds the least value at which the running weight reaches w.
func (q *quantiler) at(w float64) float64 {
	sum, b := 0.0, 0
	for b < quantileBins-1 && sum+q.hist[b] < w {
		sum += q.hist[b]
		b++
	}
	q.buf = q.buf[:0]
	for i := range q.v {
		if q.bin(q.v[i].v) == b {
			q.buf = append(q.buf, q.v[i])
		}
	}
	slices.SortFunc(q.buf, func(a, b weighted) int { return cmp.Compare(a.v, b.v) })
	last := q.low + float64(b)/q.scale
	for i := range q.buf {
		last = q.buf[i].v
		if sum += q.buf[i].w; sum >= w {
			return last
		}
	}
	return last
}
