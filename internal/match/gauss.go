package match

import "math"

// gauss is a normal distribution of (ln series turns, ln conductor area) of the main winding.
type gauss struct {
	n, a          float64
	vn, va, cna   float64
	phases, poles uint8
	design        uint16
}

// observe updates g by an observation y = wn·n + wa·a + noise of variance v and returns its density.
func (g *gauss) observe(y, wn, wa, v float64) float64 {
	pn := wn*g.vn + wa*g.cna
	pa := wn*g.cna + wa*g.va
	s := wn*pn + wa*pa + v
	d := y - wn*g.n - wa*g.a
	kn, ka := pn/s, pa/s
	g.n += kn * d
	g.a += ka * d
	g.vn -= kn * pn
	g.va -= ka * pa
	g.cna -= kn * pa
	g.vn, g.va = math.Max(g.vn, 1e-8), math.Max(g.va, 1e-8)
	return normal(d, s)
}
