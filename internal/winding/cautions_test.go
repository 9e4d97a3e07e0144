package winding_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"statorbook/internal/winding"
)

func TestCautions(t *testing.T) {
	t.Parallel()
	all := winding.StandardCautions()
	require.Len(t, all, 28) // one for each point of the project's list
	seen := map[string]bool{}
	for _, c := range all {
		require.False(t, seen[c.ID], c.ID)
		seen[c.ID] = true
		require.Regexp(t, `^[a-z0-9_]+$`, c.ID)
		require.Contains(t, []winding.CautionSeverity{winding.CautionDanger, winding.CautionWarning, winding.CautionCaution, winding.CautionNotice}, c.Severity)
		require.GreaterOrEqual(t, strings.Count(c.Text, "."), 2, "%s: hazard and avoidance are two sentences at least", c.ID)
	}
	for name, set := range map[string][]string{"proposal": winding.ProposalCautions, "change": winding.ChangeCautions, "test": winding.TestCautions, "material": winding.MaterialCautions} {
		got := winding.StandardCautions(set...)
		require.Len(t, got, len(set), "%s: every id is known", name)
		for i, c := range got {
			require.Equal(t, set[i], c.ID)
		}
	}
	require.Equal(t, winding.CautionDanger, winding.StandardCautions(winding.TestCautions...)[0].Severity)
	require.Contains(t, winding.ProposalCautions, winding.CautionProposal)
	require.Empty(t, winding.StandardCautions("no_such_id"))
}
