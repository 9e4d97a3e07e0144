package winding

import (
	"fmt"
	"math"

	"statorbook/internal/errs"
	"statorbook/internal/unit"
)

// plate writes the new nameplate: volts, frequency, connection and poles as asked; current so that the
// power stays, or goes with the frequency; the capacitor as its reactance goes.
func (c *changer) plate() {
	ch, old := c.change, c.in.Nameplate
	n := &c.out.Nameplate
	volts, freq := 1.0, 1.0
	if ch.Voltage.Given {
		volts = ch.Voltage.Value / old.Voltage.Value
		n.Voltage = ch.Voltage
	}
	if ch.Frequency.Given {
		freq = ch.Frequency.Value / old.Frequency.Value
		n.Frequency = ch.Frequency
	}
	if ch.Connection != "" {
		n.Connection = ch.Connection
	}
	if ch.Poles > 0 && (old.Poles > 0 || ch.Poles != c.in.Scheme.Poles) {
		n.Poles = ch.Poles
	}
	poles := 1.0
	if c.out.Before != nil && c.out.Scheme.Poles > 0 && c.out.Before.Poles > 0 {
		poles = float64(c.out.Before.Poles) / float64(c.out.Scheme.Poles)
	}
	n.Speed = scaled(old.Speed, freq*poles)
	sameStack := !ch.StackLength.Given || c.in.Core == nil || ch.StackLength.Value == c.in.Core.StackLength.Value
	rating := ch.Core == nil && sameStack && poles == 1
	n.Power, n.Current = unit.Measured{}, unit.Measured{}
	if rating {
		n.Power, n.Current = scaled(old.Power, freq), scaled(old.Current, freq/volts)
	} else if poles != 1 {
		c.out.Findings = append(c.out.Findings, ratingFinding("the machine with other poles"))
	}
	c.newCapacitor(n, volts, freq, poles == 1)
}

// scaled multiplies a figure that is given; the result is computed, so the typed digits go.
func scaled(m unit.Measured, by float64) unit.Measured {
	if !m.Given || by == 1 {
		return m
	}
	return unit.Measured{Given: true, Value: m.Value * by, Method: "calculated"}
}

// newCapacitor scales the run capacitor: its reactance goes as f·N²·D·L with the effective turns, so C goes as 1/(f²·N²·D·L);
// its volts as the supply.
func (c *changer) newCapacitor(n *Nameplate, volts, freq float64, samePoles bool) {
	old := c.in.Nameplate
	if !old.CapacitorUF.Given {
		return
	}
	if !samePoles {
		n.CapacitorUF, n.CapacitorV = unit.Measured{}, unit.Measured{}
		c.out.Findings = append(c.out.Findings, errs.Finding{Code: "capacitor_open", Severity: errs.SeverityWarning, Fields: []string{"nameplate.capacitor_uf"}, Message: "the capacitor of other poles does not follow from the old one; find it by trial at low volts"})
		return
	}
	size := 1.0
	if c.in.Core != nil && c.in.Core.GapDiameter.Given && c.in.Core.StackLength.Given && c.core.GapDiameter.Given && c.core.StackLength.Given {
		size = c.core.GapDiameter.Value * c.core.StackLength.Value / (c.in.Core.GapDiameter.Value * c.in.Core.StackLength.Value)
	}
	r := 1 / (freq * freq * c.series * c.series * size)
	n.CapacitorUF, n.CapacitorV = scaled(old.CapacitorUF, r), scaled(old.CapacitorV, volts)
	if math.Abs(r-1) > 1e-9 || volts != 1 {
		c.step("capacitor x %.4g in uF, x %.4g in volts", r, volts)
	}
	if old.CapacitorV.Given && volts < 1 {
		n.CapacitorV = old.CapacitorV // a capacitor of more volts does no harm
	}
}

// after analyses the changed winding, fills the table and looks at the bands that were left.
func (c *changer) after() error {
	if c.in.Core == nil {
		c.out.Findings = append(c.out.Findings, OutsideService(&c.out.Nameplate, nil, beyondKnown)...)
		c.out.Findings = append(c.out.Findings, errs.Finding{Code: "core_unknown", Severity: errs.SeverityNote, Fields: []string{"core"}, Message: "without the core there are no densities, fill, resistance and mass to compare"})
		return nil
	}
	a, err := Analyse(AnalysisInput{Core: c.core, Nameplate: &c.out.Nameplate, Scheme: c.out.Scheme}, c.table)
	if err != nil {
		return err
	}
	c.out.After = &a
	core := c.core
	c.out.Core = &core
	c.out.Findings = append(c.out.Findings, a.Findings...)
	c.compare()
	c.fillFinding()
	return nil
}

// fillFinding says when the slots get fuller than they were.
func (c *changer) fillFinding() {
	b, a := c.out.Before.Fullest(), c.out.After.Fullest()
	if b == nil || a == nil {
		return
	}
	was, is := b.Fill.Square, a.Fill.Square
	if was == 0 || is == 0 {
		was, is = b.Fill.Copper, a.Fill.Copper
	}
	if is > was*1.02 {
		c.out.Findings = append(c.out.Findings, errs.Finding{Code: "fuller_than_before", Severity: errs.SeverityWarning, Fields: []string{"scheme.coil_sets"}, Found: &is, Expected: &errs.Expected{Value: was, Low: 0, High: was * 1.02},
			Message: fmt.Sprintf("the fullest slot goes from %.3f to %.3f; wire that is forced in loses its enamel", was, is)})
	}
}

// compare fills the before and after table.
func (c *changer) compare() {
	b, a := c.out.Before, c.out.After
	row := func(figure string, role Role, unitName string, before, after *float64) {
		if before != nil || after != nil {
			c.out.Table = append(c.out.Table, ChangeRow{Figure: figure, Role: role, Unit: unitName, Before: before, After: after})
		}
	}
	row("flux_per_pole_mwb", "", "mWb", float(b.FluxPerPole), float(a.FluxPerPole))
	gap := func(x *Analysis) *float64 {
		if x.Densities == nil || x.Densities.Gap == 0 {
			return nil
		}
		return &x.Densities.Gap
	}
	iron := func(x *Analysis) *float64 {
		if x.Densities == nil || x.Densities.BackIron == 0 {
			return nil
		}
		return &x.Densities.BackIron
	}
	row("gap_t", "", "T", gap(b), gap(a))
	for _, part := range []struct {
		ring RingName
		name string
	}{{RingGap, "tooth"}, {RingGap, "slit_leg"}, {RingBack, "tooth"}} {
		row(string(part.ring)+"_"+part.name+"_t", "", "T", tooth(b, part.ring, part.name), tooth(a, part.ring, part.name))
	}
	row("back_iron_t", "", "T", iron(b), iron(a))
	fill := func(x *Analysis, of func(Fill) float64) *float64 {
		f := x.Fullest()
		if f == nil || of(f.Fill) == 0 {
			return nil
		}
		return ref(of(f.Fill))
	}
	for _, f := range []struct {
		name string
		of   func(Fill) float64
	}{{"fill_copper", func(f Fill) float64 { return f.Copper }}, {"fill_circle", func(f Fill) float64 { return f.Circle }}, {"fill_square", func(f Fill) float64 { return f.Square }}} {
		row(f.name, "", "1", fill(b, f.of), fill(a, f.of))
	}
	row("ampere_conductors_per_m", "", "A/m", b.AmpereConductors, a.AmpereConductors)
	c.compareRoles(row)
}

// compareRoles fills the lines of each winding.
func (c *changer) compareRoles(row func(figure string, role Role, unitName string, before, after *float64)) {
	b, a := c.out.Before, c.out.After
	for i := range a.Roles {
		x, y := &b.Roles[i], &a.Roles[i]
		row("series_turns", y.Role, "1", &x.SeriesTurns, &y.SeriesTurns)
		row("winding_factor", y.Role, "1", x.WindingFactor, y.WindingFactor)
		row("conductor_area_mm2", y.Role, "mm2", float(x.ConductorArea), float(y.ConductorArea))
		row("current_density_a_per_mm2", y.Role, "A/mm2", float(x.CurrentDensity), float(y.CurrentDensity))
		row("mean_turn_mm", y.Role, "mm", float(x.MeanTurn), float(y.MeanTurn))
		row("resistance_20c_ohm", y.Role, "Ohm", float(x.Resistance20), float(y.Resistance20))
		row("mass_g", y.Role, "g", float(x.Mass), float(y.Mass))
	}
}

// float turns a pointer to a quantity into one to its number.
func float[T ~float64](v *T) *float64 {
	if v == nil {
		return nil
	}
	return ref(float64(*v))
}

// tooth is the density of a part of an analysis, nil if it is not known.
func tooth(a *Analysis, ring RingName, part string) *float64 {
	if a.Densities == nil {
		return nil
	}
	for i := range a.Densities.Teeth {
		if t := &a.Densities.Teeth[i]; t.Ring == ring && t.Part == part {
			return &t.T
		}
	}
	return nil
}
