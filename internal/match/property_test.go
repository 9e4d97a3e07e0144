package match

import (
	"errors"
	"math"
	"os"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"statorbook/internal/errs"
	"statorbook/internal/stator"
	"statorbook/internal/unit"
	"statorbook/internal/winding"
	"statorbook/internal/wire"
)

// anyFigure draws a figure, mostly plausible about middle, sometimes anything at all.
func anyFigure(middle float64) *rapid.Generator[unit.Measured] {
	return rapid.Custom(func(t *rapid.T) unit.Measured {
		switch rapid.IntRange(0, 19).Draw(t, "kind") {
		case 0, 1, 2, 3, 4, 5, 6:
			return unit.Measured{}
		case 7:
			return unit.Of(rapid.SampledFrom([]float64{1e-300, 1e300, 1e-9, 1e9, 0.001, 99999, math.MaxFloat64, math.SmallestNonzeroFloat64}).Draw(t, "extreme"))
		case 8:
			return unit.Of(middle * math.Exp(rapid.Float64Range(-12, 12).Draw(t, "wild")))
		}
		m := unit.Of(math.Round(middle*math.Exp(rapid.Float64Range(-0.7, 0.7).Draw(t, "off"))*100) / 100)
		if rapid.Bool().Draw(t, "stated") {
			m.Uncertainty = rapid.SampledFrom([]float64{0, 1e-12, 0.01, 0.2, 5, 1e6, math.Inf(1)}).Draw(t, "uncertainty")
		}
		if rapid.IntRange(0, 5).Draw(t, "res") == 0 {
			m.Resolution = rapid.SampledFrom([]float64{0.01, 0.5, 1e9}).Draw(t, "resolution")
		}
		return m
	})
}

// anyQuery draws any query at all.
func anyQuery() *rapid.Generator[Query] {
	return rapid.Custom(func(t *rapid.T) Query {
		f := func(name string, middle float64) unit.Measured { return anyFigure(middle).Draw(t, name) }
		c := stator.Core{
			Phases: rapid.SampledFrom([]int{0, 1, 3}).Draw(t, "phases"), RotorPosition: rapid.SampledFrom([]stator.RotorPosition{"", stator.RotorInside, stator.RotorOutside}).Draw(t, "rotor"),
			Slots:       rapid.SampledFrom([]int{0, 6, 12, 14, 16, 24, 24, 24, 36, 37, 56, 72}).Draw(t, "slots"),
			GapDiameter: f("gap", 70), BackDiameter: f("back", 115), StackLength: f("stack", 45), ToothWidth: f("tooth", 4), SlotDepth: f("depth", 14), SlotOpening: f("opening", 2.3), BackIron: f("iron", 9), SlotArea: f("area", 80),
			SlotAreaBasis: rapid.SampledFrom([]stator.AreaBasis{"", stator.AreaNet, stator.AreaGross}).Draw(t, "basis"),
		}
		if rapid.IntRange(0, 4).Draw(t, "ring") == 0 {
			c.SecondRing = &stator.Ring{Slots: rapid.SampledFrom([]int{0, 14, 24}).Draw(t, "ring slots"), ToothWidth: f("tooth2", 6), SlotDepth: f("depth2", 9), SlotOpening: f("slit", 2), SlotArea: f("area2", 60)}
		}
		q := Query{Measurements: c, Limit: rapid.IntRange(-1, 60).Draw(t, "limit"), MotorType: rapid.SampledFrom([]string{"", "unknown", "permanent_split_capacitor", "no such"}).Draw(t, "motor")}
		conn := func(name string) winding.Connection {
			return rapid.SampledFrom([]winding.Connection{"", winding.ConnSingle, winding.ConnStar, winding.ConnDelta}).Draw(t, name)
		}
		if rapid.Bool().Draw(t, "plate") {
			q.Nameplate = &winding.Nameplate{Voltage: f("volts", 230), Frequency: f("hertz", 50), Power: f("watts", 200), Current: f("amps", 1.5), Speed: f("rpm", 1400), CapacitorUF: f("uf", 6), CapacitorV: f("uf volts", 400),
				Poles: rapid.SampledFrom([]int{0, 2, 4, 6, 14, 3, 100}).Draw(t, "poles"), SpeedTaps: rapid.IntRange(0, 4).Draw(t, "taps"), InsulationClass: rapid.SampledFrom([]string{"", "B", "Q"}).Draw(t, "class"), Connection: conn("connection")}
		}
		if rapid.IntRange(0, 2).Draw(t, "supply") == 0 {
			q.Supply = &winding.Supply{Voltage: f("site volts", 230), Frequency: f("site hertz", 50), Phases: rapid.SampledFrom([]int{0, 1, 3}).Draw(t, "site phases"), Connection: conn("site connection")}
		}
		if rapid.Bool().Draw(t, "remains") {
			role := rapid.SampledFrom([]winding.Role{"", winding.Main, winding.Auxiliary, winding.PhaseW, winding.Speed})
			q.Remains = &Remains{CopperMain: f("main g", 300), CopperAuxiliary: f("aux g", 150), CopperTotal: f("total g", 450)}
			for range rapid.IntRange(0, 3).Draw(t, "scraps") {
				q.Remains.Wires = append(q.Remains.Wires, ScrapWire{Diameter: f("scrap", 0.4), Coating: rapid.SampledFrom([]string{"bare", "over_enamel", "unknown", ""}).Draw(t, "coating"), Condition: rapid.SampledFrom([]string{"clean", "burnt", "unknown"}).Draw(t, "condition"), Role: role.Draw(t, "role"), Strands: rapid.IntRange(0, 9).Draw(t, "strands")})
			}
			for range rapid.IntRange(0, 2).Draw(t, "coils") {
				q.Remains.Coils = append(q.Remains.Coils, CoilCount{Role: role.Draw(t, "role"), Turns: f("coil", 150)})
			}
		}
		if rapid.IntRange(0, 5).Draw(t, "stock") == 0 {
			q.Stock = []wire.Wire{{System: wire.SWG, Size: "30", Conductor: wire.Copper, Strands: 1}, {System: wire.AWG, Size: "99"}}
		}
		return q
	})
}

// TestAnyQuery: no panic, no NaN, probabilities sum to 1 within 1e-9, ranges ordered; or a refusal
// that names fields.
func TestAnyQuery(t *testing.T) {
	t.Parallel()
	x := sampleWorld().index
	rapid.Check(t, func(t *rapid.T) {
		a, err := x.Match(anyQuery().Draw(t, "query"))
		if err != nil {
			var e *errs.Error
			require.True(t, errors.As(err, &e))
			require.Equal(t, errs.KindImpossible, e.Kind)
			require.NotEmpty(t, e.Fields)
			return
		}
		requireSound(t, &a)
	})
}

// TestManyQueries puts random queries from a plain generator through the index: 1,500 in each run,
// as many as STATORBOOK_QUERIES says by hand (10,000 and 100,000 were run).
func TestManyQueries(t *testing.T) {
	t.Parallel()
	x := sampleWorld().index
	g := anyQuery()
	count := 1500
	if n, err := strconv.Atoi(os.Getenv("STATORBOOK_QUERIES")); err == nil {
		count = n
	}
	for seed := range count {
		a, err := x.Match(g.Example(seed))
		if err == nil {
			requireSound(t, &a)
		}
	}
}

// TestMoreEvidenceNeverLeavesTheSum: leaving readings out one by one keeps the answer sound, down to nothing.
func TestMoreEvidenceNeverLeavesTheSum(t *testing.T) {
	t.Parallel()
	w := sampleWorld()
	q := w.queries[2].domain()
	for d := dGap; d < nDims; d++ {
		if !d.of(&q.Measurements).Given {
			continue
		}
		switch d {
		case dGap:
			q.Measurements.GapDiameter = unit.Measured{}
		case dBack:
			q.Measurements.BackDiameter = unit.Measured{}
		case dTooth:
			q.Measurements.ToothWidth = unit.Measured{}
		case dDepth:
			q.Measurements.SlotDepth = unit.Measured{}
		case dOpening:
			q.Measurements.SlotOpening = unit.Measured{}
		case dYoke:
			q.Measurements.BackIron = unit.Measured{}
		case dStack:
			q.Measurements.StackLength = unit.Measured{}
		}
		mustMatch(t, w.index, q)
	}
}
