package winding

import (
	"fmt"
	"math"

	"statorbook/internal/errs"
)

// layouter lays one completed pattern on its ring.
type layouter struct {
	role   Role
	ring   RingName
	p      filled
	poles  int
	slots  int
	turned float64 // slot pitches
}

// placed is a set that already lies in its slots, with its axis in electrical degrees.
type placed struct {
	role Role
	axis float64
	kw   float64
}

// at lays the pattern with its first coil side in slot first.
func (l layouter) at(first int) ([]Coil, []Assumption, *errs.Field) {
	switch {
	case l.p.belts && l.p.Groups*6 == l.slots && l.p.Groups*3 != l.slots:
		return l.singleLayer(first)
	case l.p.belts:
		return l.beltCoils(first, func(int) bool { return true }), nil, nil
	}
	coils := make([]Coil, 0, l.p.Groups*len(l.p.Throws))
	for g := range l.p.Groups {
		start := first + nearest(float64(g*l.slots)/float64(l.p.Groups))
		for k, throw := range l.p.Throws {
			in := start + k // lap and tooth: each coil one slot on
			if l.p.Kind == Concentric || l.p.Kind == Skein {
				in = start + (l.p.Throws[0]-throw)/2
			}
			coils = append(coils, coil(in, throw-1, l.p.Turns[k], l.slots, l.p.alternate && g%2 == 1))
		}
	}
	var assumed []Assumption
	if l.slots%l.p.Groups != 0 {
		assumed = append(assumed, Assumption{Field: "pattern", Value: "groups at the nearest slot", Why: fmt.Sprintf("%d groups on %d slots stand %.3g slots apart", l.p.Groups, l.slots, float64(l.slots)/float64(l.p.Groups))})
	}
	return coils, assumed, nil
}

// coil makes one coil; a reversed one goes in where the other would return.
func coil(in, span int, turns float64, q int, reversed bool) Coil {
	a, b := wrap(in, q), wrap(in+span, q)
	if reversed {
		a, b = b, a
	}
	return Coil{In: a, Out: b, Turns: turns}
}

// beltCoils picks the coils of one phase from all coils that may start in the slots for which
// starts is true. A coil belongs to the phase if the phasor of its first side, counted from the
// phase's own first slot, lies in the belt of 60 electrical degrees, or, reversed, in the belt
// opposite. Integers only, so that no slot on the edge of a belt depends on rounding.
func (l layouter) beltCoils(first int, starts func(offset int) bool) []Coil {
	coils := make([]Coil, 0, l.p.Groups)
	for offset := range l.slots {
		if !starts(offset) {
			continue
		}
		belt := 6 * (offset * (l.poles / 2) % l.slots) / l.slots
		if belt != 0 && belt != 3 {
			continue
		}
		coils = append(coils, coil(first+offset, l.p.Throws[0]-1, l.p.Turns[0], l.slots, belt == 3))
	}
	return coils
}

// singleLayer lays a sixth of the slots as coils of one throw, one side in each slot. Coils start
// in runs of r neighbouring slots, r slots apart; each ends in a slot where none starts only if
// span/r is odd and 2r divides the slots. Of the runs that fit, the one with the greatest winding
// factor is taken, the shortest if several have it.
func (l layouter) singleLayer(first int) ([]Coil, []Assumption, *errs.Field) {
	span := l.p.Throws[0] - 1
	var best []Coil
	bestFactor := 0.0
	for r := 1; r <= span; r++ {
		if span%r != 0 || span/r%2 == 0 || l.slots%(2*r) != 0 {
			continue
		}
		coils := l.beltCoils(first, func(offset int) bool { return offset/r%2 == 0 })
		if len(coils) != l.p.Groups {
			continue
		}
		if kw, _ := Factor(coils, l.slots, l.poles, 1); kw > bestFactor+1e-9 {
			best, bestFactor = coils, kw
		}
	}
	if best == nil {
		return nil, nil, &errs.Field{Pointer: "/pattern/throws/0", Code: "THROW_IMPOSSIBLE",
			Detail: fmt.Sprintf("throw 1-%d cannot fill %d slots with one side in each; a single layer of equal coils needs another throw, or list the coils", l.p.Throws[0], l.slots), Got: fmt.Sprint(l.p.Throws[0])}
	}
	return best, nil, nil
}

// place finds the first slot of a set that does not tell it, and says why.
func (l layouter) place(ref *placed) (int, string) {
	want, apart := l.wantedAngle(ref)
	if apart < 0 {
		return 1, "not given; counted from slot 1"
	}
	coils, _, problem := l.at(1)
	if problem != nil {
		return 1, "not given; counted from slot 1"
	}
	kw, own := Factor(coils, l.slots, l.poles, 1)
	own += l.ringAngle()
	reference := own - l.ringAngle() // a set of the same shape at slot 1 of the ring at the gap
	if ref != nil && ref.kw > 1e-6 && kw > 1e-6 {
		reference = ref.axis
	}
	pitch := 180 * float64(l.poles) / float64(l.slots)
	best, bestOff := 1, math.Inf(1)
	for first := 1; first <= l.slots; first++ {
		off := math.Abs(math.Remainder(own+float64(first-1)*pitch-reference-want, apart))
		if off < bestOff-1e-9 {
			best, bestOff = first, off
		}
	}
	why := fmt.Sprintf("not given; placed %g electrical degrees from the %s winding", want, l.partner())
	if bestOff > 0.01 {
		why += fmt.Sprintf(", as near as the slots allow (%.1f degrees off)", bestOff)
	}
	return best, why
}

// wantedAngle gives the angle to keep from the reference in electrical degrees and the period in
// which it counts (an auxiliary may stand at plus or minus 90); a negative period means slot 1.
func (l layouter) wantedAngle(ref *placed) (want, period float64) {
	switch l.role {
	case PhaseV:
		return 120, 360
	case PhaseW:
		return 240, 360
	case Auxiliary:
		return 90, 180
	case Speed:
		if ref != nil && ref.role == Auxiliary {
			return 0, 180
		}
		if ref != nil {
			return 90, 180
		}
	}
	return 0, -1
}

// partner names the winding that a role is placed against.
func (l layouter) partner() string {
	switch l.role {
	case PhaseV, PhaseW:
		return "phase u"
	case Speed:
		return "other"
	}
	return "main"
}

// ringAngle is how far the slots of this ring lead those at the gap, in electrical degrees.
func (l layouter) ringAngle() float64 {
	if l.ring != RingBack {
		return 0
	}
	return l.turned * 180 * float64(l.poles) / float64(l.slots)
}
