package match

import (
	"math"
	"slices"
	"strconv"

	"statorbook/internal/stator"
	"statorbook/internal/winding"
	"statorbook/internal/wire"
)

// setFacts is one coil set as a record check sees it: plain numbers that a correction can change.
// NaN means that the sheet does not tell.
type setFacts struct {
	at       int // index of the coil set in the scheme
	role     winding.Role
	back     bool
	turns    []float64 // of the coils of one group
	throws   []int
	groups   float64
	kind     winding.PatternKind
	paths    float64
	kw       float64
	span     float64 // mean span in slot pitches, weighted by turns
	area     float64 // mm², metal of one conductor
	strands  int
	mass     setFigures // g of bare metal
	massSD   float64    // of ln mass, by its state
	ohm      setFigures // at 20 °C
	lnDelta  float64    // ln density in g/mm³
	lnRho    float64    // ln resistivity in Ω·mm
	lnRoom   float64    // ln(slot area × slots) of its ring
	tooth    float64    // mm, width of the teeth of its ring
	guessed  bool       // arcPitch rests on a guessed depth
	arcPitch float64    // mm of arc for one slot pitch, on the mid-slot circle of its ring
	wires    []wire.Wire
}

// total is the turns of all coils.
func (s *setFacts) total() float64 {
	sum := 0.0
	for _, t := range s.turns {
		sum += t
	}
	return sum * s.groups
}

// sheetFacts is a whole sheet.
type sheetFacts struct {
	phases                     int
	rotor                      uint8
	core                       *stator.Core
	slots                      float64
	poles                      int
	gap, stack                 float64
	lnBref                     float64
	basis                      int // the check that lnBref serves: chkDensity, chkTeeth or chkIron
	volts                      float64
	freq                       float64
	connection                 winding.Connection
	amps                       float64
	power                      float64
	splitPhase, startCapacitor float64 // 1 for these kinds of motor, whose auxiliary works for seconds only
	lnYT                       float64
	lnKt                       float64
	sets                       [2]setFacts // main or phase u; auxiliary
	n                          int
}

// factsOf reads a sheet. ok is false when there is no set whose coils can be laid.
func factsOf(s *winding.Sheet, t *wire.Table) (f sheetFacts, ok bool) {
	c := &s.Core
	f = sheetFacts{phases: 1, rotor: rotorOf(c.RotorPosition), core: c, slots: float64(c.Slots), poles: s.Scheme.Poles, gap: nanIf(given(c.GapDiameter)), stack: nanIf(given(c.StackLength)),
		volts: nanIf(given(s.Nameplate.Voltage)), freq: nanIf(given(s.Nameplate.Frequency)), connection: s.Nameplate.Connection, amps: nanIf(given(s.Nameplate.Current)), power: nanIf(given(s.Nameplate.Power))}
	if f.poles == 0 {
		f.poles = s.Nameplate.Poles
	}
	switch s.MotorType {
	case "split_phase":
		f.splitPhase = 1
	case "capacitor_start":
		f.startCapacitor = 1
	}
	for _, set := range s.Scheme.CoilSets {
		if set.Role.IsPhase() {
			f.phases = 3
		}
	}
	main := primarySet(&s.Scheme)
	if main < 0 || c.Slots < 2 || f.poles < 2 || f.poles%2 != 0 || f.poles > winding.MaxPoles {
		return f, false
	}
	f.lnKt = math.Log(given(c.ToothWidth) * f.slots / (math.Pi * f.gap) / 0.5)
	if math.IsInf(f.lnKt, 0) {
		f.lnKt = math.NaN()
	}
	f.iron()
	for _, i := range []int{main, auxiliarySet(&s.Scheme)} {
		if i < 0 || f.n > 0 && i == main || f.phases == 3 && f.n > 0 {
			continue
		}
		set, known := f.set(&s.Scheme, i, t)
		if !known {
			if f.n == 0 {
				return f, false
			}
			continue
		}
		f.sets[f.n] = set
		f.n++
	}
	return f, true
}

func nanIf(v float64) float64 {
	if v == 0 {
		return math.NaN()
	}
	return v
}

// iron sets what depends on core and poles.
func (f *sheetFacts) iron() {
	f.lnBref, f.lnYT = math.NaN(), math.NaN()
	if d, ok := winding.ReferenceDensity(*f.core, f.poles); ok {
		f.lnBref = math.Log(float64(d))
	}
	yoke, ok := stator.BackIronOf(*f.core)
	teeth := f.core.ToothWidth.Given && f.core.ToothWidth.Value > 0
	switch {
	case ok && teeth:
		f.basis = chkDensity
	case ok:
		f.basis = chkIron
	default:
		f.basis = chkTeeth
	}
	if ok && usable(f.core.ToothWidth) {
		s := site{slots: f.slots, rotor: f.rotor, stack: 40}
		s.v = measuredVec(f.core)
		s.v[dYoke] = float64(yoke.Value)
		s.prepare()
		_, f.lnYT, _ = s.reference(float64(f.poles))
	}
}

// set reads one coil set; known is false when its coils cannot be laid or are explicit.
func (f *sheetFacts) set(scheme *winding.Scheme, at int, t *wire.Table) (s setFacts, known bool) {
	c := &scheme.CoilSets[at]
	s = setFacts{at: at, role: c.Role, back: c.Ring == winding.RingBack, paths: float64(winding.Paths(*c)), area: math.NaN(), wires: c.Wires, kw: math.NaN(),
		lnDelta: math.Log(wire.Density(wire.Copper) / 1000), lnRho: math.Log(wire.Resistivity(wire.Copper, wire.AnnealedCopper) / 1000), lnRoom: math.NaN(), arcPitch: math.NaN()}
	if p := c.Pattern; p != nil {
		s.kind, s.throws, s.groups = p.Kind, slices.Clone(p.Throws), float64(p.Groups)
		s.turns = slices.Clone(p.Turns)
		for len(s.turns) < len(s.throws) && len(p.Turns) == 1 {
			s.turns = append(s.turns, p.Turns[0])
		}
		if p.Groups == 0 || len(s.turns) != len(s.throws) {
			return s, false
		}
	} else {
		s.groups = 1
		for _, k := range c.Coils {
			s.turns = append(s.turns, k.Turns)
		}
	}
	if !f.lay(&s, c) || !(s.total() > 0) {
		return s, false
	}
	if area, strands := conductorAsTold(c, t); area > 0 {
		s.area, s.strands = area, strands
		if len(c.Wires) > 0 && c.Wires[0].Conductor == wire.Aluminium {
			s.lnDelta, s.lnRho = math.Log(wire.Density(wire.Aluminium)/1000), math.Log(wire.Resistivity(wire.Aluminium, wire.AnnealedCopper)/1000)
		}
	}
	s.weigh(scheme, t)
	f.room(&s)
	return s, true
}

// conductorAsTold is the metal in mm² of one conductor and its strands; 0 where the wire is not known. More
// strands than the service works with are counted all the same: whether they are right is the question.
func conductorAsTold(c *winding.CoilSet, t *wire.Table) (area float64, strands int) {
	for _, w := range c.Wires {
		n := max(w.Strands, 1)
		w.Strands = 1
		one := *c
		one.Wires = []wire.Wire{w}
		k, ok, err := winding.ConductorOf(one, t)
		if !ok || err != nil {
			return 0, 0
		}
		area, strands = area+float64(k.Area)*float64(n), strands+n
	}
	return area, strands
}

// room takes slot area and mid-slot circle of the ring.
func (f *sheetFacts) room(s *setFacts) {
	q := stator.RingSlots(*f.core, s.back)
	area := given(f.core.SlotArea)
	if f.core.SlotAreaBasis == stator.AreaGross {
		area *= grossToNet
	}
	if s.back {
		area = 0
		if f.core.SecondRing != nil {
			area = given(f.core.SecondRing.SlotArea)
		}
	}
	if area == 0 {
		if d, ok := stator.DerivedRingSlotArea(*f.core, s.back); ok {
			area = float64(d.Net)
		}
	}
	if area > 0 && q > 0 {
		s.lnRoom = math.Log(area * float64(q))
	}
	s.tooth = nanIf(given(f.core.ToothWidth))
	if s.back {
		s.tooth = math.NaN()
		if f.core.SecondRing != nil {
			s.tooth = nanIf(given(f.core.SecondRing.ToothWidth))
		}
	}
	ring := winding.RingGap
	if s.back {
		ring = winding.RingBack
	}
	if d, guessed, ok := winding.MidSlotDiameter(*f.core, ring); ok && q > 0 {
		s.guessed = guessed
		s.arcPitch = math.Pi * float64(d) / float64(q)
		if math.IsNaN(s.tooth) {
			s.tooth = 0.5 * s.arcPitch // half of a pitch is tooth (common practice, no source)
		}
	}
}

// lay computes winding factor and mean span of a set on the core with the sheet's poles.
func (f *sheetFacts) lay(s *setFacts, c *winding.CoilSet) bool {
	q := stator.RingSlots(*f.core, s.back)
	coils, _, err := winding.Expand(*c, f.poles, *f.core)
	if err != nil {
		return f.layByRule(s, q)
	}
	s.kw, _ = winding.FactorOfSet(*c, coils, f.poles, *f.core, 1)
	if !(s.kw > 0) {
		s.kw = math.NaN()
	}
	s.spans(coils, q)
	if s.kind == "" {
		s.groups = 1
	}
	return true
}

// spans takes the mean span of coils on a ring of q slots.
func (s *setFacts) spans(coils []winding.Coil, q int) {
	turns, span := 0.0, 0.0
	for _, k := range coils {
		d := k.Out - k.In
		d = ((d % q) + q) % q
		turns += k.Turns
		span += k.Turns * float64(min(d, q-d))
	}
	s.span = span / turns
}

// layByRule serves patterns that cannot be laid as written, a slipped throw for instance: winding
// factor of equal groups by the sine of the half spans, and the mean span.
func (f *sheetFacts) layByRule(s *setFacts, q int) bool {
	if s.kind == "" || q < 2 || !(s.total() > 0) {
		return false
	}
	turns, sine, span := 0.0, 0.0, 0.0
	for i, t := range s.throws {
		y := t - 1
		if y < 1 || y >= q {
			return false
		}
		turns += s.turns[i]
		sine += s.turns[i] * math.Abs(math.Sin(math.Pi/2*float64(y)*float64(f.poles)/float64(q)))
		span += s.turns[i] * float64(min(y, q-y))
	}
	s.kw, s.span = sine/turns, span/turns
	if f.phases == 3 {
		s.kw *= 0.96
	}
	s.kw = math.Max(s.kw, 0.02) // a throw of whole pole pairs couples nothing: hardly a winding, but a sheet
	return true
}

// relay computes a set anew after its throws, groups or the poles were corrected.
func (f *sheetFacts) relay(s *setFacts) bool {
	yes := true
	c := winding.CoilSet{Role: s.role, ParallelPaths: int(s.paths), Pattern: &winding.Pattern{Kind: s.kind, Throws: s.throws, Turns: s.turns, Groups: int(s.groups), Alternate: &yes}}
	if s.kind == "" {
		return true
	}
	if s.groups*2 <= float64(f.poles) && f.phases == 1 {
		c.Pattern.Alternate = nil
	}
	if s.back {
		c.Ring = winding.RingBack
	}
	return f.lay(s, &c)
}

// layoutKey spells how a set lies: what the catalogue counts.
func (f *sheetFacts) layoutKey(s *setFacts) string {
	b := make([]byte, 0, 48)
	b = append(b, s.role...)
	b = append(b, '|')
	b = append(b, s.kind...)
	for _, v := range []int{int(f.rotor), f.phases, int(f.slots), f.poles, int(s.groups)} {
		b = strconv.AppendInt(append(b, '|'), int64(v), 10)
	}
	for _, t := range s.throws {
		b = strconv.AppendInt(append(b, ','), int64(t), 10)
	}
	return string(b)
}
