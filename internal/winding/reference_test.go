package winding_test

import (
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"statorbook/internal/stator"
	"statorbook/internal/winding"
)

// readReference reads a copied check file: comment lines, a header, rows as maps.
func readReference(t testing.TB, name string) []map[string]string {
	t.Helper()
	raw, err := os.ReadFile(filepath.Join("testdata", "reference", name))
	require.NoError(t, err)
	r := csv.NewReader(strings.NewReader(string(raw)))
	r.Comment = '#'
	rows, err := r.ReadAll()
	require.NoError(t, err)
	require.NotEmpty(t, rows)
	out := make([]map[string]string, 0, len(rows)-1)
	for _, row := range rows[1:] {
		m := map[string]string{}
		for i, key := range rows[0] {
			m[key] = row[i]
		}
		out = append(out, m)
	}
	return out
}

func number(t testing.TB, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	require.NoError(t, err, "number %q", s)
	return v
}

func count(t testing.TB, s string) int {
	t.Helper()
	v, err := strconv.Atoi(s)
	require.NoError(t, err, "count %q", s)
	return v
}

// threePhase is a scheme of three lap phases of one throw, first slots left open.
func threePhase(poles, throw, coils int, turns float64) winding.Scheme {
	s := winding.Scheme{Poles: poles}
	for _, r := range []winding.Role{winding.PhaseU, winding.PhaseV, winding.PhaseW} {
		s.CoilSets = append(s.CoilSets, winding.CoilSet{Role: r, Pattern: &winding.Pattern{
			Kind: winding.Lap, Throws: []int{throw}, Turns: []float64{turns}, Groups: coils,
		}})
	}
	return s
}

// TestWindingFactors checks the belts and the star of slots against winding_factors.csv, which was
// computed two other ways (closed formula, and a phasor sum of its own); not a published authority.
func TestWindingFactors(t *testing.T) {
	t.Parallel()
	rows := readReference(t, "winding_factors.csv")
	require.Equal(t, 127, len(rows))
	for _, row := range rows {
		q, poles, span := count(t, row["slots"]), count(t, row["poles"]), count(t, row["span_slots"])
		core := stator.Core{Phases: 3, RotorPosition: stator.RotorInside, Slots: q}
		scheme := threePhase(poles, span+1, q/3, 10)
		all, assumed, err := winding.ExpandScheme(scheme, core)
		name := row["slots"] + "/" + row["poles"] + " " + row["coil_throw"]
		require.NoError(t, err, name)
		require.Len(t, assumed, 3, name)
		var axes [3]float64
		for i, coils := range all {
			require.Len(t, coils, q/3, name)
			kw, axis := winding.Factor(coils, q, poles, 1)
			axes[i] = axis
			require.InDelta(t, number(t, row["kw_star_of_slots"]), kw, 1e-6, name)
			for order, column := range map[int]string{3: "kw_h3", 5: "kw_h5", 7: "kw_h7"} {
				k, _ := winding.Factor(coils, q, poles, order)
				require.InDelta(t, number(t, row[column]), k, 1e-6, "%s harmonic %d", name, order)
			}
		}
		require.InDelta(t, 120, math.Mod(axes[1]-axes[0]+360, 360), 1e-6, name)
		require.InDelta(t, 240, math.Mod(axes[2]-axes[0]+360, 360), 1e-6, name)
	}
}

// parseCoils reads "1-6x1 12-7x0.5".
func parseCoils(t testing.TB, s string) []winding.Coil {
	t.Helper()
	var coils []winding.Coil
	for _, f := range strings.Fields(s) {
		ends, turns, _ := strings.Cut(f, "x")
		in, out, ok := strings.Cut(ends, "-")
		require.True(t, ok, f)
		coils = append(coils, winding.Coil{In: count(t, in), Out: count(t, out), Turns: number(t, turns)})
	}
	return coils
}

// TestSinglePhaseLayouts checks explicit coil lists against single_phase_layouts.csv. The first
// layout is a published one (NIMI CITS Electrician TT vol 2, p. 196); the factors were computed there by a
// phasor sum of its own.
func TestSinglePhaseLayouts(t *testing.T) {
	t.Parallel()
	rows := readReference(t, "single_phase_layouts.csv")
	require.Equal(t, 11, len(rows))
	for _, row := range rows {
		q, poles := count(t, row["grid_positions"]), count(t, row["poles"])
		core := stator.Core{Phases: 1, Slots: q}
		main := winding.CoilSet{Role: winding.Main, Coils: parseCoils(t, row["main_coils"])}
		aux := winding.CoilSet{Role: winding.Auxiliary, Coils: parseCoils(t, row["aux_coils"])}
		if strings.Contains(row["layout"], "two rings") {
			// The grid has 4 positions for each slot pitch: poles stay, slots become positions.
			require.Equal(t, 4*count(t, row["slots_per_ring"]), q)
		}
		all, _, err := winding.ExpandScheme(winding.Scheme{Poles: poles, CoilSets: []winding.CoilSet{main, aux}}, core)
		require.NoError(t, err, row["layout"])
		kw, axisMain := winding.Factor(all[0], q, poles, 1)
		require.InDelta(t, number(t, row["kw_main"]), kw, 1e-6, row["layout"])
		h3, _ := winding.Factor(all[0], q, poles, 3)
		require.InDelta(t, number(t, row["kw_main_h3"]), h3, 1e-6, row["layout"])
		h5, _ := winding.Factor(all[0], q, poles, 5)
		require.InDelta(t, number(t, row["kw_main_h5"]), h5, 1e-6, row["layout"])
		kwAux, axisAux := winding.Factor(all[1], q, poles, 1)
		require.InDelta(t, number(t, row["kw_aux"]), kwAux, 1e-6, row["layout"])
		require.InDelta(t, number(t, row["axis_displacement_el_deg"]), winding.Displacement(axisMain, axisAux), 1e-4, row["layout"])
	}
}
