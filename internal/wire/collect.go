package wire

import (
	"fmt"
	"math"
	"slices"
	"sort"

	"statorbook/internal/errs"
)

// hand is a gauge as one search sees it. The two figures that the search reads most stand beside the pointer.
type hand struct {
	*gauge
	area, square float64
	fault        bool // a warning that every combination with it inherits: see gaugeFault
}

// shelf is what a search starts from when only systems and the old wire's build choose among the tables.
// It is made once for each such choice (at most 49), shared and never changed.
type shelf struct {
	hands   []hand // thin to thick
	notMade int    // sizes that are not made in the build
}

// shelfKey is the choice that a shelf is for.
type shelfKey struct {
	wanted [3]uint8
	from   int // number of the old wire's build
}

// collect gathers the gauges that the search may take in hand and counts those that limits leave out.
func (q *query) collect() error {
	if l := &q.o.Limits; !q.o.StockGiven && len(q.o.Builds) == 0 && l.MaxBare == 0 && l.MaxOverall == 0 && !(q.minClass > 0 && q.minClass < q.fromClass) {
		shared := q.shelf()
		q.hands = shared.hands
		if shared.notMade > 0 {
			q.excluded[ExcludedBuild] = shared.notMade
		}
	} else if err := q.choose(); err != nil {
		return err
	}
	if q.low > q.high && len(q.hands) > 0 {
		q.excluded[ExcludedBandEmpty] = len(q.hands)
		q.hands = nil
	}
	outside := 0
	for n := 1; n <= q.o.MaxStrands; n++ { // the area error grows from hand to hand
		from := sort.Search(len(q.hands), func(i int) bool { return q.errorOf(float64(n)*q.hands[i].area) >= q.low })
		to := sort.Search(len(q.hands), func(i int) bool { return q.errorOf(float64(n)*q.hands[i].area) > q.high })
		outside += len(q.hands) - (to - from)
	}
	if outside > 0 {
		q.excluded[ExcludedArea] = outside
	}
	q.leastTier = q.lowestTier()
	return nil
}

// shelf gives the shared shelf for the query's systems and old build.
func (q *query) shelf() *shelf {
	key := shelfKey{q.wantedBuilds(), buildNumber(q.from.Build)}
	if known, ok := q.table.shelves.Load(key); ok {
		return known.(*shelf)
	}
	listed, notMade := q.listed(key.wanted)
	fresh := &shelf{hands: make([]hand, 0, len(listed)), notMade: notMade}
	for _, g := range listed {
		fresh.hands = append(fresh.hands, q.inHand(g))
	}
	known, _ := q.table.shelves.LoadOrStore(key, fresh)
	return known.(*shelf)
}

// choose takes in hand what no limit leaves out, and counts the others.
func (q *query) choose() error {
	candidates, err := q.candidates()
	if err != nil {
		return err
	}
	q.hands = make([]hand, 0, len(candidates))
	for _, g := range candidates {
		if reason := q.excludes(g); reason != "" {
			q.excluded[reason]++
			continue
		}
		q.hands = append(q.hands, q.inHand(g))
	}
	return nil
}

func (q *query) inHand(g *gauge) hand {
	return hand{gauge: g, area: g.area, square: g.square, fault: q.thin(g) || q.lowClass(g)}
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
	case q.minClass > 0 && q.classOf(g) == 0:
		return ExcludedClassUnknown
	case q.classOf(g) < q.minClass:
		return ExcludedClass
	}
	return ""
}

// candidates lists stock or table gauges, thin to thick, before limits.
func (q *query) candidates() ([]*gauge, error) {
	if q.o.StockGiven {
		if len(q.o.Stock) == 0 {
			q.excluded[ExcludedStockEmpty] = q.table.Len()
		}
		return q.stockGauges()
	}
	listed, notMade := q.listed(q.wantedBuilds())
	if notMade > 0 {
		q.excluded[ExcludedBuild] += notMade
	}
	return q.addRuled(listed), nil
}

// listed gives the gauges of the tables in the builds wanted of each system, and counts the sizes of
// which the table says that no figure is published: not known to be made.
func (q *query) listed(wanted [3]uint8) (list []*gauge, notMade int) {
	pool := q.table.pool
	list = make([]*gauge, 0, len(pool))
	for i := range pool {
		g := &pool[i]
		switch {
		case wanted[g.system]&(1<<g.build) == 0:
		case g.build != 0 && g.overall == 0 && g.increase == 0:
			notMade++
		default:
			list = append(list, g)
		}
	}
	return list, notMade
}

// targetSystems lists the systems asked for, by index into Systems.
func (q *query) targetSystems() []int {
	var all []int
	for i, s := range Systems() {
		if len(q.o.Systems) == 0 || slices.Contains(q.o.Systems, s) {
			all = append(all, i)
		}
	}
	return all
}

// wantedBuilds says which builds count in each system, one bit for each build number (bit 0: no build).
func (q *query) wantedBuilds() [3]uint8 {
	var wanted [3]uint8
	for _, s := range q.targetSystems() {
		own := ownBuilds(s)
		bit := uint8(1) << buildNumber(q.from.Build)
		switch {
		case len(q.o.Builds) > 0:
			wanted[s] = q.askedBuilds() & own
		case q.from.Build != "" && own&bit != 0:
			wanted[s] = bit
		case q.from.Build == "" && q.o.Limits.MaxOverall == 0:
			wanted[s] = 1
		default:
			wanted[s] = own
		}
	}
	return wanted
}

// askedBuilds is the set of the builds asked for.
func (q *query) askedBuilds() uint8 {
	var set uint8
	for _, b := range q.o.Builds {
		set |= 1 << buildNumber(b)
	}
	return set
}

// ownBuilds is the set of the builds in which the sizes of a system (by index) are sold.
func ownBuilds(system int) uint8 {
	if Systems()[system] == AWG {
		return 1<<4 | 1<<5 | 1<<6
	}
	return 1<<1 | 1<<2 | 1<<3
}

// addRuled adds AWG sizes to an IEC grade, by the intermediate-size rule, when only grades are asked
// of the system. NEMA builds on other sizes have no rule: those sizes are counted as left out.
func (q *query) addRuled(listed []*gauge) []*gauge {
	if len(q.o.Builds) == 0 {
		return listed
	}
	before := len(listed)
	for _, s := range q.targetSystems() {
		if q.askedBuilds()&ownBuilds(s) != 0 {
			continue
		}
		sp := q.table.bySystem[Systems()[s]]
		for i := sp.from; i < sp.to; i++ {
			made := q.ruled(i, s)
			if len(made) == 0 {
				q.excluded[ExcludedBuild]++
			}
			listed = append(listed, made...)
		}
	}
	if len(listed) > before {
		slices.SortFunc(listed, thinToThick)
	}
	return listed
}

// ruled returns one size in each build asked for that the intermediate-size rule gives.
func (q *query) ruled(i, system int) []*gauge {
	var made []*gauge
	d := q.table.sizes[i].Diameter
	for k, b := range Builds() {
		c, _, ok := q.table.ruleCover(d, b)
		if !slices.Contains(q.o.Builds, b) || !ok || c.OverallMax == 0 && c.IncreaseMin == 0 {
			continue
		}
		g := gauge{size: i, order: len(q.table.pool) + i*noOfBuilds + k, bare: d, area: float64(AreaOf(d)), system: system, stock: -1}
		if from := q.from.Build; from != "" {
			g.need[buildNumber(from)-1] = q.table.increaseAt(from, d)
		}
		g = g.covered(c)
		made = append(made, &g)
	}
	return made
}

// stockGauges resolves the stock. A wire that is listed twice counts once.
func (q *query) stockGauges() ([]*gauge, error) {
	all := make([]*gauge, 0, len(q.o.Stock))
	seen := map[gauge]bool{}
	for i, w := range q.o.Stock {
		g, err := q.stockGauge(i, w)
		if err != nil {
			return nil, err
		}
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
			all = append(all, &g)
		}
	}
	slices.SortFunc(all, thinToThick)
	return all, nil
}

// stockGauge resolves one wire of the stock, without its place in the list.
func (q *query) stockGauge(i int, w Wire) (gauge, error) {
	base := fmt.Sprintf("/stock/%d", i)
	r, err := q.table.resolveSole(w)
	if err != nil {
		return gauge{}, pointed(err, base)
	}
	g := gauge{
		size: -1, bare: r.Bare, overall: r.Overall, area: float64(r.Area), square: float64(r.Overall) * float64(r.Overall),
		byRule: r.OverallByRule, system: slices.Index(Systems(), w.System), build: buildNumber(w.Build), thermalClass: w.ThermalClass,
	}
	g.increase = q.table.increaseAt(w.Build, r.Bare)
	if w.System != Bare {
		if g.size, err = q.table.find(w.System, w.Size); err != nil {
			return gauge{}, pointed(err, base)
		}
		if c, ok := q.table.sizes[g.size].Cover(w.Build); ok {
			g.increase = c.IncreaseMin
		}
	}
	if q.from.Build != "" {
		g.need[buildNumber(q.from.Build)-1] = q.table.increaseAt(q.from.Build, r.Bare)
	}
	var bad []errs.Field
	q.checkClass(&g.classTemp, w.ThermalClass, base+"/thermal_class", func(pointer, code, detail string, allowed any, got string) {
		bad = append(bad, errs.Field{Pointer: pointer, Code: code, Detail: detail, Allowed: allowed, Got: shorten(got)})
	})
	if bad != nil {
		return gauge{}, errs.New(errs.KindImpossible, bad[0].Detail, bad...)
	}
	return g, nil
}

// thinnerEnamel is the share of the old build's minimum increase below which an enamel counts as thinner. Common practice, no source.
const thinnerEnamel = 0.85

// thin tells whether a gauge's enamel is thinner than the old wire's build would be on its diameter.
func (q *query) thin(g *gauge) bool {
	old := buildNumber(q.from.Build)
	if old == 0 || g.build == old || g.build == 0 {
		return false
	}
	need := g.need[old-1]
	return need > 0 && g.increase > 0 && float64(g.increase) < thinnerEnamel*float64(need)
}

// lowClass tells whether a gauge's thermal class is known to be lower than the old wire's.
func (q *query) lowClass(g *gauge) bool {
	c := q.classOf(g)
	return c > 0 && c < q.fromClass
}

// lowestTier returns the lowest tier that a combination can have: 1 when no gauge is free of faults,
// when the band asks for too small areas only, or when even the best-packing gauge cannot fit.
func (q *query) lowestTier() int {
	clean := false
	least := math.Inf(1) // smallest Do²/area of the gauges without a fault of their own
	for i := range q.hands {
		h := &q.hands[i]
		if h.fault || q.oldSquare > 0 && h.square == 0 {
			continue
		}
		clean = true
		least = min(least, h.square/h.area)
	}
	if !clean || q.high < areaLow || q.oldSquare > 0 && q.target*(1+areaLow/100)*least > slotFits*q.oldSquare {
		return 1
	}
	return 0
}
