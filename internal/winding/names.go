package winding

import "strings"

// qualified gives a field its full dotted name within an analysis or a sheet: core.tooth_width_mm,
// scheme.coil_sets[0].wires. Names of figures that no input has stay as they are.
func qualified(field string) string {
	head, _, _ := strings.Cut(field, ".")
	switch head {
	case "scheme", "nameplate", "supply", "core", "change", "back_emf_ratio", "stacking_factor", "main_current_a", "":
		return field
	case "poles":
		return "scheme." + field
	}
	if strings.HasPrefix(head, "coil_sets") {
		return "scheme." + field
	}
	return "core." + field
}

// qualifyAll names all fields in full; the input slice is changed.
func qualifyAll(fields []string) []string {
	for i, f := range fields {
		fields[i] = qualified(f)
	}
	return fields
}

// qualify gives all fields of an analysis their full names, and keeps one assumption for each.
func (a *Analysis) qualify() {
	qualifyAll(a.Missing)
	seen := map[string]bool{}
	kept := a.Assumed[:0]
	for _, as := range a.Assumed {
		as.Field = qualified(as.Field)
		if !seen[as.Field] {
			seen[as.Field] = true
			kept = append(kept, as)
		}
	}
	a.Assumed = kept
	for i := range a.Findings {
		qualifyAll(a.Findings[i].Fields)
	}
}
