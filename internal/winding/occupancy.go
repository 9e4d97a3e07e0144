package winding

import (
	"math"

	"statorbook/internal/stator"
)

// Side is one coil side in a slot.
type Side struct {
	Set   int // index of the coil set in the scheme
	Role  Role
	Coil  int  // index of the coil among the expanded coils of its set
	Out   bool // the coil returns here; false: it goes in here
	Turns float64
}

// SlotUse is what lies in one slot.
type SlotUse struct {
	Ring   RingName
	Number int // 1..slots of the ring, counted from the lead side
	Sides  []Side
}

// Turns is the sum of the turns of all sides in the slot.
func (s SlotUse) Turns() float64 {
	sum := 0.0
	for _, side := range s.Sides {
		sum += side.Turns
	}
	return sum
}

// Occupancy lists the slots of all rings in order, empty ones included, with what lies in them.
// coils are those of ExpandScheme, one list for each set.
func Occupancy(s Scheme, coils [][]Coil, core stator.Core) []SlotUse {
	gap, back := core.Slots, 0
	if core.SecondRing != nil {
		back = stator.RingSlots(core, true)
	}
	slots := make([]SlotUse, gap+back)
	for i := range slots {
		slots[i] = SlotUse{Ring: RingGap, Number: i + 1}
		if i >= gap {
			slots[i] = SlotUse{Ring: RingBack, Number: i - gap + 1}
		}
	}
	counts := make([]int, len(slots))
	each(s, coils, gap, len(slots), func(at int, _ Side) { counts[at]++ })
	total := 0
	for _, n := range counts {
		total += n
	}
	room := make([]Side, 0, total) // one allocation for all slots
	for i, n := range counts {
		at := len(room)
		room = room[:at+n]
		slots[i].Sides = room[at : at : at+n]
	}
	each(s, coils, gap, len(slots), func(at int, side Side) { slots[at].Sides = append(slots[at].Sides, side) })
	return slots
}

// each visits the coil sides of a scheme with the index of their slot.
func each(s Scheme, coils [][]Coil, gap, slots int, visit func(at int, side Side)) {
	for i, set := range s.CoilSets {
		base := 0
		if set.Ring == RingBack {
			base = gap
		}
		for k, c := range coils[i] {
			for _, side := range [2]Side{{i, set.Role, k, false, c.Turns}, {i, set.Role, k, true, c.Turns}} {
				at := base + c.In - 1
				if side.Out {
					at = base + c.Out - 1
				}
				if at >= 0 && at < slots {
					visit(at, side)
				}
			}
		}
	}
}

// equalParts is the greatest number of parallel paths into which coils can be divided so that every path holds
// the same coils in the same phase: the greatest common divisor of how often each kind of coil
// occurs, a kind being span, turns and phasor of the working field.
func equalParts(coils []Coil, slots, poles int) int {
	type kind struct {
		angle, span int
		turns       float64
	}
	counts := map[kind]int{}
	for _, c := range coils {
		kw, axis := Factor([]Coil{c}, slots, poles, 1)
		span := wrap(c.Out-c.In, slots)
		counts[kind{int(axis*1e3+0.3) % 360000, min(span, slots-span), math.Round(c.Turns * kw * 1e6)}]++
	}
	parts := 0
	for _, n := range counts {
		parts = gcd(n, parts)
	}
	return parts
}
