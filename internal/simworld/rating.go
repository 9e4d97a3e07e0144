package simworld

import (
	"math"

	"statorbook/internal/winding"
)

// rating is what the plate of a machine says, exact where the plate rounds.
type rating struct {
	power       float64 // W as on the plate
	line        float64 // A from the line
	main        float64 // A in the main winding, or in one phase
	density     float64 // A/mm² in the main winding
	speed       float64 // 1/min
	ratio       float64 // effective turns, auxiliary / main
	capacitorUF float64 // 0 = none
	capacitorV  float64
}

// The preferred values of capacitors, µF and V a.c.
var (
	runCapacitors   = []float64{1, 1.2, 1.5, 1.8, 2, 2.25, 2.5, 3, 3.15, 3.5, 4, 5, 6.3, 8, 10, 12.5, 15, 16, 20, 25, 30, 36, 40, 50, 60, 70, 80, 100}
	startCapacitors = []float64{20, 25, 30, 40, 50, 60, 80, 100, 120, 150, 200, 250, 300, 400}
	capacitorVolts  = []float64{250, 400, 450, 500, 630}
)

// rate works the rating out from the copper: a current density that the kind of machine allows,
// then the nearest plate power, then back to the current. ok is false when no plate power is near.
func (g *design) rate(d dice, c *constants) bool {
	k := g.lam.kind
	first := &g.sets[0]
	copper := first.wire.area * float64(first.paths)
	wanted := k.density * c.Density * d.firm(0.07)
	if first.wire.wire.Conductor != "copper" {
		wanted *= 0.64 // aluminium carries about so much at the same heat
	}
	if g.lam.kind.phases == 1 {
		aux := &g.sets[1]
		g.ratio = aux.series() * aux.kw / (first.series() * first.kw)
	}
	cosPhi := k.cosPhi * d.firm(0.02)
	if g.motorType != permanentSplit && k.phases == 1 {
		cosPhi *= 0.72 // no capacitor while running
	}
	cosPhi = math.Min(cosPhi, 0.98)
	input := g.apparent(wanted*copper) * cosPhi
	efficiency := k.efficiency + 0.1*math.Log10(input/middle(k))
	efficiency = math.Max(0.2, math.Min(0.86, efficiency*d.firm(0.03)))
	natural := input
	if !k.plateIsIn {
		natural *= efficiency
	}
	g.power = nearest(natural, k.plate)
	scale := g.power / natural
	if math.Abs(math.Log(scale)) > 0.19 {
		return false
	}
	g.main = wanted * copper * scale
	g.line = g.apparent(g.main) / g.supply.volts
	if k.phases == 3 {
		g.line /= math.Sqrt(3)
	}
	g.density = g.main / copper
	synchronous := 120 * g.supply.hertz / float64(g.poles)
	g.speed = synchronous * (1 - math.Min(0.235, k.slip*d.firm(0.22)))
	g.fitCapacitor()
	return true
}

// plateCurrent is what the plate lets one conclude about the current of the main winding or of a
// phase: the whole line current, in delta 1/√3 of it.
func (g *design) plateCurrent() float64 {
	if g.supply.connection == winding.ConnDelta {
		return g.line / math.Sqrt(3)
	}
	return g.line
}

// middle is the input power in W at which a kind has its usual efficiency.
func middle(k *kind) float64 {
	if k.phases == 3 {
		return 800
	}
	return 180
}

// apparent is the power in VA drawn from the line with so many amperes in the main winding or in
// each phase. In a balanced capacitor motor the auxiliary carries main/a, 90 degrees ahead.
func (g *design) apparent(main float64) float64 {
	switch {
	case g.lam.kind.phases == 3:
		return 3 * g.supply.windingVolts() * main
	case g.motorType == permanentSplit:
		return g.supply.volts * main * math.Sqrt(1+1/(g.ratio*g.ratio))
	}
	return g.supply.volts * main
}

// fitCapacitor takes the preferred value nearest to balance: Xc = V a sqrt(1+a²)/Im, and the
// lowest voltage above what it sees at 10 % more than the supply, V sqrt(1+a²).
func (g *design) fitCapacitor() {
	a, v := g.ratio, g.supply.volts
	switch {
	case g.lam.kind.phases == 3 || g.motorType == splitPhase:
		return
	case g.motorType == capacitorStart:
		g.capacitorUF = nearest(0.18*g.power*(230/v)*(230/v), startCapacitors)
		g.capacitorV = 250
		if v > 250 {
			g.capacitorV = 400
		}
		return
	}
	reactance := v * a * math.Sqrt(1+a*a) / g.main
	g.capacitorUF = nearest(1e6/(2*math.Pi*g.supply.hertz*reactance), runCapacitors)
	for _, g.capacitorV = range capacitorVolts {
		if g.capacitorV >= 1.1*v*math.Sqrt(1+a*a) {
			return
		}
	}
}

// loading is the ampere-conductors for each metre of gap of the main winding, or of all phases.
func (g *design) loading() float64 {
	sum := 0.0
	for i := range g.sets {
		s := &g.sets[i]
		if s.role != winding.Auxiliary {
			sum += 2 * s.series() * g.main // series turns × current of a path, times the paths, is turns × main/paths
		}
	}
	return sum / (math.Pi * g.lam.gap * 1e-3)
}

// densities are the peak flux densities in T of the tightest teeth and of the back iron, and the
// average over a pole at the gap.
func (g *design) densities() (gap, teeth, iron float64) {
	one := constants{LimitTooth: 1, LimitIron: math.Inf(1)}
	teeth = g.flux / g.lam.fluxLimit(g.poles, g.stack, &one)
	one = constants{LimitTooth: math.Inf(1), LimitIron: 1}
	iron = g.flux / g.lam.fluxLimit(g.poles, g.stack, &one)
	gap = g.flux * 1e3 * float64(g.poles) / (math.Pi * g.lam.gap * g.stack)
	return gap, teeth, iron
}
