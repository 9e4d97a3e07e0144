// Package acceptance says how to prove a rewound motor: a test plan that follows from the winding,
// and a verdict on the readings. Pass and fail are said only for a standard's limit whose scope fits
// the machine; everything else is inside or outside guidance, with the rule named, or not judged.
package acceptance

import (
	"fmt"
	"math"

	"statorbook/internal/insulation"
	"statorbook/internal/stator"
	"statorbook/internal/unit"
	"statorbook/internal/winding"
	"statorbook/internal/wire"
)

// Extent tells how much of the motor is new; it decides which withstand voltage a standard names.
type Extent string

// The extents of a repair.
const (
	Rewound       Extent = "rewound"        // all coils new
	PartlyRewound Extent = "partly_rewound" // some coils new
	Overhauled    Extent = "overhauled"     // cleaned and dried, coils kept
)

// Machine is the motor that is to be proved.
type Machine struct {
	Core        stator.Core
	Nameplate   *winding.Nameplate
	Supply      *winding.Supply
	Scheme      winding.Scheme
	MotorType   string
	Application string              // as of a stator family, "" if not known
	ClassII     bool                // double or reinforced insulation
	Extent      Extent              // "" = rewound
	MeanTurns   []winding.KnownTurn // as of an analysis
}

// Tables is the reference data that plan and verdict use.
type Tables struct {
	Wires   *wire.Table
	Classes []insulation.Class
}

// Step is one test of a plan, in the order in which they are done.
type Step struct {
	Test       string // id, as used in readings
	Title      string
	Method     string // how to do it
	Instrument string
	Record     []string // the fields of a reading
	Limits     []Limit
	NotJudged  string // why no limit is given, "" if there is one
}

// LimitKind tells what a limit is worth.
type LimitKind string

// The kinds of limit.
const (
	KindStandard LimitKind = "standard" // pass or fail: the standard's scope fits
	KindGuidance LimitKind = "guidance" // a rule of the trade or one borrowed from outside its scope
	KindDerived  LimitKind = "derived"  // follows from the winding
)

// Limit is a band for a figure. A nil bound is open.
type Limit struct {
	Figure    string // what is limited, with its role: "resistance of main at 20 °C"
	Role      winding.Role
	Unit      string
	Low, High *float64
	Value     *float64 // the best value inside the band, if there is one
	Kind      LimitKind
	Source    string
}

// Plan is the order of tests for one machine.
type Plan struct {
	Steps    []Step
	Assumed  []winding.Assumption
	Missing  []string
	Cautions []winding.Caution
}

// appliances are the applications that appliance rules (IEC 60335 series, national versions) govern, not only machine rules.
var appliances = map[string]bool{"ceiling_fan": true, "table_fan": true, "exhaust_fan": true, "grinder": true, "air_cooler": true, "washing_machine": true}

// MakePlan lists the tests that fit the machine, cautions first in every use of it. It never fails:
// what the record does not tell is listed as missing and leaves its step without a limit.
func MakePlan(m Machine, t Tables) Plan {
	f := figuresOf(m, t)
	p := Plan{Assumed: f.assumed, Missing: f.missing, Cautions: winding.StandardCautions(winding.TestCautions...)}
	for _, make := range []func(Machine, figures) Step{
		rotorFreeStep, resistanceStep, balanceStep, poleResistanceStep, mainAuxiliaryStep, poleDropStep, polarityStep, growlerStep,
		surgeStep, earthStep, insulationStep, withstandStep, capacitorStep, noLoadStep, directionStep, riseStep, performanceStep,
	} {
		if s := make(m, f); s.Test != "" {
			p.Steps = append(p.Steps, s)
		}
	}
	return p
}

func float(v float64) *float64 { return &v }

func rotorFreeStep(Machine, figures) Step {
	return Step{Test: TestRotorFree, Title: "Rotor free all round", Record: []string{"ok"},
		Method:    "With the motor dead and closed, turn the rotor by hand through a full turn: no rub, no tight place; the overhang must clear rotor and end shields.",
		NotJudged: "a yes or no of the hand; no limit is published"}
}

func resistanceStep(_ Machine, f figures) Step {
	s := Step{Test: TestResistance, Title: "Resistance of each winding", Instrument: "milliohm meter or bridge, four leads below 10 ohm", Record: []string{"role or pair", "ohm"},
		Method: "Cold, after the winding has stood at room temperature; note the winding's temperature. The reading is brought to 20 °C by (K+20)/(K+t), K = 234.5 for copper, 225 for aluminium."}
	for _, w := range f.windings {
		s.Limits = append(s.Limits, w.limit())
	}
	if len(s.Limits) == 0 {
		s.NotJudged = "no resistance on record, and wire or core do not tell enough to compute one"
	}
	return s
}

func balanceStep(m Machine, _ figures) Step {
	if m.Core.Phases != 3 {
		return Step{}
	}
	return Step{Test: TestBalance, Title: "Balance of the three phases", Instrument: "milliohm meter", Record: []string{"ohms of the three pairs"},
		Method: "Measure all three pairs of line terminals at the same temperature.",
		Limits: []Limit{{Figure: "greatest deviation from the mean of the three", Unit: "%", High: float(balancePct), Kind: KindGuidance, Source: sourceBalance}}}
}

func poleResistanceStep(Machine, figures) Step {
	return Step{Test: TestPoleResistance, Title: "Resistance of each pole group", Instrument: "milliohm meter", Record: []string{"role", "ohms, one for each group"},
		Method: "Before the groups are joined, measure each one; like groups must agree. A low one has shorted or missing turns.",
		Limits: []Limit{{Figure: "greatest deviation from the mean of like groups", Unit: "%", High: float(likeCoilPct), Kind: KindGuidance, Source: sourceLikeCoil}}}
}

func mainAuxiliaryStep(_ Machine, f figures) Step {
	main, aux := f.of(winding.Main), f.of(winding.Auxiliary)
	if main == nil || aux == nil {
		return Step{}
	}
	ratio := aux.ohm20 / main.ohm20
	rel := combine(main.relative, aux.relative)
	return Step{Test: TestMainAuxiliary, Title: "Auxiliary against main", Instrument: "milliohm meter", Record: []string{"ohms: main, auxiliary"},
		Method: "With three leads the greatest reading is both windings in series; the lead that is not in it is the common one.",
		Limits: []Limit{{Figure: "resistance of auxiliary over main", Unit: "1", Value: float(ratio), Low: float(ratio * (1 - rel)), High: float(ratio * (1 + rel)), Kind: KindDerived, Source: sourceDerived}}}
}

func poleDropStep(Machine, figures) Step {
	return Step{Test: TestPoleDrop, Title: "Voltage drop over each pole group", Instrument: "low-voltage AC source and voltmeter", Record: []string{"role", "volts, one for each group"},
		Method: "Rotor in place and held. Feed the winding with a tenth of its voltage or less from an isolating transformer, current watched; compare the drop over like groups. A low one has shorted turns, a wrong count or a wrong sense.",
		Limits: []Limit{{Figure: "greatest deviation from the mean of like groups", Unit: "%", High: float(likeCoilPct), Kind: KindGuidance, Source: sourceLikeCoil}}}
}

func polarityStep(m Machine, _ figures) Step {
	s := Step{Test: TestPolarity, Title: "Polarity of the poles", Instrument: "DC source with limited current, compass", Record: []string{"role", "poles counted", "alternate"},
		Method: "Direct current of at most a third of the rated one through one winding; a compass led round the core must show north and south in turn."}
	if m.Scheme.Poles == 0 {
		s.NotJudged = "the scheme does not tell its poles"
		return s
	}
	poles := float64(m.Scheme.Poles)
	s.Limits = []Limit{{Figure: "poles counted, alternating", Unit: "1", Value: float(poles), Low: float(poles), High: float(poles), Kind: KindDerived, Source: sourceScheme}}
	return s
}

func growlerStep(m Machine, _ figures) Step {
	s := Step{Test: TestGrowler, Title: "Growler", Instrument: "internal growler and feeler strip", Record: []string{"slots at which the strip is drawn"},
		Method: "Rotor out. Lead the growler round the bore; a strip that is drawn a coil span away shows shorted turns. Open parallel paths and delta first."}
	if m.Core.RotorPosition == stator.RotorOutside {
		s.NotJudged = "a growler needs a bore; this stator turns its slots outward"
		return s
	}
	s.Limits = []Limit{{Figure: "slots at which the strip is drawn", Unit: "1", High: float(0), Low: float(0), Kind: KindGuidance, Source: sourcePractice}}
	return s
}

func surgeStep(Machine, figures) Step {
	return Step{Test: TestSurge, Title: "Surge comparison, like with like", Instrument: "surge comparison tester", Record: []string{"role", "waves agree"},
		Method: "Compare only windings or groups that are wound alike; main against auxiliary never agree. A wave that differs shows shorted turns or a wrong joint.",
		Limits: []Limit{{Figure: "waves of like windings agree", Unit: "1", Kind: KindGuidance, Source: sourcePractice}}}
}

func earthStep(m Machine, _ figures) Step {
	if m.ClassII {
		return Step{Test: TestEarth, Title: "Earth continuity", NotJudged: "Class II: there is no protective earth to prove"}
	}
	return Step{Test: TestEarth, Title: "Earth continuity", Instrument: "continuity tester, 10 A or more from 12 V or less", Record: []string{"ohm"},
		Method: "From frame and shaft to the earth terminal, before any mains voltage.",
		Limits: []Limit{{Figure: "resistance to the earth terminal", Unit: "ohm", High: float(earthOhm), Kind: KindGuidance, Source: sourceEarth}}}
}

func insulationStep(m Machine, _ figures) Step {
	s := Step{Test: TestInsulation, Title: "Insulation resistance at 500 V DC", Instrument: "insulation tester, 500 V DC", Record: []string{"megohm after 60 s", "winding temperature", "humidity"},
		Method: "Each winding against the core, and main against auxiliary where they are not joined; read after 60 s, then earth the winding for at least four times as long. Before varnish and after. Brought to 40 °C by halving for each 10 K; do not correct below the dew point."}
	if m.ClassII {
		s.NotJudged = reasonClassII
		return s
	}
	s.Limits = []Limit{{Figure: "insulation resistance at 40 °C", Unit: "megohm", Low: float(insulationMegohm), Kind: KindGuidance, Source: insulationSource(m)}}
	return s
}

func withstandStep(m Machine, f figures) Step {
	w := withstandOf(m, f)
	s := Step{Test: TestWithstand, Title: "Withstand", Instrument: "withstand set with current limit", Record: []string{"volt", "seconds", "held"},
		Method: "Only after a good insulation resistance, winding dry and varnished. Windings not under test joined to the core; the capacitor left connected as in running, electronic parts off. Raise slowly, hold 60 s, lower slowly, earth. At full voltage once only; a repeat at no more than 80 %."}
	if w.reason != "" {
		s.NotJudged = w.reason
		return s
	}
	s.Limits = []Limit{w.limit}
	return s
}

func capacitorStep(_ Machine, f figures) Step {
	if f.capacitor == 0 {
		return Step{}
	}
	return Step{Test: TestCapacitor, Title: "Capacitor", Instrument: "capacitance meter", Record: []string{"uf"},
		Method: "Discharged first. A ceiling fan slows down when its capacitor has faded.",
		Limits: []Limit{{Figure: "capacitance", Unit: "uF", Value: float(f.capacitor), Low: float(f.capacitor * (1 - capacitorLowPct/100)), High: float(f.capacitor * (1 + capacitorHighPct/100)), Kind: KindGuidance, Source: sourceCapacitor}}}
}

func noLoadStep(m Machine, f figures) Step {
	s := Step{Test: TestNoLoad, Title: "No-load run", Instrument: "ammeter and wattmeter", Record: []string{"amps, one for each line", "watts", "minutes"},
		Method: "First through a lamp or fuse in series or a variable transformer. Then 15 to 60 min at rated voltage: listen, feel the bearings, note current, watts and case temperature."}
	low, high := noLoadSingle[0], noLoadSingle[1]
	if m.Core.Phases == 3 {
		low, high = noLoadThree[0], noLoadThree[1]
	}
	if f.current == 0 {
		s.NotJudged = "the nameplate's current is not known"
		return s
	}
	s.Limits = []Limit{{Figure: "no-load current", Unit: "A", Low: float(low * f.current), High: float(high * f.current), Kind: KindGuidance, Source: sourceNoLoad}}
	if m.Core.Phases == 3 {
		s.Limits = append(s.Limits, Limit{Figure: "greatest deviation of a line from the mean", Unit: "%", High: float(noLoadBalancePct), Kind: KindGuidance, Source: sourceNoLoad})
	}
	return s
}

func directionStep(m Machine, _ figures) Step {
	how := "To reverse it swap the ends of one winding, main or auxiliary, not of both."
	if m.Core.Phases == 3 {
		how = "To reverse it swap any two lines."
	}
	if m.Application == "ceiling_fan" {
		how += " A ceiling fan seen from below usually turns anticlockwise (common practice)."
	}
	return Step{Test: TestDirection, Title: "Direction", Record: []string{"as wanted"}, Method: how, NotJudged: "direction belongs to the machine it drives; no limit is published"}
}

func riseStep(m Machine, f figures) Step {
	s := Step{Test: TestRise, Title: "Temperature rise by resistance", Instrument: "milliohm meter, thermometer", Record: []string{"role", "ohm and temperature cold", "ohm hot", "air at the end"},
		Method: "Loaded until three readings in a row, 15 min or more apart, show no further rise; resistance just after switch-off, brought back to it. Rise = (R2-R1)/R1 x (K+t1) - (t2-t1)."}
	limit, reason := riseLimit(m, f)
	if reason != "" {
		s.NotJudged = reason
		return s
	}
	s.Limits = []Limit{limit}
	return s
}

func performanceStep(Machine, figures) Step {
	return Step{Test: TestPerformance, Title: "Performance run", Record: []string{"hours", "ok"},
		Method:    fmt.Sprintf("After varnish, %d hours or more in its own service, speed and current noted at the start and the end.", performanceHours),
		NotJudged: "common practice of the trade; no limit is published"}
}

// combine adds relative standard tolerances in quadrature.
func combine(a, b float64) float64 { return math.Hypot(a, b) }

// hasCapacitor tells whether the auxiliary is fed through a capacitor in running.
func hasCapacitor(m Machine) bool {
	return m.MotorType == "permanent_split_capacitor" || m.MotorType == "capacitor_start_run" ||
		m.Nameplate != nil && m.Nameplate.CapacitorUF.Given && m.MotorType != "capacitor_start"
}

// ratedVolts is the voltage of the plate, else of the supply; 0 if neither is known.
func ratedVolts(m Machine) unit.Volt {
	if m.Nameplate != nil && m.Nameplate.Voltage.Given {
		return unit.Volt(m.Nameplate.Voltage.Value)
	}
	if m.Supply != nil && m.Supply.Voltage.Given {
		return unit.Volt(m.Supply.Voltage.Value)
	}
	return 0
}
