package winding

import (
	"math"

	"statorbook/internal/stator"
	"statorbook/internal/unit"
)

// Paths is the number of parallel paths of a set, 1 if not given.
func Paths(set CoilSet) int { return max(set.ParallelPaths, 1) }

// TotalTurns is the sum of the turns of all coils of a set. A pattern without groups does not tell
// it: 0 then; expand it first and use TurnsOf.
func TotalTurns(set CoilSet) float64 {
	if set.Pattern == nil {
		return TurnsOf(set.Coils)
	}
	sum := 0.0
	for _, t := range turnsPerThrow(*set.Pattern) {
		sum += t
	}
	return sum * float64(set.Pattern.Groups)
}

// TurnsOf is the sum of the turns of coils.
func TurnsOf(coils []Coil) float64 {
	sum := 0.0
	for _, c := range coils {
		sum += c.Turns
	}
	return sum
}

// SeriesTurns is the turns in series in one path: turns of all coils / parallel paths. 0 when a
// pattern does not tell its groups.
func SeriesTurns(set CoilSet) float64 { return TotalTurns(set) / float64(Paths(set)) }

// MeanTurnForm is a rule for the mean length of turn: MLT = 2·(L + Ke·arc) + Straight, with the arc
// of the coil's span on the circle through the middle of its slots.
type MeanTurnForm struct {
	Ke       float64         // arc factor of one end
	Straight unit.Millimetre // straight runs of both ends together
}

// The forms. BenchMeanTurn is the small lap and concentric form of common practice (arc factor 1.2
// to 1.6, straight run 5 to 10 mm at each side): 1.5 × arc + 12 mm for each end.
// SheetMeanTurn is the form by which data sheets are compared: 2·L + 2.2·arc + 15 mm; what a
// maker's ends differ from it is a constant ratio, learned from his records.
var (
	BenchMeanTurn = MeanTurnForm{Ke: 1.5, Straight: 24}
	SheetMeanTurn = MeanTurnForm{Ke: 1.1, Straight: 15}
)

// MeanTurn is the mean length in mm of one turn of a coil of so many slot pitches in a ring of a
// core. ok is false when stack, gap diameter or slots are missing. Without a slot depth the arc is
// taken on a circle 0.15 × gap diameter behind or before the gap, a rough figure (common practice, no
// source); MidSlotDiameter tells which was used. A span above half the ring counts as the rest of it.
func MeanTurn(core stator.Core, ring RingName, span int, form MeanTurnForm) (length unit.Millimetre, ok bool) {
	q, _, problem := ringSlots(ring, core)
	mid, _, known := MidSlotDiameter(core, ring)
	if problem != nil || !known || !core.StackLength.Given {
		return 0, false
	}
	if span < 0 {
		span = -span
	}
	span = min(span, q-span)
	arc := math.Pi * float64(mid) * float64(span) / float64(q)
	return unit.Millimetre(2*(core.StackLength.Value+form.Ke*arc)) + form.Straight, true
}

// MeanTurnOf is the mean turn of coils weighted by their turns.
func MeanTurnOf(core stator.Core, ring RingName, coils []Coil, form MeanTurnForm) (length unit.Millimetre, ok bool) {
	turns, sum := 0.0, 0.0
	for _, c := range coils {
		l, ok := MeanTurn(core, ring, c.Out-c.In, form)
		if !ok {
			return 0, false
		}
		turns += c.Turns
		sum += c.Turns * float64(l)
	}
	if turns <= 0 {
		return 0, false
	}
	return unit.Millimetre(sum / turns), true
}

// depthGuess is slot depth / gap diameter where neither depth nor closure tells it.
const depthGuess = 0.15

// MidSlotDiameter is the diameter in mm of the circle through the middle of the slots of a ring,
// where the ends of the coils run: gap diameter + depth for an inside rotor, - depth for an outside
// one; the second ring lies behind the first. assumed is true when a depth had to be guessed; ok is false without a
// gap diameter.
func MidSlotDiameter(core stator.Core, ring RingName) (diameter unit.Millimetre, assumed, ok bool) {
	if !core.GapDiameter.Given || core.GapDiameter.Value <= 0 {
		return 0, true, false
	}
	d := core.GapDiameter.Value
	depth, guessed := slotDepth(core)
	way := depth
	if ring == RingBack && core.SecondRing != nil {
		second := core.SecondRing.SlotDepth
		if second.Given {
			way = 2*depth + second.Value
		} else {
			way, guessed = 3*depth, true
		}
	}
	if core.RotorPosition == stator.RotorOutside {
		return unit.Millimetre(max(d-way, 0.2*d)), guessed, true
	}
	return unit.Millimetre(d + way), guessed, true
}

// slotDepth is the depth of the slots at the gap: as measured, else by closure (half the difference
// of the diameters less the back iron, one ring only), else guessed.
func slotDepth(core stator.Core) (depth float64, guessed bool) {
	if core.SlotDepth.Given {
		return core.SlotDepth.Value, false
	}
	if core.BackDiameter.Given && core.BackIron.Given && core.SecondRing == nil {
		if h := math.Abs(core.BackDiameter.Value-core.GapDiameter.Value)/2 - core.BackIron.Value; h > 0 {
			return h, false
		}
	}
	return depthGuess * core.GapDiameter.Value, true
}
