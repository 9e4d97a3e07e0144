package match

import (
	"math"
	"slices"
)

// The robust fit: Huber's weights beyond 1.345 sd, none beyond 6 MAD (standard practice: Huber 1964
// for the weights; the hard limit keeps one slip of the pen from bending a plane).
const (
	huberK    = 1.345
	rejectMAD = 6.0
	madToSD   = 1.4826 // for a normal distribution
	fitRounds = 12
)

// linear is a fitted plane y = b·x with the standard deviation of what it leaves.
type linear struct {
	b  []float64
	sd float64
	n  float64 // records that the fit rests on, 0 = prior alone
}

// at returns the fitted value at x.
func (l *linear) at(x []float64) float64 {
	y := 0.0
	for i, b := range l.b {
		y += b * x[i]
	}
	return y
}

// rows is a table of observations for a fit: x in rows of p, y, and weights.
type rows struct {
	p    int
	x, y []float64
	w    []float64
}

func (r *rows) add(x []float64, y, w float64) {
	if math.IsNaN(y) || math.IsInf(y, 0) || !(w > 0) {
		return
	}
	for _, v := range x {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return
		}
	}
	r.x = append(r.x, x...)
	r.y = append(r.y, y)
	r.w = append(r.w, w)
}

func (r *rows) len() int { return len(r.y) }

// prior is what is believed before any record: coefficients, the weight (in records) with which
// they are held, and the spread with its weight.
type prior struct {
	b    []float64
	hold []float64 // pseudo-records holding each coefficient
	sd   float64
	n    float64 // pseudo-records holding the spread
}

// fit is a robust ridge regression towards the prior.
func (r *rows) fit(p prior) linear {
	n := r.len()
	out := linear{b: slices.Clone(p.b), sd: p.sd, n: float64(n)}
	if n == 0 {
		return out
	}
	res := make([]float64, n)
	abs := make([]float64, n)
	wt := slices.Clone(r.w)
	middle := 0.0
	for range fitRounds {
		r.solve(wt, p, out.b)
		for i := range res {
			row := r.x[i*r.p : (i+1)*r.p]
			res[i] = r.y[i] - out.at(row)
			abs[i] = math.Abs(res[i])
		}
		middle = nth(abs, n/2)
		s := max(madToSD*middle, 0.1*p.sd)
		for i := range res {
			z := math.Abs(res[i]) / s
			switch {
			case z > rejectMAD:
				wt[i] = 0
			case z > huberK:
				wt[i] = r.w[i] * huberK / z
			default:
				wt[i] = r.w[i]
			}
		}
	}
	s := madToSD * middle
	out.sd = math.Sqrt((p.n*p.sd*p.sd + float64(n)*s*s) / (p.n + float64(n)))
	return out
}

// solve fills b with the weighted least squares solution held by the prior.
func (r *rows) solve(w []float64, p prior, b []float64) {
	k := r.p
	a := make([]float64, k*k)
	v := make([]float64, k)
	for i := range r.y {
		if w[i] == 0 {
			continue
		}
		row := r.x[i*k : (i+1)*k]
		for c := 0; c < k; c++ {
			wc := w[i] * row[c]
			v[c] += wc * r.y[i]
			for d := 0; d <= c; d++ {
				a[c*k+d] += wc * row[d]
			}
		}
	}
	for c := range k {
		a[c*k+c] += p.hold[c]
		v[c] += p.hold[c] * p.b[c]
	}
	if !cholesky(a, v, k) {
		copy(b, p.b)
		return
	}
	copy(b, v)
}

// cholesky solves a·x = v in place for a symmetric positive definite a given by its lower half.
func cholesky(a, v []float64, k int) bool {
	for i := range k {
		for j := 0; j <= i; j++ {
			s := a[i*k+j]
			for m := range j {
				s -= a[i*k+m] * a[j*k+m]
			}
			if i == j {
				if !(s > 1e-12) {
					return false
				}
				a[i*k+i] = math.Sqrt(s)
				continue
			}
			a[i*k+j] = s / a[j*k+j]
		}
	}
	for i := range k {
		for m := range i {
			v[i] -= a[i*k+m] * v[m]
		}
		v[i] /= a[i*k+i]
	}
	for i := k - 1; i >= 0; i-- {
		for m := i + 1; m < k; m++ {
			v[i] -= a[m*k+i] * v[m]
		}
		v[i] /= a[i*k+i]
	}
	return true
}

// median returns the middle of v, NaN for none; it changes the order of v.
func median(v []float64) float64 {
	n := len(v)
	if n == 0 {
		return math.NaN()
	}
	high := nth(v, n/2)
	if n%2 == 1 {
		return high
	}
	return (slices.Max(v[:n/2]) + high) / 2
}

// nth returns what would stand at place k if v, without NaN, were sorted. It leaves v so that what
// stands before k is not greater (quickselect by Hoare's partition, middle of three).
func nth(v []float64, k int) float64 {
	for from, to := 0, len(v)-1; from < to; {
		a, b, c := v[from], v[(from+to)/2], v[to]
		pivot := max(min(a, b), min(max(a, b), c))
		i, j := from, to
		for i <= j {
			for v[i] < pivot {
				i++
			}
			for v[j] > pivot {
				j--
			}
			if i <= j {
				v[i], v[j] = v[j], v[i]
				i++
				j--
			}
		}
		switch {
		case k <= j:
			to = j
		case k >= i:
			from = i
		default:
			return v[k]
		}
	}
	return v[k]
}

// meanSD is a robust mean and spread held by a prior: n0 pseudo-records of mean m0 and spread s0.
func meanSD(v []float64, m0, s0, n0 float64) (mean, sd float64) {
	if len(v) == 0 {
		return m0, s0
	}
	n := float64(len(v))
	m := median(v)
	dev := make([]float64, len(v))
	for i := range v {
		dev[i] = math.Abs(v[i] - m)
	}
	s := madToSD * median(dev)
	mean = (n*m + n0*m0) / (n + n0)
	sd = math.Sqrt((n*(s*s+(m-mean)*(m-mean)) + n0*(s0*s0+(m0-mean)*(m0-mean))) / (n + n0))
	return mean, sd
}
