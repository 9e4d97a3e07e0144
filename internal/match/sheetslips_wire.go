package match

import (
	"math"
	"slices"
	"strconv"

	"statorbook/internal/wire"
)

// wires lists slips about the wire of one set: system, gauge, strands, metal.
func (l *slipList) wires(set int) {
	s := &l.base.sets[set]
	if len(s.wires) != 1 || !(s.area > 0) {
		return
	}
	w := s.wires[0]
	at := "wires[0]."
	scale := func(k float64) func(*sheetFacts) bool {
		return func(f *sheetFacts) bool { f.sets[set].area *= k; return true }
	}
	l.gauges(set, w)
	for _, n := range []int{2, 3} {
		if have := max(w.Strands, 1); have*n <= 6 {
			l.add("strands_forgotten", l.field(set, at+"strands"), strconv.Itoa(have*n), 1, func(f *sheetFacts) bool {
				f.sets[set].strands *= n
				return scale(float64(n))(f)
			})
		}
	}
	if w.Strands > wire.MaxStrands {
		for n := 1; n <= wire.MaxStrands; n++ {
			l.add("strands_wrong", l.field(set, at+"strands"), strconv.Itoa(n), 1, func(f *sheetFacts) bool {
				f.sets[set].strands = n
				return scale(float64(n) / float64(w.Strands))(f)
			})
		}
	}
	weighed := func(k *setFacts) bool { return k.mass.n+k.ohm.n > 0 } // else the metal shows nowhere
	if weighed(s) {
		l.add("material_wrong", l.field(set, at+"conductor"), otherMetal(w.Conductor), 1, func(f *sheetFacts) bool { f.sets[set].changeMetal(w.Conductor); return true })
	}
	if set == 0 && l.base.n == 2 && weighed(s) && weighed(&l.base.sets[1]) {
		l.add("material_wrong", l.field(set, at+"conductor"), otherMetal(w.Conductor), 1, func(f *sheetFacts) bool {
			f.sets[0].changeMetal(w.Conductor)
			f.sets[1].changeMetal(w.Conductor)
			return true
		})
	}
}

func otherMetal(c wire.Conductor) string {
	if c == wire.Aluminium {
		return string(wire.Copper)
	}
	return string(wire.Aluminium)
}

func (s *setFacts) changeMetal(from wire.Conductor) {
	to := wire.Conductor(otherMetal(from))
	s.lnDelta, s.lnRho = math.Log(wire.Density(to)/1000), math.Log(wire.Resistivity(to, wire.AnnealedCopper)/1000)
}

// gauges lists the same number in the other system, and the neighbours in the ladder.
func (l *slipList) gauges(set int, w wire.Wire) {
	if l.x.wires == nil || w.System == wire.Bare {
		return
	}
	own, err := l.x.wires.Find(w.System, w.Size)
	if err != nil {
		return
	}
	put := func(code string, s wire.Size) {
		k := sq(float64(s.Diameter / own.Diameter))
		l.add(code, l.field(set, "wires[0].size"), string(s.System)+" "+s.Size, 1, func(f *sheetFacts) bool {
			f.sets[set].area *= k
			if s.System != w.System {
				f.sets[set].wires = []wire.Wire{{System: s.System, Size: s.Size, Conductor: w.Conductor, Strands: w.Strands}}
			}
			return true
		})
	}
	sizes := l.x.wires.Sizes(w.System)
	i := slices.IndexFunc(sizes, func(s wire.Size) bool { return s.ID == own.ID })
	for _, step := range []int{-2, -1, 1, 2} {
		if i >= 0 && i+step >= 0 && i+step < len(sizes) {
			code := "gauge_off_by_1"
			if step == 2 || step == -2 {
				code = "gauge_off_by_2"
			}
			put(code, sizes[i+step])
		}
	}
	var other wire.System
	switch w.System {
	case wire.SWG:
		other = wire.AWG
	case wire.AWG:
		other = wire.SWG
	default:
		return
	}
	if s, err := l.x.wires.Find(other, w.Size); err == nil {
		put("swg_awg_swapped", s)
	}
	if set == 0 && l.base.n == 2 {
		l.swapBoth(w.System, other)
	}
}

// swapBoth reads both windings in the other gauge system.
func (l *slipList) swapBoth(from, to wire.System) {
	var k [2]float64
	var sizes [2]wire.Size
	for i := range k {
		s := &l.base.sets[i]
		if len(s.wires) != 1 || s.wires[0].System != from {
			return
		}
		a, err1 := l.x.wires.Find(from, s.wires[0].Size)
		b, err2 := l.x.wires.Find(to, s.wires[0].Size)
		if err1 != nil || err2 != nil {
			return
		}
		k[i], sizes[i] = sq(float64(b.Diameter/a.Diameter)), b
	}
	l.add("swg_awg_swapped", l.field(0, "wires[0].system"), string(to), 1, func(f *sheetFacts) bool {
		for i := range k {
			f.sets[i].area *= k[i]
			w := f.sets[i].wires[0]
			f.sets[i].wires = []wire.Wire{{System: to, Size: sizes[i].Size, Conductor: w.Conductor, Strands: w.Strands}}
		}
		return true
	})
}
