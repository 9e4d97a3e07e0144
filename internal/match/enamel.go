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

// priorEnamel is used where the wire table has no figures: the middle between the least increase and
// the largest overall diameter runs about as these powers over 0.1 to 1.5 mm (from memory).
var priorEnamel = [nBuilds]powerLaw{
	{math.Log(0.058), 0.45}, {math.Log(0.043), 0.45}, {math.Log(0.078), 0.42}, {math.Log(0.115), 0.42}, {math.Log(0.045), 0.42}, {math.Log(0.085), 0.42}, {math.Log(0.125), 0.42},
}

// learnEnamel fits the middle enamel increase of each build to the published sizes of the table
// between 0.05 and 3 mm.
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
			middle := (float64(c.IncreaseMin) + float64(c.OverallMax) - d) / 2
			if c.IncreaseMin > 0 && c.OverallMax > 0 && middle > 0 {
				n := buildNumber(c.Build)
				table[n].p = 2
				table[n].add([]float64{1, math.Log(d)}, math.Log(middle), 1)
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
