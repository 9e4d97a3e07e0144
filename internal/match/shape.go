package match

import (
	"slices"

	"statorbook/internal/winding"
	"statorbook/internal/wire"
)

// shape is a scheme without turns and wires, spelled as bytes: what many records share.
type shape string

// setShape is a coil set of a shape.
type setShape struct {
	role      winding.Role
	ring      winding.RingName
	kind      winding.PatternKind // "" = explicit coils
	joining   string
	groups    int
	first     int
	alternate int // -1 not given, 0 no, 1 yes
	paths     int
	tap       int
	like      int  // the set that this one repeats turn for turn (phases v and w repeat phase u), or itself
	count     int  // figures of turns: throws of the pattern, or coils
	wires     int  // that one turn is wound of
	places    code // throws, or in and out of each coil
}

// shapeReader walks over the sets of a shape.
type shapeReader struct{ rest code }

// read begins with the poles of the scheme.
func (s shape) read() (poles int, r shapeReader) {
	r.rest = code(s)
	return r.rest.int(), r
}

// next reads one set; false at the end.
func (r *shapeReader) next(s *setShape) bool {
	c := &r.rest
	if len(*c) == 0 {
		return false
	}
	s.role, s.ring, s.kind, s.joining = winding.Role(c.text()), winding.RingName(c.text()), winding.PatternKind(c.text()), c.text()
	s.groups, s.first, s.alternate, s.paths, s.tap, s.like, s.count, s.wires = c.int(), c.int(), c.int(), c.int(), c.int(), c.int(), c.int(), c.int()
	s.places = code(c.text())
	return true
}

// appendTo spells the set.
func (s *setShape) appendTo(b []byte) []byte {
	for _, t := range [...]string{string(s.role), string(s.ring), string(s.kind), s.joining} {
		b = appendText(b, t)
	}
	for _, v := range [...]int{s.groups, s.first, s.alternate, s.paths, s.tap, s.like, s.count, s.wires} {
		b = appendInt(b, v)
	}
	return appendText(b, string(s.places))
}

// splitScheme takes a scheme apart into its shape, and the turns and numbers of the wires of the sets
// that do not repeat another, in order.
func splitScheme(sc *winding.Scheme, list *interned) (key []byte, turns, wires []float64) {
	var buf []byte
	key = appendInt(make([]byte, 0, 96), sc.Poles)
	all := make([][]float64, len(sc.CoilSets))
	like := make([]int, len(sc.CoilSets))
	for i := range sc.CoilSets {
		s := splitSet(&sc.CoilSets[i], &all[i])
		s.like = i
		for j := range i {
			if like[j] == j && repeats(&sc.CoilSets[i], &sc.CoilSets[j], all[i], all[j]) {
				s.like = j
				break
			}
		}
		if like[i] = s.like; s.like == i {
			turns = append(turns, all[i]...)
			for k := range sc.CoilSets[i].Wires {
				buf = appendWire(buf[:0], &sc.CoilSets[i].Wires[k])
				wires = append(wires, float64(list.add(buf)))
			}
		}
		key = s.appendTo(key)
	}
	return key, turns, wires
}

// splitSet takes a coil set apart into shape and turns.
func splitSet(s *winding.CoilSet, turns *[]float64) setShape {
	out := setShape{role: s.Role, ring: s.Ring, paths: s.ParallelPaths, tap: s.Tap, joining: s.Joining, alternate: -1, wires: len(s.Wires)}
	var places []byte
	p := s.Pattern
	if p == nil {
		for _, c := range s.Coils {
			*turns = append(*turns, c.Turns)
			places = appendInt(appendInt(places, c.In), c.Out)
		}
		out.count = len(s.Coils)
	} else {
		out.kind, out.groups, out.first, out.count = p.Kind, p.Groups, p.FirstSlot, len(p.Throws)
		for _, t := range p.Throws {
			places = appendInt(places, t)
		}
		if p.Alternate != nil {
			out.alternate = 0
			if *p.Alternate {
				out.alternate = 1
			}
		}
		*turns = slices.Clone(p.Turns[:min(len(p.Turns), len(p.Throws))])
		rest := 0.0 // not told
		if len(p.Turns) == 1 {
			rest = p.Turns[0]
		}
		for len(*turns) < len(p.Throws) {
			*turns = append(*turns, rest)
		}
	}
	out.places = code(places)
	return out
}

// repeats tells whether set a is set b for another phase.
func repeats(a, b *winding.CoilSet, ta, tb []float64) bool {
	return a.Role.IsPhase() && b.Role.IsPhase() && (a.Pattern == nil) == (b.Pattern == nil) && slices.Equal(ta, tb) && slices.Equal(a.Wires, b.Wires)
}

// scheme puts shape, turns and wires together again; wires reads a wire by its number.
func (s shape) scheme(turns, numbers []float64, wires func(n int) wire.Wire) winding.Scheme {
	poles, r := s.read()
	out := winding.Scheme{Poles: poles, CoilSets: []winding.CoilSet{}}
	type place struct{ turns, wires int }
	var starts []place
	var at place
	var set setShape
	for i := 0; r.next(&set); i++ {
		if set.like == i {
			starts = append(starts, at)
			at = place{at.turns + set.count, at.wires + set.wires}
		} else {
			starts = append(starts, starts[set.like])
		}
		from := starts[i]
		c := set.coilSet(turns[from.turns : from.turns+set.count])
		for _, n := range numbers[from.wires : from.wires+set.wires] {
			c.Wires = append(c.Wires, wires(int(n)))
		}
		out.CoilSets = append(out.CoilSets, c)
	}
	return out
}

// coilSet puts one coil set together again.
func (s *setShape) coilSet(turns []float64) winding.CoilSet {
	out := winding.CoilSet{Role: s.role, Ring: s.ring, ParallelPaths: s.paths, Tap: s.tap, Joining: s.joining}
	places := s.places
	if s.kind == "" {
		for i := range s.count {
			c := winding.Coil{In: places.int(), Out: places.int()}
			if i < len(turns) {
				c.Turns = turns[i]
			}
			out.Coils = append(out.Coils, c)
		}
		return out
	}
	p := &winding.Pattern{Kind: s.kind, Turns: append([]float64(nil), turns...), Groups: s.groups, FirstSlot: s.first}
	for range s.count {
		p.Throws = append(p.Throws, places.int())
	}
	if s.alternate >= 0 {
		alt := s.alternate == 1
		p.Alternate = &alt
	}
	out.Pattern = p
	return out
}

// eachCoil calls f for the coils of one group of every set of a record, without building its scheme.
// A phase that repeats another counts by the turns of that one.
func (x *Index) eachCoil(r int, f func(role winding.Role, turns float64)) {
	_, sets := shape(x.shapes.at(x.recs[r].shape.int())).read()
	arena := x.figuresOf(r)
	var set setShape
	for i := 0; sets.next(&set); i++ {
		if set.like != i {
			continue
		}
		for range set.count {
			var t float64
			if t, arena = nextFigure(arena); t > 0 {
				f(set.role, t)
			}
		}
	}
}

// setTurns lists the turns of the coils of a set.
func setTurns(set *winding.CoilSet) []float64 {
	if set.Pattern != nil {
		return set.Pattern.Turns
	}
	out := make([]float64, len(set.Coils))
	for i := range out {
		out[i] = set.Coils[i].Turns
	}
	return out
}

// schemeOf puts the scheme of a record together.
func (x *Index) schemeOf(r int) winding.Scheme {
	n := x.recs[r].shape.int()
	turns := int(x.shapeSize[n].turns)
	figures := unpackFigures(x.figuresOf(r), turns+int(x.shapeSize[n].wires))
	return shape(x.shapes.at(n)).scheme(figures[:turns], figures[turns:], func(n int) wire.Wire { return readWire(code(x.wireList.at(n))) })
}
