package match

import (
	"math"

	"statorbook/internal/stator"
	"statorbook/internal/unit"
)

// dim numbers the measured dimensions. Those before dStack belong to the lamination and are
// pooled over its records; the stack belongs to the core.
type dim uint8

const (
	dGap dim = iota
	dBack
	dTooth
	dDepth
	dOpening
	dYoke
	dArea
	dTooth2 // of the second ring, as the following three
	dDepth2
	dOpening2
	dArea2
	dStack
	nDims
)

// nLam is the number of lamination dimensions, nScan of those that the coarse scan reads.
const (
	nLam  = int(dStack)
	nScan = int(dTooth2)
)

// dimInfo tells how a dimension is named, how well it is known, and how the trade measures it.
// The standard deviations are priors: common practice, no source; the catalogue's own scatter
// replaces catSD as soon as a dimension has been recorded often enough (pool.go).
type dimInfo struct {
	field   string  // dotted JSON name
	rel     bool    // the standard deviations are shares of the value, not mm
	querySD float64 // a technician's calliper, not stated otherwise: mm or share
	catSD   float64 // a catalogued value: mm or share
	copySD  float64 // how far a near-copy of a lamination strays: mm or share
	copyRel bool
	how     string
}

var dims = [nDims]dimInfo{
	dGap:      {"gap_diameter_mm", false, 0.10, 0.05, 0.25, false, "inside callipers or a three-point bore gauge across the teeth, at three angles; outside rotor: calliper over the teeth"},
	dBack:     {"back_diameter_mm", false, 0.15, 0.08, 0.05, false, "calliper over the lamination pile, not over the frame, at three angles; outside rotor: the hole at the hub side"},
	dTooth:    {"tooth_width_mm", false, 0.10, 0.05, 0.03, true, "calliper jaws on the parallel part of one tooth, burrs wiped off; mean of four teeth"},
	dDepth:    {"slot_depth_mm", false, 0.20, 0.08, 0.03, true, "depth rod of the calliper from the tooth tip to the bottom of an emptied slot"},
	dOpening:  {"slot_opening_mm", false, 0.12, 0.07, 0.06, true, "feeler or drill shank in the slot mouth at the gap"},
	dYoke:     {"back_iron_mm", false, 0.25, 0.10, 0.03, true, "calliper from the bottom of an emptied slot to the back of the lamination"},
	dArea:     {"slot_area_mm2", true, 0.08, 0.05, 0.03, true, "outline of the slot on paper from a rubbing, less liner and wedge, counted in mm squares"},
	dTooth2:   {"second_ring.tooth_width_mm", false, 0.10, 0.05, 0.03, true, "calliper jaws on the parallel part of one tooth of the second ring"},
	dDepth2:   {"second_ring.slot_depth_mm", false, 0.20, 0.08, 0.03, true, "depth rod of the calliper in an emptied slot of the second ring"},
	dOpening2: {"second_ring.slot_opening_mm", false, 0.12, 0.07, 0.06, true, "feeler or drill shank in the slit of the second ring"},
	dArea2:    {"second_ring.slot_area_mm2", true, 0.08, 0.05, 0.03, true, "outline of a slot of the second ring on paper, less liner, counted in mm squares"},
	dStack:    {"stack_length_mm", false, 0.50, 0.20, 0, false, "calliper over the lamination pile alone, pressed together, at three places"},
}

// of returns the dimension d of c as measured.
func (d dim) of(c *stator.Core) unit.Measured {
	switch d {
	case dGap:
		return c.GapDiameter
	case dBack:
		return c.BackDiameter
	case dTooth:
		return c.ToothWidth
	case dDepth:
		return c.SlotDepth
	case dOpening:
		return c.SlotOpening
	case dYoke:
		return c.BackIron
	case dArea:
		return c.SlotArea
	case dStack:
		return c.StackLength
	}
	if c.SecondRing == nil {
		return unit.Measured{}
	}
	switch d {
	case dTooth2:
		return c.SecondRing.ToothWidth
	case dDepth2:
		return c.SecondRing.SlotDepth
	case dOpening2:
		return c.SecondRing.SlotOpening
	case dArea2:
		return c.SecondRing.SlotArea
	}
	return unit.Measured{}
}

// sd returns the standard deviation s, a share or mm, at the value v.
func (d dim) sd(s, v float64) float64 {
	if dims[d].rel {
		return s * math.Abs(v)
	}
	return s
}

// vec holds one value for each lamination dimension, NaN where it is not known.
type vec [nLam]float64

// What a figure of any kind may be at most: beyond it nothing is computed from it.
const (
	leastFigure = 1e-6
	mostFigure  = 1e9
)

// usable tells whether m is a figure that matching can use: given, positive, and of this world.
func usable(m unit.Measured) bool {
	return m.Given && m.Value >= leastFigure && m.Value <= mostFigure
}
