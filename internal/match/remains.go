package match

import (
	"fmt"
	"math"

	"statorbook/internal/unit"
	"statorbook/internal/winding"
	"statorbook/internal/wire"
)

// Remains of the old winding (common practice, no source).
const (
	enamelSD    = 0.22 // share of the enamel increase: builds vary, varnish adds
	burntShrink = 0.98 // burnt wire reads 2 % thin,
	burntSD     = 0.02 // with this scatter
	toldRight   = 0.96 // the state as told is right
	scrapWild   = 0.01 // share of scraps that belong to something else
	mainShare   = 0.65 // a scrap of no known role is of the main winding

	massSD      = 0.05 // ln of weighed copper: kitchen scale, varnish, ash
	massWild    = 0.02
	massOneLost = 0.08  // share of pairs of which one has lost more than the other
	massOneSD   = 0.15  // ln, by so much
	coilSD      = 0.007 // ln of counted turns of one coil
	coilWild    = 0.03
	coilSpread  = 0.45 // ln, of one coil's share where no pattern is known
)

// scrapTools are what wire is measured with, how well, and to what step, mm: a micrometer, a calliper,
// a calliper read to the twentieth, which is one of the vernier scales of ISO 13385-1 (from memory). The
// shares and errors are common practice, no source.
var scrapTools = [...]struct{ share, sd, step float64 }{{0.81, 0.005, 0.01}, {0.12, 0.013, 0.01}, {0.07, 0.012, 0.05}}

// weighings says what share of the weighings misses how much of the copper: ln of what is left. A quarter
// of the piles lacks some, mostly about a tenth, now and then a third or more (common practice, no source;
// broad on purpose, since nobody has counted).
var weighings = [...]struct{ share, mean, sd float64 }{{0.75, 0, 0}, {0.17, -0.13, 0.10}, {0.08, -0.35, 0.20}}

// surface states of a scrap.
const (
	scrapBare = iota
	scrapEnamelled
	scrapBurnt
	nStates
)

// unknownState is how likely each state is when nobody tells.
var unknownState = [nStates]float64{0.45, 0.35, 0.20}

// scrapQuery is one piece of wire.
type scrapQuery struct {
	x     float64                                     // mm as measured
	tools [len(scrapTools)]struct{ share, v float64 } // what it may have been measured with, variance
	state [nStates]float64
	role  winding.Role
	wires int // strands told, 0 = not
	// what the bare diameter may be: ln mm, its variance, and weight as a density per mm of x
	options []scrapOption
}

type scrapOption struct{ lnD, v, w float64 }

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

// newScrap lists what a scrap's bare diameter may be.
func (x *Index) newScrap(w *ScrapWire) scrapQuery {
	s := scrapQuery{x: w.Diameter.Value, role: w.Role, wires: w.Strands, state: unknownState}
	s.chooseTools(w.Diameter)
	told := -1
	switch {
	case w.Condition == "burnt":
		told = scrapBurnt
	case w.Coating == "over_enamel":
		told = scrapEnamelled
	case w.Coating == "bare":
		told = scrapBare
	}
	if told >= 0 {
		for k := range s.state {
			s.state[k] = (1 - toldRight) / (nStates - 1)
		}
		s.state[told] = toldRight
	}
	sd := 0.0
	for _, t := range s.tools {
		sd += t.share * t.v
	}
	sd = math.Sqrt(sd)
	s.options = append(s.options,
		scrapOption{math.Log(s.x), sq(sd / s.x), s.state[scrapBare]},
		scrapOption{math.Log(s.x / burntShrink), sq(sd/s.x) + burntSD*burntSD, s.state[scrapBurnt]})
	for b := range builds {
		if x.model.build[b] < 0.02 {
			continue
		}
		d, inc := x.stripped(s.x, b)
		if d > 0 {
			s.options = append(s.options, scrapOption{math.Log(d), (sq(enamelSD*inc) + sd*sd) / (d * d), s.state[scrapEnamelled] * x.model.build[b]})
		}
	}
	return s
}

// chooseTools tells by the digits what the wire may have been measured with: who reads twentieths only
// writes twentieths. A stated uncertainty is taken as it is.
func (s *scrapQuery) chooseTools(m unit.Measured) {
	if u := m.Uncertainty; u > 0 && u < 5 {
		step := 0.01 // most are read off to a hundredth
		if m.Resolution > 0 && m.Resolution < 1 {
			step = m.Resolution
		}
		s.tools[0].share, s.tools[0].v = 1, sq(math.Max(u, 0.001))+step*step/12
		return
	}
	sum := 0.0
	for i, t := range scrapTools {
		step := t.step
		if m.Resolution > 0 && m.Resolution < 1 {
			step = m.Resolution
		} else if n := m.Value / step; t.step > 0.01 && math.Abs(n-math.Round(n)) > 1e-6 {
			continue
		}
		s.tools[i].share, s.tools[i].v = t.share*t.step, t.sd*t.sd+step*step/12
		sum += s.tools[i].share
	}
	for i := range s.tools {
		s.tools[i].share /= sum
	}
}

// stripped solves d + increase(d) = over for the bare diameter.
func (x *Index) stripped(over float64, build int) (d, increase float64) {
	d = over * 0.9
	for range 8 {
		increase = x.model.enamel[build].at(d)
		d = math.Max(over-increase, over*0.3)
	}
	return d, increase
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

// scrapOfRecord is the density per mm of the scrap's diameter.
func (x *Index) scrapOfRecord(s *scrapQuery, r *record) float64 {
	wild := scrapWild * wildDensity / s.x
	one := func(c *conductor) float64 {
		if !(c.area > 0) || c.wires == 0 {
			return wildDensity / s.x
		}
		d := math.Sqrt(float64(c.area) / float64(c.wires) * 4 / math.Pi)
		inc := x.model.enamel[c.build].at(d)
		return s.state[scrapBare]*s.density(s.x-d, 0) + s.state[scrapEnamelled]*s.density(s.x-d-inc, sq(enamelSD*inc)) + s.state[scrapBurnt]*s.density(s.x-d*burntShrink, sq(burntSD*d))
	}
	main := func() float64 { return one(x.main(r)) }
	aux := func() float64 { return one(x.aux(r)) }
	hasAux := x.aux(r).area > 0 || r.turnsAux.int() > 0 // its wire may not be told
	switch {
	case s.role == winding.Auxiliary && hasAux:
		return (1-scrapWild)*aux() + wild
	case s.role != "" || !hasAux:
		return (1-scrapWild)*main() + wild
	}
	return (1-scrapWild)*(mainShare*main()+(1-mainShare)*aux()) + wild
}

// density of a reading that is d off, with variance v of the wire itself, whatever it was measured with.
func (s *scrapQuery) density(d, v float64) float64 {
	l := 0.0
	for _, t := range s.tools {
		if t.share > 0 {
			l += t.share * normal(d, v+t.v)
		}
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

// eachCoil calls f for the coils of one group of every set of a record, without building its scheme.
// A phase that repeats another counts by the turns of that one.
func (x *Index) eachCoil(r int, f func(role winding.Role, turns float64)) {
	_, sets := shape(x.shapes.at(x.recs[r].shape.int())).read()
	arena := x.figuresOf(r)
	var set setShape
	for i := 0; sets.next(&set); i++ {
		if set.like != i {
			continue
		}
		for range set.count {
			var t float64
			if t, arena = nextFigure(arena); t > 0 {
				f(set.role, t)
			}
		}
	}
}

// setTurns lists the turns of the coils of a set.
func setTurns(set *winding.CoilSet) []float64 {
	if set.Pattern != nil {
		return set.Pattern.Turns
	}
	out := make([]float64, len(set.Coils))
	for i := range out {
		out[i] = set.Coils[i].Turns
	}
	return out
}

// schemeOf puts the scheme of a record together.
func (x *Index) schemeOf(r int) winding.Scheme {
	n := x.recs[r].shape.int()
	turns := int(x.shapeSize[n].turns)
	figures := unpackFigures(x.figuresOf(r), turns+int(x.shapeSize[n].wires))
	return shape(x.shapes.at(n)).scheme(figures[:turns], figures[turns:], func(n int) wire.Wire { return readWire(code(x.wireList.at(n))) })
}
