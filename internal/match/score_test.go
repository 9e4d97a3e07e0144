package match

import (
	"sync"

	"statorbook/internal/score"
	"statorbook/internal/winding"
)

// swgLadder is the Imperial gauge, by which proposed wires are judged.
var swgLadder = sync.OnceValue(func() score.Gauges {
	var out score.Gauges
	for _, s := range testWires().Sizes("swg") {
		out = append(out, float64(s.Diameter))
	}
	return out
})

// scored is an answer as far as it is scored.
func scored(a *Answer) score.Answer {
	out := score.Answer{NoRecord: a.None.Winding, NoCore: a.None.Core}
	for _, c := range a.Candidates {
		out.Records = append(out.Records, score.Belief{ID: c.WindingID, P: c.Probability})
	}
	for _, c := range a.Cores {
		out.Cores = append(out.Cores, score.Belief{ID: c.CoreID, P: c.Probability})
	}
	for _, p := range a.Proposals {
		set := p.CoilSets[0]
		out.Guesses = append(out.Guesses, score.Guess{P: p.Probability, SeriesTurns: set.SeriesTurns.P50, ConductorArea: set.ConductorArea.P50})
	}
	for _, r := range a.Overall {
		if r.Role == winding.Main || r.Role == winding.PhaseU {
			turns, area := r.SeriesTurns, r.ConductorArea
			out.SeriesTurns, out.ConductorArea = &turns, &area
		}
	}
	return out
}

func (j *jquery) truth() score.Truth {
	t := &j.Truth
	return score.Truth{Kind: score.Kind(t.Kind), WindingID: t.WindingID, CoreID: t.CoreID, SeriesTurns: t.Turns, ConductorArea: t.Area}
}
