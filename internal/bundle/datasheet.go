package bundle

import (
	"cmp"
	"errors"
	"reflect"
	"slices"
	"strings"

	"statorbook/internal/catalog"
	"statorbook/internal/errs"
	"statorbook/internal/match"
)

// Need says how much a field of a data sheet matters.
type Need string

// The needs, gravest first.
const (
	NeedRequired Need = "required" // the reader refuses the record, or the part that it stands in, without it
	NeedWanted   Need = "wanted"   // finding, checking or rewinding rests on it
	NeedIfThere  Need = "if_there" // only on motors that have the thing
	NeedUseful   Need = "useful"   // helps the next person at the bench
)

// SheetField is one field to record at the bench, with the bounds that the reader holds it against.
type SheetField struct {
	Field   string // dotted name in the JSON record, [] for each item of a list
	Column  string // of a CSV sheet; main_ stands for any coil set, 1 for any lead
	Type    string // number, whole_number, text, word, yes_no, list
	Unit    string // UCUM code of the field's own unit, "" for counts and text
	Units   []string
	Min     *float64
	Max     *float64
	Allowed []string // the words of a word, the numbers of a closed list
	Need    Need
	How     string // how to get it at the bench; common practice, no source
	Why     string // what rests on it

	Submission bool // a draft cannot be handed in without it; of a core, a named family will do instead
}

// BlankSheet lists what to record about a motor of an application (catalog.Applications; "" is general)
// before its winding is cut out, in the order in which it is best done: plate, then coils and leads while
// they are in place, then the bare core. It is made of the shapes that read a record, so that the sheet and
// its reader cannot differ.
func BlankSheet(application string) []SheetField {
	var list []SheetField
	add := func(prefix, column string, t reflect.Type) {
		for _, l := range collectLeaves(t, "", nil) {
			name := prefix + strings.Join(l.path, ".")
			if name == "demo" || sheetLeavesOut(application, name) { // demo is for invented records
				continue
			}
			list = append(list, sheetField(application, name, column+l.name, l))
		}
	}
	add("", "", reflect.TypeFor[Sheet]())
	add("scheme.coil_sets[].", "main_", reflect.TypeFor[CoilSet]())
	add("scheme.coil_sets[].wires[].", "main_wire_", reflect.TypeFor[Wire]())
	add("leads[].", "lead_1_", reflect.TypeFor[Lead]())
	add("", "", reflect.TypeFor[Origin]())
	slices.SortStableFunc(list, func(a, b SheetField) int { return sheetStep(a.Field) - sheetStep(b.Field) })
	return list
}

// neededToSubmit lists what a draft that says nothing lacks, so that the sheet and the check of a submission
// cannot differ. Of a part that is missing as a whole it names the field that shows it.
var neededToSubmit = func() []string {
	shows := map[string]string{"core_as_measured": "core_as_measured.slots", "scheme.coil_sets": "scheme.coil_sets[].role"}
	var names []string
	var missing *errs.Error
	errors.As(catalog.ReadyWinding(catalog.Winding{}), &missing)
	for _, f := range missing.Fields {
		name := strings.ReplaceAll(strings.TrimPrefix(f.Pointer, "/"), "/", ".")
		names = append(names, cmp.Or(shows[name], name))
	}
	return names
}()

func sheetField(application, name, column string, l csvLeaf) SheetField {
	text := sheetTexts[name]
	f := SheetField{Submission: slices.Contains(neededToSubmit, name),
		Field: name, Column: column, Min: l.field.Min, Max: l.field.Max, Allowed: l.field.Enum, Need: text.need, How: text.how, Why: text.why}
	if name == "scheme.coil_sets[].role" {
		f.Column = "" // it is the beginning of the columns' names
	}
	if how := match.HowToMeasure(strings.TrimPrefix(name, "core_as_measured.")); how != "" && strings.HasPrefix(name, "core_as_measured.") {
		f.How = how
	}
	if l.field.Required {
		f.Need = NeedRequired
	}
	if slices.Contains(sheetWanted[application], name) {
		f.Need = NeedWanted
	}
	switch {
	case l.kind == csvMeasured:
		f.Type = "number"
		if own := OwnUnit(&l.field); own != "1" {
			f.Unit, f.Units = own, Units(own)
		}
	case l.kind == csvNumber:
		f.Type = "whole_number"
	case l.kind == csvBool:
		f.Type = "yes_no"
	case l.kind == csvNumbers, l.kind == csvCoils, l.kind == csvWords:
		f.Type = "list"
	case len(l.field.Enum) > 0:
		f.Type = "word"
	default:
		f.Type = "text"
	}
	return f
}

// sheetSteps is the order of the work. What stands in none of them comes last.
var sheetSteps = []string{"motor_type", "origin", "nameplate.", "thermal_cutout", "direction", "viewing_end", "slot_1_mark", "leads[].", "scheme.", "overhang_", "coil_", "binding", "sleeving", "varnish", "wedge", "liner.", "core_as_measured."}

func sheetStep(field string) int {
	for i, start := range sheetSteps {
		if strings.HasPrefix(field, start) {
			return i
		}
	}
	return len(sheetSteps)
}

// withSweep, withTaps and withTwoRings say which applications have a thing at all. general
// stands for any motor, so that nothing is left out for it.
var (
	withSweep    = []string{"", "general", "ceiling_fan", "table_fan", "exhaust_fan", "air_cooler"}
	withTaps     = []string{"", "general", "ceiling_fan", "table_fan", "exhaust_fan", "air_cooler", "blower", "washing_machine"}
	withTwoRings = []string{"", "general", "ceiling_fan"}

	// sheetWanted raises fields that an application cannot do without.
	sheetWanted = map[string][]string{
		"ceiling_fan": {"nameplate.sweep_mm", "core_as_measured.second_ring.slots", "core_as_measured.second_ring.tooth_width_mm", "scheme.coil_sets[].ring", "nameplate.capacitor_uf"},
		"table_fan":   {"nameplate.capacitor_uf", "scheme.coil_sets[].tap", "nameplate.speed_taps"},
		"compressor":  {"thermal_cutout", "sleeving", "leads[].goes_to"},
		"pump":        {"nameplate.capacitor_uf", "leads[].goes_to"},
	}
)

// sheetLeavesOut tells that motors of an application have no such thing.
func sheetLeavesOut(application, field string) bool {
	switch {
	case field == "nameplate.sweep_mm":
		return !slices.Contains(withSweep, application)
	case field == "nameplate.speed_taps", field == "scheme.coil_sets[].tap":
		return !slices.Contains(withTaps, application)
	case strings.HasPrefix(field, "core_as_measured.second_ring."), field == "scheme.coil_sets[].ring":
		return !slices.Contains(withTwoRings, application)
	}
	return false
}

// sheetText is what the definitions of the reader do not say: common practice, no source.
type sheetText struct {
	need     Need
	how, why string
}
