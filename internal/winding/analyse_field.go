package winding

import (
	"fmt"
	"math"

	"statorbook/internal/stator"
	"statorbook/internal/unit"
)

// leading is the winding that makes the field: the main winding, or phase u.
func (a *analyser) leading() (role Role, turns float64, ok bool) {
	if a.out.Poles == 0 {
		return "", 0, false
	}
	v := roleVectors(a.in.Scheme, a.coils, a.in.Core)
	for _, r := range []Role{Main, PhaseU, PhaseV, PhaseW, Auxiliary} {
		if b, found := v[r]; found && b.turns > 0 {
			return r, b.turns, true
		}
	}
	return "", 0, false
}

// field gives EMF, flux per pole and densities.
func (a *analyser) field() {
	role, turns, ok := a.leading()
	if !a.operated() || !ok {
		return
	}
	ke := BackEMFSinglePhase
	why := "back EMF over applied volts of the main winding of a small single-phase motor; 0.80 to 0.96 by common practice"
	if a.three {
		ke, why = BackEMFThreePhase, "back EMF over applied volts of a small three-phase motor; 0.90 to 0.98 by common practice"
	}
	a.assume("back_emf_ratio", ke, why)
	a.assume("stacking_factor", DefaultStacking, "net iron over stack length of 0.5 mm laminations; 0.92 to 0.97 by common practice")
	if a.three && a.conn == ConnSingle {
		a.assume("nameplate.connection", string(ConnDelta), "a three-phase winding has no connection called single; the full line volts are taken across a phase")
		a.conn = ConnDelta
	}
	emf := WindingVolts(a.volts, a.conn) * unit.Volt(ke)
	flux := FluxPerPole(emf, a.freq, turns, 1)
	a.out.EMF, a.out.FluxPerPole = &emf, &flux
	a.method("emf_v", "winding volts (line volts / sqrt 3 in star) x back EMF ratio", a.voltsFrom, "nameplate.connection", "back_emf_ratio")
	a.method("flux_per_pole_mwb", "E = sqrt 2 pi f N kw flux, solved for the flux, with the effective turns of "+string(role), "emf_v", a.freqFrom, "effective_turns")
	a.densities(flux)
}

// operated tells whether volts, frequency and connection are known, and lists what is missing.
func (a *analyser) operated() bool {
	if !a.nominal {
		a.missing("nameplate.voltage_v")
	}
	if a.freq == 0 {
		a.missing("nameplate.frequency_hz")
	}
	if a.three && a.conn == "" {
		a.missing("nameplate.connection")
	}
	return a.nominal && a.freq != 0 && a.conn != ""
}

// densities gives the densities of a flux.
func (a *analyser) densities(flux unit.Milliweber) {
	d, missing, ok := DensitiesAt(a.in.Core, a.out.Poles, flux)
	for _, m := range missing {
		a.missing("core." + m)
	}
	if !ok {
		return
	}
	a.out.Densities = &d
	if d.Gap > 0 {
		a.out.AverageGap = ref(AverageGapDensity(unit.Tesla(d.Gap)))
	}
	a.method("densities.gap_t", "peak of a sine field: flux x poles / (2 x gap diameter x stack); the average is 2/pi of it", "flux_per_pole_mwb", "core.gap_diameter_mm", "core.stack_length_mm")
	a.method("densities.teeth", "peak, exact for equal teeth: flux x sin(pi poles / (2 teeth)) / (width x stack x stacking factor); a slit leg counts the openings of both rings", "flux_per_pole_mwb", "core.tooth_width_mm", "core.second_ring.tooth_width_mm", "core.second_ring.slot_opening_mm", "core.slots", "core.stack_length_mm", "stacking_factor")
	a.method("densities.back_iron_t", "peak: flux / (2 x back iron x stack x stacking factor)", "flux_per_pole_mwb", "core.back_iron_mm", "core.stack_length_mm", "stacking_factor")
	if iron, known := stator.BackIronOf(a.in.Core); known && iron.Derived {
		a.assume("back_iron_mm", float64(iron.Value), "not given; half the difference of the diameters less the slot depth")
	}
}

// slotRoom is the area of a slot of a ring and its basis; derived ones are net of a liner.
func (a *analyser) slotRoom(back bool) (area unit.SquareMillimetre, basis stator.AreaBasis, ok bool) {
	core := a.in.Core
	field, m := "slot_area_mm2", core.SlotArea
	if back {
		if core.SecondRing == nil {
			return 0, "", false
		}
		field, m = "second_ring.slot_area_mm2", core.SecondRing.SlotArea
	}
	if m.Given {
		basis = core.SlotAreaBasis
		if basis == "" {
			basis = stator.AreaGross
			a.assume("slot_area_basis", string(basis), "not given; a measured outline is gross, and fill over it reads 10 to 25 % low")
		}
		return unit.SquareMillimetre(m.Value), basis, true
	}
	d, ok := stator.DerivedRingSlotArea(core, back)
	if !ok {
		a.missing("core." + field)
		return 0, "", false
	}
	a.assume(field, float64(d.Net), fmt.Sprintf("not given; from gap diameter, slots, tooth width and depth as %s, less a mouth of %g mm and a liner of %g mm", d.Shape, float64(stator.DefaultMouth), float64(stator.DefaultLiner)))
	return d.Net, stator.AreaNet, true
}

// fill gives the three fills of every occupied slot.
func (a *analyser) fill() {
	type room struct {
		area  unit.SquareMillimetre
		basis stator.AreaBasis
		ok    bool
	}
	rooms := map[RingName]room{}
	for _, slot := range a.out.Slots {
		if len(slot.Sides) == 0 {
			continue
		}
		r, seen := rooms[slot.Ring]
		if !seen {
			r.area, r.basis, r.ok = a.slotRoom(slot.Ring == RingBack)
			rooms[slot.Ring] = r
		}
		if !r.ok {
			continue
		}
		if f, ok := a.slotFill(slot, r.area); ok {
			f.AreaBasis = r.basis
			a.out.Fill = append(a.out.Fill, f)
		}
	}
	if len(a.out.Fill) > 0 {
		a.method("fill", "conductors x strands x (pi d^2/4 bare | pi Do^2/4 | Do^2) / slot area, Do the largest overall diameter of the build; the area is net or gross as said", "scheme", "core.slot_area_mm2")
	}
}

// slotFill adds up what lies in a slot. ok is false when a wire is not known. Circle and square
// stay 0 when an overall diameter is not known.
func (a *analyser) slotFill(slot SlotUse, area unit.SquareMillimetre) (SlotFill, bool) {
	f := SlotFill{Ring: slot.Ring, Slot: slot.Number, Area: area}
	var copper, circle, square float64
	overall := true
	for _, side := range slot.Sides {
		r := &a.out.Roles[side.Set]
		if !r.haveWire {
			return f, false
		}
		f.Conductors += side.Turns * float64(r.conductor.Strands)
		copper += side.Turns * float64(r.conductor.Area)
		circle += side.Turns * float64(r.conductor.Circle)
		square += side.Turns * float64(r.conductor.Square)
		overall = overall && r.conductor.Square > 0
	}
	f.Fill.Copper = copper / float64(area)
	if overall {
		f.Fill.Circle, f.Fill.Square = circle/float64(area), square/float64(area)
	} else {
		a.missing(fmt.Sprintf("coil_sets[%d].wires.build", slot.Sides[0].Set))
	}
	return f, true
}

// FillOf is the fill of a slot of a net or gross area by so many conductors of one wire: bare and overall diameter in
// mm, all strands counted. An overall diameter of 0 leaves circle and square 0.
func FillOf(conductors float64, bare, overall unit.Millimetre, area unit.SquareMillimetre) Fill {
	return Fill{
		Copper: conductors * math.Pi / 4 * float64(bare*bare) / float64(area),
		Circle: conductors * math.Pi / 4 * float64(overall*overall) / float64(area),
		Square: conductors * float64(overall*overall) / float64(area),
	}
}

// speed gives the synchronous speed and the slip.
func (a *analyser) speed() {
	if a.out.Poles == 0 || a.freq == 0 {
		return
	}
	s := SpeedAnalysis{Synchronous: SynchronousSpeed(a.freq, a.out.Poles)}
	a.method("speed.synchronous_rpm", "120 x frequency / poles", a.freqFrom, "scheme.poles")
	if n := a.in.Nameplate; n != nil && n.Speed.Given {
		s.Slip = ref(Slip(s.Synchronous, unit.RevolutionPerMinute(n.Speed.Value)))
		a.method("speed.slip", "(synchronous speed - plate speed) / synchronous speed", "speed.synchronous_rpm", "nameplate.speed_rpm")
	} else {
		a.missing("nameplate.speed_rpm")
	}
	a.out.Speed = &s
}
