package simworld

import (
	"math"
	"strconv"
	"strings"

	"statorbook/internal/unit"
)

// stepped rounds v to the nearest multiple of step.
func stepped(v, step float64) float64 { return math.Round(v/step) * step }

// decimals is the number of decimals that a step needs: 0.05 needs two, 5 none.
func decimals(step float64) int {
	text := strconv.FormatFloat(step, 'f', -1, 64)
	if dot := strings.IndexByte(text, '.'); dot >= 0 {
		return len(text) - dot - 1
	}
	return 0
}

// read is v as somebody reads it from an instrument with that step: value and digits agree.
func read(v, step float64) unit.Measured {
	return typed(strconv.FormatFloat(stepped(v, step), 'f', decimals(step), 64))
}

// significant is v written with n significant digits, as a meter shows it.
func significant(v float64, n int) unit.Measured {
	if v == 0 {
		return typed("0")
	}
	exponent := int(math.Floor(math.Log10(math.Abs(v))))
	step := math.Pow10(exponent - n + 1)
	places := max(0, n-1-exponent)
	return typed(strconv.FormatFloat(stepped(v, step), 'f', places, 64))
}

// typed is a figure given by its digits; the digits come from this package and always parse.
func typed(text string) unit.Measured {
	v, err := strconv.ParseFloat(text, 64)
	if err != nil || math.IsInf(v, 0) || math.IsNaN(v) {
		panic("simworld: not a number: " + text)
	}
	return unit.Measured{Given: true, Value: v, Text: text}
}

// nearest returns the item of a rising preferred series that is nearest to v by ratio.
func nearest(v float64, series []float64) float64 {
	best := series[0]
	for _, s := range series {
		if math.Abs(math.Log(s/v)) < math.Abs(math.Log(best/v)) {
			best = s
		}
	}
	return best
}

// plain writes a figure without an exponent and without trailing zeros.
func plain(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }
