package simworld

import (
	"cmp"
	"math"
	"slices"

	"statorbook/internal/unit"
	"statorbook/internal/wire"
)

// option is a wire that can be taken from the shelf: a size of the table, a build, strands in hand.
type option struct {
	wire    wire.Wire
	bare    float64 // mm, one strand
	overall float64 // mm, one strand with enamel
	area    float64 // mm², all strands
	rho     float64 // Ω·mm²/m at 20 °C
	density float64 // g/cm³
	strands int
	laid    float64 // mm², squares of the overall diameters of all strands: what fills a slot
}

// shelfKey names one shelf of the stockroom.
type shelfKey struct {
	system wire.System
	build  wire.Build
	metal  wire.Conductor
}

// stockroom holds all wires of a table that hand winding uses, sorted thin to thick by shelf.
type stockroom struct {
	shelves map[shelfKey][]option
	sizes   map[wire.System][]string // every size of a system, thick to thin
	order   map[wire.System]map[string]int
}

// The thinnest bare wire that is wound, and the range of strands in hand, mm.
const (
	thinnest   = 0.09
	thickest   = 1.6
	maxStrands = 4
)

// newStockroom takes the sizes of every system and every build that the table gives an overall
// diameter for; without that nobody can say whether a coil goes into its slot.
func newStockroom(table *wire.Table) stockroom {
	s := stockroom{map[shelfKey][]option{}, map[wire.System][]string{}, map[wire.System]map[string]int{}}
	for _, sys := range wire.Systems() {
		s.order[sys] = map[string]int{}
		for i, size := range table.Sizes(sys) {
			s.sizes[sys] = append(s.sizes[sys], size.Size)
			s.order[sys][size.Size] = i
			if size.Diameter < thinnest || size.Diameter > thickest {
				continue
			}
			for _, build := range []wire.Build{wire.Grade1, wire.Grade2, wire.Single, wire.Heavy} {
				if (sys == wire.AWG) != (build == wire.Single || build == wire.Heavy) {
					continue // IEC grades for SWG and metric sizes, NEMA builds for AWG
				}
				for _, metal := range []wire.Conductor{wire.Copper, wire.Aluminium} {
					s.add(table, wire.Wire{System: sys, Size: size.Size, Conductor: metal, Build: build})
				}
			}
		}
	}
	for key := range s.shelves {
		slices.SortFunc(s.shelves[key], func(a, b option) int {
			return cmp.Or(cmp.Compare(a.area, b.area), cmp.Compare(a.strands, b.strands))
		})
	}
	return s
}

// add puts a wire on its shelf with one to four strands in hand. Two and more strands are taken
// only of sizes that are stiff enough to need it.
func (s stockroom) add(table *wire.Table, w wire.Wire) {
	for n := 1; n <= maxStrands; n++ {
		w.Strands = n
		r, err := table.Resolve(w)
		if err != nil || r.Overall == 0 {
			return
		}
		if n > 1 && r.Bare < 0.4 {
			return
		}
		key := shelfKey{w.System, w.Build, w.Conductor}
		s.shelves[key] = append(s.shelves[key], option{
			wire: w, bare: float64(r.Bare), overall: float64(r.Overall), area: float64(r.TotalArea), rho: r.Resistivity, density: r.Density,
			strands: n, laid: float64(n) * float64(r.Overall) * float64(r.Overall),
		})
	}
}

// shelf lists what a winder takes who does not wind single wires above maxBare, thin to thick.
func (s stockroom) shelf(key shelfKey, maxBare float64) []option {
	var list []option
	for _, o := range s.shelves[key] {
		// Fewest strands: n strands only where n-1 would be too thick.
		single := math.Sqrt(o.area * 4 / math.Pi)
		if o.bare <= maxBare && (o.strands == 1 || single/math.Sqrt(float64(o.strands-1)) > maxBare) {
			list = append(list, o)
		}
	}
	return list
}

// nearestArea returns the option of a shelf, thin to thick, whose area is nearest to area by ratio;
// ok is false for an empty shelf.
func nearestArea(shelf []option, area float64) (best option, ok bool) {
	if len(shelf) == 0 {
		return option{}, false
	}
	i, _ := slices.BinarySearchFunc(shelf, area, func(o option, a float64) int { return cmp.Compare(o.area, a) })
	if i == len(shelf) || i > 0 && area/shelf[i-1].area < shelf[i].area/area {
		i--
	}
	return shelf[i], true
}

// sizeOf is the place of a size in its system, thick to thin; false if the table lacks it.
func (s stockroom) sizeOf(sys wire.System, size string) (int, bool) {
	i, known := s.order[sys][size]
	return i, known
}

// named returns a wire with its figures from any shelf; the wire must be one of them.
func (s stockroom) named(w wire.Wire) (option, bool) {
	for _, o := range s.shelves[shelfKey{w.System, w.Build, w.Conductor}] {
		if o.wire.Size == w.Size && o.strands == w.Strands {
			return o, true
		}
	}
	return option{}, false
}

// enamelShare is the mass of the enamel as part of the bare wire's: volume of the increase at
// 1.35 g/cm³ (resin, common practice).
func (o option) enamelShare() float64 {
	const resin = 1.35
	return resin / o.density * (o.overall*o.overall/(o.bare*o.bare) - 1) * 0.9 // the overall of the table is the largest
}

// area of a diameter, for wires that belong to no size.
func areaOf(d float64) float64 { return float64(wire.AreaOf(unit.Millimetre(d))) }
