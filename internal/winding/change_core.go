package winding

import (
	"fmt"
	"math"

	"statorbook/internal/errs"
	"statorbook/internal/stator"
	"statorbook/internal/unit"
)

// otherCore scales to another core of the same slots and poles. At equal gap density the flux goes
// as gap diameter × stack; where teeth or back iron are smaller in proportion, they set it.
func (c *changer) otherCore() {
	old, next := *c.in.Core, *c.change.Core
	if next.Slots == 0 {
		next.Slots = old.Slots
	}
	if next.RotorPosition == "" {
		next.RotorPosition = old.RotorPosition
	}
	if c.change.StackLength.Given {
		next.StackLength = c.change.StackLength
	}
	gap := next.GapDiameter.Value * next.StackLength.Value / (old.GapDiameter.Value * old.StackLength.Value)
	flux, governs := gap, "gap diameter x stack"
	low, high := gap, gap
	for _, r := range ironRatios(old, next) {
		low, high = min(low, r.ratio), max(high, r.ratio)
		if r.ratio < flux*(1-1e-9) {
			flux, governs = r.ratio, r.name
		}
	}
	c.series /= flux
	c.step("another core: flux x %.5g by %s, turns in series x %.5g", flux, governs, 1/flux)
	if high/low > 1.02 {
		c.out.Findings = append(c.out.Findings, errs.Finding{Code: "core_proportions", Severity: errs.SeverityNote, Fields: []string{"change.core"}, Found: ref(flux), Expected: &errs.Expected{Value: flux, Low: low, High: high},
			Message: fmt.Sprintf("gap, teeth and back iron of the two cores ask for flux ratios from %.3g to %.3g; the smallest is taken, and turns are uncertain by as much", low, high)})
	}
	if gap < 0.7 || gap > 1.3 {
		c.out.Findings = append(c.out.Findings, errs.Finding{Code: "scaled_far", Severity: errs.SeverityWarning, Fields: []string{"change.core.gap_diameter_mm", "change.core.stack_length_mm"}, Found: ref(gap), Expected: &errs.Expected{Value: 1, Low: 0.7, High: 1.3},
			Message: fmt.Sprintf("the other core has %.2f times the gap diameter x stack; scaling is trusted within about 30 %% (common practice)", gap)})
	}
	if r, ok := slotRatio(old, next); ok {
		c.room = r
		c.step("slot area x %.5g: metal of a conductor x %.5g / turns", r, r)
	} else {
		c.out.Findings = append(c.out.Findings, errs.Finding{Code: "slot_area_unknown", Severity: errs.SeverityWarning, Fields: []string{"core.slot_area_mm2", "change.core.slot_area_mm2"}, Message: "the slot areas of both cores are not known: the wire is scaled by turns alone, and may not fit or leave room"})
	}
	c.core = next
	c.out.Findings = append(c.out.Findings, ratingFinding("the other core"))
}

// partRatio is a part of the iron, after over before.
type partRatio struct {
	name  string
	ratio float64
}

// ironRatios compares teeth and back iron of two cores where both are known.
func ironRatios(old, next stator.Core) []partRatio {
	a, _ := ironParts(old)
	b, _ := ironParts(next)
	var out []partRatio
	for _, p := range a {
		for _, q := range b {
			if p.ring == q.ring && p.part == q.part && p.teeth == q.teeth {
				out = append(out, partRatio{p.part, float64(q.width/p.width) * next.StackLength.Value / old.StackLength.Value})
			}
		}
	}
	return out
}

// slotRatio is the slot area after over before, both given or both derived; with two rings the
// tighter one decides.
func slotRatio(old, next stator.Core) (float64, bool) {
	ratio, ok := ringSlotRatio(old, next, false)
	if old.SecondRing == nil || next.SecondRing == nil {
		return ratio, ok
	}
	back, okBack := ringSlotRatio(old, next, true)
	if ok && okBack {
		return min(ratio, back), true
	}
	return ratio, ok
}

func ringSlotRatio(old, next stator.Core, back bool) (float64, bool) {
	given := func(c stator.Core) unit.Measured {
		if back {
			return c.SecondRing.SlotArea
		}
		return c.SlotArea
	}
	if given(old).Given && given(next).Given && old.SlotAreaBasis == next.SlotAreaBasis {
		return given(next).Value / given(old).Value, true
	}
	a, okA := stator.DerivedRingSlotArea(old, back)
	b, okB := stator.DerivedRingSlotArea(next, back)
	if !okA || !okB {
		return 0, false
	}
	return float64(b.Net / a.Net), true
}

// relay lays the coils anew for another span, pattern, poles or paths, and finds the ratio of the
// winding factors.
func (c *changer) relay() error {
	ch := c.change
	s := &c.out.Scheme
	if ch.Poles > 0 {
		s.Poles = ch.Poles
	}
	c.factorRatio = make([]float64, len(s.CoilSets))
	for i := range s.CoilSets {
		c.factorRatio[i] = 1
		set := &s.CoilSets[i]
		if ch.ParallelPaths > 0 {
			set.ParallelPaths = ch.ParallelPaths
		}
		if ch.Pattern != nil {
			c.newPattern(set, i)
		}
		if ch.Span > 0 {
			if err := newSpan(set, ch.Span, i, c.core); err != nil {
				return err
			}
		}
	}
	if c.in.Core == nil {
		return c.pathsWithoutCore()
	}
	coils, _, err := ExpandScheme(*s, c.core)
	if err != nil {
		return underScheme(err)
	}
	if faults := Faults(*s, coils, c.core); len(faults) > 0 {
		return underScheme(impossible("the changed scheme cannot be wound", faults...))
	}
	if ch.Span == 0 && ch.Pattern == nil {
		return nil
	}
	return c.compareFactors(coils)
}

// compareFactors sets the winding factors of the new coils against the old ones.
func (c *changer) compareFactors(coils [][]Coil) error {
	s := &c.out.Scheme
	for i := range s.CoilSets {
		old, _ := FactorOfSet(c.in.Scheme.CoilSets[i], c.coils[i], c.out.Before.Poles, *c.in.Core, 1)
		now, _ := FactorOfSet(s.CoilSets[i], coils[i], s.Poles, c.core, 1)
		if old < 1e-6 || now < 1e-6 {
			return impossible("the changed winding makes no field", errs.Field{Pointer: fmt.Sprintf("/scheme/coil_sets/%d", i), Code: "NO_WORKING_FIELD", Detail: fmt.Sprintf("the winding factor is %.4g before and %.4g after", old, now)})
		}
		c.factorRatio[i] = old / now
		c.step("%s: winding factor %.4f to %.4f: turns in series x %.5g", s.CoilSets[i].Role, old, now, old/now)
	}
	return nil
}

// pathsWithoutCore checks paths where no core tells the coils.
func (c *changer) pathsWithoutCore() error {
	for i, set := range c.out.Scheme.CoilSets {
		if faults := pathFaults(set, set.Coils, fmt.Sprintf("/coil_sets/%d", i)); len(faults) > 0 && (set.Pattern == nil || set.Pattern.Groups > 0) {
			return underScheme(impossible("the changed scheme cannot be wound", faults...))
		}
	}
	return nil
}

// newPattern lays a set by another pattern; turns are shares that turns() scales. Equal turns, and for
// concentric coils those of a sine, where the pattern does not tell them.
func (c *changer) newPattern(set *CoilSet, i int) {
	p := *c.change.Pattern
	p.Throws = append([]int(nil), p.Throws...)
	p.Turns = append([]float64(nil), p.Turns...)
	if len(p.Turns) == 0 && len(p.Throws) > 0 {
		spans := make([]int, len(p.Throws))
		for k, t := range p.Throws {
			spans[k] = t - 1
		}
		q := stator.RingSlots(c.core, set.Ring == RingBack)
		if p.Kind == Concentric && q > 0 && c.out.Scheme.Poles > 0 {
			p.Turns = SineTurns(spans, q, c.out.Scheme.Poles)
		}
		if p.Turns == nil || p.Kind != Concentric {
			p.Turns = []float64{1}
		}
	}
	if i > 0 {
		p.FirstSlot = 0 // each winding finds its own place against the first
	}
	set.Coils, set.Pattern = nil, &p
}

// newSpan gives a set another span; concentric coils keep their steps.
func newSpan(set *CoilSet, span, i int, core stator.Core) error {
	if p := set.Pattern; p != nil && len(p.Throws) > 0 {
		d := span + 1 - p.Throws[0]
		for k := range p.Throws {
			p.Throws[k] += d
		}
		return nil
	}
	q := stator.RingSlots(core, set.Ring == RingBack)
	for k, co := range set.Coils {
		at := wrap(co.Out-co.In, q)
		reversed := at > q-at
		if reversed {
			at = q - at
		}
		if first := wrap(set.Coils[0].Out-set.Coils[0].In, q); at != min(first, q-first) {
			return impossible("this span cannot be changed", errs.Field{Pointer: fmt.Sprintf("/scheme/coil_sets/%d/coils/%d", i, k), Code: "SPANS_DIFFER", Detail: fmt.Sprintf("coil %d-%d has another span than the first coil; give a pattern instead", co.In, co.Out)})
		}
	}
	for k, co := range set.Coils {
		at := wrap(co.Out-co.In, q)
		if at > q-at {
			set.Coils[k].In = wrap(co.Out+span, q)
		} else {
			set.Coils[k].Out = wrap(co.In+span, q)
		}
	}
	return nil
}

// iron refuses fewer poles than the back iron bears, and sets the flux of other poles by the limits of
// the core.
func (c *changer) iron() error {
	p1, p2 := 0, c.out.Scheme.Poles
	if c.out.Before != nil {
		p1 = c.out.Before.Poles
	}
	if p1 == 0 || p1 == p2 {
		return nil
	}
	before := c.out.Before
	if before.FluxPerPole == nil {
		return impossible("the flux is not known", errs.Field{Pointer: "/nameplate", Code: "MISSING", Detail: "other poles need the present flux: volts, frequency, connection and turns"})
	}
	hy, ok := stator.BackIronOf(c.core)
	if !ok || !c.core.StackLength.Given {
		return impossible("the back iron is not known", errs.Field{Pointer: "/core/back_iron_mm", Code: "MISSING", Detail: "other poles need the depth of the back iron and the stack"})
	}
	stack := unit.Millimetre(c.core.StackLength.Value)
	limit := unit.Tesla(bandOf("back iron density", "small induction").High)
	same := *before.FluxPerPole * unit.Milliweber(p1) / unit.Milliweber(p2) // at the present gap density
	if b := BackIronDensity(same, hy.Value, stack, DefaultStacking); p2 < p1 && b > limit {
		return impossible("the iron does not bear fewer poles", errs.Field{Pointer: "/change/poles", Code: "BACK_IRON_TOO_THIN",
			Detail: fmt.Sprintf("%d poles at the present gap density need %.3g mWb a pole instead of %.3g; the back iron of %.3g mm would carry %.2f T, and bears at most about %.1f T", p2, float64(same), float64(*before.FluxPerPole), float64(hy.Value), float64(b), float64(limit)), Got: fmt.Sprint(p2)})
	}
	flux := same
	governs := "the present gap density"
	for _, l := range FluxLimits(c.core, p2) {
		if l.Part != "gap" && l.Flux < flux {
			flux, governs = l.Flux, l.Part
		}
	}
	r := float64(*before.FluxPerPole / flux)
	c.series *= r
	c.step("%d to %d poles: flux %.4g to %.4g mWb a pole by %s, turns in series x %.5g", p1, p2, float64(*before.FluxPerPole), float64(flux), governs, r)
	if math.IsInf(r, 0) || math.IsNaN(r) {
		return impossible("the flux is not known", errs.Field{Pointer: "/change/poles", Code: "IMPOSSIBLE", Detail: "no flux is left for these poles"})
	}
	return nil
}
