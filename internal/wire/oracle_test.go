package wire_test

import (
	"math"
	"os"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"statorbook/internal/wire"
)

// unitsFile is where Debian's package units keeps its definitions.
const unitsFile = "/usr/share/units/definitions.units"

// knot is one point of a piecewise linear gauge.
type knot struct{ index, inch float64 }

// copiedKnots are the figures of GNU units as copied into testdata.
func copiedKnots(t testing.TB, gauge string) []knot {
	t.Helper()
	var all []knot
	for _, row := range reference(t, "gnu_units_gauges.csv") {
		if row["gauge"] == gauge {
			all = append(all, knot{row.number(t, "index"), row.number(t, "inch")})
		}
	}
	require.NotEmpty(t, all)
	return all
}

// installedKnots reads brwiregauge from the installed definitions.
func installedKnots(t testing.TB, text string) []knot {
	t.Helper()
	_, rest, ok := strings.Cut(text, "\nbrwiregauge[in]")
	require.True(t, ok, "the installed definitions have no brwiregauge")
	var all []knot
	for _, line := range strings.Split(rest, "\n")[1:] {
		fields := strings.Fields(strings.TrimSuffix(strings.TrimSpace(line), "\\"))
		if len(fields) != 2 {
			break
		}
		index, err := strconv.ParseFloat(fields[0], 64)
		require.NoError(t, err)
		inch, err := strconv.ParseFloat(fields[1], 64)
		require.NoError(t, err)
		all = append(all, knot{index, inch})
	}
	return all
}

// between interpolates linearly, which is how GNU units reads the table.
func between(list []knot, index float64) float64 {
	for i := 1; i < len(list); i++ {
		a, b := list[i-1], list[i]
		if index >= a.index && index <= b.index {
			return a.inch + (b.inch-a.inch)*(index-a.index)/(b.index-a.index)
		}
	}
	return math.NaN()
}

// gaugeNumber is 34 for 34, 0 for 1/0, -3 for 4/0.
func gaugeNumber(t testing.TB, size string) float64 {
	t.Helper()
	if oughts, ok := strings.CutSuffix(size, "/0"); ok {
		n, err := strconv.Atoi(oughts)
		require.NoError(t, err)
		return float64(1 - n)
	}
	n, err := strconv.ParseFloat(size, 64)
	require.NoError(t, err)
	return n
}

// GNU units is an oracle that knows nothing of our tables: every SWG size must be its figure exactly,
// every AWG size the formula within the rounding of ASTM B258 (0.0001 in to 44, 0.00001 in from 45).
func TestGNUUnits(t *testing.T) {
	t.Parallel()
	knots := copiedKnots(t, "swg")
	anchors := copiedKnots(t, "awg_formula")
	if raw, err := os.ReadFile(unitsFile); err == nil {
		text := string(raw)
		require.Equal(t, knots, installedKnots(t, text), "the copied figures are not those of the installed package")
		m := regexp.MustCompile(`(?m)^wiregauge\(g\).*\\\s*1\|(\d+) (\d+)\^\(\((\d+)\+\(-g\)\)/(\d+)\) in`).FindStringSubmatch(text)
		require.Len(t, m, 5, "the installed definitions word the AWG formula in another way")
		var v [4]float64
		for i := range v {
			v[i], err = strconv.ParseFloat(m[i+1], 64)
			require.NoError(t, err)
		}
		for _, a := range anchors {
			require.InEpsilon(t, a.inch, 1/v[0]*math.Pow(v[1], (v[2]-a.index)/v[3]), 1e-12)
		}
	}
	table := referenceTable(t)
	for _, s := range table.Sizes(wire.SWG) {
		want := between(knots, gaugeNumber(t, s.Size))
		require.InDelta(t, want*25.4, float64(s.Diameter), 1e-9, s.ID)
	}
	// The geometric series through the two anchors, worked here without the package's own function.
	ratio := math.Pow(anchors[1].inch/anchors[0].inch, 1/(anchors[1].index-anchors[0].index))
	for _, s := range table.Sizes(wire.AWG) {
		n := gaugeNumber(t, s.Size)
		inch := anchors[0].inch * math.Pow(ratio, n-anchors[0].index)
		step := 0.0001
		if n >= 45 {
			step = 0.00001
		}
		require.InDelta(t, inch, wire.Inches(s.Diameter), step/2+1e-9, s.ID)
		require.InEpsilon(t, inch*25.4, float64(wire.AWGFormulaDiameter(n)), 1e-9, s.ID)
	}
}

// Three gauges on: half the area, twice the resistance per length, half the mass. Six on: half the
// diameter. Ten on: a tenth of the area. The trade's rules for AWG, true of the formula within 0.3, 0.3 and 1.7 %.
func TestThreeGauges(t *testing.T) {
	t.Parallel()
	table := referenceTable(t)
	list := table.Sizes(wire.AWG)
	for i, s := range list {
		for _, rule := range []struct {
			steps     int
			area, tol float64
		}{{3, 2, 0.003}, {6, 4, 0.006}, {10, 10, 0.018}} {
			if i+rule.steps >= len(list) {
				continue
			}
			n := gaugeNumber(t, s.Size)
			ratio := math.Pow(float64(wire.AWGFormulaDiameter(n)/wire.AWGFormulaDiameter(n+float64(rule.steps))), 2)
			require.InEpsilon(t, rule.area, ratio, rule.tol, s.ID)
			// The rounded sizes follow as far as their rounding lets them: half a step in each diameter.
			other := list[i+rule.steps]
			step := func(n float64) float64 {
				if n >= 45 {
					return 0.00001
				}
				return 0.0001
			}
			slack := rule.tol + 1.05*(step(n)/wire.Inches(s.Diameter)+step(n+float64(rule.steps))/wire.Inches(other.Diameter))
			require.InEpsilon(t, rule.area, float64(s.Area()/other.Area()), slack, s.ID)
			require.InEpsilon(t, rule.area, float64(other.Ohms(wire.Copper, 20).Nominal/s.Ohms(wire.Copper, 20).Nominal), slack, s.ID)
			require.InEpsilon(t, rule.area, float64(s.Mass(wire.Copper)/other.Mass(wire.Copper)), slack, s.ID)
		}
	}
}
