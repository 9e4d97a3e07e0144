package match

import (
	"cmp"
	"math"
	"slices"

	"statorbook/internal/winding"
)

// Limits of the search for the next measurement.
const (
	nextOutcomes = 14   // laminations or cores that are told apart
	nextShare    = 0.98 // of the posterior that they need to hold
	nextLeast    = 0.01 // bits; less is not worth a measurement
)

// outcomeNormal is what one outcome (a core, or none) expects of a dimension.
type outcomeNormal struct{ w, mean, sd float64 }

// next lists the dimensions that were not given by the information that they are expected to
// bring about which core it is, or that it is none; then the supply and the plate by what they
// tell about the record.
func (x *Index) next(p *prepared, w *work, b *beliefs, a *Answer) {
	if a.Decided != nil {
		return
	}
	for d := dGap; d < nDims; d++ {
		if p.at[d] > 0 || d >= dTooth2 && d < dStack && p.ring2 == 0 {
			continue
		}
		if bits := x.bits(x.outcomes(p, w, b, d)); bits >= nextLeast {
			a.Next = append(a.Next, Next{Field: dims[d].field, Bits: bits, How: dims[d].how})
		}
	}
	x.nextPlate(p, w, b, a)
	slices.SortStableFunc(a.Next, func(p, q Next) int { return cmp.Compare(q.Bits, p.Bits) })
}

// outcomes lists what the likeliest cores (laminations, for a dimension that they share) and
// "none" expect of dimension d, with the reading's own spread.
func (x *Index) outcomes(p *prepared, w *work, b *beliefs, d dim) []outcomeNormal {
	var out []outcomeNormal
	var lams [nextOutcomes]int
	sum := 0.0
	for i := range w.cores {
		c := &w.cores[i]
		weight := c.rec + c.oth
		if len(out) >= nextOutcomes || sum > nextShare || weight < 1e-4 {
			break
		}
		sum += weight
		l := x.lamOf(int(c.core))
		mean, v := x.core.length(int(c.core)), x.stackVariance(int(c.core))
		if d != dStack {
			if k := slices.Index(lams[:len(out)], l); k >= 0 {
				out[k].w += weight
				continue
			}
			if mean = x.lam.value(l, d); math.IsNaN(mean) {
				continue
			}
			v = x.lamVariance(l, d)
		}
		lams[len(out)] = l
		out = append(out, outcomeNormal{weight, mean, math.Sqrt(v + sq(d.sd(dims[d].querySD, mean)))})
	}
	return x.noneOutcomes(b, d, out)
}

// noneOutcomes adds what unlisted cores expect: another stack of a known lamination, and a lamination that is not in
// the catalogue. The two are told apart, as other windings follow from them.
func (x *Index) noneOutcomes(b *beliefs, d dim, out []outcomeNormal) []outcomeNormal {
	for _, none := range [...]struct {
		hyp uint8
		w   float64
	}{{hypStack, b.stack}, {hypNew, b.fresh}} {
		if c := b.likeliest(none.hyp); c != nil && none.w >= 1e-4 {
			mean, sd := x.expects(c, d)
			out = append(out, outcomeNormal{none.w, mean, math.Hypot(sd, d.sd(dims[d].querySD, mean))})
		}
	}
	return out
}

// likeliest is the heaviest context of a hypothesis, nil if there is none.
func (b *beliefs) likeliest(hyp uint8) (at *context) {
	best := 0.0
	for i := range b.contexts {
		c := &b.contexts[i]
		if v := c.weight * c.evidence; c.hyp == hyp && v > best {
			best, at = v, c
		}
	}
	return at
}

// expects is what an unlisted core expects of dimension d, in mm or mm², before it is read.
func (x *Index) expects(c *context, d dim) (mean, sd float64) {
	poles := 2.0
	if len(c.poles) > 0 {
		poles = float64(max(int(c.poles[0].poles), 2))
	}
	switch {
	case d == dStack:
		mean, sd = x.model.stackAt(c.site.rotor, poles, c.site.v[dGap])
	case c.hyp == hypStack && x.lam.has(c.lam, d):
		return x.lam.value(c.lam, d), math.Sqrt(x.lamVariance(c.lam, d))
	default:
		mean, sd = x.model.chain[c.site.rotor].predict(d, c.site.rotor, poles, c.site.v[dGap], c.site.slots, &c.site.v)
	}
	mean = math.Exp(mean)
	return mean, sd * mean
}

// bits is the mutual information in bits between the outcome and the reading: the entropy of the
// mixture less that of its parts, by the five-point rule of Gauss and Hermite on each part.
func (x *Index) bits(o []outcomeNormal) float64 {
	total := 0.0
	for i := range o {
		total += o[i].w
	}
	if len(o) < 2 || !(total > 0) {
		return 0
	}
	gain := 0.0
	for i := range o {
		for _, node := range hermite5 {
			at := o[i].mean + o[i].sd*node[0]
			mix := 0.0
			for k := range o {
				z := (at - o[k].mean) / o[k].sd
				mix += o[k].w / total * math.Exp(-z*z/2) / o[k].sd
			}
			own := math.Exp(-node[0]*node[0]/2) / o[i].sd
			gain += o[i].w / total * node[1] * math.Log(own/mix)
		}
	}
	return math.Max(gain/math.Ln2, 0)
}

// hermite5 holds nodes and weights of the five-point rule for a standard normal (any table of
// Gauss-Hermite quadrature).
var hermite5 = [5][2]float64{
	{-2.8569700138728056, 0.011257411327720688}, {-1.3556261799742659, 0.22207592200561265}, {0, 0.5333333333333333},
	{1.3556261799742659, 0.22207592200561265}, {2.8569700138728056, 0.011257411327720688},
}

// nextPlate adds the supply on site and the number of poles by what they tell about the record.
func (x *Index) nextPlate(p *prepared, w *work, b *beliefs, a *Answer) {
	if !p.plate.volts.given && !p.plate.siteVolts.given {
		if bits := x.classBits(w, b, 0.9, func(r *record) int { return int(math.Round(x.designs[r.design].voltage / 15)) }); bits >= nextLeast {
			a.Next = append(a.Next, Next{Field: "supply.voltage_v", Bits: bits, How: "ask what supply the motor ran on, or read the fuse board: volts, hertz, phases, and how the terminals were bridged"})
		}
	}
	if p.plate.poles == 0 {
		if bits := x.classBits(w, b, platePolesSame, func(r *record) int { return int(r.poles) }); bits >= nextLeast {
			a.Next = append(a.Next, Next{Field: "nameplate.poles", Bits: bits, How: "count the coil groups of one winding, or take the speed on the plate: poles = 120 x hertz / speed, the next even number below"})
		}
	}
}

// classBits is the information that a figure of few classes brings about the record, when it is read
// rightly with the given chance.
func (x *Index) classBits(w *work, b *beliefs, right float64, class func(*record) int) float64 {
	var keys [12]int
	var mass [12]float64
	n, known := 0, 0.0
	for i := range w.recs {
		r := &w.recs[i]
		if r.w < 1e-3 {
			continue
		}
		k := class(&x.recs[r.rec])
		at := slices.Index(keys[:n], k)
		if at < 0 {
			if n == len(keys) {
				continue
			}
			at = n
			keys[n] = k
			n++
		}
		mass[at] += r.w
		known += r.w
	}
	if n < 2 || known < 0.05 {
		return 0
	}
	h := 0.0
	for _, m := range mass[:n] {
		q := m / known
		h -= q * math.Log2(q)
	}
	noise := -right*math.Log2(right) - (1-right)*math.Log2((1-right)/float64(n))
	return known * math.Max(h-noise, 0)
}

// assumptions lists what the answer took for granted.
func (x *Index) assumptions(p *prepared, a *Answer) {
	add := func(field string, value any, why string) {
		a.Assumed = append(a.Assumed, winding.Assumption{Field: field, Value: value, Why: why})
	}
	if p.rotor < 0 {
		add("measurements.rotor_position", "inside or outside", "not given; both are weighed by how often they are catalogued")
	}
	if p.slots == 0 {
		add("measurements.slots", "any", "not given; all slot counts of the catalogue are weighed")
	}
	if p.phases == 0 && p.plate.sitePhases == 0 {
		add("measurements.phases", "1 or 3", "not given; both are weighed by how often such a lamination is wound so")
	}
	if !p.plate.volts.given && !p.plate.siteVolts.given && len(a.Proposals) > 0 {
		add("supply.voltage_v", "several", "neither supply nor nameplate tells the voltage; each proposal names the one it stands on, weighed by how common it is in the catalogue")
	}
	if p.plate.poles == 0 && len(a.Proposals) > 0 {
		add("poles", "several", "not given; weighed by how often such a lamination is wound so")
	}
	add("stacking_factor", refStacking, "share of iron in the stack, common practice")
}
