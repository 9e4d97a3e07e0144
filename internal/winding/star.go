package winding

import (
	"math"

	"statorbook/internal/stator"
)

// Factor is the winding factor of coils on one ring by the star of slots, and the axis of the
// winding, for a harmonic of the working pole pair (1 = the working field):
//
//	kw(h) = | Σ t·(e^{jhiβ} − e^{jhoβ}) | / (2·Σ t),  β = π·poles/slots,
//
// for coils that go in at slot i and return at slot o with t turns. The axis is the argument of
// the same sum in electrical degrees of that harmonic, 0 <= axis < 360, and 0 when kw is 0. The
// method is common to all texts on AC windings; it covers concentric, half-coil, fractional and
// tooth windings alike. No coils, no slots or no poles give 0.
func Factor(coils []Coil, slots, poles, harmonic int) (kw, axisDeg float64) {
	return factorFrom(coils, slots, poles, harmonic, 0)
}

// factorFrom is Factor with all slots turned by so many slot pitches.
func factorFrom(coils []Coil, slots, poles, harmonic int, turned float64) (kw, axisDeg float64) {
	if slots <= 0 || poles <= 0 || harmonic <= 0 {
		return 0, 0
	}
	beta := float64(harmonic) * math.Pi * float64(poles) / float64(slots)
	var re, im, turns float64
	for _, c := range coils {
		si, ci := math.Sincos(beta * (float64(c.In) + turned))
		so, co := math.Sincos(beta * (float64(c.Out) + turned))
		re += c.Turns * (ci - co)
		im += c.Turns * (si - so)
		turns += c.Turns
	}
	if turns <= 0 {
		return 0, 0
	}
	kw = math.Hypot(re, im) / (2 * turns)
	if kw < 1e-9 {
		return 0, 0
	}
	return kw, degrees(math.Atan2(im, re))
}

// degrees turns radians into 0 <= degrees < 360, without the hair of rounding just below 360.
func degrees(rad float64) float64 {
	d := math.Mod(rad*180/math.Pi+360, 360)
	if 360-d < 1e-9 {
		return 0
	}
	return d
}

// FactorOfSet is Factor for a set on its ring of a core: a second ring stands turned by
// second_ring.turned_slots of its pitches (0.5 if not given), which moves its axis.
// coils are those of Expand or ExpandScheme.
func FactorOfSet(set CoilSet, coils []Coil, poles int, core stator.Core, harmonic int) (kw, axisDeg float64) {
	q, _, problem := ringSlots(set.Ring, core)
	if problem != nil {
		return 0, 0
	}
	turned := 0.0
	if set.Ring == RingBack {
		turned = turnedSlots(core)
	}
	return factorFrom(coils, q, poles, harmonic, turned)
}

// Displacement is the angle between two axes in electrical degrees, 0 to 180.
func Displacement(axisA, axisB float64) float64 {
	return math.Abs(math.Remainder(axisA-axisB, 360))
}
