package postgres

import (
	"context"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"statorbook/internal/catalog"
	"statorbook/internal/errs"
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
