package match

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"statorbook/internal/unit"
	"statorbook/internal/winding"
)

// requireSound holds what every answer must be: probabilities that sum to 1, ordered ranges, no NaN.
func requireSound(t require.TestingT, a *Answer) {
	sum := a.UnlistedProbability + a.None.Winding
	last := math.Inf(1)
	for _, c := range a.Candidates {
		sum += c.Probability
		require.LessOrEqual(t, c.Probability, last, "candidates stand best first")
		last = c.Probability
		for _, k := range c.Comparison {
			finite(t, k.Measured, k.OnRecord, k.Deviations)
		}
	}
	require.InDelta(t, 1, sum, 1e-9)
	require.GreaterOrEqual(t, a.UnlistedProbability, 0.0)
	for _, p := range []float64{a.None.Winding, a.None.Core, a.None.Family} {
		require.GreaterOrEqual(t, p, 0.0)
		require.LessOrEqual(t, p, 1+1e-9)
	}
	require.GreaterOrEqual(t, a.None.Winding, a.None.Core-1e-9)
	require.GreaterOrEqual(t, a.None.Core, a.None.Family-1e-9)
	cores := a.None.Core
	for _, c := range a.Cores {
		finite(t, c.Probability)
		cores += c.Probability
	}
	require.LessOrEqual(t, cores, 1+1e-9)
	for _, r := range a.Overall {
		requireRange(t, r.SeriesTurns)
		requireRange(t, r.ConductorArea)
	}
	requireProposals(t, a)
	for _, n := range a.Next {
		finite(t, n.Bits)
		require.GreaterOrEqual(t, n.Bits, 0.0)
		require.NotEmpty(t, n.How)
	}
	for _, r := range a.Readings {
		finite(t, r.Typed, r.ReadAs, r.Probability)
	}
	require.NotEmpty(t, a.Status)
	require.NotEmpty(t, a.Cautions)
}

func requireProposals(t require.TestingT, a *Answer) {
	require.LessOrEqual(t, len(a.Proposals), 3)
	sum := 0.0
	for i := range a.Proposals {
		p := &a.Proposals[i]
		finite(t, p.Probability)
		sum += p.Probability
		require.NotEmpty(t, p.CoilSets)
		require.Len(t, p.Scheme.CoilSets, len(p.CoilSets))
		require.Contains(t, []winding.Role{winding.Main, winding.PhaseU, winding.Auxiliary, winding.Speed, winding.PhaseV, winding.PhaseW}, p.CoilSets[0].Role)
		require.Contains(t, []string{methodRecord, methodScaled, methodReference, methodLimits}, p.Basis.Method)
		require.NotEmpty(t, p.Basis.Steps)
		for _, s := range p.CoilSets {
			requireRange(t, s.SeriesTurns)
			requireRange(t, s.ConductorArea)
			requireRange(t, s.Resistance20)
			requireRange(t, s.Mass)
			for _, r := range s.TurnsPerCoil {
				requireRange(t, r)
			}
			if s.Fill != nil {
				finite(t, s.Fill.Copper, s.Fill.Circle, s.Fill.Square)
			}
			if s.CurrentDensity != nil {
				finite(t, *s.CurrentDensity)
			}
		}
		if p.Capacitor != nil {
			requireRange(t, p.Capacitor.UF)
			finite(t, p.Capacitor.VoltageV)
		}
	}
	require.LessOrEqual(t, sum, 1+1e-9)
}

func requireRange(t require.TestingT, r unit.Range) {
	finite(t, r.P05, r.P50, r.P95)
	require.LessOrEqual(t, r.P05, r.P50)
	require.LessOrEqual(t, r.P50, r.P95)
	require.GreaterOrEqual(t, r.P05, 0.0)
}

func finite(t require.TestingT, v ...float64) {
	for _, x := range v {
		require.False(t, math.IsNaN(x) || math.IsInf(x, 0), "%v", v)
	}
}

func mustMatch(t *testing.T, x *Index, q Query) Answer {
	t.Helper()
	a, err := x.Match(q)
	require.NoError(t, err)
	requireSound(t, &a)
	return a
}

// exactQuery measures a catalogued record without any error.
func exactQuery(w *world, i int) (Query, *jwinding) {
	r := &w.records[i]
	e := r.domain()
	return Query{Measurements: *e.CoreAsMeasured, Nameplate: &e.Nameplate}, r
}
