package match

import (
	"math"
	"slices"
)

// model is everything that was learned from the catalogue.
type model struct {
	catSD    [nDims]float64 // of one catalogued dimension, mm or share (pool.go)
	chain    [2]chainFits   // proportions of laminations by rotor position (chain.go)
	stack    [2]linear      // ln stack/gap on (1, ln poles, ln gap), likewise
	stackOwn [2]float64     // share of its variance that stacks of one lamination do not have in common (stackof.go)
	gaps     gapTable
	poles    poleTable            // (poles.go)
	design   []float64            // share of each design among those of its phases that tell voltage and frequency; else 0
	plate    plateModel           // (plate.go)
	turns    [2]linear            // y_B without and with the power (turnsmodel.go)
	fill     [2]linear            // y_F likewise
	spread   [2]spreads           // of both
	kw       kwTable              // winding factors and patterns by kind (kw.go)
	aux      auxModel             // auxiliary beside main winding (wires.go)
	strands  strandTable          // wires of one turn (wires.go)
	enamel   [nBuilds]powerLaw    // (enamel.go)
	build    [nBuilds]float64     // share of each enamel build
	mass     massModel            // weighed beside computed copper (wires.go)
	traits   traitModel           // what records of one lamination have in common (traits.go)
	sheet    sheetModel           // for the record check (sheetmodel.go)
	ranges   [2][nDims][2]float64 // least and greatest known value by rotor position
}

// learn fits everything that rests on the records. What does not rest on one another is learned at
// the same time.
func (x *Index) learn(designSeen []float64) {
	m := &x.model
	m.design = designShares(x.designs, designSeen)
	sample := x.sampleRecords(20000)
	sites := x.sampleSites(sample)
	together(
		func() {
			m.learnTurns(x, sample, sites)
			x.sumFamilies()
		},
		func() { m.plate = x.learnPlate(sample, sites) },
		func() {
			m.enamel = learnEnamel(x.wires)
			m.gaps = x.learnGaps()
			m.poles = x.learnPoles()
			m.kw = x.learnKw(sample, sites)
			m.aux = x.learnAux(sample, sites)
			m.strands, m.build = x.learnWires(sample)
			m.mass = x.learnMass(sample, sites)
			m.ranges = x.learnRanges()
		},
	)
	x.learnTraits(sample, sites)
}

// designShares normalises the counts among designs of the same phases that tell voltage and frequency.
func designShares(list []design, seen []float64) []float64 {
	told := func(d *design) bool { return d.voltage > 0 && d.frequency > 0 }
	var sum [4]float64 // by phases, 1 or 3
	for i := range list {
		if d := &list[i]; told(d) {
			sum[d.phases] += seen[i]
		}
	}
	out := make([]float64, len(list))
	for i := range list {
		if d := &list[i]; told(d) && sum[d.phases] > 0 {
			out[i] = seen[i] / sum[d.phases]
		}
	}
	return out
}

// sampleRecords picks all records of evenly spaced laminations, about most of them, so that what
// records of one lamination have in common can be learned.
func (x *Index) sampleRecords(most int) []int {
	step := max(1, (len(x.recs)+most-1)/most)
	var out []int
	for l := 0; l < len(x.lam.slots); l += step {
		from, to := x.recordsOf(l, l+1)
		for r := from; r < to; r++ {
			out = append(out, r)
		}
	}
	return out
}

// coreOfRecord finds the core of record r.
func (x *Index) coreOfRecord(r int) int {
	n, found := slices.BinarySearch(x.core.recStart, uint32(r))
	if !found {
		return n - 1
	}
	for n+1 < len(x.core.recStart) && x.core.recStart[n+1] == uint32(r) {
		n++ // cores without records share their start
	}
	return n
}

// sampleSites prepares the site of each sampled record.
func (x *Index) sampleSites(sample []int) []site {
	out := make([]site, len(sample))
	for i, r := range sample {
		out[i] = x.siteOf(x.coreOfRecord(r))
	}
	return out
}

// siteOf is the site of a catalogued core.
func (x *Index) siteOf(core int) site {
	l := x.lamOf(core)
	s := x.lamSite(l)
	s.stack = x.core.length(core)
	s.rvStack = sq(x.model.catSD[dStack] / s.stack)
	if !x.core.known(core) {
		s.rvStack = sq(x.model.stack[s.rotor].sd)
	}
	s.prepare()
	return s
}

// lamSite is the site of a catalogued lamination, without a stack.
func (x *Index) lamSite(l int) site {
	s := site{slots: float64(max(x.lam.slots[l], 2)), rotor: x.lam.rotor[l], second: x.lam.ring2[l] > 0}
	for d := range s.v {
		s.v[d] = x.lam.value(l, dim(d))
	}
	rv := func(d dim) float64 { return x.lamVariance(l, d) / sq(s.v[d]) }
	s.rvTooth, s.rvYoke, s.rvArea = rv(dTooth), rv(dYoke), rv(dArea)
	return s
}

// lamVariance is the variance in mm² (mm⁴ for an area) of dimension d of lamination l.
func (x *Index) lamVariance(l int, d dim) float64 {
	m := &x.model
	v := x.lam.value(l, d)
	switch {
	case x.lam.known[l]>>d&1 == 1:
		return sq(d.sd(m.catSD[d], v))
	case x.lam.closed[l]>>d&1 == 1:
		return sq(m.chain[x.lam.rotor[l]].closureSD) + sq(m.catSD[dBack]/2)
	}
	return sq(m.chain[x.lam.rotor[l]].fit[d].sd * v)
}

func sq(x float64) float64 { return x * x }

// fillStacks learns how long stacks are and fills those that no record tells.
func (x *Index) fillStacks() {
	var table [2]rows
	for c := range x.core.stack {
		if !x.core.known(c) {
			continue
		}
		l := x.lamOf(c)
		gap := x.lam.value(l, dGap)
		rotor := x.lam.rotor[l]
		table[rotor].p = 3
		f := stackFeatures(rotor, float64(x.lam.poles[l]), gap)
		table[rotor].add(f[:], math.Log(x.core.length(c)/gap), 1)
	}
	priors := [2]prior{
		{b: []float64{-0.55, 0, 0}, hold: []float64{3, 10, 10}, sd: 0.45, n: 3},
		{b: []float64{-1.8, 0, 0}, hold: []float64{3, 10, 10}, sd: 0.35, n: 3},
	}
	for rotor := range table {
		table[rotor].p = 3
		x.model.stack[rotor] = table[rotor].fit(priors[rotor])
	}
	for c := range x.core.stack {
		if x.core.known(c) {
			continue
		}
		l := x.lamOf(c)
		m, _ := x.model.stackAt(x.lam.rotor[l], float64(x.lam.poles[l]), x.lam.value(l, dGap))
		x.core.stack[c] = -float32(math.Exp(m))
	}
	x.learnStackOwn()
}

func stackFeatures(rotor uint8, poles, gap float64) [3]float64 {
	c := &chainCentre[rotor]
	return [3]float64{1, math.Log(poles / c[0]), math.Log(gap / c[1])}
}

// stackAt is mean and sd of ln stack of a core of these proportions.
func (m *model) stackAt(rotor uint8, poles, gap float64) (mean, sd float64) {
	f := stackFeatures(rotor, poles, gap)
	return m.stack[rotor].at(f[:]) + math.Log(gap), m.stack[rotor].sd
}

// gapTable holds the logarithms of the gap diameters of the laminations of each slot count.
type gapTable struct {
	list map[gapKey][]float32
	n    [2]float64
}

type gapKey struct {
	rotor uint8
	slots uint16
}

// maxGaps bounds the sample of gap diameters for one slot count.
const maxGaps = 400

func (x *Index) learnGaps() gapTable {
	t := gapTable{list: map[gapKey][]float32{}}
	for _, b := range x.buckets {
		t.n[b.rotor] += float64(b.to - b.from)
		var all []float32
		for _, i := range strideSample(int(b.to-b.from), maxGaps) {
			if l := int(b.from) + i; x.lam.known[l]>>dGap&1 == 1 {
				all = append(all, float32(math.Log(x.lam.value(l, dGap))))
			}
		}
		slices.Sort(all)
		t.list[gapKey{b.rotor, b.slots}] = exact(all)
	}
	return t
}

// gapDensity is the density of ln gap diameter among laminations of so many slots: kernels on the
// known ones, and the chain's broad normal for what is not known.
func (m *model) gapDensity(rotor uint8, slots, lnGap, relSD float64) float64 {
	c := &m.chain[rotor]
	mean, sd := c.predict(dGap, rotor, chainCentre[rotor][0], 1, slots, &vec{})
	broad := kdePrior * ((1-farGapShare)*normal(lnGap-mean, sd*sd) + farGapShare*normal(lnGap-mean, farGapSD*farGapSD))
	all := m.gaps.list[gapKey{rotor, uint16(slots)}]
	v := kdeWidth*kdeWidth + relSD*relSD
	reach := 5 * math.Sqrt(v)
	from, _ := slices.BinarySearch(all, float32(lnGap-reach))
	sum := 0.0
	for _, g := range all[from:] {
		if float64(g) > lnGap+reach {
			break
		}
		sum += math.Exp(-sq(lnGap-float64(g)) / (2 * v))
	}
	return (sum/math.Sqrt(2*math.Pi*v) + broad) / (float64(len(all)) + kdePrior)
}

// slotShare is the share of laminations with so many slots among those of a rotor position.
func (m *model) slotShare(rotor uint8, slots uint16, buckets []bucket) float64 {
	n := 0.0
	for _, b := range buckets {
		if b.rotor == rotor && b.slots == slots {
			n = float64(b.to - b.from)
		}
	}
	// Half a lamination for every count that a ring of 6 to 72 slots may have.
	return (n + 0.5/67) / (m.gaps.n[rotor] + 0.5)
}

// normal is the density of a centred normal with variance v at d.
func normal(d, v float64) float64 { return math.Exp(-d*d/(2*v)) / math.Sqrt(2*math.Pi*v) }
