package match

import (
	"math"
	"slices"
)

// lamWeight is a lamination that is followed up: its likelihood at each common factor, times the
// factor's share and the chance of the slot count.
type lamWeight struct {
	lam uint32
	g   [nScale]float64
	sum float64
}

// coreWeight is a core that is followed up.
type coreWeight struct {
	core uint32
	geo  float64
	rec  float64 // Σ of its records' posterior weights
	oth  float64 // posterior weight of another winding on it
}

// recWeight is a record with its posterior weight.
type recWeight struct {
	rec, core uint32 // its number, and the place of its core in work.coreAt
	w         float64
}

// beliefs is the outcome over all hypotheses, normalised.
type beliefs struct {
	contexts []context
	known    float64 // Σ records
	winding  float64 // known core, other winding
	stack    float64 // known lamination, other stack
	fresh    float64 // not in the catalogue
	tail     float64 // records that the coarse scan left out
	total    float64 // before normalising: the evidence of the query
}

// leastEvidence is the least density of a query that can still be normalised.
const leastEvidence = 1e-280

// weigh computes the posterior of all hypotheses.
func (x *Index) weigh(p *prepared, w *work) *beliefs {
	kept, tail := x.scan(p, w)
	w.designs = x.designLikelihoods(p, w.designs)
	x.weighLaminations(p, w, kept)
	b := &beliefs{}
	shrink := float64(len(x.recs)) / (float64(len(x.recs)) + priorHold)
	known := x.weighRecords(p, w, shrink)
	w.parts = w.parts[:0]
	b.contexts = x.contexts(p, w, shrink)
	for i := range b.contexts {
		b.contexts[i].weight *= setRight[b.contexts[i].hyp]
	}
	var other [4]float64
	x.evaluateAll(p, w, b.contexts, &other)
	lost := known * tail / math.Max(1-tail, 1e-9)
	b.total = known + lost + other[hypWinding] + other[hypStack] + other[hypNew]
	if !(b.total > leastEvidence) || math.IsInf(b.total, 0) {
		// Nothing explains the query: it is not in the catalogue, and nothing is proposed.
		b.fresh = 1
		w.recs, w.cores, w.parts = w.recs[:0], w.cores[:0], w.parts[:0]
		return b
	}
	n := 1 / b.total
	b.known, b.tail, b.winding, b.stack, b.fresh = known*n, lost*n, other[hypWinding]*n, other[hypStack]*n, other[hypNew]*n
	for i := range w.recs {
		w.recs[i].w *= n
	}
	for i := range w.cores {
		w.cores[i].rec *= n
		w.cores[i].oth *= n
	}
	for i := range w.parts {
		w.parts[i].w *= n
	}
	return b
}

// weighLaminations computes the exact likelihood of the survivors.
func (x *Index) weighLaminations(p *prepared, w *work, kept []survivor) {
	w.lams = w.lams[:0]
	for _, s := range kept {
		l := lamWeight{lam: s.lam}
		for k := range l.g {
			l.g[k] = scaleShare[k] * s.slots
		}
		x.geometry(p, int(s.lam), &l.g)
		for _, g := range l.g {
			l.sum += g
		}
		if l.sum > 0 {
			w.lams = append(w.lams, l)
		}
	}
}

// recordCut drops cores that no agreement of nameplate and remains could lift to this share of the best record.
const recordCut = 1e-8

// weighRecords weighs all records of the survivors and returns their sum.
func (x *Index) weighRecords(p *prepared, w *work, shrink float64) (sum float64) {
	x.weighCores(p, w)
	likeliest := 0.0
	for i := range w.cores {
		likeliest = max(likeliest, w.cores[i].geo*float64(x.core.pop[w.cores[i].core]))
	}
	plate, remains := p.mostOfPlate(w.designs), p.mostOfRemains()
	prior := priorRecord * shrink / max(x.total, 1)
	best := 0.0 // record so far
	for _, first := range [...]bool{true, false} {
		for i := range w.cores {
			c := &w.cores[i]
			v := c.geo * float64(x.core.pop[c.core])
			if (v > 0.01*likeliest) != first || v*prior*plate*remains < recordCut*best {
				continue
			}
			for r := x.core.recStart[c.core]; r < x.core.recStart[c.core+1]; r++ {
				if v := x.weighRecord(p, w, c.geo*prior, r, recordCut*best/remains); v > 0 {
					w.recs = append(w.recs, recWeight{rec: r, core: uint32(i), w: v})
					c.rec += v
					sum += v
					best = max(best, v)
				}
			}
		}
	}
	return sum
}

// weighCores lists the cores of the survivors with their likelihoods.
func (x *Index) weighCores(p *prepared, w *work) {
	w.cores, w.recs = w.cores[:0], w.recs[:0]
	for i := range w.lams {
		l := &w.lams[i]
		for c := x.lam.coreStart[l.lam]; c < x.lam.coreStart[l.lam+1]; c++ {
			g := l.g
			x.stackLike(p, int(c), &g)
			geo := 0.0
			for _, v := range g {
				geo += v
			}
			w.cores = append(w.cores, coreWeight{core: c, geo: geo})
		}
	}
}

// weighRecord is the weight of record r on a core of weight geo; 0 if it is less than least before the remains.
func (x *Index) weighRecord(p *prepared, w *work, geo float64, r uint32, least float64) float64 {
	rec := &x.recs[r]
	v := geo * rec.weight() * w.designs[rec.design] * x.recordFactor(p, rec)
	if !(v > least) {
		return 0
	}
	return v * x.recordRemains(p, int(r))
}

// mostOfPlate is the most that the nameplate of a record can contribute to its weight.
func (p *prepared) mostOfPlate(designs []float64) float64 {
	most := slices.Max(designs)
	if p.plate.current.given {
		most *= normal(0, currentSD*currentSD) + 1
	}
	if p.plate.speed.given {
		most *= normal(0, speedSD*speedSD) + 1
	}
	return most
}

// mostOfRemains likewise for the remains of the old winding.
func (p *prepared) mostOfRemains() float64 {
	most := 1.0
	for i := range p.remains.scraps {
		s := &p.remains.scraps[i]
		most *= s.density(0, 0) + wildDensity/s.x
	}
	for i := range p.remains.masses {
		m := &p.remains.masses[i]
		if m.which == massOfPair { // mean and ratio are two figures
			most *= (normal(0, sq(m.sd)/2) + wildDensity) * (normal(0, 2*sq(m.sd)) + wildDensity)
			continue
		}
		most *= normal(0, sq(m.sd)) + wildDensity
	}
	for i := range p.remains.coils {
		most *= normal(0, sq(p.remains.coils[i].sd)) + wildDensity
	}
	return most
}

// contexts lists the cores on which an unlisted winding is predicted, with prior × likelihood of the
// dimensions. What is not followed up is added to the followed ones of its kind in proportion.
func (x *Index) contexts(p *prepared, w *work, shrink float64) []context {
	out := make([]context, 0, followCores+followLams+followCopies)
	out = x.coreContexts(w, shrink, out)
	out = x.stackContexts(p, w, shrink, out)
	return x.newContexts(p, w, shrink, out)
}

// topN returns the places of the n greatest values, greatest first, ties by place.
func topN(n, most int, value func(int) float64) []int {
	var idx []int
	for i := range n {
		v := value(i)
		if !(v > 0) {
			continue
		}
		at := len(idx)
		for at > 0 && value(idx[at-1]) < v {
			at--
		}
		if at < most {
			if len(idx) < most {
				idx = append(idx, 0)
			}
			copy(idx[at+1:], idx[at:len(idx)-1])
			idx[at] = i
		}
	}
	return idx
}

// coreContexts follows up the best cores for another winding.
func (x *Index) coreContexts(w *work, shrink float64, out []context) []context {
	norm := priorWinding * shrink / (x.total + 0.5*float64(len(x.core.stack)) + 1)
	weight := func(i int) float64 { return norm * (float64(x.core.pop[w.cores[i].core]) + 0.5) * w.cores[i].geo }
	top := topN(len(w.cores), followCores, weight)
	all, followed := 0.0, 0.0
	for i := range w.cores {
		all += weight(i)
	}
	for _, i := range top {
		followed += weight(i)
	}
	for _, i := range top {
		core := int(w.cores[i].core)
		l := x.lamOf(core)
		if weight(i) < 1e-5*weight(top[0]) {
			break
		}
		c := x.onLamination(out, l)
		c.hyp, c.weight, c.core, c.site = hypWinding, weight(i)*all/followed, i, x.siteOf(core)
		out = append(out, c)
	}
	return out
}

// onLamination is a context on lamination l, with what its records say; an earlier context may know it.
func (x *Index) onLamination(earlier []context, l int) context {
	for i := range earlier {
		if c := &earlier[i]; c.lam == l {
			return context{lam: l, poles: c.poles, fam: c.fam, traits: c.traits}
		}
	}
	return context{lam: l, poles: x.polesOf(l), fam: x.familyEffects(l), traits: &traitSum{lam: l}}
}

// lamCut drops laminations that no stack could lift to a visible share of the best, before their stacks are looked at.
const lamCut = 1e-8

// stackContexts follows up the best laminations for another stack.
func (x *Index) stackContexts(p *prepared, w *work, shrink float64, out []context) []context {
	norm := priorStack * shrink / (x.total + 0.5*float64(len(x.lam.slots)) + 1)
	type lamStack struct {
		w       float64
		options []stackOption
	}
	of := make([]lamStack, len(w.lams))
	best, all := 0.0, 0.0
	for i := range w.lams {
		of[i].w = norm * x.lam.weight(int(w.lams[i].lam), x.total) * w.lams[i].sum
		best = max(best, of[i].w)
	}
	for i := range w.lams {
		if of[i].w < lamCut*best {
			of[i].w = 0
			continue
		}
		l := int(w.lams[i].lam)
		of[i].options = x.stackOptions(p, x.lam.rotor[l], float64(x.lam.poles[l]), x.lam.value(l, dGap), l)
		of[i].w *= densityOf(of[i].options)
		all += of[i].w
	}
	top := topN(len(of), followLams, func(i int) float64 { return of[i].w })
	followed := 0.0
	for _, i := range top {
		followed += of[i].w
	}
	for _, i := range top {
		if of[i].w < 1e-5*of[top[0]].w {
			break
		}
		l := int(w.lams[i].lam)
		c := x.onLamination(out, l)
		c.hyp, c.core, c.site = hypStack, -1, x.lamSite(l)
		out = c.withStacks(of[i].options, of[i].w*all/followed/densityOf(of[i].options), out)
	}
	return out
}

// evaluateAll computes the evidence in every context worth it and sums the posterior weights by hypothesis.
func (x *Index) evaluateAll(p *prepared, w *work, contexts []context, sum *[4]float64) {
	for i := range contexts {
		c := &contexts[i]
		from := len(w.parts)
		w.parts = x.evaluate(p, w, c, uint16(i), w.parts)
		for k := from; k < len(w.parts); k++ {
			w.parts[k].w *= c.weight
		}
		v := c.weight * c.evidence
		sum[c.hyp] += v
		if c.hyp == hypWinding {
			w.cores[c.core].oth += v
		}
	}
	w.parts = slices.DeleteFunc(w.parts, func(q part) bool { return !(q.w > 0) })
}
