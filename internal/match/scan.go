package match

import (
	"math"
	"slices"
)

// The coarse scan: Σ min(z², 16) over the readings plus -2 ln popularity, lowest first. One wrong
// reading costs at most 16, so that no single one can hide the right lamination.
const (
	coarseCap  = 16
	keepMost   = 800
	histBins   = 2048
	histPerBin = 16 // bins per unit of score
)

// coarseSlack is what the catalogue's own scatter adds to a reading's standard deviation in the scan.
const coarseSlack = 1.6

// survivor is a lamination that the coarse scan kept.
type survivor struct {
	lam    uint32
	slots  float64 // chance that its slots were counted as read
	coarse float32
}

// scan returns the best laminations, best first by index order, and the share of coarse weight
// that was left out.
func (x *Index) scan(p *prepared, w *work) (kept []survivor, tail float64) {
	w.buckets = w.buckets[:0]
	n := 0
	for _, b := range x.buckets {
		if p.rotor >= 0 && int8(b.rotor) != p.rotor || b.slots < 2 {
			continue // a lamination whose slots nobody counted cannot be matched
		}
		c := 1.0
		if p.slots > 0 {
			c = slotChance(p.slots, int(b.slots))
		}
		if c > 0 {
			w.buckets = append(w.buckets, bucketAt{bucket: b, chance: c, at: n})
			n += int(b.to - b.from)
		}
	}
	score := w.scores(n)
	for _, b := range w.buckets {
		x.score(p, score[b.at:b.at+int(b.to-b.from)], int(b.from), float32(-2*math.Log(b.chance)))
	}
	return x.choose(w, score)
}

// bucketAt is a bucket of the scan and where its scores begin.
type bucketAt struct {
	bucket
	chance float64
	at     int
}

// score adds the capped squares of one bucket, column by column.
func (x *Index) score(p *prepared, out []float32, from int, offset float32) {
	n := len(out)
	for i, v := range x.lam.logPop[from : from+n] {
		out[i] = v + offset
	}
	for i := range p.readings {
		r := &p.readings[i]
		if int(r.dim) >= nScan {
			continue
		}
		col := x.lam.vals[r.dim][from : from+n]
		s := math.Sqrt(r.vq[1]+sq(r.dim.sd(x.model.catSD[r.dim], r.x))) * coarseSlack
		addCapped(out, col, float32(r.x), float32(1/s))
	}
}

// addCapped adds min(((v-at)·inv)², 16) to each score; no branch depends on the data.
func addCapped(out, col []float32, at, inv float32) {
	col = col[:len(out)]
	for i := range out {
		z := (col[i] - at) * inv
		out[i] += min(z*z, coarseCap)
	}
}

// coarseReach is how far above the best score a lamination may be and still be followed up.
const coarseReach = 90

// choose keeps the lowest keepMost scores by a histogram, in index order.
func (x *Index) choose(w *work, score []float32) (kept []survivor, tail float64) {
	kept = w.kept[:0]
	low := float32(math.Inf(1))
	for _, s := range score {
		low = min(low, s)
	}
	limit, room := histBins, 0
	if len(score) > keepMost {
		limit, room = w.limit(score, low)
	}
	keptWeight, lostWeight := 0.0, 0.0
	for _, b := range w.buckets {
		for i := range int(b.to - b.from) {
			s := score[b.at+i]
			if s-low > coarseReach {
				continue
			}
			bin := histBin(s, low)
			if bin < limit || bin == limit && room > 0 {
				if bin == limit {
					room--
				}
				kept = append(kept, survivor{lam: b.from + uint32(i), slots: b.chance, coarse: s})
				keptWeight += math.Exp(float64(low-s) / 2)
			} else {
				lostWeight += math.Exp(float64(low-s) / 2)
			}
		}
	}
	w.kept = kept
	if keptWeight+lostWeight > 0 {
		tail = lostWeight / (keptWeight + lostWeight)
	}
	return kept, tail
}

func histBin(s, low float32) int { return min(int((s-low)*histPerBin), histBins-1) }

// limit finds the bin in which the keepMost-th lowest score lies, and how many of that bin pass.
func (w *work) limit(score []float32, low float32) (bin, room int) {
	hist := &w.hist
	*hist = [histBins]int32{}
	for _, s := range score {
		hist[histBin(s, low)]++
	}
	count := 0
	for b, n := range hist {
		if count+int(n) > keepMost {
			return b, keepMost - count
		}
		count += int(n)
	}
	return histBins, 0
}

// geometry multiplies the likelihoods of all lamination readings for lamination l, at each common factor.
func (x *Index) geometry(p *prepared, l int, out *[nScale]float64) {
	for i := range p.readings {
		r := &p.readings[i]
		if r.dim == dStack {
			continue
		}
		c := x.lam.value(l, r.dim)
		if math.IsNaN(c) {
			r.unseen(out)
			continue
		}
		r.like(c, x.lamVariance(l, r.dim), out)
	}
	if p.ring2 > 0 {
		f := ring2Unseen
		if have := int(x.lam.ring2[l]); have > 0 {
			f = 1 - ring2Unseen
			if p.ring2 > 1 && have > 1 {
				f *= pick(p.ring2 == have, ring2Right, (1-ring2Right)/2)
			}
		}
		for k := range out {
			out[k] *= f
		}
	}
}

// stackLike is the likelihood of the stack reading for core c.
func (x *Index) stackLike(p *prepared, c int, out *[nScale]float64) {
	r, ok := p.value(dStack)
	if !ok {
		return
	}
	s := x.core.length(c)
	v := sq(x.model.catSD[dStack])
	if !x.core.known(c) {
		v = sq(x.model.stack[x.lam.rotor[x.core.lam[c]]].sd * s)
	}
	r.like(s, v, out)
}

// work is the scratch memory of one match.
type work struct {
	buckets []bucketAt
	score   []float32
	kept    []survivor
	hist    [histBins]int32
	designs []float64
	cores   []coreWeight
	lams    []lamWeight
	recs    []recWeight
	parts   []part
	points  []point
	order   []int32
	values  []weighted
	rotors  []uint8  // rotor position of each context
	coreAt  []uint32 // core of each place before the cores were sorted
}

// scores returns n scores to be overwritten.
func (w *work) scores(n int) []float32 {
	w.score = slices.Grow(w.score[:0], n)[:n]
	return w.score
}
