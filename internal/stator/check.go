package stator

import (
	"fmt"
	"math"

	"statorbook/internal/errs"
	"statorbook/internal/unit"
)

// Range of slots of a ring that matching answers for.
const (
	MinServiceSlots = 6
	MaxServiceSlots = 72
	MaxSlots        = 360 // an analysis answers no more
)

// Check names what no real core can have (severity error), and what asks for a second look
// (warning). Fields that are not given are not judged. An empty result means that nothing speaks against
// the core, not that it is right.
func Check(c Core) []errs.Finding {
	k := checker{core: c}
	k.figures()
	if len(k.findings) > 0 {
		return k.findings // relations between impossible figures say nothing
	}
	k.counts()
	k.unusual()
	k.diameters()
	k.teeth()
	k.backTeeth()
	k.openings()
	k.closure()
	k.area()
	return k.findings
}

// Impossible tells whether any finding is an error.
func Impossible(findings []errs.Finding) bool {
	for _, f := range findings {
		if f.Severity == errs.SeverityError {
			return true
		}
	}
	return false
}

type checker struct {
	core     Core
	findings []errs.Finding
}

func (k *checker) add(code string, severity errs.Severity, found float64, expected *errs.Expected, message string, fields ...string) {
	k.findings = append(k.findings, errs.Finding{Code: code, Severity: severity, Fields: fields, Found: &found, Expected: expected, Message: message})
}

// figures wants every given figure finite and above zero.
func (k *checker) figures() {
	for _, f := range Fields(k.core) {
		v := f.Value.Value
		switch {
		case math.IsNaN(v) || math.IsInf(v, 0):
			k.findings = append(k.findings, errs.Finding{Code: "not_finite", Severity: errs.SeverityError, Fields: []string{f.Name}, Message: f.Name + " is not a number"})
		case f.Name == "second_ring.turned_slots": // may be 0; counts looks at it
		case v <= 0:
			k.add("not_positive", errs.SeverityError, v, nil, fmt.Sprintf("%s is %g; a core has more than nothing of it", f.Name, v), f.Name)
		}
	}
}

func (k *checker) counts() {
	for _, r := range []struct {
		slots int
		field string
		given bool
	}{{k.core.Slots, "slots", true}, {ringCount(k.core), "second_ring.slots", k.core.SecondRing != nil}} {
		switch {
		case !r.given || r.slots == 0:
		case r.slots < 2 || r.slots > MaxSlots:
			k.add("slots_impossible", errs.SeverityError, float64(r.slots), nil, fmt.Sprintf("a ring of %d slots does not exist; 2 to %d are answered", r.slots, MaxSlots), r.field)
		case r.slots < MinServiceSlots || r.slots > MaxServiceSlots:
			k.add("outside_service_range", errs.SeverityWarning, float64(r.slots), &errs.Expected{Value: float64(min(max(r.slots, MinServiceSlots), MaxServiceSlots)), Low: MinServiceSlots, High: MaxServiceSlots}, fmt.Sprintf("%d slots are outside the %d to %d slots of a ring that this service knows", r.slots, MinServiceSlots, MaxServiceSlots), r.field)
		}
	}
	if p := k.core.Phases; p != 0 && p != 1 && p != 3 {
		k.add("phases_impossible", errs.SeverityError, float64(p), nil, fmt.Sprintf("%d phases; a core is wound for 1 or 3", p), "phases")
	}
	if r := k.core.SecondRing; r != nil && r.TurnedSlots.Given && (r.TurnedSlots.Value < 0 || r.TurnedSlots.Value > 1) {
		k.add("turned_slots_unusual", errs.SeverityWarning, r.TurnedSlots.Value, &errs.Expected{Value: 0.5, Low: 0, High: 1}, fmt.Sprintf("the second ring is turned by %g slot pitches; 0 to 1 says the same", r.TurnedSlots.Value), "second_ring.turned_slots")
	}
}

func ringCount(c Core) int {
	if c.SecondRing == nil {
		return 0
	}
	return c.SecondRing.Slots
}

// leastRatio is the least ratio of the two diameters of a lamination (common practice, no source): below it one of
// them is misread, above it they may also stand in each other's place.
const leastRatio = 0.35

// diameters wants the gap on the side where the rotor turns.
func (k *checker) diameters() {
	c := k.core
	if !c.GapDiameter.Given || !c.BackDiameter.Given || c.RotorPosition == "" {
		return
	}
	gap, back := c.GapDiameter.Value, c.BackDiameter.Value
	hint := ""
	if min(gap, back) >= leastRatio*max(gap, back) {
		hint = "; see whether the two stand in each other's place, or the rotor turns on the other side"
	}
	if c.RotorPosition == RotorOutside && gap <= back {
		k.add("gap_on_wrong_side", errs.SeverityError, gap, nil, fmt.Sprintf("the rotor turns outside, so the gap diameter must be above the back diameter: %g against %g mm%s", gap, back, hint), "gap_diameter_mm", "back_diameter_mm", "rotor_position")
	}
	if c.RotorPosition != RotorOutside && gap >= back {
		k.add("gap_on_wrong_side", errs.SeverityError, gap, nil, fmt.Sprintf("the rotor turns inside, so the gap diameter must be below the back diameter: %g against %g mm%s", gap, back, hint), "gap_diameter_mm", "back_diameter_mm", "rotor_position")
	}
}

// teeth wants room for slots between the teeth at the gap. The narrowest circle that a tooth
// crosses decides: the gap for an inside rotor, the slot bottom for an outside one.
func (k *checker) teeth() {
	c := k.core
	if !c.ToothWidth.Given || !c.GapDiameter.Given || c.Slots < 2 {
		return
	}
	d := c.GapDiameter.Value
	if c.RotorPosition == RotorOutside && c.SlotDepth.Given {
		d -= 2 * c.SlotDepth.Value
	}
	k.pitch(c.ToothWidth.Value, d, c.Slots, "tooth_width_mm", "gap_diameter_mm", "slots")
}

// pitch compares a tooth with the slot pitch on a circle.
func (k *checker) pitch(tooth, d float64, slots int, fields ...string) {
	if d <= 0 {
		return // closure says that
	}
	room := math.Pi * d / float64(slots)
	if tooth >= room {
		k.add("teeth_wider_than_pitch", errs.SeverityError, tooth, &errs.Expected{Value: room / 2, Low: 0, High: room}, fmt.Sprintf("%d teeth of %g mm do not fit on a circle of %.4g mm: the slot pitch there is %.3g mm", slots, tooth, d, room), fields...)
	}
}

// backTeeth looks at the teeth of the second ring, and at the slit that splits those in front.
func (k *checker) backTeeth() {
	c := k.core
	if c.SecondRing == nil {
		return
	}
	r := c.SecondRing
	if r.ToothWidth.Given && c.GapDiameter.Given {
		d := c.GapDiameter.Value
		way := 0.0
		if c.SlotDepth.Given {
			way = c.SlotDepth.Value
		}
		if c.RotorPosition == RotorOutside && r.SlotDepth.Given {
			way += r.SlotDepth.Value
		}
		if n := RingSlots(c, true); n >= 2 {
			k.pitch(r.ToothWidth.Value, d+2*outward(c)*way, n, "second_ring.tooth_width_mm", "second_ring.slots", "gap_diameter_mm")
		}
	}
	if r.SlotOpening.Given && c.ToothWidth.Given && r.SlotOpening.Value >= c.ToothWidth.Value {
		k.add("slit_wider_than_tooth", errs.SeverityError, r.SlotOpening.Value, nil, fmt.Sprintf("the slit to the second ring (%g mm) is not narrower than the tooth that it splits (%g mm)", r.SlotOpening.Value, c.ToothWidth.Value), "second_ring.slot_opening_mm", "tooth_width_mm")
	}
}

// openings wants the mouth narrower than the slot pitch at the gap.
func (k *checker) openings() {
	c := k.core
	if pitch, ok := SlotPitch(c); ok && c.SlotOpening.Given && c.SlotOpening.Value >= float64(pitch) {
		k.add("opening_wider_than_pitch", errs.SeverityError, c.SlotOpening.Value, &errs.Expected{Value: float64(pitch) / 3, Low: 0, High: float64(pitch)}, fmt.Sprintf("a mouth of %g mm does not fit into a slot pitch of %.3g mm", c.SlotOpening.Value, float64(pitch)), "slot_opening_mm", "gap_diameter_mm", "slots")
	}
}

// sd gives the standard uncertainty of a reading: as stated, from its resolution, or the default.
func sd(m unit.Measured, def float64) float64 {
	s := def
	if m.Uncertainty > 0 {
		s = m.Uncertainty
	}
	return math.Hypot(s, m.Resolution/math.Sqrt(12))
}
