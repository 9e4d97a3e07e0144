package score

import (
	"math"
	"slices"
)

// Forecast is a stated probability of something, and whether it came true.
type Forecast struct {
	P   float64 // 0 to 1
	Hit bool
}

// Bin is one step of a reliability diagram: the forecasts with Low <= P < High (the last one takes
// P = 1 too), their mean probability and the share that came true. Both are 0 when N is.
type Bin struct {
	Low, High   float64
	N           int
	Mean, Share float64
}

// bins of equal width in a reliability diagram.
const binCount = 10

// Reliability sorts forecasts into ten bins of equal width (Murphy and Winkler 1977, Journal of the
// Royal Statistical Society C 26, p. 41: the reliability diagram; cited from memory).
func Reliability(forecasts []Forecast) []Bin {
	out := make([]Bin, binCount)
	for b := range out {
		out[b].Low, out[b].High = float64(b)/binCount, float64(b+1)/binCount
	}
	for _, f := range forecasts {
		b := &out[min(max(int(f.P*binCount), 0), binCount-1)]
		b.N++
		b.Mean += f.P
		if f.Hit {
			b.Share++
		}
	}
	for b := range out {
		if n := float64(out[b].N); n > 0 {
			out[b].Mean /= n
			out[b].Share /= n
		}
	}
	return out
}

// ECE is the expected calibration error: how far mean probability and share of hits are apart, over
// the bins of Reliability, weighted by their forecasts. NaN without forecasts.
func ECE(forecasts []Forecast) float64 {
	if len(forecasts) == 0 {
		return math.NaN()
	}
	sum := 0.0
	for _, b := range Reliability(forecasts) {
		sum += float64(b.N) * math.Abs(b.Mean-b.Share)
	}
	return sum / float64(len(forecasts))
}

// Brier is the mean squared difference between probability and outcome (Brier 1950, Monthly Weather
// Review 78, p. 1, in its form for one event). NaN without forecasts.
func Brier(forecasts []Forecast) float64 {
	sum := 0.0
	for _, f := range forecasts {
		hit := 0.0
		if f.Hit {
			hit = 1
		}
		sum += (f.P - hit) * (f.P - hit)
	}
	return sum / float64(len(forecasts))
}

// leastProbability is what a probability counts for at least in the log loss, so that one answer that
// rules the truth out costs 20.7 and not everything.
const leastProbability = 1e-9

// LogLoss is the mean of -ln p, where p is the probability that was given to what came true, and the
// standard error of that mean. NaN without any.
func LogLoss(p []float64) (loss, se float64) {
	n := float64(len(p))
	sum, squares := 0.0, 0.0
	for _, v := range p {
		l := -math.Log(math.Max(v, leastProbability))
		sum += l
		squares += l * l
	}
	loss = sum / n
	return loss, math.Sqrt(math.Max(squares/n-loss*loss, 0) / n)
}

// AUC is the area under the ROC curve: the chance that a positive has a greater value than a negative,
// ties counting half (the Mann-Whitney statistic; Hanley and McNeil 1982, Radiology 143, p. 29, cited
// from memory). NaN when either is empty.
func AUC(positive, negative []float64) float64 {
	type ranked struct {
		v        float64
		positive bool
	}
	all := make([]ranked, 0, len(positive)+len(negative))
	for _, v := range positive {
		all = append(all, ranked{v, true})
	}
	for _, v := range negative {
		all = append(all, ranked{v, false})
	}
	slices.SortFunc(all, func(a, b ranked) int {
		switch {
		case a.v < b.v:
			return -1
		case a.v > b.v:
			return 1
		}
		return 0
	})
	ranks := 0.0 // sum over the positives, equal values sharing the mean of their ranks
	for i := 0; i < len(all); {
		j := i
		for j < len(all) && all[j].v == all[i].v {
			j++
		}
		for k := i; k < j; k++ {
			if all[k].positive {
				ranks += float64(i+j+1) / 2
			}
		}
		i = j
	}
	p, n := float64(len(positive)), float64(len(negative))
	return (ranks - p*(p+1)/2) / (p * n)
}

// Quantile is the least of the values that a share q of all do not exceed (nearest rank). q is 0 to 1;
// NaN without values. It sorts a copy.
func Quantile(values []float64, q float64) float64 {
	if len(values) == 0 {
		return math.NaN()
	}
	sorted := slices.Sorted(slices.Values(values))
	rank := int(math.Ceil(q*float64(len(sorted)) - 1e-9)) // 0.95 x 20 is a hair above 19 in binary
	return sorted[min(max(rank, 1), len(sorted))-1]
}

// Percent is the share of hits in per cent and its binomial standard error; NaN of none.
func Percent(hits, of int) (share, se float64) {
	p, n := float64(hits)/float64(of), float64(of)
	return 100 * p, 100 * math.Sqrt(p*(1-p)/n)
}
