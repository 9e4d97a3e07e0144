package match

import (
	"math"
	"slices"

	"statorbook/internal/wire"
)

// Index is an immutable snapshot of the published catalogue, ready to be asked. Any number of
// goroutines may use it at the same time.
type Index struct {
	lam        laminations
	core       stacks
	recs       []record
	recIDs     idList
	figures    []uint16 // of the records: turns, and places in wireList
	figureAt   []uint32 // where those of every eighth record begin
	shapes     textList // of the schemes, see shape
	shapeSize  []shapeSize
	wireList   textList
	conductors []conductor
	oddTurns   []float32 // series turns that are not whole
	designs    []design
	kinds      []kind
	texts      struct{ status, motor, origin, class texts }
	buckets    []bucket
	model      model
	ladder     gaugeLadder
	wires      *wire.Table // not of the index: the whole service has it
	total      float64     // Σ of the records' popularity
	bytes      int64
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
		return math.Abs(float64(m.vals[d][l]))
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
	lamAt    []uint32 // lamination of every eighth core, see lamOf
	recStart []uint32
	ids      idList
}

// known tells whether the stack of core c was measured, and not predicted.
func (s *stacks) known(c int) bool { return s.stack[c] > 0 }

// lamOf is the lamination of core c.
func (x *Index) lamOf(c int) int {
	at := x.core.lamAt
	from, to := int(at[c/block]), len(x.lam.slots)-1
	if next := c/block + 1; next < len(at) {
		to = int(at[next])
	}
	for from < to { // the last one that does not begin beyond c
		mid := (from + to + 1) / 2
		if int(x.lam.coreStart[mid]) <= c {
			from = mid
		} else {
			to = mid - 1
		}
	}
	return from
}

// length is the stack of core c in mm.
func (s *stacks) length(c int) float64 { return math.Abs(float64(s.stack[c])) }

// bucket is a run of laminations with the same rotor position and slots.
type bucket struct {
	rotor    uint8
	slots    uint16
	from, to uint32
}

// Build makes the index of what the Builder holds.
func (b *Builder) Build() *Index {
	o := b.order()
	x := &Index{wires: b.wires}
	var lams []vec
	var stack, seen []float64
	var lamRows []lamRow
	var catSD [nDims]float64
	var chain [2]chainFits
	together(
		func() { seen = b.placeRecords(x, &o) },
		func() { b.placeFigures(x, &o) },
		func() {
			lams, stack, catSD = b.pool(&o)
			lamRows = b.lamRows(&o, lams)
			chain = learnChain(lamRows)
		},
	)
	b.placeLaminations(x, &o, lamRows, &chain)
	b.placeCores(x, &o, stack)
	x.model.catSD = catSD
	x.model.chain = chain
	x.fillStacks()
	b.correctMasses(x, &o)
	x.popularity()
	x.bucket()
	together(
		func() { x.learn(seen) },
		func() { x.model.sheet = learnSheets(b.sheets.pick(b.recs, o.recs), b.sheets.layouts.list) },
	)
	x.ladder = x.newLadder()
	x.bytes = bytesOf(x)
	return x
}

// lamRows makes the rows from which the chain learns.
func (b *Builder) lamRows(o *order, lams []vec) []lamRow {
	out := make([]lamRow, len(lams))
	for l := range lams {
		f := &o.lams[l]
		p := b.dominantPoles(o.recordsOf(l))
		if p == 0 {
			p = chainCentre[f.rotor][0]
		}
		out[l] = lamRow{v: lams[l], slots: float64(max(f.slots, 2)), poles: p, rotor: f.rotor}
	}
	return out
}

// dominantPoles finds the poles that most of some records have, the smaller of two equals.
func (b *Builder) dominantPoles(recs []uint32) float64 {
	var count [256]uint32
	best := 0
	for _, r := range recs {
		p := b.recs[r].poles
		count[p]++
		if n := count[p]; p > 0 && (best == 0 || n > count[best] || n == count[best] && int(p) < best) {
			best = int(p)
		}
	}
	return float64(best)
}

// popularity sums the popularity of records over cores and laminations.
func (x *Index) popularity() {
	x.core.pop = make([]float32, len(x.core.stack))
	x.lam.logPop = make([]float32, len(x.lam.slots))
	for c := range x.core.stack {
		sum := 0.0
		for r := x.core.recStart[c]; r < x.core.recStart[c+1]; r++ {
			sum += x.recs[r].weight()
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
	x.buckets = exact(x.buckets)
}
