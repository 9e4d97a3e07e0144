package bundle

import (
	"reflect"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"statorbook/internal/catalog"
	"statorbook/internal/match"
)

// Every member that a record is written with stands on the general sheet, with the bounds and words of its
// reader, a way to get it and a reason; and no text is about a field that there is not.
func TestBlankSheetIsTheReader(t *testing.T) {
	t.Parallel()
	general := BlankSheet("general")
	require.Equal(t, general, BlankSheet(""))
	tags := map[string]numberTag{}
	numbers(t, reflect.TypeFor[Sheet](), "", tags)
	numbers(t, reflect.TypeFor[Origin](), "", tags)
	seen := map[string]bool{}
	for _, f := range general {
		require.False(t, seen[f.Field], f.Field)
		seen[f.Field] = true
		require.NotEmpty(t, f.How, f.Field)
		require.NotEmpty(t, f.Why, f.Field)
		require.Contains(t, []Need{NeedRequired, NeedWanted, NeedIfThere, NeedUseful}, f.Need, f.Field)
		if f.Column != "" {
			_, known := parseColumn(f.Column)
			require.True(t, known, "%s: there is no column %s", f.Field, f.Column)
		}
		if f.Type == "number" || f.Type == "whole_number" {
			bound, known := catalog.BoundOf(f.Field)
			require.True(t, known, f.Field)
			require.Equal(t, bound.Whole, f.Type == "whole_number", f.Field)
			if f.Allowed == nil {
				require.Equal(t, []float64{bound.Min, bound.Max}, []float64{*f.Min, *f.Max}, f.Field)
			}
			if f.Unit != "" {
				require.Equal(t, bound.Unit, f.Unit)
				require.Contains(t, f.Units, f.Unit)
			}
		}
		delete(tags, f.Field)
	}
	for name := range tags { // numbers inside of lists belong to the list's field
		require.Regexp(t, `(coils\[\]\.|throws\[\]|turns\[\])`, name)
	}
	for name := range sheetTexts {
		require.True(t, seen[name], "a text for no field: %s", name)
	}
	for app, fields := range sheetWanted {
		require.Contains(t, catalog.Applications, app)
		for _, f := range fields {
			require.True(t, seen[f], f)
		}
	}
	for _, list := range [][]string{withSweep, withTaps, withTwoRings} {
		for _, app := range list[1:] {
			require.Contains(t, catalog.Applications, app)
		}
	}
}

// What a submission asks for stands on every sheet, marked so, and nothing else is.
func TestBlankSheetKnowsTheSubmission(t *testing.T) {
	t.Parallel()
	for _, app := range catalog.Applications {
		var marked []string
		for _, f := range BlankSheet(app) {
			if f.Submission {
				marked = append(marked, f.Field)
				require.NotContains(t, []Need{NeedUseful, NeedIfThere}, f.Need, f.Field)
			}
		}
		require.ElementsMatch(t, neededToSubmit, marked, app)
	}
	require.ElementsMatch(t, []string{"motor_type", "origin", "core_as_measured.slots", "scheme.poles", "scheme.coil_sets[].role", "source", "licence"}, neededToSubmit)
}

func TestBlankSheetByApplication(t *testing.T) {
	t.Parallel()
	names := func(app string) []string {
		return convert(BlankSheet(app), func(f SheetField) string { return f.Field })
	}
	need := func(app, field string) Need {
		list := BlankSheet(app)
		return list[slices.IndexFunc(list, func(f SheetField) bool { return f.Field == field })].Need
	}
	for _, app := range catalog.Applications {
		require.Subset(t, names("general"), names(app), app)
		require.Contains(t, names(app), "core_as_measured.gap_diameter_mm", app)
		require.Equal(t, NeedRequired, need(app, "scheme.coil_sets[].wires[].strands"), app)
	}
	require.NotContains(t, names("pump"), "nameplate.sweep_mm")
	require.NotContains(t, names("grinder"), "scheme.coil_sets[].tap")
	require.NotContains(t, names("table_fan"), "core_as_measured.second_ring.slots")
	require.Equal(t, NeedWanted, need("ceiling_fan", "nameplate.sweep_mm"))
	require.Equal(t, NeedIfThere, need("general", "nameplate.sweep_mm"))
	require.Equal(t, NeedWanted, need("compressor", "thermal_cutout"))

	list := BlankSheet("ceiling_fan")
	at := func(name string) int {
		return slices.IndexFunc(list, func(f SheetField) bool { return f.Field == name })
	}
	require.Less(t, at("nameplate.voltage_v"), at("leads[].mark"), "leads are tagged before coils are cut")
	require.Less(t, at("leads[].mark"), at("scheme.coil_sets[].pattern.turns"))
	require.Less(t, at("scheme.coil_sets[].pattern.turns"), at("core_as_measured.slots"))
	gap := list[at("core_as_measured.gap_diameter_mm")]
	if how := match.HowToMeasure("gap_diameter_mm"); how != "" {
		require.Equal(t, how, gap.How, "one home for how a dimension is measured")
	}
}

// What the sheet calls allowed is read, what it calls out of bounds is refused with that column.
func TestBlankSheetBoundsAreKept(t *testing.T) {
	t.Parallel()
	for _, f := range BlankSheet("general") {
		if f.Min == nil || f.Type != "number" || strings.Contains(f.Field, "[]") {
			continue
		}
		for _, tc := range []struct {
			v  float64
			ok bool
		}{{*f.Min, true}, {*f.Max, true}, {*f.Max * 1.001, false}, {*f.Min - 1e-4, false}} {
			rows := rowsOf(t, f.Column+"\n"+floatText(tc.v)+"\n")
			require.Equal(t, tc.ok, rows[0].Problems == nil, "%s %v: %v", f.Column, tc.v, rows[0].Problems)
			if !tc.ok {
				require.Equal(t, f.Column, rows[0].Problems[0].Column)
				require.Equal(t, "OUT_OF_RANGE", rows[0].Problems[0].Code)
			}
		}
	}
}
