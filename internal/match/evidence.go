package match

import (
	"math"

	"statorbook/internal/winding"
)

// part is one component of the winding posterior: a normal with its weight, of one context.
type part struct {
	w   float64
	ctx int32
	g   gauss
}

// designCut drops designs that are so much less likely than the best of their context.
const designCut = 3e-4

// evaluate computes the evidence of nameplate and remains in a context and appends the components
// of its winding to out, weights unnormalised (they sum to the evidence).
func (x *Index) evaluate(p *prepared, w *work, c *context, ci int32, out []part) []part {
	start := len(out)
	best := 0.0
	constant := x.constantFactor(p)
	for _, pc := range c.poles {
		base := pc.share * p.polesFactor(int(pc.poles)) * constant
		if base == 0 {
			continue
		}
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
			lnPower, vPower, f := x.plateEvidence(p, &c.site, ds, float64(pc.poles))
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
		l *= 0.3
	}
	if t := p.q.MotorType; t != "" && t != "unknown" {
		l *= 0.6
	}
	return l
}

// plateEvidence is the likelihood of power, current, capacitor and speed for a design on a site,
// and what then is known of the power: ln(W/200) and its variance, 0 if it was read.
func (x *Index) plateEvidence(p *prepared, s *site, d *design, poles float64) (lnPower, variance, l float64) {
	m, pl := &x.model.plate, &p.plate
	l = 1
	var fp [nPowerX]float64
	s.powerX(poles, d.frequency, d.phases, &fp)
	lnPower, variance = m.power.at(fp[:]), sq(m.power.sd)+4*s.rvStack
	if pl.power.given {
		sd := math.Sqrt(variance)
		at := lnPower + math.Log(200)
		typed := platePowerSame*tailedChance(pl.powerFrom, pl.powerTo, at, sd) + (1-platePowerSame)*pl.powerShare
		lnRead, slip := pl.power.ln, 0.0
		if typed < plateSlipRate {
			lnRead, slip = readPower(&pl.power, at, sd, typed)
		}
		l *= typed + slip
		lnPower, variance = lnRead-math.Log(200), 0.002
	}
	if !pl.current.given && !pl.cap.given && !pl.speed.given {
		return lnPower, variance, l
	}
	var fx [nPlateX]float64
	plateX(s.rotor, d.phases, lnPower, d.voltage, d.frequency, poles, &fx)
	g := gauss{n: lnPower, vn: variance}
	if pl.current.given {
		f := g
		rest := m.current.at(fx[:]) - m.current.b[3]*lnPower
		v := sq(m.current.sd) + currentSD*currentSD
		d, all := pl.current.ln-rest-m.current.b[3]*g.n, v+sq(m.current.b[3])*g.vn
		f.observe(pl.current.ln-rest, m.current.b[3], 0, v)
		l *= (1-plateWild)*tailedDensity(d, all) + plateWild*wildDensity
		g = f
	}
	if pl.cap.given {
		l *= x.capEvidence(p, &g, &fx, d)
	}
	if pl.speed.given {
		l *= x.speedEvidence(p, &g, &fx, d, poles)
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
func (x *Index) capEvidence(p *prepared, g *gauss, fx *[nPlateX]float64, d *design) float64 {
	m, pl := &x.model.plate, &p.plate
	if d.phases != 1 {
		return 0.02 * pl.capShare
	}
	b := m.cap.b[3]
	at := m.cap.at(fx[:]) + b*(g.n-fx[3])
	sd := math.Sqrt(sq(m.cap.sd) + b*b*g.vn)
	chance := tailedChance(pl.capFrom, pl.capTo, at, sd)
	g.observe(pl.cap.ln-(at-b*g.n), b, 0, sq(m.cap.sd)+0.01)
	return plateCapSame*chance + (1-plateCapSame)*pl.capShare
}

// speedEvidence is the density of ln speed: a slip with its own scatter, and the reading's.
func (x *Index) speedEvidence(p *prepared, g *gauss, fx *[nPlateX]float64, d *design, poles float64) float64 {
	m, pl := &x.model.plate, &p.plate
	slip := 1 - math.Exp(pl.speed.ln)*poles/(120*d.frequency)
	wild := plateWild * wildDensity
	if slip > 0.9 || slip < -0.05 {
		return wild
	}
	slip = max(slip, 0.003)
	at := m.slip.at(fx[:]) + m.slip.b[3]*(g.n-fx[3])
	jac := (1 - slip) / slip
	v := sq(m.slip.sd) + sq(speedSD*jac)
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

// observeRemains splits the components by what the remains may be and updates each.
func (x *Index) observeRemains(p *prepared, c *context, out []part, start int) []part {
	if len(p.remains.scraps)+len(p.remains.masses)+len(p.remains.coils) == 0 {
		return out
	}
	for i := range p.remains.scraps {
		out = x.splitScrap(&p.remains.scraps[i], c, out, start)
	}
	for i := range p.remains.masses {
		out = x.splitMass(&p.remains.masses[i], c, out, start)
	}
	for i := range p.remains.coils {
		x.observeCoil(&p.remains.coils[i], c, out[start:])
	}
	return out
}

// pruneParts drops components that are much lighter than the heaviest, keeping their order and total.
func pruneParts(out []part, start int, cut float64) []part {
	best, sum := 0.0, 0.0
	for i := start; i < len(out); i++ {
		best = max(best, out[i].w)
		sum += out[i].w
	}
	n, kept := start, 0.0
	for i := start; i < len(out); i++ {
		if out[i].w >= cut*best && out[i].w > 0 {
			out[n] = out[i]
			kept += out[i].w
			n++
		}
	}
	if kept > 0 {
		for i := start; i < n; i++ {
			out[i].w *= sum / kept
		}
	}
	return out[:n]
}

// partCut drops split components.
const partCut = 1e-3

// splitScrap replaces each component by one for every way to read the scrap.
func (x *Index) splitScrap(s *scrapQuery, c *context, out []part, start int) []part {
	old := append([]part(nil), out[start:]...)
	out = out[:start]
	aux := x.model.aux.area[c.site.rotor]
	for _, q := range old {
		mainW, auxW := 1.0, 0.0
		if q.g.phases == 1 {
			switch s.role {
			case winding.Auxiliary:
				mainW, auxW = 0, 1
			case "":
				mainW, auxW = mainShare, 1-mainShare
			}
		}
		table := &x.model.strands[areaBin(q.g.a)]
		for wires := 1; wires <= maxWires; wires++ {
			share := table[wires-1]
			if s.wires > 0 {
				share = pick(min(s.wires, maxWires) == wires, 0.95, 0.05*share)
			}
			if share < 0.01 {
				continue
			}
			for _, o := range s.options {
				y := 2*o.lnD + math.Log(math.Pi/4*float64(wires))
				jac := 2 / math.Exp(o.lnD) // d ln area / d mm
				if mainW*o.w > 0 {
					g := q.g
					f := g.observe(y, 0, 1, 4*o.v)
					out = append(out, part{w: q.w * (1 - scrapWild) * mainW * share * o.w * f * jac, ctx: q.ctx, g: g})
				}
				if auxW*o.w > 0 {
					g := q.g
					f := g.observe(y-aux.mean, 0, 1, 4*o.v+sq(aux.sd))
					out = append(out, part{w: q.w * (1 - scrapWild) * auxW * share * o.w * f * jac, ctx: q.ctx, g: g})
				}
			}
		}
		q.w *= scrapWild * wildDensity / s.x
		out = append(out, q)
	}
	return pruneParts(out, start, partCut)
}

// splitMass replaces each component by one for all copper and one for some lost.
func (x *Index) splitMass(q *massQuery, c *context, out []part, start int) []part {
	old := append([]part(nil), out[start:]...)
	out = out[:start]
	m := x.model.mass[c.site.rotor]
	for _, o := range old {
		rest := c.site.lnMass(0, 0, float64(o.g.poles)) + m.mean
		v := sq(m.sd) + sq(q.sd)
		switch aux := x.model.aux.mass[c.site.rotor]; {
		case o.g.phases == 3:
			rest += math.Log(3)
		case q.which == 2:
			rest, v = rest+aux.mean, v+sq(aux.sd)
		case q.which == 1: // the auxiliary's share of the main copper
			share := math.Expm1(aux.mean)
			rest, v = rest+math.Log(math.Max(share, 0.05)), v+sq(2*aux.sd)
		}
		for lost := range 2 {
			g, w, y, vy := o.g, o.w*(1-massWild)*(1-massLost), q.ln-rest, v
			if lost == 1 {
				w, y, vy = o.w*(1-massWild)*massLost, y-lostMean, v+lostSD*lostSD
			}
			w *= g.observe(y, 1, 1, vy)
			out = append(out, part{w: w, ctx: o.ctx, g: g})
		}
		o.w *= massWild * wildDensity
		out = append(out, o)
	}
	return pruneParts(out, start, partCut)
}

// observeCoil updates each component by the counted turns of one coil.
func (x *Index) observeCoil(q *coilQuery, c *context, parts []part) {
	for i := range parts {
		g := &parts[i].g
		mean, sd := x.coilShare(c.site.rotor, g.phases, g.poles, uint16(c.site.slots))
		if q.role == winding.Auxiliary && g.phases == 1 {
			t := x.model.aux.turns[c.site.rotor]
			mean, sd = mean+t.mean, math.Hypot(sd, t.sd)
		}
		parts[i].w *= (1-coilWild)*g.observe(q.ln-mean, 1, 0, sq(sd)+sq(q.sd)) + coilWild*wildDensity
	}
}

// coilShare is mean and spread of ln(turns of one coil / series turns) among windings of a kind.
func (x *Index) coilShare(rotor, phases, poles uint8, slots uint16) (mean, sd float64) {
	key := kwKey{rotor, phases, poles, slots}
	if e, ok := x.model.kw.list[key]; ok {
		return e.coilMean, e.coilSD
	}
	return coilPrior(key), coilSpread
}
