package postgres

import (
	"context"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"statorbook/internal/catalog"
	"statorbook/internal/errs"
	"statorbook/internal/jsonin"
)

// Authorship names an institute of this server with two of its persons, by pseudonym: one wrote,
// another vetted. Import credits them with the demo records of the seeds.
type Authorship struct {
	Institute      catalog.Institute // Slug and Title
	Author, Vetter string
}

// ensureAuthors finds or makes the institute and the persons of a.
func ensureAuthors(ctx context.Context, tx pgx.Tx, a Authorship) (authors, error) {
	if a.Author == a.Vetter {
		return authors{}, errs.New(errs.KindImpossible, "Nobody vets his own work: author and vetter must be two persons.")
	}
	var id string
	// DO UPDATE, not DO NOTHING: it returns the row that is there, locked.
	err := tx.QueryRow(ctx, `
		INSERT INTO institute (slug, title, demo) VALUES ($1, $2, $3)
		ON CONFLICT (slug) DO UPDATE SET title = institute.title RETURNING id::text`,
		a.Institute.Slug, a.Institute.Title, a.Institute.Demo).Scan(&id)
	if err != nil {
		return authors{}, err
	}
	author, err := ensurePerson(ctx, tx, id, a.Author)
	if err != nil {
		return authors{}, err
	}
	vetter, err := ensurePerson(ctx, tx, id, a.Vetter)
	if err != nil {
		return authors{}, err
	}
	return authors{&id, &author, &vetter}, nil
}

// ensurePerson finds or makes a person. Two that make the same one at once meet on the institute's
// row, which ensureAuthors has locked.
func ensurePerson(ctx context.Context, tx pgx.Tx, institute, pseudonym string) (string, error) {
	var id string
	err := tx.QueryRow(ctx, `
		WITH made AS (
			INSERT INTO person (institute_id, pseudonym) VALUES ($1, $2) ON CONFLICT (institute_id, pseudonym) DO NOTHING RETURNING id::text)
		SELECT id FROM made UNION ALL SELECT id::text FROM person WHERE institute_id = $1 AND pseudonym = $2 LIMIT 1`,
		institute, pseudonym).Scan(&id)
	return id, err
}

// Institute gives an institute by slug.
func (s *Store) Institute(ctx context.Context, slug string) (catalog.Institute, error) {
	var i catalog.Institute
	err := s.read(ctx, func(ctx context.Context, conn *pgxpool.Conn) error {
		return conn.QueryRow(ctx, `SELECT id::text, slug, title, demo FROM institute WHERE slug = $1`, slug).Scan(&i.ID, &i.Slug, &i.Title, &i.Demo)
	})
	return i, noRow(err, "There is no institute with this id.", "an institute could not be read")
}

// AddInstitute makes an institute of this server with the public half of its first signing key.
func (s *Store) AddInstitute(ctx context.Context, act catalog.Act, i catalog.Institute, verifier string) (catalog.Signatory, error) {
	var made catalog.Signatory
	err := s.change(ctx, act, func(ctx context.Context, t *acting) error {
		id, err := insertInstitute(ctx, t, i, true)
		if err != nil {
			return err
		}
		if err := addSigningKey(ctx, t, id, i.Slug, verifier, "signing_key_add"); err != nil {
			return err
		}
		made, err = signatory(ctx, t, i.Slug)
		return err
	})
	return made, err
}

// insertInstitute adds an institute that is not there yet.
func insertInstitute(ctx context.Context, t *acting, i catalog.Institute, own bool) (string, error) {
	if !jsonin.IsSlug(i.Slug) {
		return "", errs.New(errs.KindImpossible, "The short name of an institute is a slug: letters a-z, digits and single hyphens, 3 to 100 characters.")
	}
	var id string
	err := t.QueryRow(ctx, `
		INSERT INTO institute (slug, title, demo, own) VALUES ($1, $2, $3, $4)
		ON CONFLICT (slug) DO NOTHING RETURNING id::text`, i.Slug, i.Title, i.Demo, own).Scan(&id)
	if err != nil {
		if err := noRow(err, "", ""); errs.KindOf(err) != errs.KindNotFound {
			return "", err
		}
		return "", errs.New(errs.KindConflict, "There is an institute "+i.Slug+" already.")
	}
	return id, t.noteAbout(ctx, "institute_add", "institute", i.Slug, map[string]any{"own": own, "demo": i.Demo})
}

// AddPerson makes a person of an institute of this server. Only the pseudonym is stored.
func (s *Store) AddPerson(ctx context.Context, act catalog.Act, institute, pseudonym string) error {
	if !jsonin.IsSlug(pseudonym) {
		return errs.New(errs.KindImpossible, "A person is named by a pseudonym, a slug: letters a-z, digits and single hyphens, 3 to 100 characters.")
	}
	return s.change(ctx, act, func(ctx context.Context, t *acting) error {
		id, err := ownInstitute(ctx, t, institute)
		if err != nil {
			return err
		}
		tag, err := t.Exec(ctx, `INSERT INTO person (institute_id, pseudonym) VALUES ($1, $2) ON CONFLICT DO NOTHING`, id, pseudonym)
		if err == nil && tag.RowsAffected() == 0 {
			err = errs.New(errs.KindConflict, "The institute "+institute+" has a person "+pseudonym+" already.")
		}
		if err != nil {
			return err
		}
		return t.noteAbout(ctx, "person_add", "person", pseudonym, map[string]any{"institute": institute})
	})
}

// People lists the pseudonyms of an institute.
func (s *Store) People(ctx context.Context, institute string) ([]string, error) {
	var list []string
	err := s.read(ctx, func(ctx context.Context, conn *pgxpool.Conn) error {
		rows, err := conn.Query(ctx, `SELECT p.pseudonym FROM person p JOIN institute i ON i.id = p.institute_id WHERE i.slug = $1 ORDER BY p.pseudonym`, institute)
		if err != nil {
			return err
		}
		list, err = pgx.CollectRows(rows, pgx.RowTo[string])
		return err
	})
	return list, wrap(err, "the persons could not be listed")
}

// ownInstitute gives the id of an institute of this server.
func ownInstitute(ctx context.Context, t *acting, slug string) (string, error) {
	i, err := signatory(ctx, t, slug)
	if err == nil && !i.Own {
		err = errs.New(errs.KindConflict, "The institute "+slug+" belongs to another server; here only its signing key is known.")
	}
	return i.ID, err
}
