package match

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mat"
	"pgregory.net/rapid"

	"statorbook/internal/winding"
)

func demoSite() site {
	s := site{v: measuredVec(ptr(demoCore())), slots: 24, rotor: rotorInside, stack: 45}
	s.prepare()
	return s
}

// TestReferenceAgainstWinding compares the reference density with that of package winding, written by
// other hands from the same two limits.
func TestReferenceAgainstWinding(t *testing.T) {
	t.Parallel()
	for _, poles := range []int{2, 4, 6, 8, 12} {
		s := demoSite()
		lnB, _, tooth := s.reference(float64(poles))
		want, ok := winding.ReferenceDensity(demoCore(), poles)
		require.True(t, ok)
		require.InDelta(t, float64(want), math.Exp(lnB), 1e-6, "%d poles", poles)
		require.GreaterOrEqual(t, tooth, 0.0)
		require.LessOrEqual(t, tooth, 1.0)
	}
}

// TestWorkedStator: the worked stator without data of the physics page (tooth limit 1.5 T, E = 0.93 V,
// kw 0.849457 gives 1115.9 turns at a flux of 1.0158 mWb). Turns and flux must be consistent with N·kw·B = V/(√2π·f·τ·L).
func TestWorkedStator(t *testing.T) {
	t.Parallel()
	s := demoSite()
	tau := math.Pi * 66 / 4
	average := 1.0158e-3 / (tau * 45e-6)
	lnN := s.lnTurnsFactor(0.93*230, 50, 4) - math.Log(average) - math.Log(0.849457)
	require.InDelta(t, 1115.9, math.Exp(lnN), 0.5)
	// The tooth limit alone: the back iron is taken as boundless.
	s.v[dYoke] = 1e6
	s.prepare()
	lnB, _, tooth := s.reference(4)
	require.InDelta(t, average, math.Exp(lnB), 0.0005)
	require.InDelta(t, 1, tooth, 1e-6)
}

// TestLnMass: the main winding of the worked stator weighs 376.6 g with a mean turn of 0.24 m; the
// sheet form with a span of 0.8 of a pole is within a fifth of it.
func TestLnMass(t *testing.T) {
	t.Parallel()
	s := demoSite()
	m := math.Exp(s.lnMass(math.Log(1116), math.Log(math.Pi/4*0.45*0.45), 4))
	require.InDelta(t, 376.6, m, 0.2*376.6)
}

// TestObserve compares the update of the normal with the textbook formula in gonum matrices.
func TestObserve(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		f := func(name string, low, high float64) float64 { return rapid.Float64Range(low, high).Draw(t, name) }
		g := gauss{n: f("n", 4, 8), a: f("a", -4, 1), vn: f("vn", 0.001, 0.2), va: f("va", 0.001, 0.2)}
		g.cna = f("r", -0.9, 0.9) * math.Sqrt(g.vn*g.va)
		wn, wa, v := f("wn", -1, 2), f("wa", -1, 2), f("v", 0.001, 0.1)
		y := wn*g.n + wa*g.a + f("off", -0.5, 0.5)

		p := mat.NewDense(2, 2, []float64{g.vn, g.cna, g.cna, g.va})
		h := mat.NewDense(1, 2, []float64{wn, wa})
		var ph, s mat.Dense
		ph.Mul(p, h.T())
		s.Mul(h, &ph)
		total := s.At(0, 0) + v
		off := y - wn*g.n - wa*g.a
		wantN, wantA := g.n+ph.At(0, 0)/total*off, g.a+ph.At(1, 0)/total*off
		var reduce mat.Dense
		reduce.Mul(&ph, ph.T())
		reduce.Scale(-1/total, &reduce)
		reduce.Add(p, &reduce)

		density := g.observe(y, wn, wa, v)
		require.InDelta(t, wantN, g.n, 1e-9)
		require.InDelta(t, wantA, g.a, 1e-9)
		require.InDelta(t, math.Max(reduce.At(0, 0), 1e-8), g.vn, 1e-9)
		require.InDelta(t, math.Max(reduce.At(1, 1), 1e-8), g.va, 1e-9)
		require.InDelta(t, reduce.At(0, 1), g.cna, 1e-9)
		require.InDelta(t, math.Exp(-off*off/(2*total))/math.Sqrt(2*math.Pi*total), density, 1e-9)
	})
}

// TestFamilyEffect: the shrunk mean of n residuals, against the closed form of a random-effects model.
func TestFamilyEffect(t *testing.T) {
	t.Parallel()
	p := spreads{recB: 0.0025, famB: 0.005, recF: 0.01, famF: 0.01}
	e := famEffect{}.update(&p, 4, 0.1, -0.2)
	require.InDelta(t, 0.1*4*0.005/(4*0.005+0.0025), e.b, 1e-12)
	require.InDelta(t, -0.2*4*0.01/(4*0.01+0.01), e.f, 1e-12)
	require.InDelta(t, 1/(1/0.005+4/0.0025), e.vb, 1e-12)
}

// TestSplitFindsSharedResiduals: spreads made of a shared and an own part are split again.
func TestSplitFindsSharedResiduals(t *testing.T) {
	t.Parallel()
	var all, within [4][]float64
	for fam := range 200 {
		fb, ff := 0.06*noise(7*fam), 0.10*noise(7*fam+3)
		var b, f [5]float64
		mb, mf := 0.0, 0.0
		for i := range b {
			b[i], f[i] = fb+0.04*noise(1000+11*fam+i), ff+0.12*noise(5000+13*fam+i)
			mb, mf = mb+b[i]/5, mf+f[i]/5
			appendFour(&all, b[i], f[i])
		}
		for i := range b {
			appendFour(&within, (b[i]-mb)*math.Sqrt(5.0/4), (f[i]-mf)*math.Sqrt(5.0/4))
		}
	}
	got := spreads{recB: 1, recF: 1, famB: 1, famF: 1}.update(&all, &within)
	require.InDelta(t, 0.04, math.Sqrt(got.recB), 0.11) // the absurd prior of 1 still counts ten records
	got = spreads{recB: 0.0016, recF: 0.0144, famB: 0.0036, famF: 0.01}.update(&all, &within)
	require.InDelta(t, 0.04, math.Sqrt(got.recB), 0.008)
	require.InDelta(t, 0.12, math.Sqrt(got.recF), 0.02)
	require.InDelta(t, 0.06, math.Sqrt(got.famB), 0.015)
	require.InDelta(t, 0.10, math.Sqrt(got.famF), 0.03)
}

// TestEnamel: the increase learned from the table at a published size. IEC 60317-0-1, 0.400 mm:
// largest overall 0.439 mm grade 1, 0.459 mm grade 2 (rows of the seeds).
func TestEnamel(t *testing.T) {
	t.Parallel()
	e := learnEnamel(testWires())
	require.InDelta(t, 0.039, e[buildNumber("grade_1")].at(0.4), 0.006)
	require.InDelta(t, 0.059, e[buildNumber("grade_2")].at(0.4), 0.008)
	require.Equal(t, priorEnamel, learnEnamel(nil))
	require.Equal(t, uint8(0), buildNumber("unheard of"))
	x := &Index{}
	x.model.enamel = e
	d, inc := x.stripped(0.459, int(buildNumber("grade_2")))
	require.InDelta(t, 0.4, d, 0.008)
	require.InDelta(t, 0.459, d+inc, 1e-6)
}
