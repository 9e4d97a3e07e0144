package match

import (
	"math"

	"statorbook/internal/winding"
)

// observeRemains splits the components by what the remains may be and updates each.
func (x *Index) observeRemains(p *prepared, c *context, out []part, start int) []part {
	if len(p.remains.scraps)+len(p.remains.masses)+len(p.remains.coils) == 0 {
		return out
	}
	for i := range p.remains.scraps {
		out = x.splitScrap(&p.remains.scraps[i], c, out, start)
	}
	for i := range p.remains.masses {
		out = x.splitMass(&p.remains.masses[i], maxRemains+i, c, out, start)
	}
	for i := range p.remains.coils {
		out = x.observeCoil(&p.remains.coils[i], i, c, out, start)
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
	mean := x.model.aux.area[c.site.rotor].mean
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
		aux := x.expectOn(c, q.g.phases, q.g.poles)[tAuxArea]
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
					f := g.observe(y-mean-aux.mean, 0, 1, 4*o.v+aux.v)
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
func (x *Index) splitMass(q *massQuery, item int, c *context, out []part, start int) []part {
	old := append([]part(nil), out[start:]...)
	out = out[:start]
	usual, usualAll := x.model.mass[c.site.rotor].mean, x.model.aux.mass[c.site.rotor].mean
	for _, o := range old {
		asRead := 1.0 // density of the ratio
		e := meant{}
		t := x.expectOn(c, o.g.phases, o.g.poles)
		rest := c.site.lnMass(0, 0, float64(o.g.poles)) + usual + t[tMass].mean
		v := t[tMass].v + sq(q.sd)
		all := usualAll + t[tAuxMass].mean                                                      // ln(all/main copper)
		share, sdShare := math.Log(math.Max(math.Expm1(all), 0.05)), 2*math.Sqrt(t[tAuxMass].v) // ln auxiliary/main copper
		switch {
		case q.which == massOfAll && o.g.phases == 3:
			rest += math.Log(3)
		case q.which == massOfAll:
			rest, v = rest+all, v+t[tAuxMass].v
		case q.which == massOfAux:
			rest, v = rest+share, v+sq(sdShare)
		case q.which == massOfPair:
			rest, v = rest+share/2, v-sq(q.sd)/2+sq(sdShare/2)
			e.ratio, e.vr = share, 2*sq(q.sd)+sq(sdShare)
			asRead = ratioDensity(q.ratio-e.ratio, e.vr)
		}
		e.ln, e.v = rest, v
		out = o.splitSlips(&q.otherQuery, 1, &e, item, out)
		o.w *= asRead
		for _, w := range weighings {
			n := o
			n.w *= (1 - massWild - plateSlipRate) * w.share * n.g.observe(q.ln-rest-w.mean, 1, 1, v+w.sd*w.sd)
			out = append(out, n)
		}
		o.w *= massWild * wildDensity
		out = append(out, o)
	}
	return pruneParts(out, start, partCut)
}

// observeCoil updates each component by the counted turns of one coil, and splits off what a slip makes of it.
func (x *Index) observeCoil(q *coilQuery, item int, c *context, out []part, start int) []part {
	for i, end := start, len(out); i < end; i++ {
		o := out[i]
		mean, sd := x.coilShare(c.site.rotor, o.g.phases, o.g.poles, uint16(c.site.slots))
		if q.role == winding.Auxiliary && o.g.phases == 1 {
			t := x.expectOn(c, o.g.phases, o.g.poles)[tAuxTurns]
			mean, sd = mean+x.model.aux.turns[c.site.rotor].mean+t.mean, math.Sqrt(sd*sd+t.v)
		}
		v := sq(sd) + sq(q.sd)
		out = o.splitSlips(&q.otherQuery, 0, &meant{ln: mean, v: v}, item, out)
		out[i].w *= (1-coilWild-plateSlipRate)*out[i].g.observe(q.ln-mean, 1, 0, v) + coilWild*wildDensity
	}
	return out
}

// coilShare is mean and spread of ln(turns of one coil / series turns) among windings of a kind.
func (x *Index) coilShare(rotor, phases, poles uint8, slots uint16) (mean, sd float64) {
	key := kwKey{rotor, phases, poles, slots}
	if e, ok := x.model.kw.list[key]; ok {
		return e.coilMean, e.coilSD
	}
	return coilPrior(key), coilSpread
}
