package match

import (
	"math"

	"statorbook/internal/stator"
	"statorbook/internal/winding"
)

// setMass sets the weighed mass of a coil set beside what turns, form of the mean turn and conductor
// give, while building.
type setMass struct {
	ratio float32 // ln of weighed over computed metal; NaN where it was not weighed
	stack float32 // share of the stack in the mean turn, 0 where nothing was computed
	class uint8   // below massClasses
}

// How well the mass of a set is known: ln, common practice, no source.
const (
	massStep    = 0.002 // of record.massSD
	massWeighed = 0.015 // of a weighing, on top of what the enamel leaves open
	massClasses = 16
)

// priorForm: the form of the mean turn is about right; what it leaves, at a stack of half the mean
// turn, and how that changes with the stack's share.
var priorForm = prior{b: []float64{0, 0}, hold: []float64{3, 6}, sd: 0.08, n: 4}

// newSetMass compares weighed and computed metal of a set, g, 0 where not known.
func newSetMass(set *winding.CoilSet, core *stator.Core, mlt, computed, weighed float64) setMass {
	m := setMass{ratio: float32(math.NaN())}
	if set.Ring == winding.RingBack {
		m.class |= 1
	}
	if set.Pattern != nil && set.Pattern.Kind == winding.Tooth {
		m.class |= 2
	}
	if set.Role.IsPhase() {
		m.class |= 4
	}
	if core.RotorPosition == stator.RotorOutside {
		m.class |= 8
	}
	if !(computed > 0) || !(mlt > 0) {
		return m
	}
	m.stack = float32(2 * core.StackLength.Value / mlt)
	if weighed > 0 {
		m.ratio = float32(math.Log(weighed / computed))
	}
	return m
}

func (m *setMass) features() [2]float64 { return [2]float64{1, float64(m.stack) - 0.5} }

// correctMasses learns from the weighed sets how far the form of the mean turn is off, and puts right
// the masses of those that nobody weighed.
func (b *Builder) correctMasses(x *Index, o *order) {
	var table [massClasses]rows
	for c := range table {
		table[c].p = 2
	}
	for _, i := range strideSample(len(o.recs), 20000) {
		for k := range b.recs[o.recs[i]].mass {
			if m := &b.recs[o.recs[i]].mass[k]; m.stack > 0 {
				f := m.features()
				table[m.class].add(f[:], float64(m.ratio), 1)
			}
		}
	}
	var fit [massClasses]linear
	for c := range fit {
		fit[c] = table[c].fit(priorForm)
	}
	inParts(len(o.recs), func(_, from, to int) {
		for i := from; i < to; i++ {
			for k := range b.recs[o.recs[i]].mass {
				x.recs[i].settleMass(k, &b.recs[o.recs[i]].mass[k], &fit)
			}
		}
	})
}

// settleMass puts a computed mass right and notes how well the mass is known.
func (r *record) settleMass(k int, m *setMass, fit *[massClasses]linear) {
	sd := massWeighed
	if m.stack > 0 && math.IsNaN(float64(m.ratio)) {
		at := &r.massMain
		if k == 1 {
			at = &r.massAux
		}
		f := m.features()
		if ln, ok := unpackLog(*at); ok {
			*at = packLog(math.Exp(ln + fit[m.class].at(f[:])))
		}
		sd = fit[m.class].sd
	}
	r.massSD[k] = uint8(min(max(math.Round(sd/massStep), 1), math.MaxUint8))
}
