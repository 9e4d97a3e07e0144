package match

import (
	"fmt"
	"math"
	"reflect"
	"slices"

	"statorbook/internal/stator"
	"statorbook/internal/unit"
	"statorbook/internal/winding"
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
	lam      int // catalogued lamination, -1
	design   design
	rotor    uint8
	poles    int
	lnAux    float64 // by which the auxiliary's wire is taken thinner than in the pattern's proportion, ln area
	out      Proposal
}

// propose turns the boxes into proposals.
func (x *Index) propose(p *prepared, w *work, b *beliefs, pts []point, boxes []box, a *Answer) {
	var list []made
	for i := range boxes {
		m := maker{x: x, p: p, w: w, b: b, box: &boxes[i], from: -1, lam: -1}
		m.out.Probability = math.Min(boxes[i].probability, 1)
		if boxes[i].rec >= 0 && boxes[i].recMass >= 0.5*boxes[i].mass || boxes[i].part < 0 {
			m.fromRecord()
		} else {
			m.fromPart()
		}
		m.neighbours(pts)
		if m.make() {
			list = append(list, made{m.out, m.box, m.out.fits()})
		}
	}
	inOrder(list, pts)
	for i := range list {
		if !slices.ContainsFunc(a.Proposals, list[i].sameWinding) {
			a.Proposals = append(a.Proposals, list[i].Proposal)
		}
	}
}

// sameWinding tells whether two proposals are one and the same winding for the same supply: a wire of the stock may
// stand for those of two boxes.
func (p *Proposal) sameWinding(q Proposal) bool {
	return p.Nameplate.Voltage == q.Nameplate.Voltage && p.Nameplate.Frequency == q.Nameplate.Frequency && reflect.DeepEqual(p.Scheme, q.Scheme)
}

// make fills the proposal; false if nobody could wind it. The wire of a predicted auxiliary is known to a few
// gauges only: where it makes the slots too full, the thickest within that range that lets them be laid is taken.
func (m *maker) make() bool {
	m.out.Basis.Steps = slices.Clip(m.out.Basis.Steps) // the copies below add steps of their own
	base := *m
	if !m.sets() || !windable(m.out.Scheme) {
		return false
	}
	m.figures()
	if m.out.Basis.Method == methodRecord || auxiliarySet(&m.out.Scheme) < 0 {
		return true
	}
	least := -ninety * m.x.model.aux.area[m.rotor].sd
	for most := m.out.squareFill(); most > winding.HandFill().High && base.lnAux-auxStep >= least; {
		thinner := base
		thinner.lnAux -= auxStep
		base.lnAux = thinner.lnAux
		if !thinner.sets() {
			break
		}
		thinner.figures()
		now := thinner.out.squareFill()
		if now >= most {
			break // the auxiliary does not lie in the fullest slots
		}
		if most = now; most <= winding.HandFill().High {
			*m = thinner
			m.out.Basis.Steps = append(m.out.Basis.Steps, "the auxiliary's wire is taken thinner than in that proportion, within what such windings have, so that the slots can be laid")
		}
	}
	return true
}

// auxStep is one gauge, as ln of the area.
const auxStep = 0.2

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
	m.box.n, m.box.a = math.Log(float64(x.series(rec.turnsMain))), math.Log(float64(x.main(rec).area))
	core := int(m.w.coreAt[r.core])
	m.lam = x.lamOf(core)
	site := x.siteOf(core)
	m.useSite(&site)
	m.design, m.poles = x.designs[rec.design], int(rec.poles)
	m.template = x.schemeOf(int(r.rec))
	id := x.recIDs.at(r.rec)
	m.out.Basis = Basis{Method: methodRecord, WindingIDs: []string{id}, Steps: []string{
		fmt.Sprintf("record %s agrees with the readings; its probability among all records and unknown windings is %s", id, chance(r.w)),
		"turns, throws, wires and paths are those of the record",
	}}
	if o := x.texts.origin.at(x.kindOf(rec).origin); o == "previously_rewound" {
		m.out.Basis.Steps = append(m.out.Basis.Steps, "the recorded motor had been rewound before: weaker evidence than a factory winding")
	}
}

// fromPart builds on the heaviest predicted component of the box.
func (m *maker) fromPart() {
	x := m.x
	q := &m.w.parts[m.box.part]
	c := &m.b.contexts[q.ctx]
	m.lam = c.lam
	m.useSite(&c.site)
	m.design, m.poles = x.designs[q.g.design], int(q.g.poles)
	m.from = x.template(c, q.g.phases, q.g.poles, m.box.n)
	if m.from >= 0 {
		m.template = x.schemeOf(m.from)
	} else {
		m.template = standardScheme(int(q.g.phases), m.poles, int(c.site.slots), c.site.second)
	}
	m.box.a = x.ladder.lnArea[int(m.box.g)] // the box stands on a real gauge
	m.explain(c, q)
}

// useSite makes the core on which the figures are computed; the lamination is known by then.
func (m *maker) useSite(s *site) {
	m.rotor = s.rotor
	m.core = coreOf(s.v, s.stack, int(s.slots), 0, s.rotor, s.second)
	if s.second {
		m.core.SecondRing.Slots = m.ringSlots(int(s.slots))
		m.measuredRing(m.core.SecondRing)
	}
}

// ringSlots is the count of the second ring: as catalogued for the proposal's lamination, else as told if both rings
// were counted and differ, else that of the first, as such fans mostly have it (common practice, no source).
func (m *maker) ringSlots(first int) int {
	if m.lam >= 0 {
		if n := int(m.x.lam.ring2[m.lam]); n > 1 {
			return n
		}
	}
	if m.p.ring2 > 1 && m.p.slots > 0 && m.p.ring2 != m.p.slots {
		return m.p.ring2
	}
	return first
}

// measuredRing fills what the site leaves open of the second ring as it was measured: nothing predicts it for
// a lamination that is not catalogued.
func (m *maker) measuredRing(r *stator.Ring) {
	for d, to := range map[dim]*unit.Measured{dTooth2: &r.ToothWidth, dDepth2: &r.SlotDepth, dOpening2: &r.SlotOpening, dArea2: &r.SlotArea} {
		if read, ok := m.p.value(d); ok && !to.Given {
			*to = unit.Of(read.x)
		}
	}
	if q := m.p.q.Measurements.SecondRing; q != nil && usable(q.TurnedSlots) {
		r.TurnedSlots = q.TurnedSlots
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
		fmt.Sprintf("taken as phases: %d, %g V, %g Hz, %d poles: %.4g V across one winding", m.design.phases, m.design.voltage, m.design.frequency, m.poles, volts),
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

// neighbours picks the points around the box from which its ranges are read.
func (m *maker) neighbours(pts []point) {
	for i := range pts {
		q := &pts[i]
		if math.Abs(q.n-m.box.n) <= 2.6*boxTurns && math.Abs(q.g-m.box.g) <= 2*boxGauge+1 {
			m.near = append(m.near, *q)
		}
	}
}

// ninety is how many standard deviations hold 90 % of a normal distribution on each side.
const ninety = 1.645

// around is a range of k times values with logarithms spread about ln centre; the middle is the centre, and
// each side is as wide as the spread alone at least.
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
	return unit.Range{P05: centre * math.Exp(math.Min(r.P05, -ninety*spread)), P50: centre, P95: centre * math.Exp(math.Max(r.P95, ninety*spread))}
}
