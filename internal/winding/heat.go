package winding

import (
	"math"

	"statorbook/internal/unit"
)

// FinalRise is the rise in K at which a body gives off its losses: loss/(surface in m² × coefficient in
// W/m²K), one coefficient for the whole surface.
func FinalRise(loss unit.Watt, surface, coefficient float64) unit.Kelvin {
	return unit.Kelvin(float64(loss) / (surface * coefficient))
}

// RiseAt is the rise after a time of a body that heats up by one exponential: θf·(1 − e^(−t/τ)). Time
// and time constant in the same unit.
func RiseAt(final unit.Kelvin, time, constant float64) unit.Kelvin {
	return final * unit.Kelvin(1-math.Exp(-time/constant))
}

// HeatingCurve is the exponential through two rises, the second after twice the time of the first:
// θf = θ1²/(2·θ1 − θ2), τ = t/ln(θf/(θf − θ1)). ok is false when the readings do not bend towards a final rise.
func HeatingCurve(first, second unit.Kelvin, time float64) (final unit.Kelvin, constant float64, ok bool) {
	bend := 2*first - second
	if !(first > 0) || !(second > first) || !(bend > 0) || !(time > 0) {
		return 0, 0, false
	}
	final = first * first / bend
	return final, time / math.Log(float64(final/(final-first))), true
}

// VoltageUnbalance is the largest deviation of the line voltages from their mean, over the mean (the usual
// definition of motor standards, from memory). Less than two voltages, or a mean of 0, give 0.
func VoltageUnbalance(lines ...unit.Volt) float64 {
	mean, worst := 0.0, 0.0
	for _, v := range lines {
		mean += float64(v) / float64(len(lines))
	}
	if len(lines) < 2 || mean == 0 {
		return 0
	}
	for _, v := range lines {
		worst = math.Max(worst, math.Abs(float64(v)-mean))
	}
	return worst / mean
}

// ReferredRotorFactor is what a cage resistance is multiplied by to be seen from the stator:
// (m1/m2)·(N1·kw1/(N2·kw2))².
func ReferredRotorFactor(phases1 int, turns1, factor1 float64, phases2 int, turns2, factor2 float64) float64 {
	a := turns1 * factor1 / (turns2 * factor2)
	return float64(phases1) / float64(phases2) * a * a
}
