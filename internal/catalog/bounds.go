package catalog

import (
	"statorbook/internal/errs"
	"statorbook/internal/wire"
)

// Bound is the documented range of one number of a record, both ends included. Outside it a value
// was understood but cannot be; plausible bands are far narrower and only raise findings.
type Bound struct {
	Name     string // dotted name; [] stands for any index
	Unit     string // UCUM code, "1" for a count or a ratio
	Min, Max float64
	Whole    bool
}

// Bounds is the one table of ranges. The decoder's tags, the OpenAPI document and the columns of
// the database keep to it: bundle's tags are equal (a test compares them), the database's domains
// may be wider. The lower ends are above 0 wherever 0 makes no sense, since a lone `> 0` lets NaN
// through. Lengths reach a hundred times beyond the largest core, so that a slip by a power of ten
// is read and reported, not refused.
func Bounds() []Bound {
	var list []Bound
	for _, core := range []string{"core", "core_as_measured"} {
		list = append(list, coreBounds(core)...)
	}
	list = append(list, plateBounds()...)
	list = append(list, schemeBounds()...)
	return append(list, sheetBounds()...)
}

func coreBounds(core string) []Bound {
	length := func(name string, least float64) Bound { return Bound{core + "." + name, "mm", least, 10000, false} }
	return []Bound{
		{core + ".phases", "1", 1, 3, true}, {core + ".slots", "1", 2, 360, true},
		length("gap_diameter_mm", 0.01), length("back_diameter_mm", 0.01), length("stack_length_mm", 0.01),
		length("tooth_width_mm", 0.001), length("slot_depth_mm", 0.001), length("slot_opening_mm", 0.001), length("back_iron_mm", 0.001),
		{core + ".slot_area_mm2", "mm2", 0.001, 1e6, false},
		{core + ".second_ring.slots", "1", 2, 360, true},
		length("second_ring.tooth_width_mm", 0.001), length("second_ring.slot_depth_mm", 0.001), length("second_ring.slot_opening_mm", 0.001),
		{core + ".second_ring.slot_area_mm2", "mm2", 0.001, 1e6, false},
		{core + ".second_ring.turned_slots", "1", -360, 360, false},
	}
}

func plateBounds() []Bound {
	return []Bound{
		{"nameplate.voltage_v", "V", 0.1, 1e5, false}, {"nameplate.frequency_hz", "Hz", 0.1, 1e4, false},
		{"nameplate.power_w", "W", 0.01, 1e7, false}, {"nameplate.current_a", "A", 0.0001, 1e5, false},
		{"nameplate.speed_rpm", "/min", 0.1, 1e6, false}, {"nameplate.poles", "1", 1, 120, true},
		{"nameplate.capacitor_uf", "uF", 0.001, 1e6, false}, {"nameplate.capacitor_v", "V", 0.1, 1e5, false},
		{"nameplate.sweep_mm", "mm", 1, 10000, false}, {"nameplate.speed_taps", "1", 0, 20, true},
	}
}

func schemeBounds() []Bound {
	const set = "scheme.coil_sets[]."
	return []Bound{
		{"scheme.poles", "1", 1, 120, true},
		{set + "coils[].in", "1", 1, 360, true}, {set + "coils[].out", "1", 1, 360, true}, {set + "coils[].turns", "1", 0, 20000, false},
		{set + "pattern.throws[]", "1", 2, 360, true}, {set + "pattern.turns[]", "1", 0, 20000, false},
		{set + "pattern.groups", "1", 1, 720, true}, {set + "pattern.first_slot", "1", 1, 360, true},
		{set + "parallel_paths", "1", 1, 120, true},
		{set + "wires[].diameter_mm", "mm", 0.001, 100, false}, {set + "wires[].strands", "1", 1, wire.MaxStrands, true},
		{set + "mass_g", "g", 0.001, 1e6, false}, {set + "resistance_ohm", "Ohm", 1e-6, 1e7, false},
		{set + "temperature_c", "Cel", -60, 300, false}, {set + "tap", "1", 1, 20, true},
	}
}

func sheetBounds() []Bound {
	return []Bound{
		{"overhang_lead_mm", "mm", 0.01, 10000, false}, {"overhang_far_mm", "mm", 0.01, 10000, false},
		{"coil_length_mm", "mm", 0.01, 10000, false}, {"coil_width_mm", "mm", 0.01, 10000, false},
		{"liner.thickness_mm", "mm", 0.001, 100, false}, {"leads[].section_mm2", "mm2", 0.001, 1000, false},
		{"times_seen", "1", 0, 1e9, true}, {"revision", "1", 1, 1e9, true},
		{"cores[].stack_length_mm", "mm", 0.01, 10000, false},
	}
}

var boundOf = func() map[string]Bound {
	all := map[string]Bound{}
	for _, b := range Bounds() {
		all[b.Name] = b
	}
	return all
}()

// BoundOf returns the range of the number with a dotted name, [] for any index.
func BoundOf(name string) (Bound, bool) {
	b, ok := boundOf[name]
	return b, ok
}

// Holds reports whether v is inside. NaN never is.
func (b Bound) Holds(v float64) bool { return v >= b.Min && v <= b.Max }

// CodeOutOfRange is the code of a number outside its Bound, as the reader of JSON has it.
const CodeOutOfRange = "OUT_OF_RANGE"

// checkBound holds v, which stands at pointer, against the bound of name.
func checkBound(name, pointer string, v float64) *errs.Field {
	b, known := boundOf[name]
	if !known || b.Holds(v) {
		return nil
	}
	return &errs.Field{
		Pointer: pointer, Code: CodeOutOfRange, Detail: name + " must be from " + shortNumber(b.Min) + " to " + shortNumber(b.Max),
		Allowed: map[string]float64{"min": b.Min, "max": b.Max}, Got: shortNumber(v),
	}
}
