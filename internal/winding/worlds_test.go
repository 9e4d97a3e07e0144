package winding_test

import (
	"encoding/csv"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"statorbook/internal/stator"
	"statorbook/internal/winding"
)

// worldLayout reads one set of the copied layouts: role|ring|kind|throws|groups|alternate.
func worldLayout(t *testing.T, text string) winding.CoilSet {
	t.Helper()
	part := strings.Split(text, "|")
	require.Len(t, part, 6, text)
	p := &winding.Pattern{Kind: winding.PatternKind(part[2]), Groups: count(t, part[4]), Turns: []float64{10}, Alternate: no()}
	if part[5] == "true" {
		p.Alternate = yes()
	}
	for _, throw := range strings.Fields(part[3]) {
		p.Throws = append(p.Throws, count(t, throw))
	}
	return winding.CoilSet{Role: winding.Role(part[0]), Ring: winding.RingName(part[1]), Pattern: p}
}

// TestLayoutsOfTheWorlds lays every kind of winding of the project's simulated worlds (another hand than ours): each can be
// wound, three-phase ones fill all slots alike and are balanced, single-phase ones stand as near to 90 degrees as whole slots let them.
func TestLayoutsOfTheWorlds(t *testing.T) {
	t.Parallel()
	f, err := os.Open("testdata/layouts_of_worlds.csv")
	require.NoError(t, err)
	t.Cleanup(func() { _ = f.Close() })
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	require.NoError(t, err)
	require.Equal(t, 96, len(rows))
	for _, row := range rows[1:] {
		q, second, poles := count(t, row[0]), count(t, row[1]), count(t, row[2])
		core := stator.Core{Slots: q}
		if second > 0 {
			core.SecondRing = &stator.Ring{Slots: second}
		}
		s := winding.Scheme{Poles: poles}
		for _, set := range strings.Split(row[3], ";") {
			s.CoilSets = append(s.CoilSets, worldLayout(t, set))
		}
		all, _, err := winding.ExpandScheme(s, core)
		require.NoError(t, err, row)
		require.Empty(t, winding.Faults(s, all, core), row)
		var axes []float64
		for i, set := range s.CoilSets {
			kw, axis := winding.FactorOfSet(set, all[i], poles, core, 1)
			require.Greater(t, kw, 0.6, row)
			axes = append(axes, axis)
		}
		slots := winding.Occupancy(s, all, core)
		if s.CoilSets[0].Role.IsPhase() {
			require.InDelta(t, 120, winding.Displacement(axes[0], axes[1]), 1e-6, row)
			for _, slot := range slots {
				require.Len(t, slot.Sides, len(slots[0].Sides), "%v slot %d", row, slot.Number)
			}
			continue
		}
		if len(axes) == 2 {
			pitch := 180 * float64(poles) / float64(q)
			require.InDelta(t, 90, winding.Displacement(axes[0], axes[1]), pitch/2+1e-6, row)
		}
	}
}
