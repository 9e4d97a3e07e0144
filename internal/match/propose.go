package match

import (
	"fmt"
	"math"

	"statorbook/internal/stator"
	"statorbook/internal/unit"
	"statorbook/internal/winding"
	"statorbook/internal/wire"
)

// The methods of a proposal's basis.
const (
	methodRecord    = "record"
	methodScaled    = "scaled"
	methodReference = "reference_density"
	methodLimits    = "limits_only"
)

// fewRecords: below so many records the regressions are their priors, and only the iron speaks.
const fewRecords = 15

// maker builds one proposal from a box.
type maker struct {
	x        *Index
	p        *prepared
	w        *work
	b        *beliefs
	box      *box
	near     []point // points of the same kind around the box
	template winding.Scheme
	from     int // record that the pattern comes from, -1
	core     stator.Core
	plate    winding.Nameplate
	design   design
	rotor    uint8
	poles    int
	out      Proposal
}

// propose turns the boxes into proposals.
func (x *Index) propose(p *prepared, w *work, b *beliefs, pts []point, boxes []box, a *Answer) {
	for i := range boxes {
		m := maker{x: x, p: p, w: w, b: b, box: &boxes[i], from: -1}
		m.out.Probability = math.Min(boxes[i].probability, 1)
		if boxes[i].rec >= 0 && boxes[i].recMass >= 0.5*boxes[i].mass || boxes[i].part < 0 {
			m.fromRecord()
		} else {
			m.fromPart()
		}
		m.neighbours(pts)
		if m.sets() && windable(m.out.Scheme) {
			m.figures()
			a.Proposals = append(a.Proposals, m.out)
		}
	}
}

// windable tells whether every coil has turns that somebody could wind. Readings of no real core lead
// to more; then there is no proposal.
func windable(s winding.Scheme) bool {
	for _, set := range s.CoilSets {
		if set.Pattern != nil {
			for _, turns := range set.Pattern.Turns {
				if !(turns > 0 && turns <= winding.MaxTurns) {
					return false
				}
			}
		}
		for _, c := range set.Coils {
			if !(c.Turns > 0 && c.Turns <= winding.MaxTurns) {
				return false
			}
		}
	}
	return true
}

// fromRecord takes the heaviest record of the box as it is.
func (m *maker) fromRecord() {
	x := m.x
	r := m.w.recs[m.box.rec]
	rec := &x.recs[r.rec]
	m.from = int(r.rec)
	m.box.n, m.box.a = math.Log(float64(rec.turnsMain)), math.Log(float64(rec.areaMain))
	core := int(m.w.coreAt[r.core])
	site := x.siteOf(core)
	m.useSite(&site)
	m.design, m.poles = x.designs[rec.design], int(rec.poles)
	m.template = x.schemeOf(rec)
	id := x.recIDs.at(r.rec)
	m.out.Basis = Basis{Method: methodRecord, WindingIDs: []string{id}, Steps: []string{
		fmt.Sprintf("record %s agrees with the readings; its probability among all records and unknown windings is %.3f", id, r.w),
		"turns, throws, wires and paths are those of the record",
	}}
	if o := x.texts.origin.at(rec.origin); o == "previously_rewound" {
		m.out.Basis.Steps = append(m.out.Basis.Steps, "the recorded motor had been rewound before: weaker evidence than a factory winding")
	}
}

// fromPart builds on the heaviest predicted component of the box.
func (m *maker) fromPart() {
	x := m.x
	q := &m.w.parts[m.box.part]
	c := &m.b.contexts[q.ctx]
	m.useSite(&c.site)
	m.design, m.poles = x.designs[q.g.design], int(q.g.poles)
	m.from = x.template(c, q.g.phases, q.g.poles, m.box.n)
	if m.from >= 0 {
		m.template = x.schemeOf(&x.recs[m.from])
	} else {
		m.template = standardScheme(int(q.g.phases), m.poles, int(c.site.slots), c.site.second)
	}
	m.box.a = x.ladder.lnArea[int(m.box.g)] // the box stands on a real gauge
	m.explain(c, q)
}

// useSite makes the core on which the figures are computed.
func (m *maker) useSite(s *site) {
	m.rotor = s.rotor
	m.core = coreOf(s.v, s.stack, int(s.slots), 0, s.rotor, s.second)
	if s.second {
		m.core.SecondRing.Slots = int(s.slots)
	}
}

// explain says how the turns were found.
func (m *maker) explain(c *context, q *part) {
	x := m.x
	basis := Basis{Method: methodReference}
	switch {
	case len(x.recs) < fewRecords:
		basis.Method = methodLimits
	case c.lam >= 0 && x.lam.fam[0][c.lam].n > 0:
		basis.Method = methodScaled
		basis.WindingIDs = x.familyRecords(c, m.poles)
	case m.from >= 0:
		basis.WindingIDs = []string{x.recIDs.at(uint32(m.from))}
	}
	lnB, _, tooth := c.site.reference(float64(m.poles))
	volts := m.design.phaseVoltage()
	basis.Steps = append(basis.Steps,
		fmt.Sprintf("taken as %d phase(s), %g V, %g Hz, %d poles: %.4g V across one winding", m.design.phases, m.design.voltage, m.design.frequency, m.poles, volts),
		fmt.Sprintf("iron limits of the core (teeth and back iron joined, teeth count for %.0f %%): average gap density %.3f T over a pole pitch of %.4g mm and %.4g mm of stack", 100*tooth, math.Exp(lnB), math.Pi*c.site.v[dGap]/float64(m.poles), c.site.stack))
	if basis.Method == methodScaled {
		f := c.fam[0]
		basis.Steps = append(basis.Steps, fmt.Sprintf("the recorded windings of this lamination run at %.3f of what the catalogue's regression expects (turns x%.3f), shrunk towards 1 by their number", math.Exp(f.b), math.Exp(-f.b)))
	}
	if basis.Method == methodLimits {
		basis.Steps = append(basis.Steps, "too few records to learn from: usual densities and fills of small machines, common practice")
	} else {
		basis.Steps = append(basis.Steps, fmt.Sprintf("density and slot fill by robust regression on %.0f catalogued windings; log spread of turns %.3f", x.model.turns[0].n, math.Sqrt(q.g.vn)))
	}
	if m.from >= 0 {
		basis.Steps = append(basis.Steps, "throws and groups as in record "+x.recIDs.at(uint32(m.from))+", the nearest core with as many slots and poles; turns scaled to fit")
	} else {
		basis.Steps = append(basis.Steps, "no record has as many slots and poles: a whole-coil layout of common practice")
	}
	m.out.Basis = basis
}

// familyRecords lists up to four records of a context's lamination, those with the same poles first.
func (x *Index) familyRecords(c *context, poles int) []string {
	var out []string
	from, to := x.recordsOf(c.lam, c.lam+1)
	for pass := range 2 {
		for r := from; r < to && len(out) < 4; r++ {
			if (int(x.recs[r].poles) == poles) == (pass == 0) {
				out = append(out, x.recIDs.at(uint32(r)))
			}
		}
	}
	return out
}

// template finds the record whose pattern suits: same phases and poles on the same lamination, else
// among the examples of the kind the one nearest in gap diameter, stack and turns.
func (x *Index) template(c *context, phases, poles uint8, lnTurns float64) int {
	best, bestD := -1, math.Inf(1)
	try := func(r int, s *site, penalty float64) {
		rec := &x.recs[r]
		if rec.poles != poles || x.phasesOfRecord(r) != phases || !(rec.turnsMain > 0) {
			return
		}
		d := penalty + math.Abs(s.lnD-c.site.lnD) + 0.5*math.Abs(s.lnL-c.site.lnL) + 0.1*math.Abs(math.Log(float64(rec.turnsMain))-lnTurns)
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
		main := []int{pitch + 1 - (pitch+1)%2 + pitch%2}
		main[0] = pitch + 1
		if pitch >= 5 {
			main = append(main, pitch-1)
		}
		set(winding.Main, winding.RingGap, winding.Concentric, main, poles)
		set(winding.Auxiliary, winding.RingGap, winding.Concentric, main[:1], poles)
	}
	return s
}

// neighbours picks the points around the box from which its ranges are read.
func (m *maker) neighbours(pts []point) {
	for i := range pts {
		q := &pts[i]
		if math.Abs(q.n-m.box.n) <= 2.6*boxTurns && math.Abs(q.g-m.box.g) <= 2*boxGauge+1 {
			m.near = append(m.near, *q)
		}
	}
}

// around is a range of k times values with logarithms spread about ln centre; the middle is the centre.
func (m *maker) around(centre float64, value func(q *point) float64, spread float64) unit.Range {
	v := m.w.values[:0]
	at := value(&point{n: m.box.n, a: m.box.a})
	for i := range m.near {
		d := value(&m.near[i]) - at
		if spread == 0 {
			v = append(v, weighted{d, m.near[i].w})
			continue
		}
		for _, node := range hermite {
			v = append(v, weighted{d + spread*node[0], m.near[i].w * node[1]})
		}
	}
	m.w.values = v
	r := quantiles(v)
	return unit.Range{P05: centre * math.Exp(math.Min(r.P05, 0)), P50: centre, P95: centre * math.Exp(math.Max(r.P95, 0))}
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
		out.TurnsPerCoil = append(out.TurnsPerCoil, unit.Range{P05: t * out.SeriesTurns.P05 / series, P50: t, P95: t * out.SeriesTurns.P95 / series})
	}
	area := m.areaOf(set, i, main)
	out.ConductorArea = wireRange(m.around(area, func(q *point) float64 { return q.a }, areaSpread(spread)))
	out.Wires, out.FromStock = m.wires(set, area)
	set.Wires = out.Wires
	set.Mass, set.Resistance, set.Temperature = unit.Measured{}, unit.Measured{}, unit.Measured{}
	m.out.CoilSets = append(m.out.CoilSets, out)
}

// areaSpread: the wire of an auxiliary varies about as much as its turns.
func areaSpread(turnsSpread float64) float64 { return turnsSpread }

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
		return a * float64(own/of)
	}
	return a * math.Exp(m.x.model.aux.area[m.rotor].mean)
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
	if len(set.Wires) > 0 {
		w := &set.Wires[0]
		o.Build = w.Build
		if w.Conductor != "" {
			o.Conductor = w.Conductor
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
	if record && !near[0].FromStock {
		return set.Wires, false
	}
	return []wire.Wire{near[0].Wire}, near[0].FromStock
}
