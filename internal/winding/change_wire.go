package winding

import (
	"fmt"
	"math"
	"slices"
	"sort"

	"statorbook/internal/errs"
	"statorbook/internal/unit"
	"statorbook/internal/wire"
)

// turns multiplies and rounds the turns of every coil. A group as a whole gets the nearest whole
// turns; the coils share them by largest remainder.
func (c *changer) turns() {
	for i := range c.out.Scheme.CoilSets {
		set := &c.out.Scheme.CoilSets[i]
		factor := c.coilFactor(i)
		if p := set.Pattern; p != nil {
			exact := turnsPerThrow(*p)
			if c.change.Pattern != nil {
				exact = c.shared(i, exact, p)
			}
			p.Turns = c.rounded(i, set.Role, exact, factor)
			continue
		}
		c.listed(i, set, factor)
	}
}

// windable refuses turns that nobody winds. With a core the analysis afterwards would refuse them too;
// a change without a core has nothing else that stops it.
func (c *changer) windable() error {
	for i, set := range c.out.Scheme.CoilSets {
		most := 0.0
		for _, co := range set.Coils {
			most = math.Max(most, co.Turns)
		}
		if set.Pattern != nil {
			for _, turns := range set.Pattern.Turns {
				most = math.Max(most, turns)
			}
		}
		if most > MaxTurns {
			return impossible("the changed winding cannot be wound", errs.Field{Pointer: fmt.Sprintf("/scheme/coil_sets/%d", i), Code: "TURNS_OUT_OF_RANGE",
				Detail: fmt.Sprintf("the change asks for %.0f turns of a coil; at most %d are answered", most, MaxTurns), Allowed: [2]int{1, MaxTurns}, Got: fmt.Sprintf("%.0f", most)})
		}
	}
	return nil
}

// listed rounds the turns of listed coils. Coils that were alike stay alike, or the poles would differ.
func (c *changer) listed(i int, set *CoilSet, factor float64) {
	var values []float64
	for _, co := range set.Coils {
		if !slices.Contains(values, co.Turns) {
			values = append(values, co.Turns)
		}
	}
	whole := map[float64]float64{}
	for _, v := range values {
		whole[v] = c.rounded(i, set.Role, []float64{v}, factor)[0]
	}
	for k := range set.Coils {
		set.Coils[k].Turns = whole[set.Coils[k].Turns]
	}
}

// coilFactor is what the turns of each coil of a set are multiplied by: the turns in series, and
// the paths.
func (c *changer) coilFactor(i int) float64 {
	paths := float64(Paths(c.out.Scheme.CoilSets[i])) / float64(Paths(c.in.Scheme.CoilSets[i]))
	if i == 0 && paths != 1 {
		c.step("%d to %d parallel paths: turns of a coil x %.5g, metal of a conductor x %.5g", Paths(c.in.Scheme.CoilSets[i]), Paths(c.out.Scheme.CoilSets[i]), paths, 1/paths)
	}
	return c.series * c.factorRatio[i] * paths
}

// shared turns the shares of a new pattern into the turns that the old coils had in all.
func (c *changer) shared(i int, shares []float64, p *Pattern) []float64 {
	sum := 0.0
	for _, s := range shares {
		sum += s
	}
	groups := float64(p.Groups)
	if p.Groups == 0 {
		groups = float64(c.out.Scheme.Poles)
	}
	out := make([]float64, len(shares))
	for k, s := range shares {
		out[k] = TurnsOf(c.coils[i]) / groups * s / sum
	}
	return out
}

// rounded gives whole turns, at least one, and says what the rounding does to the flux.
func (c *changer) rounded(i int, role Role, turns []float64, factor float64) []float64 {
	type rest struct {
		at   int
		part float64
	}
	out := make([]float64, len(turns))
	rests := make([]rest, len(turns))
	want, have := 0.0, 0.0
	for k, t := range turns {
		x := t * factor
		out[k] = math.Max(1, math.Floor(x+1e-9))
		rests[k] = rest{k, x - out[k]}
		want += x
		have += out[k]
	}
	sort.SliceStable(rests, func(a, b int) bool { return rests[a].part > rests[b].part })
	for _, r := range rests {
		if have+0.5 > want+1e-9 {
			break
		}
		out[r.at]++
		have++
	}
	off := have/want - 1
	if math.Abs(have-want) > 1e-9 {
		c.step("%s: %.2f turns a group wound as %g: flux %+.2f %%", role, want, have, 100*(1/(1+off)-1))
	}
	if math.Abs(off) > 0.02 {
		c.out.Findings = append(c.out.Findings, errs.Finding{Code: "rounding_coarse", Severity: errs.SeverityWarning, Fields: []string{fmt.Sprintf("scheme.coil_sets[%d].turns", i)}, Found: ref(have), Expected: &errs.Expected{Value: want, Low: want * 0.98, High: want * 1.02},
			Message: fmt.Sprintf("%.2f turns of the %s winding can only be wound as %g: the density changes by %.1f %%; more parallel paths would let the turns be finer", want, role, have, 100*math.Abs(off))})
	}
	return out
}

// wires finds the wire of every set for its new metal.
func (c *changer) wires() error {
	var faults []errs.Field
	for i := range c.out.Scheme.CoilSets {
		set := &c.out.Scheme.CoilSets[i]
		old, ok, err := ConductorOf(c.in.Scheme.CoilSets[i], c.table)
		if err != nil {
			return underScheme(impossible("a wire is not known", prefixed(err, i)...))
		}
		if !ok {
			continue
		}
		leads := set.Role == Main || set.Role.IsPhase()
		paths := float64(Paths(c.in.Scheme.CoilSets[i])) / float64(Paths(*set))
		target := float64(old.Area) / (c.series * c.factorRatio[i]) * paths * c.room * c.metalRatio(set)
		if c.change.Wires != nil && leads {
			set.Wires = append([]wire.Wire(nil), c.change.Wires...)
			got, _, err := ConductorOf(*set, c.table)
			if err != nil {
				faults = append(faults, changeWireFields(err)...)
				continue
			}
			c.areaFinding(i, float64(got.Area), target)
			continue
		}
		unchanged := math.Abs(target/float64(old.Area)-1) < 1e-9 && c.change.Conductor == "" && c.change.Strands == 0 && len(c.in.Stock) == 0
		if unchanged {
			continue
		}
		if err := c.pick(i, set, target); err != nil {
			return err
		}
	}
	if len(faults) > 0 {
		return impossible("a wire of the change is not known", faults...)
	}
	return nil
}

func changeWireFields(err error) []errs.Field {
	var out []errs.Field
	for _, f := range prefixed(err, 0) {
		f.Pointer = "/change" + f.Pointer[len("/coil_sets/0"):]
		out = append(out, f)
	}
	return out
}

// metalRatio is what the area is multiplied by for another metal at equal resistance: the ratio of
// the resistivities, 1.64 from copper to aluminium.
func (c *changer) metalRatio(set *CoilSet) float64 {
	if c.change.Conductor == "" || len(set.Wires) == 0 || set.Wires[0].Conductor == c.change.Conductor {
		return 1
	}
	r := wire.Resistivity(c.change.Conductor, wire.AnnealedCopper) / wire.Resistivity(set.Wires[0].Conductor, wire.AnnealedCopper)
	c.step("%s: %s to %s at equal resistance: metal x %.4g, diameter x %.4g", set.Role, set.Wires[0].Conductor, c.change.Conductor, r, math.Sqrt(r))
	return r
}

// pick replaces the wires of a set so that they hold about the target metal in mm². A conductor of
// unlike wires keeps their proportions.
func (c *changer) pick(i int, set *CoilSet, target float64) error {
	like := set.Wires[0]
	if c.change.Conductor != "" {
		for k := range set.Wires {
			set.Wires[k].Conductor = c.change.Conductor
		}
		like.Conductor = c.change.Conductor
	}
	if len(set.Wires) > 1 && c.change.Strands == 0 && len(c.in.Stock) == 0 {
		return c.pickMixed(i, set, target)
	}
	strands := max(like.Strands, 1)
	if len(set.Wires) > 1 {
		strands = 0
		for _, w := range set.Wires {
			strands += max(w.Strands, 1)
		}
	}
	free := c.change.Strands == 0
	if !free {
		strands = c.change.Strands
	}
	best, area, ok := c.nearestWire(like, target, strands, free)
	if !ok {
		c.out.Findings = append(c.out.Findings, errs.Finding{Code: "no_wire_near", Severity: errs.SeverityWarning, Fields: []string{fmt.Sprintf("scheme.coil_sets[%d].wires", i)}, Found: &target,
			Message: fmt.Sprintf("no wire at hand makes %.4g mm² for the %s winding; the old wire stands in the scheme and must be replaced", target, set.Role)})
		return nil
	}
	set.Wires = []wire.Wire{best}
	c.step("%s: %.4g mm² of metal asked, %s taken (%.4g mm²)", set.Role, target, wireName(best), area)
	c.areaFinding(i, area, target)
	return nil
}

// pickMixed scales each of several unlike wires by itself.
func (c *changer) pickMixed(i int, set *CoilSet, target float64) error {
	now, _, err := ConductorOf(*set, c.table)
	if err != nil {
		return underScheme(impossible("a wire is not known", prefixed(err, i)...))
	}
	scale := target / float64(now.Area)
	total := 0.0
	for k, w := range set.Wires {
		r, err := c.table.Resolve(w)
		if err != nil {
			return err
		}
		best, area, ok := c.nearestWire(w, float64(r.TotalArea)*scale, r.Strands, false)
		if ok {
			set.Wires[k] = best
			total += area
		}
	}
	c.areaFinding(i, total, target)
	return nil
}

// nearestWire finds the wire whose metal is nearest to the target: from stock, else from the series of the old wire; a
// bare wire is taken to the micrometre. With free strands a neighbour count is tried at a small price.
func (c *changer) nearestWire(like wire.Wire, target float64, strands int, free bool) (best wire.Wire, area float64, ok bool) {
	from, to := strands, strands
	if free {
		from, to = 1, min(strands+2, wire.MaxStrands)
	}
	cost := math.Inf(1)
	try := func(w wire.Wire, n int) {
		w.Strands = n
		r, err := c.table.Resolve(w)
		if err != nil {
			return
		}
		v := math.Abs(math.Log(float64(r.TotalArea)/target)) + 0.02*math.Abs(float64(n-strands))
		if free && n == 1 && r.Bare > thickestEasy && strands > 1 {
			return
		}
		if v < cost-1e-12 {
			cost, best, area, ok = v, w, float64(r.TotalArea), true
		}
	}
	for n := from; n <= to; n++ {
		switch {
		case len(c.in.Stock) > 0:
			for _, w := range c.in.Stock {
				if w.Conductor == like.Conductor {
					try(w, n)
				}
			}
		case like.System == wire.Bare:
			w := like
			d := math.Round(1000*float64(wire.DiameterOf(unit.SquareMillimetre(target/float64(n))))) / 1000
			w.Diameter = unit.Of(d)
			try(w, n)
		default:
			for _, s := range c.table.Sizes(like.System) {
				w := like
				w.Size = s.Size
				try(w, n)
			}
		}
	}
	return best, area, ok
}

// thickestEasy is the bare diameter in mm above which small coils are wound with more strands in
// hand (common practice, no source).
const thickestEasy unit.Millimetre = 1.25

// areaFinding says when the wire at hand is not what the change asks for.
func (c *changer) areaFinding(i int, got, want float64) {
	off := got/want - 1
	if math.Abs(off) <= 0.03 {
		return
	}
	severity, what := errs.SeverityNote, "more"
	if off < 0 {
		severity, what = errs.SeverityWarning, "less"
	}
	c.out.Findings = append(c.out.Findings, errs.Finding{Code: "wire_off", Severity: severity, Fields: []string{fmt.Sprintf("scheme.coil_sets[%d].wires", i)}, Found: &got, Expected: &errs.Expected{Value: want, Low: want * 0.97, High: want * 1.03},
		Message: fmt.Sprintf("the wire of the %s winding holds %.1f %% %s metal than the change asks for", c.out.Scheme.CoilSets[i].Role, 100*math.Abs(off), what)})
}

// wireName words a wire.
func wireName(w wire.Wire) string {
	name := fmt.Sprintf("%s %s", w.System, w.Size)
	if w.System == wire.Bare {
		name = fmt.Sprintf("%g mm bare", w.Diameter.Value)
	}
	if w.Strands > 1 {
		name = fmt.Sprintf("%d x %s", w.Strands, name)
	}
	return name
}
