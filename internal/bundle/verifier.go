package bundle

import (
	"bytes"
	"crypto/ed25519"
	"encoding/base64"
	"strings"

	"golang.org/x/mod/sumdb/note"
)

// VerifierOf gives the verifier key that belongs to a signer key of NewSigningKey: the public half of a
// pair of which the secret half was kept.
func VerifierOf(signer string) (string, error) {
	key, err := openSigner(signer)
	if err != nil {
		return "", err
	}
	// Package note opens a signer key but does not give its seed, from which both halves come. The form is
	// PRIVATE+KEY+NAME+HASH+BASE64; base64 may hold a plus itself.
	fields := strings.SplitN(signer, "+", 5)
	raw, err := base64.StdEncoding.DecodeString(fields[len(fields)-1])
	if err != nil || len(raw) != 1+ed25519.SeedSize {
		return "", badKey("The signer key is malformed.")
	}
	_, verifier, err := note.GenerateKey(bytes.NewReader(raw[1:]), key.Name())
	return verifier, err
}
