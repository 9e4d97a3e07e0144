package match

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"statorbook/internal/unit"
	"statorbook/internal/wire"
)

// TestStripped: the bare wire under an enamel, with its own increase, is the covered one again.
func TestStripped(t *testing.T) {
	t.Parallel()
	x := sampleWorld().index
	rapid.Check(t, func(t *rapid.T) {
		over := rapid.Float64Range(0.08, 3).Draw(t, "over")
		for b := range builds {
			d, inc := x.stripped(over, b)
			require.Positive(t, d)
			require.InDelta(t, over, d+inc, 1e-3*over, "%s", builds[b])
			require.InDelta(t, x.model.enamel[b].at(d), inc, 1e-3*over)
		}
	})
	// IEC 60317-0-1: 0.500 mm, grade 2, is at most 0.566 mm over the enamel.
	d, _ := x.stripped(0.566, int(buildNumber(wire.Grade2)))
	require.InDelta(t, 0.5, d, 0.01)
}

// TestNewScrap: the weights of what a scrap may be sum to one, told or not, and what is told counts most.
func TestNewScrap(t *testing.T) {
	t.Parallel()
	x := sampleWorld().index
	for _, c := range []struct {
		coating, condition string
		likeliest          int
	}{{"bare", "clean", scrapBare}, {"over_enamel", "", scrapEnamelled}, {"bare", "burnt", scrapBurnt}, {"over_enamel", "burnt", scrapBurnt}, {"", "unknown", -1}, {"unknown", "clean", -1}} {
		s := x.newScrap(&ScrapWire{Diameter: unit.Of(0.53), Coating: c.coating, Condition: c.condition})
		sum, states := 0.0, 0.0
		for _, o := range s.options {
			sum += o.w
			require.Positive(t, o.v)
			require.InDelta(t, math.Log(0.5), o.lnD, 0.12)
		}
		for k, v := range s.state {
			states += v
			require.True(t, c.likeliest < 0 || k == c.likeliest || v < 0.1*s.state[c.likeliest])
		}
		require.InDelta(t, 1, states, 1e-12)
		require.InDelta(t, 1, sum, 0.15, "builds of less than 2 % are left out")
		require.LessOrEqual(t, sum, 1+1e-9)
	}
}

// TestAreaBins: the strand table has a bin for every area, rising; thick wire is oftener of several strands.
func TestAreaBins(t *testing.T) {
	t.Parallel()
	last := 0
	for ln := -30.0; ln < 30; ln += 0.01 {
		b := areaBin(ln)
		require.True(t, b >= last && b < nAreaBins)
		last = b
	}
	require.Equal(t, nAreaBins-1, last)
	m := &sampleWorld().index.model
	for b := range m.strands {
		sum := 0.0
		for _, v := range m.strands[b] {
			require.Positive(t, v)
			sum += v
		}
		require.InDelta(t, 1, sum, 1e-12)
	}
	require.Greater(t, m.strands[areaBin(math.Log(0.05))][0], m.strands[areaBin(math.Log(2))][0])
	sum := 0.0
	for _, v := range m.build {
		sum += v
	}
	require.InDelta(t, 1, sum, 1e-12)
}

// TestLearnAux: of twenty records whose auxiliary has 1.5 times the turns and wire three gauges thinner, the
// catalogue learns so, from turns and sizes alone.
func TestLearnAux(t *testing.T) {
	t.Parallel()
	edits := make([]func(*RecordEntry), 20)
	for i := range edits {
		edits[i] = func(e *RecordEntry) { e.Scheme.CoilSets[1].Pattern.Turns = []float64{150, 75} }
	}
	a := plainIndex(edits...).model.aux
	require.InDelta(t, math.Log(1.5), a.turns[rotorInside].mean, 0.05)
	require.InDelta(t, 2*math.Log(0.0148/0.020), a.area[rotorInside].mean, 0.05)
	require.Equal(t, priorAux.turns[rotorOutside], a.turns[rotorOutside])
}

// TestPlainMeanSD: of many draws of a normal distribution mean and standard deviation; of none the prior.
func TestPlainMeanSD(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(8, 1))
	v := make([]float64, 20000)
	for i := range v {
		v[i] = -0.15 + 0.04*r.NormFloat64()
	}
	mean, sd := plainMeanSD(v, 0, 0.2, kwHold)
	require.InDelta(t, -0.15, mean, 0.002)
	require.InDelta(t, 0.04, sd, 0.002)
	mean, sd = plainMeanSD(nil, -0.1, 0.2, kwHold)
	require.InDelta(t, -0.1, mean, 1e-12)
	require.InDelta(t, 0.2, sd, 1e-12)
}

// TestLearnKw: the winding factor of the plain winding by hand: a coil of 6 slot pitches of a pole of 6 has pitch factor 1,
// one of 4 has sin(60°); weighed by their turns 100 and 50 that is (100 + 50·0.8660)/150 = 0.955. One coil has
// 100 of 4 groups × 150 turns, or half of that.
func TestLearnKw(t *testing.T) {
	t.Parallel()
	x := plainIndex(make([]func(*RecordEntry), 30)...)
	key := kwKey{rotorInside, 1, 4, 24}
	e, ok := x.model.kw.list[key]
	require.True(t, ok)
	require.Len(t, e.examples, 30)
	require.InDelta(t, math.Log(0.9553), e.mean, 0.01)
	require.InDelta(t, (math.Log(100.0/600)+math.Log(50.0/600))/2, e.coilMean, 0.01)
	mean, sd := x.model.kw.at(rotorInside, 1, 4, 24)
	require.Equal(t, [2]float64{e.mean, e.sd}, [2]float64{mean, sd})
	mean, sd = x.model.kw.at(rotorOutside, 3, 14, 14)
	require.Equal(t, priorKw[kwClass(rotorOutside, 3)], kwPrior{mean, sd})
}
