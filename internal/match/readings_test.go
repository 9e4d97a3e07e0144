package match

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// wrongReadings counts, among queries whose core is catalogued, the readings that are far from the
// catalogue; how many of them are told with the right figure; and how many sound readings are told as wrong.
func wrongReadings(t *testing.T, w *world, ask func(Query) []ReadAs) (wrong, told, falsely int) {
	t.Helper()
	x := w.index
	coreAt := map[string]int{}
	for c := range x.core.stack {
		coreAt[x.core.ids.at(uint32(c))] = c
	}
	for i := range w.queries {
		j := &w.queries[i]
		c, ok := coreAt[j.Truth.CoreID]
		if !ok {
			continue
		}
		q := j.domain()
		readings := ask(q)
		l := x.lamOf(c)
		p := x.prepare(&q)
		for k := range p.readings {
			r := &p.readings[k]
			truth, v := x.core.length(c), sq(x.model.catSD[dStack])
			if r.dim != dStack {
				truth, v = x.lam.value(l, r.dim), x.lamVariance(l, r.dim)
			}
			s := math.Sqrt(r.vq[nScale-1] + v)
			far := math.Abs(r.x-truth) > 6*s
			if far {
				wrong++
			}
			for _, read := range readings {
				if read.Field != dims[r.dim].field {
					continue
				}
				if far && math.Abs(read.ReadAs-truth) < 4*s {
					told++
				} else if math.Abs(r.x-truth) < 3*s {
					falsely++
				}
			}
		}
	}
	return wrong, told, falsely
}

// toldFloor is the share of wrong readings that must be told.
const toldFloor = 0.75

// TestWrongReadingsAreTold holds what alternative readings are for: "78.3 was probably 73.8".
func TestWrongReadingsAreTold(t *testing.T) {
	t.Parallel()
	w := sampleWorld()
	wrong, told, falsely := wrongReadings(t, w, func(q Query) []ReadAs {
		a, err := w.index.Match(q)
		require.NoError(t, err)
		return a.Readings
	})
	t.Logf("%d wrong readings, %d told rightly, %d sound ones told as wrong", wrong, told, falsely)
	require.Greater(t, wrong, 20)
	require.GreaterOrEqual(t, float64(told), toldFloor*float64(wrong))
	require.LessOrEqual(t, float64(falsely), 0.2*float64(wrong))

	// The same from the parts of Match; then without alternative readings: hardly one is told, and
	// the floor above would see it.
	parts := func(alternatives bool) func(Query) []ReadAs {
		return func(q Query) []ReadAs {
			p := w.index.prepare(&q)
			for i := range p.readings {
				if !alternatives {
					p.readings[i].alts = nil
				}
			}
			var a Answer
			var work work
			b := w.index.weigh(p, &work)
			w.index.listCores(&work, &a)
			w.index.readAs(p, &work, b, &a)
			return a.Readings
		}
	}
	_, same, _ := wrongReadings(t, w, parts(true))
	require.InDelta(t, told, same, 2, "Match adds those without which the geometry is impossible")
	_, blind, _ := wrongReadings(t, w, parts(false))
	require.Less(t, float64(blind), 0.2*float64(wrong))
}
