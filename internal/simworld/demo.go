package simworld

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"statorbook/internal/catalog"
	"statorbook/internal/winding"
	"statorbook/internal/wire"
)

// Catalogue is a set of families and of winding records, with the institute that keeps it and its
// persons. All of it is invented.
type Catalogue struct {
	Institute catalog.Institute
	Persons   []string // pseudonymous ids, members of Institute
	Families  []catalog.Family
	Windings  []catalog.Winding
}

// DemoSeed is the seed of the demo set that the service ships.
const DemoSeed = 20

// demoLine asks for families of one kind and build.
type demoLine struct {
	kind             string
	slots, poles     int
	families, copies int      // winding records for each family
	manners          []manner // taken in turn by the records; nil leaves it to the maker
	aluminium        bool     // the last record of the first family is aluminium
}

// demoPlan is the demo set: the small machines that a school meets.
var demoPlan = []demoLine{
	{kind: ceilingFanKey, slots: 12, poles: 12, families: 3, copies: 4, manners: []manner{wholeCoil, halfCoil}},
	{kind: ceilingFanKey, slots: 14, poles: 14, families: 5, copies: 4, manners: []manner{wholeCoil, halfCoil}},
	{kind: ceilingFanKey, slots: 16, poles: 16, families: 4, copies: 4, manners: []manner{wholeCoil, halfCoil}},
	{kind: ceilingFanKey, slots: 18, poles: 18, families: 3, copies: 3, manners: []manner{wholeCoil, wholeCoil, halfCoil}},
	{kind: "table_fan", slots: 8, poles: 4, families: 2, copies: 3},
	{kind: "table_fan", slots: 16, poles: 4, families: 4, copies: 3, aluminium: true},
	{kind: "table_fan", slots: 12, poles: 4, families: 1, copies: 3},
	{kind: "exhaust_fan", slots: 8, poles: 4, families: 1, copies: 3},
	{kind: "exhaust_fan", slots: 12, poles: 4, families: 1, copies: 3},
	{kind: "exhaust_fan", slots: 12, poles: 6, families: 2, copies: 3},
	{kind: "exhaust_fan", slots: 16, poles: 8, families: 2, copies: 3},
	{kind: "blower", slots: 24, poles: 2, families: 2, copies: 3},
	{kind: "blower", slots: 24, poles: 4, families: 1, copies: 3},
	{kind: "pump", slots: 24, poles: 2, families: 4, copies: 4},
	{kind: "pump", slots: 24, poles: 4, families: 3, copies: 3},
	{kind: "pump", slots: 36, poles: 4, families: 3, copies: 3},
	{kind: "grinder", slots: 24, poles: 4, families: 3, copies: 3},
	{kind: "grinder", slots: 36, poles: 4, families: 1, copies: 3},
	{kind: "air_cooler", slots: 24, poles: 4, families: 2, copies: 3},
	{kind: "air_cooler", slots: 16, poles: 4, families: 1, copies: 3},
	{kind: "air_cooler", slots: 36, poles: 6, families: 1, copies: 3},
	{kind: washingKey, slots: 24, poles: 4, families: 3, copies: 3, aluminium: true},
	{kind: washingKey, slots: 36, poles: 6, families: 1, copies: 3},
	{kind: generalThreeKey, slots: 24, poles: 2, families: 3, copies: 3, manners: []manner{wholeCoil, lapCoils}},
	{kind: generalThreeKey, slots: 24, poles: 4, families: 3, copies: 3, manners: []manner{lapCoils, wholeCoil, halfCoil}},
	{kind: generalThreeKey, slots: 36, poles: 2, families: 2, copies: 3, manners: []manner{wholeCoil, lapCoils}},
	{kind: generalThreeKey, slots: 36, poles: 4, families: 3, copies: 4, manners: []manner{halfCoil, lapCoils}},
	{kind: generalThreeKey, slots: 36, poles: 6, families: 2, copies: 3, manners: []manner{lapCoils, halfCoil, wholeCoil}},
	{kind: generalThreeKey, slots: 48, poles: 4, families: 1, copies: 3, manners: []manner{wholeCoil, lapCoils}},
}

// demoMakers is the number of hands behind the demo set.
const demoMakers = 7

// demoMaking is the state of making a demo set.
type demoMaking struct {
	seed   uint64
	c      constants
	stock  stockroom
	makers []maker
	done   []*lamination
	number map[string]int // families so far, by kind
	out    Catalogue
}

// Demo makes the demo set of a seed: invented, physically coherent, complete in every field. Wires
// are real sizes of the table. The same seed and table give the same set, byte for byte.
func Demo(seed uint64, wires *wire.Table) Catalogue {
	m := demoMaking{seed: seed, c: usual(), stock: newStockroom(wires), number: map[string]int{}}
	m.out.Institute = catalog.Institute{ID: id("demo", DemoInstitute), Slug: DemoInstitute, Title: "Demo winding school (invented)", Demo: true}
	m.out.Persons = []string{DemoAuthor, DemoVetter}
	for n := range demoMakers {
		m.makers = append(m.makers, drawMaker(newDice(seed, "maker", n), n, &m.c))
	}
	for i, line := range demoPlan {
		for f := range line.families {
			m.family(line, i*100+f, f == 0)
		}
	}
	return m.out
}

// family draws one family and its records, again until the stamping is unlike all others and every
// record keeps within the bands.
func (m *demoMaking) family(line demoLine, n int, first bool) {
	k := kindOf(line.kind)
	for try := 0; ; try++ {
		d := newDice(m.seed, line.kind+"-family", n*1000+try)
		l := drawLamination(d, k, build{slots: line.slots, poles: line.poles}, &m.c)
		if !l.sound() || !m.isNew(&l) {
			continue
		}
		designs, ok := m.designs(d, line, &l, first)
		if !ok {
			continue
		}
		m.done = append(m.done, &l)
		m.number[line.kind]++
		m.write(d, &l, designs, fmt.Sprintf("demo-%s-%02d", strings.ReplaceAll(line.kind, "_", "-"), m.number[line.kind]))
		return
	}
}

// isNew tells whether a calliper could tell the stamping from all others: two steps of a usual
// difference in at least one dimension.
func (m *demoMaking) isNew(l *lamination) bool {
	for _, o := range m.done {
		if o.kind.rotor != l.kind.rotor || o.slots != l.slots {
			continue
		}
		far := 0.0
		for _, p := range [][3]float64{{o.gap, l.gap, 0.01}, {o.back, l.back, 0.015}, {o.first.tooth, l.first.tooth, 0.05}, {o.first.depth, l.first.depth, 0.06}} {
			far = math.Max(far, math.Abs(math.Log(p[0]/p[1]))/p[2])
		}
		if far < 2 {
			return false
		}
	}
	return true
}

// designs makes the records of a family: two stacks, different supplies, hands and wires.
func (m *demoMaking) designs(d dice, line demoLine, l *lamination, first bool) ([]design, bool) {
	k := l.kind
	stack := stepped(l.gap*d.logBetween(k.stack.low, k.stack.high/m.c.StackGrowth), 1)
	stacks := []float64{stack, stepped(stack*d.between(1.15, 1.45), 1)}
	habit := d.firm(m.c.FamilyB)
	own := pick(d, m.makers...)
	var list []design
	for try := 0; len(list) < line.copies; try++ {
		if try > 60 {
			return nil, false
		}
		j := len(list)
		b := brief{lam: l, maker: &own, stack: stacks[j%2], poles: line.poles, supply: drawSupply(d, k), flux: habit * d.firm(m.c.RecordB), shelf: own.shelf}
		if j == 0 {
			b.supply = supply{230, 50, winding.ConnSingle}
			if k.phases == 3 {
				b.supply = supply{400, 50, winding.ConnStar}
			}
		}
		if j >= 2 { // another hand
			other := pick(d, m.makers...)
			b.maker, b.shelf = &other, other.shelf
		}
		if line.manners != nil {
			b.manner = line.manners[j%len(line.manners)]
		}
		if line.aluminium && first && j == line.copies-1 {
			b.shelf.metal = wire.Aluminium
		}
		g, ok := draft(d, b, m.stock, &m.c)
		if ok && g.inBands() && !resembles(list, &g) {
			list = append(list, g)
		}
	}
	return list, true
}

// resembles tells whether a list already has a design for the same stack and volts with nearly the same turns.
func resembles(list []design, g *design) bool {
	for i := range list {
		o := &list[i]
		if o.stack == g.stack && o.supply == g.supply && math.Abs(math.Log(o.sets[0].series()/g.sets[0].series())) < 0.02 {
			return true
		}
	}
	return false
}

// inBands tells whether a design keeps within common practice, read the way a checker reads a
// sheet: the whole plate current in the main winding, a little room left for measuring errors.
func (g *design) inBands() bool {
	gap, teeth, iron := g.densities()
	in := func(v, low, high float64) bool { return v >= low && v <= high }
	low, high := 3.2, 7.8 // A/mm²
	switch {
	case g.lam.kind.plateIsIn:
		low, high = 3, 6.3
	case g.sets[0].wire.wire.Conductor == wire.Aluminium:
		low, high = 2.2, 6
	}
	amperes := g.plateCurrent() / g.conductorArea()
	loading := g.loading() * g.plateCurrent() / g.main
	switch {
	case g.lam.kind.phases == 3:
		if !in(loading, 8300, 27000) {
			return false
		}
	case !g.lam.kind.twoRings && !in(loading, 5000, 17500):
		return false
	}
	return in(gap, 0.26, 0.58) && in(teeth, 1.24, 1.72) && in(iron, 0.95, 1.44) && in(g.fill, 0.57, 0.75) && g.copperFill() < 0.422 &&
		in(amperes, low, high) && g.stack < 1.95*math.Pi*g.lam.gap/float64(g.poles)
}

// write turns a family and its designs into records.
func (m *demoMaking) write(d dice, l *lamination, designs []design, slug string) {
	provenance := catalog.Provenance{
		Revision: 1, State: catalog.Published, Status: catalog.StatusDemo, Source: "demo: simulated by internal/simworld seed " + strconv.FormatUint(m.seed, 10),
		Licence: Licence, Institute: DemoInstitute, Author: DemoAuthor, Vetter: DemoVetter, Demo: true,
	}
	slots := strconv.Itoa(l.slots)
	if l.kind.twoRings {
		slots += "+" + slots
	}
	f := catalog.Family{ID: id("demo", slug), Slug: slug, Application: l.kind.application, Core: l.core(0), Provenance: provenance,
		Title: fmt.Sprintf("Demo drawing %02d: %s, %s slots, gap %s mm", len(m.out.Families)+1, l.kind.words, slots, read(l.gap, 0.1).Text)}
	cores := map[float64]string{}
	for i := range designs {
		g := &designs[i]
		if cores[g.stack] == "" {
			stack := read(g.stack, 1)
			cores[g.stack] = id("demo", slug, "stack", stack.Text)
			f.Cores = append(f.Cores, catalog.FamilyCore{ID: cores[g.stack], StackLength: stack})
		}
		w := g.record(d, recorder{scale: 0.6}.measure(d, l.core(g.stack)), scale{mass: m.c.MassScatter, ohms: 0.7 * m.c.OhmScatter, cold: span{19, 33},
			states: []string{"bare", "bare", "enamelled", "varnished", "with_leads"}})
		w.Slug = slug + "-" + string(rune('a'+i))
		w.ID, w.CoreID, w.FamilyID = id("demo", w.Slug), cores[g.stack], f.ID
		w.Origin = []string{factory, factory, rewound, unknownOrigin}[min(i, 3)]
		w.Remarks, w.TimesSeen = "demo: invented data", 1+int(3*d.spread(0.9))
		w.Quality, w.Provenance = quality(), provenance
		g.clothe(d, &w)
		m.out.Windings = append(m.out.Windings, w)
	}
	m.out.Families = append(m.out.Families, f)
}
