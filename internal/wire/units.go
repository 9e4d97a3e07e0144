package wire

import (
	"math"

	"statorbook/internal/unit"
)

// Conversion factors to the units of American tables. Inch and pound are exact by definition
// (international yard and pound, 1959).
const (
	millimetrePerFoot  = 12 * unit.MillimetrePerInch
	gramPerPound       = 453.59237
	milPerInch         = 1000
	metrePerKilofoot   = millimetrePerFoot // 1000 ft = 304.8 m
	millimetrePerMil   = unit.MillimetrePerInch / milPerInch
	kilometrePerKilofo = metrePerKilofoot / 1000
)

// Inches returns a diameter in inches.
func Inches(d unit.Millimetre) float64 { return float64(d) / unit.MillimetrePerInch }

// CircularMils returns a round cross-section in circular mils: the area of a circle of one mil
// (0.001 in) is one, so a wire of n mils has n².
func CircularMils(a unit.SquareMillimetre) float64 {
	return float64(a) / (math.Pi / 4 * millimetrePerMil * millimetrePerMil)
}

// OhmsPerThousandFeet turns Ω/km into Ω/1000 ft.
func OhmsPerThousandFeet(r unit.OhmPerKilometre) float64 { return float64(r) * kilometrePerKilofo }

// PoundsPerThousandFeet turns g/m into lb/1000 ft.
func PoundsPerThousandFeet(m unit.GramPerMetre) float64 {
	return float64(m) * metrePerKilofoot / gramPerPound
}
