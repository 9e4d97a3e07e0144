package match

import (
	"regexp"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestChance(t *testing.T) {
	t.Parallel()
	for p, want := range map[float64]string{0: "less than 0.001", 0.0004: "less than 0.001", 0.001: "0.001", 0.5: "0.500", 0.98274: "0.983", 0.999: "0.999", 0.99951: "more than 0.999", 1: "more than 0.999"} {
		require.Equal(t, want, chance(p))
	}
}

// TestNothingIsToldAsCertain: no sentence of an answer gives a probability of 1 or of 0.
func TestNothingIsToldAsCertain(t *testing.T) {
	t.Parallel()
	w := sampleWorld()
	certain, decided := regexp.MustCompile(`(is|of) (1\.000|0\.000)`), 0
	for i := 0; i < len(w.records); i += 29 {
		q, _ := exactQuery(w, i)
		a := mustMatch(t, w.index, q)
		if a.Decided != nil {
			decided++
			require.NotRegexp(t, certain, a.Decided.Text)
		}
		for _, p := range a.Proposals {
			for _, step := range p.Basis.Steps {
				require.NotRegexp(t, certain, step)
			}
		}
	}
	require.Greater(t, decided, 10)
}
