package match

import (
	"testing"

	"github.com/stretchr/testify/require"

	"statorbook/internal/simworld"
)

// recall counts the queries of catalogued laminations, those whose lamination the scan keeps, and those
// where it is among the best so many.
func (x *Index) recall(queries []simQuery, best int) (known, kept, among int) {
	lams := map[string]uint32{}
	for l := range x.lam.slots {
		lams[x.lam.ids.at(uint32(l))] = uint32(l)
	}
	w := new(work)
	for i := range queries {
		truth, ok := lams[queries[i].truth.FamilyID]
		if !ok {
			continue
		}
		known++
		list, _ := x.scan(x.prepare(&queries[i].Query), w)
		at := -1
		for k := range list {
			if list[k].lam == truth {
				at = k
			}
		}
		if at < 0 {
			continue
		}
		kept++
		better := 0
		for k := range list {
			if list[k].coarse < list[at].coarse {
				better++
			}
		}
		if better < best {
			among++
		}
	}
	return known, kept, among
}

// TestCoarseRecall: the right lamination is nearly always kept, and nearly always among the best hundred,
// so that it would still be kept in a catalogue twenty times as large.
func TestCoarseRecall(t *testing.T) {
	t.Parallel()
	x, queries := simIndex(t, simworld.Config{Records: 20000, Queries: 2000, Seed: 7})
	known, kept, among := x.recall(queries, keepMost/20)
	require.Greater(t, known, 1600)
	require.GreaterOrEqual(t, float64(kept), 0.999*float64(known), "%d of %d", kept, known)
	require.GreaterOrEqual(t, float64(among), 0.995*float64(known), "%d of %d", among, known)
}
