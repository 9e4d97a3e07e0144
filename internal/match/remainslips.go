package match

import (
	"cmp"
	"math"
	"slices"

	"statorbook/internal/unit"
)

// figFar is the share of slips that swap two digits that are not neighbours (233 for 332), where a figure has
// such (common practice, no source). The other slips of a count or a weighing are those of a plate's figure,
// and as frequent (plateSlipRate).
const figFar = 0.10

// otherReading is another way to read a counted coil or a weighing: ln of what was probably meant, of a pair
// mean and ratio of both logarithms, and its share among the slips.
type otherReading struct {
	ln, ratio, share float64
	typed, value     float64
	field            string
}

// remainsSlips lists what may have been meant by a figure of the remains.
func remainsSlips(m unit.Measured, field string) []otherReading {
	if !usable(m) {
		return nil
	}
	text, factor := asTyped(m)
	list, far := figureSlips(m), farSwaps(text)
	out := make([]otherReading, 0, len(list)+len(far))
	rest := 1.0
	if len(far) > 0 {
		rest -= figFar
	}
	for _, s := range list {
		out = append(out, otherReading{ln: s.ln, share: s.share * rest, typed: m.Value, value: roundFigure(math.Exp(s.ln)), field: field})
	}
	for _, v := range far {
		out = append(out, otherReading{ln: math.Log(v * factor), share: figFar / float64(len(far)), typed: m.Value, value: roundFigure(v * factor), field: field})
	}
	return byMeaning(out)
}

// farSwaps lists the figures with two digits swapped that are not neighbours.
func farSwaps(text string) []float64 {
	var out []float64
	b := []byte(text)
	digit := func(i int) bool { return b[i] >= '0' && b[i] <= '9' }
	for i := range b {
		seen := 0 // digits after i
		for j := i + 1; j < len(b) && digit(i); j++ {
			if !digit(j) {
				continue
			}
			if seen++; seen > 1 && b[i] != b[j] {
				b[i], b[j] = b[j], b[i]
				out = appendFigure(out, b)
				b[i], b[j] = b[j], b[i]
			}
		}
	}
	return out
}

func byMeaning(list []otherReading) []otherReading {
	slices.SortFunc(list, func(a, b otherReading) int { return cmp.Compare(a.ln, b.ln) })
	return list
}

// pairSlips are the slips of two weighings, of which one was read wrong.
func pairSlips(main, aux []otherReading, lnMain, lnAux float64) []otherReading {
	out := make([]otherReading, 0, len(main)+len(aux))
	for _, s := range main {
		s.ln, s.ratio, s.share = (s.ln+lnAux)/2, lnAux-s.ln, s.share/2
		out = append(out, s)
	}
	for _, s := range aux {
		s.ln, s.ratio, s.share = (s.ln+lnMain)/2, s.ln-lnMain, s.share/2
		out = append(out, s)
	}
	return byMeaning(out)
}

// otherQuery is a figure of the remains: its logarithm, of a pair the mean of both and their ratio, and what
// else may have been meant, in rising order.
type otherQuery struct {
	ln, ratio float64
	other     []otherReading
}

// near gives the places from and to of the other readings less than reach from ln.
func near(list []otherReading, ln, reach float64) (from, to int) {
	from, _ = slices.BinarySearchFunc(list, ln-reach, func(o otherReading, at float64) int { return cmp.Compare(o.ln, at) })
	for to = from; to < len(list) && list[to].ln < ln+reach; to++ {
	}
	return from, to
}

// meant is what a figure of the remains should say: mean and variance of its logarithm, and of a pair those of
// the ratio, else 0.
type meant struct{ ln, v, ratio, vr float64 }

// far tells whether a figure as typed is so far from what it should say that slips are looked at.
func (e *meant) far(ln, ratio float64) bool {
	return sq(ln-e.ln) > farZ*farZ*e.v || sq(ratio-e.ratio) > farZ*farZ*e.vr
}

// like is the density of a slip.
func (e *meant) like(o *otherReading) float64 {
	l := plateSlipRate * o.share * normal(o.ln-e.ln, e.v)
	if e.vr > 0 {
		l *= ratioDensity(o.ratio-e.ratio, e.vr)
	}
	return l
}

// slipShare is the density that the slips of one figure have, and that of the likeliest, 1 + its place.
type slipShare struct {
	sum, most float64
	best      uint16 // two weighings of ten digits each have some 280
}

// add counts the slips of list against what the figure should say.
func (s *slipShare) add(list []otherReading, e meant) {
	from, to := near(list, e.ln, altReach*math.Sqrt(e.v))
	for i := from; i < to; i++ {
		d := e.like(&list[i])
		s.sum += d
		if d > s.most {
			s.most, s.best = d, uint16(min(i+1, math.MaxUint16))
		}
	}
}

// slips lists what else a weighing may have been meant to say.
func (q *massQuery) slips(r *Remains) {
	main, aux := remainsSlips(r.CopperMain, massField+"main"), remainsSlips(r.CopperAuxiliary, massField+"auxiliary")
	switch q.which {
	case massOfMain:
		q.other = main
	case massOfAux:
		q.other = aux
	case massOfAll:
		q.other = remainsSlips(r.CopperTotal, massField+"total")
	case massOfPair:
		q.other = pairSlips(main, aux, math.Log(r.CopperMain.Value), math.Log(r.CopperAuxiliary.Value))
	}
}

const massField = "remains.copper_mass_g."

// splitSlips appends to out a component for the slips of figure number item, if it lies far from what component
// o expects: rest and, as noise of its own, v and the ratio, besides wa of ln area and ln turns.
func (o *part) splitSlips(q *otherQuery, wa float64, rest *meant, item int, out []part) []part {
	e := *rest
	e.ln, e.v = e.ln+o.g.n+wa*o.g.a, e.v+o.g.vn+wa*(2*o.g.cna+o.g.va)
	if !e.far(q.ln, q.ratio) {
		return out
	}
	var s slipShare
	if s.add(q.other, e); s.best == 0 {
		return out
	}
	n := *o
	n.g.observe(q.other[s.best-1].ln-rest.ln, 1, wa, rest.v)
	n.w *= s.sum
	n.read[item] = s.best
	return append(out, n)
}

// leastRead is the least probability of a record that is asked how it reads the remains.
const leastRead = 1e-3

// readRemains adds the counts and weighings that were probably written down wrong: over the records and the
// windings that are not listed, each with its own chance of the slip.
func (x *Index) readRemains(p *prepared, w *work, a *Answer) {
	for i := range p.remains.coils {
		q := &p.remains.coils[i]
		x.readFigure(&q.otherQuery, i, w, a, func(rec uint32) (float64, slipShare) { return x.coilOfRecord(q, int(rec)) })
	}
	for i := range p.remains.masses {
		q := &p.remains.masses[i]
		x.readFigure(&q.otherQuery, maxRemains+i, w, a, func(rec uint32) (float64, slipShare) {
			r := &x.recs[rec]
			return massOfRecord(q, r, x.designs[r.design].phases)
		})
	}
}

// readFigure does so for one figure, the item-th.
func (x *Index) readFigure(q *otherQuery, item int, w *work, a *Answer, ofRecord func(rec uint32) (float64, slipShare)) {
	chance := make([]float64, len(q.other)+1)
	for i := range w.recs {
		if r := &w.recs[i]; r.w > leastRead {
			if l, s := ofRecord(r.rec); s.best > 0 {
				chance[s.best] += r.w * s.sum / l
			}
		}
	}
	for i := range w.parts {
		if o := &w.parts[i]; o.read[item] > 0 {
			chance[o.read[item]] += o.w
		}
	}
	for i := range q.other {
		// Several slips may lead to one figure; it is told once.
		o, v := &q.other[i], chance[i+1]
		for k := i + 1; k < len(q.other) && q.other[k].ln < o.ln+1e-9; k++ {
			if q.other[k].field == o.field {
				v, chance[k+1] = v+chance[k+1], 0
			}
		}
		if v >= 0.5 {
			a.Readings = append(a.Readings, ReadAs{Field: o.field, Typed: o.typed, ReadAs: o.value, Probability: math.Min(v, 1)})
		}
	}
}
