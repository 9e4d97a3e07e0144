package match

import "slices"

// poleTable counts (phases, poles) for each rotor position and slot count.
type poleTable struct {
	list  map[gapKey][]poleCount
	total map[gapKey]float64
	kappa float64 // records of other laminations that the general table is worth beside a lamination's own
}

// poleCount is how often a winding of so many phases and poles occurs.
type poleCount struct {
	phases uint8
	poles  uint8
	share  float64
}

// kappaPrior and its weight in pairs of records: most records of one lamination have the same poles.
const (
	kappaPrior  = 1.0
	kappaWeight = 20.0
)

// learnPoles counts, smooths with what is common practice, and learns how much records of one
// lamination agree.
func (x *Index) learnPoles() poleTable {
	t := poleTable{list: map[gapKey][]poleCount{}, total: map[gapKey]float64{}}
	same, pairs, base := 0.0, 0.0, 0.0
	for _, b := range x.buckets {
		key := gapKey{b.rotor, b.slots}
		counts := priorPoles(b.rotor, int(b.slots))
		from, to := x.recordsOf(int(b.from), int(b.to))
		for r := from; r < to; r++ {
			if p := x.recs[r].poles; p > 0 {
				counts = addPoles(counts, x.phasesOfRecord(r), p, 1)
			}
		}
		sum := 0.0
		for _, c := range counts {
			sum += c.share
		}
		square := 0.0
		for i := range counts {
			counts[i].share /= sum
			square += counts[i].share * counts[i].share
		}
		slices.SortFunc(counts, func(p, q poleCount) int {
			switch {
			case p.share > q.share:
				return -1
			case p.share < q.share:
				return 1
			}
			return int(p.poles) + 256*int(p.phases) - int(q.poles) - 256*int(q.phases)
		})
		t.list[key], t.total[key] = exact(counts), sum
		s, n := x.agreement(int(b.from), int(b.to))
		same, pairs, base = same+s, pairs+n, base+square*n
	}
	t.kappa = kappaPrior
	if pairs > 0 && same > base {
		k := (pairs - same) / (same - base)
		k = min(max(k, 0.1), 20)
		t.kappa = (kappaWeight*kappaPrior + pairs*k) / (kappaWeight + pairs)
	}
	return t
}

// recordsOf is the run of records of the laminations from..to-1.
func (x *Index) recordsOf(from, to int) (int, int) {
	return int(x.core.recStart[x.lam.coreStart[from]]), int(x.core.recStart[x.lam.coreStart[to]])
}

func (x *Index) phasesOfRecord(r int) uint8 { return uint8(x.designs[x.recs[r].design].phases) }

// agreement counts how often two neighbouring records of one lamination have the same phases and poles.
func (x *Index) agreement(from, to int) (same, pairs float64) {
	for l := from; l < to; l++ {
		a, b := x.recordsOf(l, l+1)
		for r := a + 1; r < b; r++ {
			pairs++
			if x.recs[r].poles == x.recs[r-1].poles && x.phasesOfRecord(r) == x.phasesOfRecord(r-1) {
				same++
			}
		}
	}
	return same, pairs
}

// addPoles adds weight to one pair.
func addPoles(counts []poleCount, phases, poles uint8, w float64) []poleCount {
	for i := range counts {
		if counts[i].phases == phases && counts[i].poles == poles {
			counts[i].share += w
			return counts
		}
	}
	return append(counts, poleCount{phases, poles, w})
}

// priorPoles is one record's worth of common practice: cage motors of 2 to 8 poles inside, fans
// with about as many poles as slots in a ring outside.
func priorPoles(rotor uint8, slots int) []poleCount {
	var out []poleCount
	if rotor == rotorOutside {
		even := uint8(min(max(slots-slots%2, 2), 72))
		out = append(out, poleCount{1, even, 0.8})
		if half := uint8(max(int(even)/4*2, 2)); half != even {
			out = append(out, poleCount{1, half, 0.1})
		}
		return append(out, poleCount{3, even, 0.05})
	}
	for _, p := range [...]poleCount{{1, 4, 0.33}, {1, 2, 0.22}, {1, 6, 0.1}, {1, 8, 0.04}, {3, 4, 0.14}, {3, 2, 0.09}, {3, 6, 0.05}, {3, 8, 0.03}} {
		if int(p.poles)*3/2 <= slots || p.poles == 2 {
			out = append(out, p)
		}
	}
	return out
}

// polesAt lists (phases, poles) with their shares for a ring; never empty.
func (m *model) polesAt(rotor uint8, slots uint16) []poleCount {
	if l := m.poles.list[gapKey{rotor, slots}]; len(l) > 0 {
		return l
	}
	return priorPoles(rotor, int(slots))
}
