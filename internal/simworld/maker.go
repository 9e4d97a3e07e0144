package simworld

import "statorbook/internal/wire"

// maker is one invented winding works with its habits. It has a number, never a name.
type maker struct {
	number      int
	flux        float64 // factor on the flux that it goes to
	fill        float64 // enamelled square fill it aims at
	round       int     // turns are multiples of this
	shelf       shelfKey
	maxBare     float64
	end         float64 // overhang factor
	straight    float64 // mm for each turn
	doubleLayer float64 // chance of a double-layer lap
	grade       turnGrade
	square      bool // rounds stacks to 5 mm
}

// drawMaker makes the habits of maker number n.
func drawMaker(d dice, n int, c *constants) maker {
	m := maker{
		number: n, flux: d.firm(c.MakerB), fill: c.Fill * d.firm(c.FillSpread), round: []int{1, 2, 5}[d.index(0.55, 0.25, 0.2)],
		maxBare: c.MaxBare * d.between(0.9, 1.2), end: c.EndFactor * d.firm(c.EndSpread), straight: c.EndStraight * d.firm(2*c.EndSpread),
		doubleLayer: d.between(0.2, 0.8), grade: []turnGrade{sineTurns, middleTurns, equalTurns}[d.index(0.45, 0.35, 0.2)], square: d.chance(0.4),
	}
	systems := []wire.System{wire.SWG, wire.Metric, wire.AWG}
	m.shelf = shelfKey{system: systems[d.index(0.4, 0.45, 0.15)], build: wire.Grade2, metal: wire.Copper}
	light := d.chance(0.3)
	switch {
	case m.shelf.system == wire.AWG && light:
		m.shelf.build = wire.Single
	case m.shelf.system == wire.AWG:
		m.shelf.build = wire.Heavy
	case light:
		m.shelf.build = wire.Grade1
	}
	return m
}
