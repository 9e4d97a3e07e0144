package wire

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"statorbook/internal/errs"
	"statorbook/internal/unit"
)

// MaxReadings is the most diameter readings of one scrap.
const MaxReadings = 50

// WireProbability is one wire that a scrap may be.
type WireProbability struct {
	Wire        Wire
	Probability float64
}

// Identification is what a scrap may be. The probabilities add up to 1; no candidates means that
// nothing in the tables explains the readings, and a finding says so.
type Identification struct {
	Candidates  []WireProbability
	Inseparable [][2]string // ids of sizes whose tolerance bands overlap, so that no measurement tells them apart
	SettleBy    []string
	Findings    []errs.Finding
}

// hypothesis is one size in one state.
type hypothesis struct {
	size      *Size
	cover     *Cover // nil unless enamelled
	state     state
	metal     Conductor
	tolerance float64 // mm
	logPrior  float64
}

// verdict is what the readings say of one hypothesis.
type verdict struct {
	slot int     // see slotOf
	log  float64 // log posterior, not normalised
}

// slotOf numbers size, build and metal, so that the states of one wire add up in one place.
func slotOf(size, build int, metal Conductor) int {
	slot := (size*(noOfBuilds+1) + build) * 2
	if metal == Aluminium {
		slot++
	}
	return slot
}

const (
	aluminiumShare = 0.03  // prior of aluminium where resistance or mass can tell; common practice, no source
	tailShare      = 0.03  // share of readings with three times the noise: slips and dirt
	poorFit        = 9.0   // squared deviations per reading kind that call for a finding
	noFit          = 25.0  // and for no answer
	hopeless       = 500.0 // squared deviations from which a hypothesis is not kept
	keepMass       = 0.9995
)

// Identify says which wires a scrap may be, over all systems and builds.
//
// It is a Bayesian sum over size, build, state (bare, over the enamel, burnt) and metal. Before any
// reading each system is equally likely and, within a system, every ratio of diameters is (so a dense
// series gains nothing by being dense). Readings are normal about what the hypothesis expects, with
// the instrument, conductor tolerance, stretch, enamel spread and burning in the variance, and 3 %
// of them with three times the noise. Errors are *errs.Error of KindImpossible with JSON pointers.
func (t *Table) Identify(s Scrap) (Identification, error) {
	if err := s.check(); err != nil {
		return Identification{}, err
	}
	p := s.pool()
	all, best := t.judge(&s, &p)
	id := Identification{Findings: s.findings(&p)}
	kinds := 0
	for _, given := range []bool{p.given, s.Resistance != nil, s.Mass != nil} {
		if given {
			kinds++
		}
	}
	if best > noFit*float64(kinds) {
		id.Findings = append(id.Findings, finding("fits_no_size", errs.SeverityWarning,
			fmt.Sprintf("no listed size explains the readings: the nearest is %.0f standard deviations away. Check unit, decimal point and strands", math.Sqrt(best)), "readings"))
		id.SettleBy = []string{"measure again with a micrometer of 0.001 mm, at several places and in two directions"}
		return id, nil
	}
	if best > poorFit*float64(kinds) {
		id.Findings = append(id.Findings, finding("poor_fit", errs.SeverityWarning,
			fmt.Sprintf("even the best size is %.1f standard deviations away: a slip, a wire of no listed size, or stretched wire", math.Sqrt(best)), "readings"))
	}
	id.Candidates = t.candidates(all, &s)
	id.Inseparable = t.inseparable(id.Candidates)
	id.SettleBy = t.settleBy(&id, &s, &p)
	return id, nil
}

// check refuses scraps that cannot be judged.
func (s *Scrap) check() error {
	var bad []errs.Field
	add := func(pointer, detail string, got any) {
		bad = append(bad, errs.Field{Pointer: pointer, Code: "OUT_OF_RANGE", Detail: detail, Got: shorten(fmt.Sprint(got))})
	}
	positive := func(pointer string, m unit.Measured, high float64) {
		if !(m.Value > 0 && m.Value <= high) {
			add(pointer, fmt.Sprintf("must be above 0 and at most %g", high), m.Value)
		}
	}
	for i, m := range s.Readings {
		if !inRange(unit.Millimetre(m.Value)) {
			add(fmt.Sprintf("/readings/%d/diameter_mm", i), fmt.Sprintf("a wire diameter is %v to %v mm", MinDiameter, MaxDiameter), m.Value)
		}
	}
	if len(s.Readings) > MaxReadings {
		add("/readings", fmt.Sprintf("at most %d readings", MaxReadings), len(s.Readings))
	}
	if r := s.Resistance; r != nil {
		positive("/resistance/ohm", r.Ohm, 1e6)
		positive("/resistance/length_m", r.Length, 1e6)
		if r.Temperature.Given && !(r.Temperature.Value >= -50 && r.Temperature.Value <= 300) {
			add("/resistance/temperature_c", "must be -50 to 300", r.Temperature.Value)
		}
		if r.Strands < 0 || r.Strands > MaxStrands {
			add("/resistance/strands", "strands in hand must be 1 to 8", r.Strands)
		}
	}
	if m := s.Mass; m != nil {
		positive("/mass/g", m.Gram, 1e6)
		positive("/mass/length_m", m.Length, 1e6)
		if m.Strands < 0 || m.Strands > MaxStrands {
			add("/mass/strands", "strands in hand must be 1 to 8", m.Strands)
		}
	}
	if bad == nil && len(s.Readings) == 0 && s.Resistance == nil && s.Mass == nil {
		add("/readings", "give a diameter reading, a resistance or a mass of a measured length", "")
	}
	if bad == nil {
		return nil
	}
	return errs.New(errs.KindImpossible, bad[0].Detail, bad...)
}

// judge scores every size in every state, build and metal that the scrap may be. best is the smallest
// sum of squared deviations.
func (t *Table) judge(s *Scrap, p *pooled) (all []verdict, best float64) {
	metals := s.metals()
	states := s.stateWeights()
	best = math.Inf(1)
	all = make([]verdict, 0, 64)
	for i := range t.sizes {
		h := hypothesis{size: &t.sizes[i]}
		h.tolerance = float64(h.size.tolerance())
		if h.tolerance == 0 {
			h.tolerance = looseTolerance * float64(h.size.Diameter)
		}
		try := func(build int, weight float64) {
			h.logPrior = math.Log(weight)
			log, chi := h.score(s, p)
			best = min(best, chi)
			if chi < hopeless {
				all = append(all, verdict{slotOf(i, build, h.metal), log})
			}
		}
		for _, m := range metals {
			h.metal = m.metal
			for st, share := range states {
				h.state, h.cover = state(st), nil
				switch weight := m.share * t.weights[i] * share; {
				case weight == 0:
				case h.state == stateEnamelled:
					h.eachBuild(weight, try)
				default:
					try(0, weight)
				}
			}
		}
	}
	return all, best
}

// metals lists the metals that a scrap may be of. A diameter alone says nothing of the metal.
func (s *Scrap) metals() []struct {
	metal Conductor
	share float64
} {
	type one = struct {
		metal Conductor
		share float64
	}
	switch {
	case s.Conductor != "":
		return []one{{s.Conductor, 1}}
	case s.Resistance != nil || s.Mass != nil:
		return []one{{Copper, 1 - aluminiumShare}, {Aluminium, aluminiumShare}}
	}
	return []one{{Copper, 1}}
}

// eachBuild tries the builds of the size whose overall diameter is published, equally likely.
func (h *hypothesis) eachBuild(weight float64, try func(build int, weight float64)) {
	known := func(c *Cover) bool { return c.OverallMax > h.size.Diameter }
	n := 0
	for i := range h.size.Covers {
		if known(&h.size.Covers[i]) {
			n++
		}
	}
	for i := range h.size.Covers {
		if h.cover = &h.size.Covers[i]; known(h.cover) {
			try(buildNumber(h.cover.Build), weight/float64(n))
		}
	}
}

// score returns the log posterior of a hypothesis (not normalised) and its sum of squared deviations.
func (h *hypothesis) score(s *Scrap, p *pooled) (log, chi float64) {
	log = h.logPrior
	take := func(z, logWidth float64) {
		chi += z * z
		if chi < hopeless {
			// 97 % with the noise, 3 % with three times of it.
			log += math.Log((1-tailShare)*math.Exp(-z*z/2)+tailShare/3*math.Exp(-z*z/18)) - logWidth
		}
	}
	if p.given {
		mean, variance := h.expected()
		width := math.Sqrt(variance + p.variance)
		take((p.mean-mean)/width, math.Log(width))
	}
	if s.Resistance != nil && chi < hopeless {
		take(h.ohms(s.Resistance))
	}
	if s.Mass != nil && chi < hopeless {
		take(h.mass(s.Mass))
	}
	return log, chi
}

// candidates normalises, puts the states of one wire together, and drops the least likely wires that add up to 0.05 %.
func (t *Table) candidates(all []verdict, s *Scrap) []WireProbability {
	top := math.Inf(-1)
	for i := range all {
		top = max(top, all[i].log)
	}
	sums := make([]float64, slotOf(len(t.sizes), 0, Copper))
	var slots []int
	total := 0.0
	for i := range all {
		p := math.Exp(all[i].log - top)
		if p == 0 {
			continue
		}
		if sums[all[i].slot] == 0 {
			slots = append(slots, all[i].slot)
		}
		sums[all[i].slot] += p
		total += p
	}
	slices.SortFunc(slots, func(a, b int) int { return cmp.Or(cmp.Compare(sums[b], sums[a]), cmp.Compare(a, b)) })
	kept, n := 0.0, 0
	for n < len(slots) && kept < keepMass*total {
		kept += sums[slots[n]]
		n++
	}
	out := make([]WireProbability, 0, n)
	for _, slot := range slots[:n] {
		index, build, metal := slot/2/(noOfBuilds+1), slot/2%(noOfBuilds+1), Copper
		if slot%2 == 1 {
			metal = Aluminium
		}
		w := Wire{System: t.sizes[index].System, Size: t.sizes[index].Size, Diameter: t.nominal(index), Conductor: metal, Strands: s.strands()}
		if build > 0 {
			w.Build = Builds()[build-1]
		}
		out = append(out, WireProbability{Wire: w, Probability: sums[slot] / kept})
	}
	return out
}

// strands returns the strand count that was told with resistance or mass, 1 if none was.
func (s *Scrap) strands() int {
	n := 1
	if s.Resistance != nil {
		n = max(n, s.Resistance.Strands)
	}
	if s.Mass != nil {
		n = max(n, s.Mass.Strands)
	}
	return n
}
