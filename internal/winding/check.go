package winding

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"

	"statorbook/internal/errs"
	"statorbook/internal/stator"
	"statorbook/internal/wire"
)

// Sheet is the part of a winding record that can agree or disagree with itself.
type Sheet struct {
	Core      stator.Core // as measured, or of the family
	MotorType string
	Origin    string
	Nameplate Nameplate
	Scheme    Scheme
}

// Verdict is what a check says of a whole sheet.
type Verdict string

// The verdicts: nothing speaks against it; something asks for a second look; it cannot be so.
const (
	Coherent   Verdict = "coherent"
	Suspect    Verdict = "suspect"
	Impossible Verdict = "impossible"
)

// CheckResult is what a check found.
type CheckResult struct {
	Findings []errs.Finding
	Verdict  Verdict
	Figures  []SetFigures // of the sets that could be expanded, for further judging
}

// Check looks whether a data sheet agrees with itself: geometry, slot occupancy, turns against wire, mass and
// resistance, densities and fill against what is usual. It knows no other records: limits are as
// wide as the ends of unknown makers differ. What cannot be is a finding of severity error; it never refuses.
func Check(s Sheet, t *wire.Table) CheckResult {
	k := &sheetCheck{sheet: s, table: t}
	k.findings = append(k.findings, stator.Check(s.Core)...)
	sound := !stator.Impossible(k.findings)
	k.faults(inputFaults(AnalysisInput{Nameplate: &s.Nameplate, Scheme: s.Scheme}), "/")
	if len(s.Scheme.CoilSets) > 0 {
		k.scheme(sound)
	}
	k.nameplate()
	for i := range k.findings {
		qualifyAll(k.findings[i].Fields)
	}
	return CheckResult{Findings: k.findings, Verdict: verdictOf(k.findings), Figures: k.figures}
}

func verdictOf(findings []errs.Finding) Verdict {
	v := Coherent
	for _, f := range findings {
		switch f.Severity {
		case errs.SeverityError:
			return Impossible
		case errs.SeverityWarning:
			v = Suspect
		}
	}
	return v
}

type sheetCheck struct {
	sheet    Sheet
	table    *wire.Table
	findings []errs.Finding
	figures  []SetFigures
	three    bool
}

// faults turns the fields of an error into findings of severity error. A sheet without its slots is no
// impossible one: the coils cannot be laid, and a note says so.
func (k *sheetCheck) faults(fields []errs.Field, under string) {
	for _, f := range fields {
		severity := errs.SeverityError
		if f.Code == codeSlotsMissing {
			severity = errs.SeverityNote
		}
		k.findings = append(k.findings, errs.Finding{Code: strings.ToLower(f.Code), Severity: severity, Fields: []string{dotted(under + f.Pointer)}, Message: f.Detail})
	}
}

// dotted turns a JSON pointer into the dotted name of a finding: /scheme/coil_sets/0/pattern becomes
// scheme.coil_sets[0].pattern.
func dotted(pointer string) string {
	var b strings.Builder
	for _, part := range strings.Split(strings.Trim(pointer, "/"), "/") {
		if part == "" {
			continue
		}
		if _, err := strconv.Atoi(part); err == nil {
			b.WriteString("[" + part + "]")
			continue
		}
		if b.Len() > 0 {
			b.WriteByte('.')
		}
		b.WriteString(part)
	}
	return b.String()
}

// scheme checks coils, wires and their agreement with the rest.
func (k *sheetCheck) scheme(coreSound bool) {
	s := k.sheet.Scheme
	if s.Poles == 0 {
		s.Poles = k.sheet.Nameplate.Poles
	}
	for _, set := range s.CoilSets {
		k.three = k.three || set.Role.IsPhase()
	}
	coils, _, err := ExpandScheme(s, k.sheet.Core)
	sound := err == nil
	if err != nil {
		k.fault(err)
		coils = k.singly(s)
	} else {
		if faults := Faults(s, coils, k.sheet.Core); len(faults) > 0 {
			sound = false
			k.faults(faults, "/scheme")
		}
		k.layout(s, coils)
	}
	k.findings = append(k.findings, namedTwice(s, k.table)...)
	known := k.measure(s, coils)
	for i := range k.figures {
		k.agreement(&k.figures[i])
	}
	k.pairs()
	if sound && coreSound && known {
		if a, err := Analyse(AnalysisInput{Core: k.sheet.Core, Nameplate: &k.sheet.Nameplate, Scheme: s, MotorType: k.sheet.MotorType}, k.table); err == nil {
			for _, f := range a.Findings {
				if !k.has(f) {
					k.findings = append(k.findings, k.milder(f))
				}
			}
		}
	}
}

// fault adds the fields of an error of this package.
func (k *sheetCheck) fault(err error) {
	var e *errs.Error
	if errors.As(err, &e) {
		k.faults(e.Fields, "/scheme")
	}
}

// singly expands the sets one by one, so that one impossible set does not hide the others.
func (k *sheetCheck) singly(s Scheme) [][]Coil {
	coils := make([][]Coil, len(s.CoilSets))
	for i, set := range s.CoilSets {
		if c, _, err := Expand(set, s.Poles, k.sheet.Core); err == nil {
			coils[i] = c
		}
	}
	return coils
}

// measure computes the figures of each set; known is false when a wire is not.
func (k *sheetCheck) measure(s Scheme, coils [][]Coil) (known bool) {
	in := FiguresInput{Core: k.sheet.Core, Nameplate: k.sheet.Nameplate, Poles: s.Poles, Phases: 1}
	if k.three {
		in.Phases = 3
	}
	known = true
	for i, set := range s.CoilSets {
		c, ok, err := ConductorOf(set, k.table)
		if err != nil {
			known = false
			var e *errs.Error
			if errors.As(err, &e) {
				k.faults(prefixed(err, i), "/scheme")
			}
		}
		if coils[i] != nil {
			k.figures = append(k.figures, Figures(in, i, set, coils[i], c, ok && err == nil))
		}
	}
	return known
}

// milder makes a note of a figure that is not far beyond its band: honest motors lie there, and a
// sheet is not suspect for it.
func (k *sheetCheck) milder(f errs.Finding) errs.Finding {
	if !k.three && strings.HasPrefix(f.Code, "current_density") && len(k.sheet.Scheme.CoilSets) > 1 {
		f.Severity = errs.SeverityNote // the plate current is not that of the main winding alone
		return f
	}
	if f.Code == "outside_service_range" {
		f.Severity = errs.SeverityNote // a bigger motor is no slip
		return f
	}
	if !strings.HasSuffix(f.Code, "_band") || f.Found == nil || f.Expected == nil {
		return f
	}
	if *f.Found < farBeyond*f.Expected.High && *f.Found > f.Expected.Low/farBeyond {
		f.Severity = errs.SeverityNote
	}
	return f
}

// farBeyond is how many times a band's end a figure may be before a sheet is suspect (no source).
const farBeyond = 1.6

func (k *sheetCheck) has(f errs.Finding) bool {
	for _, g := range k.findings {
		if g.Code == f.Code && g.Message == f.Message { // the analysis sees some things again
			return true
		}
	}
	return false
}

// layout looks at what the coils make of the slots.
func (k *sheetCheck) layout(s Scheme, coils [][]Coil) {
	core := k.sheet.Core
	slots := Occupancy(s, coils, core)
	if k.three {
		k.evenSlots(slots)
	}
	k.findings = append(k.findings, overPitched(s, coils, core)...)
}

// evenSlots wants as many coil sides in every slot of a three-phase winding.
func (k *sheetCheck) evenSlots(slots []SlotUse) {
	phases := map[Role]bool{}
	for _, s := range k.sheet.Scheme.CoilSets {
		phases[s.Role] = true
	}
	if len(phases) < 3 {
		return
	}
	low, high, where := math.MaxInt, 0, SlotUse{}
	for _, s := range slots {
		n := len(s.Sides)
		if n < low {
			low, where = n, s
		}
		high = max(high, n)
	}
	if low != high {
		k.findings = append(k.findings, errs.Finding{Code: "slots_uneven", Severity: errs.SeverityWarning, Fields: []string{"scheme.coil_sets"}, Found: ref(float64(low)), Expected: &errs.Expected{Value: float64(high), Low: float64(high), High: float64(high)},
			Message: fmt.Sprintf("slot %d holds %d coil sides, others %d: in a three-phase winding all slots hold as many; a throw or the number of coils is doubtful", where.Number, low, high)})
	}
}

// nameplate looks at the plate by itself.
func (k *sheetCheck) nameplate() {
	n := k.sheet.Nameplate
	if !n.Voltage.Given || !n.Current.Given || !n.Power.Given {
		return
	}
	input := n.Voltage.Value * n.Current.Value
	if k.three {
		input *= math.Sqrt(3)
	}
	if n.Power.Value > input*1.05 {
		k.findings = append(k.findings, errs.Finding{Code: "power_above_input", Severity: errs.SeverityWarning, Fields: []string{"nameplate.power_w", "nameplate.current_a", "nameplate.voltage_v"}, Found: ref(n.Power.Value), Expected: &errs.Expected{Value: input * 0.6, Low: 0, High: input},
			Message: fmt.Sprintf("%g W cannot come from %g V and %g A: they carry at most %.4g W", n.Power.Value, n.Voltage.Value, n.Current.Value, input)})
	}
	if t := n.Frequency; t.Given && (t.Value < 40 || t.Value > 70) {
		k.findings = append(k.findings, errs.Finding{Code: "frequency_unusual", Severity: errs.SeverityWarning, Fields: []string{"nameplate.frequency_hz"}, Found: ref(t.Value), Expected: &errs.Expected{Value: 50, Low: 50, High: 60}, Message: fmt.Sprintf("%g Hz is not a mains frequency that this service knows", t.Value)})
	}
}

// pairs compares sets that should be alike.
func (k *sheetCheck) pairs() {
	if !k.three {
		return
	}
	var first *SetFigures
	for i := range k.figures {
		f := &k.figures[i]
		if first == nil {
			first = f
			continue
		}
		for _, c := range []struct {
			name   string
			a, b   float64
			within float64
		}{{"mass_g", first.BareMass, f.BareMass, 0.10}, {"resistance_ohm", first.R20, f.R20, 0.05}} {
			if d := math.Log(c.b / c.a); math.Abs(d) > c.within { // NaN stays silent
				k.findings = append(k.findings, errs.Finding{Code: "phases_differ", Severity: errs.SeverityWarning, Fields: []string{fmt.Sprintf("scheme.coil_sets[%d].%s", f.Set, c.name), fmt.Sprintf("scheme.coil_sets[%d].%s", first.Set, c.name)}, Found: ref(c.b),
					Expected: &errs.Expected{Value: c.a, Low: c.a * (1 - c.within), High: c.a * (1 + c.within)}, Message: fmt.Sprintf("%s of %s differs by %.0f %% from that of %s; equal phases have equal figures", c.name, f.Role, 100*(math.Exp(d)-1), first.Role)})
			}
		}
	}
}
