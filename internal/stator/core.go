// Package stator knows the stator core: its measured dimensions, their uncertainty, what shape of
// slot they leave, and which sets of them no real core can have. A field that was not measured is
// absent, never zero.
package stator

import "statorbook/internal/unit"

// RotorPosition tells on which side of the gap the rotor turns.
type RotorPosition string

// The rotor positions. An outside rotor is the usual ceiling fan.
const (
	RotorInside  RotorPosition = "inside"
	RotorOutside RotorPosition = "outside"
)

// AreaBasis tells whether a slot area is net (outline less liner, wedge and separator) or gross.
type AreaBasis string

// The area bases.
const (
	AreaNet   AreaBasis = "net"
	AreaGross AreaBasis = "gross"
)

// SlotShape names the outline of a slot below its mouth.
type SlotShape string

// The slot shapes (terms of general machine design).
const (
	SlotParallelTooth SlotShape = "parallel_tooth" // tooth of equal width, slot widening away from the gap centre
	SlotTrapezoid     SlotShape = "trapezoid"
	SlotRoundBottom   SlotShape = "round_bottom" // trapezoid closed by a half circle
	SlotRectangular   SlotShape = "rectangular"
	SlotRound         SlotShape = "round"
)

// Ring is a second ring of slots behind the ring at the gap, as in many ceiling fans. All lengths in mm, area in mm².
type Ring struct {
	Slots       int // 0 = not given
	ToothWidth  unit.Measured
	SlotDepth   unit.Measured
	SlotOpening unit.Measured
	SlotArea    unit.Measured
	TurnedSlots unit.Measured // by how many slot pitches this ring stands turned against the ring at the gap
}

// Core is a stator lamination stack as measured. The flat fields speak of the ring of slots at the
// gap. Lengths are in mm, areas in mm².
type Core struct {
	Phases        int // 1 or 3, 0 = not given
	RotorPosition RotorPosition
	Slots         int           // of the ring at the gap, 0 = not given
	GapDiameter   unit.Measured // the bore; for an outside rotor the stator's outer diameter
	BackDiameter  unit.Measured // the stator's outer diameter; for an outside rotor the diameter at the hub side
	StackLength   unit.Measured
	ToothWidth    unit.Measured // narrowest parallel part of the tooth
	SlotDepth     unit.Measured
	SlotOpening   unit.Measured // the mouth at the gap
	BackIron      unit.Measured // depth of the iron behind the slots
	SlotArea      unit.Measured
	SlotAreaBasis AreaBasis
	SlotShape     SlotShape
	SecondRing    *Ring
}
