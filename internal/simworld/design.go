package simworld

import (
	"math"
	"slices"

	"statorbook/internal/stator"
	"statorbook/internal/unit"
	"statorbook/internal/winding"
)

// set is one coil set of a design with everything that follows from it, exact.
type set struct {
	role    winding.Role
	ring    winding.RingName
	pattern winding.Pattern
	coils   []winding.Coil
	paths   int
	kw      float64
	wire    option
	turns   float64 // of all coils
	turn    float64 // mm, mean length
	mass    float64 // g, bare metal
	ohms    float64 // at 20 °C, between the ends of the set
}

// series is the turns in series in one path.
func (s *set) series() float64 { return s.turns / float64(s.paths) }

// design is one winding of a core as it left the winder's hands, exact.
type design struct {
	lam       *lamination
	maker     *maker
	stack     float64 // mm
	poles     int
	supply    supply
	motorType string
	backEMF   float64
	flux      float64 // mWb, from turns and volts
	sets      []set
	fill      float64 // enamelled square fill of the fullest slot
	rating
}

// supply is what a machine is made for.
type supply struct {
	volts, hertz float64
	connection   winding.Connection
}

// windingVolts is the voltage across one phase, or across the main winding.
func (s supply) windingVolts() float64 {
	if s.connection == winding.ConnStar {
		return s.volts / math.Sqrt(3)
	}
	return s.volts
}

// brief is what a designer is asked for.
type brief struct {
	lam    *lamination
	maker  *maker
	stack  float64
	poles  int
	supply supply
	flux   float64 // habit of family and record together, a factor
	shelf  shelfKey
	manner manner
}

// draft designs a winding for a brief: flux from the iron, turns from the volts, wire from the
// slots, rating from the wire. ok is false when some step has no sensible answer.
func draft(d dice, b brief, stock stockroom, c *constants) (g design, ok bool) {
	k := b.lam.kind
	g = design{lam: b.lam, maker: b.maker, stack: b.stack, poles: b.poles, supply: b.supply, motorType: pick(d, k.motorTypes...), backEMF: k.backEMF * d.firm(0.008)}
	alike := d.chance(k.alike)
	layouts := lay(d, b.lam, b.poles, b.maker, b.manner, alike)
	if layouts == nil {
		return g, false
	}
	wanted := b.lam.fluxLimit(b.poles, b.stack, c) * b.maker.flux * b.flux
	ratio := d.between(k.auxTurns.low, k.auxTurns.high)
	area := d.between(k.auxArea.low, k.auxArea.high)
	switch g.motorType {
	case splitPhase:
		ratio, area = d.between(0.5, 0.8), d.between(0.28, 0.45)
	case capacitorStart:
		area = d.between(0.4, 0.65)
	}
	if alike {
		ratio, area = 1, 1
	}
	paths := 1
	if k.phases == 3 && b.poles >= 4 && layouts[0].pattern.Groups%2 == 0 && d.chance(0.15) {
		paths = 2
	}
	if !g.wind(layouts, wanted, ratio, paths) || !g.chooseWire(stock.shelf(b.shelf, b.maker.maxBare), area) {
		return g, false
	}
	g.measure(d)
	return g, g.rate(d, c) && g.mouthPasses()
}

// wind puts turns into the layouts: the main winding (or each phase) for the wanted flux, the
// auxiliary for its ratio of effective turns.
func (g *design) wind(layouts []setLayout, wanted, ratio float64, paths int) bool {
	core := g.lam.core(g.stack)
	g.sets = make([]set, len(layouts))
	effective := 0.0
	for i, l := range layouts {
		s := &g.sets[i]
		*s = set{role: l.role, ring: l.ring, pattern: l.pattern, paths: paths}
		weighted, _, err := winding.Expand(winding.CoilSet{Role: l.role, Ring: l.ring, Pattern: &l.pattern}, g.poles, core)
		if err != nil {
			return false
		}
		s.kw, _ = winding.Factor(weighted, g.lam.slots, g.poles, 1)
		if s.kw < 0.6 {
			return false
		}
		series := 1e3 * g.backEMF * g.supply.windingVolts() / (math.Sqrt2 * math.Pi * g.supply.hertz * s.kw * wanted)
		if l.role == winding.Auxiliary {
			series = ratio * effective / s.kw
		}
		if !s.share(series, g.maker.round) {
			return false
		}
		if s.coils, _, err = winding.Expand(winding.CoilSet{Role: l.role, Ring: l.ring, Pattern: &s.pattern}, g.poles, core); err != nil {
			return false
		}
		s.kw, _ = winding.Factor(s.coils, g.lam.slots, g.poles, 1) // with whole turns
		s.turns = winding.TurnsOf(s.coils)
		if i == 0 {
			effective = s.series() * s.kw
		}
	}
	first := &g.sets[0]
	g.flux = 1e3 * g.backEMF * g.supply.windingVolts() / (math.Sqrt2 * math.Pi * g.supply.hertz * first.series() * first.kw)
	return true
}

// share rounds series turns to whole turns of each coil in the maker's manner.
func (s *set) share(series float64, round int) bool {
	group := series * float64(s.paths) / float64(s.pattern.Groups)
	weights := s.pattern.Turns
	s.pattern.Turns = make([]float64, len(weights))
	for i, w := range weights {
		step := float64(round)
		if group*w < 40*step { // nobody rounds away more than about one in a hundred
			step = 1
		}
		s.pattern.Turns[i] = stepped(group*w, step)
		if s.pattern.Turns[i] < 4 {
			return false
		}
	}
	return true
}

// load is what lies in one slot of a ring: the turns of each set.
type load struct {
	area  float64 // mm², net
	turns [3]float64
}

// loads lists the different slots of the machine; most machines have only a few kinds.
func (g *design) loads() []load {
	var list []load
	for _, r := range []struct {
		name winding.RingName
		area float64
	}{{winding.RingGap, g.lam.first.area}, {winding.RingBack, g.lam.second.area}} {
		slots := make([][3]float64, g.lam.slots+1)
		for i := range g.sets {
			if g.sets[i].ring != r.name {
				continue
			}
			for _, c := range g.sets[i].coils {
				slots[c.In][i] += c.Turns
				slots[c.Out][i] += c.Turns
			}
		}
		for _, turns := range slots[1:] {
			l := load{r.area, turns}
			if turns != [3]float64{} && !slices.Contains(list, l) {
				list = append(list, l)
			}
		}
	}
	return list
}

// fullest is the greatest share of any slot that f of each set's wire takes for each turn.
func (g *design) fullest(loads []load, f func(*option) float64) float64 {
	most := 0.0
	for _, l := range loads {
		sum := 0.0
		for i := range g.sets {
			if l.turns[i] > 0 {
				sum += l.turns[i] * f(&g.sets[i].wire)
			}
		}
		most = max(most, sum/l.area)
	}
	return most
}

// copperFill is the bare metal in the fullest slot as part of its area.
func (g *design) copperFill() float64 {
	return g.fullest(g.loads(), func(o *option) float64 { return o.area })
}

// chooseWire takes the wires whose fullest slot comes nearest to the maker's fill, enamelled
// squares of the net slot. The auxiliary follows the main winding by its ratio of areas.
func (g *design) chooseWire(shelf []option, ratio float64) bool {
	best := math.Inf(1)
	var taken [3]option
	loads := g.loads()
	for _, o := range shelf {
		for i := range g.sets {
			g.sets[i].wire = o
			if g.sets[i].role == winding.Auxiliary && ratio < 1 {
				g.sets[i].wire, _ = nearestArea(shelf, o.area*ratio)
			}
		}
		fill := g.fullest(loads, func(o *option) float64 { return o.laid })
		if fill > 0.77 {
			break // the shelf goes from thin to thick
		}
		if off := math.Abs(math.Log(fill / g.maker.fill)); off < best {
			best, g.fill = off, fill
			for i := range g.sets {
				taken[i] = g.sets[i].wire
			}
		}
	}
	if math.IsInf(best, 1) {
		return false
	}
	for i := range g.sets {
		g.sets[i].wire = taken[i]
	}
	return true
}

// measure gives each set its mean turn, mass and resistance. Coil heads differ a little between
// the sets of one machine.
func (g *design) measure(d dice) {
	core := g.lam.core(g.stack)
	for i := range g.sets {
		s := &g.sets[i]
		s.turn = g.meanTurn(core, s) * d.firm(0.006)
		length := s.turns * s.turn * 1e-3 // m
		s.mass = length * s.wire.area * s.wire.density
		s.ohms = s.wire.rho * length / (s.wire.area * float64(s.paths*s.paths))
	}
}

// meanTurn is the mean length of turn in mm: the stack twice, and at each end the arc of the coil
// times the maker's overhang factor and his straight runs (common practice: 1.2 to 1.6 × arc and 5
// to 10 mm at each side). A coil round one tooth lies close: 2L + 2b + πw round the tooth and half
// into its slots, and 3 mm for the cuff of the liner at each of its four corners.
func (g *design) meanTurn(core stator.Core, s *set) float64 {
	if s.pattern.Kind != winding.Tooth {
		length, _ := winding.MeanTurnOf(core, s.ring, s.coils, winding.MeanTurnForm{Ke: g.maker.end, Straight: unit.Millimetre(g.maker.straight)})
		return float64(length)
	}
	mid, _, _ := winding.MidSlotDiameter(core, s.ring)
	tooth := g.lam.first.tooth
	if s.ring == winding.RingBack {
		tooth = g.lam.second.tooth
	}
	side := math.Pi*float64(mid)/float64(g.lam.slots) - tooth
	if s.pattern.Groups == g.lam.slots { // two coil sides share each slot
		side /= 2
	}
	return (2*g.stack+2*tooth+math.Pi*side)*g.maker.end/1.35 + 0.6*g.maker.straight
}

// mouthPasses tells whether one wire goes through the slot opening with half a millimetre to spare.
func (g *design) mouthPasses() bool {
	for i := range g.sets {
		opening := g.lam.first.opening
		if g.sets[i].ring == winding.RingBack {
			opening = g.lam.second.opening
		}
		if g.sets[i].wire.overall+0.5 > opening {
			return false
		}
	}
	return true
}
