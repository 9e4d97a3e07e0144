package match

import (
	"os"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"statorbook/internal/score"
	"statorbook/internal/simworld"
)

// TestScale prints the whole table for worlds of the project's own generator with as many records as
// STATORBOOK_SCALE says (100000,1000000), without a server or a database, and how much the coarse scan
// loses. It holds what is demanded of size: 120 bytes a record, 99.5 % of the laminations kept, and
// 5 ms a request up to 100,000 records, 8 ms beyond (on one core that is not busy elsewhere). A million
// records take a minute and 1.2 GB.
func TestScale(t *testing.T) {
	for _, text := range strings.Split(os.Getenv("STATORBOOK_SCALE"), ",") {
		if text == "" {
			continue
		}
		records, err := strconv.Atoi(text)
		require.NoError(t, err)
		start := time.Now()
		x, queries := simIndex(t, simworld.Config{Records: records, Queries: 1500, Seed: 1})
		stats := x.Stats()
		t.Logf("%+v made in %v, %.1f bytes a record", stats, time.Since(start), float64(stats.Bytes)/float64(records))
		start = time.Now()
		var r score.Result
		for i := range queries {
			a, err := x.Match(queries[i].Query)
			if err != nil {
				a = Answer{} // refused as impossible: it gives the truth no chance
			}
			said, truth := scored(&a), queries[i].scoreTruth()
			r.Outcomes = append(r.Outcomes, score.Judge(&said, &truth, swgLadder()))
		}
		each := time.Since(start) / time.Duration(len(queries))
		known, kept, _ := x.recall(queries, keepMost)
		recall := 100 * float64(kept) / float64(known)
		t.Logf("%v a request; the scan keeps %d of %d laminations, %.2f %%\n%s\n%s", each, kept, known, recall,
			score.Table([]score.Column{{Title: "ours", Result: &r}}, nil), score.KindsTable(r.Outcomes))
		require.LessOrEqual(t, float64(stats.Bytes)/float64(records), 120.0)
		require.GreaterOrEqual(t, recall, 99.5)
		require.Less(t, each, time.Duration(pick(records > 100_000, 8, 5)*float64(time.Millisecond)))
	}
}

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
