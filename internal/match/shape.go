package match

import (
	"encoding/binary"
	"math"

	"statorbook/internal/stator"
	"statorbook/internal/winding"
	"statorbook/internal/wire"
)

// setShape is a coil set without its turns and wires: what many records share.
type setShape struct {
	role      winding.Role
	ring      winding.RingName
	kind      winding.PatternKind // "" = explicit coils
	throws    []int
	coils     []winding.Coil // explicit coils, turns left out
	groups    int
	first     int
	alternate int8 // -1 not given, 0 no, 1 yes
	paths     int
	tap       int
	joining   string
}

// shape is a scheme without turns and wires. like[i] is the set that set i repeats turn for turn
// (phases v and w repeat phase u), or i itself.
type shape struct {
	poles int
	sets  []setShape
	like  []int
}

// counts returns how many turn figures set i of the shape has.
func (s *shape) counts(i int) int {
	if s.sets[i].kind == "" {
		return len(s.sets[i].coils)
	}
	return len(s.sets[i].throws)
}

// shapes interns shapes: a million records share some thousands.
type shapes struct {
	list  []shape
	index map[string]uint32 // only while building
	bytes int
}

// add interns the shape of a scheme and returns its number and the turns of the sets that do not
// repeat another, in order.
func (t *shapes) add(sc *winding.Scheme) (uint32, []float64) {
	sh := shape{poles: sc.Poles, sets: make([]setShape, len(sc.CoilSets)), like: make([]int, len(sc.CoilSets))}
	all := make([][]float64, len(sc.CoilSets))
	for i := range sc.CoilSets {
		sh.sets[i], all[i] = splitSet(&sc.CoilSets[i])
	}
	var turns []float64
	for i := range sh.sets {
		sh.like[i] = i
		for j := range i {
			if sh.like[j] == j && repeats(&sc.CoilSets[i], &sc.CoilSets[j], all[i], all[j]) {
				sh.like[i] = j
				break
			}
		}
		if sh.like[i] == i {
			turns = append(turns, all[i]...)
		}
	}
	key := sh.key()
	if n, ok := t.index[key]; ok {
		return n, turns
	}
	if t.index == nil {
		t.index = map[string]uint32{}
	}
	n := uint32(len(t.list))
	t.index[key] = n
	t.list = append(t.list, sh)
	t.bytes += 64 + len(sh.sets)*(160+8) + 8*len(key)
	return n, turns
}

// splitSet takes a coil set apart into shape and turns.
func splitSet(s *winding.CoilSet) (setShape, []float64) {
	out := setShape{role: s.Role, ring: s.Ring, paths: s.ParallelPaths, tap: s.Tap, joining: s.Joining, alternate: -1}
	if s.Pattern == nil {
		turns := make([]float64, len(s.Coils))
		out.coils = make([]winding.Coil, len(s.Coils))
		for i, c := range s.Coils {
			turns[i] = c.Turns
			out.coils[i] = winding.Coil{In: c.In, Out: c.Out}
		}
		return out, turns
	}
	p := s.Pattern
	out.kind, out.groups, out.first = p.Kind, p.Groups, p.FirstSlot
	out.throws = append([]int(nil), p.Throws...)
	if p.Alternate != nil {
		out.alternate = 0
		if *p.Alternate {
			out.alternate = 1
		}
	}
	turns := append([]float64(nil), p.Turns...)
	for len(turns) < len(out.throws) && len(p.Turns) == 1 {
		turns = append(turns, p.Turns[0])
	}
	return out, turns[:min(len(turns), len(out.throws))]
}

// repeats tells whether set a is set b for another phase.
func repeats(a, b *winding.CoilSet, ta, tb []float64) bool {
	if !a.Role.IsPhase() || !b.Role.IsPhase() || len(ta) != len(tb) || (a.Pattern == nil) != (b.Pattern == nil) || len(a.Wires) != len(b.Wires) {
		return false
	}
	for i := range ta {
		if ta[i] != tb[i] {
			return false
		}
	}
	for i := range a.Wires {
		if a.Wires[i] != b.Wires[i] {
			return false
		}
	}
	return true
}

// key spells the shape as bytes.
func (s *shape) key() string {
	b := binary.AppendVarint(nil, int64(s.poles))
	for i, set := range s.sets {
		b = append(b, string(set.role)+"|"+string(set.ring)+"|"+string(set.kind)+"|"+set.joining+"|"...)
		for _, v := range []int{set.groups, set.first, int(set.alternate), set.paths, set.tap, s.like[i], len(set.throws), len(set.coils)} {
			b = binary.AppendVarint(b, int64(v))
		}
		for _, v := range set.throws {
			b = binary.AppendVarint(b, int64(v))
		}
		for _, c := range set.coils {
			b = binary.AppendVarint(b, int64(c.In))
			b = binary.AppendVarint(b, int64(c.Out))
		}
	}
	return string(b)
}

// scheme puts shape, turns and wires together again; wires has one list for each set.
func (s *shape) scheme(turns []float64, wires [][]wire.Wire) winding.Scheme {
	out := winding.Scheme{Poles: s.poles, CoilSets: make([]winding.CoilSet, len(s.sets))}
	starts := make([]int, len(s.sets))
	at := 0
	for i := range s.sets {
		if s.like[i] == i {
			starts[i] = at
			at += s.counts(i)
		} else {
			starts[i] = starts[s.like[i]]
		}
	}
	for i := range s.sets {
		n := s.counts(i)
		out.CoilSets[i] = s.sets[i].set(turns[min(starts[i], len(turns)):min(starts[i]+n, len(turns))])
		if i < len(wires) {
			out.CoilSets[i].Wires = wires[i]
		}
	}
	return out
}

// set puts one coil set together again.
func (s *setShape) set(turns []float64) winding.CoilSet {
	out := winding.CoilSet{Role: s.role, Ring: s.ring, ParallelPaths: s.paths, Tap: s.tap, Joining: s.joining}
	if s.kind == "" {
		out.Coils = append([]winding.Coil(nil), s.coils...)
		for i := range out.Coils {
			if i < len(turns) {
				out.Coils[i].Turns = turns[i]
			}
		}
		return out
	}
	p := &winding.Pattern{Kind: s.kind, Throws: append([]int(nil), s.throws...), Turns: append([]float64(nil), turns...), Groups: s.groups, FirstSlot: s.first}
	if s.alternate >= 0 {
		alt := s.alternate == 1
		p.Alternate = &alt
	}
	out.Pattern = p
	return out
}

// primarySet finds the set that stands for the winding: main or phase u, else the first; -1 without sets.
func primarySet(sc *winding.Scheme) int {
	for i := range sc.CoilSets {
		if r := sc.CoilSets[i].Role; r == winding.Main || r == winding.PhaseU {
			return i
		}
	}
	if len(sc.CoilSets) > 0 {
		return 0
	}
	return -1
}

// auxiliarySet finds the auxiliary, -1 if there is none.
func auxiliarySet(sc *winding.Scheme) int {
	for i := range sc.CoilSets {
		if sc.CoilSets[i].Role == winding.Auxiliary {
			return i
		}
	}
	return -1
}

// expanded gives turns in series, winding factor and mean turn of one set on a core; zeros where
// the data does not tell.
func expanded(set *winding.CoilSet, poles int, core *stator.Core) (series, kw, mlt float64) {
	coils, _, err := winding.Expand(*set, poles, *core)
	if err != nil {
		// A set that cannot be laid may still tell its turns.
		if n := winding.SeriesTurns(*set); n > 0 && !math.IsInf(n, 1) {
			series = n
		}
		return series, 0, 0
	}
	series = winding.TurnsOf(coils) / float64(winding.Paths(*set))
	kw, _ = winding.FactorOfSet(*set, coils, poles, *core, 1)
	if l, ok := winding.MeanTurnOf(*core, set.Ring, coils, winding.SheetMeanTurn); ok {
		mlt = float64(l)
	}
	return series, kw, mlt
}
