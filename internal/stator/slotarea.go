package stator

import (
	"math"

	"statorbook/internal/unit"
)

// Assumed sizes of what a slot holds besides wire (common practice, no source).
const (
	DefaultMouth unit.Millimetre = 1.0  // height of the mouth, lip and taper, which holds no wire
	DefaultLiner unit.Millimetre = 0.25 // thickness of the slot liner
)

// TrapezoidArea is the area in mm² of a slot of straight sides: widths b1 and b2, height h.
func TrapezoidArea(b1, b2, h unit.Millimetre) unit.SquareMillimetre {
	return unit.SquareMillimetre((b1 + b2) / 2 * h)
}

// RoundBottomArea is a trapezoid closed at the width b2 by a half circle of that diameter, in mm².
func RoundBottomArea(b1, b2, h unit.Millimetre) unit.SquareMillimetre {
	return TrapezoidArea(b1, b2, h) + unit.SquareMillimetre(math.Pi*b2*b2/8)
}

// RoundArea is the area in mm² of a round slot of diameter d.
func RoundArea(d unit.Millimetre) unit.SquareMillimetre {
	return unit.SquareMillimetre(math.Pi * d * d / 4)
}

// ParallelToothArea is the area in mm² of a slot between teeth of equal width b, from radius r1 to
// radius r2 (in either order): π·|r2²−r1²|/slots − b·|r2−r1|. Slots below 1 give 0.
func ParallelToothArea(r1, r2, b unit.Millimetre, slots int) unit.SquareMillimetre {
	if slots < 1 {
		return 0
	}
	h := math.Abs(float64(r2 - r1))
	return unit.SquareMillimetre(math.Pi*math.Abs(float64(r2*r2-r1*r1))/float64(slots) - float64(b)*h)
}

// MouthArea is the area in mm² of a semi-closed mouth, which holds no wire: opening bo × lip height ho, and
// the taper of height hw that widens from bo to b1.
func MouthArea(bo, ho, b1, hw unit.Millimetre) unit.SquareMillimetre {
	return unit.SquareMillimetre(bo*ho + (bo+b1)/2*hw)
}

// LinerAllowance is the area in mm² that insulation takes from a slot: liner of thickness t along
// the outline without its mouth, and a separator of thickness s across the mean width for two layers.
func LinerAllowance(t, outline, s, meanWidth unit.Millimetre) unit.SquareMillimetre {
	return unit.SquareMillimetre(t*outline + s*meanWidth)
}

// SlotArea is a slot area as derived from other dimensions.
type SlotArea struct {
	Gross    unit.SquareMillimetre // outline below the mouth
	Net      unit.SquareMillimetre // Gross less liner
	TopWidth unit.Millimetre       // width below the mouth
	Bottom   unit.Millimetre       // width at the bottom; 0 for a round slot
	Height   unit.Millimetre       // height below the mouth
	Outline  unit.Millimetre       // length of the outline without its mouth: the developed width of a liner
	Shape    SlotShape             // the form used
}

// DerivedSlotArea derives the area of a slot at the gap from diameters, teeth and depth by the
// slot shape; a shape that is not given is taken as parallel_tooth. The mouth (DefaultMouth high) holds no wire. It serves both
// rotor positions: with an outside rotor slots narrow towards their bottom. ok is false when slots, gap
// diameter, tooth width or depth are missing or leave no slot.
func DerivedSlotArea(c Core) (SlotArea, bool) { return DerivedRingSlotArea(c, false) }

// DerivedRingSlotArea is DerivedSlotArea for the ring at the gap or the second ring, which begins
// where the slots of the first end.
func DerivedRingSlotArea(c Core, back bool) (SlotArea, bool) {
	tooth, slots := c.ToothWidth, RingSlots(c, back)
	depth, ok := SlotDepthOf(c)
	if back {
		if c.SecondRing == nil || !positive(c.SecondRing.SlotDepth) {
			return SlotArea{}, false
		}
		tooth = c.SecondRing.ToothWidth
		depth, ok = Depth{Value: unit.Millimetre(c.SecondRing.SlotDepth.Value)}, true
	}
	start, known := ringStart(c, back)
	if !ok || !known || !positive(tooth) || slots < 1 {
		return SlotArea{}, false
	}
	mouth := min(float64(DefaultMouth), float64(depth.Value)/4)
	s := slotForm{slots: slots, tooth: tooth.Value, sign: outward(c)}
	s.r1, s.r2 = start+s.sign*mouth, start+s.sign*float64(depth.Value)
	return s.area(c.SlotShape)
}

// slotForm is a slot between two radii: r1 below the mouth, r2 at the bottom.
type slotForm struct {
	slots             int
	tooth, sign       float64
	r1, r2            float64
	top, bottom, high float64
}

// width is the chordless width of the slot at a radius.
func (s slotForm) width(r float64) float64 { return 2*math.Pi*r/float64(s.slots) - s.tooth }

func (s slotForm) area(shape SlotShape) (SlotArea, bool) {
	s.top, s.bottom, s.high = s.width(s.r1), s.width(s.r2), math.Abs(s.r2-s.r1)
	if s.top <= 0 || s.bottom <= 0 || s.r2 <= 0 || s.high <= 0 {
		return SlotArea{}, false
	}
	gross, outline := s.parallel()
	switch shape {
	case SlotRoundBottom:
		gross, outline = s.roundBottom()
	case SlotRectangular:
		b := min(s.top, s.bottom)
		s.top, s.bottom = b, b
		gross, outline = b*s.high, 2*s.high+b
	case SlotRound:
		gross, outline = math.Pi*s.high*s.high/4, math.Pi*s.high
		s.top, s.bottom = s.high, 0
	case SlotTrapezoid:
	default:
		shape = SlotParallelTooth
	}
	net := gross - float64(LinerAllowance(DefaultLiner, unit.Millimetre(outline), 0, 0))
	if net <= 0 {
		return SlotArea{}, false
	}
	return SlotArea{
		Gross: unit.SquareMillimetre(gross), Net: unit.SquareMillimetre(net), TopWidth: unit.Millimetre(s.top), Bottom: unit.Millimetre(s.bottom),
		Height: unit.Millimetre(s.high), Outline: unit.Millimetre(outline), Shape: shape,
	}, true
}

// parallel is the annulus less the tooth; a trapezoid between the same widths has the same area.
func (s slotForm) parallel() (gross, outline float64) {
	gross = float64(ParallelToothArea(unit.Millimetre(s.r1), unit.Millimetre(s.r2), unit.Millimetre(s.tooth), s.slots))
	side := math.Hypot(s.high, (s.bottom-s.top)/2)
	return gross, 2*side + s.bottom
}

// roundBottom ends in a half circle that touches r2: its diameter b is the width of the slot at
// the radius b/2 before r2.
func (s slotForm) roundBottom() (gross, outline float64) {
	b := s.bottom / (1 + s.sign*math.Pi/float64(s.slots))
	h := s.high - b/2
	if b <= 0 || h <= 0 {
		return s.parallel()
	}
	side := math.Hypot(h, (b-s.top)/2)
	return (s.top+b)/2*h + math.Pi*b*b/8, 2*side + math.Pi*b/2
}
