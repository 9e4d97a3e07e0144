package match

import (
	"math"
)

// part is one component of the winding posterior: a normal with its weight, of one context.
type part struct {
	w    float64
	ctx  uint16 // of some dozens
	g    gauss
	read [maxRemains + maxWeighings]uint16 // how each coil and weighing is read: 0 = as typed, else 1 + place of the other reading
}

// designCut drops designs that are so much less likely than the best of their context.
const designCut = 3e-4

// evaluate computes the evidence of nameplate and remains in a context and appends the components
// of its winding to out, weights unnormalised (they sum to the evidence).
func (x *Index) evaluate(p *prepared, w *work, c *context, ci uint16, out []part) []part {
	start := len(out)
	best := 0.0
	constant := x.constantFactor(p)
	var powers []powerEvidence // the first is the one that was asked last
	for _, pc := range c.poles {
		base := pc.share * p.polesFactor(int(pc.poles)) * constant
		if base == 0 {
			continue
		}
		powers = powers[:0]
		lnB, lnYT, tooth := c.site.reference(float64(pc.poles))
		kwMean, kwSD := x.model.kw.at(c.site.rotor, pc.phases, pc.poles, uint16(c.site.slots))
		for d := range x.designs {
			ds := &x.designs[d]
			if ds.phases != int(pc.phases) || x.model.design[d] == 0 || ds.frequency == 0 {
				continue
			}
			volts := ds.phaseVoltage()
			wd := base * x.model.design[d] * w.designs[d]
			if !(volts > 0) || wd < designCut*best {
				continue
			}
			traits := x.expectOn(c, pc.phases, pc.poles)
			powers = x.powerOn(p, &c.site, traits, ds, float64(pc.poles), powers)
			lnPower, vPower, f := x.plateEvidence(p, &c.site, traits, ds, float64(pc.poles), &powers[0])
			wd *= f
			if wd < designCut*best {
				continue
			}
			best = max(best, wd)
			t := turnsTask{c: c, poles: pc.poles, design: ds, volts: volts, lnB: lnB, lnYT: lnYT, tooth: tooth, kwMean: kwMean, kwSD: kwSD, lnPower: lnPower, vPower: vPower}
			g := x.predictTurns(&t)
			g.design = uint16(d)
			out = append(out, part{w: wd, ctx: ci, g: g})
		}
	}
	out = x.observeRemains(p, c, out, start)
	for i := start; i < len(out); i++ {
		c.evidence += out[i].w
	}
	return out
}

// constantFactor is what nameplate fields of no use for the size contribute where no record says anything.
func (x *Index) constantFactor(p *prepared) float64 {
	l := 1.0
	if p.plate.class != "" {
		l *= x.classShare(p.plate.class)
	}
	if p.plate.taps > 0 {
		l *= tapsUsual
	}
	if t := p.q.MotorType; t != "" && t != "unknown" {
		l *= motorUsual
	}
	return l
}

// powerEvidence is the likelihood of the power on a site, and what then is known of it: ln(W/200) and
// its variance, next to nothing if it was read. Designs of one frequency and phases share it.
type powerEvidence struct {
	frequency               float64
	phases                  int
	lnPower, variance, like float64
}

// powerOn finds the evidence of the power for a design among those that were worked out, or works it out.
func (x *Index) powerOn(p *prepared, s *site, t *expected, d *design, poles float64, known []powerEvidence) []powerEvidence {
	for i := range known {
		if k := &known[i]; k.frequency == d.frequency && k.phases == d.phases {
			known[0], known[i] = known[i], known[0]
			return known
		}
	}
	m, pl := &x.model.plate, &p.plate
	e := powerEvidence{frequency: d.frequency, phases: d.phases, like: 1}
	var fp [nPowerX]float64
	s.powerX(poles, d.frequency, d.phases, &fp)
	e.lnPower, e.variance = m.power.at(fp[:])+t[tPower].mean, t[tPower].v+4*s.rvStack
	if pl.power.given {
		sd := math.Sqrt(e.variance)
		at := e.lnPower + math.Log(200)
		typed := platePowerSame*tailedChance(pl.powerFrom, pl.powerTo, at, sd) + (1-platePowerSame)*pl.powerShare
		lnRead, slip := pl.power.ln, 0.0
		if typed < plateSlipRate {
			lnRead, slip = readPower(&pl.power, at, sd, typed)
		}
		e.like = typed + slip
		e.lnPower, e.variance = lnRead-math.Log(200), 0.002
	}
	known = append(known, e)
	known[0], known[len(known)-1] = known[len(known)-1], known[0]
	return known
}

// plateEvidence is the likelihood of power, current, capacitor and speed for a design on a site, given
// that of the power, and what then is known of the power: ln(W/200) and its variance.
func (x *Index) plateEvidence(p *prepared, s *site, t *expected, d *design, poles float64, power *powerEvidence) (lnPower, variance, l float64) {
	m, pl := &x.model.plate, &p.plate
	lnPower, variance, l = power.lnPower, power.variance, power.like
	if !pl.current.given && !pl.cap.given && !pl.speed.given {
		return lnPower, variance, l
	}
	var fx [nPlateX]float64
	plateX(s.rotor, d.phases, lnPower, d.voltage, d.frequency, poles, &fx)
	g := gauss{n: lnPower, vn: variance}
	if pl.current.given {
		f := g
		rest := m.current.at(fx[:]) - m.current.b[3]*lnPower + t[tCurrent].mean
		v := t[tCurrent].v + currentSD*currentSD
		d, all := pl.current.ln-rest-m.current.b[3]*g.n, v+sq(m.current.b[3])*g.vn
		f.observe(pl.current.ln-rest, m.current.b[3], 0, v)
		l *= (1-plateWild)*tailedDensity(d, all) + plateWild*wildDensity
		g = f
	}
	if pl.cap.given {
		l *= x.capEvidence(p, t, &g, &fx, d)
	}
	if pl.speed.given {
		l *= x.speedEvidence(p, t, &g, &fx, d, poles)
	}
	return g.n, g.vn, l
}

// The plate's regressions leave a tenth of the motors further out than a normal distribution would
// (measured on simulated worlds of our own).
const (
	plateTailShare = 0.10
	plateTailScale = 2.5
)

// tailedChance is the chance of an interval under the normal with its wide tail.
func tailedChance(from, to, mean, sd float64) float64 {
	a, b := (from-mean)/sd, (to-mean)/sd
	return (1-plateTailShare)*(phi(b)-phi(a)) + plateTailShare*(phi(b/plateTailScale)-phi(a/plateTailScale))
}

// tailedDensity is the density under the normal with its wide tail.
func tailedDensity(d, v float64) float64 {
	return (1-plateTailShare)*normal(d, v) + plateTailShare*normal(d, plateTailScale*plateTailScale*v)
}

// seriesStep is about the width in the logarithm that one power of the preferred series stands for.
const seriesStep = 0.2

// readPower weighs the slips of a power that does not fit as typed: ln of what was probably meant,
// and the chance of all slips.
func readPower(f *figure, mean, sd, typed float64) (ln, chance float64) {
	ln, best := f.ln, typed
	for i := range f.slips {
		c := plateSlipRate * f.slips[i].share * seriesStep * normal(f.slips[i].ln-mean, sd*sd)
		chance += c
		if c > best {
			best, ln = c, f.slips[i].ln
		}
	}
	return ln, chance
}

// capEvidence is the chance of the capacitor, and tells of the power.
func (x *Index) capEvidence(p *prepared, t *expected, g *gauss, fx *[nPlateX]float64, d *design) float64 {
	m, pl := &x.model.plate, &p.plate
	if d.phases != 1 {
		return 0.02 * pl.capShare
	}
	b := m.cap.b[3]
	v := t[tCap].v
	at := m.cap.at(fx[:]) + b*(g.n-fx[3]) + t[tCap].mean
	sd := math.Sqrt(v + b*b*g.vn)
	chance := tailedChance(pl.capFrom, pl.capTo, at, sd)
	g.observe(pl.cap.ln-(at-b*g.n), b, 0, v+0.01)
	return plateCapSame*chance + (1-plateCapSame)*pl.capShare
}

// speedEvidence is the density of ln speed: a slip with its own scatter, and the reading's.
func (x *Index) speedEvidence(p *prepared, t *expected, g *gauss, fx *[nPlateX]float64, d *design, poles float64) float64 {
	m, pl := &x.model.plate, &p.plate
	slip := 1 - math.Exp(pl.speed.ln)*poles/(120*d.frequency)
	wild := plateWild * wildDensity
	if slip > 0.9 || slip < -0.05 {
		return wild
	}
	slip = max(slip, 0.003)
	at := m.slip.at(fx[:]) + m.slip.b[3]*(g.n-fx[3]) + t[tSlip].mean
	jac := (1 - slip) / slip
	v := t[tSlip].v + sq(speedSD*jac)
	return (1-plateWild)*tailedDensity(math.Log(slip)-at, v)*jac + wild
}

// turnsTask is what a prediction of turns and area needs.
type turnsTask struct {
	c               *context
	poles           uint8
	design          *design
	volts           float64
	lnB, lnYT       float64
	tooth           float64
	kwMean, kwSD    float64
	lnPower, vPower float64
}

// predictTurns gives the normal of ln turns and ln area of one design on a site.
func (x *Index) predictTurns(t *turnsTask) gauss {
	m, s := &x.model, &t.c.site
	k := 0
	if t.vPower < 0.02 {
		k = 1
	}
	var f [nY]float64
	lnPower := t.lnPower
	if k == 0 {
		lnPower = 0
	}
	s.features(float64(t.poles), t.design.frequency, t.design.phases, t.lnYT, lnPower, &f)
	fam, sp := &t.c.fam[k], &m.spread[k]
	yB := m.turns[k].at(f[:]) + fam.b
	yF := m.fill[k].at(f[:]) + fam.f
	n := s.lnTurnsFactor(t.volts, t.design.frequency, float64(t.poles)) - t.lnB - yB - t.kwMean
	fill := yF + s.lnSlotRoom - math.Log(2*float64(phaseCount(t.design.phases)))
	vFill := sp.recF + fam.vf + s.rvArea
	vn := sp.recB + fam.vb + t.kwSD*t.kwSD + sq(t.tooth)*s.rvTooth + sq(1-t.tooth)*s.rvYoke + s.rvStack
	cBF := sp.recBF + fam.cbf
	return gauss{n: n, a: fill - n, vn: vn, va: vFill + vn + 2*cBF, cna: -cBF - vn, phases: uint8(t.design.phases), poles: t.poles}
}
