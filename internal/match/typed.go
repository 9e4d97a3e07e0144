package match

import (
	"math"
	"strconv"

	"statorbook/internal/unit"
)

// unitFactors gives how much of a field's own unit (mm, mm², V, A, Hz, W, 1/min, µF, g) one of the unit
// is in which a figure may be typed (UCUM 2.2; inch and pound exact by definition, the British horsepower
// 550 ft·lbf/s). A unit that is not in it is the field's own.
var unitFactors = map[string]float64{
	"um": 1e-3, "cm": 10, "m": 1000, "[in_i]": unit.MillimetrePerInch, "[mil_i]": unit.MillimetrePerInch / 1000,
	"cm2": 100, "[in_i]2": unit.MillimetrePerInch * unit.MillimetrePerInch,
	"mV": 1e-3, "kV": 1000, "mA": 1e-3, "kHz": 1000, "/s": 60,
	"mW": 1e-3, "kW": 1000, "[HP]": 745.69987158227022,
	"nF": 1e-3, "mF": 1000, "F": 1e6,
	"mg": 1e-3, "kg": 1000, "[lb_av]": 453.59237, "[oz_av]": 28.349523125,
}

// unitFactor is how much of the field's own unit one unit as typed is.
func unitFactor(ucum string) float64 {
	if k, ok := unitFactors[ucum]; ok {
		return k
	}
	return 1
}

// asTyped spells a figure with the digits that were typed, in the unit in which they were: slips are made
// in those. factor is that unit in terms of the field's own.
func asTyped(m unit.Measured) (text string, factor float64) {
	factor = unitFactor(m.Unit)
	if factor == 1 && m.Text != "" {
		return m.Text, 1
	}
	return strconv.FormatFloat(round6(m.Value/factor), 'f', -1, 64), factor
}

// round6 drops the hair of a unit conversion.
func round6(v float64) float64 { return math.Round(v*1e6) / 1e6 }
