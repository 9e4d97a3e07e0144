package stator

import (
	"math"

	"statorbook/internal/unit"
)

// SlotPitch is the slot pitch at the gap in mm: π·gap diameter / slots. ok is false without both.
func SlotPitch(c Core) (pitch unit.Millimetre, ok bool) {
	if !positive(c.GapDiameter) || c.Slots <= 0 {
		return 0, false
	}
	return unit.Millimetre(math.Pi * c.GapDiameter.Value / float64(c.Slots)), true
}

// PolePitch is the pole pitch at the gap in mm: π·gap diameter / poles. ok is false without both.
func PolePitch(c Core, poles int) (pitch unit.Millimetre, ok bool) {
	if !positive(c.GapDiameter) || poles <= 0 {
		return 0, false
	}
	return unit.Millimetre(math.Pi * c.GapDiameter.Value / float64(poles)), true
}

// RadialDepth is the iron from the gap to the back in mm: half the difference of the two diameters.
// ok is false without both, or when the gap is on the wrong side.
func RadialDepth(c Core) (depth unit.Millimetre, ok bool) {
	if !positive(c.GapDiameter) || !positive(c.BackDiameter) {
		return 0, false
	}
	d := (c.BackDiameter.Value - c.GapDiameter.Value) / 2
	if c.RotorPosition == RotorOutside {
		d = -d
	}
	return unit.Millimetre(d), d > 0
}

// Depth tells how a depth is known.
type Depth struct {
	Value   unit.Millimetre
	Derived bool // by closure, not measured
}

// SlotDepthOf is the depth of the slots at the gap: as measured, else, for a core of one ring, by closure:
// half the difference of the diameters less the back iron. ok is false when neither is known.
func SlotDepthOf(c Core) (Depth, bool) {
	if positive(c.SlotDepth) {
		return Depth{Value: unit.Millimetre(c.SlotDepth.Value)}, true
	}
	radial, ok := RadialDepth(c)
	if !ok || !positive(c.BackIron) || c.SecondRing != nil || float64(radial) <= c.BackIron.Value {
		return Depth{}, false
	}
	return Depth{Value: radial - unit.Millimetre(c.BackIron.Value), Derived: true}, true
}

// BackIronOf is the depth of the iron behind the slots: as measured, else by closure from the
// diameters and the depths of all rings.
func BackIronOf(c Core) (Depth, bool) {
	if positive(c.BackIron) {
		return Depth{Value: unit.Millimetre(c.BackIron.Value)}, true
	}
	radial, ok := RadialDepth(c)
	if !ok || !positive(c.SlotDepth) {
		return Depth{}, false
	}
	left := float64(radial) - c.SlotDepth.Value
	if c.SecondRing != nil {
		if !positive(c.SecondRing.SlotDepth) {
			return Depth{}, false
		}
		left -= c.SecondRing.SlotDepth.Value
	}
	if left <= 0 {
		return Depth{}, false
	}
	return Depth{Value: unit.Millimetre(left), Derived: true}, true
}

// SlitLeg is the width in mm of one leg of a tooth at the gap that a slit to the second ring
// splits: (tooth_width - second_ring.slot_opening)/2. ok is false without a second ring and both
// widths; a slit as wide as the tooth gives 0 and false.
func SlitLeg(c Core) (leg unit.Millimetre, ok bool) {
	if c.SecondRing == nil || !positive(c.ToothWidth) || !positive(c.SecondRing.SlotOpening) {
		return 0, false
	}
	w := (c.ToothWidth.Value - c.SecondRing.SlotOpening.Value) / 2
	return unit.Millimetre(max(w, 0)), w > 0
}

// RingSlots is the number of slots of a ring, 0 if it is not known. A second ring without a count
// has as many as the first, as fans do.
func RingSlots(c Core, back bool) int {
	if !back {
		return c.Slots
	}
	if c.SecondRing == nil {
		return 0
	}
	if c.SecondRing.Slots > 0 {
		return c.SecondRing.Slots
	}
	return c.Slots
}

// ringStart is the radius in mm at which the slots of a ring begin, seen from the gap.
func ringStart(c Core, back bool) (float64, bool) {
	if !positive(c.GapDiameter) {
		return 0, false
	}
	r := c.GapDiameter.Value / 2
	if !back {
		return r, true
	}
	if c.SecondRing == nil || !positive(c.SlotDepth) {
		return 0, false
	}
	return r + outward(c)*c.SlotDepth.Value, true
}

// outward is +1 where slots go away from the axis (inside rotor) and -1 where they go towards it.
func outward(c Core) float64 {
	if c.RotorPosition == RotorOutside {
		return -1
	}
	return 1
}

// positive tells whether a figure is given, finite and above zero.
func positive(m unit.Measured) bool {
	return m.Given && m.Value > 0 && !math.IsInf(m.Value, 1)
}
