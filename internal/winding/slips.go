package winding

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"statorbook/internal/errs"
	"statorbook/internal/unit"
	"statorbook/internal/wire"
)

// Limits of ln found/expected for a sheet of an unknown maker (the sharp ones are learned from his
// records): wire area from mass and resistance is nearly exact, everything with a mean turn is not.
const (
	limitArea   = 0.07
	limitLength = 0.25
	limitCopper = 0.28 // mass, or resistance, against turns, wire and mean turn
)

// correction is one slip undone: what it changes in the logarithms of mass, resistance, turns, conductor area and
// paths, and, for another metal, density and resistivity.
type correction struct {
	slip                                   errs.Slip
	mass, ohm, turns, area, paths, rho, dd float64
}

// ratios are the four checks of a set in units of their limits.
type ratios [4]float64

func (f *SetFigures) ratios() ratios {
	area := limitArea + 2*f.MassSD
	mass := math.Hypot(limitCopper, 2*f.MassSD)
	return ratios{f.LnArea / area, f.LnLength / limitLength, f.LnMass / mass, f.LnResistance / limitCopper}
}

// with gives the ratios after a correction; all four are linear in the logarithms.
func (f *SetFigures) with(c correction) ratios {
	g := *f
	g.LnArea += c.area - (c.mass-c.ohm)/2 + c.paths - c.rho/2 + c.dd/2
	g.LnLength += c.paths + (c.mass+c.ohm)/2 - c.turns - (c.rho+c.dd)/2
	g.LnMass += c.mass - c.turns - c.area - c.dd
	g.LnResistance += c.ohm + 2*c.paths + c.area - c.turns - c.rho
	return g.ratios()
}

// worst is the largest ratio and its index, -1 when nothing is known.
func (r ratios) worst() (value float64, at int) {
	at = -1
	for i, v := range r {
		if math.Abs(v) > value {
			value, at = math.Abs(v), i
		}
	}
	return value, at
}

// cost is the sum of squares of what is known.
func (r ratios) cost() float64 {
	sum := 0.0
	for _, v := range r {
		if !math.IsNaN(v) {
			sum += v * v
		}
	}
	return sum
}

// agreement sets turns, wire, mass and resistance of one set against each other and names a slip
// where one, and only one kind, explains the disagreement.
func (k *sheetCheck) agreement(f *SetFigures) {
	now := f.ratios()
	worst, at := now.worst()
	if worst <= 1 {
		return
	}
	finding := f.disagreement(at)
	best, second := math.Inf(1), math.Inf(1)
	var slip errs.Slip
	for _, c := range k.corrections(f) {
		r := f.with(c)
		w, _ := r.worst()
		if w > 1 {
			continue
		}
		cost := r.cost()
		switch {
		case cost < best:
			if slip.Code != c.slip.Code {
				second = best
			}
			best, slip = cost, c.slip
		case cost < second && c.slip.Code != slip.Code:
			second = cost
		}
	}
	// A rival that explains nearly as well leaves the slip open.
	if slip.Code != "" && second > best+0.5 && !math.IsNaN(f.LnArea) {
		finding.LikelySlip = &slip
		finding.Message += "; likely " + strings.ReplaceAll(slip.Code, "_", " ")
	}
	k.findings = append(k.findings, finding)
}

// disagreement words the worst of the four checks, in the unit of its first field.
func (f *SetFigures) disagreement(at int) errs.Finding {
	set := fmt.Sprintf("scheme.coil_sets[%d]", f.Set)
	finding := func(code string, found, expected, limit float64, message string, fields ...string) errs.Finding {
		for i := range fields {
			fields[i] = set + "." + fields[i]
		}
		return errs.Finding{Code: code, Severity: errs.SeverityWarning, Fields: fields, Found: &found, Expected: &errs.Expected{Value: expected, Low: expected * math.Exp(-limit), High: expected * math.Exp(limit)}, Message: message}
	}
	switch at {
	case 0:
		want := f.Area / math.Exp(f.LnArea)
		return finding("wire_disagrees", f.Area, want, limitArea+2*f.MassSD,
			fmt.Sprintf("mass and resistance of the %s winding ask for a conductor of %.4g mm² (%.3f mm for one strand), the sheet has %.4g mm²", f.Role, want, float64(wire.DiameterOf(unit.SquareMillimetre(want/float64(max(f.conductor.Strands, 1))))), f.Area), "wires", "mass_g", "resistance_ohm")
	case 1:
		want := f.Turns * math.Exp(f.LnLength)
		return finding("turns_disagree", f.Turns, want, limitLength,
			fmt.Sprintf("mass and resistance of the %s winding ask for %.4g turns of about %.0f mm, the sheet has %.4g", f.Role, want, f.MeanTurn, f.Turns), "turns", "mass_g", "resistance_ohm")
	case 2:
		want := f.BareMass / math.Exp(f.LnMass)
		return finding("mass_disagrees", f.BareMass, want, limitCopper, fmt.Sprintf("turns and wire of the %s winding weigh about %.4g g, the sheet says %.4g g of bare metal", f.Role, want, f.BareMass), "mass_g", "wires", "turns")
	}
	want := f.R20 / math.Exp(f.LnResistance)
	return finding("resistance_disagrees", f.R20, want, limitCopper, fmt.Sprintf("turns and wire of the %s winding measure about %.4g ohm at 20 degrees C, the sheet says %.4g ohm", f.Role, want, f.R20), "resistance_ohm", "wires", "turns")
}

// corrections lists the slips that a pen makes in one set.
func (k *sheetCheck) corrections(f *SetFigures) []correction {
	at := fmt.Sprintf("scheme.coil_sets[%d]", f.Set)
	ln2 := math.Ln2
	cs := []correction{
		{slip: errs.Slip{Code: "turns_halved", Field: at + ".turns", Corrected: number(2 * f.Turns)}, turns: ln2},
		{slip: errs.Slip{Code: "turns_doubled", Field: at + ".turns", Corrected: number(f.Turns / 2)}, turns: -ln2},
		{slip: errs.Slip{Code: "mass_of_both", Field: at + ".mass_g", Corrected: number(f.set.Mass.Value / 2)}, mass: -ln2},
		{slip: errs.Slip{Code: "paths_wrong", Field: at + ".parallel_paths", Corrected: number(2 * float64(Paths(f.set)))}, paths: ln2},
	}
	if p := f.set.Pattern; p != nil && p.Groups > 0 && (2*p.Groups == k.sheet.Scheme.Poles || (f.Role.IsPhase() && 6*p.Groups == k.sheet.Core.Slots)) {
		cs[0].slip = errs.Slip{Code: "coils_halved", Field: at + ".pattern.groups", Corrected: number(float64(2 * p.Groups))}
	}
	if Paths(f.set)%2 == 0 {
		cs = append(cs, correction{slip: errs.Slip{Code: "paths_wrong", Field: at + ".parallel_paths", Corrected: number(float64(Paths(f.set)) / 2)}, paths: -ln2})
	}
	if k.three {
		ohm := f.set.Resistance.Value
		switch k.sheet.Nameplate.Connection {
		case ConnDelta:
			cs = append(cs, correction{slip: errs.Slip{Code: "r_line_to_line", Field: at + ".resistance_ohm", Corrected: number(ohm * 1.5)}, ohm: math.Log(1.5)})
		default:
			cs = append(cs, correction{slip: errs.Slip{Code: "r_line_to_line", Field: at + ".resistance_ohm", Corrected: number(ohm / 2)}, ohm: -ln2})
		}
	}
	if n := f.conductor.Strands; n > 0 {
		for _, m := range []int{2, 3, 4} {
			cs = append(cs, correction{slip: errs.Slip{Code: "strands_forgotten", Field: at + ".wires[0].strands", Corrected: number(float64(n * m))}, area: math.Log(float64(m))})
		}
	}
	cs = append(cs, digitSlips("mass_digit_swap", at+".mass_g", f.set.Mass.Value, func(d float64) correction { return correction{mass: d} })...)
	cs = append(cs, digitSlips("r_digit_swap", at+".resistance_ohm", f.set.Resistance.Value, func(d float64) correction { return correction{ohm: d} })...)
	if p := f.set.Pattern; p != nil && len(p.Turns) == 1 {
		cs = append(cs, digitSlips("turns_digit_swap", at+".pattern.turns[0]", p.Turns[0], func(d float64) correction { return correction{turns: d} })...)
	}
	return append(cs, k.wireCorrections(f, at)...)
}

// wireCorrections lists slips about the wire: the other gauge system, a neighbour, the other metal.
func (k *sheetCheck) wireCorrections(f *SetFigures, at string) []correction {
	if len(f.set.Wires) != 1 || k.table == nil {
		return nil
	}
	w := f.set.Wires[0]
	var cs []correction
	add := func(code, field string, s wire.Size, old wire.Size) {
		cs = append(cs, correction{slip: errs.Slip{Code: code, Field: at + ".wires[0]." + field, Corrected: string(s.System) + " " + s.Size}, area: 2 * math.Log(float64(s.Diameter/old.Diameter))})
	}
	if w.System != wire.Bare {
		own, err := k.table.Find(w.System, w.Size)
		if err != nil {
			return nil
		}
		other := map[wire.System]wire.System{wire.SWG: wire.AWG, wire.AWG: wire.SWG}[w.System]
		if other != "" {
			if s, err := k.table.Find(other, w.Size); err == nil {
				add("swg_awg_swapped", "system", s, own)
			}
		}
		sizes := k.table.Sizes(w.System)
		for i, s := range sizes {
			if s.ID != own.ID {
				continue
			}
			for _, step := range []int{-2, -1, 1, 2} {
				if i+step >= 0 && i+step < len(sizes) {
					add(map[bool]string{true: "gauge_off_by_1", false: "gauge_off_by_2"}[step == 1 || step == -1], "size", sizes[i+step], own)
				}
			}
		}
	}
	to, rho, dd := wire.Aluminium, 1.0, 1.0
	if w.Conductor == wire.Aluminium {
		to = wire.Copper
	}
	rho = wire.Resistivity(to, wire.AnnealedCopper) / wire.Resistivity(w.Conductor, wire.AnnealedCopper)
	dd = wire.Density(to) / wire.Density(w.Conductor)
	return append(cs, correction{slip: errs.Slip{Code: "material_wrong", Field: at + ".wires[0].conductor", Corrected: string(to)}, rho: math.Log(rho), dd: math.Log(dd)})
}

// digitSlips lists the figures that become the given one when two neighbouring digits change places.
func digitSlips(code, field string, value float64, as func(float64) correction) []correction {
	if !(value > 0) {
		return nil
	}
	text := number(value)
	var cs []correction
	for i := 0; i+1 < len(text); i++ {
		a, b := text[i], text[i+1]
		if a == b || a == '.' || b == '.' || a == 'e' || b == 'e' || a == '+' || b == '+' || a == '-' || b == '-' {
			continue
		}
		swapped := text[:i] + string(b) + string(a) + text[i+2:]
		v, err := strconv.ParseFloat(swapped, 64)
		if err != nil || !(v > 0) {
			continue
		}
		c := as(math.Log(v / value))
		c.slip = errs.Slip{Code: code, Field: field, Corrected: number(v)}
		cs = append(cs, c)
	}
	return cs
}

// number prints a figure shortly.
func number(v float64) string { return strconv.FormatFloat(v, 'g', 7, 64) }
