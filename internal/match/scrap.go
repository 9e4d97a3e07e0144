package match

import (
	"math"

	"statorbook/internal/unit"
	"statorbook/internal/winding"
)

// Pieces of the old wire (common practice, no source).
const (
	enamelSD    = 0.22 // share of the enamel increase: builds vary, varnish adds
	burntShrink = 0.98 // burnt wire reads 2 % thin,
	burntSD     = 0.02 // with this scatter
	toldRight   = 0.96 // the state as told is right
	scrapWild   = 0.01 // share of scraps that belong to something else
	mainShare   = 0.65 // a scrap of no known role is of the main winding
)

// scrapTools are what wire is measured with, how well, and to what step, mm: a micrometer, a calliper,
// a calliper read to the twentieth, which is one of the vernier scales of ISO 13385-1 (from memory). The
// shares and errors are common practice, no source.
var scrapTools = [...]struct{ share, sd, step float64 }{{0.81, 0.005, 0.01}, {0.12, 0.013, 0.01}, {0.07, 0.012, 0.05}}

// surface states of a scrap.
const (
	scrapBare = iota
	scrapEnamelled
	scrapBurnt
	nStates
)

// unknownState is how likely each state is when nobody tells.
var unknownState = [nStates]float64{0.45, 0.35, 0.20}

// scrapQuery is one piece of wire.
type scrapQuery struct {
	x     float64                                     // mm as measured
	tools [len(scrapTools)]struct{ share, v float64 } // what it may have been measured with, variance
	state [nStates]float64
	role  winding.Role
	wires int // strands told, 0 = not
	// what the bare diameter may be: ln mm, its variance, and weight as a density per mm of x
	options []scrapOption
}

type scrapOption struct{ lnD, v, w float64 }

// newScrap lists what a scrap's bare diameter may be.
func (x *Index) newScrap(w *ScrapWire) scrapQuery {
	s := scrapQuery{x: w.Diameter.Value, role: w.Role, wires: w.Strands, state: unknownState}
	s.chooseTools(w.Diameter)
	told := -1
	switch {
	case w.Condition == "burnt":
		told = scrapBurnt
	case w.Coating == "over_enamel":
		told = scrapEnamelled
	case w.Coating == "bare":
		told = scrapBare
	}
	if told >= 0 {
		for k := range s.state {
			s.state[k] = (1 - toldRight) / (nStates - 1)
		}
		s.state[told] = toldRight
	}
	sd := 0.0
	for _, t := range s.tools {
		sd += t.share * t.v
	}
	sd = math.Sqrt(sd)
	s.options = append(s.options,
		scrapOption{math.Log(s.x), sq(sd / s.x), s.state[scrapBare]},
		scrapOption{math.Log(s.x / burntShrink), sq(sd/s.x) + burntSD*burntSD, s.state[scrapBurnt]})
	for b := range builds {
		if x.model.build[b] < 0.02 {
			continue
		}
		d, inc := x.stripped(s.x, b)
		if d > 0 {
			s.options = append(s.options, scrapOption{math.Log(d), (sq(enamelSD*inc) + sd*sd) / (d * d), s.state[scrapEnamelled] * x.model.build[b]})
		}
	}
	return s
}

// chooseTools tells by the digits what the wire may have been measured with: who reads twentieths only
// writes twentieths. A stated uncertainty is taken as it is.
func (s *scrapQuery) chooseTools(m unit.Measured) {
	if u := m.Uncertainty; u > 0 && u < 5 {
		step := 0.01 // most are read off to a hundredth
		if m.Resolution > 0 && m.Resolution < 1 {
			step = m.Resolution
		}
		s.tools[0].share, s.tools[0].v = 1, sq(math.Max(u, 0.001))+step*step/12
		return
	}
	sum := 0.0
	for i, t := range scrapTools {
		step := t.step
		if m.Resolution > 0 && m.Resolution < 1 {
			step = m.Resolution
		} else if n := m.Value / step; t.step > 0.01 && math.Abs(n-math.Round(n)) > 1e-6 {
			continue
		}
		s.tools[i].share, s.tools[i].v = t.share*t.step, t.sd*t.sd+step*step/12
		sum += s.tools[i].share
	}
	for i := range s.tools {
		s.tools[i].share /= sum
	}
}

// stripped solves d + increase(d) = over for the bare diameter.
func (x *Index) stripped(over float64, build int) (d, increase float64) {
	d = over * 0.9
	for range 8 {
		increase = x.model.enamel[build].at(d)
		d = math.Max(over-increase, over*0.3)
	}
	return d, increase
}

// scrapOfRecord is the density per mm of the scrap's diameter.
func (x *Index) scrapOfRecord(s *scrapQuery, r *record) float64 {
	wild := scrapWild * wildDensity / s.x
	one := func(c *conductor) float64 {
		if !(c.area > 0) || c.wires == 0 {
			return wildDensity / s.x
		}
		d := math.Sqrt(float64(c.area) / float64(c.wires) * 4 / math.Pi)
		inc := x.model.enamel[c.build].at(d)
		return s.state[scrapBare]*s.density(s.x-d, 0) + s.state[scrapEnamelled]*s.density(s.x-d-inc, sq(enamelSD*inc)) + s.state[scrapBurnt]*s.density(s.x-d*burntShrink, sq(burntSD*d))
	}
	main := func() float64 { return one(x.main(r)) }
	aux := func() float64 { return one(x.aux(r)) }
	hasAux := x.aux(r).area > 0 || r.turnsAux.int() > 0 // its wire may not be told
	switch {
	case s.role == winding.Auxiliary && hasAux:
		return (1-scrapWild)*aux() + wild
	case s.role != "" || !hasAux:
		return (1-scrapWild)*main() + wild
	}
	return (1-scrapWild)*(mainShare*main()+(1-mainShare)*aux()) + wild
}

// density of a reading that is d off, with variance v of the wire itself, whatever it was measured with.
func (s *scrapQuery) density(d, v float64) float64 {
	l := 0.0
	for _, t := range s.tools {
		if t.share > 0 {
			l += t.share * normal(d, v+t.v)
		}
	}
	return l
}
