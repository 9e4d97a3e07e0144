package winding_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"statorbook/internal/stator"
	"statorbook/internal/unit"
	"statorbook/internal/winding"
	"statorbook/internal/wire"
)

// rewind changes a stator that can be analysed.
func rewind(t *testing.T, in winding.AnalysisInput, c winding.Change) (winding.ChangeResult, error) {
	t.Helper()
	return winding.Rewind(winding.ChangeInput{Core: &in.Core, Nameplate: *in.Nameplate, Scheme: in.Scheme, Change: c}, benchTable(t))
}

// TestRewindExplicitCoils changes turns and span of listed coils, each sense kept.
func TestRewindExplicitCoils(t *testing.T) {
	t.Parallel()
	in := workedStator()
	in.Scheme.CoilSets[0].Pattern = nil
	in.Scheme.CoilSets[0].Coils = parseCoils(t, "1-6x100 12-7x100 13-18x100 24-19x100")
	got, err := rewind(t, in, winding.Change{Voltage: unit.Of(115)})
	require.NoError(t, err)
	require.Equal(t, parseCoils(t, "1-6x50 12-7x50 13-18x50 24-19x50"), got.Scheme.CoilSets[0].Coils)
	require.Equal(t, parseCoils(t, "1-6x100 12-7x100 13-18x100 24-19x100"), in.Scheme.CoilSets[0].Coils, "the input stays as it was")

	// Full pitch: kw 0.9659 to 1, turns x 0.9659.
	got, err = rewind(t, in, winding.Change{Span: 6})
	require.NoError(t, err)
	require.Equal(t, parseCoils(t, "1-7x97 13-7x97 13-19x97 1-19x97"), got.Scheme.CoilSets[0].Coils)

	in.Scheme.CoilSets[0].Coils = parseCoils(t, "1-6x100 11-8x100 13-18x100 24-19x100")
	_, err = rewind(t, in, winding.Change{Span: 6})
	require.ErrorContains(t, err, "coil 11-8 has another span than the first coil")
}

// TestRewindAuxiliary wants the auxiliary scaled by the same ratio, and its own winding factor in a change of pattern.
func TestRewindAuxiliary(t *testing.T) {
	t.Parallel()
	got, err := rewind(t, capacitorMotor(), winding.Change{Voltage: unit.Of(115)})
	require.NoError(t, err)
	require.Equal(t, []float64{150}, got.Scheme.CoilSets[1].Pattern.Turns)
	require.InDelta(t, 16, got.Nameplate.CapacitorUF.Value, 1e-9)
	require.InDelta(t, 400, got.Nameplate.CapacitorV.Value, 0)
	require.InDelta(t, 1.5, got.Nameplate.Current.Value, 1e-9)
	require.InDelta(t, 90, got.Nameplate.Power.Value, 0)
	require.InDelta(t, 2*float64(*got.Before.Roles[1].ConductorArea), float64(*got.After.Roles[1].ConductorArea), 0.02*float64(*got.After.Roles[1].ConductorArea))
}

// TestRewindFrequencyChangesTheRating wants power and speed up at equal torque, current as the metal.
func TestRewindFrequencyChangesTheRating(t *testing.T) {
	t.Parallel()
	in := capacitorMotor()
	got, err := rewind(t, in, winding.Change{Frequency: unit.Of(60)})
	require.NoError(t, err)
	require.InDelta(t, 108, got.Nameplate.Power.Value, 1e-9)
	require.InDelta(t, 1680, got.Nameplate.Speed.Value, 1e-9)
	require.InDelta(t, 0.9, got.Nameplate.Current.Value, 1e-9)
	require.Equal(t, "calculated", got.Nameplate.Power.Method)
	require.InDelta(t, 4, got.Nameplate.CapacitorUF.Value, 1e-9)
}

// TestRewindWires takes given wires as they are and says by how much they miss.
func TestRewindWires(t *testing.T) {
	t.Parallel()
	got, err := rewind(t, workedStator(), winding.Change{Wires: metric("0.500")})
	require.NoError(t, err)
	require.Equal(t, metric("0.500"), got.Scheme.CoilSets[0].Wires)
	require.Contains(t, codes(got.Findings), "wire_off")
	require.Contains(t, codes(got.Findings), "fuller_than_before")

	got, err = rewind(t, workedStator(), winding.Change{Wires: metric("0.450")})
	require.NoError(t, err)
	require.NotContains(t, codes(got.Findings), "wire_off")
}

// TestRewindMixedWires scales each of two unlike wires in hand by itself.
func TestRewindMixedWires(t *testing.T) {
	t.Parallel()
	in := workedStator()
	in.Scheme.CoilSets[0].Wires = append(bare(0.3, 1), bare(0.35, 1)...)
	got, err := rewind(t, in, winding.Change{Voltage: unit.Of(115)})
	require.NoError(t, err)
	wires := got.Scheme.CoilSets[0].Wires
	require.Len(t, wires, 2)
	require.InDelta(t, 0.3*1.41421, wires[0].Diameter.Value, 2e-3)
	require.InDelta(t, 0.35*1.41421, wires[1].Diameter.Value, 2e-3)

	// Asked for so many strands, or from stock, they become one wire of that many.
	got, err = rewind(t, in, winding.Change{Strands: 2})
	require.NoError(t, err)
	require.Len(t, got.Scheme.CoilSets[0].Wires, 1)
	require.Equal(t, 2, got.Scheme.CoilSets[0].Wires[0].Strands)
}

// TestRewindToAluminium wants the resistance kept, half the mass, and a slot that gets fuller.
func TestRewindToAluminium(t *testing.T) {
	t.Parallel()
	in := workedStator()
	in.Scheme.CoilSets[0].Wires = bare(0.45, 1)
	got, err := rewind(t, in, winding.Change{Conductor: wire.Aluminium})
	require.NoError(t, err)
	require.InEpsilon(t, float64(*got.Before.Roles[0].Resistance20), float64(*got.After.Roles[0].Resistance20), 0.005)
	require.InEpsilon(t, 0.5, float64(*got.After.Roles[0].Mass / *got.Before.Roles[0].Mass), 0.01)
	require.Contains(t, codes(got.Findings), "fuller_than_before")
	same, err := rewind(t, in, winding.Change{Conductor: wire.Copper})
	require.NoError(t, err)
	require.InDelta(t, 0.45, same.Scheme.CoilSets[0].Wires[0].Diameter.Value, 1e-9)
}

// TestRewindStarDelta reconnects a three-phase winding at the same line volts: turns x 1.732, phase current / 1.732.
func TestRewindStarDelta(t *testing.T) {
	t.Parallel()
	in := fortyEight()
	got, err := rewind(t, in, winding.Change{Connection: winding.ConnDelta})
	require.NoError(t, err)
	require.Equal(t, []float64{35}, got.Scheme.CoilSets[0].Pattern.Turns) // 20·√3 = 34.64
	require.Equal(t, winding.ConnDelta, got.Nameplate.Connection)
	require.InDelta(t, 6.5, got.Nameplate.Current.Value, 0, "the line current stays")
	require.InEpsilon(t, float64(*got.Before.FluxPerPole), float64(*got.After.FluxPerPole), 0.011)
	require.InEpsilon(t, float64(*got.Before.Roles[0].CurrentDensity), float64(*got.After.Roles[0].CurrentDensity), 0.02)
}

// TestRewindSteps wants the rounding explained in numbers.
func TestRewindSteps(t *testing.T) {
	t.Parallel()
	got, err := rewind(t, workedStator(), winding.Change{Voltage: unit.Of(115)})
	require.NoError(t, err)
	require.Equal(t, []float64{77, 63}, got.Scheme.CoilSets[0].Pattern.Turns)
	require.Contains(t, got.Steps, "230 V to 115 V: turns in series x 0.5, metal x 2")
	require.Contains(t, got.Steps, "main: 139.50 turns a group wound as 140: flux -0.36 %")
}

// TestChangedSchemeCarriesNoOldMeasurements: mass and resistance were those of the winding that was taken out.
func TestChangedSchemeCarriesNoOldMeasurements(t *testing.T) {
	t.Parallel()
	in := winding.Scheme{Poles: 4, CoilSets: []winding.CoilSet{{Role: winding.Main, Mass: unit.Of(180), MassState: "bare", Resistance: unit.Of(138), Temperature: unit.Of(31),
		Pattern: &winding.Pattern{Kind: winding.Concentric, Throws: []int{6, 4}, Turns: []float64{332, 242}, Groups: 4}}}}
	res, err := winding.Rewind(winding.ChangeInput{Core: &stator.Core{Phases: 1, RotorPosition: stator.RotorInside, Slots: 24},
		Nameplate: winding.Nameplate{Voltage: unit.Of(230), Frequency: unit.Of(50)}, Scheme: in, Change: winding.Change{Voltage: unit.Of(115)}}, nil)
	require.NoError(t, err)
	set := res.Scheme.CoilSets[0]
	require.False(t, set.Mass.Given || set.Resistance.Given || set.Temperature.Given)
	require.Empty(t, set.MassState)
	require.Equal(t, []float64{166, 121}, set.Pattern.Turns, "half the volts, half the turns")
	require.True(t, in.CoilSets[0].Mass.Given, "the input is left alone")
}
