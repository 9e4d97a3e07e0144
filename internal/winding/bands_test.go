package winding_test

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"statorbook/internal/errs"
	"statorbook/internal/stator"
	"statorbook/internal/unit"
	"statorbook/internal/winding"
)

// bandRows says which rows of typical_ranges.csv a band is taken from, and by what its figures are
// multiplied to get into the unit of the band.
var bandRows = []struct {
	parameter, scope string
	rows             [][2]string // parameter and scope of the table
	times            float64
}{
	{
		"average gap flux density",
		"three-phase",
		[][2]string{{"average gap flux density Bav", "small 3-phase induction, 50 Hz"}},
		1,
	},
	{
		"average gap flux density",
		"single-phase",
		[][2]string{{"average gap flux density Bav", "single-phase fractional hp"}},
		1,
	},
	{
		"average gap flux density",
		"ceiling fan",
		[][2]string{{"average gap flux density Bav", "external-rotor ceiling fan"}},
		1,
	},
	{
		"stator tooth density",
		"small induction",
		[][2]string{{"stator tooth density (peak)", "small induction 50 Hz"}},
		1,
	},
	{
		"back iron density",
		"small induction",
		[][2]string{{"stator yoke (back iron) density", "small induction 50 Hz"}},
		1,
	},
	{"current density", "main winding", [][2]string{
		{"current density, main winding", "totally enclosed fan-cooled small"},
		{"current density, main winding", "open/ventilated"},
	}, 1},
	{"current density", "ceiling fan", [][2]string{{"current density, ceiling fan", "external rotor"}}, 1},
	{
		"ampere-conductors per metre",
		"three-phase",
		[][2]string{{"linear current loading ac", "small 3-phase"}},
		1,
	},
	{
		"ampere-conductors per metre",
		"single-phase",
		[][2]string{{"linear current loading ac", "single-phase fractional hp (main)"}},
		1,
	},
	{
		"fill, copper",
		"by hand, net slot",
		[][2]string{{"slot fill, copper-only of net slot", "round random wire by hand"}},
		1,
	},
	{
		"fill, circle",
		"by hand, net slot",
		[][2]string{{"slot fill, enamelled circle of net slot", "by hand"}},
		1,
	},
	{
		"fill, square",
		"by hand, net slot",
		[][2]string{{"slot fill, enamelled square (N*D^2) of net slot", "by hand"}},
		1,
	},
	{
		"turns ratio",
		"permanent split capacitor",
		[][2]string{{"auxiliary/main effective turns ratio a", "permanent split capacitor (fan, pump)"}},
		1,
	},
	{
		"turns ratio",
		"split phase",
		[][2]string{{"auxiliary/main effective turns ratio a", "split-phase (resistance start)"}},
		1,
	},
	{
		"wire area, auxiliary over main",
		"permanent split capacitor",
		[][2]string{{"auxiliary wire area / main wire area", "PSC"}},
		1,
	},
	{
		"run capacitor",
		"230 V 50 Hz, per kW output",
		[][2]string{{"run capacitor", "230 V 50 Hz, per kW output"}},
		1,
	},
	{
		"run capacitor",
		"ceiling/table fan 230 V 50 Hz",
		[][2]string{{"run capacitor", "ceiling/table fan 230 V 50 Hz"}},
		1,
	},
	{"slot opening", "fractional horsepower", [][2]string{{"slot opening", "fractional hp"}}, 1},
	{
		"stack over pole pitch",
		"small induction",
		[][2]string{{"core length / pole pitch", "small induction"}},
		1,
	},
	{"winding factor", "three-phase", [][2]string{{"winding factor kw", "3-phase 60-degree belt"}}, 1},
	{"winding factor", "single-phase", [][2]string{{"winding factor kw", "single-phase concentric main"}}, 1},
	{"slip", "three-phase", [][2]string{{"full-load slip", "3-phase small"}}, 0.01},
	{"slip", "single-phase", [][2]string{{"full-load slip", "single-phase small"}}, 0.01},
}

// TestBandsAreThoseOfTheTable sets every band against its row. Most rows are common practice from memory, as the
// table itself says; a band over two rows takes the wider ends.
func TestBandsAreThoseOfTheTable(t *testing.T) {
	t.Parallel()
	table := map[[2]string]map[string]string{}
	for _, row := range readReference(t, "typical_ranges.csv") {
		table[[2]string{row["parameter"], row["machine_scope"]}] = row
	}
	checked := map[[2]string]bool{{"slip", "ceiling fan"}: true} // from the note of the row "ceiling fan running speed": 8-25 %
	for _, c := range bandRows {
		low, high := math.Inf(1), math.Inf(-1)
		for _, key := range c.rows {
			row, ok := table[key]
			require.True(t, ok, "%v", key)
			low = math.Min(low, c.times*number(t, row["low"]))
			high = math.Max(high, c.times*number(t, row["high"]))
		}
		found := false
		for _, b := range winding.Bands() {
			if b.Parameter != c.parameter || b.Scope != c.scope {
				continue
			}
			found = true
			require.InDelta(t, low, b.Low, 1e-9, c.parameter)
			require.InDelta(t, high, b.High, 1e-9, c.parameter)
		}
		require.True(t, found, "%s, %s", c.parameter, c.scope)
		checked[[2]string{c.parameter, c.scope}] = true
	}
	for _, b := range winding.Bands() {
		require.True(t, checked[[2]string{b.Parameter, b.Scope}], "%s, %s has no row", b.Parameter, b.Scope)
		require.Less(t, b.Low, b.Typical)
		require.Less(t, b.Typical, b.High)
		require.NotEmpty(t, b.Source)
	}
}

// TestToothBandNamesTheTooth: a stator of two rings has three kinds of tooth, and a finding says which it is about.
func TestToothBandNamesTheTooth(t *testing.T) {
	t.Parallel()
	in := fan()
	in.Nameplate.Voltage = unit.Of(23) // every tooth far below its band
	a, err := winding.Analyse(in, benchTable(t))
	require.NoError(t, err)
	said := map[string]string{}
	for _, f := range a.Findings {
		if strings.Contains(f.Message, "density of ") && strings.Contains(f.Message, "(small induction") {
			said[f.Fields[0]] = f.Message[:strings.Index(f.Message, " of ")]
		}
	}
	require.Contains(t, said["core.tooth_width_mm"], "stator tooth density")
	require.Contains(t, said["core.second_ring.slot_opening_mm"], "slit leg density")
	require.Contains(t, said["core.second_ring.tooth_width_mm"], "tooth density")
}

// TestFindingsOutsideBands moves one figure at a time out of its band.
func TestFindingsOutsideBands(t *testing.T) {
	t.Parallel()
	type edit = func(*winding.AnalysisInput)
	for name, c := range map[string]struct {
		edit     edit
		code     string
		severity errs.Severity
	}{
		"many volts": {
			func(in *winding.AnalysisInput) { in.Nameplate.Voltage = unit.Of(400) },
			"tooth_density_above_band", errs.SeverityWarning,
		},
		"few volts": {
			func(in *winding.AnalysisInput) { in.Nameplate.Voltage = unit.Of(110) },
			"gap_density_below_band", errs.SeverityNote,
		},
		"thin back iron": {
			func(in *winding.AnalysisInput) { in.Core.BackIron = unit.Of(7) },
			"back_iron_density_above_band", errs.SeverityWarning,
		},
		"much current": {
			func(in *winding.AnalysisInput) { in.Nameplate.Current = unit.Of(3) },
			"current_density_above_band", errs.SeverityWarning,
		},
		"ampere-conductors": {
			func(in *winding.AnalysisInput) { in.Nameplate.Current = unit.Of(3) },
			"ampere_conductors_above_band", errs.SeverityWarning,
		},
		"full slot": {
			func(in *winding.AnalysisInput) { in.Scheme.CoilSets[0].Wires = metric("0.560") },
			"fill_square_above_band", errs.SeverityWarning,
		},
		"fast": {
			func(in *winding.AnalysisInput) { in.Nameplate.Speed = unit.Of(1520) },
			"speed_above_synchronous", errs.SeverityWarning,
		},
		"slow": {
			func(in *winding.AnalysisInput) { in.Nameplate.Speed = unit.Of(1000) },
			"slip_above_band", errs.SeverityWarning,
		},
		"a little slow": {
			func(in *winding.AnalysisInput) { in.Nameplate.Speed = unit.Of(1280) },
			"slip_above_band", errs.SeverityNote,
		},
		"long stack": {
			func(in *winding.AnalysisInput) { in.Core.StackLength = unit.Of(150) },
			"stack_over_pole_pitch_above_band", errs.SeverityNote,
		},
		"narrow mouth": {
			func(in *winding.AnalysisInput) { in.Core.SlotOpening = unit.Of(0.9) },
			"wire_through_mouth", errs.SeverityNote,
		},
		"too narrow mouth": {
			func(in *winding.AnalysisInput) { in.Core.SlotOpening = unit.Of(0.5) },
			"wire_through_mouth", errs.SeverityWarning,
		},
		"other poles on the plate": {
			func(in *winding.AnalysisInput) { in.Nameplate.Poles = 6 },
			"poles_differ", errs.SeverityWarning,
		},
		"other supply": {
			func(in *winding.AnalysisInput) { in.Supply = &winding.Supply{Voltage: unit.Of(400)} },
			"supply_differs", errs.SeverityWarning,
		},
		"wrong sense": {
			func(in *winding.AnalysisInput) {
				p := in.Scheme.CoilSets[0].Pattern
				p.Kind, p.Throws, p.Turns, p.Alternate = winding.Lap, []int{7}, []float64{100}, no()
			},
			"sides_cancel", errs.SeverityWarning,
		},
		"too wide coils": {
			func(in *winding.AnalysisInput) { in.Scheme.CoilSets[0].Pattern.Throws = []int{12, 10} },
			"over_pitched", errs.SeverityWarning,
		},
		"few slots": {
			func(in *winding.AnalysisInput) {
				in.Core.Slots, in.Core.SlotArea = 4, unit.Measured{}
				in.Scheme = winding.Scheme{Poles: 4, CoilSets: []winding.CoilSet{{
					Role: winding.Main,
					Pattern: &winding.Pattern{
						Kind:   winding.Tooth,
						Throws: []int{2},
						Turns:  []float64{300},
						Groups: 4,
					},
				}}}
			},
			"outside_service_range", errs.SeverityWarning,
		},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			in := workedStator()
			c.edit(&in)
			got, err := winding.Analyse(in, benchTable(t))
			require.NoError(t, err)
			for _, f := range got.Findings {
				if f.Code != c.code {
					continue
				}
				require.Equal(t, c.severity, f.Severity, f.Message)
				require.NotEmpty(t, f.Fields)
				require.NotEmpty(t, f.Message)
				return
			}
			t.Fatalf("no %s among %v", c.code, codes(got.Findings))
		})
	}
}

// TestWorkedStatorIsQuiet wants nothing but notes about the worked stator itself.
func TestWorkedStatorIsQuiet(t *testing.T) {
	t.Parallel()
	got, err := winding.Analyse(workedStator(), benchTable(t))
	require.NoError(t, err)
	for _, f := range got.Findings {
		require.Equal(t, errs.SeverityNote, f.Severity, f.Message)
	}
}

// TestStartCapacitorIsNoRunCapacitor: the rules for run capacitors judge what stays in circuit. At 370 W,
// 70 uF is an ordinary start capacitor and far too much for a run capacitor (typical_ranges.csv: 120 to 250 against 25 to
// 50 uF per kW at 230 V 50 Hz; common practice, from memory).
func TestStartCapacitorIsNoRunCapacitor(t *testing.T) {
	t.Parallel()
	judged := func(motorType string) winding.Analysis {
		s := soundSheet(t)
		s.Nameplate.Power, s.Nameplate.CapacitorUF, s.Nameplate.CapacitorV = unit.Of(370), unit.Of(70), unit.Of(250)
		a, err := winding.Analyse(winding.AnalysisInput{Core: s.Core, Nameplate: &s.Nameplate, Scheme: s.Scheme, MotorType: motorType}, benchTable(t))
		require.NoError(t, err)
		return a
	}
	run := judged("permanent_split_capacitor")
	require.Subset(t, codes(run.Findings), []string{"capacitor_volts", "capacitor_size"})
	start := judged("capacitor_start")
	require.NotContains(t, codes(start.Findings), "capacitor_volts")
	require.NotContains(t, codes(start.Findings), "capacitor_size")
	require.Nil(t, start.Capacitor)
	unknown := judged("")
	require.NotNil(t, unknown.Capacitor)
	require.Contains(t, unknown.Assumed, winding.Assumption{Field: "nameplate.capacitor_uf", Value: "run capacitor", Why: "the kind of motor is not told; a start capacitor would not be judged"})
}

// TestConsequentPolesMayReachOver: 36 slots, 4 poles, two concentric groups a phase, throws 12, 10, 8 is a right
// layout (each slot one side, kw 0.9598); with a group for each pole the same throws are doubtful.
func TestConsequentPolesMayReachOver(t *testing.T) {
	t.Parallel()
	core := stator.Core{Phases: 3, RotorPosition: stator.RotorInside, Slots: 36}
	scheme := func(groups int) winding.Scheme {
		s := winding.Scheme{Poles: 4}
		for _, role := range []winding.Role{winding.PhaseU, winding.PhaseV, winding.PhaseW} {
			s.CoilSets = append(s.CoilSets, winding.CoilSet{Role: role, Pattern: &winding.Pattern{Kind: winding.Concentric, Throws: []int{12, 10, 8}, Turns: []float64{30, 30, 30}, Groups: groups}})
		}
		return s
	}
	right, err := winding.Analyse(winding.AnalysisInput{Core: core, Scheme: scheme(2)}, benchTable(t))
	require.NoError(t, err)
	require.NotContains(t, codes(right.Findings), "over_pitched")
	// Theraja Ex 37.2: 36 slots, 4 poles, three-phase: kd 0.959795; a single layer of consequent poles has kw = kd.
	require.InDelta(t, 0.959795, *right.Roles[0].WindingFactor, 1e-6)
	doubtful, err := winding.Analyse(winding.AnalysisInput{Core: core, Scheme: scheme(4)}, benchTable(t))
	require.NoError(t, err)
	require.Contains(t, codes(doubtful.Findings), "over_pitched")
}

// TestMainShareOfTheCurrent: where an auxiliary runs along with a capacitor, the plate current is not the main winding's
// alone. At balance Ia = Im/a stands at right angles to Im, so Im = I·a/√(1+a²): a density that is above the band only
// because all of the current was put on the main winding is a note, one that stays above it a warning.
func TestMainShareOfTheCurrent(t *testing.T) {
	t.Parallel()
	in := fan()
	in.MotorType = "permanent_split_capacitor"
	area, ratio := math.Pi/4*0.28*0.28, 300.0/290
	share := ratio / math.Sqrt(1+ratio*ratio)
	require.InDelta(t, 0.719, share, 1e-3)
	severity := func(j float64, motorType string) (errs.Severity, bool) {
		in := in
		plate := *in.Nameplate
		plate.Current = unit.Of(j * area)
		in.Nameplate, in.MotorType = &plate, motorType
		got, err := winding.Analyse(in, benchTable(t))
		require.NoError(t, err)
		for _, f := range got.Findings {
			if f.Code == "current_density_above_band" {
				return f.Severity, true
			}
		}
		return "", false
	}
	for _, c := range []struct {
		j         float64
		motorType string
		want      errs.Severity
	}{
		{6.4, "permanent_split_capacitor", ""}, {6.6, "permanent_split_capacitor", errs.SeverityNote}, {6.5/share - 0.05, "permanent_split_capacitor", errs.SeverityNote},
		{6.5/share + 0.05, "permanent_split_capacitor", errs.SeverityWarning}, {6.6, "split_phase", errs.SeverityWarning}, {6.6, "", errs.SeverityNote},
	} {
		got, found := severity(c.j, c.motorType)
		require.Equal(t, c.want != "", found, "%v", c)
		require.Equal(t, c.want, got, "%v", c)
	}
}
