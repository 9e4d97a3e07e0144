package match

import (
	"fmt"
	"math"
	"slices"
	"strconv"

	"statorbook/internal/errs"
	"statorbook/internal/unit"
	"statorbook/internal/winding"
)

// edit is one slip undone.
type edit struct {
	slip   errs.Slip
	weight float64 // share of the slip's kind
	log    float64 // likelihood of the sheet without it
}

// slipList gathers the edits of a sheet by kind; every kind has the same weight in all, shared
// among its variants.
type slipList struct {
	x       *Index
	base    *sheetFacts
	scorer  *scorer
	without sheetFacts // the sheet with the slip at hand undone
	out     []edit
}

// slipsOf lists about a hundred single slips and how likely the sheet would be without each.
func (s *scorer) slipsOf(f *sheetFacts) []edit {
	l := &slipList{x: s.x, base: f, scorer: s, out: make([]edit, 0, 256)}
	for set := range f.n {
		l.wires(set)
		l.turnsOf(set)
		l.coils(set)
		l.masses(set)
		l.digits(set)
		l.throws(set)
	}
	l.bothWindings()
	l.plate()
	l.core()
	l.share()
	return l.out
}

// share splits the weight of each kind among its variants, keeping what a variant brought along.
func (l *slipList) share() {
	sum := map[string]float64{}
	for i := range l.out {
		sum[l.out[i].slip.Code] += l.out[i].weight
	}
	for i := range l.out {
		l.out[i].weight /= sum[l.out[i].slip.Code]
	}
}

// add judges the base with a change; change returns false if it makes no sense.
func (l *slipList) add(code, field, corrected string, weight float64, change func(f *sheetFacts) bool) {
	l.without = *l.base
	if change(&l.without) {
		l.out = append(l.out, edit{errs.Slip{Code: code, Field: field, Corrected: corrected}, weight, l.scorer.logLikelihood(&l.without)})
	}
}

func (l *slipList) field(set int, name string) string {
	return fmt.Sprintf("scheme.coil_sets[%d].%s", l.base.sets[set].at, name)
}

// number prints a corrected figure shortly.
func number(v float64) string { return strconv.FormatFloat(v, 'g', 6, 64) }

// turnsOf lists turns halved, doubled, and digits of each coil.
func (l *slipList) turnsOf(set int) {
	s := &l.base.sets[set]
	scaled := func(k float64) func(*sheetFacts) bool {
		return func(f *sheetFacts) bool {
			t := slices.Clone(f.sets[set].turns)
			for i := range t {
				t[i] *= k
			}
			f.sets[set].turns = t
			return true
		}
	}
	name := l.field(set, "pattern.turns")
	l.add("turns_halved", name, number(2*s.total()/s.groups), 1, scaled(2))
	l.add("turns_doubled", name, number(s.total()/s.groups/2), 1, scaled(0.5))
	for i, t := range s.turns {
		at := l.field(set, fmt.Sprintf("pattern.turns[%d]", i))
		put := func(code string, values []float64) {
			for _, v := range values {
				l.add(code, at, number(v), 1, func(f *sheetFacts) bool {
					turns := slices.Clone(f.sets[set].turns)
					turns[i] = v
					f.sets[set].turns = turns
					return true
				})
			}
		}
		text := number(t)
		put("turns_digit_swap", swaps(text))
		put("turns_digit_wrong", wrongDigits(text))
	}
}

// coils lists groups halved and paths wrong.
func (l *slipList) coils(set int) {
	s := &l.base.sets[set]
	if s.kind != "" {
		for _, k := range []float64{2, 0.5} {
			g := s.groups * k
			if g != math.Trunc(g) || g < 1 {
				continue
			}
			w := 1.0
			if k < 1 {
				w = 0.1
			}
			l.add("coils_halved", l.field(set, "pattern.groups"), number(g), w, func(f *sheetFacts) bool {
				f.sets[set].groups = g
				return f.relay(&f.sets[set])
			})
		}
	}
	for _, p := range []float64{1, 2, 4} {
		if p != s.paths && (p == 1 || p == 2*s.paths || 2*p == s.paths) {
			l.add("paths_wrong", l.field(set, "parallel_paths"), number(p), 1, func(f *sheetFacts) bool { f.sets[set].paths = p; return true })
		}
	}
}

// masses lists the mass of all copper entered for one set.
func (l *slipList) masses(set int) {
	s := &l.base.sets[set]
	if s.mass.n == 0 {
		return
	}
	m := s.mass.middle()
	to := func(v, sd float64) {
		l.add("mass_of_both", l.field(set, "mass_g"), s.mass.asTyped(v), 1, func(f *sheetFacts) bool {
			k := &f.sets[set]
			k.mass, k.massSD = k.mass.times(v/s.mass.middle()), math.Hypot(k.massSD, sd)
			return true
		})
	}
	switch {
	case l.base.phases == 3:
		m /= 3
	case l.base.n < 2:
		m /= 2
	default:
		o := &l.base.sets[1-set]
		own, other := s.copper(l.base), o.copper(l.base)
		if math.IsNaN(other) || math.IsNaN(own) {
			m /= 2
		} else {
			m *= own / (own + other)
		}
		if other := o.mass.middle(); other < s.mass.middle() {
			to(s.mass.middle()-other, 0)
		}
	}
	to(m, 0.05)
}

// copper is the metal that turns, wire and mean turn make, in g.
func (s *setFacts) copper(f *sheetFacts) float64 {
	return s.total() * f.meanTurn(s) * s.area * math.Exp(s.lnDelta)
}

// digits lists digit slips of mass and resistance, and a resistance between two leads.
func (l *slipList) digits(set int) {
	s := &l.base.sets[set]
	l.digitsOf("mass_digit_swap", "mass_g", &s.mass, func(f *sheetFacts) *setFigures { return &f.sets[set].mass })
	l.digitsOf("r_digit_swap", "resistance_ohm", &s.ohm, func(f *sheetFacts) *setFigures { return &f.sets[set].ohm })
	if l.base.phases == 3 && s.ohm.n > 0 {
		k := 0.5 // star: two phases in series between two leads
		if l.base.connection == winding.ConnDelta {
			k = 1.5 // delta: one phase beside two in series, 2/3 of a phase
		}
		l.add("r_line_to_line", l.field(set, "resistance_ohm"), s.ohm.asTyped(s.ohm.v[0]*k), 1, func(f *sheetFacts) bool {
			f.sets[set].ohm = f.sets[set].ohm.times(k)
			return true
		})
	}
}

// digitsOf lists other digits of a mass or resistance: of each phase where they were typed apart, else of all.
func (l *slipList) digitsOf(code, name string, g *setFigures, of func(*sheetFacts) *setFigures) {
	n := g.n
	if g.alike() {
		n = min(n, 1)
	}
	for i := range n {
		have, was := g.typed[i], g.v[i]
		at := fmt.Sprintf("scheme.coil_sets[%d].%s", have.at, name)
		put := func(v, weight float64) {
			l.add(code, at, number(v), weight, func(f *sheetFacts) bool {
				to := of(f)
				if n < g.n {
					*to = to.times(v * have.unit / was)
				} else {
					to.v[i] = v * have.unit
				}
				return true
			})
		}
		typed := was / have.unit
		for _, v := range append(swaps(have.text), typed*10, typed/10) {
			put(v, 1)
		}
		for _, v := range wrongDigits(have.text) {
			put(v, 0.1)
		}
	}
}

// throws lists each throw off by one or two.
func (l *slipList) throws(set int) {
	s := &l.base.sets[set]
	for i, t := range s.throws {
		for _, d := range []int{-2, -1, 1, 2} {
			v := t + d
			if v < 2 || v > int(l.base.slots) {
				continue
			}
			code := "throw_off_by_1"
			if d == 2 || d == -2 {
				code = "throw_off_by_2"
			}
			l.add(code, l.field(set, fmt.Sprintf("pattern.throws[%d]", i)), strconv.Itoa(v), 1, func(f *sheetFacts) bool { return f.rethrow(set, i, v) })
		}
	}
}

// rethrow sets one throw; a coil round one tooth is a tooth coil.
func (f *sheetFacts) rethrow(set, i, v int) bool {
	k := &f.sets[set]
	k.throws = slices.Clone(k.throws)
	k.throws[i] = v
	if len(k.throws) == 1 && f.phases == 1 {
		switch {
		case v == 2 && k.kind == winding.Lap:
			k.kind = winding.Tooth
		case v != 2 && k.kind == winding.Tooth:
			k.kind = winding.Lap
		}
	}
	return f.relay(k)
}

// bothWindings lists slips between main and auxiliary.
func (l *slipList) bothWindings() {
	if l.base.n < 2 {
		return
	}
	l.add("main_aux_swapped", "scheme.coil_sets", "main and auxiliary", 1, func(f *sheetFacts) bool {
		f.sets[0], f.sets[1] = f.sets[1], f.sets[0]
		f.sets[0].role, f.sets[1].role = winding.Main, winding.Auxiliary
		if f.sets[0].back != f.sets[1].back { // the rings stay with the roles: practice differs, the record's own order is kept
			f.sets[0].back, f.sets[1].back = f.sets[1].back, f.sets[0].back
			f.sets[0].lnRoom, f.sets[1].lnRoom = f.sets[1].lnRoom, f.sets[0].lnRoom
			f.sets[0].arcPitch, f.sets[1].arcPitch = f.sets[1].arcPitch, f.sets[0].arcPitch
		}
		return true
	})
	a, b := l.base.sets[0].mass, l.base.sets[1].mass
	if a.n+b.n > 0 {
		corrected := ""
		if b.n > 0 {
			corrected = b.asTyped(b.v[0])
		}
		l.add("mass_swapped", l.field(0, "mass_g"), corrected, 1, func(f *sheetFacts) bool {
			f.sets[0].mass, f.sets[1].mass = b, a
			f.sets[0].massSD, f.sets[1].massSD = f.sets[1].massSD, f.sets[0].massSD
			return true
		})
	}
}

// plate lists slips of the nameplate: connection, voltage, poles.
func (l *slipList) plate() {
	f0 := l.base
	if f0.phases == 3 && f0.connection != "" {
		to := winding.ConnStar
		if f0.connection == winding.ConnStar {
			to = winding.ConnDelta
		}
		l.add("star_delta_swapped", "nameplate.connection", string(to), 1, func(f *sheetFacts) bool { f.connection = to; return true })
	}
	seen := []float64{f0.volts}
	for i := range l.x.designs {
		d := &l.x.designs[i]
		if i == 0 || d.phases != f0.phases || l.x.model.design[i] < 1e-3 || math.Abs(math.Log(d.voltage/f0.volts)) < 0.2 || slices.Contains(seen, d.voltage) || math.IsNaN(f0.volts) {
			continue
		}
		seen = append(seen, d.voltage)
		v := d.voltage
		l.add("voltage_wrong", "nameplate.voltage_v", number(v), 1, func(f *sheetFacts) bool { f.volts = v; return true })
	}
	for _, p := range []int{2, 4, 6, 8, 10, 12, 14, 16, 18} {
		if p == f0.poles || float64(p) > f0.slots {
			continue
		}
		l.add("poles_wrong", "scheme.poles", strconv.Itoa(p), 1, func(f *sheetFacts) bool {
			f.poles = p
			f.iron()
			for i := range f.n {
				if !f.relay(&f.sets[i]) {
					return false
				}
			}
			return true
		})
	}
}

// core lists other readings of the stack.
func (l *slipList) core() {
	if !(l.base.stack > 0) {
		return
	}
	m := l.base.core.StackLength
	if !usable(m) {
		m = unit.Of(l.base.stack)
	}
	for _, a := range alternatives(m) {
		v := a.value
		l.add("stack_blunder", "core_as_measured.stack_length_mm", number(v), a.weight, func(f *sheetFacts) bool { f.stack = v; return true })
	}
}
