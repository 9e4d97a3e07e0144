package match

import (
	"cmp"
	"slices"
)

// A proposal serves if the turns are within 5 % and the wire, as the nearest Imperial gauge, is the
// same or a neighbour. The box stays a hair inside.
const (
	boxTurns = 0.0485 // ln
	boxGauge = 1
)

// gaugeMost bounds the gauges that are told apart.
const gaugeMost = 128

// box is one proposal in the making.
type box struct {
	n, a, g     float64 // g in whole gauges
	probability float64 // of what earlier boxes do not cover
	mass        float64 // of all points inside
	recMass     float64
	rec         int32 // heaviest record inside, index into work.recs, -1 for none
	part        int32 // heaviest component inside, -1 for none
}

// cover chooses up to three boxes, each the one that covers most of what is not covered yet.
// Records win ties, then the lower turns.
func (x *Index) cover(w *work, pts []point) []box {
	order := w.order[:0]
	for i := range pts {
		order = append(order, int32(i))
	}
	slices.SortFunc(order, func(a, b int32) int { return cmp.Or(cmp.Compare(pts[a].n, pts[b].n), cmp.Compare(a, b)) })
	w.order = order
	covered := make([]bool, len(pts))
	var out []box
	for range 3 {
		best, mass := x.heaviest(pts, order, covered)
		if best < 0 || mass < 0.002 && len(out) > 0 {
			break
		}
		out = append(out, x.makeBox(w, pts, covered, best))
	}
	return out
}

// heaviest finds the point whose box holds most of what is not covered yet. The window of turns
// slides over the sorted points; the mass of each gauge in it is kept up.
func (x *Index) heaviest(pts []point, order []int32, covered []bool) (best int32, mass float64) {
	var gauges [gaugeMost + 2]float64 // one more at either end
	put := func(i int32, sign float64) {
		if !covered[i] {
			gauges[int(min(pts[i].g, gaugeMost-1))+1] += sign * pts[i].w
		}
	}
	best = -1
	from, to := 0, 0
	for _, c := range order {
		for to < len(order) && pts[order[to]].n <= pts[c].n+boxTurns {
			put(order[to], 1)
			to++
		}
		for pts[order[from]].n < pts[c].n-boxTurns {
			put(order[from], -1)
			from++
		}
		g := int(min(pts[c].g, gaugeMost-1)) + 1
		m := gauges[g-1] + gauges[g] + gauges[g+1]
		if pts[c].rec >= 0 {
			m *= 1 + 1e-9
		}
		if m > mass*(1+1e-12) && m > 1e-12 {
			best, mass = c, m
		}
	}
	return best, mass
}

// makeBox centres a box on a point, or on the heaviest record inside if that holds most of it, and
// marks what it covers.
func (x *Index) makeBox(w *work, pts []point, covered []bool, centre int32) box {
	b := x.fillBox(w, pts, covered, pts[centre])
	if b.rec >= 0 && pts[centre].rec != b.rec && w.recs[b.rec].w > 0.5*b.mass {
		for i := range pts {
			if pts[i].rec == b.rec {
				b = x.fillBox(w, pts, covered, pts[i])
				break
			}
		}
	}
	for i := range pts {
		if b.holds(&pts[i]) {
			covered[i] = true
		}
	}
	return b
}

func (b *box) holds(q *point) bool {
	dn, dg := q.n-b.n, q.g-b.g
	return dn <= boxTurns && dn >= -boxTurns && dg <= boxGauge && dg >= -boxGauge
}

// fillBox sums what a box around c holds.
func (x *Index) fillBox(w *work, pts []point, covered []bool, c point) box {
	b := box{n: c.n, a: c.a, g: c.g, rec: -1, part: -1}
	bestRec, bestPart := 0.0, 0.0
	for i := range pts {
		q := &pts[i]
		if !b.holds(q) {
			continue
		}
		b.mass += q.w
		if !covered[i] {
			b.probability += q.w
		}
		switch {
		case q.rec >= 0:
			b.recMass += q.w
			if q.w > bestRec {
				bestRec, b.rec = q.w, q.rec
			}
		case q.w > 0:
			if v := w.parts[q.part].w; v > bestPart {
				bestPart, b.part = v, q.part
			}
		}
	}
	return b
}
