package winding

import (
	"fmt"
	"math"
	"strconv"

	"statorbook/internal/errs"
	"statorbook/internal/stator"
)

// Band is what a figure of a small induction motor usually is. Outside it is a finding, not an
// error. Source names where the figures come from: most are common practice, from memory.
type Band struct {
	Parameter, Scope, Unit string
	Low, Typical, High     float64
	Source                 string
}

const fromPractice = "common practice, from memory"

// Bands lists the plausible ranges that checks use, after the project's table of typical ranges.
func Bands() []Band {
	return append([]Band(nil), bands...)
}

var bands = []Band{
	{"average gap flux density", "three-phase", "T", 0.35, 0.45, 0.6, "a design lecture uses 0.45 (slides read); range from memory"},
	{"average gap flux density", "single-phase", "T", 0.3, 0.4, 0.55, fromPractice},
	{"average gap flux density", "ceiling fan", "T", 0.25, 0.35, 0.5, fromPractice},
	{"stator tooth density", "small induction", "T", 1.2, 1.5, 1.8, "design notes (read): mean at most 1.7 T; range from memory"},
	{"back iron density", "small induction", "T", 0.9, 1.3, 1.6, fromPractice},
	{"current density", "main winding", "A/mm2", 3.5, 5.5, 8, "enclosed to ventilated; design notes (read) say 3 to 5, the rest from memory"},
	{"current density", "ceiling fan", "A/mm2", 3, 4.5, 6.5, fromPractice},
	{"ampere-conductors per metre", "three-phase", "A/m", 8000, 18000, 28000, "a design lecture uses 23000 for 3.7 kW (slides read); range from memory"},
	{"ampere-conductors per metre", "single-phase", "A/m", 5000, 10000, 18000, fromPractice},
	{"fill, copper", "by hand, net slot", "1", 0.28, 0.38, 0.45, fromPractice},
	{"fill, circle", "by hand, net slot", "1", 0.4, 0.52, 0.6, fromPractice},
	{"fill, square", "by hand, net slot", "1", 0.55, 0.68, 0.78, fromPractice},
	{"turns ratio", "permanent split capacitor", "1", 0.9, 1.3, 1.8, "a worked example has 1.73 (read); range from memory"},
	{"turns ratio", "split phase", "1", 0.4, 0.6, 1.0, "a worked example has 0.5 (read)"},
	{"wire area, auxiliary over main", "permanent split capacitor", "1", 0.4, 0.6, 1.0, fromPractice},
	{"run capacitor", "230 V 50 Hz, per kW output", "uF/kW", 25, 35, 50, fromPractice},
	{"run capacitor", "ceiling/table fan 230 V 50 Hz", "uF", 1.5, 2.5, 4, "catalogue pages read: 1.2 to 4.7"},
	{"slot opening", "fractional horsepower", "mm", 1.6, 2.2, 3, fromPractice},
	{"stack over pole pitch", "small induction", "1", 0.6, 1, 2, "design notes (read)"},
	{"winding factor", "three-phase", "1", 0.83, 0.92, 0.966, "computed from the table of winding factors"},
	{"winding factor", "single-phase", "1", 0.7, 0.84, 0.93, "computed from the table of single-phase layouts"},
	{"slip", "three-phase", "1", 0.02, 0.05, 0.10, fromPractice},
	{"slip", "single-phase", "1", 0.03, 0.06, 0.12, fromPractice},
	{"slip", "ceiling fan", "1", 0.08, 0.15, 0.25, fromPractice},
}

// bandOf finds a band by parameter and scope, nil if there is none.
func bandOf(parameter, scope string) *Band {
	for i := range bands {
		if bands[i].Parameter == parameter && bands[i].Scope == scope {
			return &bands[i]
		}
	}
	return nil
}

// toothBand is the band of a tooth's density under the name of that tooth, and the field that its width stands in: a
// stator with two rings has three kinds of tooth.
func toothBand(t ToothDensity) (Band, string) {
	b, field := *bandOf("stator tooth density", "small induction"), "core.tooth_width_mm"
	switch {
	case t.Part == "slit_leg":
		b.Parameter, field = "slit leg density", "core.second_ring.slot_opening_mm"
	case t.Ring == RingBack:
		b.Parameter, field = "tooth density of the second ring", "core.second_ring.tooth_width_mm"
	}
	return b, field
}

// isFan tells a fan: a rotor outside, or a sweep on the nameplate.
func isFan(in AnalysisInput) bool {
	return in.Core.RotorPosition == stator.RotorOutside || (in.Nameplate != nil && in.Nameplate.SweepMM.Given)
}

// outside compares a figure with its band. over and under give the severity of each side; "" stays silent.
func (a *analyser) outside(b *Band, figure string, value float64, under, over errs.Severity, fields ...string) {
	if b == nil {
		return
	}
	severity, word := errs.Severity(""), ""
	switch {
	case value > b.High*(1+1e-9):
		severity, word = over, "above"
	case value < b.Low*(1-1e-9):
		severity, word = under, "below"
	}
	if severity == "" {
		return
	}
	u := " " + b.Unit
	if b.Unit == "1" {
		u = ""
	}
	a.find(errs.Finding{Code: figure + "_" + word + "_band", Severity: severity, Fields: fields, Found: &value, Expected: &errs.Expected{Value: b.Typical, Low: b.Low, High: b.High},
		Message: fmt.Sprintf("%s of %s%s is %s the usual %g to %g%s (%s; %s)", b.Parameter, threeDigits(value), u, word, b.Low, b.High, u, b.Scope, b.Source)})
}

// threeDigits writes a figure in three significant digits and never with an exponent: people read it.
func threeDigits(v float64) string {
	v, _ = strconv.ParseFloat(strconv.FormatFloat(v, 'g', 3, 64), 64)
	return strconv.FormatFloat(v, 'f', -1, 64)
}

// bands compares the figures of an analysis with what is usual.
func (a *analyser) bands() {
	scope := "single-phase"
	if a.three {
		scope = "three-phase"
	}
	wide := scope
	if isFan(a.in) {
		wide = "ceiling fan"
	}
	note, warn := errs.SeverityNote, errs.SeverityWarning
	if a.out.AverageGap != nil {
		a.outside(bandOf("average gap flux density", wide), "gap_density", float64(*a.out.AverageGap), note, warn, "nameplate.voltage_v", "coil_sets", "core.stack_length_mm")
	}
	if d := a.out.Densities; d != nil {
		for _, t := range d.Teeth {
			band, field := toothBand(t)
			a.outside(&band, t.Part+"_density", t.T, note, warn, field, "coil_sets", "nameplate.voltage_v")
		}
		if d.BackIron > 0 {
			a.outside(bandOf("back iron density", "small induction"), "back_iron_density", d.BackIron, note, warn, "core.back_iron_mm", "coil_sets", "nameplate.voltage_v")
		}
	}
	for i := range a.out.Roles {
		a.roleBands(&a.out.Roles[i], scope)
	}
	a.mouth()
	if a.out.AmpereConductors != nil {
		a.outside(bandOf("ampere-conductors per metre", scope), "ampere_conductors", *a.out.AmpereConductors, note, warn, "nameplate.current_a", "coil_sets", "core.gap_diameter_mm")
	}
	if f := a.out.Fullest(); f != nil { // a gross area reads low, so what is above the band is above it all the more
		field := "core.slot_area_mm2"
		if f.Fill.Square > 0 {
			a.outside(bandOf("fill, square", "by hand, net slot"), "fill_square", f.Fill.Square, "", warn, "coil_sets", field)
		}
		a.outside(bandOf("fill, copper", "by hand, net slot"), "fill_copper", f.Fill.Copper, "", warn, "coil_sets", field)
	}
	if a.out.TurnsRatio != nil && a.in.Nameplate != nil && a.in.Nameplate.CapacitorUF.Given {
		a.outside(bandOf("turns ratio", "permanent split capacitor"), "turns_ratio", *a.out.TurnsRatio, note, warn, "coil_sets")
	}
	if s := a.out.Speed; s != nil && s.Slip != nil {
		a.slipBand(*s.Slip, wide)
	}
	if p, ok := stator.PolePitch(a.in.Core, a.out.Poles); ok && a.in.Core.StackLength.Given && wide != "ceiling fan" {
		a.outside(bandOf("stack over pole pitch", "small induction"), "stack_over_pole_pitch", a.in.Core.StackLength.Value/float64(p), "", note, "core.stack_length_mm")
	}
}

// mouth wants the wire to pass the slot opening one by one, with half a millimetre to spare (common
// practice, no source), and the opening in its band.
func (a *analyser) mouth() {
	for i := range a.out.Roles {
		r := &a.out.Roles[i]
		opening, field := a.in.Core.SlotOpening, "core.slot_opening_mm"
		if r.Ring == RingBack && a.in.Core.SecondRing != nil {
			opening, field = a.in.Core.SecondRing.SlotOpening, "core.second_ring.slot_opening_mm"
		}
		wire := float64(r.conductor.Thickest)
		if !opening.Given || !r.haveWire || wire+MouthSpare <= opening.Value {
			continue
		}
		severity := errs.SeverityNote
		if wire >= opening.Value {
			severity = errs.SeverityWarning
		}
		a.find(errs.Finding{Code: CodeMouth, Severity: severity, Fields: []string{fmt.Sprintf("coil_sets[%d].wires", i), field}, Found: ref(wire), Expected: &errs.Expected{Value: opening.Value - MouthSpare, Low: 0, High: opening.Value},
			Message: fmt.Sprintf("wire of %.3g mm has to pass a slot opening of %.3g mm one by one; half a millimetre to spare is usual", wire, opening.Value)})
	}
}

// MouthSpare is what a slot opening is wider than the wire, mm (common practice, no source).
const MouthSpare = 0.5

// The codes of findings that say that wire does not go where it should.
const (
	CodeMouth      = "wire_through_mouth"
	CodeSquareFill = "fill_square_above_band"
)

// HandFill is the usual fill of a net slot by hand, each wire as a square of its overall diameter.
func HandFill() Band { return *bandOf("fill, square", "by hand, net slot") }

func (a *analyser) roleBands(r *RoleAnalysis, scope string) {
	fields := []string{fmt.Sprintf("coil_sets[%d]", r.Set)}
	if r.CurrentDensity != nil {
		which := "main winding"
		if isFan(a.in) {
			which = "ceiling fan"
		}
		b, over := bandOf("current density", which), errs.SeverityWarning
		if float64(*r.CurrentDensity)*a.mainShare(r) <= b.High {
			over = errs.SeverityNote // only if the main winding carried all of the plate current
		}
		a.outside(b, "current_density", float64(*r.CurrentDensity), errs.SeverityNote, over, fields[0], "nameplate.current_a")
	}
	if r.WindingFactor != nil && *r.WindingFactor > 1e-6 && *r.WindingFactor < 0.6 {
		a.outside(bandOf("winding factor", scope), "winding_factor", *r.WindingFactor, errs.SeverityWarning, "", fields...)
	}
}

// mainShare is the share of the plate current that the main winding carries where an auxiliary runs along with a
// capacitor, at balance: the two currents stand at right angles as 1 to 1/a, a the ratio of effective turns (first
// principles). 1 for all others.
func (a *analyser) mainShare(r *RoleAnalysis) float64 {
	if r.Role != Main || a.three || a.out.TurnsRatio == nil || !mayRunOnCapacitor(a.in.MotorType) {
		return 1
	}
	n := a.in.Nameplate
	if a.in.MotorType == "" && !isFan(a.in) && (n == nil || !n.CapacitorUF.Given) {
		return 1 // the auxiliary may work for seconds only
	}
	ratio := *a.out.TurnsRatio
	return ratio / math.Sqrt(1+ratio*ratio)
}

// slipBand says when a plate speed does not fit the poles.
func (a *analyser) slipBand(slip float64, scope string) {
	if slip <= 0 {
		a.find(errs.Finding{Code: "speed_above_synchronous", Severity: errs.SeverityWarning, Fields: []string{"nameplate.speed_rpm", "scheme.poles"}, Found: &slip, Message: "the plate speed is not below the synchronous speed: an induction motor has fewer poles, or the speed is another one"})
		return
	}
	b := bandOf("slip", scope)
	if slip > 2*b.High {
		a.outside(b, "slip", slip, "", errs.SeverityWarning, "nameplate.speed_rpm", "scheme.poles")
	} else {
		a.outside(b, "slip", slip, "", errs.SeverityNote, "nameplate.speed_rpm", "scheme.poles")
	}
}
