package httpapi

import (
	"sync"
	"testing"

	"statorbook/internal/match"
	"statorbook/internal/simworld"

	"github.com/stretchr/testify/require"
)

// demoSnapshot is seedSnapshot with the invented demo set in the index. The set is made anew here;
// the tests with a database serve the one that is shipped.
var demoSnapshot = sync.OnceValues(func() (*Snapshot, error) {
	seed, err := seedSnapshot()
	if err != nil {
		return nil, err
	}
	set := simworld.Demo(1, seed.Wires)
	b := match.NewBuilder(seed.Wires)
	for _, f := range set.Families {
		e := match.FamilyEntry{ID: f.ID, Application: f.Application, Core: f.Core}
		for _, c := range f.Cores {
			e.Cores = append(e.Cores, match.CoreEntry{ID: c.ID, StackLength: c.StackLength})
		}
		b.AddFamily(e)
	}
	for _, w := range set.Windings {
		b.AddRecord(match.RecordEntry{
			ID: w.ID, CoreID: w.CoreID, FamilyID: w.FamilyID, Status: string(w.Status), MotorType: w.MotorType, Origin: w.Origin,
			TimesSeen: w.TimesSeen, CoreAsMeasured: w.CoreAsMeasured, Nameplate: w.Nameplate, Scheme: w.Scheme,
		})
	}
	return &Snapshot{
		Revision: seed.Revision, Wires: seed.Wires, Classes: seed.Classes, Materials: seed.Materials, BuiltAt: seed.BuiltAt, Index: b.Build(),
	}, nil
})

func demoHost(t testing.TB) *host {
	t.Helper()
	snap, err := demoSnapshot()
	require.NoError(t, err)
	return newHost(t, Config{Snapshot: func() *Snapshot { return snap }})
}
