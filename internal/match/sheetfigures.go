package match

import (
	"math"
	"slices"

	"statorbook/internal/unit"
	"statorbook/internal/winding"
	"statorbook/internal/wire"
)

// setFigures are the masses or the resistances of a coil set: one of a main or auxiliary winding, up to
// three of a three-phase winding, whose phases are wound alike.
type setFigures struct {
	v     [3]float64 // g of bare metal, Ω at 20 °C
	n     int
	typed *[3]typedFigure // nil where n is 0; corrected copies share it
}

// typedFigure is a mass or resistance as it was typed; a correction leaves it as it is.
type typedFigure struct {
	unit float64 // of the figure for each unit as typed: 1 for bare metal, at 20 °C
	text string
	at   int // index of its coil set in the scheme
}

// weigh takes mass and resistance of the set and of the phases like it, brought to bare metal and 20 °C.
func (s *setFacts) weigh(scheme *winding.Scheme, t *wire.Table) {
	for i := range scheme.CoilSets {
		c := &scheme.CoilSets[i]
		if i != s.at && !(s.role.IsPhase() && c.Role.IsPhase()) {
			continue
		}
		if usable(c.Mass) {
			share, sd := coatShare(c, t)
			s.mass.add(c.Mass, 1/(1+share), i)
			s.massSD = max(s.massSD, sd)
		}
		if usable(c.Resistance) {
			k := 1.0
			metal := wire.Copper
			if len(c.Wires) > 0 && c.Wires[0].Conductor != "" {
				metal = c.Wires[0].Conductor
			}
			if at := c.Temperature; at.Given && at.Value > -50 && at.Value < 250 {
				k = 1 / wire.TemperatureFactor(metal, unit.Celsius(at.Value))
			}
			s.ohm.add(c.Resistance, k, i)
		}
	}
}

// Enamel: its density in g/cm³ (polyester and polyurethane lie at 1.3 to 1.4, from memory), and how well its
// mass is known from the wire's size and build, or from neither (common practice, no source).
const (
	enamelDensity = 1.35
	coatKnown     = 0.15
	coatGuessed   = 0.35
)

// coatShare is the mass of all that is not metal over the mass of metal that a weighed set carries, with
// its standard deviation. Enamel follows from size and build where they are known; it weighs more, beside the
// metal, on thin wire and on aluminium.
func coatShare(c *winding.CoilSet, t *wire.Table) (share, sd float64) {
	share, sd = winding.EnamelShare(c.MassState)
	if share == 0 || len(c.Wires) == 0 {
		return share, sd
	}
	w := c.Wires[0]
	usual, _ := winding.EnamelShare("enamelled") // of copper
	lighter := 1.0
	if w.Conductor == wire.Aluminium {
		lighter = wire.Density(wire.Copper) / wire.Density(wire.Aluminium)
	}
	coat, known := usual, coatGuessed
	if t != nil {
		if size, err := t.Find(w.System, w.Size); err == nil {
			if cover, ok := size.Cover(w.Build); ok && cover.OverallMax > size.Diameter && size.Diameter > 0 {
				// The table tells the largest overall diameter; nine tenths of its enamel is usual (common practice, no source).
				coat, known = 0.9*enamelDensity/wire.Density(wire.Copper)*(sq(float64(cover.OverallMax/size.Diameter))-1), coatKnown
			}
		}
	}
	if share < usual { // nobody tells whether it was stripped
		k := lighter * coat / usual
		return share * k, sd * k
	}
	more := (share - usual) * lighter // varnish, leads
	return coat*lighter + more, math.Hypot(known*coat, sd*more/share) * lighter
}

func (g *setFigures) add(m unit.Measured, k float64, at int) {
	if g.n == len(g.v) {
		return
	}
	if g.typed == nil {
		g.typed = new([3]typedFigure)
	}
	text := m.Text
	if text == "" {
		text = number(m.Value)
	}
	g.v[g.n], g.typed[g.n] = m.Value*k, typedFigure{k, text, at}
	g.n++
}

// middle is the median of the figures, NaN for none: one wrong figure among three leaves it nearly as it is.
func (g *setFigures) middle() float64 {
	switch g.n {
	case 0:
		return math.NaN()
	case 1:
		return g.v[0]
	case 2:
		return math.Sqrt(g.v[0] * g.v[1])
	}
	a, b, c := g.v[0], g.v[1], g.v[2]
	return max(min(a, b), min(max(a, b), c))
}

// apart are the logarithms of the ratios between neighbours of the sorted figures; NaN where there are none.
func (g *setFigures) apart() (out [2]float64) {
	out = [2]float64{math.NaN(), math.NaN()}
	var v [3]float64
	for i := range g.n {
		v[i] = math.Log(g.v[i])
	}
	slices.Sort(v[:g.n])
	for i := 1; i < g.n; i++ {
		out[i-1] = v[i] - v[i-1]
	}
	return out
}

// alike tells whether all figures were typed alike: one figure for all phases, or a single one.
func (g *setFigures) alike() bool {
	for i := 1; i < g.n; i++ {
		if g.typed[i].text != g.typed[0].text {
			return false
		}
	}
	return true
}

// times returns the figures times k.
func (g setFigures) times(k float64) setFigures {
	for i := range g.n {
		g.v[i] *= k
	}
	return g
}

// asTyped is a mass or resistance as it would be typed in place of the first figure.
func (g *setFigures) asTyped(v float64) string { return number(v / g.typed[0].unit) }

// How far the figures of like phases are apart before any record, and below which spread a catalogue
// shows no weighing: somebody calculated its figures, or wrote one for all phases. wildApart is the share
// of honest sheets far outside (common practice, no source).
const (
	apartSD    = 0.02
	apartLeast = 0.003
	wildApart  = 1e-4
)

// learnApart takes the spread between the phases of the sample.
func (m *sheetModel) learnApart(sample []*sheetRow) {
	for kind := range m.apart {
		var v []float64
		for _, row := range sample {
			for _, a := range row.apart[kind] {
				if a >= 0 {
					v = append(v, a)
				}
			}
		}
		m.apart[kind] = apartSD
		if sd := madToSD * median(v); sd > apartLeast {
			n := float64(len(v))
			m.apart[kind] = math.Sqrt((n*sd*sd + sheetPriorN*apartSD*apartSD) / (n + sheetPriorN))
		}
	}
}

// apartLog is the chance that the figures of like phases are so far apart.
func (s *scorer) apartLog(kind int, g *setFigures) float64 {
	l := 0.0
	if g.n < 2 {
		return l
	}
	for _, a := range g.apart() {
		if !math.IsNaN(a) {
			l += chkLog(a/s.m.apart[kind], s.m.apart[kind], wildApart)
		}
	}
	return l
}
