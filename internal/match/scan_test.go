package match

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"statorbook/internal/stator"
	"statorbook/internal/unit"
)

func TestLog2(t *testing.T) {
	t.Parallel()
	for _, v := range []float32{1, 2, 0.5, 1024} {
		require.InDelta(t, math.Log2(float64(v)), log2(v), 1e-6)
	}
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.Float32Range(1e-3, 1e12).Draw(t, "v")
		require.InDelta(t, math.Log2(float64(v)), log2(v), 0.011)
	})
}

// TestHistogram: as many as were asked for pass, the lowest ones to a bin, in the order asked, and what
// does not pass is weighed.
func TestHistogram(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		scores := rapid.SliceOfN(rapid.Float32Range(-20, 150), 1, 200).Draw(t, "scores")
		most := rapid.IntRange(1, 60).Draw(t, "most")
		var h histogram
		h.begin(slices.Min(scores))
		for _, s := range scores {
			h.add(s)
		}
		lost := h.cut(most)
		pass, reach := 0, 0
		worst, bestOut, in, out := float32(math.Inf(-1)), float32(math.Inf(1)), 0.0, 0.0
		for _, s := range scores {
			weight := math.Exp(-float64(h.bin(s)) / (2 * histPerBin))
			if s-h.low < coarseReach-0.001 {
				reach++
			}
			if h.keeps(s) {
				pass++
				worst = max(worst, s)
				in += weight
			} else {
				bestOut = min(bestOut, s)
				out += weight
			}
		}
		require.LessOrEqual(t, pass, most)
		require.GreaterOrEqual(t, pass, min(most, reach))
		require.LessOrEqual(t, worst, bestOut+1.01/histPerBin)
		require.Less(t, worst-h.low, float32(coarseReach)+0.001)
		require.InDelta(t, out/(in+out), lost, 1e-9)
	})
}

// TestGuessedDimensionsCarryASign: what the chain expects is marked in its column, and nowhere else seen.
func TestGuessedDimensionsCarryASign(t *testing.T) {
	t.Parallel()
	x := sampleWorld().index
	guessed := 0
	for l := range x.lam.slots {
		for d := range nScan {
			found := (x.lam.known[l]|x.lam.closed[l])>>d&1 == 1
			require.Equal(t, !found, math.Signbit(float64(x.lam.vals[d][l])), "lamination %d, %s", l, dims[d].field)
			require.Positive(t, x.lam.value(l, dim(d)))
			if !found {
				guessed++
			}
		}
	}
	require.Greater(t, guessed, 100)
}

// coarseOf is the coarse score of lamination l for a query.
func coarseOf(t testing.TB, x *Index, q *Query, l int) float64 {
	t.Helper()
	w := new(work)
	x.scoreBuckets(x.prepare(q), w)
	for _, b := range w.buckets {
		if l >= int(b.from) && l < int(b.to) {
			return float64(w.score[b.at+l-int(b.from)])
		}
	}
	require.Fail(t, "not in any bucket")
	return 0
}

// TestCoarseScore: readings as catalogued cost nothing but rarity; one of them somewhat off costs what the
// t density says; one of them wrong costs a bounded price, however wrong; and a reading of what nobody
// catalogued costs that the chain is not sure.
func TestCoarseScore(t *testing.T) {
	t.Parallel()
	x := sampleWorld().index
	l := slices.IndexFunc(x.lam.known, func(k uint16) bool { return k>>dGap&1 == 1 && k>>dBack&1 == 1 && k>>dTooth&1 == 0 })
	require.GreaterOrEqual(t, l, 0)
	rotor := []stator.RotorPosition{stator.RotorInside, stator.RotorOutside}[x.lam.rotor[l]]
	ask := func(gap, back float64) Query {
		return Query{Measurements: stator.Core{RotorPosition: rotor, Slots: int(x.lam.slots[l]), GapDiameter: unit.Of(gap), BackDiameter: unit.Of(back)}}
	}
	gap, back := x.lam.value(l, dGap), x.lam.value(l, dBack)
	right := ask(gap, back)
	base := float64(x.lam.logPop[l]) - 2*math.Log(slotsRight)
	require.InDelta(t, base, coarseOf(t, x, &right, l), 0.01)
	for _, off := range []float64{0.1, 0.3, 0.5, 1} {
		q := ask(gap, back+off)
		r, _ := x.prepare(&q).value(dBack)
		z2 := off * off / (r.vq[1] + sq(x.model.catSD[dBack]))
		require.InDelta(t, base+6*math.Log(min(1+z2*tQ, coarseMost)), coarseOf(t, x, &q, l), 0.1, "%g mm off", off)
	}
	q := ask(gap, back*1.5)
	require.InDelta(t, base+6*math.Log(coarseMost), coarseOf(t, x, &q, l), 0.1)
	tooth := right
	tooth.Measurements.ToothWidth = unit.Of(x.lam.value(l, dTooth))
	price := coarseOf(t, x, &tooth, l) - base
	require.Greater(t, price, 1.0, "less likely than a catalogued one that agrees")
	require.Less(t, price, 6*math.Log(coarseMost)-1, "and more than one that does not")
}

// TestStacksTell: of two laminations alike in all else, the one with the stack as read comes first.
func TestStacksTell(t *testing.T) {
	t.Parallel()
	b := NewBuilder(testWires())
	core := stator.Core{RotorPosition: stator.RotorInside, Slots: 24, GapDiameter: unit.Of(70), BackDiameter: unit.Of(120)}
	b.AddFamily(FamilyEntry{ID: "a", Core: core, Cores: []CoreEntry{{ID: "a40", StackLength: unit.Of(40)}, {ID: "a60", StackLength: unit.Of(60)}}})
	b.AddFamily(FamilyEntry{ID: "b", Core: core, Cores: []CoreEntry{{ID: "b50", StackLength: unit.Of(50)}}})
	x := b.Build()
	for stack, want := range map[float64]string{40: "a", 50: "b", 60: "a"} {
		core.StackLength = unit.Of(stack)
		kept, _ := x.scan(x.prepare(&Query{Measurements: core}), new(work))
		require.Len(t, kept, 2)
		best := slices.MinFunc(kept, func(p, q survivor) int { return int(math.Copysign(1, float64(p.coarse-q.coarse))) })
		require.Equal(t, want, x.lam.ids.at(best.lam))
		require.InDelta(t, 6*math.Log(stackMost), math.Abs(float64(kept[0].coarse-kept[1].coarse)), 0.1, "another stack is a bounded price")
	}
}
