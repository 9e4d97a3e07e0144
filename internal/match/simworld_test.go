package match

import (
	"testing"

	"github.com/stretchr/testify/require"

	"statorbook/internal/score"
	"statorbook/internal/simworld"
)

// simQuery is a measured stator of the project's own generator, with its truth.
type simQuery struct {
	Query
	truth simworld.Truth
}

func (q *simQuery) scoreTruth() score.Truth {
	t := &q.truth
	return score.Truth{Kind: score.Kind(t.Kind), WindingID: t.WindingID, CoreID: t.CoreID, SeriesTurns: t.SeriesTurns, ConductorArea: t.ConductorAreaMM2}
}

// simIndex builds an index over a world of the project's own generator, and queries for it, without a
// server or a database.
func simIndex(t testing.TB, cfg simworld.Config) (*Index, []simQuery) {
	t.Helper()
	b, w, _ := simBuilder(t, cfg)
	var out []simQuery
	for q := range w.Queries() {
		out = append(out, simQuery{simAsked(&q), q.Truth})
	}
	return b.Build(), out
}

// simBuilder gives a builder that holds such a world, and one of its records.
func simBuilder(t testing.TB, cfg simworld.Config) (b *Builder, w *simworld.World, one RecordEntry) {
	t.Helper()
	w, err := simworld.NewWorld(cfg, testWires())
	require.NoError(t, err)
	b = NewBuilder(testWires())
	for f, windings := range w.Catalogue() {
		e := FamilyEntry{ID: f.ID, Application: f.Application, Core: f.Core}
		for _, c := range f.Cores {
			e.Cores = append(e.Cores, CoreEntry{ID: c.ID, StackLength: c.StackLength})
		}
		b.AddFamily(e)
		for i := range windings {
			r := &windings[i]
			one = RecordEntry{ID: r.ID, CoreID: r.CoreID, FamilyID: r.FamilyID, Status: "demo", MotorType: r.MotorType, Origin: r.Origin, TimesSeen: r.TimesSeen, CoreAsMeasured: r.CoreAsMeasured, Nameplate: r.Nameplate, Scheme: r.Scheme}
			b.AddRecord(one)
		}
	}
	return b, w, one
}

// simAsked is what is asked of a measured stator.
func simAsked(q *simworld.Query) Query {
	m := Query{Measurements: q.Measurements, MotorType: q.MotorType, Supply: q.Supply, Nameplate: q.Nameplate, Limit: maxLimit}
	if r := q.Remains; r != nil {
		m.Remains = &Remains{CopperMain: r.CopperMain, CopperAuxiliary: r.CopperAuxiliary, CopperTotal: r.CopperTotal}
		for _, s := range r.Wires {
			m.Remains.Wires = append(m.Remains.Wires, ScrapWire(s))
		}
		for _, c := range r.Coils {
			m.Remains.Coils = append(m.Remains.Coils, CoilCount(c))
		}
	}
	return m
}
