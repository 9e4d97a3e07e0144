package wire

import (
	"slices"

	"statorbook/internal/unit"
)

// gauge is one wire that may be taken in hand: a size in one build, or a wire of a stock.
type gauge struct {
	size           int // index into Table.sizes, -1 for a bare diameter
	order          int // place in the list of a system, build by build: breaks ties
	bare, overall  unit.Millimetre
	area           float64 // mm² of one strand
	square         float64 // overall², 0 if not known
	increase       unit.Millimetre
	byRule         bool
	system         System
	build          Build
	thermalClass   string
	classTemp      float64 // °C, 0 if not known
	stock          int     // index into the stock, -1 for a table size
	thin, lowClass bool    // set by the search: thinner enamel, lower class than the wire to be replaced
}

// gauges lists every size without a build and in each of its builds, thin to thick. It is made once.
func (t *Table) gauges() []gauge {
	var all []gauge
	for i := range t.sizes {
		s := &t.sizes[i]
		g := gauge{size: i, bare: s.Diameter, area: float64(AreaOf(s.Diameter)), system: s.System, stock: -1}
		g.order = len(all)
		all = append(all, g)
		for _, c := range s.Covers {
			g.order = len(all)
			all = append(all, g.covered(c))
		}
	}
	slices.SortFunc(all, thinToThick)
	return all
}

// covered returns the gauge with a cover on.
func (g gauge) covered(c Cover) gauge {
	g.build, g.overall, g.increase, g.byRule = c.Build, c.OverallMax, c.IncreaseMin, c.ByRule
	g.square = float64(c.OverallMax) * float64(c.OverallMax)
	return g
}

// wire names the gauge with its strands.
func (t *Table) wire(g *gauge, metal Conductor, strands int, stock []Wire) Wire {
	if g.stock >= 0 {
		w := stock[g.stock]
		w.Strands = strands
		if g.size >= 0 {
			w.Diameter = t.nominal(g.size)
		}
		return w
	}
	return Wire{
		System: g.system, Size: t.sizes[g.size].Size, Diameter: t.nominal(g.size),
		Conductor: metal, Build: g.build, ThermalClass: g.thermalClass, Strands: strands,
	}
}

// nominal is the diameter of a size with its digits.
func (t *Table) nominal(i int) unit.Measured {
	s := &t.sizes[i]
	return unit.Measured{Given: true, Value: float64(s.Diameter), Text: s.Text}
}
