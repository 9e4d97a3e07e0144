package match

import (
	"fmt"
	"math"

	"statorbook/internal/winding"
)

// Weighed copper and counted coils of the old winding (common practice, no source).
const (
	massSD      = 0.05 // ln of weighed copper: kitchen scale, varnish, ash
	massWild    = 0.02
	massOneLost = 0.08  // share of pairs of which one has lost more than the other
	massOneSD   = 0.15  // ln, by so much
	coilSD      = 0.007 // ln of counted turns of one coil
	coilWild    = 0.03
	coilSpread  = 0.45 // ln, of one coil's share where no pattern is known
)

// weighings says what share of the weighings misses how much of the copper: ln of what is left. A quarter
// of the piles lacks some, mostly about a tenth, now and then a third or more (common practice, no source;
// broad on purpose, since nobody has counted).
var weighings = [...]struct{ share, mean, sd float64 }{{0.75, 0, 0}, {0.17, -0.13, 0.10}, {0.08, -0.35, 0.20}}

// massQuery is one weighing: which copper, ln g. Main and auxiliary weighed apart come as a pair: who
// loses copper loses of both, so that their ratio tells more than each of them.
type massQuery struct {
	otherQuery         // of a pair ln(auxiliary/main) is the ratio
	sd         float64 // of one weighing
	which      int
}

// What was weighed.
const (
	massOfMain = iota
	massOfAux
	massOfAll
	massOfPair
)

// coilQuery is the counted turns of one coil.
type coilQuery struct {
	otherQuery
	sd   float64
	role winding.Role
}

// remainsQuery is all evidence of the old winding.
type remainsQuery struct {
	scraps []scrapQuery
	masses []massQuery
	coils  []coilQuery
}

// maxRemains bounds how many pieces of each kind count, maxWeighings how many weighings there can be: a pair
// or one of the two, and all.
const (
	maxRemains   = 4
	maxWeighings = 2
)

// prepareRemains takes the remains in.
func (x *Index) prepareRemains(p *prepared, r *Remains) {
	if r == nil {
		return
	}
	for i := range r.Wires {
		if w := &r.Wires[i]; usable(w.Diameter) && w.Diameter.Value < 20 && len(p.remains.scraps) < maxRemains {
			p.remains.scraps = append(p.remains.scraps, x.newScrap(w))
		}
	}
	p.remains.masses = weighed(given(r.CopperMain), given(r.CopperAuxiliary), given(r.CopperTotal))
	for i := range p.remains.masses {
		p.remains.masses[i].slips(r)
	}
	for i := range r.Coils {
		if c := &r.Coils[i]; usable(c.Turns) && len(p.remains.coils) < maxRemains {
			p.remains.coils = append(p.remains.coils, coilQuery{otherQuery{ln: math.Log(c.Turns.Value), other: remainsSlips(c.Turns, fmt.Sprintf("remains.coils[%d].turns", i))}, math.Max(coilSD, 0.5/c.Turns.Value), c.Role})
		}
	}
}

// weighed lists the weighings of main, auxiliary and all copper, g, 0 = not weighed.
func weighed(main, aux, all float64) (out []massQuery) {
	if main > 0 && aux > 0 {
		a, b := math.Log(main), math.Log(aux)
		out = append(out, massQuery{otherQuery{ln: (a + b) / 2, ratio: b - a}, massSD, massOfPair})
		main, aux = 0, 0
	}
	for which, m := range [...]float64{massOfMain: main, massOfAux: aux, massOfAll: all} {
		if m > 0 {
			out = append(out, massQuery{otherQuery{ln: math.Log(m)}, massSD, which})
		}
	}
	return out
}

// recordRemains is the likelihood of the remains if the winding is record n.
func (x *Index) recordRemains(p *prepared, n int) float64 {
	l := 1.0
	r := &x.recs[n]
	for i := range p.remains.scraps {
		l *= x.scrapOfRecord(&p.remains.scraps[i], r)
	}
	for i := range p.remains.masses {
		m, _ := massOfRecord(&p.remains.masses[i], r, x.designs[r.design].phases)
		l *= m
	}
	for i := range p.remains.coils {
		c, _ := x.coilOfRecord(&p.remains.coils[i], n)
		l *= c
	}
	return l
}

// massOfRecord is the density of ln mass, of a pair also of the ratio, and what part of it a slip has.
func massOfRecord(q *massQuery, r *record, phases int) (l float64, s slipShare) {
	main, aux := recMass(r, 0), recMass(r, 1)
	vMain, vAux := sq(massStep*float64(r.massSD[0])), sq(massStep*float64(r.massSD[1]))
	m, v := main, sq(q.sd)+vMain
	switch {
	case q.which == massOfPair && main > 0 && aux > 0:
		off := math.Log(aux / main)
		e := meant{ln: math.Log(main) + off/2, v: (sq(q.sd) + (vMain+vAux)/2) / 2, ratio: off}
		e.vr = 4 * e.v
		if e.far(q.ln, q.ratio) {
			s.add(q.other, e)
		}
		return (1-plateSlipRate)*massDensity(q.ln-e.ln, e.v)*ratioDensity(q.ratio-off, e.vr) + s.sum, s
	case q.which == massOfPair && main > 0:
		return massDensity(q.ln-q.ratio/2-math.Log(main), v) * wildDensity, s
	case q.which == massOfPair:
		return wildDensity * wildDensity, s
	case phases == 3 && q.which == massOfAll:
		m = 3 * main
	case q.which == massOfAux:
		m, v = aux, sq(q.sd)+vAux
	case q.which == massOfAll:
		m = main + aux
		if aux == 0 && r.turnsAux.int() > 0 {
			m = 0
		}
	}
	if !(m > 0) {
		return wildDensity, s
	}
	e := meant{ln: math.Log(m), v: v}
	if e.far(q.ln, 0) {
		s.add(q.other, e)
	}
	return (1-plateSlipRate)*massDensity(q.ln-e.ln, v) + s.sum, s
}

// ratioDensity is the density of what the ratio of two weighings is off by: now and then one pile
// alone has lost some copper.
func ratioDensity(d, v float64) float64 {
	return (1-massWild-massOneLost)*normal(d, v) + massOneLost*normal(d, v+massOneSD*massOneSD) + massWild*wildDensity
}

// massDensity is the density of ln(weighed/true) with variance v: some weighings miss some copper.
func massDensity(d, v float64) float64 {
	l := massWild * wildDensity
	for _, w := range weighings {
		l += (1 - massWild) * w.share * normal(d-w.mean, v+w.sd*w.sd)
	}
	return l
}

// coilOfRecord is the density of ln turns of one coil, any coil of the role, and what part of it a slip has.
func (x *Index) coilOfRecord(c *coilQuery, rec int) (l float64, s slipShare) {
	n := 0.0
	x.eachCoil(rec, func(role winding.Role, turns float64) {
		if c.role != "" && role != c.role && !(role.IsPhase() && c.role.IsPhase()) {
			return
		}
		n++
		e := meant{ln: math.Log(turns), v: c.sd * c.sd}
		if e.far(c.ln, 0) {
			s.add(c.other, e)
			return
		}
		l += (1 - coilWild - plateSlipRate) * normal(c.ln-e.ln, e.v)
	})
	if n == 0 {
		return wildDensity, s
	}
	s.sum /= n
	return l/n + s.sum + coilWild*wildDensity, s
}
