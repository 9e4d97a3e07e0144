package match

import (
	"math"
	"slices"
)

// The coarse scan gives every lamination of the buckets a score of about -2 ln of popularity times
// likelihood, the lowest best. A reading counts by the t law of the exact model, taken no further than
// coarseMost: no single wrong reading hides the right lamination. A dimension that nobody measured is
// compared with what the chain expects of it, as loosely as the chain knows it.
const (
	coarseTail = 6  // -2 ln of a t density with 5 degrees of freedom is 6 ln(1 + z²/5)
	coarseMost = 14 // of 1 + z²/5: as unlikely as a slip that an alternative reading explains
	stackMost  = 6  // of the stack: as unlikely as another stack of the same lamination
	histBins   = 2048
	histPerBin = 16 // bins per unit of score
)

// How many laminations go on: those for which the stacks are looked at, and those that are followed up,
// none of them further than coarseReach above the best.
const (
	keepFirst   = 20000
	keepMost    = 2000
	coarseReach = 40
)

// survivor is a lamination that the coarse scan kept.
type survivor struct {
	lam    uint32
	slots  float64 // chance that its slots were counted as read
	coarse float32
}

// scan returns the best laminations in index order, and the share of coarse weight that was left out.
func (x *Index) scan(p *prepared, w *work) (kept []survivor, tail float64) {
	low := x.scoreBuckets(p, w)
	stack, ok := p.value(dStack)
	if !ok {
		return w.best(low, keepMost)
	}
	kept, first := w.best(low, keepFirst)
	low = x.addStacks(stack, kept)
	kept, second := w.again(kept, low, keepMost)
	return kept, 1 - (1-first)*(1-second)
}

// scoreBuckets scores every lamination that may have been counted like this, and tells the lowest score.
func (x *Index) scoreBuckets(p *prepared, w *work) (low float32) {
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
	low = float32(math.Inf(1))
	for i := range w.buckets {
		b := &w.buckets[i]
		low = min(low, x.score(p, score[b.at:b.at+int(b.to-b.from)], b))
	}
	return low
}

// bucketAt is a bucket of the scan and where its scores begin.
type bucketAt struct {
	bucket
	chance float64
	at     int
}

// score scores one bucket, column by column, and tells its lowest score.
func (x *Index) score(p *prepared, out []float32, b *bucketAt) (low float32) {
	for i := range out {
		out[i] = 1
	}
	for i := range p.readings {
		r := &p.readings[i]
		if int(r.dim) >= nScan {
			continue
		}
		known := r.vq[1] + sq(r.dim.sd(x.model.catSD[r.dim], r.x))
		guessed := known + sq(x.model.chain[b.rotor].fit[r.dim].sd*r.x)
		inv := [2]float32{float32(math.Sqrt(tQ / known)), float32(math.Sqrt(tQ / guessed))}
		// A wider density is a lower one: √(guessed/known), as a part of the sixth power.
		wider := [2]float32{1, float32(math.Pow(guessed/known, 1.0/coarseTail))}
		multiply(out, x.lam.vals[r.dim][b.from:b.to], float32(r.x), &inv, &wider)
	}
	offset := float32(-2 * math.Log(b.chance))
	low = float32(math.Inf(1))
	logPop := x.lam.logPop[b.from:b.to][:len(out)]
	for i, v := range out {
		v = coarseTail*math.Ln2*log2(v) + logPop[i] + offset
		out[i] = v
		if v < low {
			low = v
		}
	}
	return low
}

// multiply multiplies each product by one reading. What was guessed carries a minus sign. No branch
// depends on the data.
func multiply(out, col []float32, at float32, inv, wider *[2]float32) {
	col = col[:len(out)]
	for i, v := range col {
		bits := math.Float32bits(v)
		guessed := bits >> 31
		z := (math.Float32frombits(bits&^(1<<31)) - at) * inv[guessed&1]
		f := math.Float32bits((1 + z*z) * wider[guessed&1])
		out[i] *= math.Float32frombits(min(f, mostBits)) // positive floats are in the order of their bits
	}
}

var mostBits = math.Float32bits(coarseMost)

// log2 is the binary logarithm of a positive number to 0.01: the exponent, and a parabola through the ends.
func log2(v float32) float32 {
	bits := math.Float32bits(v)
	m := math.Float32frombits(bits&(1<<23-1) | 127<<23) // 1 to 2
	return float32(int32(bits>>23)-127) + (2-m/3)*m - 5.0/3
}

// addStacks counts the stack reading: each lamination stands with its most likely core in place of all
// its popularity. It tells the lowest score.
func (x *Index) addStacks(r *reading, list []survivor) (low float32) {
	total := float32(-2 * math.Log(x.total+0.5))
	inv := float32(math.Sqrt(tQ / (r.vq[1] + sq(x.model.catSD[dStack]))))
	at := float32(r.x)
	low = float32(math.Inf(1))
	for i := range list {
		k := &list[i]
		best := float32(math.Inf(1))
		from, to := x.lam.coreStart[k.lam], x.lam.coreStart[k.lam+1]
		for c := from; c < to; c++ {
			z := (float32(math.Abs(float64(x.core.stack[c]))) - at) * inv
			best = min(best, coarseTail*log2(min(1+z*z, stackMost))-2*log2(x.core.pop[c]+0.5))
		}
		if from < to {
			k.coarse += math.Ln2*best - total - x.lam.logPop[k.lam]
		}
		low = min(low, k.coarse)
	}
	return low
}

// best keeps the lowest scores, at most most of them, in index order.
func (w *work) best(low float32, most int) (kept []survivor, lost float64) {
	h := &w.hist
	h.begin(low)
	for _, s := range w.score {
		h.add(s)
	}
	lost = h.cut(most)
	kept = w.kept[:0]
	for _, b := range w.buckets {
		for i, s := range w.score[b.at : b.at+int(b.to-b.from)] {
			if h.keeps(s) {
				kept = append(kept, survivor{lam: b.from + uint32(i), slots: b.chance, coarse: s})
			}
		}
	}
	w.kept = kept
	return kept, lost
}

// again keeps the lowest scores of a list, at most most of them, in its order.
func (w *work) again(list []survivor, low float32, most int) (kept []survivor, lost float64) {
	h := &w.hist
	h.begin(low)
	for i := range list {
		h.add(list[i].coarse)
	}
	lost = h.cut(most)
	kept = list[:0]
	for _, k := range list {
		if h.keeps(k.coarse) {
			kept = append(kept, k)
		}
	}
	return kept, lost
}

// histogram counts scores by their distance from the lowest, to cut the list without sorting it.
type histogram struct {
	count [histBins]int32
	low   float32
	limit int // the bin in which the cut lies,
	room  int // and how many of it still pass
}

// binWeight is by how much a bin's scores weigh less than those of the bin before.
var binWeight = math.Exp(-1.0 / (2 * histPerBin))

func (h *histogram) begin(low float32) { *h = histogram{low: low} }

func (h *histogram) bin(s float32) int { return min(int((s-h.low)*histPerBin), histBins-1) }

func (h *histogram) add(s float32) { h.count[h.bin(s)]++ }

// cut lets the lowest most scores pass, and tells the share of weight that does not.
func (h *histogram) cut(most int) (lost float64) {
	const reach = coarseReach * histPerBin
	h.limit, h.room = reach, 0
	kept, out, weight := 0.0, 0.0, 1.0
	for b, n := range h.count {
		pass := 0
		if b < reach {
			pass = min(int(n), most)
		}
		most -= pass
		if pass < int(n) && b < h.limit {
			h.limit, h.room, most = b, pass, 0
		}
		kept += float64(pass) * weight
		out += float64(int(n)-pass) * weight
		weight *= binWeight
	}
	if kept+out == 0 {
		return 0
	}
	return out / (kept + out)
}

// keeps tells whether a score passes; each is asked once, in order.
func (h *histogram) keeps(s float32) bool {
	b := h.bin(s)
	if b == h.limit && h.room > 0 {
		h.room--
		return true
	}
	return b < h.limit
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
	r.like(x.core.length(c), x.stackVariance(c), out)
}

// stackVariance is the variance in mm² of the stack of core c: of a measured one, or of what is expected.
func (x *Index) stackVariance(c int) float64 {
	if x.core.known(c) {
		return sq(x.model.catSD[dStack])
	}
	return sq(x.model.stack[x.lam.rotor[x.lamOf(c)]].sd * x.core.length(c))
}

// work is the scratch memory of one match.
type work struct {
	buckets []bucketAt
	score   []float32
	kept    []survivor
	hist    histogram
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
