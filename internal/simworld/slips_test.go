package simworld

import (
	"math"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"statorbook/internal/bundle"
	"statorbook/internal/catalog"
	"statorbook/internal/winding"
	"statorbook/internal/wire"
)

// TestSlipsOfTheContract: the codes are those that the contract lists, in its order.
func TestSlipsOfTheContract(t *testing.T) {
	t.Parallel()
	const contract = "swg_awg_swapped, gauge_off_by_1, gauge_off_by_2, turns_halved, turns_doubled, turns_digit_swap, turns_digit_wrong, strands_forgotten, coils_halved, mass_of_both, mass_swapped, mass_digit_swap, throw_off_by_1, throw_off_by_2, paths_wrong, r_line_to_line, r_digit_swap, star_delta_swapped, poles_wrong, stack_blunder, main_aux_swapped, voltage_wrong, material_wrong"
	require.Equal(t, strings.Split(contract, ", "), Slips())
}

// slipped makes n sheets with one kind of slip each; before and after.
func slipped(t *testing.T, w *World, code string, n int, check func(before, after catalog.Winding, e Entry, g *design)) {
	t.Helper()
	kind := slippers[slices.IndexFunc(slippers, func(s slipper) bool { return s.code == code })]
	made := 0
	for try := 0; made < n; try++ {
		require.Less(t, try, 6000, "%s fits hardly any sheet", code)
		d := newDice(1, code, try)
		m, _ := w.recorded(d)
		before := w.keyed(d, &m)
		kept := deepCopy(before)
		after, e := deepCopy(before), Entry{}
		if !kind.apply(&slipping{d: d, table: &w.stock, g: &m.design, w: &after, entry: &e}) {
			continue
		}
		made++
		require.Equal(t, kept, before, "%s changed the sheet that it started from", code)
		require.NotEqual(t, before, after, code)
		require.NotEqual(t, e.Was, e.Is, code)
		require.NotEmpty(t, e.Field, code)
		check(before, after, e, &m.design)
	}
}

// sum of the turns of a set.
func turnsOf(s winding.CoilSet) float64 { return winding.TotalTurns(s) }

// TestEverySlip: each slip changes what its name says and nothing else.
func TestEverySlip(t *testing.T) {
	t.Parallel()
	wires := table(t)
	w := world(t, Config{Seed: 41, Records: 400})
	area := func(s winding.CoilSet) float64 {
		a, _, err := winding.ConductorArea(s, wires)
		require.NoError(t, err)
		return float64(a)
	}
	// any set for which the ratio of f differs from 1 must have this ratio
	ratio := func(f func(winding.CoilSet) float64, ok func(float64) bool) func(a, b catalog.Winding, _ Entry, _ *design) {
		return func(a, b catalog.Winding, e Entry, _ *design) {
			changed := 0
			for i := range a.Scheme.CoilSets {
				r := f(b.Scheme.CoilSets[i]) / f(a.Scheme.CoilSets[i])
				if r != 1 {
					changed++
					require.True(t, ok(r), "%+v: ratio %v", e, r)
				}
			}
			require.Positive(t, changed)
		}
	}
	mass := func(s winding.CoilSet) float64 { return s.Mass.Value }
	ohms := func(s winding.CoilSet) float64 { return s.Resistance.Value }
	within := func(want, tolerance float64) func(float64) bool {
		return func(r float64) bool { return math.Abs(r/want-1) < tolerance }
	}
	anything := func(r float64) bool { return r > 0 }
	checks := map[string]func(a, b catalog.Winding, e Entry, g *design){
		"swg_awg_swapped":   ratio(area, func(r float64) bool { return r > 0.4 && r < 2.5 }),
		"gauge_off_by_1":    ratio(area, func(r float64) bool { return math.Abs(math.Log(r)) < 0.55 }),
		"gauge_off_by_2":    ratio(area, func(r float64) bool { return math.Abs(math.Log(r)) < 0.95 }),
		"turns_halved":      ratio(turnsOf, within(0.5, 0.15)),
		"turns_doubled":     ratio(turnsOf, within(2, 1e-9)),
		"turns_digit_swap":  ratio(turnsOf, anything),
		"turns_digit_wrong": ratio(turnsOf, anything),
		"strands_forgotten": ratio(area, func(r float64) bool { return within(0.5, 1e-9)(r) || within(1.0/3, 1e-9)(r) || within(0.25, 1e-9)(r) }),
		"coils_halved":      ratio(turnsOf, within(0.5, 1e-9)),
		"mass_digit_swap":   ratio(mass, anything),
		"r_digit_swap":      ratio(ohms, anything),
		"r_line_to_line":    ratio(ohms, func(r float64) bool { return within(2, 0.02)(r) || within(2.0/3, 0.02)(r) }),
		"paths_wrong":       ratio(func(s winding.CoilSet) float64 { return float64(s.ParallelPaths) }, func(r float64) bool { return r == 2 || r == 0.5 }),
		"mass_of_both": func(a, b catalog.Winding, _ Entry, _ *design) {
			require.InDelta(t, a.Scheme.CoilSets[0].Mass.Value+a.Scheme.CoilSets[1].Mass.Value, b.Scheme.CoilSets[0].Mass.Value, 0.26)
		},
		"mass_swapped": func(a, b catalog.Winding, _ Entry, _ *design) {
			require.Equal(t, a.Scheme.CoilSets[0].Mass, b.Scheme.CoilSets[1].Mass)
			require.Equal(t, a.Scheme.CoilSets[1].Mass, b.Scheme.CoilSets[0].Mass)
		},
		"throw_off_by_1": throwsBy(t, 1),
		"throw_off_by_2": throwsBy(t, 2),
		"star_delta_swapped": func(a, b catalog.Winding, _ Entry, _ *design) {
			require.NotEqual(t, a.Nameplate.Connection, b.Nameplate.Connection)
			require.NotEqual(t, winding.ConnSingle, b.Nameplate.Connection)
		},
		"poles_wrong": func(a, b catalog.Winding, _ Entry, g *design) {
			require.NotEqual(t, g.poles, b.Scheme.Poles)
			require.Equal(t, b.Scheme.Poles, b.Nameplate.Poles)
			require.Zero(t, b.Scheme.Poles%2)
		},
		"stack_blunder": func(a, b catalog.Winding, _ Entry, _ *design) {
			require.NotEqual(t, a.CoreAsMeasured.StackLength.Value, b.CoreAsMeasured.StackLength.Value)
		},
		"main_aux_swapped": func(a, b catalog.Winding, _ Entry, _ *design) {
			require.Equal(t, a.Scheme.CoilSets[0].Wires, b.Scheme.CoilSets[0].Wires)
			require.Equal(t, winding.Auxiliary, b.Scheme.CoilSets[0].Role)
			require.Equal(t, winding.Main, b.Scheme.CoilSets[1].Role)
		},
		"voltage_wrong": func(a, b catalog.Winding, _ Entry, g *design) {
			require.Greater(t, math.Abs(math.Log(b.Nameplate.Voltage.Value/g.supply.volts)), math.Log(1.29))
		},
		"material_wrong": func(a, b catalog.Winding, _ Entry, _ *design) {
			for i := range a.Scheme.CoilSets {
				require.NotEqual(t, a.Scheme.CoilSets[i].Wires[0].Conductor, b.Scheme.CoilSets[i].Wires[0].Conductor)
			}
		},
	}
	require.Len(t, checks, len(Slips()))
	for _, code := range Slips() {
		n := 40
		if code == "strands_forgotten" || code == "r_line_to_line" || code == "star_delta_swapped" {
			n = 8 // few machines have strands in hand or three phases
		}
		slipped(t, w, code, n, func(a, b catalog.Winding, e Entry, g *design) {
			checks[code](a, b, e, g)
			onlyNamed(t, code, a, b)
		})
	}
}

// throwsBy wants exactly one throw of each changed set moved by so many slots.
func throwsBy(t *testing.T, by int) func(a, b catalog.Winding, _ Entry, _ *design) {
	return func(a, b catalog.Winding, _ Entry, _ *design) {
		for i := range a.Scheme.CoilSets {
			moved := 0
			for j, throw := range a.Scheme.CoilSets[i].Pattern.Throws {
				if now := b.Scheme.CoilSets[i].Pattern.Throws[j]; now != throw {
					require.Equal(t, by, max(now-throw, throw-now))
					require.GreaterOrEqual(t, now, 2)
					moved++
				}
			}
			require.LessOrEqual(t, moved, 1)
		}
	}
}

// touched says what part of a sheet a slip may change.
var touched = map[string]string{
	"swg_awg_swapped": "wires", "gauge_off_by_1": "wires", "gauge_off_by_2": "wires", "strands_forgotten": "wires", "material_wrong": "wires",
	"turns_halved": "pattern", "turns_doubled": "pattern", "turns_digit_swap": "pattern", "turns_digit_wrong": "pattern", "coils_halved": "pattern", "throw_off_by_1": "pattern", "throw_off_by_2": "pattern",
	"mass_of_both": "mass", "mass_swapped": "mass", "mass_digit_swap": "mass", "paths_wrong": "paths", "r_line_to_line": "ohms", "r_digit_swap": "ohms",
	"star_delta_swapped": "plate", "voltage_wrong": "plate", "poles_wrong": "poles", "stack_blunder": "core", "main_aux_swapped": "roles",
}

// onlyNamed blanks the part that a slip may change; the rest must be equal.
func onlyNamed(t *testing.T, code string, a, b catalog.Winding) {
	t.Helper()
	a, b = deepCopy(a), deepCopy(b)
	for _, w := range []*catalog.Winding{&a, &b} {
		sets := w.Scheme.CoilSets
		switch touched[code] {
		case "plate":
			w.Nameplate = winding.Nameplate{}
		case "poles":
			w.Scheme.Poles, w.Nameplate.Poles = 0, 0
		case "core":
			w.CoreAsMeasured = nil
		}
		for i := range sets {
			none := winding.CoilSet{}.Mass
			switch touched[code] {
			case "wires":
				sets[i].Wires = []wire.Wire{}
			case "pattern":
				sets[i].Pattern = nil
			case "mass":
				sets[i].Mass, sets[i].MassState = none, ""
			case "paths":
				sets[i].ParallelPaths = 0
			case "ohms":
				sets[i].Resistance = none
			case "roles":
				sets[i].Role, sets[i].LeadPair = "", ""
			}
		}
	}
	require.True(t, reflect.DeepEqual(a, b), "%s touches more than %s", code, touched[code])
}

// TestEntries: about half are clean, every kind occurs, every sheet can be sent, and the service's
// check has nothing impossible to say of a clean one.
func TestEntries(t *testing.T) {
	t.Parallel()
	wires := table(t)
	const n = 2500
	w := world(t, Config{Seed: 42, Records: 400, Entries: n})
	kinds := map[string]int{}
	ids := map[string]bool{}
	for e := range w.Entries() {
		kinds[e.Slip]++
		require.False(t, ids[e.ID])
		ids[e.ID] = true
		require.Empty(t, e.Winding.ID+e.Winding.CoreID+e.Winding.FamilyID+string(e.Winding.State))
		sheet := bundle.SheetOf(e.Winding).ToDomain()
		require.Equal(t, e.Winding.Scheme, sheet.Scheme)
		require.Equal(t, e.Winding.CoreAsMeasured, sheet.CoreAsMeasured)
		require.Equal(t, e.Slip == "", e.Field == "")
		if e.Slip == "" {
			s := winding.Sheet{Core: *e.Winding.CoreAsMeasured, MotorType: e.Winding.MotorType, Nameplate: e.Winding.Nameplate, Scheme: e.Winding.Scheme}
			require.NotEqual(t, winding.Impossible, winding.Check(s, wires).Verdict, e.ID)
		}
	}
	require.InDelta(t, 0.55, float64(kinds[""])/n, 0.07)
	for _, code := range Slips() {
		require.Positive(t, kinds[code], code)
	}
	require.Equal(t, "E002500", "E"+padded(n-1))
	require.Len(t, kinds, len(Slips())+1, strconv.Itoa(len(kinds)))
}
