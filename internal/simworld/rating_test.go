package simworld

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"statorbook/internal/unit"
	"statorbook/internal/winding"
	"statorbook/internal/wire"
)

// wound is a design with just what a rating needs.
func wound(kindKey string, s supply, motorType string, ratio, area float64) design {
	k := kindOf(kindKey)
	l := &lamination{kind: k, slots: k.builds[0].slots, poles: 4, gap: 70}
	g := design{lam: l, maker: &maker{number: 1}, poles: 4, supply: s, motorType: motorType}
	o := option{wire: wire.Wire{Conductor: wire.Copper, Strands: 1}, area: area}
	g.sets = []set{{role: winding.Main, kw: 1, turns: 1000, paths: 1, wire: o}, {role: winding.Auxiliary, kw: 1, turns: 1000 * ratio, paths: 1, wire: o}}
	if k.phases == 3 {
		g.sets = []set{{role: winding.PhaseU, kw: 1, turns: 500, paths: 1, wire: o}, {role: winding.PhaseV, kw: 1, turns: 500, paths: 1, wire: o}, {role: winding.PhaseW, kw: 1, turns: 500, paths: 1, wire: o}}
	}
	g.ratio = ratio
	return g
}

// TestCapacitor: at balance Xc = V·a·√(1+a²)/Im and the capacitor bears V·√(1+a²) (the formula page,
// section 12, derived there; 253 V at a = 1.3 gives 415 V, at a = 1.8 gives 521 V, section 14).
func TestCapacitor(t *testing.T) {
	t.Parallel()
	for _, row := range []struct {
		name             string
		volts, hertz     float64
		ratio, main      float64
		wantUF, wantVolt float64
	}{
		{"415 V at 253 V and 1.3", 230, 50, 1.3, 0.5, 3.15, 450},
		{"521 V at 253 V and 1.8", 230, 50, 1.8, 0.5, 1.8, 630},
		{"alike windings", 230, 50, 1, 0.2, 2, 400},
		{"110 V needs more microfarads", 110, 50, 1, 1, 20, 250},
		{"60 Hz needs fewer", 230, 60, 1, 0.24, 2, 400},
	} {
		t.Run(row.name, func(t *testing.T) {
			t.Parallel()
			g := wound("pump", supply{row.volts, row.hertz, winding.ConnSingle}, permanentSplit, row.ratio, 0.2)
			g.main = row.main
			g.fitCapacitor()
			x := winding.BalancedReactance(unit.Volt(row.volts), row.ratio, unit.Ampere(row.main))
			exact := float64(winding.CapacitanceOf(x, unit.Hertz(row.hertz)))
			require.InEpsilon(t, exact, g.capacitorUF, 0.16, "next preferred value")
			require.InDelta(t, row.wantUF, g.capacitorUF, 0.01)
			require.InDelta(t, row.wantVolt, g.capacitorV, 0)
		})
	}
}

// TestCapacitorsOfOtherMotors: a start capacitor goes by the power (common practice: 120 to 250 µF for
// each kW at 230 V), a split-phase motor and a three-phase motor have none.
func TestCapacitorsOfOtherMotors(t *testing.T) {
	t.Parallel()
	g := wound("pump", supply{230, 50, winding.ConnSingle}, capacitorStart, 1.2, 0.2)
	g.power, g.main = 370, 3
	g.fitCapacitor()
	require.True(t, g.capacitorUF >= 0.12*370 && g.capacitorUF <= 0.25*370, "%v uF", g.capacitorUF)
	require.InDelta(t, 250, g.capacitorV, 0)
	at115 := wound("pump", supply{115, 60, winding.ConnSingle}, capacitorStart, 1.2, 0.2)
	at115.power, at115.main = 370, 6
	at115.fitCapacitor()
	require.InEpsilon(t, 4*g.capacitorUF, at115.capacitorUF, 0.3, "a quarter of the square of the volts")
	for _, g := range []design{wound("grinder", supply{230, 50, winding.ConnSingle}, splitPhase, 0.6, 0.2), wound(generalThreeKey, supply{400, 50, winding.ConnStar}, threePhaseCage, 0, 0.2)} {
		g.power, g.main = 100, 1
		g.fitCapacitor()
		require.Zero(t, g.capacitorUF)
		require.Zero(t, g.capacitorV)
	}
}

// TestApparent: star and delta draw √3·V·I, a balanced capacitor motor the vector sum of two
// currents at right angles, a motor that runs on its main winding that current alone.
func TestApparent(t *testing.T) {
	t.Parallel()
	star := wound(generalThreeKey, supply{400, 50, winding.ConnStar}, threePhaseCage, 0, 0.5)
	require.InEpsilon(t, math.Sqrt(3)*400*2, star.apparent(2), 1e-9)
	delta := wound(generalThreeKey, supply{400, 50, winding.ConnDelta}, threePhaseCage, 0, 0.5)
	require.InEpsilon(t, math.Sqrt(3)*400*2*math.Sqrt(3), delta.apparent(2), 1e-9)
	fan := wound("pump", supply{230, 50, winding.ConnSingle}, permanentSplit, 1, 0.5)
	require.InEpsilon(t, 230*math.Sqrt2, fan.apparent(1), 1e-9)
	start := wound("pump", supply{230, 50, winding.ConnSingle}, capacitorStart, 1.2, 0.5)
	require.InEpsilon(t, 230.0, start.apparent(1), 1e-9)
}

// TestRate: the plate agrees with the copper: the density is that of the plate current, the power
// is a preferred one, and current, volts and power stand in a ratio that efficiency and power factor allow.
func TestRate(t *testing.T) {
	t.Parallel()
	c := usual()
	rated := 0
	rapid.Check(t, func(t *rapid.T) {
		area := rapid.Float64Range(0.03, 0.9).Draw(t, "area")
		row := rapid.SampledFrom([]struct {
			kind, motor string
			s           supply
			ratio       float64
		}{
			{"pump", permanentSplit, supply{230, 50, winding.ConnSingle}, 1.3}, {"pump", capacitorStart, supply{230, 50, winding.ConnSingle}, 1.2},
			{"table_fan", permanentSplit, supply{240, 50, winding.ConnSingle}, 1.2}, {generalThreeKey, threePhaseCage, supply{400, 50, winding.ConnStar}, 0}, {generalThreeKey, threePhaseCage, supply{230, 50, winding.ConnDelta}, 0},
		}).Draw(t, "motor")
		g := wound(row.kind, row.s, row.motor, row.ratio, area)
		if !g.rate(newDice(rapid.Uint64().Draw(t, "seed"), "rate", 0), &c) {
			return
		}
		rated++
		k := g.lam.kind
		require.Contains(t, k.plate, g.power)
		require.InEpsilon(t, g.density*area, g.main, 1e-9)
		require.InEpsilon(t, k.density, g.density, 0.42)
		va := g.supply.volts * g.line
		if k.phases == 3 {
			va *= math.Sqrt(3)
		}
		share := g.power / va
		require.True(t, share > 0.12 && share < 1, "power %v of %v VA", g.power, va)
		if k.plateIsIn {
			require.Greater(t, share, 0.8, "an input power is the VA times the power factor")
		}
	})
	require.Positive(t, rated)
}

// TestPlateCurrent: in delta the plate shows √3 times the current of a phase.
func TestPlateCurrent(t *testing.T) {
	t.Parallel()
	g := wound(generalThreeKey, supply{400, 50, winding.ConnDelta}, threePhaseCage, 0, 0.5)
	g.line = math.Sqrt(3)
	require.InDelta(t, 1, g.plateCurrent(), 1e-12)
	g.supply.connection = winding.ConnStar
	require.InDelta(t, math.Sqrt(3), g.plateCurrent(), 1e-12)
}

// TestLoading: 2·N·I/(π·D) for a main winding, three times that for three phases. The worked stator
// of the formula page (1116 turns, bore 66 mm) carries 8,073 A/m at 0.75 A.
func TestLoading(t *testing.T) {
	t.Parallel()
	g := wound("pump", supply{230, 50, winding.ConnSingle}, permanentSplit, 1.2, 0.16)
	g.sets[0].turns, g.lam.gap, g.main = 1116, 66, 0.75
	require.InDelta(t, 8073.6, g.loading(), 0.5)
	three := wound(generalThreeKey, supply{400, 50, winding.ConnStar}, threePhaseCage, 0, 0.5)
	three.lam.gap, three.main = 70, 2
	require.InEpsilon(t, 3*2*500*2/(math.Pi*0.07), three.loading(), 1e-9)
}

// TestDensities is the worked stator of the formula page, section 15, turned round: 1.0162 mWb
// give 1.5006 T in the teeth, 1.034 T in the back iron and an average of 0.4357 T at the gap.
func TestDensities(t *testing.T) {
	t.Parallel()
	l := lamination{kind: kindOf("pump"), slots: 24, poles: 4, gap: 66, iron: 11.5, first: ring{tooth: 4.1}}
	g := design{lam: &l, poles: 4, stack: 45, flux: 1.0162}
	gap, teeth, iron := g.densities()
	require.InDelta(t, 1.0162/1.0158*1.5, teeth, 2e-4)
	require.InDelta(t, 1.0162/1.2782*1.3, iron, 2e-4)
	require.InDelta(t, 1.0162/1.1663*0.5, gap, 2e-4)
}

func TestWindingVolts(t *testing.T) {
	t.Parallel()
	require.InDelta(t, 230.94, supply{400, 50, winding.ConnStar}.windingVolts(), 0.01)
	require.InDelta(t, 400, supply{400, 50, winding.ConnDelta}.windingVolts(), 0)
	require.InDelta(t, 230, supply{230, 50, winding.ConnSingle}.windingVolts(), 0)
}

// TestSupplies: every supply of a list comes up about as often as its weight says.
func TestSupplies(t *testing.T) {
	t.Parallel()
	for _, key := range []string{"pump", generalThreeKey} {
		k, n := kindOf(key), map[supply]float64{}
		d := newDice(1, "supplies", 0)
		const draws = 20_000
		for range draws {
			n[drawSupply(d, k)]++
		}
		list := singleSupplies
		if k.phases == 3 {
			list = threeSupplies
		}
		total := 0.0
		for _, s := range list {
			total += s.weight
		}
		require.InDelta(t, 1, total, 1e-9)
		require.Len(t, n, len(list))
		for _, s := range list {
			require.InDelta(t, s.weight, n[s.supply]/draws, 4*math.Sqrt(s.weight/draws))
		}
	}
}

// TestMakersDiffer: habits stay within two sd, every system is somebody's, builds go with their system.
func TestMakersDiffer(t *testing.T) {
	t.Parallel()
	c := usual()
	systems, rounds := map[wire.System]int{}, map[int]int{}
	for n := range 400 {
		m := drawMaker(newDice(2, "maker", n), n, &c)
		systems[m.shelf.system]++
		rounds[m.round]++
		require.InDelta(t, 0, math.Log(m.flux), 2*c.MakerB+1e-12)
		require.InDelta(t, 0, math.Log(m.fill/c.Fill), 2*c.FillSpread+1e-12)
		require.InDelta(t, 0, math.Log(m.end/c.EndFactor), 2*c.EndSpread+1e-12)
		require.True(t, m.maxBare >= 0.9*c.MaxBare && m.maxBare <= 1.2*c.MaxBare)
		nema := m.shelf.build == wire.Single || m.shelf.build == wire.Heavy
		require.Equal(t, m.shelf.system == wire.AWG, nema)
		require.Equal(t, wire.Copper, m.shelf.metal)
	}
	for _, s := range wire.Systems() {
		require.Greater(t, systems[s], 30)
	}
	require.Greater(t, rounds[1], rounds[5])
}
