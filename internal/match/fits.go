package match

import (
	"fmt"
	"slices"

	"statorbook/internal/errs"
	"statorbook/internal/unit"
	"statorbook/internal/winding"
	"statorbook/internal/wire"
)

// equalEvidence is how far apart the probabilities of two proposals may be and still say nothing about which
// of them is right: the calibration error of the first proposal's probability (0.01 to 0.04 on simulated
// worlds of our own).
const equalEvidence = 0.02

// made is a proposal with the box that it came from.
type made struct {
	Proposal
	box  *box
	fits bool
}

// fits tells whether hands can lay the wire: the fullest slot within the usual fill, and every wire thinner than the
// slot opening. What is not known does not speak against it.
func (p *Proposal) fits() bool {
	return p.squareFill() <= winding.HandFill().High && !slices.ContainsFunc(p.Findings, func(f errs.Finding) bool {
		return f.Code == winding.CodeMouth && f.Severity == errs.SeverityWarning
	})
}

// squareFill is the fill of the fullest slot, squares of the overall diameter; 0 if it is not known.
func (p *Proposal) squareFill() float64 {
	most := 0.0
	for i := range p.CoilSets {
		if f := p.CoilSets[i].Fill; f != nil {
			most = max(most, f.Square)
		}
	}
	return most
}

// inOrder sorts proposals by their probability, and of two with equal evidence puts the one that can be laid
// first. Then it counts anew what each covers that those before it do not.
func inOrder(list []made, pts []point) {
	slices.SortStableFunc(list, func(a, b made) int {
		switch {
		case a.Probability > b.Probability:
			return -1
		case a.Probability < b.Probability:
			return 1
		}
		return 0
	})
	for i := 1; i < len(list); i++ {
		for k := i; k > 0 && list[k].fits && !list[k-1].fits && list[k-1].Probability-list[k].Probability <= equalEvidence; k-- {
			list[k], list[k-1] = list[k-1], list[k]
		}
	}
	covered := make([]bool, len(pts))
	for i := range list {
		sum := 0.0
		for k := range pts {
			if !covered[k] && list[i].box.holds(&pts[k]) {
				covered[k] = true
				sum += pts[k].w
			}
		}
		list[i].Probability = min(sum, 1)
	}
}

// tellFill adds to a finding about too full a slot what a bench needs: whether the slot was measured, and
// which wire would lie in it.
func (m *maker) tellFill(a *winding.Analysis) {
	full := a.Fullest()
	if full == nil || !(full.Fill.Square > winding.HandFill().High) {
		return
	}
	at := slices.IndexFunc(m.out.Findings, func(f errs.Finding) bool { return f.Code == winding.CodeSquareFill })
	if at < 0 {
		return
	}
	f := &m.out.Findings[at]
	area := dArea
	if full.Ring == winding.RingBack {
		area = dArea2
	}
	if m.p.at[area] == 0 {
		f.Message += "; the slot area was not measured, but taken from the catalogue or reckoned from other dimensions"
	}
	for i := range m.out.Scheme.CoilSets {
		set := &m.out.Scheme.CoilSets[i]
		if (set.Ring == winding.RingBack) != (full.Ring == winding.RingBack) {
			continue
		}
		if w, ok := m.thickest(set, winding.HandFill().High/full.Fill.Square); ok {
			f.Message += fmt.Sprintf("; of the %s winding's sizes %s %s is the thickest that hands could lay with as many turns", set.Role, w.System, w.Size)
		}
	}
	f.Message += ": measure the slot again, and never fit less metal than there was"
}

// thickest finds the size of a set's own system whose squares over the enamel take at most a share of the room
// that the set's wires take.
func (m *maker) thickest(set *winding.CoilSet, share float64) (wire.Wire, bool) {
	c, ok, err := winding.ConductorOf(*set, m.x.wires)
	if err != nil || !ok || len(set.Wires) != 1 || set.Wires[0].System == wire.Bare {
		return wire.Wire{}, false
	}
	best, found := wire.Wire{}, false
	thick := unit.Millimetre(0)
	for _, s := range m.x.wires.Sizes(set.Wires[0].System) {
		w := set.Wires[0]
		w.Size, w.Diameter = s.Size, unit.Measured{}
		r, err := m.x.wires.Resolve(w)
		if err != nil || r.Overall == 0 || r.Overall <= thick {
			continue
		}
		if float64(r.Strands)*float64(r.Overall*r.Overall) <= share*float64(c.Square) {
			best, thick, found = w, r.Overall, true
		}
	}
	return best, found
}

// opening is the slot opening of a ring in mm, as measured or as the catalogue has it for the proposal's
// lamination; ok is false where it was only reckoned.
func (m *maker) opening(ring winding.RingName) (mm unit.Millimetre, ok bool) {
	d := dOpening
	if ring == winding.RingBack {
		d = dOpening2
	}
	if r, given := m.p.value(d); given {
		return unit.Millimetre(r.x), true
	}
	if m.lam < 0 || !m.x.lam.has(m.lam, d) {
		return 0, false
	}
	return unit.Millimetre(m.x.lam.value(m.lam, d)), true
}

// passing gives the first of some answers whose wire passes an opening with the usual spare room, the first of all
// where none does.
func passing(near []wire.Near, opening unit.Millimetre) wire.Near {
	for _, n := range near {
		if max(n.Resolved.Overall, n.Resolved.Bare)+winding.MouthSpare <= opening {
			return n
		}
	}
	return near[0]
}
