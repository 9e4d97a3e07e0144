package simworld

import (
	"errors"
	"iter"
	"math"
	"sort"
	"strconv"

	"statorbook/internal/catalog"
	"statorbook/internal/wire"
)

// Config asks for a world. The same Config and wire table give the same world.
type Config struct {
	Seed    uint64
	Records int    // published winding records, 1 to 5,000,000
	Queries int    // measured stators with their truth, 0 to 1,000,000
	Entries int    // record sheets, about half of them with one slip, 0 to 1,000,000
	Perturb uint64 // 0: the usual constants; else the seed that shifts about forty of them
}

// Limits of a Config.
const (
	MaxRecords = 5_000_000
	MaxQueries = 1_000_000
)

// worldMakers is the number of hands behind a world.
const worldMakers = 24

// World is an invented catalogue, with measured stators and record sheets whose truth is known.
// Nothing of it is kept but a few figures for each record: everything else is made again when it
// is asked for, so that a million records need no memory. A World is safe for concurrent readers.
type World struct {
	cfg     Config
	c       constants
	stock   stockroom
	makers  []maker
	name    string // part of every id
	lams    []lamination
	records []place
	upTo    []float64 // running sums of the popularity of records
	start   []int     // first record of each family; one more at the end
}

// place is where a record lies.
type place struct{ family, core, record int32 }

// NewWorld makes a world. It fails when the Config is out of its limits.
func NewWorld(cfg Config, wires *wire.Table) (*World, error) {
	switch {
	case cfg.Records < 1 || cfg.Records > MaxRecords:
		return nil, errors.New("simworld: records must be 1 to " + strconv.Itoa(MaxRecords))
	case cfg.Queries < 0 || cfg.Queries > MaxQueries || cfg.Entries < 0 || cfg.Entries > MaxQueries:
		return nil, errors.New("simworld: queries and entries must be 0 to " + strconv.Itoa(MaxQueries))
	case wires == nil || wires.Len() == 0:
		return nil, errors.New("simworld: a world needs wire sizes")
	}
	w := &World{cfg: cfg, c: perturbed(cfg.Perturb), stock: newStockroom(wires),
		name: "world-" + strconv.FormatUint(cfg.Seed, 10) + "-" + strconv.FormatUint(cfg.Perturb, 10)}
	for n := range worldMakers {
		w.makers = append(w.makers, drawMaker(newDice(cfg.Seed, "maker", n), n, &w.c))
	}
	total := 0.0
	for i := 0; len(w.records) < cfg.Records; i++ {
		w.lams = append(w.lams, w.stamping("stamping", i, i))
		w.start = append(w.start, len(w.records))
		f := w.family(i)
		for j := range f.records {
			if len(w.records) == cfg.Records {
				break
			}
			r := &f.records[j]
			total += r.popularity
			w.records = append(w.records, place{int32(i), int32(r.core), int32(j)})
			w.upTo = append(w.upTo, total)
		}
	}
	w.start = append(w.start, len(w.records))
	return w, nil
}

// Families is the number of families in the catalogue; Records that of its records.
func (w *World) Families() int { return len(w.lams) }

// Records is the number of winding records in the catalogue.
func (w *World) Records() int { return len(w.records) }

// Catalogue yields every family with its winding records, in a fixed order. A family without
// records does not occur.
func (w *World) Catalogue() iter.Seq2[catalog.Family, []catalog.Winding] {
	return func(yield func(catalog.Family, []catalog.Winding) bool) {
		for i := range w.lams {
			n := w.start[i+1] - w.start[i]
			if n == 0 {
				continue
			}
			f := w.family(i)
			windings := make([]catalog.Winding, n)
			for j := range windings {
				windings[j] = w.sheet(&f, j)
			}
			if !yield(w.familyRecord(&f, n), windings) {
				return
			}
		}
	}
}

// popular draws a record as often as such a machine comes to the bench.
func (w *World) popular(d dice) place {
	at := d.r.Float64() * w.upTo[len(w.upTo)-1]
	return w.records[min(sort.SearchFloat64s(w.upTo, at), len(w.records)-1)]
}

// uniform draws any record.
func (w *World) uniform(d dice) place { return w.records[d.r.IntN(len(w.records))] }

// stamping draws lamination n of a sort; known laminations before it may be copied.
func (w *World) stamping(sort string, n, known int) lamination {
	for try := 0; ; try++ {
		d := newDice(w.cfg.Seed, sort, n*64+try)
		var l lamination
		if known > 0 && d.chance(w.c.CopyShare) {
			l = w.nearCopy(d, w.lams[d.r.IntN(known)])
		} else {
			weights := make([]float64, len(kinds))
			for i := range kinds {
				weights[i] = kinds[i].weight
			}
			k := &kinds[d.index(weights...)]
			builds := make([]float64, len(k.builds))
			for i := range k.builds {
				builds[i] = k.builds[i].weight
			}
			l = drawLamination(d, k, k.builds[d.index(builds...)], &w.c)
		}
		if l.sound() {
			return l
		}
	}
}

// nearCopy is another works' version of a stamping: the gap diameter moves by up to CopyGap, and
// some dimensions are edited, the others are exactly the same. The iron still closes.
func (w *World) nearCopy(d dice, l lamination) lamination {
	edit := func(v *float64, step float64) {
		if d.chance(w.c.CopyEdits) {
			*v = stepped(*v*d.firm(w.c.CopyEdit), step)
		}
	}
	web := (l.gap-l.back)/2 - l.first.depth - l.second.depth - l.iron // between two rings
	l.gap = stepped(l.gap+d.between(-w.c.CopyGap, w.c.CopyGap), 0.05)
	edit(&l.first.tooth, 0.05)
	edit(&l.iron, 0.1)
	edit(&l.first.opening, 0.1)
	if l.kind.twoRings {
		edit(&l.first.depth, 0.1)
		edit(&l.second.tooth, 0.1)
		edit(&l.second.depth, 0.1)
		l.back = l.gap - 2*(l.first.depth+web+l.second.depth+l.iron)
	} else {
		edit(&l.back, 0.5)
		l.first.depth = stepped((l.back-l.gap)/2-l.iron, 0.01)
	}
	l.fillAreas(&w.c)
	return l
}

// work is one winding of a family of the world.
type work struct {
	core       int // index of its stack
	design     design
	popularity float64 // how often it comes to the bench, relative
	seen       int
}

// familyWork is a family with all that belongs to it.
type familyWork struct {
	index   int
	lam     *lamination
	home    *maker
	habit   float64
	drawn   bool // its dimensions are those of a drawing
	stacks  []float64
	records []work
}

// family makes family i again, always the same.
func (w *World) family(i int) familyWork {
	d := newDice(w.cfg.Seed, "family", i)
	f := familyWork{index: i, lam: &w.lams[i], home: &w.makers[d.r.IntN(len(w.makers))], habit: d.firm(w.c.FamilyB), drawn: d.chance(w.c.DrawnShare)}
	f.stacks = w.stacks(d, f.lam, f.home)
	for core := range f.stacks {
		n := 1 + min(7, int(d.r.ExpFloat64()*(w.c.RecordsMean-1)+0.5))
		for r := range n {
			own := newDice(w.cfg.Seed, "design", (i*16+core)*16+r)
			if g, ok := w.design(own, &f, f.stacks[core]); ok {
				popularity := own.spread(w.c.Popularity)
				f.records = append(f.records, work{core: core, design: g, popularity: popularity, seen: 1 + own.poisson(1.5*popularity)})
			}
		}
	}
	return f
}

// stacks draws the stack lengths of a family: a first one, and others in the maker's steps.
func (w *World) stacks(d dice, l *lamination, m *maker) []float64 {
	step := pick(d, 0.5, 1, 1)
	if m.square {
		step = 5
	}
	low := l.kind.stack.low * l.gap
	high := math.Min(l.kind.stack.high*l.gap, 1.95*math.Pi*l.gap/float64(l.poles))
	list := []float64{math.Max(stepped(d.logBetween(low, high), step), step)}
	for range min(6, int(d.r.ExpFloat64()*(w.c.CoresMean-1)+0.3)) {
		if s := w.otherStack(d, list[d.r.IntN(len(list))], step); !taken(list, s) && s > 0.7*low && s < 1.3*high {
			list = append(list, s)
		}
	}
	return list
}

// otherStack is one or two steps from a stack, up or down.
func (w *World) otherStack(d dice, from, step float64) float64 {
	steps := pick(d, 1.0, 1, 2)
	if d.chance(0.4) {
		steps = -steps
	}
	return math.Max(stepped(from*math.Pow(w.c.StackGrowth, steps)*d.firm(0.04), step), step)
}

// taken tells whether a stack is within a step of reading errors of one in the list.
func taken(list []float64, s float64) bool {
	for _, t := range list {
		if math.Abs(s-t) < math.Max(1, 0.03*t) {
			return true
		}
	}
	return false
}

// design drafts a winding for a stack of a family, by its own works or by another.
func (w *World) design(d dice, f *familyWork, stack float64) (design, bool) {
	for range 6 {
		m := f.home
		if d.chance(0.3) {
			m = &w.makers[d.r.IntN(len(w.makers))]
		}
		b := brief{lam: f.lam, maker: m, stack: stack, poles: f.lam.poles, supply: drawSupply(d, f.lam.kind), flux: f.habit * d.firm(w.c.RecordB), shelf: m.shelf}
		if d.chance(w.c.OtherPoles) {
			b.poles = otherPoles(d, f.lam)
		}
		if d.chance(w.c.Aluminium) {
			b.shelf.metal = wire.Aluminium
		}
		if g, ok := draft(d, b, w.stock, &w.c); ok {
			return g, true
		}
	}
	return design{}, false
}

// otherPoles is another number of poles that the slots allow; more poles find thick back iron,
// fewer find it thin, so the neighbours only.
func otherPoles(d dice, l *lamination) int {
	if l.kind.twoRings {
		return l.poles
	}
	p := l.poles + pick(d, 2, 2, -2)
	if p < 2 || l.slots%p != 0 || l.slots/p < 2 || l.kind.phases == 3 && l.slots%(3*p) != 0 {
		return l.poles
	}
	return p
}
