package wire

import (
	"math"

	"statorbook/internal/unit"
)

// Convention says which resistivity of copper a wire table rests on. Two are in print, 0.9 % apart.
type Convention string

// The conventions.
const (
	// WindingWire is the practice behind the tables of IEC 60317-0-1: nominal 1/58.5 Ω·mm²/m; minimum
	// 1/59 with the largest conductor, maximum 1/58 with the smallest. The annex text was not seen;
	// the three figures reproduce eleven printed rows of 0.067-0.118 mm to 0.03 %.
	WindingWire Convention = "winding_wire_58_5"
	// AnnealedCopper is the International Annealed Copper Standard, IEC 60028: 1/58 Ω·mm²/m. The
	// printed NEMA MW 1000 resistances use it for minimum, nominal and maximum alike.
	AnnealedCopper Convention = "annealed_copper_58"
	// AluminiumEC is EC aluminium of 61 % IACS, 0.028264 Ω·mm²/m, for nominal and limits alike.
	AluminiumEC Convention = "aluminium_61_iacs"
)

// The constants, one home for the whole service. Resistivities in Ω·mm²/m at 20 °C, densities in
// g/cm³ at 20 °C, temperature constants in °C.
const (
	ResistivityAnnealedCopper = 1.0 / 58   // IEC 60028, seen quoted
	ResistivityWindingNominal = 1.0 / 58.5 // practice behind IEC 60317-0-1, seen indirectly
	ResistivityWindingMin     = 1.0 / 59   // same
	ResistivityWindingMax     = 1.0 / 58   // same
	ResistivityAluminium      = 0.028264   // EC grade, 61 % IACS, seen quoted

	DensityCopper    = 8.89  // IEC 60028, seen quoted; winding-wire suppliers use 8.9
	DensityAluminium = 2.703 // EC aluminium, from memory (IEC 60889); 2.70 is also common

	// ZeroResistanceCopper and ZeroResistanceAluminium are K in R2/R1 = (K+t2)/(K+t1): the
	// resistance method of test standards, seen quoted. IEC 60034-1 rounds copper to 235 (from memory).
	ZeroResistanceCopper    = 234.5
	ZeroResistanceAluminium = 225.0

	// ReferenceTemperature is the temperature of every table figure, °C.
	ReferenceTemperature = 20.0
)

// AreaOf returns πd²/4, the cross-section of a round wire of diameter d.
func AreaOf(d unit.Millimetre) unit.SquareMillimetre {
	return unit.SquareMillimetre(math.Pi / 4 * float64(d) * float64(d))
}

// DiameterOf returns the diameter of the round wire of cross-section a, the inverse of AreaOf. NaN
// for a negative area.
func DiameterOf(a unit.SquareMillimetre) unit.Millimetre {
	return unit.Millimetre(math.Sqrt(4 / math.Pi * float64(a)))
}

// Resistivity returns the nominal resistivity of metal at 20 °C in Ω·mm²/m: of copper by the
// convention, of aluminium 0.028264 in any. NaN for a metal or convention that is not listed.
func Resistivity(metal Conductor, by Convention) float64 {
	switch {
	case metal == Aluminium && (by == WindingWire || by == AnnealedCopper || by == AluminiumEC):
		return ResistivityAluminium
	case metal == Copper && by == WindingWire:
		return ResistivityWindingNominal
	case metal == Copper && by == AnnealedCopper:
		return ResistivityAnnealedCopper
	}
	return math.NaN()
}

// Density returns the density of metal in g/cm³, NaN for a metal that is not listed.
func Density(metal Conductor) float64 {
	switch metal {
	case Copper:
		return DensityCopper
	case Aluminium:
		return DensityAluminium
	}
	return math.NaN()
}

// ZeroResistance returns K of the resistance method in °C, NaN for a metal that is not listed.
func ZeroResistance(metal Conductor) float64 {
	switch metal {
	case Copper:
		return ZeroResistanceCopper
	case Aluminium:
		return ZeroResistanceAluminium
	}
	return math.NaN()
}

// TemperatureFactor returns R(t)/R(20 °C) = (K+t)/(K+20), the linear law of the resistance method
// (IEC 60034-1). It is meant for -50 to 300 °C; the linear law falls short outside. NaN for a metal
// that is not listed.
func TemperatureFactor(metal Conductor, t unit.Celsius) float64 {
	k := ZeroResistance(metal)
	return (k + float64(t)) / (k + ReferenceTemperature)
}

// ResistancePerKM returns the resistance of one kilometre of a conductor of cross-section area at
// temperature t, by the nominal resistivity of the convention. +Inf for area 0.
func ResistancePerKM(area unit.SquareMillimetre, metal Conductor, by Convention, t unit.Celsius) unit.OhmPerKilometre {
	return unit.OhmPerKilometre(1000 * Resistivity(metal, by) / float64(area) * TemperatureFactor(metal, t))
}

// MassPerMetre returns the mass of one metre of bare conductor of cross-section area.
func MassPerMetre(area unit.SquareMillimetre, metal Conductor) unit.GramPerMetre {
	return unit.GramPerMetre(Density(metal) * float64(area)) // g/cm³ × mm² = g/m
}

// ConventionOf returns the convention that the tables of a system use in print: IEC 60317-0-1
// practice for metric sizes, SWG (IS 13730-0-1) and free bare diameters, annealed copper for AWG (NEMA MW 1000).
func ConventionOf(s System) Convention {
	if s == AWG {
		return AnnealedCopper
	}
	return WindingWire
}

// AWGFormulaDiameter returns the unrounded diameter of American Wire Gauge n in mm, 0.127·92^((36-n)/39)
// (ASTM B258; n = -3 for 4/0 … 0 for 1/0, 36 is 0.005 in). Tables use the rounded inch figure of the
// same standard, which is what a maker draws to; the two differ by up to 1.4 % in diameter (AWG 40).
func AWGFormulaDiameter(n float64) unit.Millimetre {
	return unit.Millimetre(0.127 * math.Pow(92, (36-n)/39))
}
