package simworld

import (
	"math"

	"statorbook/internal/unit"
	"statorbook/internal/winding"
)

// Chances that a figure of a plate that is still there cannot be read. Voltage and frequency are
// stamped largest.
var plateMiss = []struct {
	at   func(*winding.Nameplate) *unit.Measured
	miss float64
}{
	{func(n *winding.Nameplate) *unit.Measured { return &n.Voltage }, 0.12},
	{func(n *winding.Nameplate) *unit.Measured { return &n.Frequency }, 0.12},
	{func(n *winding.Nameplate) *unit.Measured { return &n.Power }, 0.18},
	{func(n *winding.Nameplate) *unit.Measured { return &n.Current }, 0.2},
	{func(n *winding.Nameplate) *unit.Measured { return &n.Speed }, 0.25},
	{func(n *winding.Nameplate) *unit.Measured { return &n.CapacitorUF }, 0.3},
	{func(n *winding.Nameplate) *unit.Measured { return &n.CapacitorV }, 0.4},
	{func(n *winding.Nameplate) *unit.Measured { return &n.SweepMM }, 0.3},
}

// plate is what can be read of the plate of one machine of a kind; nil when it is gone and nobody
// counted the poles either.
func (w *World) plate(d dice, exact winding.Nameplate) *winding.Nameplate {
	n := exact
	n.Duty, n.SpeedTaps = "", 0
	if d.chance(w.c.PlateLost) {
		if !d.chance(0.5) { // poles from the coil groups of the burnt winding, capacitor from its own label
			return nil
		}
		n = winding.Nameplate{Poles: exact.Poles}
		if d.chance(0.4) {
			n.CapacitorUF = exact.CapacitorUF
		}
		return &n
	}
	if n.Current.Given {
		n.Current = significant(n.Current.Value*d.firm(0.03), 2) // another batch, another plate
	}
	if n.Speed.Given {
		n.Speed = read(n.Speed.Value+d.normal(0.004*n.Speed.Value), 5)
	}
	if n.CapacitorUF.Given && d.chance(0.08) {
		n.CapacitorUF = typed(plain(pick(d, runCapacitors...))) // replaced by what was at hand
	}
	for _, f := range plateMiss {
		at := f.at(&n)
		switch {
		case !at.Given || d.chance(f.miss):
			*at = unit.Measured{}
		case d.chance(w.c.PlateError):
			*at, _ = blunder(d, *at)
		}
	}
	if d.chance(0.35) {
		n.InsulationClass = ""
	}
	if d.chance(0.3) {
		n.Connection = ""
	}
	if d.chance(0.25) {
		n.Poles = 0
	}
	return &n
}

// remains is what was found in the core; nil if nothing.
func (w *World) remains(d dice, g *design) *Remains {
	var r Remains
	if d.chance(w.c.Scrap) {
		r.Wires = append(r.Wires, w.scrap(d, g, 0))
		if len(g.sets) == 2 && d.chance(0.35) {
			r.Wires = append(r.Wires, w.scrap(d, g, 1))
		}
	}
	if d.chance(0.12) {
		r.Coils = append(r.Coils, count(d, g))
	}
	if d.chance(w.c.Copper) {
		w.weighRemains(d, g, &r)
	}
	if len(r.Wires)+len(r.Coils) == 0 && !r.CopperMain.Given && !r.CopperAuxiliary.Given && !r.CopperTotal.Given {
		return nil
	}
	return &r
}

// scrap is a piece of wire of a set as somebody measured it. Burnt copper has scaled and stretched.
func (w *World) scrap(d dice, g *design, i int) Scrap {
	s := &g.sets[i]
	out := Scrap{Coating: "bare", Condition: "clean"}
	v := s.wire.bare
	switch d.index(0.4, 0.35, 0.25) {
	case 1:
		out.Coating = "over_enamel"
		v += (s.wire.overall - s.wire.bare) * d.between(0.72, 1) // the table gives the largest
	case 2:
		out.Condition = "burnt"
		v *= 1 - math.Max(0, w.c.Burnt*(1+d.normal(0.6)))
	}
	sd, step := 0.004, 0.01 // micrometer
	if d.chance(0.45) {
		sd, step = 0.012, pick(d, 0.01, 0.02, 0.05)
	}
	out.Diameter = read(math.Max(v+d.normal(sd), step), step)
	if d.chance(0.4) {
		out.Coating, out.Condition = "unknown", "unknown"
	}
	if d.chance(0.6) {
		out.Role = s.role
	}
	if d.chance(0.5) {
		out.Strands = s.wire.strands
	}
	return out
}

// count is one coil that was cut and counted.
func count(d dice, g *design) Count {
	s := &g.sets[d.r.IntN(len(g.sets))]
	turns := pick(d, s.pattern.Turns...)
	if turns > 60 && d.chance(0.5) {
		turns += math.Round(d.normal(0.01 * turns))
	}
	c := Count{Turns: typed(whole(turns))}
	if d.chance(0.7) {
		c.Role = s.role
	}
	return c
}

// weighRemains weighs the copper that came out. A quarter of the piles has lost some; burnt copper
// carries a little ash.
func (w *World) weighRemains(d dice, g *design, r *Remains) {
	kept := 1.0
	if d.chance(0.25) {
		kept = d.between(0.6, 0.96)
	}
	pile := func(m float64) unit.Measured { return read(m*kept*d.firm(0.02), 1) }
	total := 0.0
	for i := range g.sets {
		total += g.sets[i].mass
	}
	if g.lam.kind.phases == 1 && d.chance(0.35) {
		r.CopperMain, r.CopperAuxiliary = pile(g.sets[0].mass), pile(g.sets[1].mass)
		return
	}
	r.CopperTotal = pile(total)
}
