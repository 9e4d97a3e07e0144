package winding

import (
	"fmt"
	"math"

	"statorbook/internal/errs"
	"statorbook/internal/unit"
)

// currents gives current density and ampere-conductors per metre. The plate current is the line
// current: in delta a phase carries 1/√3 of it; a single-phase main winding is taken to carry all
// of it, which overstates it where an auxiliary runs along.
func (a *analyser) currents() {
	if a.in.Nameplate == nil || !a.in.Nameplate.Current.Given {
		a.missing("nameplate.current_a")
		return
	}
	i := unit.Ampere(a.in.Nameplate.Current.Value)
	switch {
	case a.three && a.conn == "":
		return
	case a.three && a.conn == ConnDelta:
		i /= unit.Ampere(math.Sqrt(3))
	case !a.three:
		a.assume("main_current_a", float64(i), "the main winding is taken to carry the whole plate current")
	}
	conductors, phases := 0.0, map[Role]float64{}
	for k := range a.out.Roles {
		r := &a.out.Roles[k]
		if r.Role != Main && !r.Role.IsPhase() {
			continue
		}
		if r.ConductorArea != nil {
			r.CurrentDensity = ref(unit.AmperePerSquareMillimetre(float64(i) / float64(*r.ConductorArea)))
		}
		phases[r.Role] += 2 * r.SeriesTurns * float64(i)
	}
	for _, v := range phases {
		conductors += v
	}
	if a.three && len(phases) > 0 {
		conductors *= 3 / float64(len(phases)) // phases that are not given are like the others
	}
	a.method("current_density_a_per_mm2", "winding current / (paths x metal of one conductor); line current / sqrt 3 in delta", "nameplate.current_a", "scheme")
	if g := a.in.Core.GapDiameter; g.Given && conductors > 0 {
		a.out.AmpereConductors = ref(conductors * 1000 / (math.Pi * g.Value))
		a.method("ampere_conductors_per_m", "conductors of the main winding or of all phases x their current / gap circumference", "nameplate.current_a", "scheme", "core.gap_diameter_mm")
	}
}

// capacitor judges the run capacitor of a single-phase motor with an auxiliary winding.
func (a *analyser) capacitor() {
	n := a.in.Nameplate
	if a.three || a.out.TurnsRatio == nil || !a.nominal || !mayRunOnCapacitor(a.in.MotorType) {
		return
	}
	if a.in.MotorType == "" && n != nil && n.CapacitorUF.Given {
		a.assume("nameplate.capacitor_uf", "run capacitor", "the kind of motor is not told; a start capacitor would not be judged")
	}
	ratio := *a.out.TurnsRatio
	c := CapacitorAnalysis{HighestSupply: HighestSupply(a.volts)}
	c.Volts = CapacitorVolts(c.HighestSupply, ratio)
	a.method("capacitor", "volts at balance: highest supply (+10 %) x sqrt(1 + turns ratio squared); reactance that balances one load point: V a sqrt(1 + a^2) / main current", a.voltsFrom, "turns_ratio", "nameplate.capacitor_uf", "nameplate.current_a")
	if n != nil && n.CapacitorUF.Given {
		c.UF = ref(unit.Microfarad(n.CapacitorUF.Value))
	} else {
		a.missing("nameplate.capacitor_uf")
	}
	if n != nil && n.CapacitorV.Given {
		c.RatedVolts = ref(unit.Volt(n.CapacitorV.Value))
		if *c.RatedVolts < c.Volts {
			a.find(errs.Finding{Code: "capacitor_volts", Severity: errs.SeverityWarning, Fields: []string{"nameplate.capacitor_v"}, Found: ref(n.CapacitorV.Value), Expected: &errs.Expected{Value: float64(c.Volts), Low: float64(c.Volts), High: math.Max(float64(c.Volts), 2*float64(c.Volts))},
				Message: fmt.Sprintf("the capacitor is rated %g V, but bears %.0f V at the highest supply of %.0f V", n.CapacitorV.Value, float64(c.Volts), float64(c.HighestSupply))})
		}
	} else {
		a.missing("nameplate.capacitor_v")
	}
	if a.freq > 0 {
		a.capacitorSize(&c, ratio)
	}
	a.out.Capacitor = &c
}

// mayRunOnCapacitor tells whether a capacitor is in circuit while the motor runs. A start capacitor is in
// circuit for seconds only, so the rules for run capacitors say nothing of it.
func mayRunOnCapacitor(motorType string) bool {
	switch motorType {
	case "capacitor_start", "split_phase", "shaded_pole", "three_phase_cage":
		return false
	}
	return true
}

// capacitorSize compares the capacitor with what usually goes with such a motor, and with the one
// that balances the plate current.
func (a *analyser) capacitorSize(c *CapacitorAnalysis, ratio float64) {
	n := a.in.Nameplate
	// The rules of thumb are for 230 V 50 Hz: current and reactance scale C with 1/(V²·f).
	scale := (230 * 230 * 50) / (float64(a.volts*a.volts) * float64(a.freq))
	var band *Band
	times := 1.0
	switch {
	case isFan(a.in):
		band = bandOf("run capacitor", "ceiling/table fan 230 V 50 Hz")
	case n != nil && n.Power.Given:
		band = bandOf("run capacitor", "230 V 50 Hz, per kW output")
		times = n.Power.Value / 1000
	}
	if band != nil {
		low, high := band.Low*scale*times, band.High*scale*times
		c.PlausibleLow, c.PlausibleHigh = ref(unit.Microfarad(low)), ref(unit.Microfarad(high))
		c.PlausibleBasis = band.Parameter + ", " + band.Scope + ", scaled to volts and frequency"
		if c.UF != nil && (float64(*c.UF) < low/2 || float64(*c.UF) > high*2) {
			a.find(errs.Finding{Code: "capacitor_size", Severity: errs.SeverityWarning, Fields: []string{"nameplate.capacitor_uf"}, Found: ref(float64(*c.UF)), Expected: &errs.Expected{Value: band.Typical * scale * times, Low: low, High: high},
				Message: fmt.Sprintf("a capacitor of %g µF is far from the %.3g to %.3g µF that usually go with such a motor", float64(*c.UF), low, high)})
		}
	}
	if n != nil && n.Current.Given {
		x := BalancedReactance(a.volts, ratio, unit.Ampere(n.Current.Value))
		c.BalancedUF = ref(CapacitanceOf(x, a.freq))
	}
	if c.UF != nil {
		c.AuxiliaryAmps = ref(unit.Ampere(float64(CapacitorVolts(a.volts, ratio)) / float64(CapacitorReactance(*c.UF, a.freq))))
	}
}

// terminals gives the resistances between the leads.
func (a *analyser) terminals() {
	sum := map[Role]float64{}
	for i := range a.out.Roles {
		r := &a.out.Roles[i]
		if r.Resistance20 == nil {
			return
		}
		sum[r.Role] += float64(*r.Resistance20) // sets of one role lie in series
	}
	pair := func(name string, ohm float64) {
		a.out.Terminals = append(a.out.Terminals, Terminal{Pair: name, Resistance20: unit.Ohm(ohm)})
	}
	if a.three {
		a.phaseTerminals(sum, pair)
		return
	}
	m, okM := sum[Main]
	x, okX := sum[Auxiliary]
	switch {
	case okM && okX:
		pair("common-run", m)
		pair("common-start", x)
		pair("run-start", m+x)
		a.method("terminals", "three leads with a common one: main, auxiliary, and both in series, which reads highest; speed windings left out", "resistance_20c_ohm")
	case okM:
		pair("main", m)
		a.method("terminals", "the ends of the main winding", "resistance_20c_ohm")
	}
}

// phaseTerminals gives the three line pairs of a star or delta; missing phases are like phase u.
func (a *analyser) phaseTerminals(sum map[Role]float64, pair func(string, float64)) {
	if a.conn == "" || len(sum) == 0 {
		return
	}
	like := 0.0
	for _, r := range []Role{PhaseU, PhaseV, PhaseW} {
		if v, ok := sum[r]; ok && like == 0 {
			like = v
		}
	}
	r := [3]float64{}
	for i, role := range []Role{PhaseU, PhaseV, PhaseW} {
		r[i] = like
		if v, ok := sum[role]; ok {
			r[i] = v
		}
	}
	for i, name := range []string{"u-v", "v-w", "w-u"} {
		x, y, z := r[i], r[(i+1)%3], r[(i+2)%3]
		if a.conn == ConnDelta {
			pair(name, float64(DeltaPair(unit.Ohm(x), unit.Ohm(y), unit.Ohm(z))))
		} else {
			pair(name, x+y)
		}
	}
	if a.conn == ConnDelta {
		a.method("terminals", "delta: one phase parallel to the other two in series, 2/3 of a phase when equal", "resistance_20c_ohm", "nameplate.connection")
	} else {
		a.method("terminals", "star: two phases in series", "resistance_20c_ohm", "nameplate.connection")
	}
}
