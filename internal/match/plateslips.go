package match

import (
	"math"

	"statorbook/internal/unit"
)

// figureSlip is another way to read a figure of few digits, and its share among the slips.
type figureSlip struct{ ln, share float64 }

// Shares of the slips of a plate's figure: as those of a length, without the inch.
const (
	plateSlipRate = 0.02
	figSwap       = 0.35
	figDigit      = 0.30
	figPoint      = 0.20
	figHalf       = 0.15
)

// figureSlips lists what may have been meant by a figure of the nameplate.
func figureSlips(m unit.Measured) []figureSlip {
	text, factor := asTyped(m)
	typed := m.Value / factor
	var out []figureSlip
	add := func(group []float64, w float64) {
		for _, v := range group {
			out = append(out, figureSlip{math.Log(v * factor), w / float64(len(group))})
		}
	}
	add(swaps(text), figSwap)
	add(wrongDigits(text), figDigit)
	add([]float64{typed * 10, typed / 10}, figPoint)
	add([]float64{typed * 2, typed / 2}, figHalf)
	return out
}

// slipTo is the chance that a figure was read as it was by a slip, when the truth is ln.
func slipTo(slips []figureSlip, ln float64) float64 {
	sum := 0.0
	for i := range slips {
		if d := slips[i].ln - ln; d < sameFigure && d > -sameFigure {
			sum += slips[i].share
		}
	}
	return plateSlipRate * sum
}

// slipDensity is slipTo for a figure that scatters: a density of the logarithm.
func slipDensity(slips []figureSlip, ln, sd float64) float64 {
	sum := 0.0
	for i := range slips {
		if d := slips[i].ln - ln; d < altReach*sd && d > -altReach*sd {
			sum += slips[i].share * normal(d, sd*sd)
		}
	}
	return plateSlipRate * sum
}
