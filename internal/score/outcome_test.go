package score

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"statorbook/internal/unit"
)

// swg are some diameters in mm of the Imperial Standard Wire Gauge, numbers 20 to 26 (0.036, 0.032,
// 0.028, 0.024, 0.022, 0.020, 0.018 in).
var swg = Gauges{0.9144, 0.8128, 0.7112, 0.6096, 0.5588, 0.508, 0.4572}

func area(d float64) float64 { return math.Pi / 4 * d * d }

func TestGaugesApart(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		a, b float64
		want int
	}{{0.9144, 0.9144, 0}, {0.9144, 0.8128, 1}, {0.4572, 0.9144, 6}, {0.51, 0.505, 0}, {0.9, 0.86, 1}, {5, 0.9144, 0}, {0.1, 0.4572, 0}} {
		require.Equal(t, c.want, swg.Apart(area(c.a), area(c.b)), "%v", c)
		require.Equal(t, c.want, swg.Apart(area(c.b), area(c.a)), "%v", c)
	}
	require.Zero(t, Gauges(nil).Apart(1, 2))
}

// answer names two records on two cores and proposes three windings.
func answer() Answer {
	return Answer{
		Records: []Belief{{"r1", 0.6}, {"r2", 0.1}}, Cores: []Belief{{"c1", 0.7}, {"c2", 0.15}}, NoRecord: 0.25, NoCore: 0.1,
		Guesses:     []Guess{{0.6, 400, area(0.508)}, {0.2, 440, area(0.508)}, {0.1, 500, area(0.7112)}},
		SeriesTurns: &unit.Range{P05: 390, P50: 400, P95: 450}, ConductorArea: &unit.Range{P05: area(0.5), P50: area(0.508), P95: area(0.56)},
	}
}

func TestJudgeRanksAndProbabilities(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		truth                Truth
		coreRank, recordRank int
		p                    float64
	}{
		{Truth{Kind: Record, WindingID: "r1", CoreID: "c1"}, 1, 1, 0.6},
		{Truth{Kind: Record, WindingID: "r2", CoreID: "c1"}, 1, 2, 0.1},
		{Truth{Kind: Record, WindingID: "r9", CoreID: "c9"}, 0, 0, 0},
		{Truth{Kind: NewWinding, CoreID: "c2"}, 2, 0, 0.25},
		// A new stack has no id in the catalogue; a name that is given all the same does not count.
		{Truth{Kind: NewStack, CoreID: "c2"}, 0, 0, 0.25},
		{Truth{Kind: NewFamily}, 0, 0, 0.25},
	} {
		c.truth.SeriesTurns, c.truth.ConductorArea = 400, area(0.508)
		a := answer()
		o := Judge(&a, &c.truth, swg)
		require.Equal(t, c.coreRank, o.CoreRank, "%v", c)
		require.Equal(t, c.recordRank, o.RecordRank, "%v", c)
		require.Equal(t, c.p, o.Truth, "%v", c)
		require.Equal(t, [4]float64{0.6, 0.7, 0.25, 0.1}, [4]float64{o.TopRecord, o.TopCore, o.NoRecord, o.NoCore})
		require.Equal(t, 0.6, o.First)
	}
}

func TestJudgeGuesses(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		turns, d float64
		right    [3]bool
	}{
		{400, 0.508, [3]bool{true, false, false}},  // the second is 10 % off
		{420, 0.508, [3]bool{true, true, false}},   // 400/420 is 4.8 % low, 440/420 4.8 % high
		{381, 0.508, [3]bool{true, false, false}},  // 400/381 is 4.99 % high
		{380, 0.508, [3]bool{false, false, false}}, // 5.3 % high
		{500, 0.8128, [3]bool{false, false, true}}, // one gauge off
		{500, 0.9144, [3]bool{false, false, false}},
		{400, 0.4572, [3]bool{true, false, false}}, // one gauge off
		{400, 0.6096, [3]bool{false, false, false}},
	} {
		a := answer()
		o := Judge(&a, &Truth{Kind: NewFamily, SeriesTurns: c.turns, ConductorArea: area(c.d)}, swg)
		require.Equal(t, c.right, o.Right, "%v", c)
		require.Equal(t, c.right[0] || c.right[1] || c.right[2], o.OneOfThree())
	}
}

func TestJudgeRanges(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		turns, d    float64
		err, errD   float64
		turnsIn, in bool
	}{
		{400, 0.508, 0, 0, true, true},
		{450, 0.508, 400.0/450 - 1, 0, true, true},
		{451, 0.56, 400.0/451 - 1, 0.508/0.56 - 1, false, true},
		{389, 0.565, 400.0/389 - 1, 0.508/0.565 - 1, false, false},
	} {
		a := answer()
		o := Judge(&a, &Truth{Kind: NewFamily, SeriesTurns: c.turns, ConductorArea: area(c.d)}, swg)
		require.InDelta(t, math.Abs(c.err), o.TurnsError, 1e-12)
		require.InDelta(t, math.Abs(c.errD), o.DiameterError, 1e-12)
		require.Equal(t, c.turnsIn, o.CoversTurns, "%v", c)
		require.Equal(t, c.in, o.CoversArea, "%v", c)
	}
	// A truth written with five decimals lies in an interval that is one point.
	a := Answer{ConductorArea: &unit.Range{P05: 0.0437435, P50: 0.0437435, P95: 0.0437435}}
	require.True(t, judge(a, Truth{SeriesTurns: 1, ConductorArea: 0.04374}).CoversArea)
	require.False(t, judge(a, Truth{SeriesTurns: 1, ConductorArea: 0.04373}).CoversArea)
}

func judge(a Answer, truth Truth) Outcome { return Judge(&a, &truth, swg) }

// TestNoAnswer: silence gives the truth no chance and is off without end.
func TestNoAnswer(t *testing.T) {
	t.Parallel()
	for _, k := range Kinds() {
		o := judge(Answer{}, Truth{Kind: k, WindingID: "r1", CoreID: "c1", SeriesTurns: 400, ConductorArea: 0.2})
		require.Equal(t, Outcome{Kind: k, TurnsError: math.Inf(1), DiameterError: math.Inf(1)}, o)
	}
}
