package simworld

import (
	"math"

	"statorbook/internal/stator"
	"statorbook/internal/unit"
)

// stacking is the iron in a stack of laminations: common practice for 0.5 mm sheet, as the service assumes.
const stacking = 0.95

// ring is one ring of slots of a lamination, in mm and mm²; area is net of liner and wedge.
type ring struct{ tooth, depth, opening, area float64 }

// lamination is one stamping as it lies in the drawer: exact, before anybody measures it.
type lamination struct {
	kind      *kind
	slots     int // per ring
	poles     int // what it was made for
	gap, back float64
	iron      float64
	first     ring // at the gap
	second    ring // zero without a second ring
	turned    float64
}

// drawLamination sizes a stamping for a gap density: teeth and back iron carry the flux of a pole
// at the densities that a designer likes, the slots are what is left.
func drawLamination(d dice, k *kind, b build, c *constants) lamination {
	l := lamination{kind: k, slots: b.slots, poles: b.poles}
	l.gap = d.logBetween(k.gap.low, k.gap.high) * math.Pow(float64(b.poles)/4, k.growth)
	l.gap = stepped(l.gap, pick(d, 0.1, 0.5, 0.5, 1))
	poleArc := math.Pi * l.gap / float64(b.poles)
	flux := k.gapT * d.firm(c.GapSpread) * poleArc / stacking // T·mm for each mm of net iron
	l.iron = stepped(flux/(2*c.IronT*d.firm(c.IronSpread)), 0.1)
	l.first.depth = k.depth * (l.gap + 30) * d.firm(c.DepthSpread)
	l.first.opening = stepped(c.Opening*d.between(0.82, 1.25), 0.1)
	wanted := c.ToothT * d.firm(c.ToothSpread)
	if k.twoRings {
		l.twoRings(d, flux, wanted)
	} else {
		l.first.tooth = stepped(flux*toothShare(b.poles, b.slots)/wanted, 0.05)
		l.closeBack(d, c)
	}
	l.fillAreas(c)
	return l
}

// toothShare is the flux of the fullest tooth as part of the flux of a pole, for a sine around the
// gap: sin(πP/2Q), exact for equal teeth (1 at one slot per pole, many-slot form 2 % off at 24/4).
func toothShare(poles, slots int) float64 {
	return math.Sin(math.Pi * float64(poles) / (2 * float64(slots)))
}

// closeBack rounds the outer diameter of an inside-rotor stamping and lets the slot take the rest,
// so that depth = (back - gap)/2 - back iron holds exactly.
func (l *lamination) closeBack(d dice, c *constants) {
	back := l.gap + 2*(l.first.depth+l.iron)
	l.back = stepped(back, 0.5)
	if five := stepped(back, 5); d.chance(c.SnapBack) && math.Abs(five-back) < 0.12*l.first.depth*2 {
		l.back = five
	}
	l.first.depth = stepped((l.back-l.gap)/2-l.iron, 0.01)
}

// twoRings sizes a fan stamping: the slits of the inner slots split each outer tooth into two legs,
// each with the flux that half a pole pitch of gap gives; the inner teeth carry the whole pole.
func (l *lamination) twoRings(d dice, flux, wanted float64) {
	l.second.opening = stepped(l.first.opening*d.between(0.8, 1), 0.1)
	leg := flux * toothShare(l.poles, 2*l.slots) / (0.92 * wanted)
	l.first.tooth = stepped(2*leg+l.second.opening, 0.1)
	l.second.tooth = stepped(flux/wanted*d.between(0.97, 1.05), 0.1)
	l.first.depth = stepped(l.first.depth, 0.1)
	l.second.depth = stepped(l.first.depth*d.between(0.72, 0.92), 0.1)
	web := stepped(d.between(0.6, 1.4), 0.1) // iron between the bottoms of the outer and the tops of the inner slots
	l.back = l.gap - 2*(l.first.depth+web+l.second.depth+l.iron)
	l.turned = 0.5
}

// fillAreas works out the net slot areas: parallel teeth, corners rounded, less liner and wedge.
func (l *lamination) fillAreas(c *constants) {
	const mouth, corners = 1.2, 0.96
	way := 1.0
	if l.kind.rotor == stator.RotorOutside {
		way = -1
	}
	net := func(r *ring, start, wedge float64) {
		top, bottom := start+way*mouth, start+way*r.depth
		q := float64(l.slots)
		gross := math.Pi*math.Abs(bottom*bottom-top*top)/q - r.tooth*math.Abs(bottom-top)
		wTop, wBottom := 2*math.Pi*top/q-r.tooth, 2*math.Pi*bottom/q-r.tooth
		liner := c.Liner * (2*math.Abs(bottom-top) + wTop + wBottom)
		r.area = stepped(corners*gross-liner-wedge*wTop, 0.1)
	}
	net(&l.first, l.gap/2, 0.9)
	if l.kind.twoRings {
		inner := l.back/2 + l.iron + l.second.depth
		net(&l.second, inner, 0.4) // a strip of leatheroid, no wedge
	}
}

// sound tells whether such a stamping could be made: iron and slots both have room.
func (l *lamination) sound() bool {
	ok := func(r ring, start float64) bool {
		pitch := 2 * math.Pi * start / float64(l.slots)
		return r.tooth >= 1.8 && r.tooth < 0.75*pitch && r.area > 18 && r.depth > 5 && r.opening < pitch-r.tooth
	}
	if l.iron < 2.5 || l.back < 20 {
		return false
	}
	if !l.kind.twoRings {
		return ok(l.first, l.gap/2)
	}
	return ok(l.first, l.gap/2) && ok(l.second, l.back/2+l.iron)
}

// core is the stamping with a stack as a drawing shows it; stack 0 leaves the stack open.
func (l *lamination) core(stack float64) stator.Core {
	c := stator.Core{
		Phases: l.kind.phases, RotorPosition: l.kind.rotor, Slots: l.slots,
		GapDiameter: read(l.gap, 0.1), BackDiameter: read(l.back, 0.1),
		ToothWidth: read(l.first.tooth, 0.05), SlotDepth: read(l.first.depth, 0.05), SlotOpening: read(l.first.opening, 0.1),
		BackIron: read(l.iron, 0.1), SlotArea: read(l.first.area, 0.1), SlotAreaBasis: stator.AreaNet, SlotShape: stator.SlotParallelTooth,
	}
	if stack > 0 {
		c.StackLength = read(stack, 0.1)
	}
	if l.kind.twoRings {
		c.SecondRing = &stator.Ring{
			Slots: l.slots, ToothWidth: read(l.second.tooth, 0.05), SlotDepth: read(l.second.depth, 0.05),
			SlotOpening: read(l.second.opening, 0.1), SlotArea: read(l.second.area, 0.1), TurnedSlots: unit.Measured{Given: true, Value: l.turned, Text: "0.5"},
		}
	}
	return c
}

// fluxLimit is the flux of a pole in mWb at which the tightest part of the iron reaches its limit.
func (l *lamination) fluxLimit(poles int, stack float64, c *constants) float64 {
	net := stack * stacking * 1e-3 // T·mm² = 1e-6 Wb = 1e-3 mWb
	limit := 2 * c.LimitIron * l.iron * net
	add := func(width float64, slots int) {
		limit = math.Min(limit, c.LimitTooth*width*net/toothShare(poles, slots))
	}
	if l.kind.twoRings {
		add((l.first.tooth-l.second.opening)/2, 2*l.slots)
		add(l.second.tooth, l.slots)
		return limit
	}
	add(l.first.tooth, l.slots)
	return limit
}
