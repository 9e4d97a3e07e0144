package winding

import (
	"fmt"
	"slices"
	"strings"

	"statorbook/internal/errs"
	"statorbook/internal/stator"
	"statorbook/internal/unit"
	"statorbook/internal/wire"
)

// Analyse computes all that follows from a scheme on a core. It fails with KindImpossible, naming
// coil and slot, for a core that cannot exist, coils that cannot be laid, unknown wires, paths that do not divide, and
// phases that are not balanced. Rings of up to MaxSlots are answered.
func Analyse(in AnalysisInput, t *wire.Table) (Analysis, error) {
	fields := inputFaults(in)
	if len(in.Scheme.CoilSets) == 0 {
		fields = append(fields, errs.Field{Pointer: "/scheme/coil_sets", Code: "NO_COIL_SETS", Detail: "a scheme has at least one coil set"})
	}
	core := stator.Check(in.Core)
	fields = append(fields, CoreFaults(core, "/core")...)
	if len(fields) > 0 {
		return Analysis{}, impossible("the stator cannot be analysed", fields...)
	}
	a := &analyser{in: in, table: t}
	a.out.Methods = map[string]Method{}
	a.out.Findings = append(a.out.Findings, core...)
	a.out.Findings = append(a.out.Findings, OutsideService(in.Nameplate, in.Supply, beyondKnown)...)
	a.operating()
	coils, assumed, err := ExpandScheme(a.in.Scheme, in.Core)
	if err != nil {
		return Analysis{}, underScheme(err)
	}
	a.coils = coils
	a.out.Assumed = append(a.out.Assumed, assumed...)
	if faults := Faults(a.in.Scheme, coils, in.Core); len(faults) > 0 {
		return Analysis{}, underScheme(impossible("the scheme cannot be wound", faults...))
	}
	a.out.Slots = Occupancy(a.in.Scheme, coils, in.Core)
	a.out.Findings = append(a.out.Findings, layoutFindings(a.in.Scheme, coils, a.out.Slots)...)
	a.out.Findings = append(a.out.Findings, overPitched(a.in.Scheme, coils, in.Core)...)
	a.out.Findings = append(a.out.Findings, unlikePaths(a.in.Scheme, coils, in.Core)...)
	a.out.Findings = append(a.out.Findings, namedTwice(a.in.Scheme, t)...)
	if err := a.sets(); err != nil {
		return Analysis{}, underScheme(err)
	}
	a.between()
	a.field()
	a.fill()
	a.speed()
	a.currents()
	a.capacitor()
	a.terminals()
	a.bands()
	a.out.qualify()
	slices.Sort(a.out.Missing)
	a.out.Missing = slices.Compact(a.out.Missing)
	return a.out, nil
}

// analyser carries one analysis.
type analyser struct {
	in    AnalysisInput
	table *wire.Table
	coils [][]Coil
	out   Analysis

	three     bool // three-phase
	volts     unit.Volt
	voltsFrom string
	freq      unit.Hertz
	freqFrom  string
	conn      Connection
	nominal   bool // volts known
}

func (a *analyser) method(figure, method string, inputs ...string) {
	a.out.Methods[figure] = Method{Method: method, Inputs: inputs}
}

func (a *analyser) missing(fields ...string) { a.out.Missing = append(a.out.Missing, fields...) }

func (a *analyser) assume(field string, value any, why string) {
	a.out.Assumed = append(a.out.Assumed, Assumption{Field: field, Value: value, Why: why})
}

func (a *analyser) find(f errs.Finding) { a.out.Findings = append(a.out.Findings, f) }

// operating settles poles, volts, frequency and connection, the supply before the nameplate.
func (a *analyser) operating() {
	in := &a.in
	plate := Nameplate{}
	if in.Nameplate != nil {
		plate = *in.Nameplate
	}
	site := Supply{}
	if in.Supply != nil {
		site = *in.Supply
	}
	for _, s := range in.Scheme.CoilSets {
		a.three = a.three || s.Role.IsPhase()
	}
	switch {
	case site.Voltage.Given:
		a.volts, a.voltsFrom, a.nominal = unit.Volt(site.Voltage.Value), "supply.voltage_v", true
	case plate.Voltage.Given:
		a.volts, a.voltsFrom, a.nominal = unit.Volt(plate.Voltage.Value), "nameplate.voltage_v", true
	}
	switch {
	case site.Frequency.Given:
		a.freq, a.freqFrom = unit.Hertz(site.Frequency.Value), "supply.frequency_hz"
	case plate.Frequency.Given:
		a.freq, a.freqFrom = unit.Hertz(plate.Frequency.Value), "nameplate.frequency_hz"
	}
	a.conn = plate.Connection
	if site.Connection != "" {
		a.conn = site.Connection
	}
	if !a.three {
		a.conn = ConnSingle
	}
	if site.Voltage.Given && plate.Voltage.Given && SupplyDiffers(site.Voltage.Value, plate.Voltage.Value) {
		a.find(errs.Finding{Code: "supply_differs", Severity: errs.SeverityWarning, Fields: []string{"supply.voltage_v", "nameplate.voltage_v"}, Found: ref(site.Voltage.Value),
			Expected: &errs.Expected{Value: plate.Voltage.Value, Low: 0.9 * plate.Voltage.Value, High: 1.1 * plate.Voltage.Value},
			Message:  fmt.Sprintf("the supply of %g V is more than 10 %% from the nameplate's %g V; the figures are for the supply", site.Voltage.Value, plate.Voltage.Value)})
	}
	a.poles(plate)
}

// poles takes the number of poles from scheme, nameplate or speed.
func (a *analyser) poles(plate Nameplate) {
	s := &a.in.Scheme
	if s.Poles == 0 && plate.Poles > 0 {
		s.Poles = plate.Poles
		a.assume("scheme.poles", float64(s.Poles), "not given; as on the nameplate")
	}
	if s.Poles == 0 && plate.Speed.Given && a.freq > 0 {
		if p := PolesFromSpeed(a.freq, unit.RevolutionPerMinute(plate.Speed.Value)); p > 0 {
			s.Poles = p
			a.assume("scheme.poles", float64(p), fmt.Sprintf("not given; the most poles whose synchronous speed is not below %g 1/min; a fan with much slip has fewer: count the coil groups", plate.Speed.Value))
		}
	}
	if s.Poles == 0 {
		a.missing("scheme.poles")
	} else if plate.Poles > 0 && plate.Poles != s.Poles {
		a.find(errs.Finding{Code: "poles_differ", Severity: errs.SeverityWarning, Fields: []string{"scheme.poles", "nameplate.poles"}, Found: ref(float64(s.Poles)),
			Expected: &errs.Expected{Value: float64(plate.Poles), Low: float64(plate.Poles), High: float64(plate.Poles)}, Message: fmt.Sprintf("the scheme has %d poles, the nameplate says %d", s.Poles, plate.Poles)})
	}
	a.out.Poles = s.Poles
}

// CoreFaults turns the errors among the findings of a core into fields of an error, under a pointer.
func CoreFaults(findings []errs.Finding, under string) []errs.Field {
	var out []errs.Field
	for _, f := range findings {
		if f.Severity != errs.SeverityError {
			continue
		}
		field := errs.Field{Pointer: under, Code: strings.ToUpper(f.Code), Detail: f.Message}
		if len(f.Fields) > 0 {
			field.Pointer += "/" + strings.ReplaceAll(f.Fields[0], ".", "/")
		}
		if f.Found != nil {
			field.Got = fmt.Sprint(*f.Found)
		}
		out = append(out, field)
	}
	return out
}

// underScheme moves the pointers of an error below /scheme.
func underScheme(err error) error {
	e, ok := err.(*errs.Error) //nolint:errorlint // made by this package, never wrapped
	if !ok {
		return err
	}
	moved := *e
	moved.Fields = make([]errs.Field, len(e.Fields))
	for i, f := range e.Fields {
		f.Pointer = "/scheme" + f.Pointer
		moved.Fields[i] = f
	}
	return &moved
}

// inputFaults names figures of nameplate and supply that no machine has.
func inputFaults(in AnalysisInput) []errs.Field {
	var out []errs.Field
	check := func(pointer string, m unit.Measured, high float64) {
		if m.Given && (!(m.Value > 0) || m.Value > high) {
			out = append(out, errs.Field{Pointer: pointer, Code: "OUT_OF_RANGE", Detail: fmt.Sprintf("must be above 0 and at most %g", high), Allowed: [2]float64{0, high}, Got: fmt.Sprint(m.Value)})
		}
	}
	if n := in.Nameplate; n != nil {
		check("/nameplate/voltage_v", n.Voltage, 100e3)
		check("/nameplate/frequency_hz", n.Frequency, 1000)
		check("/nameplate/power_w", n.Power, 1e7)
		check("/nameplate/current_a", n.Current, 1e4)
		check("/nameplate/speed_rpm", n.Speed, 60000)
		check("/nameplate/capacitor_uf", n.CapacitorUF, 1e5)
		check("/nameplate/capacitor_v", n.CapacitorV, 1e5)
		if n.Poles != 0 && (n.Poles < 2 || n.Poles%2 != 0 || n.Poles > MaxPoles) {
			out = append(out, errs.Field{Pointer: "/nameplate/poles", Code: "POLES_IMPOSSIBLE", Detail: fmt.Sprintf("poles come in pairs, 2 to %d", MaxPoles), Got: fmt.Sprint(n.Poles)})
		}
	}
	if s := in.Supply; s != nil {
		check("/supply/voltage_v", s.Voltage, 100e3)
		check("/supply/frequency_hz", s.Frequency, 1000)
	}
	if p := in.Scheme.Poles; p != 0 && (p < 2 || p%2 != 0 || p > MaxPoles) {
		out = append(out, errs.Field{Pointer: "/scheme/poles", Code: "POLES_IMPOSSIBLE", Detail: fmt.Sprintf("poles come in pairs, 2 to %d", MaxPoles), Got: fmt.Sprint(p)})
	}
	return out
}
