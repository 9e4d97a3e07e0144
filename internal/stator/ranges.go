package stator

import (
	"fmt"
	"strings"

	"statorbook/internal/errs"
)

// Range is what a dimension of a motor of 5 W to 3 kW usually is.
type Range struct{ Low, High float64 }

// usual gives the usual ranges by field, in the field's unit. They are wide on purpose: what lies outside is more likely a slip of the
// pen (a stack of 1180 for 118 mm) than a motor (common practice, no source).
var usual = map[string]Range{
	"gap_diameter_mm": {15, 350}, "back_diameter_mm": {15, 500}, "stack_length_mm": {5, 400}, "tooth_width_mm": {0.8, 50}, "slot_depth_mm": {2, 80},
	"slot_opening_mm": {0.5, 15}, "back_iron_mm": {1, 100}, "slot_area_mm2": {3, 2000}, "second_ring.tooth_width_mm": {0.8, 50},
	"second_ring.slot_depth_mm": {2, 80}, "second_ring.slot_opening_mm": {0.5, 15}, "second_ring.slot_area_mm2": {3, 2000},
}

// UsualRange is the usual range of a dimension; ok is false for a name without one.
func UsualRange(field string) (Range, bool) {
	r, ok := usual[field]
	return r, ok
}

// unitOf is the unit of a dimension that has a usual range.
func unitOf(field string) string {
	if strings.HasSuffix(field, "_mm2") {
		return "mm²"
	}
	return "mm"
}

// unusual names dimensions outside their usual range.
func (k *checker) unusual() {
	for _, f := range Fields(k.core) {
		r, ok := usual[f.Name]
		if v := f.Value.Value; ok && (v < r.Low || v > r.High) {
			k.add("dimension_unusual", errs.SeverityWarning, v, &errs.Expected{Value: min(max(v, r.Low), r.High), Low: r.Low, High: r.High},
				fmt.Sprintf("%s is %g %s; motors of 5 W to 3 kW have %g to %g %[3]s", f.Name, v, unitOf(f.Name), r.Low, r.High), f.Name)
		}
	}
}
