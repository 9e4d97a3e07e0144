package score

import (
	"cmp"
	"math"
	"slices"

	"statorbook/internal/catalog"
	"statorbook/internal/stator"
	"statorbook/internal/unit"
	"statorbook/internal/winding"
	"statorbook/internal/wire"
)

// Question is a measured stator as the simple matchers see it: dimensions and nameplate. They do not
// look at wire, copper or the supply on site.
type Question struct {
	Core      stator.Core
	Nameplate *winding.Nameplate
}

// The figures that the simple matchers compare.
const (
	figGap = iota
	figBack
	figStack
	figTooth
	figDepth
	figOpening
	figIron
	nDims    // figures from here on are of the plate
	figVolts = iota - 1
	figHertz
	figWatts
	figMicrofarad
	figPoles
	nFigures
)

// figures of one stator; 0 is not given.
type figures [nFigures]float64

// entry is a catalogued record.
type entry struct {
	id, core    string
	rotor       stator.RotorPosition
	slots       int
	seen        float64
	figures     figures
	turns, area float64 // of the main winding or phase u: in one path, mm² of one turn; 0 = not told
}

// Simple holds a catalogue for the two simple matchers that a good one is set beside. Both take every
// record as it stands: they pool nothing, learn nothing and propose only what is catalogued.
type Simple struct {
	wires   *wire.Table
	entries []*entry
	like    map[ringKey][]*entry // in the same order
}

// ringKey is what a stator is told by before any calliper.
type ringKey struct {
	rotor stator.RotorPosition
	slots int
}

// NewSimple returns an empty catalogue whose wires are those of a table.
func NewSimple(wires *wire.Table) *Simple {
	return &Simple{wires: wires, like: map[ringKey][]*entry{}}
}

// Add takes a family and some of its records in. What a record did not measure is as its family says.
func (s *Simple) Add(f *catalog.Family, records []catalog.Winding) {
	stack := map[string]float64{}
	for _, c := range f.Cores {
		stack[c.ID] = c.StackLength.Value
	}
	for i := range records {
		r := &records[i]
		e := &entry{id: r.ID, core: r.CoreID, rotor: f.Core.RotorPosition, slots: f.Core.Slots, seen: float64(r.TimesSeen) + 0.5}
		e.figures = figuresOf(&f.Core, nil)
		e.figures[figStack] = stack[r.CoreID]
		if r.CoreAsMeasured != nil {
			own := figuresOf(r.CoreAsMeasured, nil)
			for k := range nDims {
				e.figures[k] = cmp.Or(own[k], e.figures[k])
			}
			e.rotor, e.slots = cmp.Or(r.CoreAsMeasured.RotorPosition, e.rotor), cmp.Or(r.CoreAsMeasured.Slots, e.slots)
		}
		plate := figuresOf(&stator.Core{}, &r.Nameplate)
		copy(e.figures[nDims:], plate[nDims:])
		e.figures[figPoles] = cmp.Or(e.figures[figPoles], float64(r.Scheme.Poles))
		e.turns, e.area = s.main(r, &f.Core)
		s.entries = append(s.entries, e)
		key := ringKey{e.rotor, e.slots}
		s.like[key] = append(s.like[key], e)
	}
}

// Records is the number of records taken in.
func (s *Simple) Records() int { return len(s.entries) }

// main gives turns in series and copper of one turn of the main winding or phase u.
func (s *Simple) main(r *catalog.Winding, family *stator.Core) (turns, area float64) {
	at := slices.IndexFunc(r.Scheme.CoilSets, func(c winding.CoilSet) bool { return c.Role == winding.Main || c.Role == winding.PhaseU })
	if at < 0 {
		return 0, 0
	}
	set := r.Scheme.CoilSets[at]
	core := family
	if r.CoreAsMeasured != nil {
		core = r.CoreAsMeasured
	}
	turns = winding.SeriesTurns(set)
	if coils, _, err := winding.Expand(set, r.Scheme.Poles, *core); err == nil {
		turns = winding.TurnsOf(coils) / float64(winding.Paths(set))
	}
	if a, ok, err := winding.ConductorArea(set, s.wires); err == nil && ok {
		area = float64(a)
	}
	return turns, area
}

// figuresOf reads the figures of a core and a plate; either may say nothing.
func figuresOf(c *stator.Core, n *winding.Nameplate) figures {
	f := figures{c.GapDiameter.Value, c.BackDiameter.Value, c.StackLength.Value, c.ToothWidth.Value, c.SlotDepth.Value, c.SlotOpening.Value, c.BackIron.Value}
	if n != nil {
		f[figVolts], f[figHertz], f[figWatts] = n.Voltage.Value, n.Frequency.Value, n.Power.Value
		f[figMicrofarad], f[figPoles] = n.CapacitorUF.Value, float64(n.Poles)
	}
	for i, v := range f {
		if !(v > 0) || math.IsInf(v, 1) {
			f[i] = 0
		}
	}
	return f
}

// among gives the records of the rotor position and slots asked for, as far as these were told.
func (s *Simple) among(q *Question) []*entry {
	if q.Core.RotorPosition != "" && q.Core.Slots != 0 {
		return s.like[ringKey{q.Core.RotorPosition, q.Core.Slots}]
	}
	var out []*entry
	for _, e := range s.entries {
		if (q.Core.RotorPosition == "" || q.Core.RotorPosition == e.rotor) && (q.Core.Slots == 0 || q.Core.Slots == e.slots) {
			out = append(out, e)
		}
	}
	return out
}

const (
	neighbours  = 5
	lackingLog  = 0.1  // a figure that the record lacks counts as if it were 10 % off
	certainLog  = 0.03 // at this distance the nearest record is taken for as likely as none
	smallestLog = 0.002
)

// Nearest answers by the five nearest neighbours. Distance is the root mean square of the differences of
// all figures given, in logarithms. A neighbour weighs 1/distance² (Shepard 1968, Proceedings of the
// 23rd ACM National Conference, p. 517, cited from memory); P(none) = d²/(d² + 0.03²) with the distance d of
// the nearest, a figure of ours. All other records have no chance.
func (s *Simple) Nearest(q *Question) Answer {
	asked := figuresOf(&q.Core, q.Nameplate)
	list := s.among(q)
	weights := make([]float64, len(list))
	nearest := math.Inf(1)
	for i, e := range list {
		d := math.Max(distance(&asked, &e.figures), smallestLog)
		nearest = math.Min(nearest, d)
		weights[i] = 1 / (d * d)
	}
	none := 1.0
	if len(list) > 0 {
		none = nearest * nearest / (nearest*nearest + certainLog*certainLog)
	}
	return compose(list, weights, neighbours, none)
}

func distance(asked, on *figures) float64 {
	sum, n := 0.0, 0.0
	for i, v := range asked {
		if v == 0 {
			continue
		}
		d := lackingLog
		if on[i] > 0 {
			d = math.Log(v / on[i])
		}
		sum += d * d
		n++
	}
	if n == 0 {
		return lackingLog
	}
	return math.Sqrt(sum / n)
}

// compose makes an answer of weights: the heaviest records share 1 - none.
func compose(list []*entry, weights []float64, most int, none float64) Answer {
	order := heaviest(weights, most)
	sum := 0.0
	for _, i := range order {
		sum += weights[i]
	}
	a := Answer{NoRecord: none, NoCore: none}
	if !(sum > 0) {
		a.NoRecord, a.NoCore = 1, 1
		return a
	}
	cores := map[string]int{}
	var turns, areas []weighed
	for _, i := range order {
		e, p := list[i], (1-none)*weights[i]/sum
		a.Records = append(a.Records, Belief{e.id, p})
		if at, ok := cores[e.core]; ok {
			a.Cores[at].P += p
		} else {
			cores[e.core] = len(a.Cores)
			a.Cores = append(a.Cores, Belief{e.core, p})
		}
		if e.turns > 0 && e.area > 0 {
			turns, areas = append(turns, weighed{e.turns, weights[i]}), append(areas, weighed{e.area, weights[i]})
			if len(a.Guesses) < 3 {
				a.Guesses = append(a.Guesses, Guess{p, e.turns, e.area})
			}
		}
	}
	slices.SortStableFunc(a.Cores, func(x, y Belief) int { return cmp.Compare(y.P, x.P) })
	a.SeriesTurns, a.ConductorArea = spread(turns), spread(areas)
	return a
}

// heaviest gives the places of the greatest weights, at most most of them, heaviest first, equals in order.
func heaviest(weights []float64, most int) []int {
	order := make([]int, 0, most+1)
	for i, w := range weights {
		if len(order) == most && w <= weights[order[most-1]] {
			continue
		}
		at := len(order)
		for at > 0 && weights[order[at-1]] < w {
			at--
		}
		order = slices.Insert(order, at, i)
		order = order[:min(most, len(order))]
	}
	return order
}

// weighed is a value with its weight.
type weighed struct{ v, w float64 }

// spread gives the weighted 5, 50 and 95 % points of some values.
func spread(list []weighed) *unit.Range {
	total := 0.0
	for _, x := range list {
		total += x.w
	}
	if !(total > 0) {
		return nil
	}
	slices.SortFunc(list, func(a, b weighed) int { return cmp.Compare(a.v, b.v) })
	at := func(q float64) float64 {
		sum := 0.0
		for _, x := range list {
			if sum += x.w; sum >= q*total {
				return x.v
			}
		}
		return list[len(list)-1].v
	}
	return &unit.Range{P05: at(0.05), P50: at(0.50), P95: at(0.95)}
}
