package simworld

import (
	"hash/fnv"
	"math"
	"math/rand/v2"
	"strconv"
)

// dice is a random source with the few distributions that this world uses. Each thing in a world
// (a lamination, a record, a query) has dice of its own, made from the seed and its name, so that
// one more draw in one place moves nothing elsewhere.
type dice struct{ r *rand.Rand }

// newDice returns the dice of the thing called name and numbered n in the world of the seed.
func newDice(seed uint64, name string, n int) dice {
	h := fnv.New64a()
	_, _ = h.Write([]byte(name + "#" + strconv.Itoa(n))) // a hash never fails to write
	return dice{rand.New(rand.NewPCG(seed, h.Sum64()))}
}

// chance is true with probability p.
func (d dice) chance(p float64) bool { return d.r.Float64() < p }

// between is uniform in [low, high).
func (d dice) between(low, high float64) float64 { return low + (high-low)*d.r.Float64() }

// logBetween is uniform in the logarithm, low and high above 0.
func (d dice) logBetween(low, high float64) float64 {
	return low * math.Exp(d.r.Float64()*math.Log(high/low))
}

// normal has mean 0 and standard deviation sd.
func (d dice) normal(sd float64) float64 { return sd * d.r.NormFloat64() }

// spread is a factor whose logarithm is normal with standard deviation sd.
func (d dice) spread(sd float64) float64 { return math.Exp(d.normal(sd)) }

// firm is a factor whose logarithm is normal with standard deviation sd, drawn again beyond two
// of them: a habit, not an accident.
func (d dice) firm(sd float64) float64 {
	for {
		if z := d.r.NormFloat64(); math.Abs(z) <= 2 {
			return math.Exp(sd * z)
		}
	}
}

// student is Student's t with df degrees of freedom times scale; its variance is
// scale^2 df/(df-2).
func (d dice) student(df int, scale float64) float64 {
	z, sum := d.r.NormFloat64(), 0.0
	for range df {
		g := d.r.NormFloat64()
		sum += g * g
	}
	return scale * z / math.Sqrt(sum/float64(df))
}

// laplace is the double exponential with standard deviation sd.
func (d dice) laplace(sd float64) float64 {
	e := d.r.ExpFloat64() * sd / math.Sqrt2
	if d.chance(0.5) {
		return -e
	}
	return e
}

// index draws from the weights, which need not sum to 1.
func (d dice) index(weights ...float64) int {
	sum := 0.0
	for _, w := range weights {
		sum += w
	}
	at := d.r.Float64() * sum
	for i, w := range weights {
		if at -= w; at < 0 {
			return i
		}
	}
	return len(weights) - 1
}

// pick draws one of the items, all alike.
func pick[T any](d dice, items ...T) T { return items[d.r.IntN(len(items))] }

// poisson draws a count with that mean, by multiplication of uniforms; mean up to about 100.
func (d dice) poisson(mean float64) int {
	limit, product, n := math.Exp(-math.Min(mean, 100)), d.r.Float64(), 0
	for product > limit {
		product *= d.r.Float64()
		n++
	}
	return n
}
