package match

import (
	"math"
	"slices"
)

// How firmly the prior spreads are held, in records (common practice, no source; soon outweighed): a
// record's own part is two thirds of the variance, and never quite all.
const (
	traitHold     = 4.0
	traitOwnShare = 2.0 / 3
	traitOwnMost  = 0.98
	traitLeast    = 8      // a kind of fewer records has the spread of its class
	traitTail     = 0.16   // the spread is told by the middle two thirds of the records: one standard
	traitTailZ    = 0.9945 // deviation of a normal distribution, and more of a class of two purposes
)

// traitPrior is the spread of a trait as its regression left it.
func (m *model) traitPrior(k int, rotor uint8) kwPrior {
	switch k {
	case tPower:
		return kwPrior{0, m.plate.power.sd}
	case tCurrent:
		return kwPrior{0, m.plate.current.sd}
	case tCap:
		return kwPrior{0, m.plate.cap.sd}
	case tSlip:
		return kwPrior{0, m.plate.slip.sd}
	case tAuxTurns:
		return kwPrior{0, m.aux.turns[rotor].sd}
	case tAuxArea:
		return kwPrior{0, m.aux.area[rotor].sd}
	case tAuxMass:
		return kwPrior{0, m.aux.mass[rotor].sd}
	}
	return kwPrior{0, m.mass[rotor].sd}
}

// spreadOf moves a prior to what values show, without their outer sixths; it sorts them.
func spreadOf(v []float64, p kwPrior) kwPrior {
	if len(v) == 0 {
		return p
	}
	slices.Sort(v)
	low, high := v[int(traitTail*float64(len(v)))], v[int((1-traitTail)*float64(len(v)))]
	n, mean := float64(len(v)), 0.0
	for _, x := range v {
		mean += max(min(x, high), low) / n
	}
	sd := (high - low) / (2 * traitTailZ)
	m := (n*mean + traitHold*p.mean) / (n + traitHold)
	all := (n*(sd*sd+sq(mean-m)) + traitHold*(p.sd*p.sd+sq(p.mean-m))) / (n + traitHold)
	return kwPrior{m, math.Sqrt(all)}
}

// learnTraits learns the spreads by class and kind, and what records of one lamination do not share.
func (x *Index) learnTraits(sample []int, sites []site) {
	m := &x.model.traits
	rows := make([][nTraits]float64, len(sample))
	byKind := map[kwKey]*[nTraits][]float64{}
	var byClass [4][nTraits][]float64
	for i, r := range sample {
		rec := &x.recs[r]
		rows[i] = x.traitsOfRecord(rec, &sites[i])
		key := x.windingKind(rec, &sites[i])
		if byKind[key] == nil {
			byKind[key] = &[nTraits][]float64{}
		}
		for k, v := range rows[i] {
			if !math.IsNaN(v) {
				byKind[key][k] = append(byKind[key][k], v)
				class := &byClass[kwClass(key.rotor, key.phases)]
				class[k] = append(class[k], v)
			}
		}
	}
	for c := range m.class {
		for k := range nTraits {
			m.class[c].set(k, spreadOf(byClass[c][k], x.model.traitPrior(k, uint8(c/2))))
		}
	}
	m.kind = map[kwKey]*traitSpreads{}
	for key, list := range byKind {
		if kindRecords(list) < traitLeast {
			continue
		}
		out := new(traitSpreads)
		for k := range out {
			out.set(k, spreadOf(list[k], m.class[kwClass(key.rotor, key.phases)].get(k)))
		}
		m.kind[key] = out
	}
	x.learnOwn(sample, sites, rows)
}

// kindRecords is how many records of a kind tell something.
func kindRecords(list *[nTraits][]float64) (n int) {
	for k := range list {
		n = max(n, len(list[k]))
	}
	return n
}

// learnOwn learns what records of one lamination do not share, from how far they are from their mean.
func (x *Index) learnOwn(sample []int, sites []site, rows [][nTraits]float64) {
	m := &x.model.traits
	var within [nTraits][]float64
	for from := 0; from < len(sample); {
		l := x.lamOf(x.coreOfRecord(sample[from]))
		to := from
		var sum, n [nTraits]float64
		for ; to < len(sample) && x.lamOf(x.coreOfRecord(sample[to])) == l; to++ {
			list := m.of(x.windingKind(&x.recs[sample[to]], &sites[to]))
			for k := range nTraits {
				rows[to][k] -= list.get(k).mean
				if v := rows[to][k]; !math.IsNaN(v) {
					sum[k], n[k] = sum[k]+v, n[k]+1
				}
			}
		}
		for ; from < to; from++ {
			for k, v := range rows[from] {
				if !math.IsNaN(v) && n[k] > 1 {
					within[k] = append(within[k], (v-sum[k]/n[k])*math.Sqrt(n[k]/(n[k]-1)))
				}
			}
		}
	}
	for k := range nTraits {
		prior := kwPrior{0, math.Sqrt(traitOwnShare) * x.model.traitPrior(k, rotorInside).sd}
		m.own[k] = sq(spreadOf(within[k], prior).sd)
	}
}
