package simworld

import (
	"iter"
	"slices"

	"statorbook/internal/catalog"
	"statorbook/internal/winding"
	"statorbook/internal/wire"
)

// Entry is one record sheet as somebody keyed it in. Slip is the code of the one slip in it, ""
// for a clean sheet; Field is the dotted name of where it lies, Was and Is what it changed.
type Entry struct {
	ID             string
	Winding        catalog.Winding // without ids, state and provenance
	Slip           string
	Field, Was, Is string
}

// Entries yields the record sheets of the world in a fixed order, about half of them with one slip.
func (w *World) Entries() iter.Seq[Entry] {
	return func(yield func(Entry) bool) {
		for i := range w.cfg.Entries {
			if !yield(w.entry(i)) {
				return
			}
		}
	}
}

// entry makes record sheet i: a machine of a family of the catalogue or of an unlisted one, measured
// afresh, and perhaps one slip of the pen.
func (w *World) entry(i int) Entry {
	for try := 0; ; try++ {
		d := newDice(w.cfg.Seed, "entry", i*64+try)
		var m machine
		ok := false
		if d.chance(0.5) {
			m, ok = w.recorded(d)
		} else {
			m, ok = w.newFamily(d, i*64+try)
		}
		if !ok {
			continue
		}
		e := Entry{ID: "E" + padded(i), Winding: w.keyed(d, &m)}
		if !d.chance(0.5) || w.slip(d, &m.design, &e) {
			return e
		}
	}
}

// keyed is the sheet of a machine before any slip.
func (w *World) keyed(d dice, m *machine) catalog.Winding {
	g := &m.design
	hand := recorder{scale: d.between(0.4, 1.4), miss: 0.7 * w.c.RecordMiss}
	out := g.record(d, hand.measure(d, g.lam.core(g.stack)), scale{mass: w.c.MassScatter, ohms: w.c.OhmScatter, states: []string{"bare", "bare", "bare", "enamelled", "varnished"},
		noMass: 0.28, noOhms: 0.33, cold: span{15, 36}})
	out.Origin = []string{factory, rewound, unknownOrigin}[d.index(0.5, 0.2, 0.3)]
	out.TimesSeen = 1
	return out
}

// slipper is one kind of slip: apply changes the sheet and says what, or says that it cannot.
type slipper struct {
	code  string
	apply func(*slipping) bool
}

// slipping is a sheet in the hands of somebody who is about to make one mistake.
type slipping struct {
	d     dice
	table *stockroom
	g     *design
	w     *catalog.Winding
	entry *Entry
}

// note records what changed.
func (s *slipping) note(field, was, is string) bool {
	s.entry.Field, s.entry.Was, s.entry.Is = field, was, is
	return was != is
}

// set draws one coil set of the sheet and its dotted name.
func (s *slipping) set() (*winding.CoilSet, string) {
	i := s.d.r.IntN(len(s.w.Scheme.CoilSets))
	return &s.w.Scheme.CoilSets[i], setName(i)
}

// Slips lists the codes of the slips that are made, in the order of the contract.
func Slips() []string {
	codes := make([]string, len(slippers))
	for i, s := range slippers {
		codes[i] = s.code
	}
	return codes
}

// slip makes one slip that the sheet admits; false if the drawn kind does not fit it.
func (w *World) slip(d dice, g *design, e *Entry) bool {
	kind := slippers[d.r.IntN(len(slippers))]
	changed := deepCopy(e.Winding)
	s := slipping{d: d, table: &w.stock, g: g, w: &changed, entry: e}
	if !kind.apply(&s) {
		e.Field, e.Was, e.Is = "", "", ""
		return false
	}
	e.Winding, e.Slip = changed, kind.code
	return true
}

// deepCopy copies as much of a record as a slip may change.
func deepCopy(w catalog.Winding) catalog.Winding {
	if w.CoreAsMeasured != nil {
		core := copyCore(*w.CoreAsMeasured)
		w.CoreAsMeasured = &core
	}
	w.Scheme.CoilSets = slices.Clone(w.Scheme.CoilSets)
	for i := range w.Scheme.CoilSets {
		set := &w.Scheme.CoilSets[i]
		p := *set.Pattern
		p.Throws, p.Turns = slices.Clone(p.Throws), slices.Clone(p.Turns)
		set.Pattern = &p
		set.Wires = append([]wire.Wire(nil), set.Wires...)
	}
	return w
}
