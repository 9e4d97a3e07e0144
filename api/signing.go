package main

import (
	"crypto/rand"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"statorbook/internal/bundle"
	"statorbook/internal/errs"
	"statorbook/internal/localpg"
)

// signingKeys is the folder with the private halves of the signing keys, one file an institute. They
// are nowhere else: not in the database, not in bundles, not in logs.
type signingKeys struct{ folder string }

// openSigningKeys finds the folder under the data folder. It is made with the first key.
func openSigningKeys(cfg config) (signingKeys, error) {
	root := cfg.dataDir
	if root == "" {
		var err error
		if root, err = localpg.DefaultRoot("statorbook"); err != nil {
			return signingKeys{}, err
		}
	}
	return signingKeys{filepath.Join(root, "signing")}, nil
}

func (k signingKeys) file(institute string) string { return filepath.Join(k.folder, institute+".key") }

// make draws a key pair, has take store the public half, and keeps the private half if that went well.
// It is written beside its place first, so that no moment has a registered key without its file for
// longer than a rename.
func (k signingKeys) make(institute string, take func(verifier string) error) (verifier string, err error) {
	signer, verifier, err := bundle.NewSigningKey(rand.Reader, institute)
	if err != nil {
		return "", err
	}
	if err := os.MkdirAll(k.folder, 0o700); err != nil {
		return "", err
	}
	fresh := k.file(institute) + ".new"
	if err := os.WriteFile(fresh, []byte(signer+"\n"), 0o600); err != nil {
		return "", err
	}
	if err := take(verifier); err != nil {
		return "", errors.Join(err, os.Remove(fresh))
	}
	return verifier, os.Rename(fresh, k.file(institute))
}

// sign makes the signed note of a statement with the key of its institute. The file is read each time,
// so that a rotated key counts at once.
func (k signingKeys) sign(s bundle.Statement) ([]byte, error) {
	signer, err := k.signer(s.Institute)
	if err != nil {
		return nil, err
	}
	return bundle.SignStatement(signer, s)
}

// signer gives the private half of an institute's key.
func (k signingKeys) signer(institute string) (string, error) {
	text, err := os.ReadFile(k.file(institute))
	if errors.Is(err, fs.ErrNotExist) {
		return "", errs.New(errs.KindUnavailable, fmt.Sprintf("This server does not hold the signing key of %s, so nothing of it can be published or withdrawn here.", institute))
	}
	if err != nil {
		return "", err
	}
	return strings.TrimSpace(string(text)), nil
}
