package simworld

import (
	"iter"
	"math"

	"statorbook/internal/stator"
	"statorbook/internal/unit"
	"statorbook/internal/winding"
)

// TruthKind says what a measured stator really is.
type TruthKind string

// The kinds of truth, as in the contract.
const (
	TruthRecord     TruthKind = "record"      // a catalogued record
	TruthNewWinding TruthKind = "new_winding" // a catalogued core, wound another way
	TruthNewStack   TruthKind = "new_stack"   // a catalogued lamination, another stack
	TruthNewFamily  TruthKind = "new_family"  // nothing of the catalogue
)

// truthShares are the shares of the four kinds, in that order.
var truthShares = []float64{0.70, 0.06, 0.09, 0.15}

// Truth is what a measured stator really is. Ids are empty where the catalogue has none.
type Truth struct {
	Kind                        TruthKind
	WindingID, CoreID, FamilyID string
	SeriesTurns                 float64  // of the main winding or phase u, in one path
	ConductorAreaMM2            float64  // mm², metal of one turn: strands × paths
	Blunders                    []string // dimensions with a gross error
	Miscounted                  bool     // the slots were miscounted
}

// Scrap is a piece of wire found in the core: diameter in mm.
type Scrap struct {
	Diameter           unit.Measured
	Coating, Condition string // bare|over_enamel|unknown ; clean|burnt|unknown
	Role               winding.Role
	Strands            int // 0 = not known
}

// Count is the counted turns of one coil.
type Count struct {
	Role  winding.Role
	Turns unit.Measured
}

// Remains is what was found besides dimensions. Masses in g.
type Remains struct {
	Wires                                    []Scrap
	Coils                                    []Count
	CopperMain, CopperAuxiliary, CopperTotal unit.Measured
}

// Query is one measured stator with its truth.
type Query struct {
	ID           string
	Measurements stator.Core
	MotorType    string
	Supply       *winding.Supply
	Nameplate    *winding.Nameplate
	Remains      *Remains
	Truth        Truth
}

// Queries yields the measured stators of the world in a fixed order.
func (w *World) Queries() iter.Seq[Query] {
	return func(yield func(Query) bool) {
		for i := range w.cfg.Queries {
			if !yield(w.query(i)) {
				return
			}
		}
	}
}

// query makes measured stator i.
func (w *World) query(i int) Query {
	d := newDice(w.cfg.Seed, "query", i)
	machine := w.machine(d, i)
	g := &machine.design
	q := Query{ID: "Q" + padded(i), Truth: machine.truth}
	q.Truth.SeriesTurns, q.Truth.ConductorAreaMM2 = g.sets[0].series(), g.conductorArea()
	t := w.hire(d)
	q.Measurements, q.Truth.Blunders = t.read(d, g.lam.core(g.stack), &w.c)
	if d.chance(w.c.Miscount) {
		q.Measurements.Slots += pick(d, 1, -1)
		q.Truth.Miscounted = true
	}
	if d.chance(0.04) {
		q.Measurements.Phases = 0
	}
	if d.chance(0.4) {
		q.MotorType = g.motorType
	}
	q.Nameplate = w.plate(d, machine.plate)
	if d.chance(w.c.Told) {
		q.Supply = site(d, g.supply, g.lam.kind.phases)
	}
	q.Remains = w.remains(d, g)
	return q
}

// machine is the stator on the bench before anybody touches it.
type machine struct {
	design design
	plate  winding.Nameplate
	truth  Truth
}

// machine draws what lies on the bench. Where a draw leads nowhere (no stack is left that the
// catalogue lacks, say), the next one is tried.
func (w *World) machine(d dice, i int) machine {
	kind := d.index(truthShares...)
	for try := 0; ; try++ {
		own := newDice(w.cfg.Seed, "machine", i*64+try)
		var m machine
		ok := false
		switch kind {
		case 0:
			m, ok = w.recorded(own)
		case 1:
			m, ok = w.newWinding(own)
		case 2:
			m, ok = w.newStack(own)
		default:
			m, ok = w.newFamily(own, i*64+try)
		}
		if ok {
			return m
		}
		if try%16 == 15 {
			kind = 0 // a catalogue of a few records may have no other
		}
	}
}

// recorded is a machine of a catalogued record.
func (w *World) recorded(d dice) (machine, bool) {
	p := w.popular(d)
	f := w.family(int(p.family))
	sheet := w.sheet(&f, int(p.record))
	m := machine{design: f.records[p.record].design, plate: sheet.Nameplate,
		truth: Truth{Kind: TruthRecord, WindingID: sheet.ID, CoreID: sheet.CoreID, FamilyID: sheet.FamilyID}}
	return m, true
}

// recordsOf is how many records of a family the catalogue holds.
func (w *World) recordsOf(family int) int { return w.start[family+1] - w.start[family] }

// newWinding is a catalogued core with a winding that no record of it comes near.
func (w *World) newWinding(d dice) (machine, bool) {
	p := w.popular(d)
	f := w.family(int(p.family))
	g, ok := w.design(d, &f, f.stacks[p.core])
	if !ok {
		return machine{}, false
	}
	for j := range w.recordsOf(f.index) {
		r := &f.records[j]
		if r.core == int(p.core) && r.design.supply == g.supply && r.design.poles == g.poles && math.Abs(math.Log(r.design.sets[0].series()/g.sets[0].series())) < 0.02 {
			return machine{}, false
		}
	}
	return machine{g, g.nameplate(d), Truth{Kind: TruthNewWinding, CoreID: w.coreID(&f, int(p.core)), FamilyID: id(w.name, w.familySlug(f.index))}}, true
}

// newStack is a catalogued lamination with a stack that the catalogue lacks.
func (w *World) newStack(d dice) (machine, bool) {
	p := w.uniform(d)
	f := w.family(int(p.family))
	step := 1.0
	if f.home.square {
		step = 5
	}
	s := w.otherStack(d, f.stacks[p.core], step)
	if taken(f.stacks, s) {
		return machine{}, false
	}
	g, ok := w.design(d, &f, s)
	if !ok {
		return machine{}, false
	}
	return machine{g, g.nameplate(d), Truth{Kind: TruthNewStack, FamilyID: id(w.name, w.familySlug(f.index))}}, true
}

// newFamily is a lamination that the catalogue lacks; it may be a near copy of one that it has.
func (w *World) newFamily(d dice, n int) (machine, bool) {
	l := w.stamping("unlisted", n, len(w.lams))
	f := familyWork{lam: &l, home: &w.makers[d.r.IntN(len(w.makers))], habit: d.firm(w.c.FamilyB)}
	g, ok := w.design(d, &f, w.stacks(d, &l, f.home)[0])
	if !ok {
		return machine{}, false
	}
	return machine{g, g.nameplate(d), Truth{Kind: TruthNewFamily}}, true
}

// site is the supply that the customer has: the nominal voltage of his mains, or what a meter
// showed there; not always what the machine was made for.
func site(d dice, made supply, phases int) *winding.Supply {
	v := made.volts
	if d.chance(0.12) { // the mains were renamed since: 220, 230, 240 and 380, 400, 415 are the same mains
		switch {
		case v >= 220 && v <= 240:
			v = pick(d, 220.0, 230, 240)
		case v >= 380 && v <= 415:
			v = pick(d, 380.0, 400, 415)
		}
	}
	s := &winding.Supply{Voltage: typed(whole(v)), Frequency: typed(whole(made.hertz)), Phases: phases, Connection: made.connection}
	if d.chance(0.25) {
		s.Voltage = read(v*d.firm(0.02), 1)
		s.Voltage.Uncertainty = 3
	}
	if phases == 3 && d.chance(0.4) {
		s.Connection = "" // nobody can tell any more
	}
	return s
}
