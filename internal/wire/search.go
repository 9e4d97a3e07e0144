package wire

import (
	"math"
	"sort"
)

// combination is a strands of gauge x and b of gauge y; y is -1 when there is one gauge. x is the thicker.
type combination struct {
	x, y, a, b int
	key        rankKey
}

// errorOf returns the area error in per cent of an area against the target.
func (q *query) errorOf(area float64) float64 { return 100 * (area/q.target - 1) }

// ringSteps are the edges of the rings, in steps of the rank's area error.
var ringSteps = [...]int{1, 2, 5, 11, 31, 101, 301, math.MaxInt}

// search returns the best combinations in rank order. It looks at rings of growing area error, each
// of whole steps of the rank, so that it can stop as soon as nothing further out can rank before
// what is listed.
func (q *query) search() []combination {
	best := newBest(q.o.Limit)
	reach := stepOf(math.Max(math.Abs(q.low), math.Abs(q.high)))
	inner := 0
	for _, outer := range ringSteps {
		q.ring(best, inner, outer)
		if best.complete(q.leastTier) || outer > reach {
			break
		}
		inner = outer
	}
	return best.sorted()
}

// ring offers every combination whose step of area error is within [inner, outer).
func (q *query) ring(best *bestList, inner, outer int) {
	edge := func(step int) float64 { return (float64(step) - 0.5) * errorStep }
	low, high := math.Max(q.low, -edge(outer)), math.Min(q.high, edge(outer))
	if inner == 0 {
		q.window(best, low, high, inner, outer)
		return
	}
	q.window(best, low, math.Min(q.high, -edge(inner)), inner, outer)
	q.window(best, math.Max(q.low, edge(inner)), high, inner, outer)
}

// slack widens a window of areas a little; the exact error decides afterwards.
const slack = 1e-9

// window offers every combination with an area error from low to high per cent and a step within [inner, outer).
func (q *query) window(best *bestList, low, high float64, inner, outer int) {
	if low > high || len(q.hands) == 0 {
		return
	}
	from, to := q.target*(1+low/100)*(1-slack), q.target*(1+high/100)*(1+slack)
	offer := func(c combination, area float64) {
		e := q.errorOf(area)
		if step := stepOf(e); e < q.low || e > q.high || step < inner || step >= outer {
			return
		}
		best.offer(q, c, e)
	}
	for n := 1; n <= q.o.MaxStrands; n++ {
		k := float64(n)
		for i := q.at(from / k); i < len(q.hands) && q.hands[i].area*k <= to; i++ {
			offer(combination{x: i, y: -1, a: n}, q.hands[i].area*k)
		}
	}
	if !q.o.Mixed {
		return
	}
	for a := 1; a < q.o.MaxStrands; a++ {
		for b := 1; a+b <= q.o.MaxStrands; b++ {
			q.pairs(a, b, from, to, offer)
		}
	}
}

// pairs offers a strands of each gauge with b strands of each thinner one, within [from, to] mm².
// As the thick gauge grows, the window of the thin one falls, so two pointers do without searching.
func (q *query) pairs(a, b int, from, to float64, offer func(combination, float64)) {
	ka, kb := float64(a), float64(b)
	lo, hi := len(q.hands), len(q.hands) // window of y: [lo, hi)
	for x := q.at(from / (ka + kb)); x < len(q.hands); x++ {
		rest := ka * q.hands[x].area
		if rest >= to {
			return
		}
		for lo > 0 && kb*q.hands[lo-1].area >= from-rest {
			lo--
		}
		for hi > 0 && kb*q.hands[hi-1].area > to-rest {
			hi--
		}
		for y := lo; y < min(hi, x); y++ {
			if q.together(x, y) {
				offer(combination{x: x, y: y, a: a, b: b}, rest+kb*q.hands[y].area)
			}
		}
	}
}

// together tells whether two gauges may lie in hand side by side: of unlike diameter, and of one
// build, unless their builds belong to different standards or either comes from a stock.
func (q *query) together(x, y int) bool {
	gx, gy := q.hands[x].gauge, q.hands[y].gauge
	if gx.bare-gy.bare < 1e-9 {
		return false
	}
	return gx.stock >= 0 || gx.build == gy.build || gx.isGrade() != gy.isGrade()
}

// at returns the first gauge whose area is at least area.
func (q *query) at(area float64) int {
	return sort.Search(len(q.hands), func(i int) bool { return q.hands[i].area >= area })
}
