package wire

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"sync"

	"statorbook/internal/errs"
	"statorbook/internal/unit"
)

// MaxDiameter is the thickest round conductor that is answered for, mm. SWG 7/0, the thickest size
// of the published tables, is 12.7 mm.
const MaxDiameter unit.Millimetre = 25

// MinDiameter is the thinnest conductor that is answered for, mm. AWG 56 is 0.0124 mm.
const MinDiameter unit.Millimetre = 0.005

// MaxStrands is the most strands in hand that a wire may have. Above eight, hand winding gives way to other ways.
const MaxStrands = 8

// Table holds published wire sizes. It never changes after NewTable, so any number of goroutines may use it.
type Table struct {
	sizes     []Size           // by system (swg, awg, metric), thick to thin
	byID      map[string]int   // index into sizes
	bySystem  map[System]span  // sizes[from:to]
	preferred []preferredSize  // metric preferred sizes, thin to thick: the steps of the intermediate-size rule
	ladders   map[System][]int // indexes into sizes, thin to thick
	pool      []gauge          // every size without and with each of its builds, thin to thick
	shelves   sync.Map         // shelfKey -> *shelf: what many searches start from, made on first use
	weights   []float64        // prior of each size: equal for each system, and even in the logarithm of the diameter
}

type span struct{ from, to int }

// preferredSize is one step of the intermediate-size rule.
type preferredSize struct {
	diameter unit.Millimetre
	index    int
}

// Systems lists the systems that have tables, in the order in which answers list them.
func Systems() []System { return []System{SWG, AWG, Metric} }

// NewTable checks the sizes and returns a table of them. Order does not matter. It refuses sizes of
// no known system, double ids, ids that do not fit system and size, and diameters that are not
// finite, out of MinDiameter to MaxDiameter, or not in order (min <= nominal <= max). All faults are named together.
func NewTable(sizes []Size) (*Table, error) {
	t := &Table{sizes: slices.Clone(sizes), byID: make(map[string]int, len(sizes)), bySystem: map[System]span{}, ladders: map[System][]int{}}
	rank := map[System]int{}
	for i, s := range Systems() {
		rank[s] = i
	}
	slices.SortFunc(t.sizes, func(a, b Size) int {
		return cmp.Or(cmp.Compare(rank[a.System], rank[b.System]), cmp.Compare(b.Diameter, a.Diameter), cmp.Compare(a.ID, b.ID))
	})
	var faults []errs.Field
	for i, s := range t.sizes {
		if detail := s.Fault(); detail != "" {
			faults = append(faults, errs.Field{Code: "BAD_SIZE", Detail: s.ID + ": " + detail})
		}
		if _, double := t.byID[s.ID]; double {
			faults = append(faults, errs.Field{Code: "DOUBLE_SIZE", Detail: s.ID + ": the id occurs twice"})
		}
		t.byID[s.ID] = i
		sp, seen := t.bySystem[s.System]
		if !seen {
			sp.from = i
		}
		sp.to = i + 1
		t.bySystem[s.System] = sp
	}
	if faults != nil {
		return nil, errs.New(errs.KindImpossible, "the wire table is not sound", faults...)
	}
	t.index()
	return t, nil
}

// index fills the sorted views.
func (t *Table) index() {
	for _, s := range Systems() {
		sp := t.bySystem[s]
		for i := sp.to - 1; i >= sp.from; i-- {
			t.ladders[s] = append(t.ladders[s], i)
		}
	}
	for _, i := range t.ladders[Metric] {
		if s := &t.sizes[i]; IsPreferred(s.Diameter) && len(s.Covers) > 0 {
			t.preferred = append(t.preferred, preferredSize{s.Diameter, i})
		}
	}
	t.pool = t.gauges()
	t.weights = make([]float64, len(t.sizes))
	for _, ladder := range t.ladders {
		t.weigh(ladder)
	}
}

// loneWeight is the prior weight of the only size of a system: about one gauge step.
const loneWeight = 0.1

// weigh gives each size of one system half the log distance between its neighbours, and the sizes at
// the ends the distance to their one neighbour. So every system has the same weight per ratio of diameters.
func (t *Table) weigh(ladder []int) {
	logOf := func(i int) float64 { return math.Log(float64(t.sizes[ladder[i]].Diameter)) }
	for i := range ladder {
		low, high := max(i-1, 0), min(i+1, len(ladder)-1)
		step := logOf(high) - logOf(low)
		switch high - low {
		case 0:
			step = loneWeight
		case 2:
			step /= 2
		}
		t.weights[ladder[i]] = max(step, 1e-6) // two local sizes of one diameter still count
	}
}

// Fault returns why no table can hold a size, "" if one can: its system has no table, its id is not that of system and
// size, or its diameters or those over an enamel lie out of range or out of order.
func (s Size) Fault() string {
	known := slices.Contains(Systems(), s.System)
	switch {
	case !known:
		return fmt.Sprintf("the system %q has no table", s.System)
	case s.ID != SizeID(s.System, s.Size):
		return fmt.Sprintf("the id should be %q", SizeID(s.System, s.Size))
	case !inRange(s.Diameter):
		return fmt.Sprintf("the diameter %v mm is not within %v to %v mm", s.Diameter, MinDiameter, MaxDiameter)
	case !ordered(s.DiameterMin, s.Diameter, s.DiameterMax):
		return "the diameters are not in the order minimum, nominal, maximum"
	}
	for _, c := range s.Covers {
		if !coverSound(s, c) {
			return fmt.Sprintf("the figures of %s are not in order", c.Build)
		}
	}
	return ""
}

func inRange(d unit.Millimetre) bool { return d >= MinDiameter && d <= MaxDiameter }

// ordered tells whether low <= mid <= high, each end counting only when it is given; NaN fails.
func ordered(low, mid, high unit.Millimetre) bool {
	if math.IsNaN(float64(low)) || math.IsNaN(float64(high)) || low < 0 || high < 0 {
		return false
	}
	return (low == 0 || low <= mid) && (high == 0 || high >= mid)
}

// coverSound tells whether a cover is thicker than nothing and its figures are in order.
func coverSound(s Size, c Cover) bool {
	if !(c.IncreaseMin >= 0) || !ordered(c.OverallMin, c.OverallMin, c.OverallMax) {
		return false
	}
	const printed = 0.0005 // half a step of the third decimal: tables round diameter and overall apart
	return c.OverallMax == 0 || c.OverallMax > s.Diameter+c.IncreaseMin-printed
}

// Len returns the number of sizes.
func (t *Table) Len() int { return len(t.sizes) }

// All returns every size: swg, awg, metric, thick to thin. The slice is the caller's own; what it points to is shared and must not be changed.
func (t *Table) All() []Size { return slices.Clone(t.sizes) }

// Sizes returns the sizes of a system from thick to thin, none for a system without a table.
func (t *Table) Sizes(s System) []Size {
	sp := t.bySystem[s]
	return slices.Clone(t.sizes[sp.from:sp.to])
}

// ByID returns the size with that id.
func (t *Table) ByID(id string) (Size, bool) {
	i, ok := t.byID[id]
	if !ok {
		return Size{}, false
	}
	return t.sizes[i], true
}

// Cover returns the cover of a build that the size lists.
func (s Size) Cover(b Build) (Cover, bool) {
	for _, c := range s.Covers {
		if c.Build == b {
			return c, true
		}
	}
	return Cover{}, false
}
