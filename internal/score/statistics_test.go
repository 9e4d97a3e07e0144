package score

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// The expected values of this file were worked by hand; the sums stand beside them.

func TestReliability(t *testing.T) {
	t.Parallel()
	bins := Reliability([]Forecast{{0, false}, {0.04, true}, {0.25, false}, {0.2, true}, {0.29, true}, {0.9, true}, {1, true}, {0.95, false}})
	require.Len(t, bins, 10)
	require.Equal(t, 2, bins[0].N)
	require.InDelta(t, 0.02, bins[0].Mean, 1e-12) // (0 + 0.04)/2
	require.InDelta(t, 0.5, bins[0].Share, 1e-12)
	require.Equal(t, Bin{Low: 0.1, High: 0.2}, bins[1], "an empty bin says nothing")
	require.Equal(t, 3, bins[2].N, "the lower end belongs to a bin")
	require.InDelta(t, 0.74/3, bins[2].Mean, 1e-12)
	require.InDelta(t, 2.0/3, bins[2].Share, 1e-12)
	require.Equal(t, 3, bins[9].N, "1 belongs to the last")
	require.InDelta(t, 0.95, bins[9].Mean, 1e-12) // (0.9 + 1 + 0.95)/3
	require.InDelta(t, 2.0/3, bins[9].Share, 1e-12)
}

func TestECE(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name string
		f    []Forecast
		want float64
	}{
		{"sure and right", []Forecast{{1, true}, {1, true}}, 0},
		{"sure and wrong", []Forecast{{1, false}}, 1},
		{"half, half come true", []Forecast{{0.5, true}, {0.5, false}}, 0},
		// Bin 0.6: mean 0.65, share 1/2: 0.15 x 2. Bin 0.9: mean 0.9, share 1: 0.1 x 1. (0.3 + 0.1)/3.
		{"two bins", []Forecast{{0.6, true}, {0.7 - 1e-12, false}, {0.9, true}}, 0.4 / 3},
		// One bin: mean 0.35, share 1/2; errors of both signs cancel inside a bin.
		{"inside a bin", []Forecast{{0.31, true}, {0.39, false}}, 0.15},
	} {
		require.InDelta(t, c.want, ECE(c.f), 1e-9, c.name)
	}
	require.True(t, math.IsNaN(ECE(nil)))
}

func TestBrier(t *testing.T) {
	t.Parallel()
	// (0.3² + 0.2² + 1²)/3 = (0.09 + 0.04 + 1)/3
	require.InDelta(t, 1.13/3, Brier([]Forecast{{0.7, true}, {0.2, false}, {1, false}}), 1e-12)
	require.True(t, math.IsNaN(Brier(nil)))
}

func TestLogLoss(t *testing.T) {
	t.Parallel()
	// -(ln 1 + ln ½ + ln ¼)/3 = ln 2; the losses are 0, ln 2, 2 ln 2: their spread is ln 2 · √(2/3), over √3.
	loss, se := LogLoss([]float64{1, 0.5, 0.25})
	require.InDelta(t, math.Ln2, loss, 1e-12)
	require.InDelta(t, math.Ln2*math.Sqrt(2)/3, se, 1e-12)
	loss, se = LogLoss([]float64{0})
	require.InDelta(t, 20.7233, loss, 1e-4, "9 ln 10: an answer that rules the truth out costs no more")
	require.Zero(t, se)
	loss, _ = LogLoss(nil)
	require.True(t, math.IsNaN(loss))
}

func TestAUC(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name               string
		positive, negative []float64
		want               float64
	}{
		{"apart", []float64{0.8, 0.9}, []float64{0.1, 0.2, 0.3}, 1},
		{"the wrong way round", []float64{0.1}, []float64{0.8, 0.9}, 0},
		{"all equal", []float64{0.5, 0.5}, []float64{0.5}, 0.5},
		// Pairs: 0.8 beats both; 0.4 beats 0.2, loses to 0.6. 3 of 4.
		{"one pair wrong", []float64{0.8, 0.4}, []float64{0.6, 0.2}, 0.75},
		// Pairs: 0.5 with 0.5 counts half, 0.5 beats 0.3; 0.7 beats both. 3½ of 4.
		{"one tie", []float64{0.5, 0.7}, []float64{0.5, 0.3}, 0.875},
		// Ties of three: 0.5 with 0.5 twice, each half; 0.9 beats both. 3 of 4.
		{"ties of three", []float64{0.5, 0.9}, []float64{0.5, 0.5}, 0.75},
	} {
		require.InDelta(t, c.want, AUC(c.positive, c.negative), 1e-12, c.name)
	}
	require.True(t, math.IsNaN(AUC(nil, []float64{1})))
	require.True(t, math.IsNaN(AUC([]float64{1}, nil)))
}

// TestAUCIsTheShareOfPairs sets the ranks beside all pairs, one by one.
func TestAUCIsTheShareOfPairs(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		values := rapid.SliceOfN(rapid.Map(rapid.IntRange(0, 5), func(n int) float64 { return float64(n) / 5 }), 1, 12)
		positive, negative := values.Draw(t, "positive"), values.Draw(t, "negative")
		won := 0.0
		for _, p := range positive {
			for _, n := range negative {
				switch {
				case p > n:
					won++
				case p == n:
					won += 0.5
				}
			}
		}
		require.InDelta(t, won/float64(len(positive)*len(negative)), AUC(positive, negative), 1e-12)
	})
}

func TestQuantile(t *testing.T) {
	t.Parallel()
	ten := []float64{10, 9, 8, 7, 6, 5, 4, 3, 2, 1}
	for _, c := range []struct{ q, want float64 }{{0, 1}, {0.1, 1}, {0.11, 2}, {0.5, 5}, {0.9, 9}, {0.91, 10}, {1, 10}} {
		require.Equal(t, c.want, Quantile(ten, c.q), c.q)
	}
	require.Equal(t, 10.0, ten[0], "the values stay in their order")
	require.Equal(t, 7.0, Quantile([]float64{7}, 0.9))
	require.Equal(t, math.Inf(1), Quantile([]float64{1, math.Inf(1)}, 0.9))
	require.True(t, math.IsNaN(Quantile(nil, 0.5)))
}

// TestQuantileLeavesTheShareAbove: at most the rest of the values exceed a quantile, so that a threshold
// at the 99 % point of clean sheets calls at most 1 % of them wrong.
func TestQuantileLeavesTheShareAbove(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.SliceOfN(rapid.Float64Range(0, 1), 1, 300).Draw(t, "values")
		q := float64(rapid.IntRange(1, 100).Draw(t, "per cent")) / 100
		at := Quantile(v, q)
		above := 0
		for _, x := range v {
			if x > at {
				above++
			}
		}
		require.LessOrEqual(t, float64(above), (1-q)*float64(len(v))+1e-6)
		require.Contains(t, v, at)
	})
}

func TestPercent(t *testing.T) {
	t.Parallel()
	p, se := Percent(90, 100)
	require.InDelta(t, 90, p, 1e-12)
	require.InDelta(t, 3, se, 1e-12) // √(0.9 · 0.1/100)
	p, se = Percent(0, 0)
	require.True(t, math.IsNaN(p))
	require.True(t, math.IsNaN(se))
}

// TestCalibratedForecastsScoreWell: among forecasts that come true as often as they say, the error is
// small; the same made surer than they are is not.
func TestCalibratedForecastsScoreWell(t *testing.T) {
	t.Parallel()
	var honest, sure []Forecast
	for tenth := range 10 {
		p := float64(tenth)/10 + 0.05
		for i := range 100 {
			hit := i < 10*tenth+5
			honest = append(honest, Forecast{p, hit})
			sure = append(sure, Forecast{p * p / (p*p + (1-p)*(1-p)), hit})
		}
	}
	require.InDelta(t, 0, ECE(honest), 1e-9)
	require.Greater(t, ECE(sure), 0.08)
	require.Less(t, Brier(honest), Brier(sure))
	require.True(t, slices.IsSortedFunc(Reliability(honest), func(a, b Bin) int { return int(math.Copysign(1, a.Share-b.Share)) }))
}
