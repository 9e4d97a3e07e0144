package simworld

import (
	"statorbook/internal/stator"
	"statorbook/internal/unit"
)

// dimension is one length or area of a core that somebody can measure, with how well that goes.
type dimension struct {
	name string // dotted, as in the contract
	at   *unit.Measured
	sd   float64 // mm (relative for an area) of a usual hand with a calliper
	back bool    // of the second ring
	area bool
	kind dimKind
}

// dimKind groups dimensions by what they need: a person who has no depth gauge reads no depth at all.
type dimKind int

const (
	diameters dimKind = iota // gap and back: any calliper that is long enough
	lengths                  // stack
	widths                   // teeth and mouths: the inside jaws
	depths                   // slot depth and back iron: the depth rod
	areas                    // worked out from a drawing or an imprint
)

// dimensions lists the dimensions of a core in a fixed order; the pointers lead into c.
func dimensions(c *stator.Core) []dimension {
	list := []dimension{
		{name: "gap_diameter_mm", at: &c.GapDiameter, sd: 0.07, kind: diameters},
		{name: "back_diameter_mm", at: &c.BackDiameter, sd: 0.1, kind: diameters},
		{name: "stack_length_mm", at: &c.StackLength, sd: 0.35, kind: lengths},
		{name: "tooth_width_mm", at: &c.ToothWidth, sd: 0.07, kind: widths},
		{name: "slot_depth_mm", at: &c.SlotDepth, sd: 0.15, kind: depths},
		{name: "slot_opening_mm", at: &c.SlotOpening, sd: 0.08, kind: widths},
		{name: "back_iron_mm", at: &c.BackIron, sd: 0.18, kind: depths},
		{name: "slot_area_mm2", at: &c.SlotArea, sd: 0.04, kind: areas, area: true},
	}
	if r := c.SecondRing; r != nil {
		list = append(list,
			dimension{name: "second_ring.tooth_width_mm", at: &r.ToothWidth, sd: 0.12, kind: widths, back: true},
			dimension{name: "second_ring.slot_depth_mm", at: &r.SlotDepth, sd: 0.25, kind: depths, back: true},
			dimension{name: "second_ring.slot_opening_mm", at: &r.SlotOpening, sd: 0.08, kind: widths, back: true},
			dimension{name: "second_ring.slot_area_mm2", at: &r.SlotArea, sd: 0.05, kind: areas, back: true, area: true})
	}
	return list
}

// copyCore copies a core so that its second ring is its own.
func copyCore(c stator.Core) stator.Core {
	if c.SecondRing != nil {
		r := *c.SecondRing
		c.SecondRing = &r
	}
	return c
}

// recorder is the one who writes a record, with time, good light and the stator to himself.
type recorder struct {
	scale float64 // of his errors against the usual ones of a bench
	gross float64 // chance of a gross error in one dimension
	miss  float64 // scale of the chances that he leaves a dimension out
}

// Chances that a record lacks a dimension, by what it needs.
var recordMiss = [...]float64{diameters: 0.04, lengths: 0.02, widths: 0.15, depths: 0.25, areas: 0.5}

// measure is the core of a stator as the recorder writes it down.
func (r recorder) measure(d dice, exact stator.Core) stator.Core {
	c := copyCore(exact)
	step := pick(d, 0.01, 0.05, 0.05, 0.1)
	skipped := [len(recordMiss)]bool{}
	for kind, p := range recordMiss {
		// One skipped tool takes most of its kind along.
		skipped[kind] = dimKind(kind) != lengths && d.chance(0.6*r.miss*p)
	}
	for _, dim := range dimensions(&c) {
		if skipped[dim.kind] || d.chance(0.4*r.miss*recordMiss[dim.kind]) {
			*dim.at = unit.Measured{}
			continue
		}
		v := dim.at.Value
		switch {
		case dim.area:
			*dim.at = read(v*d.spread(r.scale*dim.sd), 0.5)
		case dim.name == "stack_length_mm":
			*dim.at = read(v+d.normal(r.scale*dim.sd), max(step, 0.1))
		default:
			*dim.at = read(v+d.normal(r.scale*dim.sd), step)
		}
		if d.chance(r.gross) {
			*dim.at, _ = blunder(d, *dim.at)
		}
	}
	if !c.SlotArea.Given {
		c.SlotAreaBasis = ""
	}
	return c
}
