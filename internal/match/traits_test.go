package match

import (
	"math"
	"math/rand/v2"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"statorbook/internal/simworld"
)

// TestSpreadOf: the spread of one cluster is its own, that of a class of two purposes reaches over both,
// a few gross records count for nothing, and without records the prior stands.
func TestSpreadOf(t *testing.T) {
	t.Parallel()
	prior := kwPrior{0, 0.1}
	require.Equal(t, prior, spreadOf(nil, prior))
	r := rand.New(rand.NewPCG(3, 1))
	values := func(mean float64, n int) (v []float64) {
		for range n {
			v = append(v, mean+0.05*r.NormFloat64())
		}
		return v
	}
	one := spreadOf(values(0.3, 2000), prior)
	require.InDelta(t, 0.3, one.mean, 0.005)
	require.InDelta(t, 0.05, one.sd, 0.005)
	gross := spreadOf(append(values(0.3, 1900), values(9, 100)...), prior)
	require.InDelta(t, 0.3, gross.mean, 0.02)
	require.InDelta(t, 0.05, gross.sd, 0.02)
	two := spreadOf(append(values(-0.75, 700), values(0.05, 300)...), prior)
	require.Greater(t, two.mean+2*two.sd, 0.05)
	require.Less(t, two.mean-2*two.sd, -0.75)
	few := spreadOf([]float64{1, 1}, prior)
	require.InDelta(t, 1.0/3, few.mean, 1e-9, "two records beside four of the prior")
}

// TestExpectShrinks: without a lamination nothing is known but the spread of the kind; with one the
// mean moves towards that of its records and less is left open, and a record's own part always stays.
func TestExpectShrinks(t *testing.T) {
	t.Parallel()
	x := &Index{}
	key := kwKey{rotorInside, 1, 4, 24}
	kind := traitSpreads{tCurrent: {0.1, 0.3}}
	x.model.traits.kind = map[kwKey]*traitSpreads{key: &kind}
	x.model.traits.own[tCurrent] = 0.25 * 0.09
	for k := range nTraits {
		for c := range x.model.traits.class {
			x.model.traits.class[c][k].sd = 0.1
		}
		kind[k].sd = max(kind[k].sd, 0.1)
	}
	seen := func(records int) *traitSum {
		return &traitSum{known: true, n: [nTraits]float64{tCurrent: float64(records)}, mean: [nTraits]float64{tCurrent: 0.4}}
	}
	before := x.expect(nil, key)[tCurrent]
	require.InDelta(t, 0.1, before.mean, 1e-6)
	require.InDelta(t, 0.09, before.v, 1e-6)
	require.Equal(t, before, x.expect(seen(0), key)[tCurrent], "no record tells it")
	for l := 1; l < 5; l++ {
		// The normal-normal posterior: variances between and within as 3 to 1, n records.
		n := float64(l)
		e := x.expect(seen(l), key)[tCurrent]
		require.InDelta(t, 0.1+0.4*n*3/(n*3+1), e.mean, 1e-6)
		require.InDelta(t, 0.09*(0.25+0.75/(n*3+1)), e.v, 1e-6)
		require.Less(t, e.v, before.v)
		before = e
	}
	require.Greater(t, before.v, 0.25*0.09)
	x.model.traits.class[kwClass(rotorInside, 3)][tCurrent] = struct{ mean, sd float32 }{-0.2, 0.2}
	other := x.expect(seen(4), kwKey{rotorInside, 3, 4, 24})[tCurrent]
	require.InDelta(t, -0.2+0.4*4*0.0175/(4*0.0175+0.0225), other.mean, 1e-6, "a kind without records has the spread of its class")
}

// TestTraitsTell: on catalogues of two makes, the kind and the other records of a lamination predict the
// power and the current of one of its records better than the regressions alone. The record that is
// predicted counts nothing in what its lamination says.
func TestTraitsTell(t *testing.T) {
	t.Parallel()
	own, _ := simIndex(t, simworld.Config{Records: 800, Seed: 21})
	for name, x := range map[string]*Index{"supplied sample": loadWorld(t, filepath.Join("testdata", "worlds", "sample")).index, "own world": own} {
		for _, k := range []int{tPower, tCurrent} {
			alone, kind, both := x.meanLogDensity(k)
			require.Greater(t, kind, alone-0.01, "%s: trait %d", name, k)
			require.Greater(t, both, kind+0.01, "%s: trait %d", name, k)
			require.Greater(t, both, alone+0.02, "%s: trait %d", name, k)
		}
	}
}

// meanLogDensity is the mean logarithm of the density of each record's trait k, as a reading of a plate
// would have it: by the regression alone, by the kind, and by the other records of the lamination too.
func (x *Index) meanLogDensity(k int) (alone, kind, both float64) {
	density := func(d, v float64) float64 {
		return math.Log((1-plateWild)*tailedDensity(d, v+currentSD*currentSD) + plateWild*wildDensity)
	}
	n := 0.0
	m := &x.model.traits
	for l := range x.lam.slots {
		from, to := x.recordsOf(l, l+1)
		rows := make([][nTraits]float64, to-from)
		keys := make([]kwKey, to-from)
		for r := from; r < to; r++ {
			s := x.siteOf(x.coreOfRecord(r))
			rows[r-from], keys[r-from] = x.traitsOfRecord(&x.recs[r], &s), x.windingKind(&x.recs[r], &s)
		}
		for i := range rows {
			sum, others := 0.0, 0.0
			for j := range rows {
				if c := m.of(keys[j]).get(k); j != i && !math.IsNaN(rows[j][k]) {
					sum, others = sum+clamp(rows[j][k]-c.mean, 3*c.sd), others+1
				}
			}
			if others == 0 || math.IsNaN(rows[i][k]) {
				continue
			}
			var on traitSum
			on.n[k], on.mean[k] = others, sum/others
			p, a, b := x.model.traitPrior(k, keys[i].rotor), x.expect(nil, keys[i])[k], x.expect(&on, keys[i])[k]
			alone += density(rows[i][k], p.sd*p.sd)
			kind += density(rows[i][k]-a.mean, a.v)
			both += density(rows[i][k]-b.mean, b.v)
			n++
		}
	}
	return alone / n, kind / n, both / n
}
