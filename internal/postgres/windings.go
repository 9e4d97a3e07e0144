package postgres

import (
	"context"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"statorbook/internal/bundle"
	"statorbook/internal/catalog"
	"statorbook/internal/errs"
	"statorbook/internal/jsonin"
)

// windingRow adds what only windings have.
type windingRow struct {
	provenanceRow
	TimesSeen int
}

// Winding gives a winding record by UUID or slug, a withdrawn one too.
func (s *Store) Winding(ctx context.Context, ref string) (catalog.Winding, error) {
	id, slug := splitRef(ref)
	var found catalog.Winding
	err := s.read(ctx, func(ctx context.Context, conn *pgxpool.Conn) error {
		rows, err := conn.Query(ctx, windingByRef, id, slug)
		if err != nil {
			return err
		}
		found, err = pgx.CollectExactlyOneRow(rows, scanWinding)
		return err
	})
	return found, noRow(err, "There is no winding record with this id.", "a winding record could not be read")
}

// windingRows selects rows of windingRow: the current revisions of winding records h.
const windingRows = `
	SELECT h.id::text, h.slug, ` + provenanceColumns + `, h.times_seen
	FROM winding h JOIN winding_revision r ON r.winding_id = h.id AND r.revision = h.revision` + windingJoins

const windingByRef = windingRows + `WHERE h.id = $1::uuid OR h.slug = $2`

// scanWinding turns a row with the columns of windingRow into a winding.
func scanWinding(row pgx.CollectableRow) (catalog.Winding, error) {
	r, err := pgx.RowToStructByPos[windingRow](row)
	if err != nil {
		return catalog.Winding{}, err
	}
	return r.winding()
}

// winding joins the body with what the head and the revision know better.
func (r *windingRow) winding() (catalog.Winding, error) {
	var body bundle.Winding
	if err := jsonin.Decode(r.Body, &body, jsonin.Line); err != nil {
		return catalog.Winding{}, errs.Wrap(errs.KindInternal, "a stored winding cannot be read: "+r.ID, err)
	}
	w := body.ToDomain()
	w.ID, w.Slug, w.TimesSeen = r.ID, r.Slug, r.TimesSeen
	w.Provenance = r.provenance(w.Provenance)
	var err error
	if w.Findings, err = readFindings(r.Findings); err != nil {
		return w, err
	}
	w.Answers, err = readAnswers(r.Answers)
	return w, err
}

// Windings lists published winding records by slug.
func (s *Store) Windings(ctx context.Context, filter catalog.WindingFilter, page catalog.PageRequest) (catalog.Page[catalog.Winding], error) {
	size := pageSize(page)
	var id, slug *string
	if filter.Family != "" {
		id, slug = splitRef(filter.Family)
	}
	var found []catalog.Winding
	err := s.read(ctx, func(ctx context.Context, conn *pgxpool.Conn) error {
		rows, err := conn.Query(ctx, windingList, page.After, size+1, id, slug, filter.Poles, nullText(string(filter.State)), nullText(filter.Institute))
		if err != nil {
			return err
		}
		found, err = pgx.CollectRows(rows, scanWinding)
		return err
	})
	if err != nil {
		return catalog.Page[catalog.Winding]{}, wrap(err, "the winding records could not be listed")
	}
	return cut(found, size, func(w catalog.Winding) string { return w.Slug }), nil
}

const windingList = windingRows + `
	WHERE h.state = coalesce($6, 'published') AND ($1 = '' OR h.slug > $1)
	  AND ($3::uuid IS NULL AND $4::text IS NULL OR h.family_id = coalesce($3, (SELECT f.id FROM family f WHERE f.slug = $4)))
	  AND ($5 = 0 OR h.poles = $5) AND ($7::text IS NULL OR i.slug = $7)
	ORDER BY h.slug LIMIT $2`
