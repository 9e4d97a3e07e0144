package match

import (
	"math"

	"statorbook/internal/stator"
	"statorbook/internal/unit"
	"statorbook/internal/winding"
	"statorbook/internal/wire"
)

// template finds the record whose pattern suits: same phases and poles on the same lamination, else
// among the examples of the kind the one nearest in gap diameter, stack and turns.
func (x *Index) template(c *context, phases, poles uint8, lnTurns float64) int {
	best, bestD := -1, math.Inf(1)
	try := func(r int, s *site, penalty float64) {
		rec := &x.recs[r]
		if rec.poles != poles || x.phasesOfRecord(r) != phases || !(x.series(rec.turnsMain) > 0) {
			return
		}
		d := penalty + math.Abs(s.lnD-c.site.lnD) + 0.5*math.Abs(s.lnL-c.site.lnL) + 0.1*math.Abs(math.Log(float64(x.series(rec.turnsMain)))-lnTurns)
		if d < bestD {
			best, bestD = r, d
		}
	}
	if c.lam >= 0 {
		for k := x.lam.coreStart[c.lam]; k < x.lam.coreStart[c.lam+1]; k++ {
			s := x.siteOf(int(k))
			for r := x.core.recStart[k]; r < min(x.core.recStart[k+1], x.core.recStart[k]+famRecords); r++ {
				try(int(r), &s, 0)
			}
		}
		if best >= 0 {
			return best
		}
	}
	for _, r := range x.model.kw.list[kwKey{c.site.rotor, phases, poles, uint16(c.site.slots)}].examples {
		s := x.siteOf(x.coreOfRecord(int(r)))
		try(int(r), &s, 0.01)
	}
	return best
}

// standardScheme is a whole-coil layout of common practice: one coil a pole in a ring with one slot
// a pole; concentric main and auxiliary for one phase; double-layer lap for three.
func standardScheme(phases, poles, slots int, second bool) winding.Scheme {
	yes := true
	s := winding.Scheme{Poles: poles}
	set := func(role winding.Role, ring winding.RingName, kind winding.PatternKind, throws []int, groups int) {
		turns := make([]float64, len(throws))
		for i := range turns {
			turns[i] = 100
		}
		s.CoilSets = append(s.CoilSets, winding.CoilSet{Role: role, Ring: ring, Pattern: &winding.Pattern{Kind: kind, Throws: throws, Turns: turns, Groups: groups, Alternate: &yes}, ParallelPaths: 1})
	}
	pitch := slots / max(poles, 1)
	switch {
	case phases == 3:
		for _, role := range []winding.Role{winding.PhaseU, winding.PhaseV, winding.PhaseW} {
			set(role, winding.RingGap, winding.Lap, []int{max(pitch, 1) + 1}, max(slots/3, 1))
		}
	case pitch <= 1:
		back := winding.RingGap
		if second {
			back = winding.RingBack
		}
		set(winding.Main, winding.RingGap, winding.Tooth, []int{2}, poles)
		set(winding.Auxiliary, back, winding.Tooth, []int{2}, poles)
	default:
		main := []int{pitch + 1}
		if pitch >= 5 {
			main = append(main, pitch-1)
		}
		set(winding.Main, winding.RingGap, winding.Concentric, main, poles)
		set(winding.Auxiliary, winding.RingGap, winding.Concentric, main[:1], poles)
	}
	return s
}

// sets fills the coil sets of the scheme and of the proposal; false if the template has none.
func (m *maker) sets() bool {
	at := primarySet(&m.template)
	if at < 0 {
		return false
	}
	m.out.Scheme = m.template
	m.out.Scheme.CoilSets = append([]winding.CoilSet(nil), m.template.CoilSets...)
	main := &m.template.CoilSets[at]
	was := seriesOf(main, m.poles, &m.core)
	if !(was > 0) {
		return false
	}
	scale := math.Exp(m.box.n) / was
	for i := range m.out.Scheme.CoilSets {
		set := &m.out.Scheme.CoilSets[i]
		isMain := i == at || set.Role.IsPhase()
		k, spread := scale, 0.0
		if !isMain && m.out.Basis.Method != methodRecord {
			spread = m.x.model.aux.turns[m.rotor].sd
		}
		if m.out.Basis.Method != methodRecord {
			scaleTurns(set, k)
		}
		m.set(set, i, at, spread)
	}
	// The main winding or phase u first: that is where a reader looks.
	m.out.CoilSets[0], m.out.CoilSets[at] = m.out.CoilSets[at], m.out.CoilSets[0]
	m.out.Scheme.CoilSets[0], m.out.Scheme.CoilSets[at] = m.out.Scheme.CoilSets[at], m.out.Scheme.CoilSets[0]
	return true
}

// scaleTurns multiplies the turns of a set and rounds them to whole turns.
func scaleTurns(set *winding.CoilSet, k float64) {
	if set.Pattern != nil {
		p := *set.Pattern
		p.Turns = append([]float64(nil), p.Turns...)
		for i := range p.Turns {
			p.Turns[i] = math.Max(math.Round(p.Turns[i]*k), 1)
		}
		set.Pattern = &p
		return
	}
	set.Coils = append([]winding.Coil(nil), set.Coils...)
	for i := range set.Coils {
		set.Coils[i].Turns = math.Max(math.Round(set.Coils[i].Turns*k), 1)
	}
}

// seriesOf is the turns in series of a set, as it lies on a core where its pattern does not tell.
func seriesOf(set *winding.CoilSet, poles int, core *stator.Core) float64 {
	if n := winding.SeriesTurns(*set); n > 0 {
		return n
	}
	n, _, _ := expanded(set, poles, core)
	return n
}

// set fills one set of the proposal.
func (m *maker) set(set *winding.CoilSet, i, main int, spread float64) {
	series := seriesOf(set, m.poles, &m.core)
	out := ProposedSet{Role: set.Role}
	turns := func(q *point) float64 { return q.n }
	out.SeriesTurns = m.around(series, turns, spread)
	for _, t := range setTurns(set) {
		if series > 0 {
			out.TurnsPerCoil = append(out.TurnsPerCoil, unit.Range{P05: min(t, t*out.SeriesTurns.P05/series), P50: t, P95: max(t, t*out.SeriesTurns.P95/series)})
		} else { // nobody told how many coils there are, and the pattern does not lie in this core
			out.TurnsPerCoil = append(out.TurnsPerCoil, m.around(t, turns, spread))
		}
	}
	area := m.areaOf(set, i, main)
	out.ConductorArea = wireRange(m.around(area, func(q *point) float64 { return q.a }, spread)) // the wire of an auxiliary varies about as much as its turns
	out.Wires, out.FromStock = m.wires(set, area)
	set.Wires = out.Wires
	set.Mass, set.Resistance, set.Temperature = unit.Measured{}, unit.Measured{}, unit.Measured{}
	m.out.CoilSets = append(m.out.CoilSets, out)
}

// areaOf is the conductor area of a set of the proposal: the box for the main winding, for others in
// the template's proportion.
func (m *maker) areaOf(set *winding.CoilSet, i, main int) float64 {
	a := math.Exp(m.box.a)
	if i == main || set.Role.IsPhase() {
		return a
	}
	own, ok1, err1 := winding.ConductorArea(*set, m.x.wires)
	of, ok2, err2 := winding.ConductorArea(m.template.CoilSets[main], m.x.wires)
	if ok1 && ok2 && err1 == nil && err2 == nil && of > 0 {
		return a * float64(own/of) * math.Exp(m.lnAux)
	}
	return a * math.Exp(m.x.model.aux.area[m.rotor].mean+m.lnAux)
}

// thickest wire that is wound by hand into small slots, mm (common practice, no source).
const thickestByHand = 1.4

// wires chooses real gauges for the copper of one turn: the record's own, what the stock has, or the
// nearest of the system that the template uses.
func (m *maker) wires(set *winding.CoilSet, area float64) ([]wire.Wire, bool) {
	record := m.out.Basis.Method == methodRecord && len(set.Wires) > 0
	if m.x.wires == nil || record && len(m.p.q.Stock) == 0 {
		return set.Wires, false
	}
	o := wire.NearestOptions{Limit: 1, MaxStrands: 4, MaxBare: thickestByHand, Stock: m.p.q.Stock}
	opening, known := m.opening(set.Ring)
	if known && !record {
		o.Limit = 20
	}
	if len(set.Wires) > 0 {
		w := &set.Wires[0]
		o.Build = w.Build
		if m.out.Basis.Method == methodScaled || record {
			o.Conductor = w.Conductor // of this lamination's own records; a stranger's aluminium says nothing here
		}
		if w.System != wire.Bare {
			o.Systems = []wire.System{w.System}
		}
	}
	if o.Build == "" {
		o.Build = wire.Grade2
	}
	near := m.x.wires.Nearest(unit.SquareMillimetre(area/float64(winding.Paths(*set))), o)
	if len(near) == 0 {
		return set.Wires, false
	}
	best := near[0]
	if known && !record {
		best = passing(near, opening)
	}
	if record && !best.FromStock {
		return set.Wires, false
	}
	return []wire.Wire{best.Wire}, best.FromStock
}
