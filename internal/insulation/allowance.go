package insulation

import "statorbook/internal/unit"

// commonPractice marks figures of the trade that no source was seen for.
var commonPractice = Source{Title: "common practice", Evidence: "from memory", Kind: "guidance"}

// Band is a usual range of a length, with where it comes from. Guidance, never a limit.
type Band struct {
	Low, High unit.Millimetre
	Note      string
	Source    Source
}

// linerBands are the slot-liner thicknesses by voltage. Common practice, from memory; a supplier's
// guide (seen) gives 0.13-0.20 mm for small and 0.20-0.25 mm for industrial motors.
var linerBands = []struct {
	upTo unit.Volt
	band Band
}{
	{60, Band{Low: 0.10, High: 0.15}},
	{250, Band{Low: 0.15, High: 0.25, Note: "mechanical strength, not voltage, decides"}},
	{500, Band{Low: 0.20, High: 0.35, Note: "phase paper in the overhang besides"}},
	{1000, Band{Low: 0.30, High: 0.50, Note: "often two layers"}},
}

// LinerThickness returns the usual total thickness of a slot liner for a voltage between conductors.
// False above 1000 V, at or below zero and for NaN: no figure is offered there. Never fit a thinner liner than the original.
func LinerThickness(v unit.Volt) (Band, bool) {
	if !(v > 0) {
		return Band{}, false
	}
	for _, l := range linerBands {
		if v <= l.upTo {
			b := l.band
			b.Source = commonPractice
			return b, true
		}
	}
	return Band{}, false
}

// LinerOverhang returns how far a liner stands out of the core at each end: 4 to 8 mm in small motors
// (common practice, from memory). The least is 6.35 mm (1/4 in) for machines repaired to a US Army
// repair manual (seen), which speaks of larger machines.
func LinerOverhang() Band {
	return Band{Low: 4, High: 8, Note: "equal at both ends; cuffed ends preferred; 6.35 mm (1/4 in) at least in one repair manual, seen", Source: commonPractice}
}

// SpliceSleeve returns how far sleeving covers the wire on each side of a splice at the least: 13 mm
// (1/2 in), US Army repair manual, seen. Splices belong in the end turn, never in the slot.
func SpliceSleeve() Band {
	return Band{Low: 13, High: 13, Note: "at least; splices in the end turn only, never in the slot", Source: Source{Title: "US Army repair manual", Evidence: "seen (page excerpt)", Kind: "guidance"}}
}

// Altitude limits of ReduceRise, in metres above the sea.
const (
	AltitudeFree    = 1000
	AltitudeHighest = 4000
)

// ReduceRise lowers a limit of temperature rise for a place above 1000 m: by about 1 % for each
// 100 m, since thin air cools less (IEC 60034-1, from memory). False above 4000 m and for NaN.
func ReduceRise(limit unit.Kelvin, altitude unit.Metre) (unit.Kelvin, bool) {
	switch {
	case !(altitude <= AltitudeHighest):
		return 0, false
	case altitude <= AltitudeFree:
		return limit, true
	}
	return limit * unit.Kelvin(1-0.01*float64(altitude-AltitudeFree)/100), true
}
