package match

import (
	"math"

	"statorbook/internal/winding"
)

// kwKey names a kind of winding on a kind of ring.
type kwKey struct {
	rotor, phases, poles uint8
	slots                uint16
}

// kwEntry is what the catalogue says of windings of one kind: mean and spread of ln winding factor,
// and records to copy the pattern from.
type kwEntry struct {
	mean, sd         float64
	coilMean, coilSD float64 // of ln(turns of one coil / series turns)
	examples         []uint32
}

// kwTable holds the kinds.
type kwTable struct {
	list  map[kwKey]kwEntry
	prior [4]kwPrior // by class: inside one-phase, inside three-phase, outside one-phase, outside three-phase
}

// kwPrior is a mean and spread of ln kw.
type kwPrior struct{ mean, sd float64 }

// priorKw: concentric single-phase windings 0.75 to 0.95, three-phase 0.9 to 0.97, fans with one slot
// per pole 1 (derived, see package winding; the spreads are common practice).
var priorKw = [4]kwPrior{{math.Log(0.86), 0.08}, {math.Log(0.945), 0.025}, {0, 0.03}, {math.Log(0.94), 0.05}}

const (
	kwHold     = 2.0 // records that the class prior is worth for one kind
	maxExample = 48  // records kept to copy patterns from
)

func kwClass(rotor, phases uint8) int {
	c := 0
	if phases == 3 {
		c = 1
	}
	if rotor == rotorOutside {
		c += 2
	}
	return c
}

// learnKw gathers winding factors by kind.
func (x *Index) learnKw(sample []int, sites []site) kwTable {
	t := kwTable{list: map[kwKey]kwEntry{}}
	byKind := map[kwKey][]float64{}
	var byClass [4][]float64
	for i, r := range sample {
		rec := &x.recs[r]
		ln, ok := unpackLog(rec.kwMain)
		if rec.poles == 0 {
			continue
		}
		key := kwKey{sites[i].rotor, x.phasesOfRecord(r), rec.poles, uint16(sites[i].slots)}
		e := t.list[key]
		if len(e.examples) < maxExample && x.series(rec.turnsMain) > 0 {
			e.examples = append(e.examples, uint32(r))
		}
		t.list[key] = e
		if ok && ln > math.Log(0.2) {
			byKind[key] = append(byKind[key], ln)
			byClass[kwClass(key.rotor, key.phases)] = append(byClass[kwClass(key.rotor, key.phases)], ln)
		}
	}
	for c := range byClass {
		t.prior[c].mean, t.prior[c].sd = meanSD(byClass[c], priorKw[c].mean, priorKw[c].sd, 5)
	}
	for key, e := range t.list {
		p := t.prior[kwClass(key.rotor, key.phases)]
		e.examples = exact(e.examples)
		e.mean, e.sd = plainMeanSD(byKind[key], p.mean, p.sd, kwHold)
		e.coilMean, e.coilSD = x.learnCoils(key, e.examples)
		t.list[key] = e
	}
	return t
}

// learnCoils compares the turns of single coils with the turns in series, among the examples of a kind.
func (x *Index) learnCoils(key kwKey, examples []uint32) (mean, sd float64) {
	var v []float64
	for _, r := range examples {
		rec := &x.recs[r]
		x.eachCoil(int(r), func(role winding.Role, turns float64) {
			if role == winding.Main || role.IsPhase() {
				v = append(v, math.Log(turns/float64(x.series(rec.turnsMain))))
			}
		})
	}
	return plainMeanSD(v, coilPrior(key), coilSpread, 2)
}

// coilPrior is ln(turns of one coil / series turns) where no pattern is known: two coils a pole, or a
// third of the slots in a phase.
func coilPrior(key kwKey) float64 {
	if key.phases == 1 {
		return -math.Log(2 * float64(key.poles))
	}
	return -math.Log(math.Max(float64(key.poles), float64(key.slots)/6))
}

// plainMeanSD is mean and spread held by a prior. The spread rests on the mean absolute deviation:
// throws come in a few kinds, whose median would hide the rest and whose square would overstate them.
func plainMeanSD(v []float64, m0, s0, n0 float64) (mean, sd float64) {
	n := float64(len(v))
	sum := n0 * m0
	for _, x := range v {
		sum += x
	}
	mean = sum / (n + n0)
	dev := n0 * (s0/meanDevToSD + math.Abs(m0-mean))
	for _, x := range v {
		dev += math.Abs(x - mean)
	}
	return mean, meanDevToSD * dev / (n + n0)
}

// meanDevToSD is √(π/2): standard deviation over mean absolute deviation of a normal distribution.
const meanDevToSD = 1.2533141373155003

// at gives mean and spread of ln kw of a kind.
func (t *kwTable) at(rotor, phases, poles uint8, slots uint16) (mean, sd float64) {
	if e, ok := t.list[kwKey{rotor, phases, poles, slots}]; ok {
		return e.mean, e.sd
	}
	p := t.prior[kwClass(rotor, phases)]
	return p.mean, p.sd
}
