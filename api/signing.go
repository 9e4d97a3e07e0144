package main

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"strings"

	"statorbook/internal/bundle"
	"statorbook/internal/catalog"
	"statorbook/internal/errs"
	"statorbook/internal/localpg"
	"statorbook/internal/postgres"
)

// signingKeys is the folder with the private halves of the signing keys, one file an institute. They
// are nowhere else: not in the database, not in bundles, not in logs.
type signingKeys struct {
	folder string
	none   error // why there is no folder
}

// openSigningKeys finds the folder under the data folder; it is made with the first key. A server
// without a data folder serves all the same, but nothing can be published on it.
func openSigningKeys(cfg config) signingKeys {
	root := cfg.dataDir
	if root == "" {
		var err error
		if root, err = localpg.DefaultRoot("statorbook"); err != nil {
			return signingKeys{none: err}
		}
	}
	return signingKeys{folder: filepath.Join(root, "signing")}
}

func (k signingKeys) file(institute string) string { return filepath.Join(k.folder, institute+".key") }

// fresh is where a private half lies until its public half is registered.
func (k signingKeys) fresh(institute string) string { return k.file(institute) + ".new" }

// make draws a key pair, has take register the public half, and puts the private half in its place if
// that went well. It is on the disk before it is registered: settle ends what was interrupted between.
func (k signingKeys) make(institute string, take func(verifier string) error) (verifier string, err error) {
	if k.none != nil {
		return "", k.none
	}
	signer, verifier, err := bundle.NewSigningKey(rand.Reader, institute)
	if err != nil {
		return "", err
	}
	// Others may enter the data folder (the private Postgres runs as another user), but not this one.
	if err := os.MkdirAll(filepath.Dir(k.folder), 0o755); err != nil {
		return "", err
	}
	if err := os.Mkdir(k.folder, 0o700); err != nil && !errors.Is(err, fs.ErrExist) {
		return "", err
	}
	if err := writeSecret(k.fresh(institute), signer+"\n"); err != nil {
		return "", err
	}
	if err := take(verifier); err != nil {
		return "", errors.Join(err, os.Remove(k.fresh(institute)))
	}
	return verifier, os.Rename(k.fresh(institute), k.file(institute))
}

// writeSecret writes a new file that only its owner can read, down to the disk. One that is there is of
// a run that is still going on or was interrupted: nobody writes over a key.
func writeSecret(name, text string) error {
	f, err := os.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if errors.Is(err, fs.ErrExist) {
		return fmt.Errorf("%s is there already: another command is making a key, or was interrupted; if none is running, move the file away and try again", name)
	}
	if err != nil {
		return err
	}
	_, err = f.WriteString(text)
	return errors.Join(err, f.Sync(), f.Close())
}

// adopt registers the key whose private half is here already, as after a new start with an empty
// database, or makes one. A key that was retired does not come back.
func (k signingKeys) adopt(institute string, take func(verifier string) error) (verifier string, err error) {
	signer, err := k.signer(institute)
	if err != nil {
		return k.make(institute, take)
	}
	if verifier, err = bundle.VerifierOf(signer); err == nil {
		err = take(verifier)
	}
	return verifier, err
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
	if k.none != nil {
		return "", errs.Wrap(errs.KindUnavailable, noSigningKey(institute), k.none)
	}
	return readSecret(k.file(institute), institute)
}

// readSecret reads a file with a private half, unless others can read it too.
func readSecret(name, institute string) (string, error) {
	info, err := os.Stat(name)
	if err != nil {
		return "", errs.Wrap(errs.KindUnavailable, noSigningKey(institute), err)
	}
	if info.Mode().Perm()&0o077 != 0 {
		return "", errs.Wrap(errs.KindUnavailable, "The signing key of "+institute+" lies open to other users of the server, so it is not used. "+
			"The operator must close the file (chmod 600), and make a new key if somebody may have read it.", fmt.Errorf("%s has mode %s", name, info.Mode()))
	}
	text, err := os.ReadFile(name)
	if err != nil {
		return "", errs.Wrap(errs.KindUnavailable, noSigningKey(institute), err)
	}
	return strings.TrimSpace(string(text)), nil
}

func noSigningKey(institute string) string {
	return "This server does not hold the signing key of " + institute + ", so nothing of it can be published or withdrawn here. " +
		"The operator must put the file back, or make a new key (institute rotate-key)."
}

// settle looks at the keys of all institutes of this server: it ends what was interrupted between
// registering a key and putting its file in place, and says for whom nothing can be published.
func (k signingKeys) settle(ctx context.Context, store *postgres.Store, log *slog.Logger) error {
	for after := ""; ; {
		page, err := store.Signatories(ctx, catalog.PageRequest{After: after, Size: catalog.MaxPageSize})
		if err != nil {
			return err
		}
		for _, i := range page.Items {
			if registered, ok := i.KeyInUse(); ok && i.Own {
				if err := k.check(i.Slug, registered.Verifier); err != nil {
					log.Warn("nothing can be published for an institute", "institute", i.Slug, "error", err)
				}
			}
		}
		if after = page.Next; after == "" {
			return nil
		}
	}
}

// check sees that the private half of a registered key is here.
func (k signingKeys) check(institute, registered string) error {
	signer, err := k.signer(institute)
	if err == nil && belongs(signer, registered) {
		return nil
	}
	if waiting, freshErr := readSecret(k.fresh(institute), institute); k.none == nil && freshErr == nil && belongs(waiting, registered) {
		return os.Rename(k.fresh(institute), k.file(institute))
	}
	if err == nil {
		err = fmt.Errorf("%s holds another key than the registered one", k.file(institute))
	}
	return err
}

func belongs(signer, verifier string) bool {
	v, err := bundle.VerifierOf(signer)
	return err == nil && v == verifier
}

// seal gives the id of the key of an institute and what ends a bundle with its signature.
func (k signingKeys) seal(institute string) (id string, end func(*bundle.Writer) error, err error) {
	signer, err := k.signer(institute)
	if err == nil {
		id, _, err = bundle.KeyIDOf(signer)
	}
	return id, func(w *bundle.Writer) error { return w.CloseSealed(signer) }, err
}
