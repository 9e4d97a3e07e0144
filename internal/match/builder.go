package match

import (
	"math"

	"statorbook/internal/stator"
	"statorbook/internal/unit"
	"statorbook/internal/winding"
	"statorbook/internal/wire"
)

// Builder takes a catalogue in as a stream, families and records in any order, and makes an Index
// of it. It is not safe for concurrent use.
type Builder struct {
	wires    *wire.Table
	famByID  map[string]uint32
	fams     []famBuild
	famIDs   idList
	coreByID map[string]uint32
	cores    []coreBuild
	coreIDs  idList
	recs     []record
	recIDs   idList
	recCore  []uint32
	recDims  [][nLam]float32 // as measured by the record's maker, NaN = not
	recStack []float32
	turns    []uint16
	shapes   shapes
	wireSets wireSets
	designs  designs
	texts    struct{ status, motor, origin, class texts }
	sheets   sheetSample
}

// famBuild is a lamination while building.
type famBuild struct {
	own        vec // pooled values that came with the family
	slots      int
	ring2Slots int
	phases     int
	rotor      uint8
	second     bool
}

// coreBuild is a stack while building.
type coreBuild struct {
	fam   uint32
	stack float64 // as it came with the family, NaN = not
}

// record is a winding record as the index keeps it.
type record struct {
	turnsMain, areaMain     float32 // series turns; mm² of one turn; 0 = not known
	turnsAux, areaAux       float32
	seen                    float32 // times seen + ½, the weight of popularity
	shape, turnsAt, wireSet uint32
	power, current, speed   uint16 // packed logarithms, 0 = absent
	capacitor               uint16
	massMain, massAux       uint16 // g of one set, packed; computed where not weighed
	kwMain                  uint16 // packed winding factor
	design                  uint16 // phases, voltage, frequency, connection
	poles                   uint8
	class, status           uint8
	motor, origin           uint8
	taps                    uint8
	wiresMain, wiresAux     uint8 // strands × paths
	buildMain, buildAux     uint8 // enamel build, 0 = not known
}

// NewBuilder returns an empty Builder that resolves wires with the given table. A nil table leaves
// only wires that tell their own diameter.
func NewBuilder(wires *wire.Table) *Builder {
	return &Builder{wires: wires, famByID: map[string]uint32{}, coreByID: map[string]uint32{}}
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

// AddFamily takes a lamination design and its stacks in. A second entry with the same id adds its stacks.
func (b *Builder) AddFamily(e FamilyEntry) {
	f := b.family(e.ID, &e.Core)
	for _, c := range e.Cores {
		n := b.core(c.ID, f)
		if usable(c.StackLength) {
			b.cores[n].stack = c.StackLength.Value
		}
	}
}

// family finds or makes a family; core fills what is not known yet.
func (b *Builder) family(id string, core *stator.Core) uint32 {
	n, ok := b.famByID[id]
	if !ok {
		n = b.famIDs.add(id)
		b.famByID[id] = n
		b.fams = append(b.fams, famBuild{own: unknownVec()})
	}
	f := &b.fams[n]
	if core == nil {
		return n
	}
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
	if !ok {
		f.own = measuredVec(core)
	}
	return n
}

// core finds or makes a core of a family.
func (b *Builder) core(id string, fam uint32) uint32 {
	n, ok := b.coreByID[id]
	if !ok {
		n = b.coreIDs.add(id)
		b.coreByID[id] = n
		b.cores = append(b.cores, coreBuild{fam: fam, stack: math.NaN()})
	}
	return n
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

// AddRecord takes a published winding record in. A record whose family or core was not added makes
// it from its own core_as_measured.
func (b *Builder) AddRecord(e RecordEntry) {
	fam := b.family(e.FamilyID, e.CoreAsMeasured)
	core := b.core(e.CoreID, fam)
	b.recIDs.add(e.ID)
	b.recCore = append(b.recCore, core)
	dimensions := unknownVec()
	stack := math.NaN()
	if e.CoreAsMeasured != nil {
		dimensions = measuredVec(e.CoreAsMeasured)
		if usable(e.CoreAsMeasured.StackLength) {
			stack = e.CoreAsMeasured.StackLength.Value
		}
	}
	var packed [nLam]float32
	for i, v := range dimensions {
		packed[i] = float32(v)
	}
	b.recDims = append(b.recDims, packed)
	b.recStack = append(b.recStack, float32(stack))
	b.recs = append(b.recs, b.pack(&e, &b.fams[fam], dimensions, stack, b.cores[core].stack))
}

// pack makes the index form of a record.
func (b *Builder) pack(e *RecordEntry, f *famBuild, v vec, stack, coreStack float64) record {
	np := &e.Nameplate
	r := record{
		seen:  float32(max(e.TimesSeen, 0)) + 0.5,
		power: packLog(given(np.Power)), current: packLog(given(np.Current)), speed: packLog(given(np.Speed)), capacitor: packLog(given(np.CapacitorUF)),
		class: b.texts.class.add(np.InsulationClass), status: b.texts.status.add(e.Status), motor: b.texts.motor.add(e.MotorType), origin: b.texts.origin.add(e.Origin),
		taps: uint8(min(max(np.SpeedTaps, 0), math.MaxUint8)),
	}
	poles := e.Scheme.Poles
	if poles == 0 {
		poles = np.Poles
	}
	r.poles = uint8(min(max(poles, 0), math.MaxUint8))
	r.design = b.designs.add(design{phases: phasesOf(e, f), voltage: given(np.Voltage), frequency: given(np.Frequency), connection: np.Connection})
	shape, turns := b.shapes.add(&e.Scheme)
	r.shape, r.turnsAt = shape, uint32(len(b.turns))
	b.turns = packTurns(b.turns, turns)
	r.wireSet = b.wireSets.add(&e.Scheme)
	core := b.coreFor(e, f, v, stack, coreStack)
	b.packSets(&r, &e.Scheme, poles, &core)
	b.sheets.add(e, &core, b.wires)
	return r
}

// given returns a usable figure, else 0.
func given(m unit.Measured) float64 {
	if usable(m) {
		return m.Value
	}
	return 0
}

// phasesOf tells for how many phases a record is wound: by its roles, else as its core says.
func phasesOf(e *RecordEntry, f *famBuild) int {
	for i := range e.Scheme.CoilSets {
		if e.Scheme.CoilSets[i].Role.IsPhase() {
			return 3
		}
		if r := e.Scheme.CoilSets[i].Role; r == winding.Main || r == winding.Auxiliary {
			return 1
		}
	}
	if e.CoreAsMeasured != nil && e.CoreAsMeasured.Phases != 0 {
		return e.CoreAsMeasured.Phases
	}
	if f.phases == 3 {
		return 3
	}
	return 1
}

// coreFor is the core on which the coils of a record lie: as the record measured it, gaps filled
// from its family.
func (b *Builder) coreFor(e *RecordEntry, f *famBuild, v vec, stack, coreStack float64) stator.Core {
	for i := range v {
		if math.IsNaN(v[i]) {
			v[i] = f.own[i]
		}
	}
	if math.IsNaN(stack) {
		stack = coreStack
	}
	slots := f.slots
	if e.CoreAsMeasured != nil && e.CoreAsMeasured.Slots > 0 {
		slots = e.CoreAsMeasured.Slots
	}
	return coreOf(v, stack, slots, f.ring2Slots, f.rotor, f.second)
}

// coreOf makes a core of plain figures; NaN leaves a field absent.
func coreOf(v vec, stack float64, slots, ring2Slots int, rotor uint8, second bool) stator.Core {
	c := stator.Core{RotorPosition: stator.RotorInside, Slots: slots, SlotAreaBasis: stator.AreaNet}
	if rotor == rotorOutside {
		c.RotorPosition = stator.RotorOutside
	}
	m := func(x float64) unit.Measured {
		if x > 0 && !math.IsInf(x, 1) {
			return unit.Of(x)
		}
		return unit.Measured{}
	}
	c.GapDiameter, c.BackDiameter, c.ToothWidth, c.SlotDepth = m(v[dGap]), m(v[dBack]), m(v[dTooth]), m(v[dDepth])
	c.SlotOpening, c.BackIron, c.SlotArea, c.StackLength = m(v[dOpening]), m(v[dYoke]), m(v[dArea]), m(stack)
	if second {
		c.SecondRing = &stator.Ring{Slots: ring2Slots, ToothWidth: m(v[dTooth2]), SlotDepth: m(v[dDepth2]), SlotOpening: m(v[dOpening2]), SlotArea: m(v[dArea2])}
	}
	return c
}

// packSets fills turns, areas, winding factors and masses of the main (or phase u) and auxiliary sets.
func (b *Builder) packSets(r *record, sc *winding.Scheme, poles int, core *stator.Core) {
	if i := primarySet(sc); i >= 0 {
		n, kw, area, mass := b.setFigures(&sc.CoilSets[i], poles, core)
		r.turnsMain, r.kwMain, r.areaMain, r.massMain = float32(n), packLog(kw), float32(area), packLog(mass)
		r.wiresMain, r.buildMain = wiresOf(&sc.CoilSets[i])
	}
	if i := auxiliarySet(sc); i >= 0 {
		n, _, area, mass := b.setFigures(&sc.CoilSets[i], poles, core)
		r.turnsAux, r.areaAux, r.massAux = float32(n), float32(area), packLog(mass)
		r.wiresAux, r.buildAux = wiresOf(&sc.CoilSets[i])
	}
}

// setFigures gives series turns, winding factor, copper of one turn and mass of one set, 0 where
// not known. A mass that was not weighed bare is computed.
func (b *Builder) setFigures(set *winding.CoilSet, poles int, core *stator.Core) (turns, kw, area, mass float64) {
	turns, kw, mlt := expanded(set, poles, core)
	if a, ok, err := winding.ConductorArea(*set, b.wires); err == nil && ok {
		area = float64(a)
	}
	if usable(set.Mass) {
		share, _ := winding.EnamelShare(set.MassState)
		return turns, kw, area, set.Mass.Value / (1 + share)
	}
	if mlt > 0 && area > 0 && turns > 0 {
		mass = turns * mlt * area * wire.DensityCopper * 1e-3
	}
	return turns, kw, area, mass
}

// wiresOf counts the strands of one turn, all paths, and numbers the enamel build.
func wiresOf(set *winding.CoilSet) (strands, build uint8) {
	n := 0
	for i := range set.Wires {
		n += max(set.Wires[i].Strands, 1)
		if i == 0 {
			build = buildNumber(set.Wires[i].Build)
		}
	}
	return uint8(min(n*winding.Paths(*set), math.MaxUint8)), build
}
