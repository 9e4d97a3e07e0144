package wire

import (
	"cmp"
	"slices"

	"statorbook/internal/unit"
)

// gauge is one wire that may be taken in hand: a size in one build, or a wire of a stock.
type gauge struct {
	size         int // index into Table.sizes, -1 for a bare diameter
	order        int // place in the list of a system, build by build: breaks ties
	stock        int // index into the stock, -1 for a table size
	system       int // index into Systems, -1 for a bare diameter
	build        int // index into Builds + 1, 0 if not known
	bare         unit.Millimetre
	overall      unit.Millimetre // 0 if not known
	increase     unit.Millimetre // minimum, 0 if not known
	area         float64         // mm² of one strand
	square       float64         // overall², 0 if not known
	need         [noOfBuilds]unit.Millimetre
	byRule       bool
	thermalClass string  // of a stock wire
	classTemp    float64 // °C, of a stock wire, 0 if not known
}

// noOfBuilds is len(Builds()).
const noOfBuilds = 6

// buildNumber is the index of a build in Builds, plus one; 0 for none.
func buildNumber(b Build) int {
	switch b {
	case Grade1:
		return 1
	case Grade2:
		return 2
	case Grade3:
		return 3
	case Single:
		return 4
	case Heavy:
		return 5
	case Triple:
		return 6
	}
	return 0
}

// gauges lists every size without a build and in each of its builds, thin to thick. It is made once.
func (t *Table) gauges() []gauge {
	var all []gauge
	for i := range t.sizes {
		s := &t.sizes[i]
		g := gauge{size: i, bare: s.Diameter, area: float64(AreaOf(s.Diameter)), system: slices.Index(Systems(), s.System), stock: -1}
		for k, b := range Builds() {
			g.need[k] = t.increaseAt(b, s.Diameter)
		}
		g.order = len(all)
		all = append(all, g)
		for _, c := range s.Covers {
			g.order = len(all)
			all = append(all, g.covered(c))
		}
	}
	slices.SortFunc(all, func(a, b gauge) int { return thinToThick(&a, &b) })
	return all
}

func thinToThick(a, b *gauge) int {
	return cmp.Or(cmp.Compare(a.area, b.area), cmp.Compare(a.order, b.order))
}

// covered returns the gauge with a cover on.
func (g gauge) covered(c Cover) gauge {
	g.build, g.overall, g.increase, g.byRule = buildNumber(c.Build), c.OverallMax, c.IncreaseMin, c.ByRule
	g.square = float64(c.OverallMax) * float64(c.OverallMax)
	return g
}

// isGrade tells whether the gauge's build is an IEC grade.
func (g *gauge) isGrade() bool { return g.build >= 1 && g.build <= 3 }

// increaseAt returns the minimum increase that a build asks for at a diameter: a grade by the
// intermediate-size rule, a NEMA build as of the next thinner AWG size that prints one. 0 if not known.
func (t *Table) increaseAt(b Build, d unit.Millimetre) unit.Millimetre {
	if b.IsGrade() {
		c, _, _ := t.ruleCover(d, b)
		return c.IncreaseMin
	}
	ladder := t.ladders[AWG] // thin to thick
	for i := len(ladder) - 1; i >= 0; i-- {
		s := &t.sizes[ladder[i]]
		if s.Diameter > d {
			continue
		}
		if c, ok := s.Cover(b); ok && c.IncreaseMin > 0 {
			return c.IncreaseMin
		}
	}
	return 0
}

// wire names the gauge with its strands.
func (q *query) wire(g *gauge, strands int) Wire {
	t := q.table
	if g.stock >= 0 {
		w := q.o.Stock[g.stock]
		w.Strands = strands
		if g.size >= 0 {
			w.Diameter = t.nominal(g.size)
		}
		return w
	}
	w := Wire{System: Systems()[g.system], Size: t.sizes[g.size].Size, Diameter: t.nominal(g.size), Conductor: q.metal, Strands: strands}
	if g.build > 0 {
		w.Build = Builds()[g.build-1]
	}
	if q.minClass > 0 { // table wire is ordered in the class that is asked for
		w.ThermalClass = q.o.Limits.MinThermalClass
	}
	return w
}

// classOf returns the class temperature of a gauge, 0 if not known.
func (q *query) classOf(g *gauge) float64 {
	if g.stock < 0 {
		return q.minClass
	}
	return g.classTemp
}

// nominal is the diameter of a size with its digits.
func (t *Table) nominal(i int) unit.Measured {
	s := &t.sizes[i]
	return unit.Measured{Given: true, Value: float64(s.Diameter), Text: s.Text}
}
