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

// placeLaminations fills the lamination columns.
func (b *Builder) placeLaminations(x *Index, o *order, l []lamRow, chain *[2]chainFits) {
	n := len(l)
	lam := &x.lam
	for d := range nScan {
		lam.vals[d] = make([]float32, n)
	}
	lam.known, lam.closed = make([]uint16, n), make([]uint16, n)
	lam.slots, lam.ring2, lam.rotor, lam.poles = make([]uint16, n), make([]uint16, n), make([]uint8, n), make([]uint8, n)
	for i := range l {
		row, f := &l[i], &o.lams[i]
		lam.rotor[i], lam.slots[i], lam.poles[i] = row.rotor, uint16(min(max(f.slots, 0), 65535)), uint8(row.poles)
		full, known, closed := chain[row.rotor].impute(row)
		lam.known[i], lam.closed[i] = known, closed
		for d := range nScan {
			lam.vals[d][i] = float32(full[d])
			if (known|closed)>>d&1 == 0 {
				lam.vals[d][i] *= -1
			}
		}
		if f.second {
			lam.ring2[i] = uint16(max(1, min(f.ring2Slots, 65535)))
			lam.secondAt = append(lam.secondAt, uint32(i))
			lam.second = append(lam.second, [4]float32{float32(full[dTooth2]), float32(full[dDepth2]), float32(full[dOpening2]), float32(full[dArea2])})
		}
	}
	lam.secondAt, lam.second = exact(lam.secondAt), exact(lam.second)
	lam.coreStart = o.coreStart
	lam.ids = b.famIDs.pick(o.fams)
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

// placeCores fills the core columns.
func (b *Builder) placeCores(x *Index, o *order, stack []float64) {
	x.core.lamAt = make([]uint32, (len(o.cores)+block-1)/block)
	x.core.stack = make([]float32, len(o.cores))
	for l := range x.lam.slots {
		for c := x.lam.coreStart[l]; c < x.lam.coreStart[l+1]; c++ {
			if c%block == 0 {
				x.core.lamAt[c/block] = uint32(l)
			}
		}
	}
	for c := range stack {
		if stack[c] > 0 {
			x.core.stack[c] = float32(stack[c])
		}
	}
	x.core.recStart = o.recStart
	x.core.ids = b.coreIDs.pick(o.cores)
}

// placeRecords fills the records, numbers what they share in the order of first use, and gives how
// many records each design has.
func (b *Builder) placeRecords(x *Index, o *order) (seen []float64) {
	x.recs = make([]record, len(o.recs))
	x.recIDs = b.recIDs.pick(o.recs)
	shapes := renumber(&b.shapes)
	copper, odd := renumbered(&b.coppers, smallMost, func(c conductor) conductor { return c }), newDictionary[float32](wholeTurns-1)
	words := newWording(b)
	kinds := renumbered(&b.kinds, math.MaxUint16, words.kind)
	table := newDesignTable(len(b.designs))
	for i, n := range o.recs {
		r := &b.recs[n]
		out := r.record
		out.shape = newSmall(int(shapes.at(r.scheme)))
		out.main, out.aux = newSmall(copper.at(r.copper[0])), newSmall(copper.at(r.copper[1]))
		out.turnsMain, out.turnsAux = packSeries(r.series[0], &odd), packSeries(r.series[1], &odd)
		out.design = table.add(r.design, b.designs[r.design])
		out.kind = uint16(kinds.at(r.words))
		x.recs[i] = out
	}
	x.shapes, x.shapeSize = newTextList(shapes.list), make([]shapeSize, len(shapes.list))
	for n, to := range shapes.to {
		if to > 0 {
			x.shapeSize[to-1] = b.sizes[n]
		}
	}
	x.conductors, x.kinds, x.oddTurns, x.designs = exact(copper.to.list), exact(kinds.to.list), exact(odd.list), exact(table.list)
	words.place(x)
	return table.seen
}

// placeFigures fills turns and wires of the records. Those of records that are gone are left behind.
func (b *Builder) placeFigures(x *Index, o *order) {
	wires := renumber(&b.wireCodes)
	own := make([]uint16, 0, len(b.figures)) // the builder keeps its own numbers of wires
	x.figures = make([]uint16, 0, len(b.figures))
	x.figureAt = make([]uint32, 0, (len(o.recs)+block-1)/block)
	for i, n := range o.recs {
		if i%block == 0 {
			x.figureAt = append(x.figureAt, uint32(len(x.figures)))
		}
		r := &b.recs[n]
		size := b.sizes[r.scheme]
		from := b.figures[r.figuresAt:]
		r.figuresAt = uint32(len(own))
		turns := figuresLen(from, int(size.turns))
		own, x.figures = append(own, from[:turns]...), append(x.figures, from[:turns]...)
		from = from[turns:]
		own = append(own, from[:figuresLen(from, int(size.wires))]...)
		var wire float64
		for range size.wires {
			wire, from = nextFigure(from)
			x.figures = packFigures(x.figures, []float64{float64(wires.at(uint32(wire)))})
		}
	}
	b.figures = own
	x.figures, x.figureAt = exact(x.figures), exact(x.figureAt)
	x.wireList = newTextList(wires.list)
}

// wording numbers the words of the records.
type wording [nTexts]renumbering

func newWording(b *Builder) wording {
	var w wording
	for i := range w {
		w[i] = renumber(&b.texts[i])
		w[i].at(0)
	}
	return w
}

// kind is a kind with the numbers of the index. Words beyond 255 of a sort, and kinds beyond 65,535,
// count as not told.
func (w *wording) kind(b kindBuild) kind {
	var word [nTexts]uint8
	for k := range word {
		if at := w[k].at(b.texts[k]); at <= math.MaxUint8 {
			word[k] = uint8(at)
		}
	}
	return kind{class: word[textClass], status: word[textStatus], motor: word[textMotor], origin: word[textOrigin], taps: b.taps}
}

// place hands the lists to an index.
func (w *wording) place(x *Index) {
	for k, to := range [nTexts]*texts{textStatus: &x.texts.status, textMotor: &x.texts.motor, textOrigin: &x.texts.origin, textClass: &x.texts.class} {
		to.list = exact(w[k].list[1:min(len(w[k].list), math.MaxUint8+1)])
	}
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
