package match

import "math"

// stackOption is what the stack of a core that is not catalogued may be: mm, its relative variance, and
// the density of the reading.
type stackOption struct{ stack, rel, density float64 }

// optionCut drops options that are so much less likely than the best.
const optionCut = 0.02

// stackOptions lists what the stack may be, the reading as typed and its alternative readings; without a
// reading the one that is expected. lam is the lamination, -1 if it is not catalogued.
func (x *Index) stackOptions(p *prepared, rotor uint8, poles, gap float64, lam int) []stackOption {
	mean, sd := x.expectStack(rotor, poles, gap, lam)
	r, ok := p.value(dStack)
	if !ok {
		return []stackOption{{math.Exp(mean), sd * sd, 1}}
	}
	one := func(value, weight float64) stackOption {
		va, vb := r.vq[1]/(value*value), sd*sd
		d := math.Log(value) - mean
		w := vb / (va + vb)
		return stackOption{math.Exp(mean + w*d), va * w, weight * normal(d, va+vb) / value}
	}
	out := []stackOption{one(r.x, 1-slipRate)}
	best := out[0].density
	if d := math.Log(r.x) - mean; d*d > farZ*farZ*(sd*sd+r.vq[1]/(r.x*r.x)) {
		for _, a := range r.alts {
			o := one(a.value, slipRate*altShare*a.weight)
			out = append(out, o)
			best = max(best, o.density)
		}
	}
	// A slip that nothing explains leaves the stack that is expected.
	out = append(out, stackOption{math.Exp(mean), sd * sd, slipRate * r.broad})
	best = max(best, slipRate*r.broad)
	n, all, kept := 0, 0.0, 0.0
	for _, o := range out {
		all += o.density
		if o.density >= optionCut*best {
			kept += o.density
			out[n] = o
			n++
		}
	}
	for i := range out[:n] {
		out[i].density *= all / kept
	}
	return out[:n]
}

// densityOf is the density of the reading, whatever the stack is.
func densityOf(options []stackOption) (sum float64) {
	for _, o := range options {
		sum += o.density
	}
	return sum
}

// withStacks appends the context with each of the stacks that it may have.
func (c context) withStacks(options []stackOption, weight float64, out []context) []context {
	lam := c.site
	for _, o := range options {
		c.site, c.weight = lam, weight*o.density
		c.site.stack, c.site.rvStack = o.stack, o.rel
		c.site.prepare()
		out = append(out, c)
	}
	return out
}

// expectStack is mean and sd of ln stack of a core that is not catalogued: what gap and poles suggest, and
// how the other stacks of the lamination compare with that (best linear unbiased prediction, as traits).
func (x *Index) expectStack(rotor uint8, poles, gap float64, lam int) (mean, sd float64) {
	mean, sd = x.model.stackAt(rotor, poles, gap)
	if lam < 0 {
		return mean, sd
	}
	n, sum := x.stackResiduals(lam, sd)
	if n == 0 {
		return mean, sd
	}
	own := x.model.stackOwn[rotor] * sd * sd
	shared := sd*sd - own
	shrink := n * shared / (n*shared + own)
	return mean + shrink*sum/n, math.Sqrt(own + shared*(1-shrink))
}

// stackResiduals sums how the known stacks of a lamination compare with what gap and poles suggest, each
// within three sd.
func (x *Index) stackResiduals(lam int, sd float64) (n, sum float64) {
	mean, _ := x.model.stackAt(x.lam.rotor[lam], float64(x.lam.poles[lam]), x.lam.value(lam, dGap))
	for c := x.lam.coreStart[lam]; c < x.lam.coreStart[lam+1]; c++ {
		if x.core.known(int(c)) {
			sum += clamp(math.Log(x.core.length(int(c)))-mean, 3*sd)
			n++
		}
	}
	return n, sum
}

// stackHold is how many stacks the prior share is worth: most of the variance is a stack's own (common
// practice, no source: one lamination serves a range of powers).
const (
	stackHold     = 20.0
	stackOwnShare = 0.8
)

// learnStackOwn learns what share of the variance of stacks those of one lamination do not have in common.
func (x *Index) learnStackOwn() {
	var within, pairs [2]float64
	for l := range x.lam.slots {
		rotor := x.lam.rotor[l]
		sd := x.model.stack[rotor].sd
		n, sum := x.stackResiduals(l, sd)
		if n < 2 {
			continue
		}
		mean, _ := x.model.stackAt(rotor, float64(x.lam.poles[l]), x.lam.value(l, dGap))
		for c := x.lam.coreStart[l]; c < x.lam.coreStart[l+1]; c++ {
			if x.core.known(int(c)) {
				within[rotor] += sq((clamp(math.Log(x.core.length(int(c)))-mean, 3*sd) - sum/n) / sd)
			}
		}
		pairs[rotor] += n - 1
	}
	for rotor := range within {
		own := (stackHold*stackOwnShare + within[rotor]) / (stackHold + pairs[rotor])
		x.model.stackOwn[rotor] = min(max(own, 0.05), 0.98)
	}
}
