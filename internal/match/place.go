package match

import "math"

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
