package match

import (
	"math"

	"statorbook/internal/stator"
	"statorbook/internal/wire"
)

// Builder holds a catalogue and makes an Index of it, as often as the catalogue changes. Families and
// records come in any order, but a family before its records: some figures of a record are worked out
// on the core of its family. The same families and records give the same Index bit for bit, whatever
// came and went before. It is not safe for concurrent use; the indexes that it made are.
type Builder struct {
	wires     *wire.Table
	fams      []famBuild
	famIDs    idList
	famAt     idTable
	freeFams  []uint32
	cores     []coreBuild
	coreIDs   idList
	freeCores []uint32
	recs      []recBuild
	recIDs    idList
	recAt     idTable
	freeRecs  []uint32
	byID      []uint32 // records in the order of their identifiers, as of the last Build
	famsBy    []uint32 // families in the order of the last index
	figures   []uint16 // turns and wires of the records, and of records that are gone
	shapes    interned
	sizes     []shapeSize // of the shapes
	wireCodes interned
	designs   []design
	designAt  map[design]uint32
	texts     [nTexts]interned
	coppers   dictionary[conductor]
	kinds     dictionary[kindBuild]
	sheets    sheetSample
}

// famBuild is a lamination while building.
type famBuild struct {
	own                       vec // values that came with the family
	slots, ring2Slots, phases int
	rotor                     uint8
	second                    bool
	entered                   bool     // as a family, not only by its records
	cores                     []uint32 // those with an identifier
}

// coreBuild is a stack while building.
type coreBuild struct {
	fam     uint32
	stack   float64 // mm, as it came with the family, NaN = not
	entered bool
}

// The texts of a record that are interned.
const (
	textStatus = iota
	textMotor
	textOrigin
	textClass
	nTexts
)

// kindBuild is the kind of a record while building.
type kindBuild struct {
	texts [nTexts]uint32
	taps  uint8
}

// recBuild is a record while building. Numbers of shape, design, wires and texts are the Builder's own.
type recBuild struct {
	record
	core       uint32
	design     uint32
	scheme     uint32 // its shape
	figuresAt  uint32
	series     [2]float32    // turns of main (or phase u) and auxiliary, 0 = not known
	copper     [2]uint32     // likewise, conductors
	words      uint32        // its kind
	sheet      uint32        // 1 + its place in the sample of sheets, 0 = not in it
	mass       [2]setMass    // of main (or phase u) and auxiliary
	dims       [nLam]float32 // as measured by the record's maker, NaN = not
	stack      float32
	slots      int32
	ring2Slots int32
	corePhases uint8
	rotor      uint8
	second     bool
	measured   bool // its core was measured
	live       bool
	listed     bool  // in Builder.byID
	ownCore    bool  // the record has no core, and one of its own stands in
	ownFamily  bool  // likewise
	level      uint8 // in the sample of sheets
}

// NewBuilder returns an empty Builder that resolves wires with the given table. A nil table leaves
// only wires that tell their own diameter.
func NewBuilder(wires *wire.Table) *Builder {
	b := &Builder{wires: wires, famAt: newIDTable(), recAt: newIDTable(), designAt: map[design]uint32{},
		coppers: newDictionary[conductor](math.MaxUint32), kinds: newDictionary[kindBuild](math.MaxUint32)}
	for i := range b.texts {
		b.texts[i].add(nil) // number 0 is the empty text
	}
	return b
}

// rotor positions as numbers; an unknown position counts as inside.
const (
	rotorInside = iota
	rotorOutside
)

func rotorOf(p stator.RotorPosition) uint8 {
	if p == stator.RotorOutside {
		return rotorOutside
	}
	return rotorInside
}

// AddFamily takes a lamination design and its stacks in. A second entry with the same id adds its
// stacks; to change the dimensions, remove the family, add it and add its records again.
func (b *Builder) AddFamily(e FamilyEntry) {
	n := b.family(e.ID)
	f := &b.fams[n]
	core := &e.Core
	if f.slots == 0 {
		f.slots, f.rotor = core.Slots, rotorOf(core.RotorPosition)
	}
	if f.phases == 0 {
		f.phases = core.Phases
	}
	if core.SecondRing != nil {
		f.second = true
		if f.ring2Slots == 0 {
			f.ring2Slots = core.SecondRing.Slots
		}
	}
	if !f.entered {
		f.own, f.entered = measuredVec(core), true
	}
	for _, c := range e.Cores {
		at := b.core(c.ID, n)
		b.cores[at].entered = true
		if usable(c.StackLength) {
			b.cores[at].stack = c.StackLength.Value
		}
	}
}

// RemoveFamily takes a family out, with its stacks and all its records. It tells whether it was there.
func (b *Builder) RemoveFamily(id string) bool {
	n, ok := b.famAt.get(id)
	if !ok {
		return false
	}
	for r := range b.recs {
		if b.recs[r].live && b.cores[b.recs[r].core].fam == n {
			b.dropRecord(uint32(r))
		}
	}
	b.famAt.drop(id)
	b.freeFamily(n)
	return true
}

// AddRecord takes a published winding record in, in place of the one with the same id if there is
// one. A record whose family or core was not added makes it from its own core_as_measured; one
// without family or core is a lamination or a stack of its own. A shaded-pole motor is not taken in.
func (b *Builder) AddRecord(e RecordEntry) {
	n, ok := b.recAt.get(e.ID)
	if ok {
		b.dropRecord(n)
	}
	if e.MotorType == shadedPole {
		return
	}
	if len(b.freeRecs) > 0 {
		last := len(b.freeRecs) - 1
		n, b.freeRecs = b.freeRecs[last], b.freeRecs[:last]
		b.recIDs.set(n, e.ID)
	} else {
		n = b.recIDs.add(e.ID)
		b.recs = append(b.recs, recBuild{})
	}
	b.recAt.put(e.ID, n)
	b.pack(&b.recs[n], &e)
}

// RemoveRecord takes a record out. It tells whether it was there.
func (b *Builder) RemoveRecord(id string) bool {
	n, ok := b.recAt.get(id)
	if ok {
		b.dropRecord(n)
	}
	return ok
}

// Complete tells whether the Builder still holds all that a fresh one would hold of the same
// catalogue. It may not after half of a catalogue of over 16,000 records was removed: the record check
// then learns from fewer sheets than it could, and a fresh load is due.
func (b *Builder) Complete() bool { return b.sheets.complete() }

// dropRecord forgets a record, and the stack and lamination that stood in for it.
func (b *Builder) dropRecord(n uint32) {
	r := &b.recs[n]
	b.recAt.drop(b.recIDs.at(n))
	b.sheets.drop(r)
	if r.ownFamily {
		b.freeFamily(b.cores[r.core].fam)
	}
	if r.ownCore {
		b.freeCore(r.core)
	}
	*r = recBuild{}
	b.freeRecs = append(b.freeRecs, n)
}

// family finds or makes a family.
func (b *Builder) family(id string) uint32 {
	n, ok := b.famAt.get(id)
	if !ok {
		n = b.newFamily(id)
		b.famAt.put(id, n)
	}
	return n
}

func (b *Builder) newFamily(id string) uint32 {
	if last := len(b.freeFams) - 1; last >= 0 {
		n := b.freeFams[last]
		b.freeFams = b.freeFams[:last]
		b.famIDs.set(n, id)
		return n
	}
	b.fams = append(b.fams, famBuild{own: unknownVec()})
	return b.famIDs.add(id)
}

// freeFamily forgets a family and the cores that it has by their identifiers.
func (b *Builder) freeFamily(n uint32) {
	for _, c := range b.fams[n].cores {
		b.freeCore(c)
	}
	b.fams[n] = famBuild{own: unknownVec()}
	b.freeFams = append(b.freeFams, n)
}

// core finds or makes a core of a family.
func (b *Builder) core(id string, fam uint32) uint32 {
	f := &b.fams[fam]
	for _, c := range f.cores {
		if b.coreIDs.is(c, id) {
			return c
		}
	}
	n := b.newCore(id, fam)
	f.cores = append(f.cores, n)
	return n
}

func (b *Builder) newCore(id string, fam uint32) (n uint32) {
	if last := len(b.freeCores) - 1; last >= 0 {
		n, b.freeCores = b.freeCores[last], b.freeCores[:last]
		b.coreIDs.set(n, id)
	} else {
		n = b.coreIDs.add(id)
		b.cores = append(b.cores, coreBuild{})
	}
	b.cores[n] = coreBuild{fam: fam, stack: math.NaN()}
	return n
}

func (b *Builder) freeCore(n uint32) {
	b.cores[n] = coreBuild{stack: math.NaN()}
	b.freeCores = append(b.freeCores, n)
}

// place finds or makes the core on which a record lies.
func (b *Builder) place(r *recBuild, e *RecordEntry) (core, fam uint32) {
	if e.FamilyID == "" {
		r.ownFamily = true
		fam = b.newFamily("")
	} else {
		fam = b.family(e.FamilyID)
	}
	if e.CoreID == "" {
		r.ownCore = true
		return b.newCore("", fam), fam
	}
	return b.core(e.CoreID, fam), fam
}

// unknownVec has no dimension known.
func unknownVec() (v vec) {
	for i := range v {
		v[i] = math.NaN()
	}
	return v
}

// grossToNet is the net share of a gross slot area: liner, wedge and mouth take the rest (common
// practice, no source).
const grossToNet = 0.84

// measuredVec lists the lamination dimensions of a core, areas as net.
func measuredVec(c *stator.Core) vec {
	v := unknownVec()
	for d := dGap; d < dStack; d++ {
		if m := d.of(c); usable(m) {
			v[d] = m.Value
		}
	}
	if c.SlotAreaBasis == stator.AreaGross {
		v[dArea] *= grossToNet
		v[dArea2] *= grossToNet
	}
	return v
}
