package match

import (
	"math"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"statorbook/internal/score"
	"statorbook/internal/unit"
	"statorbook/internal/winding"
)

// sampleAnswers are the answers to all queries of the sample world, asked once.
var sampleAnswers = sync.OnceValue(func() []Answer { return answers(panicTB{}, sampleWorld(), sampleWorld().index, nil) })

// answers asks every query of a world; spoil may change a query first.
func answers(t testing.TB, w *world, x *Index, spoil func(*Query)) []Answer {
	out := make([]Answer, len(w.queries))
	for i := range w.queries {
		q := w.queries[i].domain()
		q.Limit = maxLimit // so that the log loss sees the truth wherever it stands
		if spoil != nil {
			spoil(&q)
		}
		a, err := x.Match(q)
		require.NoError(t, err, w.queries[i].ID)
		out[i] = a
	}
	return out
}

// judged sets answers beside the truth; spoil may change a copy of an answer first.
func judged(w *world, list []Answer, spoil func(*Answer)) score.Outcomes {
	out := make(score.Outcomes, len(list))
	for i, a := range list {
		if spoil != nil {
			a.Candidates, a.Cores = append([]Candidate(nil), a.Candidates...), append([]CoreProbability(nil), a.Cores...)
			a.Overall, a.Proposals = append([]RoleRange(nil), a.Overall...), append([]Proposal(nil), a.Proposals...)
			spoil(&a)
		}
		said, truth := scored(&a), w.queries[i].truth()
		out[i] = score.Judge(&said, &truth, swgLadder())
	}
	return out
}

// bend raises all probabilities of an answer to a power and makes them sum to 1 again: above 1 it is
// surer than it should be, below 1 less sure.
func bend(a *Answer, k float64) {
	records := math.Pow(a.None.Winding, k) + math.Pow(a.UnlistedProbability, k)
	for _, c := range a.Candidates {
		records += math.Pow(c.Probability, k)
	}
	cores := math.Pow(a.None.Core, k)
	for _, c := range a.Cores {
		cores += math.Pow(c.Probability, k)
	}
	for i := range a.Candidates {
		a.Candidates[i].Probability = math.Pow(a.Candidates[i].Probability, k) / records
	}
	for i := range a.Cores {
		a.Cores[i].Probability = math.Pow(a.Cores[i].Probability, k) / cores
	}
	a.None.Winding, a.None.Core = math.Pow(a.None.Winding, k)/records, math.Pow(a.None.Core, k)/cores
}

// without takes hypotheses away that have these shares of none, and lets the others share their weight.
func without(a *Answer, winding, core float64) {
	a.None.Winding, a.None.Core = (a.None.Winding-winding)/(1-winding), (a.None.Core-core)/(1-core)
	for i := range a.Candidates {
		a.Candidates[i].Probability /= 1 - winding
	}
	for i := range a.Cores {
		a.Cores[i].Probability /= 1 - core
	}
}

// stretch makes the overall ranges k times as wide.
func stretch(a *Answer, k float64) {
	wider := func(r unit.Range) unit.Range {
		return unit.Range{P05: r.P50 + k*(r.P05-r.P50), P50: r.P50, P95: r.P50 + k*(r.P95-r.P50)}
	}
	for i, r := range a.Overall {
		a.Overall[i].SeriesTurns, a.Overall[i].ConductorArea = wider(r.SeriesTurns), wider(r.ConductorArea)
	}
}

// almost is what is left of a hypothesis that is taken away: dividing by nothing is no model either.
const almost = 1 - 1e-9

// TestFaultsInAnswersBreakFloors shows that the floors of the sample world are not idle: an answer
// that lacks a part of the model, or states it wrongly, breaks the floors named.
func TestFaultsInAnswersBreakFloors(t *testing.T) {
	t.Parallel()
	require.Empty(t, brokenBut(judged(sampleWorld(), sampleAnswers(), nil)), "without a fault")
	for _, f := range []struct {
		name   string
		spoil  func(*Answer)
		breaks []string
	}{
		{"the catalogue is taken for complete: no hypothesis of none", func(a *Answer) { without(a, almost*a.None.Winding, almost*a.None.Core) }, []string{"log_loss", "ece_record", "ece_core"}},
		{"no new lamination", func(a *Answer) { without(a, almost*a.None.Family, almost*a.None.Family) }, []string{"log_loss", "auc_core"}},
		{"no new stack", func(a *Answer) { s := almost * (a.None.Core - a.None.Family); without(a, s, s) }, []string{"ece_core"}},
		{"no other winding on a known core", func(a *Answer) { without(a, almost*(a.None.Winding-a.None.Core), 0) }, []string{"log_loss"}},
		{"none is a constant", func(a *Answer) { a.None = Unlisted{0.3, 0.3, 0.2} }, []string{"auc_core", "auc_record", "log_loss"}},
		{"surer than it should be", func(a *Answer) { bend(a, 3) }, []string{"log_loss", "ece_record"}},
		{"less sure than it could be", func(a *Answer) { bend(a, 0.5) }, []string{"log_loss", "ece_record", "ece_core"}},
		{"the first two cores change places", func(a *Answer) { a.Cores[0], a.Cores[len(a.Cores)-1] = a.Cores[len(a.Cores)-1], a.Cores[0] }, []string{"core_top1"}},
		{"intervals half as wide", func(a *Answer) { stretch(a, 0.5) }, []string{"cover_turns_unlikely", "cover_area_unlikely"}},
		{"intervals three times as wide", func(a *Answer) { stretch(a, 3) }, []string{"cover_area_unlikely"}},
		{"one proposal instead of three", func(a *Answer) { a.Proposals = a.Proposals[:1] }, []string{"one_of_three", "new_one_of_three"}},
		{"proposals as sure as can be", func(a *Answer) { a.Proposals[0].Probability = 1 }, []string{"ece_first"}},
	} {
		t.Run(f.name, func(t *testing.T) {
			got := brokenBut(judged(sampleWorld(), sampleAnswers(), f.spoil))
			t.Log(got)
			require.Subset(t, got, f.breaks)
		})
	}
}

// TestFaultsInEvidenceBreakFloors takes evidence away, or believes it too much, before the model sees it.
func TestFaultsInEvidenceBreakFloors(t *testing.T) {
	t.Parallel()
	w := sampleWorld()
	for _, f := range []struct {
		name   string
		index  func() *Index
		spoil  func(*Query)
		breaks []string
	}{
		{"popularity is not counted", unpopular, nil, []string{"log_loss"}},
		{"laminations do not lend their residuals", unrelated, nil, []string{"first_right"}},
		{"the nameplate is not read", nil, func(q *Query) { q.Nameplate = nil }, []string{"record_top1", "log_loss"}},
		{"callipers are believed five times too much", nil, func(q *Query) { doubt(q, 0.2) }, []string{"log_loss", "ece_record"}},
	} {
		if testing.Short() && f.spoil != nil {
			continue // under the race detector those of one kind are enough
		}
		t.Run(f.name, func(t *testing.T) {
			t.Parallel()
			x := w.index
			if f.index != nil {
				x = f.index()
			}
			got := brokenBut(judged(w, answers(t, w, x, f.spoil), nil))
			t.Log(got)
			require.Subset(t, got, f.breaks)
		})
	}
}

// brokenBut lists the floors that outcomes break, those of the record check left out.
func brokenBut(o score.Outcomes) []string {
	return broken(&score.Result{Outcomes: o, Slips: &score.Slips{Mean1: 100, Mean2: 100}})
}

// unpopular is the sample world's index without a count of how often each record was seen.
func unpopular() *Index {
	b := NewBuilder(testWires())
	loadCatalogue(panicTB{}, "testdata/worlds/sample", b)
	for i := range b.recs {
		b.recs[i].seen = newSmall(1)
	}
	return b.Build()
}

// unrelated is the sample world's index without what the windings of a lamination have in common.
func unrelated() *Index {
	x := *sampleWorld().index
	for k := range x.lam.fam {
		x.lam.fam[k] = make([]famSum, len(x.lam.fam[k]))
	}
	return &x
}

// doubt makes the stated and understood uncertainty of all lengths k times as great.
func doubt(q *Query, k float64) {
	c := &q.Measurements
	for _, m := range []*unit.Measured{&c.GapDiameter, &c.BackDiameter, &c.StackLength, &c.ToothWidth, &c.SlotDepth, &c.SlotOpening, &c.BackIron} {
		if m.Uncertainty == 0 {
			m.Uncertainty = 0.12
		}
		m.Uncertainty *= k
	}
}

// TestFaultsInTheRecordCheckBreakFloors: a check without mass and resistance, or one that is never sure.
func TestFaultsInTheRecordCheckBreakFloors(t *testing.T) {
	t.Parallel()
	w := sampleWorld()
	unweighed := score.JudgeSlips(checked(w, func(s *winding.Sheet) {
		for i := range s.Scheme.CoilSets {
			s.Scheme.CoilSets[i].Mass, s.Scheme.CoilSets[i].Resistance = unit.Measured{}, unit.Measured{}
		}
	}))
	unsure := sampleChecked()
	for i := range unsure {
		unsure[i].Odds = math.Min(unsure[i].Odds, 3)
	}
	for _, s := range []*score.Slips{unweighed, score.JudgeSlips(unsure)} {
		require.Subset(t, broken(&score.Result{Outcomes: judged(w, sampleAnswers(), nil), Slips: s}), []string{"slips_1", "slips_2"})
	}
}
