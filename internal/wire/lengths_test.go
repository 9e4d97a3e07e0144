package wire_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"statorbook/internal/errs"
	"statorbook/internal/unit"
	"statorbook/internal/wire"
)

func with(v, sd float64) unit.Measured {
	return unit.Measured{Given: true, Value: v, Uncertainty: sd}
}

// The worked stator of the formula page, section 15 (derived there): 4 poles of 153 turns of 266.17 mm
// and 126 of 205.30 mm, metric 0.450: 266.4 m, 28.88 Ω (1/58), 35.12 Ω at 75 °C (K 234.5), 376.6 g.
func TestLengthWorked(t *testing.T) {
	t.Parallel()
	turns := 4 * (153 + 126.0)
	mean := (153*266.17 + 126*205.30) / (153 + 126)
	out, err := referenceTable(t).Length(wire.Coil{
		Wires: []wire.Wire{{System: wire.Metric, Size: "0.450", Conductor: wire.Copper, Strands: 1}},
		Turns: unit.Of(turns), MeanTurn: unit.Of(mean), Temperature: unit.Of(75),
	})
	require.NoError(t, err)
	require.InDelta(t, 266.4, out.Length.Value, 0.05)
	require.InDelta(t, 28.88, out.Resistance20.Value, 0.005)
	require.InDelta(t, 35.12, out.Resistance.Value, 0.005)
	require.InDelta(t, 376.6, out.Mass.Value, 0.05)
}

// Ten feet of copper of 0.1 in at 1.724e-8 Ω·m: 0.01 Ω (Del Toro, Electrical Engineering Fundamentals,
// E4 p. 36; row 66 of wire_worked.csv prints two decimals).
func TestLengthDelToro(t *testing.T) {
	t.Parallel()
	out, err := referenceTable(t).Length(wire.Coil{
		Wires: []wire.Wire{{System: wire.Bare, Diameter: unit.Of(2.54), Conductor: wire.Copper, Strands: 1}},
		Turns: unit.Of(1), MeanTurn: unit.Of(3048),
	})
	require.NoError(t, err)
	require.InDelta(t, 0.01, out.Resistance20.Value, 0.005)
	require.InDelta(t, 0.0103708, out.Resistance20.Value, 1e-6) // and unrounded: 10.371 Ω·cmil/ft × 10 ft / 10000 cmil
}

// Mixed strands conduct side by side: areas add, each wire has its own mass.
func TestLengthMixed(t *testing.T) {
	t.Parallel()
	out, err := referenceTable(t).Length(wire.Coil{
		Wires: []wire.Wire{{System: wire.SWG, Size: "22", Conductor: wire.Copper, Strands: 2}, {System: wire.SWG, Size: "24", Conductor: wire.Copper, Strands: 1}},
		Turns: unit.Of(100), MeanTurn: unit.Of(300),
	})
	require.NoError(t, err)
	area := 2*math.Pi/4*0.7112*0.7112 + math.Pi/4*0.5588*0.5588
	require.InEpsilon(t, area, out.ConductorArea, 1e-12)
	require.InEpsilon(t, 30/58.0/area, out.Resistance20.Value, 1e-12)
	require.InEpsilon(t, 60, out.WireLengths[0].Value, 1e-12)
	require.InEpsilon(t, 30, out.WireLengths[1].Value, 1e-12)
	require.InEpsilon(t, out.Mass.Value, out.Masses[0].Value+out.Masses[1].Value, 1e-12)
	require.InEpsilon(t, 8.89*30*area, out.Mass.Value, 1e-12)
}

// The inverses bring back what went in, and aluminium and copper both do.
func TestLengthInverses(t *testing.T) {
	t.Parallel()
	table := referenceTable(t)
	all := table.All()
	rapid.Check(t, func(r *rapid.T) {
		size := all[rapid.IntRange(0, len(all)-1).Draw(r, "size")]
		c := wire.Coil{
			Wires: []wire.Wire{{
				System: size.System, Size: size.Size, Strands: rapid.IntRange(1, 8).Draw(r, "strands"),
				Conductor: rapid.SampledFrom([]wire.Conductor{wire.Copper, wire.Aluminium}).Draw(r, "metal"),
			}},
			Turns:       unit.Of(rapid.Float64Range(1, 20000).Draw(r, "turns")),
			MeanTurn:    unit.Of(rapid.Float64Range(20, 3000).Draw(r, "mean")),
			Temperature: unit.Of(rapid.Float64Range(-20, 200).Draw(r, "temperature")),
		}
		out, err := table.Length(c)
		require.NoError(r, err)
		back := c
		back.Mass = unit.Of(out.Mass.Value)
		back.Resistance = unit.Of(out.Resistance.Value)
		if out.Mass.Value <= 1e6 {
			turns, err := table.TurnsFromMass(back)
			require.NoError(r, err)
			require.InEpsilon(r, c.Turns.Value, turns.Value, 1e-9)
		}
		if out.Resistance.Value <= 1e6 {
			mean, err := table.MeanTurnFromResistance(back)
			require.NoError(r, err)
			require.InEpsilon(r, c.MeanTurn.Value, mean.Value, 1e-9)
			turns, err := table.TurnsFromResistance(back)
			require.NoError(r, err)
			require.InEpsilon(r, c.Turns.Value, turns.Value, 1e-9)
			require.Greater(r, mean.Uncertainty, 0.0)
		}
		for _, e := range []wire.Estimate{out.Length, out.Mass, out.Resistance, out.Resistance20} {
			require.True(r, e.Uncertainty > 0 && e.Uncertainty < e.Value, "%v", e)
		}
	})
}

// The first-order uncertainty agrees with a simulation of the same inputs (GUM Supplement 1 way).
func TestLengthUncertaintyBySimulation(t *testing.T) {
	t.Parallel()
	table := referenceTable(t)
	size, ok := table.ByID("metric-0.500")
	require.True(t, ok)
	tolerance := float64(size.DiameterMax - size.Diameter)
	c := wire.Coil{
		Wires: []wire.Wire{{System: wire.Metric, Size: "0.500", Conductor: wire.Copper, Strands: 2}},
		Turns: with(400, 2), MeanTurn: with(250, 4), Temperature: with(75, 2), Mass: with(1500, 20),
	}
	out, err := table.Length(c)
	require.NoError(t, err)
	turns, err := table.TurnsFromMass(c)
	require.NoError(t, err)
	rng := rand.New(rand.NewPCG(3, 5))
	const n = 200000
	var mass, ohm, counted moments
	for range n {
		d := 0.5 + tolerance*(2*rng.Float64()-1)
		area := 2 * math.Pi / 4 * d * d
		metres := (400 + 2*rng.NormFloat64()) * (250 + 4*rng.NormFloat64()) / 1000
		density := 8.89 * (1 + 0.001*rng.NormFloat64())
		mass.add(density * area * metres)
		ohm.add((1 + 0.005*rng.NormFloat64()) / 58 * metres / area * (234.5 + 75 + 2*rng.NormFloat64()) / 254.5)
		counted.add((1500 + 20*rng.NormFloat64()) / (density * area * (250 + 4*rng.NormFloat64()) / 1000))
	}
	for name, pair := range map[string]struct {
		e wire.Estimate
		m moments
	}{"mass": {out.Mass, mass}, "resistance": {out.Resistance, ohm}, "turns": {turns, counted}} {
		require.InEpsilon(t, pair.m.mean(), pair.e.Value, 0.002, name)
		require.InEpsilon(t, pair.m.sd(), pair.e.Uncertainty, 0.02, name)
	}
}

type moments struct{ n, sum, square float64 }

func (m *moments) add(v float64) { m.n, m.sum, m.square = m.n+1, m.sum+v, m.square+v*v }
func (m moments) mean() float64  { return m.sum / m.n }
func (m moments) sd() float64    { return math.Sqrt(m.square/m.n - m.mean()*m.mean()) }

// Enamel is 2 to 3.5 % of the mass of grade 1 wire and 3 to 6 % of grade 2, SWG 22 to 36 (common
// practice, of the thickest enamel allowed): counted as copper it would feign that many turns. The
// middle of the allowed thickness weighs somewhat less, hence the wider band.
func TestTurnsFromEnamelledMass(t *testing.T) {
	t.Parallel()
	table := referenceTable(t)
	for _, size := range table.Sizes(wire.SWG) {
		if size.Diameter > 0.72 || size.Diameter < 0.19 {
			continue
		}
		for build, share := range map[wire.Build][2]float64{wire.Grade1: {0.015, 0.04}, wire.Grade2: {0.028, 0.07}} {
			c := wire.Coil{
				Wires: []wire.Wire{{System: wire.SWG, Size: size.Size, Conductor: wire.Copper, Build: build, Strands: 1}},
				Mass:  unit.Of(500), MeanTurn: unit.Of(250),
			}
			plain, err := table.TurnsFromMass(c)
			require.NoError(t, err)
			c.Enamelled = true
			less, err := table.TurnsFromMass(c)
			require.NoError(t, err)
			got := 1 - less.Value/plain.Value
			require.True(t, got > share[0] && got < share[1], "SWG %s %s: %.4f", size.Size, build, got)
		}
	}
}

func TestLengthRefuses(t *testing.T) {
	t.Parallel()
	table := referenceTable(t)
	good := wire.Wire{System: wire.SWG, Size: "22", Conductor: wire.Copper, Strands: 1}
	for name, row := range map[string]struct {
		coil    wire.Coil
		pointer string
	}{
		"no wire":          {wire.Coil{Turns: unit.Of(1), MeanTurn: unit.Of(100)}, "/wires"},
		"no turns":         {wire.Coil{Wires: []wire.Wire{good}, MeanTurn: unit.Of(100)}, "/turns"},
		"negative turns":   {wire.Coil{Wires: []wire.Wire{good}, Turns: unit.Of(-3), MeanTurn: unit.Of(100)}, "/turns"},
		"no mean turn":     {wire.Coil{Wires: []wire.Wire{good}, Turns: unit.Of(1)}, "/mean_turn_mm"},
		"NaN mean turn":    {wire.Coil{Wires: []wire.Wire{good}, Turns: unit.Of(1), MeanTurn: unit.Of(math.NaN())}, "/mean_turn_mm"},
		"a turn of a mile": {wire.Coil{Wires: []wire.Wire{good}, Turns: unit.Of(1), MeanTurn: unit.Of(1.6e6)}, "/mean_turn_mm"},
		"unknown size":     {wire.Coil{Wires: []wire.Wire{good, {System: wire.SWG, Size: "99", Conductor: wire.Copper}}, Turns: unit.Of(1), MeanTurn: unit.Of(100)}, "/wires/1/size"},
		"two metals":       {wire.Coil{Wires: []wire.Wire{good, {System: wire.SWG, Size: "22", Conductor: wire.Aluminium}}, Turns: unit.Of(1), MeanTurn: unit.Of(100)}, "/wires/1/conductor"},
		"red hot":          {wire.Coil{Wires: []wire.Wire{good}, Turns: unit.Of(1), MeanTurn: unit.Of(100), Temperature: unit.Of(1000)}, "/temperature_c"},
	} {
		_, err := table.Length(row.coil)
		var e *errs.Error
		require.True(t, errors.As(err, &e), name)
		require.Equal(t, errs.KindImpossible, e.Kind, name)
		require.Equal(t, row.pointer, e.Fields[0].Pointer, name)
	}
	_, err := table.TurnsFromMass(wire.Coil{Wires: []wire.Wire{good}, Mass: unit.Of(100), MeanTurn: unit.Of(100), Enamelled: true})
	require.ErrorContains(t, err, "build")
	_, err = table.TurnsFromMass(wire.Coil{Wires: []wire.Wire{good}, MeanTurn: unit.Of(100)})
	require.ErrorContains(t, err, "mass_g")
	_, err = table.MeanTurnFromResistance(wire.Coil{Wires: []wire.Wire{good}, Turns: unit.Of(100)})
	require.ErrorContains(t, err, "resistance_ohm")
	_, err = table.TurnsFromResistance(wire.Coil{Wires: []wire.Wire{good}, Turns: unit.Of(100), Resistance: unit.Of(1)})
	require.ErrorContains(t, err, "mean_turn_mm")
}

// A resistance whose temperature nobody told bears less: the inverses say so in their uncertainty.
// A workshop of 20 °C, give or take 8 K, moves a copper resistance by 8/254.5 (IEC 60028: K = 234.5).
func TestLengthTemperatureNotTold(t *testing.T) {
	t.Parallel()
	table := referenceTable(t)
	coil := wire.Coil{
		Wires:      []wire.Wire{{System: wire.Metric, Size: "0.450", Conductor: wire.Copper, Strands: 1}},
		Resistance: with(28.88, 0.01), MeanTurn: with(238.7, 0.1), Turns: unit.Of(1116), Temperature: with(20, 0.001),
	}
	relative := func(e wire.Estimate, err error) float64 {
		require.NoError(t, err)
		return e.Uncertainty / e.Value
	}
	for _, reckon := range []func(wire.Coil) (wire.Estimate, error){table.TurnsFromResistance, table.MeanTurnFromResistance} {
		untold := coil
		untold.Temperature = unit.Measured{}
		told, blind := relative(reckon(coil)), relative(reckon(untold))
		require.InDelta(t, 8/254.5, math.Sqrt(blind*blind-told*told), 1e-4)
	}
	forward := coil
	forward.Temperature = unit.Measured{}
	out, err := table.Length(forward) // at 20 °C exactly, since that is what is asked
	require.NoError(t, err)
	require.Equal(t, out.Resistance20, out.Resistance)
}
