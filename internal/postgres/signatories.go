package postgres

import (
	"context"
	"encoding/json"
	"strings"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"statorbook/internal/bundle"
	"statorbook/internal/catalog"
	"statorbook/internal/errs"
)

// change is act for what answers nobody over HTTP.
func (s *Store) change(ctx context.Context, a catalog.Act, f func(context.Context, *acting) error) error {
	_, err := s.act(ctx, a, func(ctx context.Context, t *acting) (catalog.Reply, error) { return catalog.Reply{}, f(ctx, t) })
	return err
}

// noteAbout leaves the audit row of an act on something that is no record.
func (t *acting) noteAbout(ctx context.Context, action, kind, id string, detail map[string]any) error {
	encoded, err := json.Marshal(detail)
	if err != nil {
		return err
	}
	_, err = t.Exec(ctx, `
		INSERT INTO audit (institute_id, person_id, key_id, request_id, action, record_kind, record_id, detail)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8)`,
		nullText(t.institute), nullText(t.person), nullText(t.KeyID), nullText(t.RequestID), action, kind, id, string(encoded))
	return err
}

// AddSigningKey registers the key of an institute of this server that has none in use.
func (s *Store) AddSigningKey(ctx context.Context, act catalog.Act, institute, verifier string) error {
	return s.change(ctx, act, func(ctx context.Context, t *acting) error {
		id, err := ownInstitute(ctx, t, institute)
		if err != nil {
			return err
		}
		return addSigningKey(ctx, t, id, institute, verifier, "signing_key_add")
	})
}

// RotateSigningKey retires the key in use of an institute of this server, if it has one, and puts a new
// one in its place. What the old one signed stays proved by it.
func (s *Store) RotateSigningKey(ctx context.Context, act catalog.Act, institute, verifier string) error {
	return s.change(ctx, act, func(ctx context.Context, t *acting) error {
		id, err := ownInstitute(ctx, t, institute)
		if err != nil {
			return err
		}
		if _, err := retireSigningKey(ctx, t, id); err != nil {
			return err
		}
		return addSigningKey(ctx, t, id, institute, verifier, "signing_key_add")
	})
}

// RetireSigningKey takes the key of an institute out of use, so that another may be put in its place or
// pinned. What it signed stays proved by it.
func (s *Store) RetireSigningKey(ctx context.Context, act catalog.Act, institute string) (string, error) {
	var verifier string
	err := s.change(ctx, act, func(ctx context.Context, t *acting) error {
		i, err := signatory(ctx, t, institute)
		if err != nil {
			return err
		}
		verifier, err = retireSigningKey(ctx, t, i.ID)
		if err == nil && verifier == "" {
			err = errs.New(errs.KindConflict, "The institute "+institute+" has no signing key in use.")
		}
		return err
	})
	return verifier, err
}

// PinSigningKey accepts the signing key of a foreign institute for a person with the right to do so. From
// then on what it signed is proved here. A second key is refused until the first is retired.
func (s *Store) PinSigningKey(ctx context.Context, act catalog.Act, i catalog.Institute, verifier string, render func(catalog.Signatory) (catalog.Reply, error)) (catalog.Reply, error) {
	return s.act(ctx, act, func(ctx context.Context, t *acting) (catalog.Reply, error) {
		if err := catalog.Permit(act.Actor, catalog.ActAcceptKey, catalog.Object{}); err != nil {
			return catalog.Reply{}, err
		}
		made, err := t.pin(ctx, i, verifier)
		if err != nil {
			return catalog.Reply{}, err
		}
		return render(made)
	})
}

// AcceptSigningKey is PinSigningKey for the operator at the command line, who needs no key.
func (s *Store) AcceptSigningKey(ctx context.Context, act catalog.Act, i catalog.Institute, verifier string) error {
	return s.change(ctx, act, func(ctx context.Context, t *acting) error {
		_, err := t.pin(ctx, i, verifier)
		return err
	})
}

// pin stores the key of a foreign institute, and the institute if it is new here.
func (t *acting) pin(ctx context.Context, i catalog.Institute, verifier string) (catalog.Signatory, error) {
	held, err := signatory(ctx, t, i.Slug)
	switch {
	case errs.KindOf(err) == errs.KindNotFound:
		if held.ID, err = insertInstitute(ctx, t, i, false); err != nil {
			return catalog.Signatory{}, err
		}
	case err != nil:
		return catalog.Signatory{}, err
	case held.Own:
		return catalog.Signatory{}, errs.New(errs.KindConflict, "The institute "+i.Slug+" is one of this server: its keys are made here, not pinned.")
	}
	if err := addSigningKey(ctx, t, held.ID, i.Slug, verifier, "signing_key_pin"); err != nil {
		return catalog.Signatory{}, err
	}
	return signatory(ctx, t, i.Slug)
}

// addSigningKey stores a verifier key of an institute that has none in use.
func addSigningKey(ctx context.Context, t *acting, institute, slug, verifier, action string) error {
	if strings.HasPrefix(verifier, "PRIVATE+KEY+") {
		return badVerifier("This is the secret half of a key. It has left its owner and must not be used any more: make a new key, and send the public half.")
	}
	if _, err := bundle.NewKeys(verifier); err != nil {
		return badVerifier("The verifier key is malformed. Send it as its institute published it: NAME+HASH+KEY.")
	}
	id, named, err := bundle.KeyIDOf(verifier)
	if err != nil {
		return err
	}
	if named != slug {
		return badVerifier("This key is of the institute " + named + ", not of " + slug + ".")
	}
	// A second one that signs at the same time meets the index signing_key_in_use.
	var inUse, known string
	err = t.QueryRow(ctx, `
		SELECT coalesce((SELECT verifier FROM signing_key WHERE institute_id = $1 AND retired_at IS NULL), ''),
		       coalesce((SELECT verifier FROM signing_key WHERE verifier = $2), '')`, institute, verifier).Scan(&inUse, &known)
	switch {
	case err != nil:
		return err
	case inUse == verifier:
		return errs.New(errs.KindConflict, "This key is in use already.")
	case known != "":
		return errs.New(errs.KindConflict, "This key was retired; a retired key is not taken into use again.")
	case inUse != "":
		return errs.New(errs.KindConflict, "The institute "+slug+" has another key in use, "+keyName(inUse)+": it must be retired first.")
	}
	_, err = t.Exec(ctx, `INSERT INTO signing_key (institute_id, verifier, accepted_by) VALUES ($1, $2, $3)`, institute, verifier, nullText(t.person))
	if hasState(err, uniqueViolation) {
		return errs.New(errs.KindConflict, "The institute "+slug+" has just got another key.")
	}
	if err != nil {
		return err
	}
	return t.noteAbout(ctx, action, "signing_key", id, map[string]any{"institute": slug})
}

func badVerifier(detail string) error {
	return errs.New(errs.KindImpossible, detail, errs.Field{Pointer: "/verifier", Code: bundle.CodeSigningKey, Detail: detail})
}

// keyName gives the id of a stored verifier key.
func keyName(verifier string) string {
	id, _, err := bundle.KeyIDOf(verifier)
	if err != nil {
		return "malformed"
	}
	return id
}

// retireSigningKey takes the key in use out of use and gives it, "" if there was none.
func retireSigningKey(ctx context.Context, t *acting, institute string) (string, error) {
	var verifier string
	err := t.QueryRow(ctx, `UPDATE signing_key SET retired_at = now() WHERE institute_id = $1 AND retired_at IS NULL RETURNING verifier`, institute).Scan(&verifier)
	if err := noRow(err, "", ""); errs.KindOf(err) == errs.KindNotFound {
		return "", nil
	}
	if err != nil {
		return "", err
	}
	return verifier, t.noteAbout(ctx, "signing_key_retire", "signing_key", keyName(verifier), map[string]any{})
}

// signatoryColumns are the columns of an institute i with its keys, as scanSignatory takes them.
const signatoryColumns = `i.id::text, i.slug, i.title, i.demo, i.own, coalesce((
	SELECT jsonb_agg(jsonb_build_object('Verifier', k.verifier, 'CreatedAt', k.created_at, 'RetiredAt', k.retired_at) ORDER BY k.retired_at DESC NULLS FIRST, k.id DESC)
	FROM signing_key k WHERE k.institute_id = i.id), '[]')`

// rowQuerier is a transaction or a connection.
type rowQuerier interface {
	QueryRow(ctx context.Context, sql string, args ...any) pgx.Row
}

func scanSignatory(row pgx.Row) (catalog.Signatory, error) {
	var i catalog.Signatory
	var keys []byte
	if err := row.Scan(&i.ID, &i.Slug, &i.Title, &i.Demo, &i.Own, &keys); err != nil {
		return i, err
	}
	err := json.Unmarshal(keys, &i.Keys) // null leaves RetiredAt zero
	for n := range i.Keys {
		k := &i.Keys[n]
		k.CreatedAt, k.RetiredAt = k.CreatedAt.UTC(), k.RetiredAt.UTC()
	}
	return i, err
}

func signatory(ctx context.Context, q rowQuerier, slug string) (catalog.Signatory, error) {
	i, err := scanSignatory(q.QueryRow(ctx, `SELECT `+signatoryColumns+` FROM institute i WHERE i.slug = $1`, slug))
	return i, noRow(err, "There is no institute "+slug+".", "an institute could not be read")
}

// Signatory gives an institute with its signing keys, by slug.
func (s *Store) Signatory(ctx context.Context, slug string) (catalog.Signatory, error) {
	var i catalog.Signatory
	err := s.read(ctx, func(ctx context.Context, conn *pgxpool.Conn) error {
		var err error
		i, err = signatory(ctx, conn, slug)
		return err
	})
	return i, err
}

// Signatories gives a page of institutes in the order of their slugs, with their signing keys.
func (s *Store) Signatories(ctx context.Context, page catalog.PageRequest) (catalog.Page[catalog.Signatory], error) {
	size := page.Size
	if size <= 0 {
		size = catalog.DefaultPageSize
	}
	var out catalog.Page[catalog.Signatory]
	err := s.read(ctx, func(ctx context.Context, conn *pgxpool.Conn) error {
		rows, err := conn.Query(ctx, `SELECT `+signatoryColumns+` FROM institute i WHERE i.slug > $1 ORDER BY i.slug LIMIT $2`, page.After, size+1)
		if err != nil {
			return err
		}
		out.Items, err = pgx.CollectRows(rows, func(row pgx.CollectableRow) (catalog.Signatory, error) { return scanSignatory(row) })
		return err
	})
	if len(out.Items) > size {
		out.Items = out.Items[:size]
		out.Next = out.Items[size-1].Slug
	}
	return out, wrap(err, "the institutes could not be listed")
}

// Verifiers gives every signing key that proves something here, retired ones too.
func (s *Store) Verifiers(ctx context.Context) ([]string, error) {
	var list []string
	err := s.read(ctx, func(ctx context.Context, conn *pgxpool.Conn) error {
		rows, err := conn.Query(ctx, `SELECT verifier FROM signing_key ORDER BY id`)
		if err != nil {
			return err
		}
		list, err = pgx.CollectRows(rows, pgx.RowTo[string])
		return err
	})
	return list, wrap(err, "the signing keys could not be read")
}
