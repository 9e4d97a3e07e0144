package simworld

import (
	"math"

	"statorbook/internal/catalog"
	"statorbook/internal/stator"
	"statorbook/internal/unit"
	"statorbook/internal/winding"
	"statorbook/internal/wire"
)

// scale is what weighs and measures a winding for its record.
type scale struct {
	mass, ohms     float64 // log sd of a weighing, of a resistance reading
	states         []string
	noMass, noOhms float64 // chances that a set is not weighed, not measured
	cold           span    // °C at the time of the resistance reading
}

// scheme writes the coil sets of a design down, with what the scale shows.
func (g *design) scheme(d dice, s scale) winding.Scheme {
	state := pick(d, s.states...)
	temperature := read(d.between(s.cold.low, s.cold.high), 0.5)
	weighed, measured := !d.chance(s.noMass), !d.chance(s.noOhms)
	out := winding.Scheme{Poles: g.poles}
	for i := range g.sets {
		from := &g.sets[i]
		to := winding.CoilSet{Role: from.role, Ring: from.ring, ParallelPaths: from.paths, Wires: []wire.Wire{from.wire.wire}, LeadPair: leadPair(from.role), Joining: joining(from, g.poles)}
		p := from.pattern
		to.Pattern = &p
		if weighed {
			to.Mass, to.MassState = from.weigh(d, s.mass, state), state
		}
		if measured {
			to.Resistance = significant(from.ohms*wire.TemperatureFactor(from.wire.wire.Conductor, unit.Celsius(temperature.Value))*d.firm(s.ohms), 3)
			to.Temperature = temperature
		}
		out.CoilSets = append(out.CoilSets, to)
	}
	return out
}

// weigh is the mass of a set in g as the scale shows it in its state: enamel, varnish and leads
// weigh too.
func (s *set) weigh(d dice, sd float64, state string) unit.Measured {
	m := s.mass
	switch state {
	case "enamelled":
		m *= 1 + s.wire.enamelShare()*d.firm(0.12)
	case "varnished":
		m *= 1 + s.wire.enamelShare() + d.between(0.02, 0.06)
	case "with_leads":
		m *= 1 + s.wire.enamelShare() + d.between(0.01, 0.035)
	}
	m *= d.firm(sd)
	if m < 200 {
		return read(m, 0.5)
	}
	return read(m, 1)
}

// leadPair names the ends between which the resistance of a role is read.
func leadPair(r winding.Role) string {
	switch r {
	case winding.Main:
		return "R-C"
	case winding.Auxiliary:
		return "S-C"
	case winding.PhaseU:
		return "U1-U2"
	case winding.PhaseV:
		return "V1-V2"
	}
	return "W1-W2"
}

// joining is the rule of the trade: whole-coil groups of alternating sense are joined end to end,
// half-coil (consequent) groups end to start.
func joining(s *set, poles int) string {
	if s.pattern.Groups == poles/2 && s.pattern.Kind != winding.Lap {
		return "end_to_start"
	}
	return "end_to_end"
}

// nameplate writes the plate: everything, rounded as plates are.
func (g *design) nameplate(d dice) winding.Nameplate {
	n := winding.Nameplate{
		Voltage: typed(whole(g.supply.volts)), Frequency: typed(whole(g.supply.hertz)), Power: typed(whole(g.power)),
		Current: significant(g.line, 2), Speed: read(g.speed, pick(d, 5.0, 10, 10)), Poles: g.poles,
		InsulationClass: []string{"B", "F", "E"}[d.index(0.5, 0.35, 0.15)], Duty: "S1", Connection: g.supply.connection,
	}
	if g.line >= 1 {
		n.Current = significant(g.line, 3)
	}
	if g.capacitorUF > 0 {
		n.CapacitorUF = unit.Measured{Given: true, Value: g.capacitorUF, Text: plain(g.capacitorUF)}
		n.CapacitorV = typed(whole(g.capacitorV))
	}
	switch g.lam.kind.application {
	case "ceiling_fan":
		sweeps := []float64{900, 1050, 1200, 1400}
		n.SweepMM = typed(whole(sweeps[min(3, int(math.Max(0, (g.power-40)/15)))]))
	case "table_fan":
		n.SweepMM = typed(whole(pick(d, 300.0, 400.0)))
	case "exhaust_fan":
		n.SweepMM = typed(whole(pick(d, 150.0, 225.0, 300.0, 380.0)))
	case "grinder":
		n.Duty = pick(d, "S1", "S2")
	case "washing_machine":
		n.Duty = pick(d, "S1", "S3")
	}
	return n
}

// record makes the winding record of a design; the caller adds ids, provenance and clothing.
func (g *design) record(d dice, core stator.Core, s scale) catalog.Winding {
	return catalog.Winding{
		CoreAsMeasured: &core, MotorType: g.motorType, Nameplate: g.nameplate(d), Scheme: g.scheme(d, s),
	}
}

// conductorArea is the metal of one turn in mm², strands times paths, of the main winding or phase u.
func (g *design) conductorArea() float64 {
	return g.sets[0].wire.area * float64(g.sets[0].paths)
}
