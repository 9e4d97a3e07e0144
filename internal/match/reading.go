package match

import (
	"cmp"
	"math"
	"slices"
	"strconv"

	"statorbook/internal/unit"
)

// The model of one reading. All figures: common practice, no source; the shares of the slips and
// the gain of the t core over a normal one were measured on simulated worlds of our own.
const (
	slipRate   = 0.02 // chance that a figure was typed or read wrong
	altShare   = 0.95 // share of slips that one of the alternative readings explains
	broadShare = 0.05 // share of slips that nothing explains: flat in the logarithm over a factor 60
	coreScale  = 0.88 // t with 5 degrees of freedom at 0.88 s: as wide in the middle as a normal
	farZ       = 3.0  // beyond so many s alternative readings are looked at
	altReach   = 6.0  // an alternative reading further than 6 s away explains nothing
	wSwap      = 0.30 // two neighbouring digits swapped
	wDigit     = 0.25 // one digit wrong
	wInch      = 0.15 // inch for millimetre
	wPoint     = 0.15 // decimal point one place off
	wHalf      = 0.15 // half or double (radius for diameter)
)

// nScale is the number of values of the technician's common factor; it widens or narrows all
// uncertainties of one query together and is summed out jointly.
const nScale = 3

var (
	scaleShare   = [nScale]float64{0.30, 0.45, 0.25}
	scaleTable   = [nScale]float64{0.4, 0.8, 1.7} // where the uncertainty comes from our table
	scaleStated  = [nScale]float64{0.7, 1.0, 1.6} // where the technician stated it
	broadDensity = broadShare / math.Log(60)
)

// alternative is another way to read what was typed.
type alternative struct {
	value  float64 // mm or mm², what was probably meant
	weight float64 // share of this slip × |d value / d typed|
	share  float64 // of this slip among all slips
}

// reading is one measured dimension made ready for comparison.
type reading struct {
	dim   dim
	x     float64         // mm or mm², a gross area as its net one
	times float64         // x over what was typed
	vq    [nScale]float64 // variance of the reading at each common factor, rounding included
	alts  []alternative   // in rising order
	broad float64         // density of a slip that nothing explains
}

// newReading prepares a reading. step is the rounding step that the digits suggest, in mm.
func newReading(d dim, m unit.Measured, step float64) reading {
	r := reading{dim: d, x: m.Value, times: 1, broad: broadDensity / m.Value}
	s, scales := d.sd(dims[d].querySD, m.Value), &scaleTable
	if m.Uncertainty > 0 && !math.IsInf(m.Uncertainty, 1) {
		s, scales = m.Uncertainty, &scaleStated
	}
	// A stated uncertainty of nothing or of a kilometre is held within what an instrument can do.
	s = min(max(s, 0.002), 0.5*m.Value+50)
	if m.Resolution > 0 && !math.IsInf(m.Resolution, 1) {
		step = min(m.Resolution, 10)
	}
	if dims[d].rel {
		step = 0
	}
	for k := range r.vq {
		r.vq[k] = s*s*scales[k]*scales[k] + step*step/12
	}
	r.alts = alternatives(m)
	slices.SortFunc(r.alts, func(a, b alternative) int { return cmp.Compare(a.value, b.value) })
	return r
}

// scale turns the reading into k times itself (a gross area into a net one).
func (r *reading) scale(k float64) {
	r.x *= k
	r.times *= k
	r.broad /= k
	for i := range r.vq {
		r.vq[i] *= k * k
	}
	for i := range r.alts {
		r.alts[i].value *= k
		r.alts[i].weight /= k
	}
}

// widen adds a relative standard deviation to the reading.
func (r *reading) widen(rel float64) {
	for k := range r.vq {
		r.vq[k] += rel * rel * r.x * r.x
	}
}

// tCore is the constant of the t density with 5 degrees of freedom, Γ(3)/(√(5π)·Γ(5/2)), over the core scale.
var tCore = math.Gamma(3) / (math.Sqrt(5*math.Pi) * math.Gamma(2.5)) / coreScale

const tQ = 1 / (5 * coreScale * coreScale)

// like multiplies l by the likelihood of the reading at each common factor if the catalogue says c
// with variance vc.
func (r *reading) like(c, vc float64, l *[nScale]float64) {
	d2 := (r.x - c) * (r.x - c)
	var near []alternative
	if d2 > farZ*farZ*(r.vq[1]+vc) {
		near = r.alternativesNear(c, altReach*math.Sqrt(r.vq[nScale-1]+vc))
	}
	for k := range l {
		v := r.vq[k] + vc
		q := 1 + tQ*d2/v
		p := (1-slipRate)*tCore/(math.Sqrt(v)*q*q*q) + slipRate*r.broad
		if len(near) > 0 {
			p += slipRate * altShare * altDensity(near, c, v)
		}
		l[k] *= p
	}
}

// unseen multiplies l by the density of a reading of something that the lamination has not.
func (r *reading) unseen(l *[nScale]float64) {
	for k := range l {
		l[k] *= r.broad / broadShare
	}
}

// alternativesNear lists the alternative readings less than reach from c.
func (r *reading) alternativesNear(c, reach float64) []alternative {
	from, n := 0, len(r.alts)
	for to := n; from < to; { // the first alternative above c - reach
		if mid := (from + to) / 2; r.alts[mid].value < c-reach {
			from = mid + 1
		} else {
			to = mid
		}
	}
	to := from
	for to < n && r.alts[to].value < c+reach {
		to++
	}
	return r.alts[from:to]
}

// altDensity is Σ w·J·N(alternative; c, v) over the alternative readings near c.
func altDensity(near []alternative, c, v float64) float64 {
	sum := 0.0
	for i := range near {
		if d := near[i].value - c; d*d < altReach*altReach*v {
			sum += near[i].weight * math.Exp(-d*d/(2*v))
		}
	}
	if sum == 0 {
		return 0
	}
	return sum / math.Sqrt(2*math.Pi*v)
}

// bestAlternative tells which alternative reading explains c best, and with what probability it
// and not the figure as typed was meant. ok is false if the figure stands as typed.
func (r *reading) bestAlternative(c, vc float64) (value, probability float64, ok bool) {
	v := r.vq[1] + vc
	d2 := (r.x - c) * (r.x - c)
	if d2 <= farZ*farZ*v {
		return 0, 0, false
	}
	q := 1 + tQ*d2/v
	typed := (1-slipRate)*tCore/(math.Sqrt(v)*q*q*q) + slipRate*r.broad
	sum, best := 0.0, 0.0
	for _, a := range r.alts {
		d := a.value - c
		if p := a.weight * math.Exp(-d*d/(2*v)); p > 0 {
			sum += p
			if p > best {
				best, value = p, a.value
			}
		}
	}
	sum *= slipRate * altShare / math.Sqrt(2*math.Pi*v)
	probability = sum / (sum + typed)
	return value, probability, probability > 1e-3
}

// alternatives lists what may have been meant by the digits as typed. The share of a kind is divided
// among its figures; that of a kind that these digits do not have (a swap in 55) goes to nothing.
func alternatives(m unit.Measured) []alternative {
	text, factor := asTyped(m)
	typed := m.Value / factor
	var out []alternative
	add := func(group []float64, w, jacobian float64) {
		for _, v := range group {
			share := w / float64(len(group))
			out = append(out, alternative{value: v * factor, weight: share * jacobian, share: share})
		}
	}
	add(swaps(text), wSwap, 1)
	add(wrongDigits(text), wDigit, 1)
	if factor == unit.MillimetrePerInch {
		add([]float64{typed / factor}, wInch, 1/factor)
	} else {
		add([]float64{typed * unit.MillimetrePerInch}, wInch, unit.MillimetrePerInch)
	}
	add([]float64{typed * 10}, wPoint/2, 10)
	add([]float64{typed / 10}, wPoint/2, 0.1)
	add([]float64{typed * 2}, wHalf/2, 2)
	add([]float64{typed / 2}, wHalf/2, 0.5)
	return out
}

// swaps lists the figures with two neighbouring digits swapped.
func swaps(text string) []float64 {
	var out []float64
	b := []byte(text)
	last := -1
	for i := range b {
		if b[i] < '0' || b[i] > '9' {
			continue
		}
		if last >= 0 && b[last] != b[i] {
			b[last], b[i] = b[i], b[last]
			out = appendFigure(out, b)
			b[last], b[i] = b[i], b[last]
		}
		last = i
	}
	return out
}

// wrongDigits lists the figures with one digit replaced by another.
func wrongDigits(text string) []float64 {
	var out []float64
	b := []byte(text)
	for i := range b {
		was := b[i]
		if was < '0' || was > '9' {
			continue
		}
		for d := byte('0'); d <= '9'; d++ {
			if d != was {
				b[i] = d
				out = appendFigure(out, b)
			}
		}
		b[i] = was
	}
	return out
}

// appendFigure appends the figure that b spells, if it is positive and finite.
func appendFigure(out []float64, b []byte) []float64 {
	v, err := strconv.ParseFloat(string(b), 64)
	if err != nil || v <= 0 || math.IsInf(v, 0) {
		return out
	}
	return append(out, v)
}

// The rounding steps in mm that technicians use, and how common each is (common practice, no source).
var (
	steps     = [...]float64{0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1}
	stepShare = [...]float64{0.08, 0.08, 0.17, 0.50, 0.10, 0.05, 0.02}
)

// roundingStep infers the common rounding step of some figures: each step that divides them all
// has the likelihood Π step. It returns the root of the expected square, so that step²/12 is the
// expected variance.
func roundingStep(values []float64) float64 {
	num, den := 0.0, 0.0
	for i, s := range steps {
		l := stepShare[i]
		for _, v := range values {
			if n := v / s; math.Abs(n-math.Round(n)) > 1e-6*n+1e-9 {
				l *= 1e-4 // a unit was converted, or somebody read finer than he usually does
			} else {
				l *= s
			}
		}
		num += l * s * s
		den += l
	}
	if den <= 0 {
		return 0.1
	}
	return math.Sqrt(num / den)
}
