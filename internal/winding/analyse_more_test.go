package winding_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"statorbook/internal/stator"
	"statorbook/internal/unit"
	"statorbook/internal/winding"
)

// capacitorMotor is the worked stator with an auxiliary of 1.25 times the turns, and a capacitor.
func capacitorMotor() winding.AnalysisInput {
	in := workedStator()
	in.Nameplate.Power = unit.Of(90)
	in.Nameplate.CapacitorUF = unit.Of(4)
	in.Nameplate.CapacitorV = unit.Of(400)
	in.Scheme.CoilSets = append(in.Scheme.CoilSets, winding.CoilSet{
		Role: winding.Auxiliary,
		Pattern: &winding.Pattern{
			Kind:      winding.Lap,
			Throws:    []int{6},
			Turns:     []float64{300},
			Groups:    4,
			Alternate: yes(),
		},
		Wires: metric("0.450"),
	})
	return in
}

// TestCapacitorMotor follows the capacitor by hand: volts at balance and the highest supply, size by the rule of
// thumb (25 to 50 uF per kW at 230 V 50 Hz), reactance that balances the plate current, current through it.
func TestCapacitorMotor(t *testing.T) {
	t.Parallel()
	got, err := winding.Analyse(capacitorMotor(), benchTable(t))
	require.NoError(t, err)
	main, aux := got.RoleOf(winding.Main), got.RoleOf(winding.Auxiliary)
	ratio := *aux.EffectiveTurns / *main.EffectiveTurns
	require.InDelta(t, 1200*0.965926/(1116*0.849040), ratio, 1e-5)
	require.InDelta(t, ratio, *got.TurnsRatio, 1e-12)
	require.InDelta(t, 90, *got.Displacement, 1e-6)

	c := got.Capacitor
	require.InDelta(t, 253, float64(c.HighestSupply), 1e-9)
	require.InDelta(t, 253*math.Sqrt(1+ratio*ratio), float64(c.Volts), 1e-9)
	require.InDelta(t, 2.25, float64(*c.PlausibleLow), 1e-9)
	require.InDelta(t, 4.5, float64(*c.PlausibleHigh), 1e-9)
	balance := 230 * ratio * math.Sqrt(1+ratio*ratio) / 0.75
	require.InDelta(t, 1e6/(2*math.Pi*50*balance), float64(*c.BalancedUF), 1e-9)
	require.InDelta(t, 230*math.Sqrt(1+ratio*ratio)*2*math.Pi*50*4e-6, float64(*c.AuxiliaryAmps), 1e-9)
	require.NotContains(t, codes(got.Findings), "capacitor_volts")
	require.NotContains(t, codes(got.Findings), "capacitor_size")

	require.Equal(t, "common-run", got.Terminals[0].Pair)
	require.InDelta(t, float64(*main.Resistance20), float64(got.Terminals[0].Resistance20), 1e-12)
	require.InDelta(t, float64(*aux.Resistance20), float64(got.Terminals[1].Resistance20), 1e-12)
}

// TestCapacitorWarns wants too few volts and a far-off size told.
func TestCapacitorWarns(t *testing.T) {
	t.Parallel()
	in := capacitorMotor()
	in.Nameplate.CapacitorV = unit.Of(250)
	in.Nameplate.CapacitorUF = unit.Of(40)
	got, err := winding.Analyse(in, benchTable(t))
	require.NoError(t, err)
	require.Contains(t, codes(got.Findings), "capacitor_volts")
	require.Contains(t, codes(got.Findings), "capacitor_size")

	in.Nameplate.CapacitorUF, in.Nameplate.CapacitorV = unit.Measured{}, unit.Measured{}
	got, err = winding.Analyse(in, benchTable(t))
	require.NoError(t, err)
	require.Contains(t, got.Missing, "nameplate.capacitor_uf")
	require.Contains(t, got.Missing, "nameplate.capacitor_v")
	require.Nil(t, got.Capacitor.UF)
	require.NotNil(t, got.Capacitor.BalancedUF)
}

// TestSupplyGoesFirst wants the figures of what is on site where both are told.
func TestSupplyGoesFirst(t *testing.T) {
	t.Parallel()
	in := workedStator()
	in.Supply = &winding.Supply{
		Voltage:    unit.Of(240),
		Frequency:  unit.Of(60),
		Phases:     1,
		Connection: winding.ConnSingle,
	}
	got, err := winding.Analyse(in, benchTable(t))
	require.NoError(t, err)
	require.InDelta(t, 0.93*240, float64(*got.EMF), 1e-9)
	require.InDelta(t, 1800, float64(got.Speed.Synchronous), 1e-9)
	require.Contains(t, got.Methods["emf_v"].Inputs, "supply.voltage_v")
	require.Contains(t, got.Methods["speed.synchronous_rpm"].Inputs, "supply.frequency_hz")
	require.NotContains(t, codes(got.Findings), "supply_differs")
}

// TestPolesAreFound takes poles from the plate, then from the speed, and says so; without any, what does not need them stays.
func TestPolesAreFound(t *testing.T) {
	t.Parallel()
	assumed := func(a winding.Analysis) any {
		for _, as := range a.Assumed {
			if as.Field == "scheme.poles" {
				return as.Value
			}
		}
		return nil
	}
	in := workedStator()
	in.Scheme.Poles = 0
	in.Nameplate.Poles = 4
	got, err := winding.Analyse(in, benchTable(t))
	require.NoError(t, err)
	require.Equal(t, 4, got.Poles)
	require.InDelta(t, 4, assumed(got), 0)

	in.Nameplate.Poles = 0
	got, err = winding.Analyse(in, benchTable(t))
	require.NoError(t, err)
	require.InDelta(t, 4, assumed(got), 0)

	in.Nameplate.Speed = unit.Measured{}
	_, err = winding.Analyse(in, benchTable(t))
	require.ErrorContains(t, err, "/scheme/poles: a pattern is laid by the number of poles")

	in.Scheme.CoilSets[0].Pattern = nil
	in.Scheme.CoilSets[0].Coils = parseCoils(t, "1-6x153 2-5x126")
	got, err = winding.Analyse(in, benchTable(t))
	require.NoError(t, err)
	require.Contains(t, got.Missing, "scheme.poles")
	require.Nil(t, got.Roles[0].WindingFactor)
	require.NotNil(t, got.Roles[0].Resistance20)
}

// TestMethodsNameTheirInputs wants a method with inputs for each figure that is there.
func TestMethodsNameTheirInputs(t *testing.T) {
	t.Parallel()
	got, err := winding.Analyse(capacitorMotor(), benchTable(t))
	require.NoError(t, err)
	for _, figure := range []string{
		"winding_factor", "axis_deg", "effective_turns", "mean_turn_mm", "length_m", "resistance_20c_ohm", "resistance_at", "mass_g",
		"current_density_a_per_mm2", "displacement_deg", "turns_ratio", "flux_per_pole_mwb", "densities.gap_t", "densities.teeth",
		"densities.back_iron_t", "fill", "speed.synchronous_rpm", "speed.slip", "capacitor", "emf_v", "ampere_conductors_per_m", "terminals",
	} {
		m, ok := got.Methods[figure]
		require.True(t, ok, figure)
		require.NotEmpty(t, m.Method, figure)
		require.NotEmpty(t, m.Inputs, figure)
	}
	for _, a := range got.Assumed {
		require.NotEmpty(t, a.Field)
		require.NotNil(t, a.Value)
		require.NotEmpty(t, a.Why)
	}
}

// TestSlotsAndFill wants every slot listed, empty ones too, with conductors that add up.
func TestSlotsAndFill(t *testing.T) {
	t.Parallel()
	got, err := winding.Analyse(capacitorMotor(), benchTable(t))
	require.NoError(t, err)
	require.Len(t, got.Slots, 24)
	total := 0.0
	for i, s := range got.Slots {
		require.Equal(t, i+1, s.Number)
		require.Equal(t, winding.RingGap, s.Ring)
		total += s.Turns()
	}
	require.InDelta(t, 2*(1116+1200), total, 1e-9)
	for _, f := range got.Fill {
		require.InDelta(t, math.Pi/4, f.Fill.Circle/f.Fill.Square, 1e-9, "circle = pi/4 square")
		require.Less(t, f.Fill.Copper, f.Fill.Circle)
		require.Equal(t, stator.AreaNet, f.AreaBasis)
	}

	in := workedStator()
	in.Core.SlotAreaBasis = ""
	gross, err := winding.Analyse(in, benchTable(t))
	require.NoError(t, err)
	require.Equal(t, stator.AreaGross, gross.Fill[0].AreaBasis, "a basis that is not told is taken as gross, and said")

	in.Core.SlotArea = unit.Measured{}
	derived, err := winding.Analyse(in, benchTable(t))
	require.NoError(t, err)
	area, ok := stator.DerivedSlotArea(in.Core)
	require.True(t, ok)
	require.InDelta(t, float64(area.Net), float64(derived.Fill[0].Area), 1e-12)
}

// TestToothCoil takes the mean turn round a tooth by hand: 2·L + 2·b + π·w, and 6 mm of straight run at each
// of its four corners, as every other coil has it (common practice: 5 to 10 mm). It cannot be shorter than
// the former that the cut list names, which stands out of the core by as much.
func TestToothCoil(t *testing.T) {
	t.Parallel()
	in := fan()
	got, err := winding.Analyse(in, benchTable(t))
	require.NoError(t, err)
	slot, ok := stator.DerivedSlotArea(in.Core)
	require.True(t, ok)
	side := float64(slot.Gross) / float64(slot.Height) / 2 // two coil sides share a slot of a whole-coil winding
	require.InDelta(t, 2*20+2*14+math.Pi*side+4*6, float64(*got.Roles[0].MeanTurn), 1e-9)
	bill, err := winding.Materials(in, winding.DefaultAllowances(), benchTable(t))
	require.NoError(t, err)
	for _, f := range bill.Formers {
		require.Greater(t, float64(f.Perimeter), 2*float64(f.Length), "a former of %v mm", f.Length)
		require.Greater(t, float64(f.Perimeter), 2*float64(bill.Liners[0].Length), "liners of %v mm", bill.Liners[0].Length)
	}

	in.Core.ToothWidth = unit.Measured{}
	got, err = winding.Analyse(in, benchTable(t))
	require.NoError(t, err)
	want, ok := winding.MeanTurn(in.Core, winding.RingGap, 1, winding.BenchMeanTurn)
	require.True(t, ok)
	require.InDelta(t, float64(want), float64(*got.Roles[0].MeanTurn), 1e-9)
}

// TestPathsOfUnlikeCoils tells paths that divide the coils, but not into like ones.
func TestPathsOfUnlikeCoils(t *testing.T) {
	t.Parallel()
	core := stator.Core{Slots: 24}
	s := threePhase(2, 13, 4, 10) // 24/2 single layer: four coils of a phase, each in another phase angle
	for i := range s.CoilSets {
		s.CoilSets[i].ParallelPaths = 2
	}
	got, err := winding.Analyse(winding.AnalysisInput{Core: core, Scheme: s}, benchTable(t))
	require.NoError(t, err)
	require.Contains(t, codes(got.Findings), "paths_unlike")

	double := threePhase(4, 6, 8, 10)
	for i := range double.CoilSets {
		double.CoilSets[i].ParallelPaths = 4
	}
	got, err = winding.Analyse(winding.AnalysisInput{Core: core, Scheme: double}, benchTable(t))
	require.NoError(t, err)
	require.NotContains(t, codes(got.Findings), "paths_unlike")
}

// TestOnePhaseAlone takes phases that are not given as like the one that is.
func TestOnePhaseAlone(t *testing.T) {
	t.Parallel()
	all := fortyEight()
	whole, err := winding.Analyse(all, benchTable(t))
	require.NoError(t, err)
	all.Scheme.CoilSets = all.Scheme.CoilSets[:1]
	one, err := winding.Analyse(all, benchTable(t))
	require.NoError(t, err)
	require.InDelta(t, *whole.AmpereConductors, *one.AmpereConductors, 1e-9)
	require.InDelta(t, float64(whole.Terminals[0].Resistance20), float64(one.Terminals[0].Resistance20), 1e-9)
	require.InDelta(t, float64(*whole.FluxPerPole), float64(*one.FluxPerPole), 1e-12)
	// 3 x 2 x 320 conductors of 6.5 A round 120 mm.
	require.InDelta(t, 3*2*320*6.5*1000/(math.Pi*120), *whole.AmpereConductors, 1e-6)
}

// TestFluxLimitsInverse: every limit brings its part back to the density it was made from.
func TestFluxLimitsInverse(t *testing.T) {
	t.Parallel()
	core := fan().Core
	limits := winding.FluxLimits(core, 14)
	require.Len(t, limits, 5)
	for i, l := range limits {
		if i > 0 {
			require.GreaterOrEqual(t, l.Flux, limits[i-1].Flux, "smallest first")
		}
		d, _, ok := winding.DensitiesAt(core, 14, l.Flux)
		require.True(t, ok)
		switch l.Part {
		case "tooth":
			require.InDelta(t, 1.5, d.Teeth[0].T, 1e-9)
		case "slit_leg":
			require.InDelta(t, 1.5, d.Teeth[1].T, 1e-9)
		case "back tooth":
			require.InDelta(t, 1.5, d.Teeth[2].T, 1e-9)
		case "back_iron":
			require.InDelta(t, 1.3, d.BackIron, 1e-9)
		case "gap":
			require.InDelta(t, 0.5, float64(winding.AverageGapDensity(unit.Tesla(d.Gap))), 1e-9)
		default:
			t.Fatalf("unknown part %s", l.Part)
		}
	}
	core.StackLength = unit.Measured{}
	require.Nil(t, winding.FluxLimits(core, 14))
	_, missing, ok := winding.DensitiesAt(core, 14, 1)
	require.False(t, ok)
	require.Contains(t, missing, "stack_length_mm")
}
