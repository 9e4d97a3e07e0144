package match

import (
	"fmt"
	"math"

	"statorbook/internal/errs"
	"statorbook/internal/unit"
	"statorbook/internal/winding"
	"statorbook/internal/wire"
)

// How far what was found in a core may lie from a proposal before the two disagree: beyond the
// proposal's own range by this ratio. Common practice, no source: one gauge is 10 to 12 % of a
// diameter, coils of a group differ by their pitch, and copper gets lost while stripping.
const (
	disagreeDiameter = 1.15
	disagreeTurns    = 1.25
	disagreeMass     = 1.6
)

// Disagreements names what was found in the core and fits none of the proposals: a slip, a scrap of
// another machine, or a winding that is not among them. The answer stands beside it, not on it.
func Disagreements(r *Remains, proposals []Proposal, t *wire.Table) []errs.Finding {
	if r == nil || len(proposals) == 0 {
		return nil
	}
	var out []errs.Finding
	for i := range r.Wires {
		if w := &r.Wires[i]; usable(w.Diameter) {
			near := nearest{x: w.Diameter.Value}
			eachSet(proposals, w.Role, func(s *ProposedSet) { near.wires(s.Wires, w.Coating, t) })
			out = near.tell(fmt.Sprintf("remains.wires[%d].diameter_mm", i), "a wire diameter", "mm", disagreeDiameter, out)
		}
	}
	for i := range r.Coils {
		if c := &r.Coils[i]; usable(c.Turns) {
			near := nearest{x: c.Turns.Value}
			eachSet(proposals, c.Role, func(s *ProposedSet) {
				for _, turns := range s.TurnsPerCoil {
					near.add(turns)
				}
			})
			out = near.tell(fmt.Sprintf("remains.coils[%d].turns", i), "a coil", "turns", disagreeTurns, out)
		}
	}
	for _, m := range []struct {
		name string
		m    unit.Measured
		role winding.Role
	}{{"main", r.CopperMain, winding.Main}, {"auxiliary", r.CopperAuxiliary, winding.Auxiliary}, {"total", r.CopperTotal, ""}} {
		if usable(m.m) {
			near := nearest{x: m.m.Value}
			for i := range proposals {
				near.add(massOf(proposals[i:i+1], m.role))
			}
			out = near.tell(massField+m.name, "a copper mass", "g", disagreeMass, out)
		}
	}
	return out
}

// massOf sums the masses of the sets that a role names.
func massOf(proposals []Proposal, role winding.Role) (sum unit.Range) {
	eachSet(proposals, role, func(s *ProposedSet) {
		sum = unit.Range{P05: sum.P05 + s.Mass.P05, P50: sum.P50 + s.Mass.P50, P95: sum.P95 + s.Mass.P95}
	})
	return sum
}

// eachSet visits the sets of the proposals that a role names; "" is any.
func eachSet(proposals []Proposal, role winding.Role, visit func(*ProposedSet)) {
	for i := range proposals {
		for k := range proposals[i].CoilSets {
			if s := &proposals[i].CoilSets[k]; role == "" || s.Role == role {
				visit(s)
			}
		}
	}
}

// nearest keeps the range that is nearest to x, by how many times x lies beyond it.
type nearest struct {
	x     float64
	to    unit.Range
	ratio float64
	seen  bool
}

func (n *nearest) add(r unit.Range) {
	if !(r.P05 > 0) || !(r.P95 >= r.P05) {
		return
	}
	ratio := math.Max(1, math.Max(r.P05/n.x, n.x/r.P95))
	if !n.seen || ratio < n.ratio {
		n.to, n.ratio, n.seen = r, ratio, true
	}
}

// tell appends a finding if x is further from the nearest range than the ratio.
func (n *nearest) tell(field, what, in string, ratio float64, out []errs.Finding) []errs.Finding {
	if !n.seen || n.ratio <= ratio {
		return out
	}
	return append(out, errs.Finding{
		Code: "remains_disagree", Severity: errs.SeverityWarning, Fields: []string{field}, Found: &n.x, Expected: &errs.Expected{Value: n.to.P50, Low: n.to.P05, High: n.to.P95},
		Message: fmt.Sprintf("%s of %.4g %s fits none of the proposals, of which the nearest has %.4g %[3]s: read it again, and ask whether it belongs to this winding; do not rely on the proposals before that is settled", what, n.x, in, n.to.P50),
	})
}

// wires adds the diameters that a scrap of these wires may show: bare, over the enamel, or either.
func (n *nearest) wires(list []wire.Wire, coating string, t *wire.Table) {
	for _, w := range list {
		r, err := t.Resolve(w)
		if err != nil {
			continue
		}
		thin, thick := float64(r.Bare), float64(r.Bare)
		if coating != "bare" {
			thick = math.Max(thick*1.06, float64(r.Overall)) // a build that is not known adds a few per cent
		}
		n.add(unit.Range{P05: thin, P50: float64(r.Bare), P95: thick})
	}
}
