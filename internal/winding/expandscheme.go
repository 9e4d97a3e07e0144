package winding

import (
	"errors"
	"fmt"

	"statorbook/internal/errs"
	"statorbook/internal/stator"
)

// ExpandScheme expands all coil sets of a scheme. Sets without a first slot are placed against the
// main winding or phase u as it really lies. The result has one list of coils for each set. All
// problems come in one KindImpossible error with pointers into the scheme.
func ExpandScheme(s Scheme, core stator.Core) ([][]Coil, []Assumption, error) {
	all := make([][]Coil, len(s.CoilSets))
	var assumed []Assumption
	var fields []errs.Field
	var ref, aux *placed
	for _, rank := range []int{0, 1, 2} { // references first, then those placed against them
		for i, set := range s.CoilSets {
			if placeRank(set.Role) != rank {
				continue
			}
			against := ref
			if set.Role == Speed && aux != nil {
				against = aux
			}
			coils, more, err := expandAgainst(set, s.Poles, core, against)
			if err != nil {
				fields = append(fields, prefixed(err, i)...)
				continue
			}
			all[i] = coils
			for _, a := range more {
				if a.Field != "second_ring.slots" {
					a.Field = fmt.Sprintf("coil_sets[%d].%s", i, a.Field)
				}
				assumed = append(assumed, a)
			}
			kw, axis := FactorOfSet(set, coils, s.Poles, core, 1)
			here := &placed{role: set.Role, axis: axis, kw: kw}
			switch {
			case ref == nil && rank == 0:
				ref = here
			case aux == nil && set.Role == Auxiliary:
				aux = here
			}
		}
	}
	if len(fields) > 0 {
		return nil, nil, impossible("the scheme cannot be wound", fields...)
	}
	return all, assumed, nil
}

// placeRank orders the roles: those placed against others come later.
func placeRank(r Role) int {
	switch r {
	case Main, PhaseU:
		return 0
	case Speed:
		return 2
	}
	return 1
}

// prefixed turns the pointers of an error of one set into pointers into the scheme.
func prefixed(err error, set int) []errs.Field {
	var e *errs.Error
	if !errors.As(err, &e) {
		return []errs.Field{{Pointer: fmt.Sprintf("/coil_sets/%d", set), Code: "IMPOSSIBLE", Detail: err.Error()}}
	}
	out := make([]errs.Field, len(e.Fields))
	for i, f := range e.Fields {
		if f.Pointer != "/poles" {
			f.Pointer = fmt.Sprintf("/coil_sets/%d%s", set, f.Pointer)
		}
		out[i] = f
	}
	return out
}
