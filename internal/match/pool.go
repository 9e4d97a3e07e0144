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
func (b *Builder) pool() (lams []vec, stacks []float64, catSD [nDims]float64) {
	lams = make([]vec, len(b.fams))
	order, start := b.recordsByFamily()
	deviations := make([][]float64, nDims)
	buf := make([]float64, 0, 64)
	for f := range b.fams {
		for d := range nLam {
			buf = buf[:0]
			for _, r := range order[start[f]:start[f+1]] {
				if x := float64(b.recDims[r][d]); x > 0 {
					buf = append(buf, round4(x))
				}
			}
			if own := b.fams[f].own[d]; own > 0 {
				buf = append(buf, round4(own)) // the family's own figure has a vote
			}
			value, shared := poolValue(buf)
			lams[f][d] = value
			if shared && len(buf) >= 3 {
				deviations[d] = appendDeviations(deviations[d], buf, value, dims[d].rel)
			}
		}
	}
	stacks = b.poolStacks(&deviations[dStack])
	for d := range dims {
		catSD[d] = learnCatalogueSD(dims[d].catSD, deviations[d])
	}
	return lams, stacks, catSD
}

// round4 drops the hair that float32 adds to a figure typed in decimal.
func round4(x float64) float64 { return math.Round(x*1e4) / 1e4 }

// recordsByFamily lists the records of each family: order[start[f]:start[f+1]].
func (b *Builder) recordsByFamily() (order, start []uint32) {
	start = make([]uint32, len(b.fams)+1)
	for _, c := range b.recCore {
		start[b.cores[c].fam+1]++
	}
	for f := range b.fams {
		start[f+1] += start[f]
	}
	order = make([]uint32, len(b.recs))
	at := slices.Clone(start)
	for r, c := range b.recCore {
		f := b.cores[c].fam
		order[at[f]] = uint32(r)
		at[f]++
	}
	return order, start
}

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

// poolStacks pools the stack of each core over its records.
func (b *Builder) poolStacks(deviations *[]float64) []float64 {
	lists := make([][]float64, len(b.cores))
	for r, c := range b.recCore {
		if x := float64(b.recStack[r]); x > 0 {
			lists[c] = append(lists[c], round4(x))
		}
	}
	out := make([]float64, len(b.cores))
	for c := range b.cores {
		v := lists[c]
		if own := b.cores[c].stack; own > 0 {
			v = append(v, round4(own))
		}
		value, shared := poolValue(v)
		out[c] = value
		if shared && len(v) >= 3 {
			*deviations = appendDeviations(*deviations, v, value, false)
		}
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
