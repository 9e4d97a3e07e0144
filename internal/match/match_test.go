package match

import (
	"math"
	"slices"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"statorbook/internal/stator"
	"statorbook/internal/unit"
	"statorbook/internal/winding"
)

// TestExactRecordIsFound: a record measured without error, plate and all, comes first and is proposed as it stands.
func TestExactRecordIsFound(t *testing.T) {
	t.Parallel()
	w := sampleWorld()
	first := 0
	for i := 0; i < len(w.records); i += 97 {
		q, r := exactQuery(w, i)
		a := mustMatch(t, w.index, q)
		if a.Candidates[0].WindingID != r.ID {
			continue
		}
		first++
		require.Equal(t, r.CoreID, a.Candidates[0].CoreID)
		require.Equal(t, r.FamilyID, a.Candidates[0].FamilyID)
		require.Equal(t, "demo", a.Candidates[0].Status)
		require.NotEmpty(t, a.Candidates[0].Comparison)
		p := a.Proposals[0]
		if p.Basis.Method == methodRecord && p.Basis.WindingIDs[0] == r.ID {
			want := r.Scheme.domain()
			require.Equal(t, want.Poles, p.Scheme.Poles)
			require.Equal(t, len(want.CoilSets), len(p.Scheme.CoilSets))
			for k := range want.CoilSets {
				require.Equal(t, want.CoilSets[k].Pattern.Turns, p.Scheme.CoilSets[k].Pattern.Turns)
				require.Equal(t, want.CoilSets[k].Wires[0].Size, p.Scheme.CoilSets[k].Wires[0].Size)
			}
			require.Equal(t, "demo", a.Status)
		}
	}
	require.GreaterOrEqual(t, first, 20, "of 21 exact records")
}

// TestSupplyIsWorthMore: the supply on site alone raises the right record.
func TestSupplyIsWorthMore(t *testing.T) {
	t.Parallel()
	w := sampleWorld()
	without, with, n := 0.0, 0.0, 0.0
	for i := 0; i < len(w.records); i += 61 {
		q, r := exactQuery(w, i)
		q.Nameplate = nil
		plain := mustMatch(t, w.index, q)
		e := r.domain()
		q.Supply = &winding.Supply{Voltage: e.Nameplate.Voltage, Frequency: e.Nameplate.Frequency, Phases: e.CoreAsMeasured.Phases, Connection: e.Nameplate.Connection}
		told := mustMatch(t, w.index, q)
		p := func(a *Answer) float64 {
			for _, c := range a.Candidates {
				if c.WindingID == r.ID {
					return c.Probability
				}
			}
			return 0
		}
		without, with, n = without+p(&plain), with+p(&told), n+1
	}
	require.Greater(t, with/n, without/n+0.1)
}

// TestSameAnswer: bit for bit, from two builds, from many goroutines.
func TestSameAnswer(t *testing.T) {
	t.Parallel()
	w := sampleWorld()
	b := NewBuilder(testWires())
	loadCatalogue(t, "testdata/worlds/sample", b)
	twin := b.Build()
	require.Equal(t, w.index.Stats(), twin.Stats())
	var group sync.WaitGroup
	for part := range 4 {
		group.Add(1)
		go func() {
			defer group.Done()
			for i := part; i < 120; i += 4 {
				q := w.queries[i].domain()
				one, err1 := w.index.Match(q)
				two, err2 := twin.Match(q)
				if err1 != nil || err2 != nil {
					t.Errorf("%s: %v %v", w.queries[i].ID, err1, err2)
					return
				}
				if !equalAnswers(one, two) {
					t.Errorf("%s: two builds answer differently", w.queries[i].ID)
					return
				}
			}
		}()
	}
	group.Wait()
}

func equalAnswers(a, b Answer) bool {
	if len(a.Candidates) != len(b.Candidates) || len(a.Proposals) != len(b.Proposals) || a.None != b.None || a.UnlistedProbability != b.UnlistedProbability {
		return false
	}
	for i := range a.Candidates {
		if a.Candidates[i].WindingID != b.Candidates[i].WindingID || a.Candidates[i].Probability != b.Candidates[i].Probability {
			return false
		}
	}
	for i := range a.Proposals {
		if a.Proposals[i].Probability != b.Proposals[i].Probability || a.Proposals[i].CoilSets[0].SeriesTurns != b.Proposals[i].CoilSets[0].SeriesTurns {
			return false
		}
	}
	return slices.Equal(a.Next, b.Next) && slices.Equal(a.Readings, b.Readings) && slices.Equal(a.Overall, b.Overall)
}

// TestLimit: the number of candidates asked for; what is not listed stays in the sum.
func TestLimit(t *testing.T) {
	t.Parallel()
	x := sampleWorld().index
	for _, c := range [][2]int{{0, defaultLimit}, {1, 1}, {50, 50}, {1000, maxLimit}, {-3, defaultLimit}} {
		a := mustMatch(t, x, Query{Measurements: stator.Core{Slots: 24, RotorPosition: stator.RotorInside}, Limit: c[0]})
		require.Len(t, a.Candidates, c[1])
	}
}

// TestCoilCountAndMasses: one counted coil and weighed copper raise the record that they are of.
func TestCoilCountAndMasses(t *testing.T) {
	t.Parallel()
	w := sampleWorld()
	gain, n := 0.0, 0.0
	for i := 0; i < len(w.records); i += 83 {
		q, r := exactQuery(w, i)
		q.Nameplate = nil
		p := func(q Query) float64 {
			a := mustMatch(t, w.index, q)
			for _, c := range a.Candidates {
				if c.WindingID == r.ID {
					return math.Max(c.Probability, 1e-6)
				}
			}
			return 1e-6
		}
		before := p(q)
		set := r.Scheme.domain().CoilSets[0]
		q.Remains = &Remains{Coils: []CoilCount{{Role: set.Role, Turns: unit.Of(set.Pattern.Turns[0])}}, CopperMain: set.Mass}
		gain += math.Log(p(q) / before)
		n++
	}
	require.Greater(t, gain/n, 0.15)
}
