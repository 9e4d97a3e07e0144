package wire

import (
	"cmp"
	"math"
	"slices"
	"sort"

	"statorbook/internal/unit"
)

// NearestOptions narrows Nearest. The zero value asks for copper of any system, 1 to 4 strands, five answers.
type NearestOptions struct {
	Systems    []System        // none: all
	Build      Build           // put on every answer; "" leaves it open
	Conductor  Conductor       // "" is copper
	MaxStrands int             // 1-8; 0 is 4
	MaxBare    unit.Millimetre // thickest wire that is wound by hand; 0: no limit
	Stock      []Wire          // what is on the shelf; wires that cannot be resolved, or of another metal, are passed over
	Limit      int             // 0 is 5
}

// Near is one answer of Nearest: some strands of one gauge.
type Near struct {
	Wire         Wire
	Resolved     Resolved
	AreaErrorPct float64 // of all strands against the area asked for
	FromStock    bool
}

// nearEnough is how far, as a log ratio of areas, an answer may miss before more strands are
// preferred: half of the widest step of the gauges from 0.2 to 2 mm (SWG 22 to 23, areas 1.36 to 1).
const nearEnough = 0.16

// Nearest returns the gauges whose conductor comes nearest to an area, strands in hand included.
// Wires of the stock that come within half a gauge step (16 %) stand first, then those of the tables; among answers within
// 16 % fewer strands win, then the smaller error (as a log ratio), then the order swg, awg, metric.
// None for an area that is not above zero. Two unlike gauges in hand are left to Equivalents.
func (t *Table) Nearest(area unit.SquareMillimetre, o NearestOptions) []Near {
	if !(area > 0) || math.IsInf(float64(area), 0) {
		return nil
	}
	o.Conductor = cmp.Or(o.Conductor, Copper)
	o.MaxStrands = min(max(cmp.Or(o.MaxStrands, 4), 1), MaxStrands)
	o.Limit = max(cmp.Or(o.Limit, 5), 1)
	if len(o.Systems) == 0 {
		o.Systems = Systems()
	}
	all := t.nearStock(area, o)
	for n := 1; n <= o.MaxStrands; n++ {
		for _, s := range o.Systems {
			all = t.nearLadder(all, s, n, area, o)
		}
	}
	slices.SortStableFunc(all, func(a, b Near) int {
		far := func(x Near) float64 { return math.Abs(math.Log1p(x.AreaErrorPct / 100)) }
		misses := func(x Near) int {
			if far(x) > nearEnough {
				return 1
			}
			return 0
		}
		shelf := func(x Near) int {
			if x.FromStock {
				return 0
			}
			return 1
		}
		strands := func(x Near) int { return x.Wire.Strands * (1 - misses(x)) } // counts only among the near ones
		return cmp.Or(
			cmp.Compare(misses(a), misses(b)), cmp.Compare(shelf(a), shelf(b)), cmp.Compare(strands(a), strands(b)),
			cmp.Compare(far(a), far(b)), cmp.Compare(a.Wire.Strands, b.Wire.Strands))
	})
	return all[:min(len(all), o.Limit)]
}

// nearLadder adds the sizes on either side of area/n in one system.
func (t *Table) nearLadder(all []Near, s System, n int, area unit.SquareMillimetre, o NearestOptions) []Near {
	ladder := t.ladders[s]
	want := DiameterOf(area / unit.SquareMillimetre(n))
	at := sort.Search(len(ladder), func(i int) bool { return t.sizes[ladder[i]].Diameter >= want })
	for _, i := range []int{at - 1, at} {
		if i < 0 || i >= len(ladder) {
			continue
		}
		size := &t.sizes[ladder[i]]
		if o.MaxBare > 0 && size.Diameter > o.MaxBare {
			continue
		}
		w := Wire{System: s, Size: size.Size, Diameter: t.nominal(ladder[i]), Conductor: o.Conductor, Build: o.Build, Strands: n}
		if near, ok := t.near(w, area); ok {
			all = append(all, near)
		}
	}
	return all
}

// nearStock lists every stock wire at every number of strands.
func (t *Table) nearStock(area unit.SquareMillimetre, o NearestOptions) []Near {
	var all []Near
	for _, w := range o.Stock {
		for n := 1; n <= o.MaxStrands; n++ {
			w.Strands = n
			near, ok := t.near(w, area)
			if !ok || w.Conductor != o.Conductor || o.MaxBare > 0 && near.Resolved.Bare > o.MaxBare {
				break
			}
			near.FromStock = true
			all = append(all, near)
		}
	}
	return all
}

func (t *Table) near(w Wire, area unit.SquareMillimetre) (Near, bool) {
	r, err := t.Resolve(w)
	if err != nil {
		return Near{}, false
	}
	return Near{Wire: w, Resolved: r, AreaErrorPct: 100 * float64(r.TotalArea/area-1)}, true
}
