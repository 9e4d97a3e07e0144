package main

import (
	"bytes"
	"encoding/hex"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"statorbook/internal/bundle"
)

// signedBundle makes a bundle of one signed family, sealed with a key of the demo institute.
func signedBundle(t *testing.T, letter string) (text []byte, verifier string) {
	t.Helper()
	const school, id = "demo-winding-school", "01234567-89ab-4def-8123-456789abcdef"
	signer, verifier, err := bundle.NewSigningKey(strings.NewReader(strings.Repeat(letter, 32)), school)
	require.NoError(t, err)
	keyID, _, err := bundle.KeyIDOf(signer)
	require.NoError(t, err)
	family := bundle.Family{ID: id, Lamination: bundle.Lamination{Title: "demo fan"}, Origin: bundle.Origin{Demo: true},
		Standing: bundle.Standing{Revision: 1, State: "published"}}
	sum, err := bundle.ContentHash(family)
	require.NoError(t, err)
	s := bundle.Statement{Act: "publication", Kind: bundle.KindFamily, Record: id, Revision: 1, SHA256: hex.EncodeToString(sum[:]),
		Institute: school, Author: "demo-p1", Vetter: "demo-p2"}
	note, err := bundle.SignStatement(signer, s)
	require.NoError(t, err)
	var out bytes.Buffer
	w := bundle.NewWriter(&out)
	require.NoError(t, w.Manifest("demo", 1, bundle.Manifest{Title: "demo", Institute: school, Licence: "CC0-1.0", Keys: []string{verifier}, Signer: keyID}))
	require.NoError(t, w.Write(bundle.KindFamily, id, 1, family))
	require.NoError(t, w.Review(s, note))
	require.NoError(t, w.CloseSealed(signer))
	return out.Bytes(), verifier
}

func TestVerifyCommand(t *testing.T) {
	t.Parallel()
	text, verifier := signedBundle(t, "a")
	_, stranger := signedBundle(t, "b")
	name := filepath.Join(t.TempDir(), "demo.jsonl")
	require.NoError(t, os.WriteFile(name, text, 0o600))

	code, out, _ := runCommand(t, nil, "", "verify", name)
	require.Equal(t, 0, code, out)
	require.Contains(t, out, "1 proved, 0 unproved, 0 failed")
	require.Contains(t, out, "does not show whose file it is")
	require.NotContains(t, out, "VERIFIED")

	for _, args := range [][]string{{"verify", "-key", verifier, name}, {"verify", name, "-key", stranger, "-key", verifier}} {
		code, out, _ = runCommand(t, nil, "", args...)
		require.Equal(t, 0, code, out)
		require.Contains(t, out, "\nVERIFIED against the keys that you gave\n")
		require.Contains(t, out, "signer demo-winding-school: 1 records")
	}
	code, out, errOut := runCommand(t, nil, "", "verify", "-key", stranger, name)
	require.Equal(t, 1, code, "signed, but by somebody else")
	require.Contains(t, out, "unproved: line 2 (family ")
	require.Contains(t, out, "failed: the whole file: SIGNER_UNKNOWN")
	require.Contains(t, out, "NOT VERIFIED")
	require.Contains(t, errOut, "does not verify")

	code, out, _ = runCommand(t, nil, strings.Replace(string(text), "demo fan", "demo pan", 1), "verify", "-key", verifier, "-")
	require.Equal(t, 1, code)
	require.Contains(t, out, "failed: line 2 (family ")
	require.Contains(t, out, "HASH_MISMATCH")

	seeds, err := os.ReadFile(filepath.Join("..", "seeds", "demo.jsonl"))
	require.NoError(t, err)
	code, out, _ = runCommand(t, nil, string(seeds), "verify", "-")
	require.Equal(t, 1, code, "the seeds are not signed")
	require.Contains(t, out, "failed: the whole file: UNSEALED")
	require.Contains(t, out, "unproved: ")
	require.Contains(t, out, " more\n")

	for _, args := range [][]string{{"verify"}, {"verify", name, name}, {"verify", "-x", name}, {"verify", name, "-key"}} {
		code, _, errOut = runCommand(t, nil, "", args...)
		require.Equal(t, 2, code, args)
		require.Contains(t, errOut, "usage:")
	}
	code, _, errOut = runCommand(t, nil, "", "verify", "-key", "x", name)
	require.Equal(t, 1, code)
	require.Contains(t, errOut, "malformed")
	code, _, _ = runCommand(t, nil, "", "verify", filepath.Join(t.TempDir(), "none"))
	require.Equal(t, 1, code)
}
