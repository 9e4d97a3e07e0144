package stator

import (
	"fmt"
	"math"

	"statorbook/internal/errs"
	"statorbook/internal/unit"
)

// Usual standard uncertainties of a calliper reading in mm, by field (common practice, no source).
const (
	sdGap   = 0.10
	sdBack  = 0.15
	sdDepth = 0.20
	sdIron  = 0.25
)

// closureSpread widens the usual uncertainties before a closure is called wrong: not every hand is
// as steady as the usual one (common practice, no source).
const closureSpread = 5

// closure wants slots and back iron to fill the iron between gap and back. Slots or back iron that
// leave nothing for the rest are impossible; a sum that misses by more than its uncertainty asks
// for a second look.
func (k *checker) closure() {
	c := k.core
	radial, ok := RadialDepth(c)
	if !ok {
		return
	}
	iron := float64(radial)
	sum, variance, fields, whole := 0.0, sq(sd(c.GapDiameter, sdGap)/2)+sq(sd(c.BackDiameter, sdBack)/2), []string{}, true
	for _, p := range closureParts(c) {
		if !p.m.Given {
			whole = false
			continue
		}
		if p.m.Value >= iron {
			k.add("deeper_than_iron", errs.SeverityError, p.m.Value, &errs.Expected{Value: iron / 2, Low: 0, High: iron}, fmt.Sprintf("%s of %g mm is not less than the %.4g mm of iron between gap and back", p.field, p.m.Value, iron), p.field, "gap_diameter_mm", "back_diameter_mm")
			return
		}
		sum += p.m.Value
		variance += sq(sd(p.m, p.def))
		fields = append(fields, p.field)
	}
	fields = append(fields, "gap_diameter_mm", "back_diameter_mm")
	slack := closureSpread * math.Sqrt(variance)
	switch {
	case sum > iron+slack && len(fields) > 2:
		k.add("closure", errs.SeverityWarning, sum, &errs.Expected{Value: iron, Low: iron - slack, High: iron + slack}, fmt.Sprintf("slots and back iron add up to %.4g mm, but gap and back diameter leave %.4g mm", sum, iron), fields...)
	case whole && sum < iron-slack:
		k.add("closure", errs.SeverityWarning, sum, &errs.Expected{Value: iron, Low: iron - slack, High: iron + slack}, fmt.Sprintf("slots and back iron add up to %.4g mm, but gap and back diameter leave %.4g mm", sum, iron), fields...)
	}
}

type closurePart struct {
	field string
	m     unit.Measured
	def   float64
}

func closureParts(c Core) []closurePart {
	parts := []closurePart{{"slot_depth_mm", c.SlotDepth, sdDepth}, {"back_iron_mm", c.BackIron, sdIron}}
	if c.SecondRing != nil {
		parts = append(parts, closurePart{"second_ring.slot_depth_mm", c.SecondRing.SlotDepth, sdDepth})
	}
	return parts
}

func sq(x float64) float64 { return x * x }

// area wants the slots to fit between gap and slot bottom, and a given area to be near the one that
// the other dimensions give.
func (k *checker) area() {
	c := k.core
	k.areaOf(c.SlotArea, false, "slot_area_mm2", "slot_depth_mm", "tooth_width_mm")
	if c.SecondRing != nil {
		k.areaOf(c.SecondRing.SlotArea, true, "second_ring.slot_area_mm2", "second_ring.slot_depth_mm", "second_ring.tooth_width_mm")
	}
}

// areaTolerance is how far a given slot area may be from the derived one; real shapes, mouths and
// liners differ (common practice, no source).
const areaTolerance = 0.35

func (k *checker) areaOf(m unit.Measured, back bool, fields ...string) {
	if !m.Given {
		return
	}
	if room, ok := ringRoom(k.core, back); ok && m.Value >= room {
		k.add("slot_area_impossible", errs.SeverityError, m.Value, &errs.Expected{Value: room / 2, Low: 0, High: room}, fmt.Sprintf("a slot of %g mm² is larger than the ring of iron that it is cut from: %.4g mm² for each slot with its tooth", m.Value, room), fields...)
		return
	}
	derived, ok := DerivedRingSlotArea(k.core, back)
	if !ok {
		return
	}
	low, high := float64(derived.Net)*(1-areaTolerance), float64(derived.Gross)*(1+areaTolerance)
	if m.Value < low || m.Value > high {
		k.add("slot_area", errs.SeverityWarning, m.Value, &errs.Expected{Value: float64(derived.Net), Low: low, High: high}, fmt.Sprintf("a slot area of %g mm² does not fit the other dimensions, which leave %.4g to %.4g mm²", m.Value, float64(derived.Net), float64(derived.Gross)), fields...)
	}
}

// ringRoom is the area in mm² of the ring of a core from gap to slot bottom, for one slot.
func ringRoom(c Core, back bool) (float64, bool) {
	start, ok := ringStart(c, back)
	n := RingSlots(c, back)
	depth, known := SlotDepthOf(c)
	h := float64(depth.Value)
	if back {
		known = positive(c.SecondRing.SlotDepth)
		h = c.SecondRing.SlotDepth.Value
	}
	if !ok || !known || n < 2 {
		return 0, false
	}
	end := start + outward(c)*h
	return math.Pi * math.Abs(end*end-start*start) / float64(n), end > 0
}
