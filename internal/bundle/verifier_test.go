package bundle

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"statorbook/internal/errs"
)

// TestVerifierOf finds the public half again for keys of every kind of seed and name.
func TestVerifierOf(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		seed := rapid.SliceOfN(rapid.Byte(), 32, 32).Draw(t, "seed")
		name := rapid.SampledFrom([]string{"demo-school", "demo-school/second", "abc"}).Draw(t, "name")
		signer, verifier, err := NewSigningKey(strings.NewReader(string(seed)), name)
		if err != nil {
			t.Fatal(err)
		}
		got, err := VerifierOf(signer)
		if err != nil || got != verifier {
			t.Fatalf("%q, %v instead of %q", got, err, verifier)
		}
	})
	signer, verifier, err := NewSigningKey(strings.NewReader(strings.Repeat("s", 32)), "demo-school")
	require.NoError(t, err)
	for _, bad := range []string{"", "x", verifier, signer[:len(signer)-4], signer + "x", strings.Replace(signer, "demo-school", "demo-other", 1), strings.Replace(signer, "PRIVATE", "PUBLIC", 1)} {
		_, err := VerifierOf(bad)
		require.Equal(t, errs.KindSyntax, errs.KindOf(err), "%q", bad)
		require.NotContains(t, err.Error(), signer[len(signer)-30:], "an error never shows the key")
	}
}
