package winding

import (
	"math"

	"statorbook/internal/stator"
	"statorbook/internal/unit"
	"statorbook/internal/wire"
)

// SetFigures are the figures of one coil set by which a data sheet is judged, each as a natural
// logarithm of found over expected. NaN means that the sheet does not tell. The constants of the
// checks, and what a class of motors differs by on average, are learned elsewhere; here is only physics.
//
// With m the bare metal, R the resistance at 20 °C, T the turns of all coils, a paths, A the metal of one
// conductor, δ density, ρ resistivity and MLT the sheet form of the mean turn:
//
//	A_mR = a⁻¹·√(m·ρ/(δ·R))   l_mR = a·√(m·R/(δ·ρ))
//
// A_mR needs no geometry and no turns, l_mR needs no wire.
type SetFigures struct {
	Set           int
	Role          Role
	Turns, Series float64 // all coils; in series in one path
	Factor        float64 // winding factor, NaN without poles
	Area          float64 // mm², metal of one conductor
	MeanTurn      float64 // mm, sheet form
	BareMass      float64 // g, less the enamel and so on that its state carries
	MassSD        float64 // standard uncertainty of ln BareMass from its state
	R20           float64 // Ω at 20 °C
	LnArea        float64 // ln A/A_mR
	LnLength      float64 // ln l_mR/(T·MLT)
	LnMass        float64 // ln m/(δ·T·MLT·A)
	LnResistance  float64 // ln R·a²·A/(ρ·T·MLT)
	YDensity      float64 // ln V/(√2·π·f·N·kw·τ·L) − ln B_ref: how hard the iron is worked
	YFill         float64 // ln 2·N·A_turn·phases/(A_slot·Q): copper against all slots
	LnCurrent     float64 // ln J in A/mm²
	conductor     Conductor
	set           CoilSet
}

// FiguresInput is the part of a sheet that figures of a set are made from.
type FiguresInput struct {
	Core      stator.Core
	Nameplate Nameplate
	Poles     int
	Phases    int // 1 or 3
}

// Figures computes the figures of one set from its expanded coils and its resolved conductor.
func Figures(in FiguresInput, index int, set CoilSet, coils []Coil, c Conductor, haveWire bool) SetFigures {
	nan := math.NaN()
	f := SetFigures{Set: index, Role: set.Role, Turns: TurnsOf(coils), Factor: nan, Area: nan, MeanTurn: nan, BareMass: nan, R20: nan,
		LnArea: nan, LnLength: nan, LnMass: nan, LnResistance: nan, YDensity: nan, YFill: nan, LnCurrent: nan, conductor: c, set: set}
	paths := float64(Paths(set))
	f.Series = f.Turns / paths
	if in.Poles > 0 {
		if kw, _ := FactorOfSet(set, coils, in.Poles, in.Core, 1); kw > 0 {
			f.Factor = kw
		}
	}
	if length, ok := MeanTurnOf(in.Core, set.Ring, coils, SheetMeanTurn); ok {
		f.MeanTurn = float64(length)
	}
	if haveWire {
		f.Area = float64(c.Area)
	}
	f.measured(set)
	f.copper(paths)
	f.iron(in)
	f.room(in, paths)
	return f
}

// measured corrects mass and resistance to bare metal and 20 °C. A resistance without a
// temperature is taken as it stands: bench temperatures are near 20 °C.
func (f *SetFigures) measured(set CoilSet) {
	if set.Mass.Given && set.Mass.Value > 0 {
		share, sd := EnamelShare(set.MassState)
		f.BareMass, f.MassSD = set.Mass.Value/(1+share), sd
	}
	if set.Resistance.Given && set.Resistance.Value > 0 {
		f.R20 = set.Resistance.Value
		if set.Temperature.Given {
			f.R20 /= f.temperatureFactor(unit.Celsius(set.Temperature.Value))
		}
	}
}

// temperatureFactor is that of the set's metal, copper if its wire is not known.
func (f *SetFigures) temperatureFactor(t unit.Celsius) float64 {
	if f.conductor.conductance > 0 {
		return f.conductor.TemperatureFactor(t)
	}
	return wire.TemperatureFactor(wire.Copper, t)
}

// copper sets turns, wire, mass and resistance against each other. Lengths in mm, masses in g.
func (f *SetFigures) copper(paths float64) {
	delta, rho := wire.Density(wire.Copper)/1000, wire.Resistivity(wire.Copper, wire.AnnealedCopper)/1000 // g/mm³ of copper, Ω·mm
	if f.conductor.conductance > 0 {
		area := float64(f.conductor.Area)
		delta, rho = f.conductor.perMetre/area/1000, area/f.conductor.conductance/1000
	}
	length := f.Turns * f.MeanTurn
	f.LnArea = math.Log(f.Area / (math.Sqrt(f.BareMass*rho/(delta*f.R20)) / paths))
	f.LnLength = math.Log(paths * math.Sqrt(f.BareMass*f.R20/(delta*rho)) / length)
	f.LnMass = math.Log(f.BareMass / (delta * length * f.Area))
	f.LnResistance = math.Log(f.R20 * paths * paths * f.Area / (rho * length))
}

// iron tells how hard the iron is worked, for the windings that lie across a line voltage.
func (f *SetFigures) iron(in FiguresInput) {
	if f.Role == Auxiliary || f.Role == Speed {
		return
	}
	n := in.Nameplate
	if !n.Voltage.Given || !n.Frequency.Given || !in.Core.StackLength.Given || math.IsNaN(f.Factor) {
		return
	}
	if in.Phases == 3 && n.Connection == "" {
		return
	}
	ref, ok := ReferenceDensity(in.Core, in.Poles)
	tau, known := stator.PolePitch(in.Core, in.Poles)
	if !ok || !known {
		return
	}
	volts := float64(WindingVolts(unit.Volt(n.Voltage.Value), n.Connection))
	average := 1e6 * volts / (EMFConstant * n.Frequency.Value * f.Series * f.Factor * float64(tau) * in.Core.StackLength.Value)
	f.YDensity = math.Log(average / float64(ref))
}

// room sets metal against slots, and current against metal.
func (f *SetFigures) room(in FiguresInput, paths float64) {
	turn := f.Area * paths
	back := f.set.Ring == RingBack
	area, ok := slotAreaOf(in.Core, back)
	if q := stator.RingSlots(in.Core, back); ok && q > 0 && in.Phases > 0 {
		f.YFill = math.Log(2 * f.Series * turn * float64(in.Phases) / (float64(area) * float64(q)))
	}
	if n := in.Nameplate; n.Current.Given && (f.Role == Main || f.Role.IsPhase()) {
		i := n.Current.Value
		if n.Connection == ConnDelta {
			i /= math.Sqrt(3)
		}
		f.LnCurrent = math.Log(i / turn)
	}
}

// slotAreaOf is the slot area as given, else as derived (net).
func slotAreaOf(core stator.Core, back bool) (unit.SquareMillimetre, bool) {
	m := core.SlotArea
	if back {
		if core.SecondRing == nil {
			return 0, false
		}
		m = core.SecondRing.SlotArea
	}
	if m.Given && m.Value > 0 {
		return unit.SquareMillimetre(m.Value), true
	}
	d, ok := stator.DerivedRingSlotArea(core, back)
	return d.Net, ok
}
