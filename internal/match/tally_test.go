package match

import (
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestTally(t *testing.T) {
	t.Parallel()
	count := map[string]float64{}
	for i := range 5000 {
		count["main|lap|0|1|"+strconv.Itoa(i)] = float64(i % 300)
	}
	made := newTally(count)
	require.Len(t, made.hash, len(count))
	for key, n := range count {
		require.Equal(t, n, made.of(key), key)
	}
	require.Zero(t, made.of("main|lap|0|1|5000"))
	require.Zero(t, new(tally).of("main"))
}
