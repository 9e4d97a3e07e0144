package catalog

import (
	"statorbook/internal/stator"
	"statorbook/internal/unit"
)

// CoreOfRecord is the core that a winding record lies in: the family's dimensions, which are pooled
// over its records, with the stack of the record's own core; what these leave open comes from the
// core as it was measured for the record. f may be nil: then the measured core speaks alone.
func CoreOfRecord(w Winding, f *Family) stator.Core {
	var core stator.Core
	if f != nil {
		core = f.Core
		for _, c := range f.Cores {
			if c.ID == w.CoreID && c.StackLength.Given {
				core.StackLength = c.StackLength
			}
		}
	}
	if w.CoreAsMeasured == nil {
		return core
	}
	m := w.CoreAsMeasured
	fillInt(&core.Phases, m.Phases)
	fillInt(&core.Slots, m.Slots)
	if core.RotorPosition == "" {
		core.RotorPosition = m.RotorPosition
	}
	if !core.SlotArea.Given {
		core.SlotAreaBasis = m.SlotAreaBasis
	}
	if core.SlotShape == "" {
		core.SlotShape = m.SlotShape
	}
	for _, pair := range [][2]*unit.Measured{
		{&core.GapDiameter, &m.GapDiameter}, {&core.BackDiameter, &m.BackDiameter}, {&core.StackLength, &m.StackLength},
		{&core.ToothWidth, &m.ToothWidth}, {&core.SlotDepth, &m.SlotDepth}, {&core.SlotOpening, &m.SlotOpening},
		{&core.BackIron, &m.BackIron}, {&core.SlotArea, &m.SlotArea},
	} {
		fill(pair[0], *pair[1])
	}
	core.SecondRing = ringOf(core.SecondRing, m.SecondRing)
	return core
}

// ringOf fills the second ring of a family from the one measured. The family's is not changed.
func ringOf(family, measured *stator.Ring) *stator.Ring {
	if family == nil || measured == nil {
		if family != nil {
			return family
		}
		return measured
	}
	ring := *family
	fillInt(&ring.Slots, measured.Slots)
	for _, pair := range [][2]*unit.Measured{
		{&ring.ToothWidth, &measured.ToothWidth}, {&ring.SlotDepth, &measured.SlotDepth}, {&ring.SlotOpening, &measured.SlotOpening},
		{&ring.SlotArea, &measured.SlotArea}, {&ring.TurnedSlots, &measured.TurnedSlots},
	} {
		fill(pair[0], *pair[1])
	}
	return &ring
}

func fill(into *unit.Measured, from unit.Measured) {
	if !into.Given {
		*into = from
	}
}

func fillInt(into *int, from int) {
	if *into == 0 {
		*into = from
	}
}
