package winding_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"statorbook/internal/errs"
	"statorbook/internal/stator"
	"statorbook/internal/unit"
	"statorbook/internal/winding"
	"statorbook/internal/wire"
)

func bare(d float64, strands int) []wire.Wire {
	return []wire.Wire{{System: wire.Bare, Diameter: unit.Of(d), Conductor: wire.Copper, Strands: strands}}
}

// oneCoilSet is a main winding of four groups with so many turns a coil, without a core.
func oneCoilSet(turns, d float64, plate winding.Nameplate) winding.ChangeInput {
	return winding.ChangeInput{Nameplate: plate, Scheme: winding.Scheme{Poles: 4, CoilSets: []winding.CoilSet{{
		Role: winding.Main, Pattern: &winding.Pattern{Kind: winding.Lap, Throws: []int{6}, Turns: []float64{turns}, Groups: 4}, Wires: bare(d, 1)}}}}
}

func phaseSet(turns, d float64, plate winding.Nameplate) winding.ChangeInput {
	in := oneCoilSet(turns, d, plate)
	in.Scheme.CoilSets[0].Role = winding.PhaseU
	return in
}

func turnsAfter(r winding.ChangeResult) float64 { return r.Scheme.CoilSets[0].Pattern.Turns[0] }

func diameterAfter(r winding.ChangeResult) float64 {
	return r.Scheme.CoilSets[0].Wires[0].Diameter.Value
}

// TestRewindingRules checks the rows D-10 to D-18 of derived_checks.csv (derived two ways there), rounded to whole turns
// and to a micrometre of wire.
func TestRewindingRules(t *testing.T) {
	t.Parallel()
	plate := winding.Nameplate{Voltage: unit.Of(230), Frequency: unit.Of(50), Connection: winding.ConnSingle}
	star := winding.Nameplate{Voltage: unit.Of(400), Frequency: unit.Of(50), Connection: winding.ConnStar}
	delta := star
	delta.Connection = winding.ConnDelta
	rows := map[string]map[string]string{}
	for _, r := range readReference(t, "derived_checks.csv") {
		rows[r["id"]] = r
	}
	value := func(id string) float64 { return number(t, rows[id]["value"]) }
	core := func(d, l, area float64) *stator.Core {
		c := &stator.Core{
			RotorPosition: stator.RotorInside,
			Slots:         24,
			GapDiameter:   unit.Of(d),
			StackLength:   unit.Of(l),
			SlotAreaBasis: stator.AreaNet,
		}
		if area > 0 {
			c.SlotArea = unit.Of(area)
		}
		return c
	}
	scale := oneCoilSet(300, 2*math.Sqrt(0.1257/math.Pi), plate)
	scale.Core = core(60, 30, 70)
	for id, c := range map[string]struct {
		in     winding.ChangeInput
		change winding.Change
		got    func(winding.ChangeResult) float64
		within float64
	}{
		"D-10": {oneCoilSet(400, 0.5, plate), winding.Change{Voltage: unit.Of(115)}, turnsAfter, 0},
		"D-11": {oneCoilSet(400, 0.5, plate), winding.Change{Frequency: unit.Of(60)}, turnsAfter, 0.5},
		"D-12": {phaseSet(120, 0.5, star), winding.Change{Connection: winding.ConnDelta}, turnsAfter, 0.5},
		"D-13": {
			phaseSet(120, 0.5, delta),
			winding.Change{Connection: winding.ConnStar},
			diameterAfter,
			5e-4,
		},
		"D-14": {oneCoilSet(60, 0.5, plate), winding.Change{ParallelPaths: 2}, turnsAfter, 0},
		"D-15": {oneCoilSet(60, 0.8, plate), winding.Change{Strands: 2}, diameterAfter, 5e-4},
		"D-16": {oneCoilSet(60, 0.5, plate), winding.Change{Conductor: wire.Aluminium}, diameterAfter, 6e-4},
		"D-17": {scale, winding.Change{Core: core(66, 45, 84)}, turnsAfter, 0.5},
		"D-18": {scale, winding.Change{Core: core(66, 45, 84)}, func(r winding.ChangeResult) float64 {
			d := diameterAfter(r)
			return math.Pi / 4 * d * d
		}, 5e-4},
	} {
		t.Run(id, func(t *testing.T) {
			t.Parallel()
			c.in.Change = c.change
			got, err := winding.Rewind(c.in, benchTable(t))
			require.NoError(t, err)
			require.InDelta(t, value(id), c.got(got), c.within+1e-9, rows[id]["inputs"])
			require.NotEmpty(t, got.Steps)
			require.NotEmpty(t, got.Cautions)
		})
	}
}

// TestRewindKeepsTheIron wants density, current density and fill as they were, for one change and for several at once.
func TestRewindKeepsTheIron(t *testing.T) {
	t.Parallel()
	for name, change := range map[string]winding.Change{
		"volts":          {Voltage: unit.Of(400)},
		"frequency":      {Frequency: unit.Of(60)},
		"both":           {Voltage: unit.Of(110), Frequency: unit.Of(60)},
		"stack":          {StackLength: unit.Of(60)},
		"two paths":      {ParallelPaths: 2},
		"span and volts": {Span: 4, Voltage: unit.Of(300)},
		"two in hand":    {Strands: 2},
		"everything": {
			Voltage:       unit.Of(115),
			Frequency:     unit.Of(60),
			ParallelPaths: 2,
			StackLength:   unit.Of(50),
			Strands:       2,
		},
		"another pattern": {Pattern: &winding.Pattern{Kind: winding.Concentric, Throws: []int{7, 5, 3}, Groups: 4, Alternate: yes(), FirstSlot: 1}},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			in := workedStator()
			in.Scheme.CoilSets[0].Wires = bare(0.45, 1)
			got, err := winding.Rewind(winding.ChangeInput{Core: &in.Core, Nameplate: *in.Nameplate, Scheme: in.Scheme, Change: change}, benchTable(t))
			require.NoError(t, err)
			b, a := got.Before, got.After
			require.InEpsilon(t, b.Densities.Gap, a.Densities.Gap, 0.01)
			require.InEpsilon(t, b.Densities.BackIron, a.Densities.BackIron, 0.01)
			if change.Pattern == nil { // another share of turns fills the fullest slot otherwise
				require.InEpsilon(t, b.Fullest().Fill.Copper, a.Fullest().Fill.Copper, 0.02)
			}
			if !change.StackLength.Given && change.Span == 0 && change.Pattern == nil {
				require.InEpsilon(t, float64(*b.Roles[0].CurrentDensity), float64(*a.Roles[0].CurrentDensity), 0.02)
			}
			require.NotEmpty(t, got.Table)
			for _, row := range got.Table {
				require.NotEmpty(t, row.Unit, row.Figure)
			}
			require.Equal(t, workedStator().Scheme.CoilSets[0].Pattern, in.Scheme.CoilSets[0].Pattern, "the input stays as it was")
		})
	}
}

// TestRewindFan scales a two-ring fan with its capacitor.
func TestRewindFan(t *testing.T) {
	t.Parallel()
	in := fan()
	in.Nameplate.CapacitorUF, in.Nameplate.CapacitorV = unit.Of(2.5), unit.Of(440)
	got, err := winding.Rewind(winding.ChangeInput{Core: &in.Core, Nameplate: *in.Nameplate, Scheme: in.Scheme, Change: winding.Change{Voltage: unit.Of(115)}}, benchTable(t))
	require.NoError(t, err)
	require.InDelta(t, 10, got.Nameplate.CapacitorUF.Value, 1e-9) // C goes as 1/V²
	require.InDelta(t, 440, got.Nameplate.CapacitorV.Value, 0)    // a higher rating stays
	require.InEpsilon(t, *got.Before.TurnsRatio, *got.After.TurnsRatio, 0.01)
	require.InEpsilon(t, got.Before.Densities.Gap, got.After.Densities.Gap, 0.01)

	up, err := winding.Rewind(winding.ChangeInput{Core: &in.Core, Nameplate: *in.Nameplate, Scheme: in.Scheme, Change: winding.Change{Voltage: unit.Of(460)}}, benchTable(t))
	require.NoError(t, err)
	require.InDelta(t, 0.625, up.Nameplate.CapacitorUF.Value, 1e-9)
	require.InDelta(t, 880, up.Nameplate.CapacitorV.Value, 1e-9)

	// Another frequency at the same volts and density leaves the capacitor as it is: X goes as f·N².
	faster, err := winding.Rewind(winding.ChangeInput{Core: &in.Core, Nameplate: *in.Nameplate, Scheme: in.Scheme, Change: winding.Change{Frequency: unit.Of(60)}}, benchTable(t))
	require.NoError(t, err)
	require.InDelta(t, 2.5, faster.Nameplate.CapacitorUF.Value, 1e-9)
}

// TestRewindPoles lets more poles through and refuses fewer than the back iron bears, with the numbers.
func TestRewindPoles(t *testing.T) {
	t.Parallel()
	in := workedStator()
	two := &winding.Pattern{
		Kind:      winding.Concentric,
		Throws:    []int{12, 10, 8},
		Groups:    2,
		Alternate: yes(),
		FirstSlot: 1,
	}
	change := func(c winding.Change) (winding.ChangeResult, error) {
		return winding.Rewind(winding.ChangeInput{Core: &in.Core, Nameplate: *in.Nameplate, Scheme: in.Scheme, Change: c}, benchTable(t))
	}
	_, err := change(winding.Change{Poles: 2, Pattern: two})
	require.Equal(t, errs.KindImpossible, errs.KindOf(err))
	var e *errs.Error
	require.ErrorAs(t, err, &e)
	require.Equal(t, "BACK_IRON_TOO_THIN", e.Fields[0].Code)
	require.Contains(t, e.Fields[0].Detail, "11.5 mm would carry 2.07 T") // 2 × 1.0162 mWb over 2 × 11.5 × 45 × 0.95 mm²
	require.Contains(t, e.Fields[0].Detail, "2.03 mWb")

	_, err = change(winding.Change{Poles: 6})
	require.ErrorContains(t, err, "other poles need another pattern")

	got, err := change(winding.Change{Poles: 6, Pattern: &winding.Pattern{Kind: winding.Lap, Throws: []int{5}, Groups: 6, Alternate: yes(), FirstSlot: 1}})
	require.NoError(t, err)
	require.Equal(t, 6, got.Scheme.Poles)
	// 4 to 6 poles: the gap density stays, so the flux of a pole falls to 2/3; the tooth limit of 1.5 T is just above that.
	require.InEpsilon(t, got.Before.Densities.Gap, got.After.Densities.Gap, 0.02)
	require.InEpsilon(t, float64(*got.Before.FluxPerPole)*4/6, float64(*got.After.FluxPerPole), 0.02)
	require.InDelta(t, 1400*4.0/6, got.Nameplate.Speed.Value, 1e-9)
	require.False(t, got.Nameplate.Current.Given, "the current of other poles is not known")
}

func TestRewindRefuses(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		edit            func(*winding.ChangeInput)
		pointer, detail string
	}{
		"volts unknown": {func(in *winding.ChangeInput) {
			in.Nameplate.Voltage = unit.Measured{}
			in.Change.Voltage = unit.Of(115)
		}, "/nameplate/voltage_v", "made for"},
		"frequency unknown": {func(in *winding.ChangeInput) {
			in.Nameplate.Frequency = unit.Measured{}
			in.Change.Frequency = unit.Of(60)
		}, "/nameplate/frequency_hz", "made for"},
		"negative volts": {
			func(in *winding.ChangeInput) { in.Change.Voltage = unit.Of(-5) },
			"/change/voltage_v",
			"above 0",
		},
		"nan volts": {
			func(in *winding.ChangeInput) { in.Change.Voltage = unit.Of(math.NaN()) },
			"/change/voltage_v",
			"above 0",
		},
		"to star": {
			func(in *winding.ChangeInput) { in.Change.Connection = winding.ConnStar },
			"/change/connection",
			"different windings",
		},
		"paths": {
			func(in *winding.ChangeInput) { in.Change.ParallelPaths = 3 },
			"/scheme/coil_sets/0/parallel_paths",
			"do not divide",
		},
		"strands": {
			func(in *winding.ChangeInput) { in.Change.Strands = 99 },
			"/change/strands",
			"1 to 8",
		},
		"metal": {
			func(in *winding.ChangeInput) { in.Change.Conductor = "iron" },
			"/change/conductor",
			"copper or aluminium",
		},
		"no core": {
			func(in *winding.ChangeInput) { in.Core = nil; in.Change.Span = 4 },
			"/core",
			"needs the present core",
		},
		"other slots": {func(in *winding.ChangeInput) {
			o := *in.Core
			o.Slots = 36
			o.ToothWidth = unit.Measured{}
			o.SlotArea = unit.Measured{}
			in.Change.Core = &o
		}, "/change/core/slots", "24, not 36"},
		"impossible core": {
			func(in *winding.ChangeInput) { o := *in.Core; o.BackDiameter = unit.Of(10); in.Change.Core = &o },
			"/change/core/gap_diameter_mm",
			"must be below",
		},
		"span": {
			func(in *winding.ChangeInput) { in.Change.Span = 99 },
			"/scheme/coil_sets/0/pattern/throws/0",
			"does not exist",
		},
		"wire": {func(in *winding.ChangeInput) {
			in.Change.Wires = []wire.Wire{{System: wire.SWG, Size: "99", Conductor: wire.Copper}}
		}, "/change/wires/0", ""},
		"empty scheme": {
			func(in *winding.ChangeInput) { in.Scheme.CoilSets = nil },
			"/scheme/coil_sets",
			"at least one",
		},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			w := workedStator()
			in := winding.ChangeInput{Core: &w.Core, Nameplate: *w.Nameplate, Scheme: w.Scheme}
			c.edit(&in)
			_, err := winding.Rewind(in, benchTable(t))
			require.Equal(t, errs.KindImpossible, errs.KindOf(err), "%v", err)
			var e *errs.Error
			require.ErrorAs(t, err, &e)
			require.Contains(t, e.Fields[0].Pointer, c.pointer)
			require.Contains(t, e.Fields[0].Detail, c.detail)
		})
	}
}

// TestRewindFromStock takes what is on the shelf, with strands, and says when it is not what is asked.
func TestRewindFromStock(t *testing.T) {
	t.Parallel()
	w := workedStator()
	in := winding.ChangeInput{
		Core:      &w.Core,
		Nameplate: *w.Nameplate,
		Scheme:    w.Scheme,
		Change:    winding.Change{Voltage: unit.Of(115)},
		Stock:     metric("0.450"),
	}
	got, err := winding.Rewind(in, benchTable(t))
	require.NoError(t, err)
	require.Equal(t, "0.450", got.Scheme.CoilSets[0].Wires[0].Size)
	require.Equal(t, 2, got.Scheme.CoilSets[0].Wires[0].Strands) // half the volts, twice the metal
	in.Stock = []wire.Wire{{System: wire.SWG, Size: "36", Conductor: wire.Copper}}
	got, err = winding.Rewind(in, benchTable(t))
	require.NoError(t, err)
	require.Contains(t, codes(got.Findings), "wire_off")
	in.Stock = []wire.Wire{{System: wire.SWG, Size: "36", Conductor: wire.Aluminium}}
	got, err = winding.Rewind(in, benchTable(t))
	require.NoError(t, err)
	require.Contains(t, codes(got.Findings), "no_wire_near")
}

// TestRewindWarnsFarAndCoarse wants a finding where scaling goes far and where turns are few.
func TestRewindWarnsFarAndCoarse(t *testing.T) {
	t.Parallel()
	w := workedStator()
	o := w.Core
	o.StackLength = unit.Of(90)
	got, err := winding.Rewind(winding.ChangeInput{Core: &w.Core, Nameplate: *w.Nameplate, Scheme: w.Scheme, Change: winding.Change{Core: &o}}, benchTable(t))
	require.NoError(t, err)
	require.Contains(t, codes(got.Findings), "scaled_far")
	narrow := w.Core
	narrow.ToothWidth = unit.Of(3.5)
	got, err = winding.Rewind(winding.ChangeInput{Core: &w.Core, Nameplate: *w.Nameplate, Scheme: w.Scheme, Change: winding.Change{Core: &narrow}}, benchTable(t))
	require.NoError(t, err)
	require.Contains(t, codes(got.Findings), "core_proportions")
	require.InEpsilon(t, 1116*4.1/3.5, got.After.Roles[0].SeriesTurns, 0.01, "the narrower teeth set the flux")
	few := oneCoilSet(7, 0.5, *w.Nameplate)
	few.Change.Voltage = unit.Of(50)
	got, err = winding.Rewind(few, benchTable(t))
	require.NoError(t, err)
	require.Contains(t, codes(got.Findings), "rounding_coarse")
}

func codes(findings []errs.Finding) []string {
	out := make([]string, len(findings))
	for i, f := range findings {
		out[i] = f.Code
	}
	return out
}
