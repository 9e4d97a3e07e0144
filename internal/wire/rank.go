package wire

import (
	"cmp"
	"math"
	"slices"
)

// Thresholds of the warnings that the rank heeds.
const (
	// areaLow is the area error in per cent below which area_low is a warning: the conductor's tolerance
	// of 1 % on the diameter already moves the area by 2 %.
	areaLow = -2.0
	// slotFits is the slot-area ratio above which does_not_fit is a warning. Common practice, no source.
	slotFits = 1.05
	// farApart is the ratio of diameters above which two gauges in hand are a warning: the thin one carries
	// next to nothing and breaks while winding. Common practice, no source.
	farApart = 2.0
	// errorStep is the step of the rank's area error, %.
	errorStep = 0.1
)

// stepOf returns the step of an area error in per cent.
func stepOf(e float64) int { return int(math.Abs(e)/errorStep + 0.5) }

// rankKey holds what a combination is ranked by, in order. Figures are whole millionths, so that
// rounding never decides between two that are equal.
type rankKey struct {
	tier    int   // 1 with a warning, else 0
	step    int   // area error without sign in steps of errorStep
	gauges  int   // 1 or 2
	strands int   // all together
	slot    int64 // slot-area ratio in millionths, unknownSlot if not known
	err     int64 // area error without sign, millionths of a per cent
	x, y    int   // places in the list of gauges
	a       int   // strands of the thicker
}

const (
	millionth   = 1e-6
	unknownSlot = math.MaxInt64
)

func millionths(v float64) int64 { return int64(math.Round(v / millionth)) }

func (k *rankKey) compare(o *rankKey) int {
	return cmp.Or(
		cmp.Compare(k.tier, o.tier), cmp.Compare(k.step, o.step), cmp.Compare(k.gauges, o.gauges), cmp.Compare(k.strands, o.strands),
		cmp.Compare(k.slot, o.slot), cmp.Compare(k.err, o.err), cmp.Compare(k.x, o.x), cmp.Compare(k.y, o.y), cmp.Compare(k.a, o.a))
}

// keyOf ranks a combination with area error e.
func (q *query) keyOf(c *combination, e float64) rankKey {
	x := &q.hands[c.x]
	k := rankKey{step: stepOf(e), gauges: 1, strands: c.a, slot: unknownSlot, err: millionths(math.Abs(e)), x: x.order, y: -1, a: c.a}
	square, known := float64(c.a)*x.square, x.square > 0
	warned := x.fault || e < areaLow
	if c.y >= 0 {
		y := &q.hands[c.y]
		k.gauges, k.strands, k.y = 2, c.a+c.b, y.order
		square, known = square+float64(c.b)*y.square, known && y.square > 0
		warned = warned || y.fault || x.bare > farApart*y.bare
	}
	if q.oldSquare > 0 {
		warned = warned || !known || square > slotFits*q.oldSquare
		if known {
			k.slot = millionths(square / q.oldSquare)
		}
	}
	if warned {
		k.tier = 1
	}
	return k
}

// bestList keeps the best combinations that were offered, as a heap with the worst on top.
type bestList struct {
	limit int
	heap  []combination
}

func newBest(limit int) *bestList {
	return &bestList{limit: limit, heap: make([]combination, 0, limit)}
}

// offer takes a combination in if it is among the best so far.
func (l *bestList) offer(q *query, c combination, e float64) {
	if len(l.heap) == l.limit { // cheap refusal first
		if worst := &l.heap[0].key; worst.tier == 0 && stepOf(e) > worst.step {
			return
		}
	}
	c.key = q.keyOf(&c, e)
	if len(l.heap) < l.limit {
		l.heap = append(l.heap, c)
		l.up(len(l.heap) - 1)
		return
	}
	if c.key.compare(&l.heap[0].key) < 0 {
		l.heap[0] = c
		l.down()
	}
}

func (l *bestList) up(i int) {
	for i > 0 {
		parent := (i - 1) / 2
		if l.heap[i].key.compare(&l.heap[parent].key) <= 0 {
			return
		}
		l.heap[i], l.heap[parent] = l.heap[parent], l.heap[i]
		i = parent
	}
}

func (l *bestList) down() {
	for i := 0; ; {
		worst := i
		for child := 2*i + 1; child <= 2*i+2 && child < len(l.heap); child++ {
			if l.heap[child].key.compare(&l.heap[worst].key) > 0 {
				worst = child
			}
		}
		if worst == i {
			return
		}
		l.heap[i], l.heap[worst] = l.heap[worst], l.heap[i]
		i = worst
	}
}

// complete tells whether the list is full of combinations of the lowest tier that can occur, so that
// nothing with a larger area error can enter.
func (l *bestList) complete(leastTier int) bool {
	return len(l.heap) == l.limit && l.heap[0].key.tier <= leastTier
}

// sorted returns the list, best first.
func (l *bestList) sorted() []combination {
	slices.SortFunc(l.heap, func(a, b combination) int { return a.key.compare(&b.key) })
	return l.heap
}
