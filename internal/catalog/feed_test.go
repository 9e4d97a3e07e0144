package catalog

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// TestChangeKindsAreTheContracts: the words are those of the exchange and of the database.
func TestChangeKindsAreTheContracts(t *testing.T) {
	t.Parallel()
	require.Equal(t, []ChangeKind{"publication", "supersession", "withdrawal", "erratum"}, ChangeKinds())
}
