package wire

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"statorbook/internal/errs"
	"statorbook/internal/unit"
)

// collect gathers the gauges that the search may take in hand and counts those that limits leave out.
func (q *query) collect() error {
	candidates, err := q.candidates()
	if err != nil {
		return err
	}
	q.gauges = make([]gauge, 0, len(candidates))
	for _, g := range candidates {
		if reason := q.excludes(&g); reason != "" {
			q.excluded[reason]++
			continue
		}
		q.gauges = append(q.gauges, g)
	}
	if q.low > q.high && len(q.gauges) > 0 {
		q.excluded[ExcludedBandEmpty] = len(q.gauges)
		q.gauges = nil
	}
	for i := range q.gauges {
		for n := 1; n <= q.o.MaxStrands; n++ {
			if e := q.errorOf(float64(n) * q.gauges[i].area); e < q.low || e > q.high {
				q.excluded[ExcludedArea]++
			}
		}
	}
	return nil
}

// excludes names the first limit that a gauge breaks, "" if none.
func (q *query) excludes(g *gauge) string {
	l := &q.o.Limits
	switch {
	case l.MaxBare > 0 && g.bare > l.MaxBare:
		return ExcludedBare
	case l.MaxOverall > 0 && g.overall == 0:
		return ExcludedOverallUnknown
	case l.MaxOverall > 0 && g.overall > l.MaxOverall:
		return ExcludedOverall
	case q.minClass > 0 && g.stock >= 0 && g.classTemp == 0:
		return ExcludedClassUnknown
	case q.minClass > 0 && g.classTemp > 0 && g.classTemp < q.minClass:
		return ExcludedClass
	}
	return ""
}

// candidates lists stock or table gauges, thin to thick, before limits.
func (q *query) candidates() ([]gauge, error) {
	if q.o.StockGiven {
		if len(q.o.Stock) == 0 {
			q.excluded[ExcludedStockEmpty] = q.table.Len()
		}
		return q.stockGauges()
	}
	pool := q.table.pool
	wanted := q.wantedBuilds()
	listed := make([]gauge, 0, len(pool))
	for i := range pool {
		g := &pool[i]
		set, asked := wanted[g.system]
		if !asked || !slices.Contains(set, g.build) {
			continue
		}
		if g.build != "" && g.overall == 0 && g.increase == 0 {
			q.excluded[ExcludedBuild]++ // the table says that no figure is published: not known to be made
			continue
		}
		c := *g
		if q.minClass > 0 { // table wire is ordered in the class that is asked for
			c.thermalClass, c.classTemp = q.o.Limits.MinThermalClass, q.minClass
		}
		listed = append(listed, c)
	}
	return q.addRuled(listed), nil
}

// wantedBuilds says which builds count in each target system.
func (q *query) wantedBuilds() map[System][]Build {
	systems := q.o.Systems
	if len(systems) == 0 {
		systems = Systems()
	}
	wanted := make(map[System][]Build, len(systems))
	for _, s := range systems {
		own := buildsOf(s)
		switch {
		case len(q.o.Builds) > 0:
			wanted[s] = slices.DeleteFunc(slices.Clone(q.o.Builds), func(b Build) bool { return !slices.Contains(own, b) })
		case slices.Contains(own, q.from.Build):
			wanted[s] = []Build{q.from.Build}
		case q.from.Build == "" && q.o.Limits.MaxOverall == 0:
			wanted[s] = []Build{""}
		default:
			wanted[s] = own
		}
	}
	return wanted
}

// buildsOf lists the builds in which the sizes of a system are sold.
func buildsOf(s System) []Build {
	if s == AWG {
		return []Build{Single, Heavy, Triple}
	}
	return []Build{Grade1, Grade2, Grade3}
}

// addRuled adds AWG sizes to an IEC grade, by the intermediate-size rule, when only grades are asked
// of the system. NEMA builds on other sizes have no rule: those sizes are counted as left out.
func (q *query) addRuled(listed []gauge) []gauge {
	if len(q.o.Builds) == 0 {
		return listed
	}
	systems := q.o.Systems
	if len(systems) == 0 {
		systems = Systems()
	}
	added := false
	for _, s := range systems {
		if slices.ContainsFunc(q.o.Builds, func(b Build) bool { return slices.Contains(buildsOf(s), b) }) {
			continue
		}
		sp := q.table.bySystem[s]
		for i := sp.from; i < sp.to; i++ {
			d := q.table.sizes[i].Diameter
			made := false
			for k, b := range q.o.Builds {
				c, _, ok := q.table.ruleCover(d, b)
				if !ok || c.OverallMax == 0 && c.IncreaseMin == 0 {
					continue
				}
				g := gauge{size: i, order: len(q.table.pool) + i*len(Builds()) + k, bare: d, area: float64(AreaOf(d)), system: s, stock: -1}
				if q.minClass > 0 {
					g.thermalClass, g.classTemp = q.o.Limits.MinThermalClass, q.minClass
				}
				listed = append(listed, g.covered(c))
				made, added = true, true
			}
			if !made {
				q.excluded[ExcludedBuild]++
			}
		}
	}
	if added {
		slices.SortFunc(listed, thinToThick)
	}
	return listed
}

func thinToThick(a, b gauge) int {
	return cmp.Or(cmp.Compare(a.area, b.area), cmp.Compare(a.order, b.order))
}

// stockGauges resolves the stock. A wire that is listed twice counts once.
func (q *query) stockGauges() ([]gauge, error) {
	var all []gauge
	seen := map[gauge]bool{}
	for i, w := range q.o.Stock {
		r, err := q.table.Resolve(w)
		if err != nil {
			return nil, pointed(err, fmt.Sprintf("/stock/%d", i))
		}
		g := gauge{
			size: -1, bare: r.Bare, overall: r.Overall, area: float64(r.Area), square: float64(r.Overall) * float64(r.Overall),
			byRule: r.OverallByRule, system: w.System, build: w.Build, thermalClass: w.ThermalClass,
		}
		if w.System != Bare {
			if g.size, err = q.table.find(w.System, w.Size); err != nil {
				return nil, pointed(err, fmt.Sprintf("/stock/%d", i))
			}
		}
		if w.ThermalClass != "" {
			var bad []errs.Field
			q.checkClass(&g.classTemp, w.ThermalClass, fmt.Sprintf("/stock/%d/thermal_class", i), func(pointer, code, detail string, allowed any, got string) {
				bad = append(bad, errs.Field{Pointer: pointer, Code: code, Detail: detail, Allowed: allowed, Got: shorten(got)})
			})
			if bad != nil {
				return nil, errs.New(errs.KindImpossible, bad[0].Detail, bad...)
			}
		}
		g.increase = q.table.increaseOf(w, r.Bare)
		switch {
		case w.Conductor != q.metal:
			q.excluded[ExcludedConductor]++
		case len(q.o.Systems) > 0 && w.System != Bare && !slices.Contains(q.o.Systems, w.System):
			q.excluded[ExcludedSystem]++
		case len(q.o.Builds) > 0 && w.Build != "" && !slices.Contains(q.o.Builds, w.Build):
			q.excluded[ExcludedBuild]++
		case !seen[g]:
			seen[g] = true
			g.stock, g.order = i, i
			all = append(all, g)
		}
	}
	slices.SortFunc(all, thinToThick)
	return all, nil
}

// increaseOf returns the minimum increase of a wire's build, 0 if not known.
func (t *Table) increaseOf(w Wire, d unit.Millimetre) unit.Millimetre {
	if w.System != Bare && w.Build != "" {
		if i, err := t.find(w.System, w.Size); err == nil {
			if c, ok := t.sizes[i].Cover(w.Build); ok {
				return c.IncreaseMin
			}
		}
	}
	return t.increaseAt(w.Build, d)
}

// increaseAt returns the minimum increase that a build asks for at a diameter: a grade by the
// intermediate-size rule, a NEMA build as of the next thinner AWG size that prints one. 0 if not known.
func (t *Table) increaseAt(b Build, d unit.Millimetre) unit.Millimetre {
	if b.IsGrade() {
		c, _, _ := t.ruleCover(d, b)
		return c.IncreaseMin
	}
	sp := t.bySystem[AWG]
	list := t.sizes[sp.from:sp.to]
	at, _ := slices.BinarySearchFunc(list, d, func(s Size, d unit.Millimetre) int { return cmp.Compare(d, s.Diameter) }) // thick to thin
	for ; at < len(list); at++ {
		if c, ok := list[at].Cover(b); ok && c.IncreaseMin > 0 {
			return c.IncreaseMin
		}
	}
	return 0
}

// thinnerEnamel is the share of the old build's minimum increase below which an enamel counts as thinner. Common practice, no source.
const thinnerEnamel = 0.85

// mark sets what every combination with a gauge inherits, and the lowest tier that can occur.
func (q *query) mark() {
	clean, known := false, true
	least := math.Inf(1) // smallest Do²/area of the gauges without a fault of their own
	for i := range q.gauges {
		g := &q.gauges[i]
		if g.build != q.from.Build && g.build != "" && q.from.Build != "" {
			if need := q.table.increaseAt(q.from.Build, g.bare); need > 0 && g.increase > 0 {
				g.thin = float64(g.increase) < thinnerEnamel*float64(need)
			}
		}
		g.lowClass = q.fromClass > 0 && g.classTemp > 0 && g.classTemp < q.fromClass
		if g.thin || g.lowClass {
			continue
		}
		clean = true
		known = known && g.square > 0
		least = min(least, g.square/g.area)
	}
	tooBig := known && q.oldSquare > 0 && q.target*(1+areaLow/100)*least > slotFits*q.oldSquare
	if !clean || q.high < areaLow || tooBig {
		q.leastTier = 1
	}
}
