package match

import (
	"testing"

	"statorbook/internal/winding"

	"github.com/stretchr/testify/require"
)

func TestWindable(t *testing.T) {
	t.Parallel()
	set := func(turns float64) []winding.Scheme {
		return []winding.Scheme{
			{CoilSets: []winding.CoilSet{{Pattern: &winding.Pattern{Turns: []float64{100, turns}}}}},
			{CoilSets: []winding.CoilSet{{Coils: []winding.Coil{{Turns: 100}, {Turns: turns}}}}},
		}
	}
	for turns, want := range map[float64]bool{1: true, 0.5: true, winding.MaxTurns: true, winding.MaxTurns + 1: false, 0: false, -1: false} {
		for _, s := range set(turns) {
			require.Equal(t, want, windable(s), "%v", turns)
		}
	}
}
