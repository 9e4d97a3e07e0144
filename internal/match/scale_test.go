//go:build unix

package match

import (
	"os"
	"runtime"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"statorbook/internal/score"
	"statorbook/internal/simworld"
)

// TestScale prints the whole table for worlds of the project's own generator with as many records as
// STATORBOOK_SCALE says (100000,1000000), without a server or a database, and how much the coarse scan
// loses. It holds what is demanded of size: 120 bytes a record, 99.5 % of the laminations kept, and
// 5 ms of one processor a request up to 100,000 records, 8 ms beyond. A million records take a minute
// and 1.2 GB.
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
		runtime.GC() // what the catalogue left behind is not the requests'
		before := cpuTime(t)
		var r score.Result
		for i := range queries {
			a, err := x.Match(queries[i].Query)
			if err != nil {
				a = Answer{} // refused as impossible: it gives the truth no chance
			}
			said, truth := scored(&a), queries[i].scoreTruth()
			r.Outcomes = append(r.Outcomes, score.Judge(&said, &truth, swgLadder()))
		}
		each := (cpuTime(t) - before) / time.Duration(len(queries))
		known, kept, _ := x.recall(queries, keepMost)
		recall := 100 * float64(kept) / float64(known)
		t.Logf("%v of one processor a request; the scan keeps %d of %d laminations, %.2f %%\n%s\n%s", each, kept, known, recall,
			score.Table([]score.Column{{Title: "ours", Result: &r}}, nil), score.KindsTable(r.Outcomes))
		require.LessOrEqual(t, float64(stats.Bytes)/float64(records), 120.0)
		require.GreaterOrEqual(t, recall, 99.5)
		require.Less(t, each, time.Duration(pick(records > 100_000, 8, 5)*float64(time.Millisecond)))
	}
}

// cpuTime is how long this process has computed, on all cores.
func cpuTime(t testing.TB) time.Duration {
	t.Helper()
	var u syscall.Rusage
	require.NoError(t, syscall.Getrusage(syscall.RUSAGE_SELF, &u))
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}
