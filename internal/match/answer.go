package match

import (
	"fmt"
	"math"

	"statorbook/internal/unit"
	"statorbook/internal/winding"
)

// areaTolerance is how far the conductor area of a real wire may be from its nominal one, as a share: a
// diameter tolerance of 0.6 %, as small wire has (IEC 60317-0-1, order of magnitude).
const areaTolerance = 0.012

// overall fills the ranges of main (or phase u) and auxiliary over the whole posterior.
func (x *Index) overall(w *work, pts []point, a *Answer) {
	if len(pts) == 0 {
		return
	}
	three, aux := 0.0, 0.0
	for i := range pts {
		switch x.pointPhases(w, &pts[i]) {
		case 3:
			three += pts[i].w
		default:
			aux += pts[i].w
		}
	}
	role := winding.Main
	if three > 0.5 {
		role = winding.PhaseU
	}
	turns, area := w.ranges(pts, func(q *point, emit func(n, a, weight float64)) { emit(q.n, q.a, q.w) })
	a.Overall = append(a.Overall, RoleRange{Role: role, SeriesTurns: turns, ConductorArea: wireRange(area)})
	if aux > 0.5 {
		turns, area := w.ranges(pts, func(q *point, emit func(n, a, weight float64)) { x.spreadAux(w, q, emit) })
		if turns.P50 > 0 {
			a.Overall = append(a.Overall, RoleRange{Role: winding.Auxiliary, SeriesTurns: turns, ConductorArea: wireRange(area)})
		}
	}
}

// wireRange widens a range of areas by the tolerance of wire.
func wireRange(r unit.Range) unit.Range {
	return unit.Range{P05: r.P05 * (1 - areaTolerance), P50: r.P50, P95: r.P95 * (1 + areaTolerance)}
}

// ranges turns points into ranges of turns and area. spread lists for each point one or more
// values: the logarithms of turns and area, and a weight.
func (w *work) ranges(pts []point, spread func(q *point, emit func(n, a, weight float64))) (turns, area unit.Range) {
	for pass := range 2 {
		v := w.values[:0]
		emit := func(n, a, weight float64) {
			if pass == 1 {
				n = a
			}
			v = append(v, weighted{n, weight})
		}
		for i := range pts {
			spread(&pts[i], emit)
		}
		w.values = v
		if len(v) == 0 {
			return unit.Range{}, unit.Range{}
		}
		r := quantiles(v)
		r = unit.Range{P05: math.Exp(r.P05), P50: math.Exp(r.P50), P95: math.Exp(r.P95)}
		if pass == 0 {
			turns = r
		} else {
			area = r
		}
	}
	return turns, area
}

func (x *Index) pointPhases(w *work, q *point) uint8 {
	if q.rec >= 0 {
		return x.phasesOfRecord(int(w.recs[q.rec].rec))
	}
	return w.parts[q.part].g.phases
}

// spreadAux lists the auxiliaries that go with a point: the record's own, or the usual ratio with
// its spread at three nodes of Gauss and Hermite.
func (x *Index) spreadAux(w *work, q *point, emit func(n, a, weight float64)) {
	if x.pointPhases(w, q) != 1 {
		return
	}
	if q.rec >= 0 {
		if r := &x.recs[w.recs[q.rec].rec]; x.series(r.turnsAux) > 0 && x.aux(r).area > 0 {
			emit(math.Log(float64(x.series(r.turnsAux))), math.Log(float64(x.aux(r).area)), q.w)
		}
		return
	}
	rotor := w.rotors[w.parts[q.part].ctx]
	t, ar := x.model.aux.turns[rotor], x.model.aux.area[rotor]
	for _, node := range hermite {
		// Turns and area of the auxiliary err against each other, as those of the main winding do.
		emit(q.n+t.mean+t.sd*node[0], q.a+ar.mean-ar.sd*node[0], q.w*node[1])
	}
}

// hermite holds nodes and weights of the three-point rule for a standard normal.
var hermite = [3][2]float64{{-1.7320508075688772, 1.0 / 6}, {0, 2.0 / 3}, {1.7320508075688772, 1.0 / 6}}

// compare sets the readings of a query beside a core.
func (x *Index) compare(p *prepared, core int) []Comparison {
	l := x.lamOf(core)
	out := make([]Comparison, 0, len(p.readings))
	for i := range p.readings {
		r := &p.readings[i]
		var c, v float64
		switch {
		case r.dim == dStack:
			if !x.core.known(core) {
				continue
			}
			c, v = x.core.length(core), sq(x.model.catSD[dStack])
		case x.lam.known[l]>>r.dim&1 == 0:
			continue
		default:
			c, v = x.lam.value(l, r.dim), x.lamVariance(l, r.dim)
		}
		c = round4(c)
		out = append(out, Comparison{Field: dims[r.dim].field, Measured: r.x, OnRecord: c, Deviations: (r.x - c) / math.Sqrt(r.vq[1]+v)})
	}
	if p.slots > 0 && int(x.lam.slots[l]) != p.slots {
		d := float64(p.slots - int(x.lam.slots[l]))
		out = append(out, Comparison{Field: "slots", Measured: float64(p.slots), OnRecord: float64(x.lam.slots[l]), Deviations: d * slotDeviation})
	}
	return out
}

// slotDeviation: a miscount by one is as rare as 2.8 standard deviations (slotsOff1).
const slotDeviation = 2.8

// readAs lists the readings that were probably typed or read wrong, over all followed cores.
func (x *Index) readAs(p *prepared, w *work, b *beliefs, a *Answer) {
	for i := range p.readings {
		r := &p.readings[i]
		var values [4]struct{ v, p float64 }
		add := func(c, vc, weight float64) {
			v, prob, ok := r.bestAlternative(c, vc)
			if !ok {
				return
			}
			for k := range values {
				if values[k].p == 0 || values[k].v == v {
					values[k].v = v
					values[k].p += weight * prob
					return
				}
			}
		}
		for k := range min(len(w.cores), 20) {
			c := &w.cores[k]
			weight := c.rec + c.oth
			if weight < 1e-3 {
				continue
			}
			if r.dim == dStack {
				add(x.core.length(int(c.core)), x.stackVariance(int(c.core)), weight)
			} else if l := x.lamOf(int(c.core)); x.lam.has(l, r.dim) {
				add(x.lam.value(l, r.dim), x.lamVariance(l, r.dim), weight)
			}
		}
		for k := range b.contexts {
			x.readAsNew(r, &b.contexts[k], b.total, add)
		}
		best := 0
		for k := range values {
			if values[k].p > values[best].p {
				best = k
			}
		}
		if values[best].p >= 0.5 {
			a.Readings = append(a.Readings, ReadAs{Field: dims[r.dim].field, Typed: r.x / r.times, ReadAs: roundFigure(values[best].v / r.times), Probability: math.Min(values[best].p, 1)})
		}
	}
}

// readSlots adds the count of slots, if another than the typed one is likelier than all else.
func (x *Index) readSlots(p *prepared, w *work, b *beliefs, a *Answer) {
	if p.slots == 0 {
		return
	}
	chance := map[int]float64{}
	for i := range w.cores {
		c := &w.cores[i]
		if v := c.rec + c.oth; v > 1e-4 {
			chance[int(x.lam.slots[x.lamOf(int(c.core))])] += v
		}
	}
	for i := range b.contexts {
		if c := &b.contexts[i]; c.hyp != hypWinding { // those are in the cores
			chance[int(c.site.slots)] += c.weight * c.evidence / b.total
		}
	}
	for slots, v := range chance { // in any order: one alone can have more than half
		if slots != p.slots && v > 0.5 {
			a.Readings = append(a.Readings, ReadAs{Field: "slots", Typed: float64(p.slots), ReadAs: float64(slots), Probability: math.Min(v, 1)})
		}
	}
}

// readAsNew adds what a core that is not catalogued says of a reading.
func (x *Index) readAsNew(r *reading, c *context, total float64, add func(c, vc, weight float64)) {
	weight := c.weight * c.evidence / total
	if c.hyp == hypWinding || weight < 1e-3 || math.IsNaN(weight) {
		return
	}
	s := &c.site
	switch {
	case r.dim == dStack:
		mean, sd := x.model.stackAt(s.rotor, float64(max(int(c.poles[0].poles), 2)), s.v[dGap])
		add(math.Exp(mean), sq(sd*math.Exp(mean)), weight)
	case c.hyp == hypStack && x.lam.has(c.lam, r.dim):
		add(x.lam.value(c.lam, r.dim), x.lamVariance(c.lam, r.dim), weight)
	case r.dim == dGap:
		add(s.v[dGap], sq(0.02*s.v[dGap]), weight)
	case c.hyp == hypNew && r.dim < dTooth2:
		mean, sd := x.model.chain[s.rotor].predict(r.dim, s.rotor, float64(max(int(c.poles[0].poles), 2)), s.v[dGap], s.slots, &s.v)
		add(math.Exp(mean), sq(sd*math.Exp(mean)), weight)
	}
}

// roundFigure drops digits that no instrument has.
func roundFigure(v float64) float64 { return math.Round(v*1e4) / 1e4 }

// storedShare is how far, as a share, a dimension that the index keeps may be from the one on record: a core exactly
// as large as the largest is not outside.
const storedShare = 0.001

func hundredth(v float64) float64 { return math.Round(v*100) / 100 }

// decidedAt is the probability at which measuring may stop.
const decidedAt = 0.95

// decide says whether measuring may stop.
func (x *Index) decide(a *Answer) {
	switch {
	case len(a.Cores) > 0 && a.Cores[0].Probability >= decidedAt:
		c := &a.Cores[0]
		a.Decided = &Decision{CoreID: c.CoreID, Probability: c.Probability,
			Text: fmt.Sprintf("One catalogued core explains the readings with a probability of %s; more dimensions will hardly change that. Verify slots, gap diameter and stack on the machine before winding.", chance(c.Probability))}
	case a.None.Core >= decidedAt:
		a.Decided = &Decision{None: true, Probability: a.None.Core,
			Text: fmt.Sprintf("This core is not in the catalogue with a probability of %s; more dimensions will sharpen the estimate of the winding, not find the core.", chance(a.None.Core))}
	}
}

// extrapolated flags readings outside the range that the catalogue covers for this rotor position.
func (x *Index) extrapolated(p *prepared, a *Answer) {
	for i := range p.readings {
		r := &p.readings[i]
		low, high := math.Inf(1), 0.0
		for rotor := range x.model.ranges {
			if p.rotor >= 0 && int(p.rotor) != rotor {
				continue
			}
			if e := x.model.ranges[rotor][r.dim]; e[1] > 0 {
				low, high = math.Min(low, e[0]), math.Max(high, e[1])
			}
		}
		if high > 0 && (r.x < low*(1-storedShare) || r.x > high*(1+storedShare)) {
			a.Extrapolated = append(a.Extrapolated, Extrapolated{Field: dims[r.dim].field, Value: r.x, Low: hundredth(low), High: hundredth(high)})
		}
	}
	if p.slots > 0 {
		low, high := 0, 0
		for _, b := range x.buckets {
			if p.rotor < 0 || int8(b.rotor) == p.rotor {
				if low == 0 || int(b.slots) < low {
					low = int(b.slots)
				}
				high = max(high, int(b.slots))
			}
		}
		if high > 0 && (p.slots < low || p.slots > high) {
			a.Extrapolated = append(a.Extrapolated, Extrapolated{Field: "slots", Value: float64(p.slots), Low: float64(low), High: float64(high)})
		}
	}
}

// learnRanges notes the least and greatest known value of each dimension by rotor position.
func (x *Index) learnRanges() (out [2][nDims][2]float64) {
	widen := func(e *[2]float64, v float64) {
		if e[1] == 0 || v < e[0] {
			e[0] = v
		}
		e[1] = math.Max(e[1], v)
	}
	for l := range x.lam.slots {
		for d := dGap; d < dStack; d++ {
			if x.lam.known[l]>>d&1 == 1 {
				widen(&out[x.lam.rotor[l]][d], x.lam.value(l, d))
			}
		}
	}
	for c := range x.core.stack {
		if x.core.known(c) {
			widen(&out[x.lam.rotor[x.lamOf(c)]][dStack], x.core.length(c))
		}
	}
	return out
}
