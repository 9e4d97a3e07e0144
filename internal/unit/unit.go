// Package unit gives each quantity of the trade a float64 type in one fixed unit, so that swapped
// arguments do not compile, and Measured, a value as somebody read it. The idea of one defined
// type per quantity is gonum's unit package; what types cannot catch (a millimetre typed as an
// inch) is left to the checks.
package unit

// The quantities, each in the unit of its name.
type (
	Millimetre                float64 // mm
	SquareMillimetre          float64 // mm²
	Metre                     float64 // m
	Ohm                       float64 // Ω
	OhmPerKilometre           float64 // Ω/km
	Celsius                   float64 // °C
	Kelvin                    float64 // K, a temperature difference
	Gram                      float64 // g
	GramPerMetre              float64 // g/m
	Tesla                     float64 // T
	Milliweber                float64 // mWb
	Volt                      float64 // V
	Ampere                    float64 // A
	AmperePerSquareMillimetre float64 // A/mm²
	Hertz                     float64 // Hz
	Watt                      float64 // W
	RevolutionPerMinute       float64 // 1/min
	Microfarad                float64 // µF
	ElectricalDegree          float64 // electrical degrees: mechanical degrees × pole pairs
)

// MillimetrePerInch is exact by definition (international inch, 1959).
const MillimetrePerInch = 25.4

// Measured is a figure as somebody read it, in the unit of the field that holds it (mm for a
// length field). The zero value means "not given".
type Measured struct {
	Given       bool
	Value       float64 // in the field's unit
	Text        string  // the decimal digits as typed, converted exactly to the field's unit; "" for a computed figure
	Unit        string  // UCUM code as typed, "" for the field's own
	Uncertainty float64 // one standard deviation in the field's unit, 0 if not stated
	Resolution  float64 // smallest step of the instrument in the field's unit, 0 if not stated
	Method      string  // how it was got, "" if not stated
}

// Of returns a plain value without uncertainty.
func Of(v float64) Measured { return Measured{Given: true, Value: v} }

// Range holds the 5, 50 and 95 % points of a figure, in the unit of the field that holds it.
// P05 <= P50 <= P95 always.
type Range struct{ P05, P50, P95 float64 }
