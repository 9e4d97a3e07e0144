package seeds_test

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"statorbook/seeds"
)

// TestNames: the list of bundles is the folder, so that none is shipped and not imported.
func TestNames(t *testing.T) {
	t.Parallel()
	entries, err := seeds.Files.ReadDir(".")
	require.NoError(t, err)
	var found []string
	for _, e := range entries {
		found = append(found, e.Name())
		data, err := seeds.Files.ReadFile(e.Name())
		require.NoError(t, err)
		require.Equal(t, byte('\n'), data[len(data)-1], e.Name())
	}
	require.ElementsMatch(t, seeds.Names(), found)
	require.Less(t, slices.Index(seeds.Names(), "wires.jsonl"), slices.Index(seeds.Names(), "demo.jsonl"), "demo records name wires")
}
