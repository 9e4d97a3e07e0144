package winding

import (
	"math"

	"statorbook/internal/unit"
)

// CapacitorReactance is 1/(2π·f·C) in Ω, C in µF.
func CapacitorReactance(c unit.Microfarad, f unit.Hertz) unit.Ohm {
	return unit.Ohm(1e6 / (2 * math.Pi * float64(f) * float64(c)))
}

// CapacitanceOf is CapacitorReactance solved for C.
func CapacitanceOf(x unit.Ohm, f unit.Hertz) unit.Microfarad {
	return unit.Microfarad(1e6 / (2 * math.Pi * float64(f) * float64(x)))
}

// CapacitorVolts is the voltage across a run capacitor at balance: V·√(1+a²), a = auxiliary/main
// effective turns. Ask it at the highest supply.
func CapacitorVolts(supply unit.Volt, ratio float64) unit.Volt {
	return supply * unit.Volt(math.Sqrt(1+ratio*ratio))
}

// BalancedReactance is the reactance in Ω that balances the two windings at one load point: V·a·√(1+a²)/Im,
// Im the current of the main winding. +Inf for no current.
func BalancedReactance(supply unit.Volt, ratio float64, main unit.Ampere) unit.Ohm {
	return unit.Ohm(float64(CapacitorVolts(supply, ratio)) * ratio / float64(main))
}

// StartReactance is the capacitive reactance in Ω that brings the auxiliary current 90 electrical degrees
// before the main current at standstill: Xa + Ra·tan(90° − φm), φm = atan(Xm/Rm). For a start capacitor only,
// never a run value.
func StartReactance(mainR, mainX, auxR, auxX unit.Ohm) unit.Ohm {
	return auxX + auxR*mainR/mainX
}

// TurnsRatioFromLockedRotor is a = √(R2a/R2m), the rotor resistance seen from the auxiliary over that seen from
// the main winding, both from blocked-rotor tests.
func TurnsRatioFromLockedRotor(auxRotor, mainRotor unit.Ohm) float64 {
	return math.Sqrt(float64(auxRotor / mainRotor))
}

// HighestSupply is the highest voltage that a supply of nominal volts may have for a check: +10 %
// (common practice for 230 V networks).
func HighestSupply(nominal unit.Volt) unit.Volt { return nominal * 1.1 }

// Line resistances between two of three terminals from equal phases.

// StarTerminals is the resistance between two lines of a star: 2·R.
func StarTerminals(phase unit.Ohm) unit.Ohm { return 2 * phase }

// DeltaTerminals is the resistance between two lines of a delta of equal phases: (2/3)·R.
func DeltaTerminals(phase unit.Ohm) unit.Ohm { return phase * 2 / 3 }

// DeltaPair is the resistance across phase a of a delta: a parallel to b + c.
func DeltaPair(a, b, c unit.Ohm) unit.Ohm { return a * (b + c) / (a + b + c) }

// ResistanceAt corrects a resistance from one temperature to another: R·(K+t2)/(K+t1). K is 234.5 for copper and 225
// for aluminium in package wire; books that use other temperature coefficients pass their own K = 1/α0.
func ResistanceAt(r unit.Ohm, k float64, from, to unit.Celsius) unit.Ohm {
	return r * unit.Ohm((k+float64(to))/(k+float64(from)))
}

// TemperatureByResistance is the temperature at which a winding has the resistance hot: (R2/R1)·(K+t1) − K.
func TemperatureByResistance(cold, hot unit.Ohm, k float64, from unit.Celsius) unit.Celsius {
	return unit.Celsius(float64(hot/cold)*(k+float64(from)) - k)
}

// RiseByResistance is the temperature rise over the air at the end of the test: (R2−R1)/R1·(K+t1) − (t2−t1)
// (the form of IEC 60034-1, from memory).
func RiseByResistance(cold, hot unit.Ohm, k float64, from, airAtEnd unit.Celsius) unit.Kelvin {
	return unit.Kelvin(float64(TemperatureByResistance(cold, hot, k, from) - airAtEnd))
}

// ZeroResistanceFrom is the K of ResistanceAt from two readings of one winding, in °C: (r1·t2 − r2·t1)/(r2 − r1).
// 1/K is the temperature coefficient at 0 °C. Equal readings give ±Inf.
func ZeroResistanceFrom(r1 unit.Ohm, t1 unit.Celsius, r2 unit.Ohm, t2 unit.Celsius) float64 {
	return (float64(r1)*float64(t2) - float64(r2)*float64(t1)) / float64(r2-r1)
}
