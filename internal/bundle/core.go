package bundle

import "statorbook/internal/stator"

// Core is the JSON shape of stator.Core. The flat fields speak of the ring of slots at the gap.
// The bounds let through a reading that is off by a power of ten: what to make of it is for the
// domain to say, not for the reader.
type Core struct {
	Phases        Count  `json:"phases,omitzero" in:"enum=1|3"`
	RotorPosition string `json:"rotor_position,omitempty" in:"enum=inside|outside"`
	Slots         Count  `json:"slots,omitzero" in:"min=2,max=360"`
	GapDiameter   M      `json:"gap_diameter_mm,omitzero" in:"min=0.01,max=10000"`
	BackDiameter  M      `json:"back_diameter_mm,omitzero" in:"min=0.01,max=10000"`
	StackLength   M      `json:"stack_length_mm,omitzero" in:"min=0.01,max=10000"`
	ToothWidth    M      `json:"tooth_width_mm,omitzero" in:"min=0.001,max=10000"`
	SlotDepth     M      `json:"slot_depth_mm,omitzero" in:"min=0.001,max=10000"`
	SlotOpening   M      `json:"slot_opening_mm,omitzero" in:"min=0.001,max=10000"`
	BackIron      M      `json:"back_iron_mm,omitzero" in:"min=0.001,max=10000"`
	SlotArea      M      `json:"slot_area_mm2,omitzero" in:"min=0.001,max=1000000"`
	SlotAreaBasis string `json:"slot_area_basis,omitempty" in:"enum=net|gross"`
	SlotShape     string `json:"slot_shape,omitempty" in:"enum=parallel_tooth|trapezoid|round_bottom|rectangular|round"`
	SecondRing    *Ring  `json:"second_ring,omitempty"`
}

// Ring is the JSON shape of stator.Ring.
type Ring struct {
	Slots       Count `json:"slots,omitzero" in:"min=2,max=360"`
	ToothWidth  M     `json:"tooth_width_mm,omitzero" in:"min=0.001,max=10000"`
	SlotDepth   M     `json:"slot_depth_mm,omitzero" in:"min=0.001,max=10000"`
	SlotOpening M     `json:"slot_opening_mm,omitzero" in:"min=0.001,max=10000"`
	SlotArea    M     `json:"slot_area_mm2,omitzero" in:"min=0.001,max=1000000"`
	TurnedSlots M     `json:"turned_slots,omitzero" in:"min=-360,max=360"`
}

// ToDomain gives the core as the trade's packages take it.
func (c Core) ToDomain() stator.Core {
	out := stator.Core{
		Phases: int(c.Phases), RotorPosition: stator.RotorPosition(c.RotorPosition), Slots: int(c.Slots),
		GapDiameter: c.GapDiameter.Measured, BackDiameter: c.BackDiameter.Measured, StackLength: c.StackLength.Measured,
		ToothWidth: c.ToothWidth.Measured, SlotDepth: c.SlotDepth.Measured, SlotOpening: c.SlotOpening.Measured,
		BackIron: c.BackIron.Measured, SlotArea: c.SlotArea.Measured,
		SlotAreaBasis: stator.AreaBasis(c.SlotAreaBasis), SlotShape: stator.SlotShape(c.SlotShape),
	}
	if r := c.SecondRing; r != nil {
		out.SecondRing = &stator.Ring{
			Slots: int(r.Slots), ToothWidth: r.ToothWidth.Measured, SlotDepth: r.SlotDepth.Measured,
			SlotOpening: r.SlotOpening.Measured, SlotArea: r.SlotArea.Measured, TurnedSlots: r.TurnedSlots.Measured,
		}
	}
	return out
}

// CoreOf gives the JSON shape of a core.
func CoreOf(c stator.Core) Core {
	out := Core{
		Phases: Count(c.Phases), RotorPosition: string(c.RotorPosition), Slots: Count(c.Slots),
		GapDiameter: M{c.GapDiameter}, BackDiameter: M{c.BackDiameter}, StackLength: M{c.StackLength},
		ToothWidth: M{c.ToothWidth}, SlotDepth: M{c.SlotDepth}, SlotOpening: M{c.SlotOpening},
		BackIron: M{c.BackIron}, SlotArea: M{c.SlotArea}, SlotAreaBasis: string(c.SlotAreaBasis), SlotShape: string(c.SlotShape),
	}
	if r := c.SecondRing; r != nil {
		out.SecondRing = &Ring{
			Slots: Count(r.Slots), ToothWidth: M{r.ToothWidth}, SlotDepth: M{r.SlotDepth},
			SlotOpening: M{r.SlotOpening}, SlotArea: M{r.SlotArea}, TurnedSlots: M{r.TurnedSlots},
		}
	}
	return out
}

// coreToDomain and coreOf convert a core that may be absent.
func coreToDomain(c *Core) *stator.Core {
	if c == nil {
		return nil
	}
	out := c.ToDomain()
	return &out
}

func coreOf(c *stator.Core) *Core {
	if c == nil {
		return nil
	}
	out := CoreOf(*c)
	return &out
}
