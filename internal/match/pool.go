package match

import (
	"math"
	"slices"
)

// Shares of the scatter that re-measured records show: two measurements differ by √2 of one's error.
const (
	poolPriorWeight = 20.0 // deviations that the documented catalogue sd is worth
	catFloor        = 0.02 // mm, no catalogue is better: drawings are rounded to 0.1 mm
)

// poolValue takes the value that most of the given figures share; if none is shared, the median.
// It sorts v. NaN for none.
func poolValue(v []float64) (value float64, shared bool) {
	if len(v) == 0 {
		return math.NaN(), false
	}
	slices.Sort(v)
	best, bestN, ties := v[0], 0, 0
	for i := 0; i < len(v); {
		j := i
		for j < len(v) && v[j] == v[i] {
			j++
		}
		switch n := j - i; {
		case n > bestN:
			best, bestN, ties = v[i], n, 0
		case n == bestN:
			ties++
		}
		i = j
	}
	if bestN >= 2 && ties == 0 {
		return best, true
	}
	return median(v), false
}

// pool pools the dimensions of all laminations over their records and learns how well the
// catalogue is measured.
func (b *Builder) pool(o *order) (lams []vec, stacks []float64, catSD [nDims]float64) {
	lams, stacks = make([]vec, len(o.fams)), make([]float64, len(o.cores))
	var found [parts][nDims][]float64 // deviations
	inParts(len(lams), func(part, from, to int) {
		buf := make([]float64, 0, 64)
		for l := from; l < to; l++ {
			for d := range nLam {
				buf = b.dimsOf(o, l, d, buf[:0])
				value, shared := poolValue(buf)
				lams[l][d] = value
				if shared && len(buf) >= 3 {
					found[part][d] = appendDeviations(found[part][d], buf, value, dims[d].rel)
				}
			}
			for c := o.coreStart[l]; c < o.coreStart[l+1]; c++ {
				buf = b.stacksOf(o, c, buf[:0])
				value, shared := poolValue(buf)
				stacks[c] = value
				if shared && len(buf) >= 3 {
					found[part][dStack] = appendDeviations(found[part][dStack], buf, value, false)
				}
			}
		}
	})
	for d := range dims {
		var all []float64
		for part := range found {
			all = append(all, found[part][d]...)
		}
		catSD[d] = learnCatalogueSD(dims[d].catSD, all)
	}
	return lams, stacks, catSD
}

// dimsOf lists the figures of dimension d of lamination l; the family's own has a vote.
func (b *Builder) dimsOf(o *order, l, d int, buf []float64) []float64 {
	for _, r := range o.recordsOf(l) {
		if x := float64(b.recs[r].dims[d]); x > 0 {
			buf = append(buf, round4(x))
		}
	}
	if own := o.lams[l].own[d]; own > 0 {
		buf = append(buf, round4(own))
	}
	return buf
}

// stacksOf lists the stacks told of core c.
func (b *Builder) stacksOf(o *order, c uint32, buf []float64) []float64 {
	for _, r := range o.recs[o.recStart[c]:o.recStart[c+1]] {
		if x := float64(b.recs[r].stack); x > 0 {
			buf = append(buf, round4(x))
		}
	}
	if own := b.cores[o.cores[c]].stack; own > 0 {
		buf = append(buf, round4(own))
	}
	return buf
}

// round4 drops the hair that float32 adds to a figure typed in decimal.
func round4(x float64) float64 { return math.Round(x*1e4) / 1e4 }

// appendDeviations collects how far the figures that differ from the shared value are from it.
func appendDeviations(out, v []float64, shared float64, rel bool) []float64 {
	for _, x := range v {
		if x == shared {
			continue
		}
		d := math.Abs(x - shared)
		if rel {
			d /= shared
		}
		out = append(out, d)
	}
	return out
}

// learnCatalogueSD turns the deviations of re-measured records from the shared value into the
// standard deviation of one catalogued figure. Deviations of nothing are not seen (a copy cannot
// be told from a lucky measurement), and figures are rounded to a tenth, so that the median of the
// rest overstates a small scatter: the median of |x| beyond half a step is about 1.1 sd.
func learnCatalogueSD(prior float64, dev []float64) float64 {
	if len(dev) == 0 {
		return prior
	}
	n := float64(len(dev))
	s := median(dev) / 1.1 / math.Sqrt2
	s = min(max(s, prior/3), prior*3)
	return max(math.Sqrt((poolPriorWeight*prior*prior+n*s*s)/(poolPriorWeight+n)), min(catFloor, prior))
}
