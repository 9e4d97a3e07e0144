package match

import "math"

// auxModel is how the auxiliary winding compares with the main one, by class (inside, outside
// rotor): logarithms of turns, area and mass ratios.
type auxModel struct {
	turns, area, mass [2]kwPrior
}

// Priors: the auxiliary has some more turns of thinner wire; in ceiling fans both are alike (common
// practice, no source). mass is ln(all copper / main copper) of a single-phase machine.
var priorAux = auxModel{
	turns: [2]kwPrior{{0.25, 0.25}, {0.05, 0.15}},
	area:  [2]kwPrior{{-0.5, 0.35}, {-0.1, 0.25}},
	mass:  [2]kwPrior{{0.5, 0.15}, {0.68, 0.12}},
}

func (x *Index) learnAux(sample []int, sites []site) auxModel {
	var turns, area, mass [2][]float64
	for i, r := range sample {
		rec := &x.recs[r]
		c := sites[i].rotor
		if m, a := x.series(rec.turnsMain), x.series(rec.turnsAux); m > 0 && a > 0 {
			turns[c] = append(turns[c], math.Log(float64(a/m)))
		}
		if m, a := x.main(rec).area, x.aux(rec).area; m > 0 && a > 0 {
			area[c] = append(area[c], math.Log(float64(a/m)))
		}
		if a, b := recMass(rec, 0), recMass(rec, 1); a > 0 && b > 0 {
			mass[c] = append(mass[c], math.Log(1+b/a))
		}
	}
	out := priorAux
	for c := range turns {
		out.turns[c].mean, out.turns[c].sd = meanSD(turns[c], priorAux.turns[c].mean, priorAux.turns[c].sd, 4)
		out.area[c].mean, out.area[c].sd = meanSD(area[c], priorAux.area[c].mean, priorAux.area[c].sd, 4)
		out.mass[c].mean, out.mass[c].sd = meanSD(mass[c], priorAux.mass[c].mean, priorAux.mass[c].sd, 4)
	}
	return out
}

// recMass is the copper in g of the main (0) or auxiliary (1) set of a record, 0 if not known.
func recMass(r *record, which int) float64 {
	p := r.massMain
	if which == 1 {
		p = r.massAux
	}
	if ln, ok := unpackLog(p); ok {
		return math.Exp(ln)
	}
	return 0
}

// strandTable is how many wires make up one turn, by conductor area: bins of ln mm².
type strandTable [nAreaBins][maxWires]float64

const (
	nAreaBins  = 12
	maxWires   = 4 // 1, 2, 3, and 4 or more wires
	areaBin0   = -5.5
	areaBinLen = 0.6
)

func areaBin(lnArea float64) int {
	return min(max(int(math.Floor((lnArea-areaBin0)/areaBinLen)), 0), nAreaBins-1)
}

// priorStrands: one wire up to about 0.8 mm² (1 mm diameter), then more and more often several.
func priorStrands(bin int) [maxWires]float64 {
	if areaBin0+float64(bin+1)*areaBinLen < math.Log(0.8) {
		return [maxWires]float64{0.96, 0.03, 0.005, 0.005}
	}
	return [maxWires]float64{0.5, 0.3, 0.1, 0.1}
}

// learnWires counts wires per turn by area, and enamel builds.
func (x *Index) learnWires(sample []int) (strandTable, [nBuilds]float64) {
	var t strandTable
	build := [nBuilds]float64{0.1, 1, 1, 0.1, 0.1, 0.1, 0.05}
	for b := range t {
		t[b] = priorStrands(b)
	}
	count := func(c *conductor) {
		if c.area <= 0 || c.wires == 0 {
			return
		}
		t[areaBin(math.Log(float64(c.area)))][min(int(c.wires), maxWires)-1]++
		build[c.build]++
	}
	for _, r := range sample {
		rec := &x.recs[r]
		count(x.main(rec))
		count(x.aux(rec))
	}
	for b := range t {
		sum := 0.0
		for _, n := range t[b] {
			sum += n
		}
		for k := range t[b] {
			t[b][k] /= sum
		}
	}
	sum := 0.0
	for _, n := range build {
		sum += n
	}
	for k := range build {
		build[k] /= sum
	}
	return t, build
}

// massModel is ln of weighed copper over turns × mean turn × area × density, by class.
type massModel [2]kwPrior

var priorMass = massModel{{0, 0.08}, {0, 0.10}}

func (x *Index) learnMass(sample []int, sites []site) massModel {
	var all [2][]float64
	for i, r := range sample {
		rec := &x.recs[r]
		m, n, area := recMass(rec, 0), x.series(rec.turnsMain), x.main(rec).area
		if m > 0 && n > 0 && area > 0 && rec.poles > 0 {
			all[sites[i].rotor] = append(all[sites[i].rotor], math.Log(m)-sites[i].lnMass(math.Log(float64(n)), math.Log(float64(area)), float64(rec.poles)))
		}
	}
	out := priorMass
	for c := range all {
		out[c].mean, out[c].sd = meanSD(all[c], priorMass[c].mean, priorMass[c].sd, 4)
	}
	return out
}

// lnMass is the logarithm of the copper in g of one set from ln turns and ln area, with the mean
// turn of a coil that spans 0.8 of a pole pitch: 2·L + 2.2·arc + 15 mm (the sheet form of package winding).
func (s *site) lnMass(lnN, lnA, poles float64) float64 {
	way := 1.0
	if s.rotor == rotorOutside {
		way = -1
	}
	share := 0.8
	if s.slots/poles < 1.5 {
		share = s.slots / poles / math.Max(1, math.Round(s.slots/poles)) // tooth coils span one slot
	}
	arc := math.Pi * math.Max(s.v[dGap]+way*s.v[dDepth], 0.2*s.v[dGap]) / poles * share
	return lnN + lnA + math.Log((2*s.stack+2.2*arc+15)*8.89e-3)
}
