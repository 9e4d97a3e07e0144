package match

import (
	"math"
)

// The prior weights of the hypotheses: this record; known core, other winding; known lamination,
// other stack; not in the catalogue (common practice, no source; wrong by a factor 3 costs 0.04 of
// log loss on simulated worlds of our own). A small catalogue knows less: the first three shrink by n/(n+20).
const (
	priorRecord  = 0.66
	priorWinding = 0.07
	priorStack   = 0.10
	priorHold    = 20.0
	copyShare    = 0.30 // of new laminations that are near-copies of a catalogued one
	followCores  = 12
	followLams   = 12
	followCopies = 5
)

// hypothesis numbers.
const (
	hypWinding = 1
	hypStack   = 2
	hypNew     = 3
)

// setRight puts right that the dimensions of stators that are not in the catalogue come out too
// unlikely: their density is a product of regressions, each a little broader than what real families
// do. On seven simulated worlds (five of our own, two made by others) "not listed" was said too seldom;
// with these factors stated and true shares agree better on all of them, and log loss falls or stays.
var setRight = [...]float64{hypWinding: 1, hypStack: 1.8, hypNew: 2.2}

// context is one core on which a winding that is not in the catalogue is predicted.
type context struct {
	hyp      uint8
	weight   float64 // prior × likelihood of the dimensions
	evidence float64 // likelihood of nameplate and remains
	core     int     // place in work.cores before they are sorted, -1 = not catalogued
	lam      int     // catalogued lamination, -1 = none
	site     site
	poles    []poleCount
	fam      [2]famEffect // without and with the power
	traits   *traitSum    // of the lamination whose records tell of power, current and so on, nil = none
	kinds    []kindExpected
}

// famEffect is what a lamination's own windings say of its residuals (best linear unbiased
// prediction): means and variances of the shared parts of y_B and y_F.
type famEffect struct {
	b, f        float64
	vb, vf, cbf float64
}

// famRecords bounds how many records of one lamination are asked.
const famRecords = 64

// familyEffects gives the shared residuals of lamination l; l < 0 gives the prior.
func (x *Index) familyEffects(l int) (out [2]famEffect) {
	for k := range out {
		p := &x.model.spread[k]
		out[k] = famEffect{vb: p.famB, vf: p.famF, cbf: p.famBF}
		if l < 0 || x.lam.fam[k] == nil {
			continue
		}
		if n, b, f := x.lam.fam[k][l].unpack(); n > 0 {
			out[k] = out[k].update(p, n, b, f)
		}
	}
	return out
}

// famSum is the number of residuals of a lamination's records in halves (rewound ones count half),
// and their means in steps of 1/20000.
type famSum struct {
	n    uint16
	b, f int16
}

const famStep = 1.0 / 20000

func packFam(n, b, f float64) famSum {
	pack := func(v float64) int16 { return int16(math.Round(clamp(v/famStep, math.MaxInt16))) }
	return famSum{uint16(min(2*n, math.MaxUint16)), pack(b), pack(f)}
}

func (s famSum) unpack() (n, b, f float64) {
	return float64(s.n) / 2, float64(s.b) * famStep, float64(s.f) * famStep
}

// sumFamilies computes the residual means of all laminations.
func (x *Index) sumFamilies() {
	for k := range x.lam.fam {
		x.lam.fam[k] = make([]famSum, len(x.lam.slots))
	}
	inParts(len(x.lam.slots), func(_, from, to int) {
		for l := from; l < to; l++ {
			var sum [2][3]float64 // weight, b, f
			for c := int(x.lam.coreStart[l]); c < int(x.lam.coreStart[l+1]); c++ {
				x.sumCore(c, &sum)
			}
			for k := range sum {
				if n := sum[k][0]; n > 0 {
					x.lam.fam[k][l] = packFam(n, sum[k][1]/n, sum[k][2]/n)
				}
			}
		}
	})
}

// sumCore adds the residuals of the records of one core, each held within three standard deviations.
func (x *Index) sumCore(c int, sum *[2][3]float64) {
	from, to := int(x.core.recStart[c]), int(x.core.recStart[c+1])
	if from == to {
		return
	}
	s := x.siteOf(c)
	for r := from; r < min(to, from+famRecords); r++ {
		for k := range sum {
			b, f, ok := x.residuals(&x.recs[r], &s, k)
			if !ok {
				continue
			}
			p := &x.model.spread[k]
			w := x.originWeight(&x.recs[r])
			sum[k][0] += w
			sum[k][1] += w * clamp(b, 3*math.Sqrt(p.famB+p.recB))
			sum[k][2] += w * clamp(f, 3*math.Sqrt(p.famF+p.recF))
		}
	}
}

func clamp(v, most float64) float64 { return max(min(v, most), -most) }

// update shrinks the mean of n residuals towards nothing.
func (e famEffect) update(p *spreads, n, b, f float64) famEffect {
	kb, kf := n*p.famB/(n*p.famB+p.recB), n*p.famF/(n*p.famF+p.recF)
	return famEffect{b: kb * b, f: kf * f, vb: p.famB * (1 - kb), vf: p.famF * (1 - kf), cbf: p.famBF * math.Sqrt((1-kb)*(1-kf))}
}

// polesOf mixes a lamination's own counts of (phases, poles) with the general table.
func (x *Index) polesOf(l int) []poleCount {
	m := &x.model
	base := m.polesAt(x.lam.rotor[l], x.lam.slots[l])
	out := make([]poleCount, len(base), len(base)+2)
	copy(out, base)
	sum := 0.0
	for i := range out {
		out[i].share *= m.poles.kappa
		sum += out[i].share
	}
	from, to := x.recordsOf(l, l+1)
	for r := from; r < min(to, from+famRecords); r++ {
		if p := x.recs[r].poles; p > 0 {
			out = addPoles(out, x.phasesOfRecord(r), p, 1)
			sum++
		}
	}
	for i := range out {
		out[i].share /= sum
	}
	return out
}
