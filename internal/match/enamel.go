package match

import (
	"math"
	"slices"

	"statorbook/internal/wire"
)

// builds in the order of their numbers; number 0 is no build.
var builds = [...]wire.Build{"", wire.Grade1, wire.Grade2, wire.Grade3, wire.Single, wire.Heavy, wire.Triple}

const nBuilds = len(builds)

func buildNumber(b wire.Build) uint8 {
	return uint8(max(slices.Index(builds[:], b), 0))
}

// powerLaw is increase = e^a · d^b, both in mm.
type powerLaw struct{ a, b float64 }

func (p powerLaw) at(d float64) float64 { return math.Exp(p.a + p.b*math.Log(d)) }

// priorEnamel is used where the wire table has no figures: the largest increase runs about as these
// powers over 0.1 to 1.5 mm (from memory).
var priorEnamel = [nBuilds]powerLaw{
	{math.Log(0.070), 0.45}, {math.Log(0.055), 0.45}, {math.Log(0.095), 0.45}, {math.Log(0.135), 0.45}, {math.Log(0.055), 0.45}, {math.Log(0.10), 0.45}, {math.Log(0.14), 0.45},
}

// learnEnamel fits the largest enamel increase of each build to the published sizes of the table
// between 0.05 and 3 mm. The largest and not the middle, because an old wire still carries some of
// its varnish (common practice, no source); enamelSD leaves room for both.
func learnEnamel(t *wire.Table) (out [nBuilds]powerLaw) {
	out = priorEnamel
	if t == nil {
		return out
	}
	var table [nBuilds]rows
	for _, s := range t.All() {
		d := float64(s.Diameter)
		if d < 0.05 || d > 3 {
			continue
		}
		for _, c := range s.Covers {
			if most := float64(c.OverallMax) - d; c.OverallMax > 0 && most > 0 {
				n := buildNumber(c.Build)
				table[n].p = 2
				table[n].add([]float64{1, math.Log(d)}, math.Log(most), 1)
			}
		}
	}
	for n := range table {
		table[n].p = 2
		p := priorEnamel[n]
		f := table[n].fit(prior{b: []float64{p.a, p.b}, hold: []float64{1, 1}, sd: 0.1, n: 1})
		out[n] = powerLaw{f.b[0], f.b[1]}
	}
	return out
}
