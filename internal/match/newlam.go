package match

import "math"

// option is one way to read a figure, with its weight (a density of the figure as typed).
type option struct{ value, weight float64 }

// logReading is the density of a reading whose logarithm is predicted as normal(mean, sd): as typed,
// or in one of its alternative readings.
func logReading(r *reading, mean, sd float64) float64 {
	lx := math.Log(r.x)
	v := sd*sd + r.vq[1]/(r.x*r.x)
	d := lx - mean
	p := (1-slipRate)*normal(d, v)/r.x + slipRate*r.broad
	if d*d > farZ*farZ*v {
		for i := range r.alts {
			a := &r.alts[i]
			da := math.Log(a.value) - mean
			if va := sd*sd + r.vq[1]/(a.value*a.value); da*da < altReach*altReach*va {
				p += slipRate * altShare * a.weight * normal(da, va) / a.value
			}
		}
	}
	return p
}

// linReading is the density of a reading that is predicted as normal(mean, v) in mm.
func linReading(r *reading, mean, v float64) float64 {
	l := [nScale]float64{1, 1, 1}
	r.like(mean, v, &l)
	return l[1]
}

// gapOptions lists what the gap diameter of a new lamination may be, each with the density of the
// reading: as typed, an alternative reading, or, if it was not read, a grid over what is usual.
func (x *Index) gapOptions(p *prepared, rotor uint8, slots int, out []option) []option {
	out = out[:0]
	m := &x.model
	r, ok := p.value(dGap)
	if !ok {
		return x.gapGrid(rotor, slots, out)
	}
	rel := math.Sqrt(r.vq[1]) / r.x
	out = append(out, option{r.x, (1-slipRate)*m.gapDensity(rotor, float64(slots), math.Log(r.x), rel)/r.x + slipRate*r.broad})
	best := out[0].weight
	for _, a := range r.alts {
		w := slipRate * altShare * a.weight * m.gapDensity(rotor, float64(slots), math.Log(a.value), 0) / a.value
		if w > 1e-4*best {
			out = append(out, option{a.value, w})
		}
	}
	return out
}

// gapGrid spans the known gap diameters of a slot count, or what the chain expects.
func (x *Index) gapGrid(rotor uint8, slots int, out []option) []option {
	m := &x.model
	c := &m.chain[rotor]
	mean, sd := c.predict(dGap, rotor, chainCentre[rotor][0], 1, float64(slots), &vec{})
	const n = 24
	sum := 0.0
	for i := range n {
		g := mean + sd*(-2.6+5.2*float64(i)/(n-1))
		w := m.gapDensity(rotor, float64(slots), g, 5.2*sd/(n-1))
		out = append(out, option{math.Exp(g), w})
		sum += w
	}
	for i := range out {
		out[i].weight /= sum
	}
	return out
}

// newSite is one way in which the stator may be a new lamination.
type newSite struct {
	weight float64
	slots  int
	poles  uint8
	gap    float64
}

// miscountCut drops slot counts that a miscount hardly explains.
const miscountCut = 0.003

// newSites weighs slots, poles and gap diameters of a new lamination by the chain; the weights sum
// to the density of all lamination readings.
func (x *Index) newSites(p *prepared, rotor uint8, out []newSite) []newSite {
	m := &x.model
	c := &m.chain[rotor]
	out = out[:0]
	var gaps []option
	from, to := p.slots-2, p.slots+2
	if p.slots == 0 {
		from, to = x.commonSlots(rotor), 0
		to = from
	}
	chance := func(slots int) float64 {
		ws := m.slotShare(rotor, uint16(slots), x.buckets)
		if p.slots > 0 {
			ws *= slotChance(p.slots, slots)
		}
		return ws
	}
	best := 0.0
	for slots := max(from, 2); slots <= to; slots++ {
		best = max(best, chance(slots))
	}
	for slots := max(from, 2); slots <= to; slots++ {
		ws := chance(slots)
		if ws < miscountCut*best {
			continue
		}
		var share [256]float64
		for _, pc := range m.polesAt(rotor, uint16(slots)) {
			share[pc.poles] += pc.share
		}
		gaps = x.gapOptions(p, rotor, slots, gaps)
		for _, g := range gaps {
			for poles := 2; poles < len(share); poles += 2 {
				if share[poles] <= 0 {
					continue
				}
				w := ws * g.weight * share[poles] * c.rest(p, rotor, float64(poles), g.value, float64(slots))
				out = append(out, newSite{w, slots, uint8(poles), g.value})
			}
		}
	}
	return out
}

// commonSlots is the most usual slot count of a rotor position, of those that somebody counted.
func (x *Index) commonSlots(rotor uint8) int {
	best, n := int(chainCentre[rotor][2]), uint32(0)
	for _, b := range x.buckets {
		if b.rotor == rotor && b.slots >= 2 && b.to-b.from > n {
			best, n = int(b.slots), b.to-b.from
		}
	}
	return best
}

// rest is the density of all lamination readings but the gap diameter, for a new lamination.
func (c *chainFits) rest(p *prepared, rotor uint8, poles, gap, slots float64) float64 {
	l := 1.0
	v := unknownVec()
	v[dGap] = gap
	for i := range p.readings {
		r := &p.readings[i]
		if r.dim == dStack || r.dim == dGap {
			continue
		}
		v[r.dim] = r.x
	}
	for i := range p.readings {
		r := &p.readings[i]
		switch {
		case r.dim == dStack || r.dim == dGap:
		case r.dim == dDepth && c.closed && p.at[dBack] > 0:
			l *= c.depthDensity(p, r, rotor, poles, gap, slots, &v)
		default:
			mean, sd := c.predict(r.dim, rotor, poles, gap, slots, &v)
			if r.dim == dArea && (p.at[dTooth] == 0 || p.at[dDepth] == 0) {
				sd = math.Hypot(sd, 0.15)
			}
			l *= logReading(r, mean, sd)
		}
	}
	return l
}

// depthDensity is the density of the slot depth where the back diameter is known: by closure with
// the back iron, else by the back iron that it leaves.
func (c *chainFits) depthDensity(p *prepared, r *reading, rotor uint8, poles, gap, slots float64, v *vec) float64 {
	back, _ := p.value(dBack)
	wall := math.Abs(back.x-gap)/2 - c.closure
	wallVar := back.vq[1] / 4
	if g, ok := p.value(dGap); ok {
		wallVar += g.vq[1] / 4
	}
	if y, ok := p.value(dYoke); ok {
		return linReading(r, wall-y.x, sq(c.closureSD)+wallVar+y.vq[1])
	}
	mean, sd := c.predict(dYoke, rotor, poles, gap, slots, v)
	density := func(depth float64) float64 {
		y := wall - depth
		if y <= 0.3 {
			return 0
		}
		s2 := sd*sd + (wallVar+r.vq[1]+sq(c.closureSD))/(y*y)
		return normal(math.Log(y)-mean, s2) / y
	}
	l := (1-slipRate)*density(r.x) + slipRate*r.broad
	for _, a := range r.alts {
		l += slipRate * altShare * a.weight * density(a.value)
	}
	return l
}

// siteOfReadings makes the site of a new lamination: the readings where they fit, what the chain or
// a near-copy expects where they do not or are missing.
func (x *Index) siteOfReadings(p *prepared, rotor uint8, slots int, poles, gap float64, copyOf int) site {
	c := &x.model.chain[rotor]
	s := site{slots: float64(slots), rotor: rotor, second: p.ring2 > 0}
	s.v = unknownVec()
	s.v[dGap] = gap
	var rel [nLam]float64
	for _, d := range []dim{dBack, dTooth, dYoke, dDepth, dOpening, dArea} {
		mean, sd := c.predict(d, rotor, poles, gap, float64(slots), &s.v)
		if copyOf >= 0 {
			mean = math.Log(x.lam.value(copyOf, d))
			sd = math.Hypot(0.03, math.Sqrt(x.lamVariance(copyOf, d))/x.lam.value(copyOf, d))
		} else if (d == dYoke || d == dDepth) && c.closed && s.v[dBack] > 0 {
			mean, sd = c.byClosure(p, d, &s.v, mean, sd)
		}
		s.v[d], rel[d] = settle(p, d, mean, sd)
	}
	s.rvTooth, s.rvYoke, s.rvArea = rel[dTooth], rel[dYoke], rel[dArea]
	return s
}

// byClosure sharpens the prediction of back iron or depth when the other and the back diameter were read.
func (c *chainFits) byClosure(p *prepared, d dim, v *vec, mean, sd float64) (float64, float64) {
	other := dDepth
	if d == dDepth {
		other = dYoke
	}
	r, ok := p.value(other)
	if !ok || p.at[dBack] == 0 {
		return mean, sd
	}
	left := math.Abs(v[dBack]-v[dGap])/2 - c.closure - r.x
	if left < 0.5 {
		return mean, sd
	}
	va := (sq(c.closureSD) + r.vq[1] + 0.02) / (left * left)
	vb := sd * sd
	if d2 := sq(math.Log(left) - mean); d2 > 9*(va+vb) {
		return mean, sd
	}
	w := vb / (va + vb)
	return mean + w*(math.Log(left)-mean), math.Sqrt(va * w)
}

// settle joins a reading with what is expected of its logarithm: value and relative variance.
func settle(p *prepared, d dim, mean, sd float64) (value, rel float64) {
	vb := sd * sd
	r, ok := p.value(d)
	if !ok {
		return math.Exp(mean), vb
	}
	x := r.x
	va := r.vq[1] / (x * x)
	if z2 := sq(math.Log(x)-mean) / (va + vb); z2 > 16 {
		if alt, prob, ok := r.bestAlternative(math.Exp(mean), vb*math.Exp(2*mean)); ok && prob > 0.5 {
			x = alt
		} else if z2 > 49 {
			return math.Exp(mean), vb
		}
		va = r.vq[1] / (x * x)
	}
	w := vb / (va + vb)
	return math.Exp(mean + w*(math.Log(x)-mean)), va * w
}
