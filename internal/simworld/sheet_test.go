package simworld

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"statorbook/internal/catalog"
	"statorbook/internal/unit"
	"statorbook/internal/winding"
	"statorbook/internal/wire"
)

// eachDesign runs over the designs of a small world.
func eachDesign(t *testing.T, w *World, f func(d dice, g *design)) {
	t.Helper()
	for i := range w.lams {
		work := w.family(i)
		for j := range work.records {
			f(newDice(1, "each", i*64+j), &work.records[j].design)
		}
	}
}

// TestWeigh: bare metal weighs what it is; enamel adds 1 to 12 % by size and grade, varnish and
// leads more (common practice: 2 to 6 % at SWG 22 to 36; thinner wire carries more).
func TestWeigh(t *testing.T) {
	t.Parallel()
	w := world(t, Config{Seed: 51, Records: 150})
	eachDesign(t, w, func(d dice, g *design) {
		for i := range g.sets {
			s := &g.sets[i]
			step := 1.0 / s.mass
			bare := s.weigh(d, 0, "bare").Value / s.mass
			require.InDelta(t, 1, bare, step)
			enamelled := s.weigh(d, 0, "enamelled").Value / s.mass
			low, high := 1.005, 1.13
			if s.wire.wire.Conductor == wire.Aluminium {
				high = 1.43 // the same enamel on a third of the weight
			}
			require.True(t, enamelled > low-step && enamelled < high+step, "%v: %v", s.wire.wire, enamelled)
			for _, state := range []string{"varnished", "with_leads"} {
				more := s.weigh(d, 0, state).Value / s.mass
				require.Greater(t, more, 1+s.wire.enamelShare())
				require.Less(t, more, 1.07+s.wire.enamelShare()+step)
			}
		}
	})
}

// TestSchemeWritesWhatItMeasured: the scale's chances, states, temperatures and scatter.
func TestSchemeWritesWhatItMeasured(t *testing.T) {
	t.Parallel()
	w := world(t, Config{Seed: 52, Records: 500})
	var ohms []float64
	weighed, measured, n := 0.0, 0.0, 0.0
	eachDesign(t, w, func(d dice, g *design) {
		s := g.scheme(d, scale{mass: 0.015, ohms: 0.012, states: []string{"bare", "enamelled"}, noMass: 0.3, noOhms: 0.2, cold: span{15, 36}})
		require.Equal(t, g.poles, s.Poles)
		n++
		for i, set := range s.CoilSets {
			from := &g.sets[i]
			require.Equal(t, from.role, set.Role)
			require.Equal(t, []wire.Wire{from.wire.wire}, set.Wires)
			require.Equal(t, from.pattern.Turns, set.Pattern.Turns)
			require.Equal(t, set.Mass.Given, set.MassState != "")
			require.Equal(t, set.Resistance.Given, set.Temperature.Given)
			if set.Resistance.Given {
				require.True(t, set.Temperature.Value >= 15 && set.Temperature.Value <= 36)
				warm := wire.TemperatureFactor(set.Wires[0].Conductor, unit.Celsius(set.Temperature.Value))
				ohms = append(ohms, math.Log(set.Resistance.Value/warm/from.ohms))
			}
		}
		if s.CoilSets[0].Mass.Given {
			weighed++
		}
		if s.CoilSets[0].Resistance.Given {
			measured++
		}
	})
	require.InDelta(t, 0.7, weighed/n, 4*math.Sqrt(0.21/n))
	require.InDelta(t, 0.8, measured/n, 4*math.Sqrt(0.16/n))
	// A normal of sd 0.012 cut at two sd has 0.0106; three digits add up to 0.003.
	require.InDelta(t, 0.0108, math.Sqrt(meanSquare(ohms)), 0.001)
}

// TestLeadPairsAndJoining follow the trade: common lead C of a capacitor motor, IEC 60034-8 marks of
// phases; half-coil groups are joined end to start, whole-coil groups end to end.
func TestLeadPairsAndJoining(t *testing.T) {
	t.Parallel()
	for role, pair := range map[winding.Role]string{winding.Main: "R-C", winding.Auxiliary: "S-C", winding.PhaseU: "U1-U2", winding.PhaseV: "V1-V2", winding.PhaseW: "W1-W2"} {
		require.Equal(t, pair, leadPair(role))
	}
	for _, row := range []struct {
		kind   winding.PatternKind
		groups int
		poles  int
		want   string
	}{{winding.Tooth, 14, 14, "end_to_end"}, {winding.Tooth, 7, 14, "end_to_start"}, {winding.Concentric, 4, 4, "end_to_end"}, {winding.Concentric, 2, 4, "end_to_start"}, {winding.Lap, 8, 4, "end_to_end"}} {
		s := set{pattern: winding.Pattern{Kind: row.kind, Groups: row.groups}}
		require.Equal(t, row.want, joining(&s, row.poles), "%+v", row)
		require.Contains(t, catalog.Joinings, joining(&s, row.poles))
	}
}

// TestNameplateRounds: a plate is the rating, rounded as plates are, never more than it can carry.
func TestNameplateRounds(t *testing.T) {
	t.Parallel()
	w := world(t, Config{Seed: 53, Records: 400})
	eachDesign(t, w, func(d dice, g *design) {
		n := g.nameplate(d)
		require.InDelta(t, g.supply.volts, n.Voltage.Value, 0)
		require.InDelta(t, g.supply.hertz, n.Frequency.Value, 0)
		require.InDelta(t, g.power, n.Power.Value, 0)
		require.InEpsilon(t, g.line, n.Current.Value, 0.051)
		require.InDelta(t, g.speed, n.Speed.Value, 5.001)
		require.Equal(t, g.capacitorUF > 0, n.CapacitorUF.Given)
		require.Equal(t, g.supply.connection, n.Connection)
		require.Contains(t, []string{"S1", "S2", "S3"}, n.Duty, "duty types of IEC 60034-1")
		fan := slices.Contains([]string{"ceiling_fan", "table_fan", "exhaust_fan"}, g.lam.kind.application)
		require.Equal(t, fan, n.SweepMM.Given)
		volts := n.Voltage.Value * n.Current.Value
		if g.lam.kind.phases == 3 {
			volts *= math.Sqrt(3)
		}
		require.Less(t, n.Power.Value, 1.05*volts)
	})
}

// TestClothing: overhang, former and leads belong to the coils that they are of.
func TestClothing(t *testing.T) {
	t.Parallel()
	w := world(t, Config{Seed: 54, Records: 400})
	marks := map[string]int{}
	eachDesign(t, w, func(d dice, g *design) {
		var r catalog.Winding
		g.clothe(d, &r)
		require.Greater(t, r.CoilLength.Value, g.stack, "a coil is longer than its stack")
		require.Less(t, r.CoilLength.Value, g.stack+r.OverhangLead.Value+r.OverhangFar.Value+2)
		core := g.lam.core(g.stack)
		mid, _, _ := winding.MidSlotDiameter(core, winding.RingGap)
		require.Less(t, r.CoilWidth.Value, float64(mid)+0.26, "no coil is wider than the circle that it lies on")
		// Half a turn is at least the coil's length and its width; the mean turn of the widest set knows both.
		most := 0.0
		for i := range g.sets {
			most = max(most, g.sets[i].turn)
		}
		require.Less(t, 2*g.stack+1.2*r.CoilWidth.Value, 1.25*most)
		require.Contains(t, catalog.Bindings, r.Binding)
		require.True(t, r.Liner.Thickness.Value >= 0.1 && r.Liner.Thickness.Value <= 0.4)
		for _, lead := range r.Leads {
			marks[lead.Mark]++
			require.NotEmpty(t, lead.GoesTo)
			require.InDelta(t, lead.SectionMM2.Value, typed(lead.SectionMM2.Text).Value, 0)
		}
		switch {
		case g.lam.kind.phases == 1:
			require.Len(t, r.Leads, 3)
		case g.supply.connection == winding.ConnStar:
			require.Len(t, r.Leads, 3, "the star point stays inside")
		default:
			require.Len(t, r.Leads, 6)
		}
		colours := map[string]bool{}
		for _, lead := range r.Leads {
			require.False(t, lead.ColourSeen != "" && colours[lead.ColourSeen], "two leads of one colour")
			colours[lead.ColourSeen] = true
		}
		if g.lam.kind.key == ceilingFanKey {
			require.Equal(t, "anticlockwise, seen from below", r.Direction)
		}
	})
	require.Equal(t, marks["R"], marks["C"])
	require.Positive(t, marks["U2"])
}

// TestPlateOnTheBench: what is left of a plate is the plate's own, but for its few errors; a lost
// plate may leave counted poles and the capacitor's own label.
func TestPlateOnTheBench(t *testing.T) {
	t.Parallel()
	w := world(t, Config{Seed: 55, Records: 60})
	g := w.family(0).records[0].design
	exact := g.nameplate(newDice(1, "plate", 0))
	const n = 6000
	gone, counted, volts, wrong, full, amperes, misread := 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
	for i := range n {
		p := w.plate(newDice(1, "bench", i), exact)
		switch {
		case p == nil:
			gone++
			continue
		case !p.Voltage.Given && !p.Power.Given && !p.Speed.Given && !p.Current.Given && !p.Frequency.Given && p.Poles == exact.Poles:
			counted++
			continue
		}
		full++
		require.Empty(t, p.Duty)
		require.Contains(t, []int{0, exact.Poles}, p.Poles)
		if p.Voltage.Given {
			volts++
			if p.Voltage.Value != exact.Voltage.Value {
				wrong++
			}
		}
		if p.Current.Given {
			amperes++
			if math.Abs(p.Current.Value/exact.Current.Value-1) > 0.12 { // batch and rounding; beyond is a misreading
				misread++
			}
		}
	}
	near := func(p, got, of float64) { require.InDelta(t, p, got/of, 4.5*math.Sqrt(p*(1-p)/of)) }
	near(w.c.PlateLost, gone+counted, n)
	near(0.5, counted, gone+counted)
	near(0.88, volts, full)
	near(w.c.PlateError, wrong, volts)
	require.Less(t, misread/amperes, 1.7*w.c.PlateError)
	require.Positive(t, misread)
}

// TestCountedCoils: a counted coil is one of the machine's, within a few turns in the hundred.
func TestCountedCoils(t *testing.T) {
	t.Parallel()
	w := world(t, Config{Seed: 56, Records: 200})
	eachDesign(t, w, func(d dice, g *design) {
		c := count(d, g)
		best := math.Inf(1)
		for i := range g.sets {
			for _, turns := range g.sets[i].pattern.Turns {
				if c.Role == "" || c.Role == g.sets[i].role {
					best = min(best, math.Abs(math.Log(c.Turns.Value/turns)))
				}
			}
		}
		require.Less(t, best, 0.05)
		require.InDelta(t, math.Round(c.Turns.Value), c.Turns.Value, 0)
	})
}

// TestQualityNamesFields: every name is one that the lint takes, with a word of its list.
func TestQualityNamesFields(t *testing.T) {
	t.Parallel()
	for name, word := range quality() {
		require.Regexp(t, `^[a-z0-9_]+(\.[a-z0-9_]+)*$`, name)
		require.Contains(t, catalog.Qualities, word)
	}
}

// TestIDs: the same name has the same UUID for ever; the ids of the shipped demo set hang on it.
func TestIDs(t *testing.T) {
	t.Parallel()
	require.Equal(t, "38f3ab73-49d6-550e-9ed2-de2917c13ac1", id("demo", "demo-ceiling-fan-01-a"))
	require.NotEqual(t, id("a", "b"), id("a", "c"))
	require.NotEqual(t, id("a", "b"), id("b", "a"))
	require.True(t, catalog.ValidSlug(DemoInstitute))
	require.Contains(t, catalog.Licences, Licence)
}
