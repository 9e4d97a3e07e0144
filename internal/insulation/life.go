package insulation

import (
	"math"

	"statorbook/internal/unit"
)

// The rule of Montsinger: a step of about ten kelvin halves or doubles the life of insulation. The
// step is guidance, seen quoted in several textbooks; the spread of 8 to 12 K by material is from memory.
const (
	HalvingStep     unit.Kelvin = 10
	HalvingStepLow  unit.Kelvin = 8
	HalvingStepHigh unit.Kelvin = 12
)

// MaxLifeReserve is the largest difference of temperature to which the rule is stretched, K. Beyond
// it the ageing law is no longer a fixed step, so LifeFactor abstains.
const MaxLifeReserve unit.Kelvin = 50

// Life is a ratio of expected lives. Low <= Mid <= High; Mid is for a step of 10 K.
type Life struct{ Low, Mid, High float64 }

// LifeFactor returns by what factor life grows when the insulation runs cooler by reserve kelvin than
// its class temperature (below 1 when it runs hotter): 2^(reserve/10), with 8 and 12 K as the spread.
// It is guidance for comparing, never a promise of hours. False beyond 50 K either way, and for NaN.
func LifeFactor(reserve unit.Kelvin) (Life, bool) {
	if !(math.Abs(float64(reserve)) <= float64(MaxLifeReserve)) {
		return Life{}, false
	}
	at := func(step unit.Kelvin) float64 { return math.Exp2(float64(reserve / step)) }
	a, b := at(HalvingStepLow), at(HalvingStepHigh)
	return Life{Low: math.Min(a, b), Mid: at(HalvingStep), High: math.Max(a, b)}, true
}
