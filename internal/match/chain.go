package match

import (
	"math"
	"slices"
)

// How laminations are proportioned, learned from the catalogue for each rotor position: the
// density of a new lamination is a chain of conditional normals in the logarithm. The priors are
// common practice, no source; each is worth chainHold laminations.
const (
	chainP      = 4 // features: 1, ln poles/4 (or /14 outside), ln gap/70 (or /130), ln slots/24 (or /14)
	chainHold   = 3.0
	chainSlope  = 12.0 // pseudo-laminations that hold a slope at nothing
	kdeWidth    = 0.05 // of ln gap diameter among laminations of as many slots
	kdePrior    = 2.0  // laminations that the broad prior of ln gap is worth
	farGapShare = 0.10 // of new laminations that are of another size class than the catalogue,
	farGapSD    = 0.9  // with this spread of ln gap
	grossDim    = 5.5  // a pooled dimension beyond so many sd of the chain is set aside
	closureBand = 0.8  // mm; with a wider closure the back is not slot depth + back iron (two rings)
)

// link says what a dimension of the chain is compared with.
type link struct {
	mean, sd float64 // prior
}

var chainPriors = [2][nLam]link{
	rotorInside: {
		dGap: {math.Log(70), 0.45}, dBack: {0.53, 0.10}, dTooth: {-0.76, 0.11}, dDepth: {-1.53, 0.22}, dOpening: {math.Log(2.3), 0.22}, dYoke: {-0.75, 0.18}, dArea: {-0.10, 0.07},
		dTooth2: {-0.76, 0.3}, dDepth2: {-1.53, 0.4}, dOpening2: {math.Log(2.3), 0.4}, dArea2: {-0.10, 0.2},
	},
	rotorOutside: {
		dGap: {math.Log(130), 0.20}, dBack: {-1.45, 0.16}, dTooth: {-0.86, 0.11}, dDepth: {-2.55, 0.15}, dOpening: {math.Log(3.1), 0.22}, dYoke: {-0.75, 0.18}, dArea: {-0.15, 0.08},
		dTooth2: {-1.0, 0.3}, dDepth2: {-2.4, 0.4}, dOpening2: {math.Log(3), 0.4}, dArea2: {-0.15, 0.25},
	},
}

// chainFits is the learned chain of one rotor position.
type chainFits struct {
	fit       [nLam]linear
	closure   float64 // mm, median of |back-gap|/2 - back iron - depth
	closureSD float64 // mm
	closed    bool    // closure holds
}

// reference figures that centre the features of the chain.
var chainCentre = [2][3]float64{{4, 70, 24}, {14, 130, 14}} // poles, gap, slots

// chainX fills the features.
func chainX(rotor uint8, poles, gap, slots float64, x *[chainP]float64) {
	c := &chainCentre[rotor]
	x[0], x[1], x[2], x[3] = 1, math.Log(poles/c[0]), math.Log(gap/c[1]), math.Log(slots/c[2])
}

// chainTarget is the logarithm that the chain predicts for dimension d with value v, and its
// derivative d ln/d v times v is 1 for all of them. gap must be known; area uses tooth and depth.
func chainScale(d dim, rotor uint8, gap, poles, slots float64, v *vec) float64 {
	switch d {
	case dBack, dDepth, dDepth2:
		return gap
	case dTooth, dTooth2:
		return math.Pi * gap / slots
	case dYoke:
		return gap / poles
	case dArea, dArea2:
		return geoArea(rotor, gap, slots, v[dTooth], v[dDepth])
	}
	return 1 // gap, openings: mm
}

// geoArea is the area between two parallel teeth, mm²; a rough guess without tooth and depth.
func geoArea(rotor uint8, gap, slots, tooth, depth float64) float64 {
	way := 1.0
	guess := math.Exp(chainPriors[rotor][dDepth].mean)
	if rotor == rotorOutside {
		way = -1
	}
	if !(depth > 0) {
		depth = guess * gap
	}
	if !(tooth > 0) {
		tooth = math.Exp(chainPriors[rotor][dTooth].mean) * math.Pi * gap / slots
	}
	a := math.Pi*(gap+way*depth)*depth/slots - tooth*depth
	if !(a > 0) {
		a = 0.3 * math.Pi * gap * depth / slots
	}
	return a
}

// lamRow is one lamination as the chain learns from it.
type lamRow struct {
	v     vec
	slots float64
	poles float64
	rotor uint8
}

// learnChain fits the chain, sets gross dimensions aside (in place), and fits again.
func learnChain(lams []lamRow) [2]chainFits {
	var out [2]chainFits
	sample := strideSample(len(lams), 20000)
	for round := range 2 {
		for rotor := range out {
			out[rotor] = fitChain(lams, sample, uint8(rotor))
		}
		if round == 0 {
			inParts(len(lams), func(_, from, to int) {
				for i := from; i < to; i++ {
					out[lams[i].rotor].dropGross(&lams[i])
				}
			})
		}
	}
	return out
}

// strideSample picks at most most of n numbers, evenly.
func strideSample(n, most int) []int {
	step := max(1, (n+most-1)/most)
	out := make([]int, 0, n/step+1)
	for i := 0; i < n; i += step {
		out = append(out, i)
	}
	return out
}

// fitChain fits every link of one rotor position.
func fitChain(lams []lamRow, sample []int, rotor uint8) chainFits {
	var c chainFits
	var table [nLam]rows
	var gaps []float64
	var x [chainP]float64
	for _, i := range sample {
		l := &lams[i]
		gap := l.v[dGap]
		if l.rotor != rotor || !(gap > 0) || l.slots < 2 {
			continue
		}
		chainX(rotor, l.poles, gap, l.slots, &x)
		for d := range nLam {
			if !(l.v[d] > 0) || dim(d) == dArea && !(l.v[dTooth] > 0 && l.v[dDepth] > 0) {
				continue
			}
			xs := x
			if dim(d) == dGap {
				xs[1], xs[2] = 0, 0
			}
			table[d].p = chainP
			table[d].add(xs[:], math.Log(l.v[d]/chainScale(dim(d), rotor, gap, l.poles, l.slots, &l.v)), 1)
		}
		if l.v[dBack] > 0 && l.v[dYoke] > 0 && l.v[dDepth] > 0 {
			gaps = append(gaps, math.Abs(l.v[dBack]-gap)/2-l.v[dYoke]-l.v[dDepth])
		}
	}
	var tasks []func()
	for d := range nLam {
		tasks = append(tasks, func() {
			p := chainPriors[rotor][d]
			table[d].p = chainP
			c.fit[d] = table[d].fit(prior{b: []float64{p.mean, 0, 0, 0}, hold: []float64{chainHold, chainSlope, chainSlope, chainSlope}, sd: p.sd, n: chainHold})
		})
	}
	together(tasks...)
	c.closure, c.closureSD = meanSD(slices.Clone(gaps), 0, 0.15, chainHold)
	c.closureSD = max(c.closureSD, 0.05)
	c.closed = c.closureSD < closureBand && math.Abs(c.closure) < closureBand
	if rotor == rotorOutside && len(gaps) == 0 {
		c.closed = false // fans usually have a second ring between
	}
	return c
}

// predict gives mean and sd of ln v of dimension d.
func (c *chainFits) predict(d dim, rotor uint8, poles, gap, slots float64, v *vec) (mean, sd float64) {
	var x [chainP]float64
	chainX(rotor, poles, gap, slots, &x)
	if d == dGap {
		x[1], x[2] = 0, 0
	}
	return c.fit[d].at(x[:]) + math.Log(chainScale(d, rotor, gap, poles, slots, v)), c.fit[d].sd
}

// dropGross sets dimensions aside that no lamination of these proportions has. If several fail
// together the gap is the likely culprit: then only the gap goes.
func (c *chainFits) dropGross(l *lamRow) {
	gap := l.v[dGap]
	if !(gap > 0) {
		return
	}
	var bad []dim
	for d := range nLam {
		if v := l.v[d]; v > 0 {
			m, s := c.predict(dim(d), l.rotor, l.poles, gap, l.slots, &l.v)
			if math.Abs(math.Log(v)-m) > grossDim*max(s, 0.03) {
				bad = append(bad, dim(d))
			}
		}
	}
	if len(bad) >= 3 {
		l.v[dGap] = math.NaN()
		return
	}
	for _, d := range bad {
		l.v[d] = math.NaN()
	}
	if c.closed && l.v[dBack] > 0 && l.v[dYoke] > 0 && l.v[dDepth] > 0 && len(bad) == 0 {
		off := math.Abs(l.v[dBack]-gap)/2 - l.v[dYoke] - l.v[dDepth] - c.closure
		if math.Abs(off) > 3+grossDim*c.closureSD {
			c.dropWorst(l)
		}
	}
}

// dropWorst sets aside which of depth, back iron and back diameter fits the chain worst.
func (c *chainFits) dropWorst(l *lamRow) {
	worst, z := dDepth, -1.0
	for _, d := range []dim{dDepth, dYoke, dBack} {
		m, s := c.predict(d, l.rotor, l.poles, l.v[dGap], l.slots, &l.v)
		if off := math.Abs(math.Log(l.v[d])-m) / s; off > z {
			worst, z = d, off
		}
	}
	l.v[worst] = math.NaN()
}
