package match

import (
	"math"

	"statorbook/internal/stator"
	"statorbook/internal/winding"
)

// primarySet finds the set that stands for the winding: main or phase u, else the first; -1 without sets.
func primarySet(sc *winding.Scheme) int {
	for i := range sc.CoilSets {
		if r := sc.CoilSets[i].Role; r == winding.Main || r == winding.PhaseU {
			return i
		}
	}
	if len(sc.CoilSets) > 0 {
		return 0
	}
	return -1
}

// auxiliarySet finds the auxiliary, -1 if there is none.
func auxiliarySet(sc *winding.Scheme) int {
	for i := range sc.CoilSets {
		if sc.CoilSets[i].Role == winding.Auxiliary {
			return i
		}
	}
	return -1
}

// expanded gives turns in series, winding factor and mean turn of one set on a core; zeros where
// the data does not tell.
func expanded(set *winding.CoilSet, poles int, core *stator.Core) (series, kw, mlt float64) {
	coils, _, err := winding.Expand(*set, poles, *core)
	if err != nil {
		// A set that cannot be laid may still tell its turns.
		if n := winding.SeriesTurns(*set); n > 0 && !math.IsInf(n, 1) {
			series = n
		}
		return series, 0, 0
	}
	series = winding.TurnsOf(coils) / float64(winding.Paths(*set))
	kw, _ = winding.FactorOfSet(*set, coils, poles, *core, 1)
	if l, ok := winding.MeanTurnOf(*core, set.Ring, coils, winding.SheetMeanTurn); ok {
		mlt = float64(l)
	}
	return series, kw, mlt
}
