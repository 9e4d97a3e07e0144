package winding

import (
	"fmt"

	"statorbook/internal/errs"
)

// IsPhase tells whether a role belongs to a three-phase machine.
func (r Role) IsPhase() bool { return r == PhaseU || r == PhaseV || r == PhaseW }

// filled is a pattern with nothing left open except, perhaps, the first slot (0).
type filled struct {
	Pattern
	alternate bool
	belts     bool // three-phase coils of one throw, placed by 60-degree belts
}

// completePattern checks a pattern and fills what it leaves open.
func completePattern(set CoilSet, poles, q int) (filled, []Assumption, []errs.Field) {
	p := filled{Pattern: *set.Pattern}
	fields := checkPattern(*set.Pattern, poles, q)
	if len(fields) > 0 {
		return p, nil, fields
	}
	p.Turns = turnsPerThrow(p.Pattern)
	p.belts = set.Role.IsPhase() && len(p.Throws) == 1 && (p.Kind == Lap || p.Kind == Tooth)
	var assumed []Assumption
	if p.Groups == 0 {
		p.Groups = poles
		why := "not given; one coil group for each pole (whole-coil winding)"
		if p.belts {
			p.Groups, why = q/3, "not given; a third of the slots, as in a double-layer winding"
		}
		assumed = append(assumed, Assumption{Field: "groups", Value: float64(p.Groups), Why: why})
	}
	if p.belts {
		return p, assumed, checkBelts(p.Groups, poles, q)
	}
	if p.Alternate != nil {
		p.alternate = *p.Alternate
	} else {
		p.alternate = p.Groups%poles == 0
		what := "no"
		if p.alternate {
			what = "yes"
		}
		assumed = append(assumed, Assumption{Field: "alternate", Value: what, Why: fmt.Sprintf("not given; %d coil groups for %d poles: whole-coil groups alternate, half-coil (consequent) groups do not", p.Groups, poles)})
	}
	return p, assumed, nil
}

// turnsPerThrow gives the turns of each coil of a group; a single figure counts for all of them,
// as the loops of one hank do.
func turnsPerThrow(p Pattern) []float64 {
	if len(p.Turns) == 1 && len(p.Throws) > 1 {
		all := make([]float64, len(p.Throws))
		for i := range all {
			all[i] = p.Turns[0]
		}
		return all
	}
	return p.Turns
}

// checkPattern names what is impossible about a pattern on a ring of q slots.
func checkPattern(p Pattern, poles, q int) []errs.Field {
	var fields []errs.Field
	add := func(pointer, code, detail, got string) {
		fields = append(fields, errs.Field{Pointer: "/pattern/" + pointer, Code: code, Detail: detail, Got: got})
	}
	switch p.Kind {
	case Lap, Concentric, Tooth, Skein:
	default:
		add("kind", "KIND_UNKNOWN", "a pattern is lap, concentric, tooth or skein", string(p.Kind))
	}
	if poles == 0 {
		fields = append(fields, errs.Field{Pointer: "/poles", Code: "POLES_MISSING", Detail: "a pattern is laid by the number of poles: give it, or list the coils"})
	} else if poles < 2 || poles%2 != 0 || poles > MaxPoles {
		fields = append(fields, errs.Field{Pointer: "/poles", Code: "POLES_IMPOSSIBLE", Detail: fmt.Sprintf("poles come in pairs, 2 to %d", MaxPoles), Got: fmt.Sprint(poles)})
	}
	if len(p.Throws) == 0 || len(p.Throws) > q {
		add("throws", "THROWS_MISSING", fmt.Sprintf("give 1 to %d throws, outermost first", q), fmt.Sprint(len(p.Throws)))
	}
	checkThrows(p, q, add)
	if n := len(p.Turns); n != len(p.Throws) && n != 1 {
		add("turns", "TURNS_COUNT", fmt.Sprintf("%d turns for %d throws: give one for each throw, or one for all", n, len(p.Throws)), fmt.Sprint(n))
	}
	for i, t := range p.Turns {
		if f := checkTurns(fmt.Sprintf("/pattern/turns/%d", i), fmt.Sprintf("coil %d of the group", i+1), t); f != nil {
			fields = append(fields, *f)
		}
	}
	if p.Groups < 0 || p.Groups > q {
		add("groups", "GROUPS_IMPOSSIBLE", fmt.Sprintf("%d coil groups do not go into %d slots", p.Groups, q), fmt.Sprint(p.Groups))
	} else if p.Groups*len(p.Throws) > MaxCoils {
		add("groups", "TOO_MANY_COILS", fmt.Sprintf("%d groups of %d coils; at most %d coils are answered", p.Groups, len(p.Throws), MaxCoils), fmt.Sprint(p.Groups))
	}
	if p.FirstSlot < 0 || p.FirstSlot > q {
		add("first_slot", "SLOT_OUT_OF_RANGE", fmt.Sprintf("there is no slot %d in a ring of %d", p.FirstSlot, q), fmt.Sprint(p.FirstSlot))
	}
	return fields
}

// checkThrows names throws that no coil of the ring has, or that share no centre.
func checkThrows(p Pattern, q int, add func(pointer, code, detail, got string)) {
	for i, t := range p.Throws {
		at := fmt.Sprintf("throws/%d", i)
		switch {
		case t == 1:
			add(at, "SAME_SLOT_TWICE", "throw 1-1: the coil lies in its slot twice; throws count from the coil's own first slot as 1", "1")
		case t < 1 || t > q:
			add(at, "THROW_IMPOSSIBLE", fmt.Sprintf("throw 1-%d does not exist in a ring of %d slots", t, q), fmt.Sprint(t))
		}
	}
	if p.Kind == Concentric || p.Kind == Skein {
		for i, t := range p.Throws {
			if i > 0 && (p.Throws[0]-t)%2 != 0 {
				add(fmt.Sprintf("throws/%d", i), "NOT_CONCENTRIC", fmt.Sprintf("throws 1-%d and 1-%d cannot share one centre: concentric throws differ by even numbers", p.Throws[0], t), fmt.Sprint(t))
			}
		}
	}
}

// checkBelts says whether a balanced three-phase winding with so many coils of one phase exists:
// the slots must be divisible by 3 × gcd(slots, pole pairs), and the coils of a phase are a third
// of the slots (double layer) or a sixth (single layer).
func checkBelts(coils, poles, q int) []errs.Field {
	if q%(3*gcd(q, poles/2)) != 0 {
		return []errs.Field{{Pointer: "/pattern", Code: "THREE_PHASE_UNBALANCED", Detail: fmt.Sprintf("%d slots and %d poles give no balanced three-phase winding of equal coils; list the coils if it is wound unbalanced on purpose", q, poles)}}
	}
	if coils*3 == q || coils*6 == q {
		return nil
	}
	allowed := []int{q / 3}
	what := fmt.Sprintf("%d (double layer)", q/3)
	if q%6 == 0 {
		allowed = append(allowed, q/6)
		what += fmt.Sprintf(" or %d (single layer)", q/6)
	}
	return []errs.Field{{Pointer: "/pattern/groups", Code: "GROUPS_IMPOSSIBLE", Detail: fmt.Sprintf("a three-phase winding of one throw on %d slots has %s coils in each phase, not %d; list the coils if slots stay empty", q, what, coils), Allowed: allowed, Got: fmt.Sprint(coils)}}
}

func gcd(a, b int) int {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}
