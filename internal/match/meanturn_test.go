package match

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"statorbook/internal/winding"
)

// TestMassOfProposedRecord sets the mass and resistance of a proposed record beside what the record weighed and
// measured: the ranges hold it about as often as they say, and mass, resistance and mean turn are one calculation.
func TestMassOfProposedRecord(t *testing.T) {
	t.Parallel()
	w := sampleWorld()
	n, held, fans := 0, 0, 0
	for i := 0; i < len(w.records); i += 13 {
		q, r := exactQuery(w, i)
		a := mustMatch(t, w.index, q)
		if len(a.Proposals) == 0 || a.Proposals[0].Basis.Method != methodRecord || a.Proposals[0].Basis.WindingIDs[0] != r.ID {
			continue
		}
		p, e := &a.Proposals[0], r.domain()
		require.Len(t, p.MeanTurns, len(p.Scheme.CoilSets))
		for k, set := range p.CoilSets {
			at := setOf(&e.Scheme, set.Role)
			if at < 0 || !usable(e.Scheme.CoilSets[at].Mass) || !(p.MeanTurns[k].Length > 0) {
				continue
			}
			share, _ := winding.EnamelShare(e.Scheme.CoilSets[at].MassState)
			bare := e.Scheme.CoilSets[at].Mass.Value / (1 + share)
			n++
			if set.Mass.P05 <= bare && bare <= set.Mass.P95 {
				held++
			}
			if e.CoreAsMeasured.SecondRing != nil {
				fans++
			}
			c, ok, err := winding.ConductorOf(p.Scheme.CoilSets[k], w.index.wires)
			require.NoError(t, err)
			require.True(t, ok)
			total := set.SeriesTurns.P50 * float64(winding.Paths(p.Scheme.CoilSets[k]))
			require.InEpsilon(t, float64(c.Mass(total, p.MeanTurns[k].Length)), set.Mass.P50, 1e-3)
			require.InEpsilon(t, float64(c.Resistance20(total, p.MeanTurns[k].Length, winding.Paths(p.Scheme.CoilSets[k]))), set.Resistance20.P50, 1e-3)
		}
	}
	require.Greater(t, n, 50)
	require.Greater(t, fans, 5)
	require.Greater(t, float64(held)/float64(n), 0.9, "%d of %d", held, n)
}

func setOf(s *winding.Scheme, role winding.Role) int {
	for i := range s.CoilSets {
		if s.CoilSets[i].Role == role {
			return i
		}
	}
	return -1
}

// TestMassRangeHasWidth wants a range of mass and resistance even where turns and wire are sure: nobody knows
// the ends of coils that were cut away to the gram.
func TestMassRangeHasWidth(t *testing.T) {
	t.Parallel()
	w := sampleWorld()
	for i := 0; i < len(w.queries); i += 11 {
		a := mustMatch(t, w.index, w.queries[i].domain())
		for _, p := range a.Proposals {
			for _, s := range p.CoilSets {
				for _, r := range [][3]float64{{s.Mass.P05, s.Mass.P50, s.Mass.P95}, {s.Resistance20.P05, s.Resistance20.P50, s.Resistance20.P95}} {
					if r[1] > 0 {
						require.Greater(t, math.Log(r[1]/r[0]), 0.03)
						require.Greater(t, math.Log(r[2]/r[1]), 0.03)
					}
				}
			}
		}
	}
}
