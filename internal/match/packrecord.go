package match

import (
	"math"

	"statorbook/internal/stator"
	"statorbook/internal/unit"
	"statorbook/internal/winding"
)

// record is a winding record as the index keeps it. Small numbers are places in lists of the index.
type record struct {
	power, current, speed uint16 // packed logarithms, 0 = absent
	capacitor             uint16
	massMain, massAux     uint16 // g of one set, packed; computed where not weighed
	kwMain                uint16 // packed winding factor
	design                uint16 // phases, voltage, frequency, connection
	kind                  uint16
	shape                 small
	main, aux             small // conductors
	turnsMain, turnsAux   small // series turns, see packSeries; 0 = not known
	seen                  small // times
	poles                 uint8
	massSD                [2]uint8 // sd of ln of both masses in steps of massStep
}

// pack fills the index form of a record.
func (b *Builder) pack(r *recBuild, e *RecordEntry) {
	np := &e.Nameplate
	r.live = true
	core, fam := b.place(r, e)
	r.core = core
	r.seen = newSmall(min(max(e.TimesSeen, 0), mostSeen))
	r.power, r.current, r.speed, r.capacitor = packLog(given(np.Power)), packLog(given(np.Current)), packLog(given(np.Speed)), packLog(given(np.CapacitorUF))
	k := kindBuild{taps: uint8(min(max(np.SpeedTaps, 0), math.MaxUint8))}
	for i, s := range [nTexts]string{textStatus: e.Status, textMotor: e.MotorType, textOrigin: e.Origin, textClass: classWord(np.InsulationClass)} {
		k.texts[i] = b.texts[i].add([]byte(s))
	}
	r.words = uint32(b.kinds.add(k))
	poles := e.Scheme.Poles
	if poles == 0 {
		poles = np.Poles
	}
	r.poles = uint8(min(max(poles, 0), math.MaxUint8))
	f := &b.fams[fam]
	r.design = b.design(design{phases: phasesOf(e, f), voltage: given(np.Voltage), frequency: given(np.Frequency), connection: np.Connection})
	key, turns, wires := splitScheme(&e.Scheme, &b.wireCodes)
	r.scheme, r.figuresAt = b.shapes.add(key), uint32(len(b.figures))
	if int(r.scheme) == len(b.sizes) {
		b.sizes = append(b.sizes, shapeSize{uint32(len(turns)), uint32(len(wires))})
	}
	b.figures = packFigures(packFigures(b.figures, turns), wires)
	dimensions, stack := r.measure(e.CoreAsMeasured)
	on := b.coreFor(e, f, dimensions, stack, b.cores[core].stack)
	b.packSets(r, &e.Scheme, poles, &on)
	b.sheets.add(r, e, &on, b.wires)
	b.sheets.thin(b.recs)
}

// measure notes the core as the record's maker measured it.
func (r *recBuild) measure(c *stator.Core) (v vec, stack float64) {
	v, stack = unknownVec(), math.NaN()
	if c != nil {
		v = measuredVec(c)
		if usable(c.StackLength) {
			stack = c.StackLength.Value
		}
		r.measured, r.slots, r.rotor, r.corePhases = true, clampInt32(c.Slots), rotorOf(c.RotorPosition), uint8(min(max(c.Phases, 0), math.MaxUint8))
		if c.SecondRing != nil {
			r.second, r.ring2Slots = true, clampInt32(c.SecondRing.Slots)
		}
	}
	for i := range v {
		r.dims[i] = float32(v[i])
	}
	r.stack = float32(stack)
	return v, stack
}

func clampInt32(n int) int32 { return int32(min(max(n, math.MinInt32), math.MaxInt32)) }

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
	slots, ring2, rotor, second := f.slots, f.ring2Slots, f.rotor, f.second
	if c := e.CoreAsMeasured; c != nil {
		if c.Slots > 0 {
			slots = c.Slots
		}
		if f.slots == 0 {
			rotor = rotorOf(c.RotorPosition)
		}
		if c.SecondRing != nil {
			second = true
			if ring2 == 0 {
				ring2 = c.SecondRing.Slots
			}
		}
	}
	return coreOf(v, stack, slots, ring2, rotor, second)
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
func (b *Builder) packSets(r *recBuild, sc *winding.Scheme, poles int, core *stator.Core) {
	if i := primarySet(sc); i >= 0 {
		n, kw, area, mass := b.setFigures(&sc.CoilSets[i], poles, core, &r.mass[0])
		r.series[0], r.kwMain, r.massMain = float32(n), packLog(kw), packLog(mass)
		r.copper[0] = uint32(b.coppers.add(conductorOf(&sc.CoilSets[i], area)))
	}
	if i := auxiliarySet(sc); i >= 0 {
		n, _, area, mass := b.setFigures(&sc.CoilSets[i], poles, core, &r.mass[1])
		r.series[1], r.massAux = float32(n), packLog(mass)
		r.copper[1] = uint32(b.coppers.add(conductorOf(&sc.CoilSets[i], area)))
	}
}

// setFigures gives series turns, winding factor, copper of one turn and mass of one set, 0 where
// not known, and notes how the mass compares with that of the form. A mass that was not weighed is
// that of the form; Build puts it right by what the weighed ones show.
func (b *Builder) setFigures(set *winding.CoilSet, poles int, core *stator.Core, by *setMass) (turns, kw, area, mass float64) {
	turns, kw, mlt := expanded(set, poles, core)
	if !(turns <= mostFigure) {
		turns = 0
	}
	c, ok, err := winding.ConductorOf(*set, b.wires)
	if err == nil && ok {
		area = float64(c.Area) * float64(winding.Paths(*set))
		mass = float64(c.Mass(turns*float64(winding.Paths(*set)), unit.Millimetre(mlt)))
	}
	weighed := 0.0
	if usable(set.Mass) {
		share, _ := winding.EnamelShare(set.MassState)
		weighed = set.Mass.Value / (1 + share)
	}
	*by = newSetMass(set, core, mlt, mass, weighed)
	if weighed > 0 || !(mass > 0) {
		mass = weighed
	}
	return turns, kw, area, mass
}

// conductorOf counts the strands of one turn, all paths, and numbers the enamel build.
func conductorOf(set *winding.CoilSet, area float64) conductor {
	n, build := 0, uint8(0)
	for i := range set.Wires {
		n += max(set.Wires[i].Strands, 1)
		if i == 0 {
			build = buildNumber(set.Wires[i].Build)
		}
	}
	if !(area > 0) {
		area = 0
	}
	return conductor{float32(area), uint8(min(n*winding.Paths(*set), math.MaxUint8)), build}
}
