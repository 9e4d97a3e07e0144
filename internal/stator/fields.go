package stator

import "statorbook/internal/unit"

// Field is one measured figure of a core under its dotted name; the name carries the unit.
type Field struct {
	Name  string
	Value unit.Measured
}

// Fields lists the figures of a core that are given, in a fixed order. Counts are not among them.
func Fields(c Core) []Field {
	all := []Field{
		{"gap_diameter_mm", c.GapDiameter}, {"back_diameter_mm", c.BackDiameter}, {"stack_length_mm", c.StackLength},
		{"tooth_width_mm", c.ToothWidth}, {"slot_depth_mm", c.SlotDepth}, {"slot_opening_mm", c.SlotOpening},
		{"back_iron_mm", c.BackIron}, {"slot_area_mm2", c.SlotArea},
	}
	if r := c.SecondRing; r != nil {
		all = append(all, Field{"second_ring.tooth_width_mm", r.ToothWidth}, Field{"second_ring.slot_depth_mm", r.SlotDepth},
			Field{"second_ring.slot_opening_mm", r.SlotOpening}, Field{"second_ring.slot_area_mm2", r.SlotArea}, Field{"second_ring.turned_slots", r.TurnedSlots})
	}
	given := all[:0]
	for _, f := range all {
		if f.Value.Given {
			given = append(given, f)
		}
	}
	return given
}
