package winding

import (
	"fmt"
	"math"

	"statorbook/internal/errs"
	"statorbook/internal/stator"
)

// Fault is one thing about a scheme that no winder could lay, connect or run, with the trade's
// reason. Pointer leads into the scheme.
type Fault = errs.Field

// Faults names what is wrong with a scheme whose coils could be expanded: the same coil twice,
// paths that do not divide it, roles that do not belong together, phases that are not balanced.
func Faults(s Scheme, coils [][]Coil, core stator.Core) []Fault {
	var faults []Fault
	for i, set := range s.CoilSets {
		at := fmt.Sprintf("/coil_sets/%d", i)
		q := stator.RingSlots(core, set.Ring == RingBack)
		if set.Pattern == nil {
			faults = append(faults, repeatedCoils(coils[i], q, at)...)
		}
		faults = append(faults, pathFaults(set, coils[i], at)...)
	}
	faults = append(faults, roleFaults(s)...)
	if s.Poles > 0 {
		faults = append(faults, balanceFaults(s, coils, core)...)
	}
	return faults
}

// repeatedCoils finds a coil that is listed twice. A coil across the whole diameter of a two-pole
// winding may come twice: each side of the other group lies in the same slots.
func repeatedCoils(coils []Coil, q int, at string) []Fault {
	var faults []Fault
	first := map[[2]int]int{}
	count := map[[2]int]int{}
	for k, c := range coils {
		key := [2]int{min(c.In, c.Out), max(c.In, c.Out)}
		allowed := 1
		if 2*(key[1]-key[0]) == q {
			allowed = 2
		}
		if count[key]++; count[key] == 1 {
			first[key] = k
		}
		if count[key] > allowed {
			faults = append(faults, Fault{Pointer: fmt.Sprintf("%s/coils/%d", at, k), Code: "COIL_TWICE",
				Detail: fmt.Sprintf("coil %d-%d lies in slot %d twice: it is already coil %d of the list", c.In, c.Out, c.Out, first[key]+1)})
		}
	}
	return faults
}

// pathFaults says when parallel paths do not divide the coil groups of a set.
func pathFaults(set CoilSet, coils []Coil, at string) []Fault {
	a := set.ParallelPaths
	if a == 0 || a == 1 {
		return nil
	}
	groups, what := len(coils), "coils"
	if set.Pattern != nil && set.Pattern.Groups > 0 {
		groups, what = set.Pattern.Groups, "coil groups"
	}
	if a > 0 && groups%a == 0 {
		return nil
	}
	return []Fault{{Pointer: at + "/parallel_paths", Code: "PATHS_IMPOSSIBLE", Got: fmt.Sprint(a), Allowed: divisors(groups),
		Detail: fmt.Sprintf("%d parallel paths do not divide the %d %s of the %s winding: every path must hold as many", a, groups, what, set.Role)}}
}

// unlikePaths finds sets whose paths hold as many coils, but not the same ones.
func unlikePaths(s Scheme, coils [][]Coil, core stator.Core) []errs.Finding {
	var out []errs.Finding
	for i, set := range s.CoilSets {
		a := Paths(set)
		if a == 1 || s.Poles == 0 {
			continue
		}
		parts := equalParts(coils[i], stator.RingSlots(core, set.Ring == RingBack), s.Poles)
		if parts%a != 0 {
			out = append(out, errs.Finding{Code: "paths_unlike", Severity: errs.SeverityNote, Fields: []string{fmt.Sprintf("coil_sets[%d].parallel_paths", i)}, Found: ref(float64(a)), Expected: &errs.Expected{Value: float64(parts), Low: 1, High: float64(parts)},
				Message: fmt.Sprintf("the coils of the %s winding fall into %d like parts; %d paths would hold coils in unlike phase, and current circulates unless the sides are joined in another order", set.Role, parts, a)})
		}
	}
	return out
}

// divisors of n in rising order.
func divisors(n int) []int {
	var out []int
	for d := 1; d <= n; d++ {
		if n%d == 0 {
			out = append(out, d)
		}
	}
	return out
}

// roleFaults wants either windings of a single-phase machine or phases.
func roleFaults(s Scheme) []Fault {
	phases, others := 0, 0
	var faults []Fault
	for i, set := range s.CoilSets {
		switch {
		case set.Role.IsPhase():
			phases++
		case set.Role == Main || set.Role == Auxiliary || set.Role == Speed:
			others++
		default:
			faults = append(faults, Fault{Pointer: fmt.Sprintf("/coil_sets/%d/role", i), Code: "ROLE_UNKNOWN", Detail: "a role is main, auxiliary, speed, phase_u, phase_v or phase_w", Got: string(set.Role)})
		}
	}
	if phases > 0 && others > 0 {
		faults = append(faults, Fault{Pointer: "/coil_sets", Code: "ROLES_MIXED", Detail: "phases of a three-phase winding and windings of a single-phase motor do not go into one scheme"})
	}
	return faults
}

// balance is how a role stands as a whole: its effective turns in series and their axis.
type balance struct {
	turns, axis float64
	set         int
}

// roleVectors adds the sets of each role as vectors of effective turns.
func roleVectors(s Scheme, coils [][]Coil, core stator.Core) map[Role]balance {
	sums := map[Role][2]float64{}
	out := map[Role]balance{}
	for i, set := range s.CoilSets {
		kw, axis := FactorOfSet(set, coils[i], s.Poles, core, 1)
		n := kw * TurnsOf(coils[i]) / float64(Paths(set))
		sin, cos := math.Sincos(axis * math.Pi / 180)
		v := sums[set.Role]
		v[0] += n * cos
		v[1] += n * sin
		sums[set.Role] = v
		b, seen := out[set.Role]
		if !seen {
			b.set = i
		}
		b.turns, b.axis = math.Hypot(v[0], v[1]), degrees(math.Atan2(v[1], v[0]))
		out[set.Role] = b
	}
	return out
}

// balanceFaults wants three phases of equal effective turns, 120 electrical degrees apart. A phase
// that is not given is taken as like the others.
func balanceFaults(s Scheme, coils [][]Coil, core stator.Core) []Fault {
	v := roleVectors(s, coils, core)
	u, okU := v[PhaseU]
	var faults []Fault
	for _, p := range []struct {
		role Role
		want float64
	}{{PhaseV, 120}, {PhaseW, 240}} {
		b, ok := v[p.role]
		if !ok || !okU {
			continue
		}
		at := fmt.Sprintf("/coil_sets/%d", b.set)
		if math.Abs(b.turns-u.turns) > 0.01*math.Max(b.turns, u.turns) {
			faults = append(faults, Fault{Pointer: at, Code: "THREE_PHASE_UNBALANCED", Detail: fmt.Sprintf("%s has %.4g effective turns in series, phase_u has %.4g: the phases are not balanced", p.role, b.turns, u.turns)})
			continue
		}
		// The phase order may run either way, and a whole phase may be named from its other end.
		off := math.Abs(math.Remainder(b.axis-u.axis, 360))
		if u.turns > 0 && math.Abs(off-120) > 1 && math.Abs(off-60) > 1 {
			faults = append(faults, Fault{Pointer: at, Code: "THREE_PHASE_UNBALANCED", Detail: fmt.Sprintf("the axis of %s stands %.1f electrical degrees from that of phase_u, not 120: the phases are not balanced", p.role, off)})
		}
	}
	if w, ok := v[PhaseW]; ok && okU {
		if b, ok := v[PhaseV]; ok && len(faults) == 0 && u.turns > 0 && math.Abs(math.Remainder(w.axis-b.axis, 180)) < 1 {
			faults = append(faults, Fault{Pointer: fmt.Sprintf("/coil_sets/%d", w.set), Code: "THREE_PHASE_UNBALANCED", Detail: "phase_w has the same axis as phase_v: the phases are not balanced"})
		}
	}
	return faults
}

// layoutFindings are things of a scheme that can be wound but ask for a second look.
func layoutFindings(s Scheme, coils [][]Coil, slots []SlotUse) []errs.Finding {
	var out []errs.Finding
	for _, slot := range slots {
		cancel := false
		for i, a := range slot.Sides {
			for _, b := range slot.Sides[:i] {
				cancel = cancel || (a.Set == b.Set && a.Out != b.Out && !a.Role.IsPhase())
			}
		}
		if cancel {
			out = append(out, errs.Finding{Code: "sides_cancel", Severity: errs.SeverityWarning, Fields: []string{fmt.Sprintf("coil_sets[%d].coils", slot.Sides[0].Set)},
				Message: fmt.Sprintf("slot %d of the %s ring holds two sides of the %s winding that carry current opposite ways and cancel: check the sense of its coils", slot.Number, slot.Ring, slot.Sides[0].Role)})
			break // one is enough: the others follow from the same sense
		}
		if n := len(slot.Sides); n > maxSides {
			found := float64(n)
			out = append(out, errs.Finding{Code: "slot_crowded", Severity: errs.SeverityWarning, Fields: []string{"coil_sets"}, Found: &found, Expected: &errs.Expected{Value: 2, Low: 0, High: maxSides},
				Message: fmt.Sprintf("slot %d of the %s ring holds %d coil sides; a slot rarely holds more than %d", slot.Number, slot.Ring, n, maxSides)})
			break
		}
	}
	return out
}

// consequentConcentric tells whether a phase has half as many concentric groups as poles: with consequent poles the
// outer coils of such a group rightly reach over the pole pitch (36 slots, 4 poles: throws 12, 10, 8).
func consequentConcentric(set CoilSet, poles int) bool {
	p := set.Pattern
	return p != nil && set.Role.IsPhase() && p.Kind == Concentric && len(p.Throws) > 1 && 2*p.Groups == poles
}

// overPitched finds coils that reach over more than a pole pitch and a slot: in honest windings a throw
// or the number of poles is wrong then. Coils round one tooth are not judged.
func overPitched(s Scheme, coils [][]Coil, core stator.Core) []errs.Finding {
	var out []errs.Finding
	for i, set := range s.CoilSets {
		q := stator.RingSlots(core, set.Ring == RingBack)
		if s.Poles == 0 || q == 0 {
			continue
		}
		if consequentConcentric(set, s.Poles) {
			continue
		}
		pitch := float64(q) / float64(s.Poles)
		for _, c := range coils[i] {
			span := wrap(c.Out-c.In, q)
			span = min(span, q-span)
			if span > 1 && float64(span) > pitch+1 {
				out = append(out, errs.Finding{Code: "over_pitched", Severity: errs.SeverityWarning, Fields: []string{fmt.Sprintf("coil_sets[%d]", i), "poles"}, Found: ref(float64(span + 1)),
					Expected: &errs.Expected{Value: math.Round(pitch) + 1, Low: 2, High: math.Floor(pitch) + 2},
					Message:  fmt.Sprintf("coil %d-%d of the %s winding spans %d slots, more than the pole pitch of %.3g: a throw or the number of poles is doubtful", c.In, c.Out, set.Role, span, pitch)})
				break
			}
		}
	}
	return out
}

// maxSides is two layers of each of two windings (common practice, no source).
const maxSides = 4
