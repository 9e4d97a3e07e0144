package winding

import (
	"fmt"
	"math"

	"statorbook/internal/errs"
	"statorbook/internal/stator"
)

// Limits of what is expanded at all. Matching answers for 6 to 72 slots only; an analysis answers
// up to MaxSlots with a finding.
const (
	MaxSlots = 360   // per ring
	MaxPoles = 120   // poles
	MaxTurns = 20000 // turns of one coil
	MaxCoils = 2 * MaxSlots
)

// defaultTurned is the usual turn of the second ring against the first, in slot pitches: with one
// slot per pole it puts the two axes 90 electrical degrees apart (common practice, no source).
const defaultTurned = 0.5

// codeSlotsMissing is the code of coils on a core whose slots nobody told.
const codeSlotsMissing = "SLOTS_MISSING"

// Expand lists the coils of one set in the order of their groups. Explicit coils are checked and
// copied; a pattern is laid out on the ring of slots that the set names.
//
// With no first slot the set is placed against a set of its own shape at slot 1 of the ring at the
// gap: phases 120 electrical degrees apart, an auxiliary 90; the assumption says so. To place it
// against the real other sets use ExpandScheme.
//
// It fails with KindImpossible, naming coil and slot by pointers relative to the set.
func Expand(set CoilSet, poles int, core stator.Core) ([]Coil, []Assumption, error) {
	return expandAgainst(set, poles, core, nil)
}

// expandAgainst is Expand with the coils of the reference set (main or phase u) to place against.
func expandAgainst(set CoilSet, poles int, core stator.Core, ref *placed) ([]Coil, []Assumption, error) {
	q, assumed, problem := ringSlots(set.Ring, core)
	if problem != nil {
		return nil, nil, impossible("the slots of the ring are not known", *problem)
	}
	if set.Pattern == nil {
		if fields := checkCoils(set.Coils, q); len(fields) > 0 {
			return nil, nil, impossible("these coils cannot be wound", fields...)
		}
		return append([]Coil(nil), set.Coils...), assumed, nil
	}
	p, more, fields := completePattern(set, poles, q)
	if len(fields) > 0 {
		return nil, nil, impossible("this pattern cannot be laid", fields...)
	}
	assumed = append(assumed, more...)
	lay := layouter{role: set.Role, ring: set.Ring, p: p, poles: poles, slots: q, turned: turnedSlots(core)}
	first := p.FirstSlot
	if first == 0 {
		var why string
		first, why = lay.place(ref)
		assumed = append(assumed, Assumption{Field: "first_slot", Value: float64(first), Why: why})
	}
	coils, more, problem := lay.at(first)
	if problem != nil {
		return nil, nil, impossible("this pattern cannot be laid", *problem)
	}
	return coils, append(assumed, more...), nil
}

// impossible builds the 422 error of this package.
func impossible(detail string, fields ...errs.Field) error {
	return errs.New(errs.KindImpossible, detail, fields...)
}

// ringSlots gives the slots of a ring. A second ring without a count is taken to have as many as
// the ring at the gap, as fans do, and says so.
func ringSlots(ring RingName, core stator.Core) (int, []Assumption, *errs.Field) {
	q := core.Slots
	var assumed []Assumption
	if ring == RingBack && (core.SecondRing != nil || q > 0) { // a core of which nothing is told has no known rings
		if core.SecondRing == nil {
			return 0, nil, &errs.Field{Pointer: "/ring", Code: "NO_SECOND_RING", Detail: "the set lies in the ring at the back, but the core has no second_ring"}
		}
		if core.SecondRing.Slots > 0 {
			q = core.SecondRing.Slots
		} else if q > 0 {
			assumed = append(assumed, Assumption{Field: "second_ring.slots", Value: float64(q), Why: "not given; both rings of a fan stator usually have as many slots"})
		}
	}
	switch {
	case q == 0:
		return 0, nil, &errs.Field{Pointer: "/ring", Code: codeSlotsMissing, Detail: "the number of slots of this ring is needed to lay coils"}
	case q < 2 || q > MaxSlots:
		return 0, nil, &errs.Field{Pointer: "/ring", Code: "SLOTS_OUT_OF_RANGE", Detail: fmt.Sprintf("a ring of %d slots is not answered; 2 to %d are", q, MaxSlots), Allowed: [2]int{2, MaxSlots}}
	}
	return q, assumed, nil
}

// turnedSlots is how far the second ring stands turned, in its own slot pitches.
func turnedSlots(core stator.Core) float64 {
	if core.SecondRing != nil && core.SecondRing.TurnedSlots.Given {
		return core.SecondRing.TurnedSlots.Value
	}
	return defaultTurned
}

// checkCoils names what is impossible about explicit coils.
func checkCoils(coils []Coil, q int) []errs.Field {
	if len(coils) == 0 {
		return []errs.Field{{Pointer: "/coils", Code: "NO_COILS", Detail: "give coils or a pattern"}}
	}
	if len(coils) > MaxCoils {
		return []errs.Field{{Pointer: "/coils", Code: "TOO_MANY_COILS", Detail: fmt.Sprintf("%d coils; at most %d are answered", len(coils), MaxCoils)}}
	}
	var fields []errs.Field
	for i, c := range coils {
		at := fmt.Sprintf("/coils/%d", i)
		name := fmt.Sprintf("coil %d-%d", c.In, c.Out)
		for _, side := range []struct {
			key  string
			slot int
		}{{"in", c.In}, {"out", c.Out}} {
			if side.slot < 1 || side.slot > q {
				fields = append(fields, errs.Field{Pointer: at + "/" + side.key, Code: "SLOT_OUT_OF_RANGE",
					Detail: fmt.Sprintf("%s: there is no slot %d in a ring of %d", name, side.slot, q), Allowed: [2]int{1, q}, Got: fmt.Sprint(side.slot)})
			}
		}
		if c.In == c.Out && c.In >= 1 && c.In <= q {
			fields = append(fields, errs.Field{Pointer: at, Code: "SAME_SLOT_TWICE", Detail: fmt.Sprintf("%s lies in slot %d twice", name, c.In)})
		}
		if f := checkTurns(at+"/turns", name, c.Turns); f != nil {
			fields = append(fields, *f)
		}
	}
	return fields
}

// checkTurns names turns that cannot be wound.
func checkTurns(at, name string, turns float64) *errs.Field {
	if turns > 0 && turns <= MaxTurns { // a NaN fails both
		return nil
	}
	f := &errs.Field{Pointer: at, Code: "TURNS_OUT_OF_RANGE", Detail: fmt.Sprintf("%s: turns must be above 0 and at most %d", name, MaxTurns), Got: fmt.Sprint(turns)}
	if turns == 0 {
		f.Code, f.Detail = "ZERO_TURNS", name+" has no turns: leave the coil out, or give its turns"
	}
	return f
}

// wrap brings a slot number into 1..q.
func wrap(slot, q int) int { return ((slot-1)%q+q)%q + 1 }

// nearest rounds half up, so that equal inputs always give equal layouts.
func nearest(x float64) int { return int(math.Floor(x + 0.5)) }
