package acceptance

import (
	"fmt"
	"math"
	"strings"

	"statorbook/internal/insulation"
	"statorbook/internal/unit"
	"statorbook/internal/winding"
	"statorbook/internal/wire"
)

// The tests, as named in readings.
const (
	TestRotorFree      = "rotor_free"
	TestResistance     = "winding_resistance"
	TestBalance        = "phase_balance"
	TestPoleResistance = "pole_resistance"
	TestMainAuxiliary  = "auxiliary_over_main"
	TestPoleDrop       = "pole_drop"
	TestPolarity       = "polarity"
	TestGrowler        = "growler"
	TestSurge          = "surge_comparison"
	TestEarth          = "earth_continuity"
	TestInsulation     = "insulation_resistance"
	TestWithstand      = "withstand"
	TestCapacitor      = "capacitor"
	TestNoLoad         = "no_load"
	TestDirection      = "direction"
	TestRise           = "temperature_rise"
	TestPerformance    = "performance_run"
)

// Tests lists the names of all tests.
func Tests() []string {
	return []string{TestRotorFree, TestResistance, TestBalance, TestPoleResistance, TestMainAuxiliary, TestPoleDrop, TestPolarity, TestGrowler, TestSurge,
		TestEarth, TestInsulation, TestWithstand, TestCapacitor, TestNoLoad, TestDirection, TestRise, TestPerformance}
}

// Figures of the rules. Each is sourced by the constant named with it.
const (
	balancePct       = 2.0  // % from the mean, random-wound three-phase: sourceBalance
	likeCoilPct      = 5.0  // % from the mean of like coils: sourceLikeCoil
	insulationMegohm = 5.0  // megohm at 40 °C: insulationSource
	earthOhm         = 0.1  // ohm: sourceEarth
	capacitorLowPct  = 10.0 // % below the plate: sourceCapacitor
	capacitorHighPct = 10.0 // % above the plate: sourceCapacitor
	noLoadBalancePct = 10.0 // % of a line from the mean: sourceNoLoad
	performanceHours = 8
	windingTolerance = 0.03 // of a hand-wound coil's length against its record (contract rule 12)
)

// noLoadThree and noLoadSingle are shares of the rated current: sourceNoLoad.
var (
	noLoadThree  = [2]float64{0.30, 0.60}
	noLoadSingle = [2]float64{0.50, 0.95}
)

// The sources of the rules, as they are shown.
const (
	sourceDerived    = "derived from the winding; tolerance = sqrt(wire tolerance squared + 3 % squared), wider where the mean turn is computed"
	sourceScheme     = "the poles of the winding"
	sourceBalance    = "EASA AR100-2020 as quoted: 2 % for random-wound three-phase; concentric windings may exceed it"
	sourceLikeCoil   = "common practice, no source: like coils within 5 %"
	sourcePractice   = "common practice, no source"
	sourceEarth      = "IS 374 as quoted: 0.1 ohm at 10 A or more; a fan rule, used as guidance"
	sourceCapacitor  = "common practice, no source: replace when more than 10 % low; 10 % is a usual tolerance of IEC 60252-1 types"
	sourceNoLoad     = "common practice, no source: 30-60 % of rated current for three-phase, 50-95 % for single-phase capacitor motors; small and many-pole motors run higher"
	sourceWithstand  = "IEC 60034-1:2004 Table 16 item 2 (page extract): the greater of 2U + 1000 and 1500 V, 60 s"
	sourceWithstand1 = "IEC 60034-1:2004 Table 16 item 1 (page extract): 2U + 500 V, 60 s"
	sourceOverhaul   = "IEC 60034-1:2004 9.2 b) (page extract): 1.5 U, at least 1000 V (500 V below 100 V)"
	sourcePartly     = "IEC 60034-1 9.2 a) (from memory): 75 % of the voltage for a new winding"
	reasonClassII    = "Class II: a test between winding and core proves nothing about reinforced insulation; appliance rules (IEC 60335 series, national versions) apply"
	reasonAppliance  = "household appliance: the rules for appliances (IEC 60335 series, national versions) apply, not machine rules alone"
)

// insulationSource names the rule for insulation resistance, and says where it is borrowed.
func insulationSource(m Machine) string {
	s := "IEEE 43 / EASA AR100-2020 as quoted: 5 megohm at 40 °C for random-wound windings below 1 kV"
	if m.Nameplate == nil || !m.Nameplate.Power.Given || m.Nameplate.Power.Value < 750 {
		s += "; that rule leaves out motors below about 750 W, so it is borrowed here"
	}
	return s
}

// windingFigure is the expected resistance of one winding.
type windingFigure struct {
	role     winding.Role
	pair     string // "" = the winding itself
	ohm20    float64
	relative float64 // tolerance, as a share
	basis    string
}

func (w windingFigure) limit() Limit {
	name := "resistance of " + string(w.role) + " at 20 °C"
	if w.pair != "" {
		name = "resistance " + w.pair + " at 20 °C"
	}
	return Limit{Figure: name, Role: w.role, Unit: "ohm", Value: float(w.ohm20), Low: float(w.ohm20 * (1 - w.relative)), High: float(w.ohm20 * (1 + w.relative)),
		Kind: KindDerived, Source: sourceDerived + "; " + w.basis}
}

// figures is what the plan and the verdict need to know of the machine.
type figures struct {
	windings  []windingFigure
	metal     map[winding.Role]wire.Conductor
	current   float64 // A, 0 = not known
	capacitor float64 // µF, 0 = none
	capVolts  unit.Volt
	class     *insulation.Class
	assumed   []winding.Assumption
	missing   []string
}

func (f figures) of(role winding.Role) *windingFigure {
	for i := range f.windings {
		if f.windings[i].role == role && f.windings[i].pair == "" {
			return &f.windings[i]
		}
	}
	return nil
}

// figuresOf computes the expected figures; what cannot be computed is left out.
func figuresOf(m Machine, t Tables) figures {
	f := figures{metal: map[winding.Role]wire.Conductor{}}
	if n := m.Nameplate; n != nil {
		f.current, f.capacitor = n.Current.Value, n.CapacitorUF.Value
		if n.InsulationClass != "" {
			if c, err := insulation.Find(t.Classes, n.InsulationClass); err == nil {
				f.class = &c
			}
		}
	}
	a, err := winding.Analyse(winding.AnalysisInput{Core: m.Core, Nameplate: m.Nameplate, Supply: m.Supply, Scheme: m.Scheme, MotorType: m.MotorType, MeanTurns: m.MeanTurns}, t.Wires)
	if err == nil {
		f.assumed, f.missing = a.Assumed, a.Missing
		if a.Capacitor != nil {
			f.capVolts = a.Capacitor.Volts
		}
	}
	for i, set := range m.Scheme.CoilSets {
		metal := wire.Copper
		if len(set.Wires) > 0 && set.Wires[0].Conductor != "" {
			metal = set.Wires[0].Conductor
		}
		f.metal[set.Role] = metal
		tolerance := wireTolerance(set, t.Wires)
		switch {
		case set.Resistance.Given:
			at := 20.0
			if set.Temperature.Given {
				at = set.Temperature.Value
			}
			r20 := set.Resistance.Value / wire.TemperatureFactor(metal, unit.Celsius(at))
			w := windingFigure{role: set.Role, ohm20: r20, relative: combine(tolerance, windingTolerance), basis: "on record, brought to 20 °C"}
			w.pair = set.LeadPair
			f.windings = append(f.windings, w)
		case err == nil && i < len(a.Roles) && a.Roles[i].Resistance20 != nil:
			r := &a.Roles[i]
			f.windings = append(f.windings, windingFigure{role: set.Role, ohm20: float64(*r.Resistance20), relative: combine(combine(tolerance, windingTolerance), r.MeanTurnSpread), basis: computedFrom(r)})
		default:
			f.missing = append(f.missing, "resistance of "+string(set.Role))
		}
	}
	return f
}

// computedFrom names what a computed resistance rests on.
func computedFrom(r *winding.RoleAnalysis) string {
	if r.MeanTurnFrom != "" {
		return fmt.Sprintf("computed from turns, wire and a mean turn %s (%.0f %%)", r.MeanTurnFrom, 100*r.MeanTurnSpread)
	}
	return fmt.Sprintf("computed from turns, wire and a mean turn that the core alone tells (%.0f %%, common practice)", 100*r.MeanTurnSpread)
}

// wireTolerance is half the band of the published resistance limits of a set's first wire, as a
// share; 1.5 % where none is published (common practice, no source).
func wireTolerance(set winding.CoilSet, t *wire.Table) float64 {
	const unknown = 0.015
	if len(set.Wires) == 0 || t == nil {
		return unknown
	}
	size, err := t.Find(set.Wires[0].System, set.Wires[0].Size)
	if err != nil || size.DiameterMin <= 0 || size.DiameterMax <= 0 {
		return unknown
	}
	thin := float64(size.Diameter / size.DiameterMin)
	thick := float64(size.Diameter / size.DiameterMax)
	return (thin*thin - thick*thick) / 2
}

// withstand is the withstand voltage that fits the machine, or why none does.
type withstand struct {
	limit  Limit
	reason string
}

// withstandOf picks the rule. For two windings with a common terminal U is the highest voltage
// between any two terminals in running (Table 16 note 1): the capacitor end runs above the line.
func withstandOf(m Machine, f figures) withstand {
	u := ratedVolts(m)
	switch {
	case m.ClassII:
		return withstand{reason: reasonClassII}
	case appliances[m.Application]:
		return withstand{reason: reasonAppliance}
	case u <= 0:
		return withstand{reason: "the rated voltage is not known"}
	}
	if running := f.capVolts / 1.1; hasCapacitor(m) && running > u { // capVolts is at the highest supply, 10 % above the rated one
		u = running
	}
	kind, source := KindStandard, sourceWithstand
	volts := math.Max(2*float64(u)+1000, 1500)
	if u < 100 && m.Nameplate != nil && m.Nameplate.Power.Given && m.Nameplate.Power.Value < 1000 {
		volts, source = 2*float64(u)+500, sourceWithstand1
	}
	switch m.Extent {
	case Overhauled:
		floor := 1000.0
		if u < 100 {
			floor = 500
		}
		volts, source = math.Max(1.5*float64(u), floor), sourceOverhaul
	case PartlyRewound:
		volts, source, kind = 0.75*volts, sourcePartly, KindGuidance
	}
	if m.Application == "" {
		kind, source = KindGuidance, source+"; the application was not told, so whether the scope fits is not known"
	}
	return withstand{limit: Limit{Figure: "AC withstand voltage, 60 s without breakdown", Unit: "V", Value: float(volts), Low: float(volts), Kind: kind, Source: source}}
}

// riseLimit picks the limit of temperature rise for the insulation class; guidance, since the
// scopes of the table were read only in part.
func riseLimit(m Machine, f figures) (Limit, string) {
	if f.class == nil {
		return Limit{}, "the insulation class is not known"
	}
	large := m.Nameplate != nil && m.Nameplate.Power.Given && m.Nameplate.Power.Value >= 600
	for _, r := range f.class.Rises {
		if large && strings.Contains(r.Scope, "600 W to") || !large && strings.Contains(r.Scope, "< 600 W") {
			return Limit{Figure: "temperature rise by resistance", Unit: "K", High: float(float64(r.Rise)), Kind: KindGuidance, Source: r.Source.Title + ", class " + f.class.Letter + ": " + r.Scope + " (" + r.Source.Evidence + ")"}, ""
		}
	}
	return Limit{}, "no limit of temperature rise is tabled for class " + f.class.Letter
}
