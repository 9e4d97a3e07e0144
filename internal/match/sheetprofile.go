package match

import "math"

// The profile of concentric coils is no normal residual: some designers follow the sine closely, others
// wind equal turns, and each way is a peak of its own. Its density is counted, in bins of the root.
const (
	rmsBins = 40
	rmsTop  = 1.2 // of the root mean square; what is more lies in the last bin
	rmsHold = 12  // how many records the prior is worth
)

func rmsBin(v float64) int {
	return min(int(math.Sqrt(v/rmsTop)*rmsBins), rmsBins-1)
}

// learnProfiles counts the profiles and smooths the counts over neighbours. The prior is the normal half
// of before any record.
func (m *sheetModel) learnProfiles(sample []*sheetRow) {
	width := func(bin int) float64 {
		from, to := float64(bin)/rmsBins, float64(bin+1)/rmsBins
		return rmsTop * (to*to - from*from)
	}
	for shape := range m.rms {
		for set := range m.rms[shape] {
			var count [rmsBins]float64
			total := 0.0
			for _, row := range sample {
				if set >= int(row.n) || int(row.sets[set].shape) != shape {
					continue
				}
				if v := row.sets[set].v[chkProfile]; !math.IsNaN(v) && !math.IsInf(v, 0) {
					total++
					b := rmsBin(v)
					for d := -2; d <= 2; d++ {
						if at := b + d; at >= 0 && at < rmsBins {
							count[at] += [...]float64{0.1, 0.2, 0.4, 0.2, 0.1}[d+2]
						}
					}
				}
			}
			sd := 2 * chkSD[chkProfile]
			for b := range count {
				mid := rmsTop * sq((float64(b)+0.5)/rmsBins)
				prior := math.Exp(-mid*mid/(2*sd*sd)) * 2 / (sd * math.Sqrt(2*math.Pi)) * width(b)
				m.rms[shape][set][b] = float32((count[b] + rmsHold*prior + 1e-3) / (total + rmsHold) / width(b))
			}
		}
	}
}

// profile is the root mean square of how far the turns of a group's coils, in the logarithm, are
// from the sine of their half span; NaN for a single coil.
func (f *sheetFacts) profile(s *setFacts) float64 {
	n := len(s.turns)
	if n < 2 || len(s.throws) != n {
		return math.NaN()
	}
	q := f.slots
	mean, ss := 0.0, 0.0
	var d [16]float64
	n = min(n, len(d))
	for i := range n {
		sin := math.Sin(math.Pi / 2 * float64(s.throws[i]-1) * float64(f.poles) / q)
		d[i] = math.Log(s.turns[i]) - math.Log(math.Max(math.Abs(sin), 0.05))
		mean += d[i] / float64(n)
	}
	for i := range n {
		ss += sq(d[i] - mean)
	}
	return math.Sqrt(ss / float64(n-1))
}
