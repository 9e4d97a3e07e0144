package match

import (
	"cmp"
	"math"
	"slices"

	"statorbook/internal/wire"
)

// Index is an immutable snapshot of the published catalogue, ready to be asked. Any number of
// goroutines may use it at the same time.
type Index struct {
	lam     laminations
	core    stacks
	recs    []record
	recIDs  idList
	turns   []uint16
	shapes  []shape
	wireSet [][][]wire.Wire
	designs []design
	texts   struct{ status, motor, origin, class texts }
	buckets []bucket
	model   model
	ladder  gaugeLadder
	wires   *wire.Table
	total   float64 // Σ of the records' popularity
	fixed   int     // bytes of the interned tables
}

// laminations holds the pooled dimensions in columns, sorted by rotor position and slots, so that
// a scan of a bucket reads memory in order.
type laminations struct {
	vals      [nScan][]float32 // where the catalogue does not know, what the chain predicts
	secondAt  []uint32         // laminations with a second ring, rising
	second    [][4]float32     // their dimensions of the second ring
	known     []uint16         // bit d: vals[d] was measured
	closed    []uint16         // bit d: vals[d] follows from the closure of measured ones
	logPop    []float32        // -2 ln of the share of popularity: the coarse score starts here
	slots     []uint16
	ring2     []uint16 // slots of the second ring; 0 = none, 1 = second ring without a count
	rotor     []uint8
	poles     []uint8 // that most of its records have
	coreStart []uint32
	fam       [2][]famSum // residual means of the winding regressions, without and with the power
	ids       idList
}

// value is dimension d of lamination l in mm or mm², NaN if it has no second ring.
func (m *laminations) value(l int, d dim) float64 {
	if int(d) < nScan {
		return float64(m.vals[d][l])
	}
	i, ok := slices.BinarySearch(m.secondAt, uint32(l))
	if !ok {
		return math.NaN()
	}
	return float64(m.second[i][d-dTooth2])
}

// has tells whether lamination l has dimension d at all.
func (m *laminations) has(l int, d dim) bool { return int(d) < nScan || m.ring2[l] > 0 }

// weight is the popularity of a lamination plus ½, back from its logarithm.
func (m *laminations) weight(l int, total float64) float64 {
	return math.Exp(-0.5*float64(m.logPop[l])) * (total + 0.5)
}

// stacks holds the cores in the order of their laminations.
type stacks struct {
	stack    []float32 // mm; negative where it is predicted and not known
	pop      []float32
	lam      []uint32
	recStart []uint32
	ids      idList
}

// known tells whether the stack of core c was measured, and not predicted.
func (s *stacks) known(c int) bool { return s.stack[c] > 0 }

// length is the stack of core c in mm.
func (s *stacks) length(c int) float64 { return math.Abs(float64(s.stack[c])) }

// bucket is a run of laminations with the same rotor position and slots.
type bucket struct {
	rotor    uint8
	slots    uint16
	from, to uint32
}

// Stats tells how large an index is.
type Stats struct {
	Families, Cores, Records int
	Bytes                    int64 // memory that the index holds, without Go's own overhead
}

// Build makes the index. The Builder must not be used afterwards.
func (b *Builder) Build() *Index {
	lams, stack, catSD := b.pool()
	lamRows := b.lamRows(lams)
	chain := learnChain(lamRows)
	x := &Index{wires: b.wires, shapes: b.shapes.list, wireSet: b.wireSets.list, designs: b.designs.list, texts: b.texts, turns: slices.Clip(b.turns)}
	if len(x.designs) == 0 {
		b.designs.add(design{})
		b.designs.seen[0] = 0
		x.designs = b.designs.list
	}
	x.fixed = b.shapes.bytes + b.wireSets.bytes + 48*len(x.designs)
	famOrder := b.familyOrder(lamRows)
	coreOrder := b.placeLaminations(x, lamRows, famOrder, &chain)
	b.placeCores(x, stack, coreOrder)
	b.placeRecords(x, coreOrder)
	x.model.catSD = catSD
	x.model.chain = chain
	x.fillStacks(stack, coreOrder)
	x.popularity()
	x.bucket()
	x.learn(b.designs.seen)
	x.ladder = x.newLadder()
	x.model.sheet = learnSheets(b.sheets.list)
	return x
}

// lamRows makes the rows from which the chain learns.
func (b *Builder) lamRows(lams []vec) []lamRow {
	poles := b.dominantPoles()
	out := make([]lamRow, len(lams))
	for f := range lams {
		fb := &b.fams[f]
		p := float64(poles[f])
		if p == 0 {
			p = chainCentre[fb.rotor][0]
		}
		out[f] = lamRow{v: lams[f], slots: float64(max(fb.slots, 2)), poles: p, rotor: fb.rotor}
	}
	return out
}

// dominantPoles finds the poles that most records of each family have, the smaller of two equals.
func (b *Builder) dominantPoles() []uint8 {
	order, start := b.recordsByFamily()
	out := make([]uint8, len(b.fams))
	for f := range out {
		var count [256]int
		best := 0
		for _, r := range order[start[f]:start[f+1]] {
			p := b.recs[r].poles
			count[p]++
			if n := count[p]; p > 0 && (n > count[best] || best == 0 || n == count[best] && int(p) < best) {
				best = int(p)
			}
		}
		out[f] = uint8(best)
	}
	return out
}

// familyOrder sorts the families by rotor position, slots and arrival.
func (b *Builder) familyOrder(l []lamRow) []uint32 {
	order := make([]uint32, len(b.fams))
	for i := range order {
		order[i] = uint32(i)
	}
	slices.SortStableFunc(order, func(p, q uint32) int {
		return cmp.Or(cmp.Compare(l[p].rotor, l[q].rotor), cmp.Compare(b.fams[p].slots, b.fams[q].slots))
	})
	return order
}

// placeLaminations fills the lamination columns and returns the cores in their order.
func (b *Builder) placeLaminations(x *Index, l []lamRow, famOrder []uint32, chain *[2]chainFits) []uint32 {
	n := len(famOrder)
	lam := &x.lam
	for d := range nScan {
		lam.vals[d] = make([]float32, n)
	}
	lam.known, lam.closed = make([]uint16, n), make([]uint16, n)
	lam.slots, lam.ring2, lam.rotor, lam.poles = make([]uint16, n), make([]uint16, n), make([]uint8, n), make([]uint8, n)
	lam.coreStart = make([]uint32, n+1)
	byFam := make([][]uint32, n)
	for c := range b.cores {
		f := b.cores[c].fam
		byFam[f] = append(byFam[f], uint32(c))
	}
	coreOrder := make([]uint32, 0, len(b.cores))
	for i, f := range famOrder {
		row := &l[f]
		lam.rotor[i], lam.slots[i], lam.poles[i] = row.rotor, uint16(min(b.fams[f].slots, 65535)), uint8(row.poles)
		if b.fams[f].second {
			lam.ring2[i] = uint16(max(1, min(b.fams[f].ring2Slots, 65535)))
		}
		full, known, closed := chain[row.rotor].impute(row)
		lam.known[i], lam.closed[i] = known, closed
		for d := range nScan {
			lam.vals[d][i] = float32(full[d])
		}
		if b.fams[f].second {
			lam.secondAt = append(lam.secondAt, uint32(i))
			lam.second = append(lam.second, [4]float32{float32(full[dTooth2]), float32(full[dDepth2]), float32(full[dOpening2]), float32(full[dArea2])})
		}
		lam.coreStart[i] = uint32(len(coreOrder))
		coreOrder = append(coreOrder, byFam[f]...)
	}
	lam.coreStart[n] = uint32(len(coreOrder))
	lam.ids = b.famIDs.pick(famOrder)
	return coreOrder
}

// impute fills what is not known: by closure where it holds, else with the middle of the chain.
func (c *chainFits) impute(l *lamRow) (v vec, known, closed uint16) {
	v = l.v
	for d := range v {
		if v[d] > 0 {
			known |= 1 << d
		}
	}
	if !(v[dGap] > 0) {
		m, _ := c.predict(dGap, l.rotor, l.poles, 1, l.slots, &v)
		v[dGap] = math.Exp(m)
		if v[dBack] > 0 {
			m, _ := c.predict(dBack, l.rotor, l.poles, v[dGap], l.slots, &v)
			v[dGap] *= v[dBack] / math.Exp(m)
		}
	}
	if c.closed && v[dBack] > 0 {
		wall := math.Abs(v[dBack]-v[dGap])/2 - c.closure
		if y := wall - v[dDepth]; !(v[dYoke] > 0) && y > 0.2 {
			v[dYoke] = y
			closed |= 1 << dYoke
		} else if d := wall - v[dYoke]; !(v[dDepth] > 0) && d > 0.2 {
			v[dDepth] = d
			closed |= 1 << dDepth
		}
	}
	for _, d := range []dim{dBack, dTooth, dYoke, dDepth, dOpening, dArea, dTooth2, dDepth2, dOpening2, dArea2} {
		if !(v[d] > 0) {
			m, _ := c.predict(d, l.rotor, l.poles, v[dGap], l.slots, &v)
			v[d] = math.Exp(m)
		}
	}
	return v, known, closed
}

// placeCores fills the core columns in the order of their laminations.
func (b *Builder) placeCores(x *Index, stack []float64, order []uint32) {
	x.core.lam = make([]uint32, len(order))
	x.core.stack = make([]float32, len(order))
	for l := range x.lam.slots {
		for c := x.lam.coreStart[l]; c < x.lam.coreStart[l+1]; c++ {
			x.core.lam[c] = uint32(l)
		}
	}
	for i, c := range order {
		if stack[c] > 0 {
			x.core.stack[i] = float32(stack[c])
		}
	}
	x.core.ids = b.coreIDs.pick(order)
}

// placeRecords puts the records in the order of their cores.
func (b *Builder) placeRecords(x *Index, coreOrder []uint32) {
	place := make([]uint32, len(coreOrder))
	for i, c := range coreOrder {
		place[c] = uint32(i)
	}
	start := make([]uint32, len(coreOrder)+1)
	for _, c := range b.recCore {
		start[place[c]+1]++
	}
	for i := range coreOrder {
		start[i+1] += start[i]
	}
	order := make([]uint32, len(b.recs))
	at := slices.Clone(start)
	for r, c := range b.recCore {
		order[at[place[c]]] = uint32(r)
		at[place[c]]++
	}
	x.recs = make([]record, len(order))
	for i, r := range order {
		x.recs[i] = b.recs[r]
	}
	x.recIDs = b.recIDs.pick(order)
	x.core.recStart = start
}

// popularity sums the popularity of records over cores and laminations.
func (x *Index) popularity() {
	x.core.pop = make([]float32, len(x.core.lam))
	x.lam.logPop = make([]float32, len(x.lam.slots))
	for c := range x.core.lam {
		sum := 0.0
		for r := x.core.recStart[c]; r < x.core.recStart[c+1]; r++ {
			sum += float64(x.recs[r].seen)
		}
		x.core.pop[c] = float32(sum)
		x.total += sum
	}
	for l := range x.lam.slots {
		sum := 0.0
		for c := x.lam.coreStart[l]; c < x.lam.coreStart[l+1]; c++ {
			sum += float64(x.core.pop[c])
		}
		x.lam.logPop[l] = float32(-2 * math.Log((sum+0.5)/(x.total+0.5)))
	}
}

// bucket notes where each rotor position and slot count begins.
func (x *Index) bucket() {
	n := len(x.lam.slots)
	for i := 0; i < n; {
		j := i
		for j < n && x.lam.rotor[j] == x.lam.rotor[i] && x.lam.slots[j] == x.lam.slots[i] {
			j++
		}
		x.buckets = append(x.buckets, bucket{x.lam.rotor[i], x.lam.slots[i], uint32(i), uint32(j)})
		i = j
	}
}

// Stats counts the index.
func (x *Index) Stats() Stats {
	n := len(x.lam.slots)
	bytes := x.fixed + x.recIDs.bytes() + x.core.ids.bytes() + x.lam.ids.bytes()
	for d := range x.lam.vals {
		bytes += 4 * len(x.lam.vals[d])
	}
	bytes += n*(2+2+4+2+2+1+1+4+2*6) + 20*len(x.lam.second) + len(x.core.lam)*(4+4+4+4) + len(x.recs)*recordBytes + 2*len(x.turns)
	return Stats{Families: n, Cores: len(x.core.lam), Records: len(x.recs), Bytes: int64(bytes)}
}
