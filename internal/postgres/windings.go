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
	Findings  []byte
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

const windingByRef = `
	SELECT w.id::text, w.slug, r.revision, r.state, coalesce(r.reason, ''), r.imported, r.demo, coalesce(i.slug, ''),
	       coalesce(a.pseudonym, ''), coalesce(v.pseudonym, ''), w.created_at, w.modified_at, r.body, w.times_seen, r.findings
	FROM winding w JOIN winding_revision r ON r.winding_id = w.id AND r.revision = w.revision
	LEFT JOIN institute i ON i.id = w.institute_id
	LEFT JOIN person a ON a.id = r.author_person_id LEFT JOIN person v ON v.id = r.vetter_person_id
	WHERE w.id = $1::uuid OR w.slug = $2`

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
	w.Findings, err = readFindings(r.Findings)
	return w, err
}

// Windings lists published winding records by slug.
func (s *Store) Windings(ctx context.Context, filter catalog.WindingFilter, page catalog.PageRequest) (catalog.Page[catalog.Winding], error) {
	if filter.FamilyID != "" && !jsonin.IsUUID(filter.FamilyID) {
		return catalog.Page[catalog.Winding]{}, errs.New(errs.KindNotFound, "There is no stator family with this id.")
	}
	size := pageSize(page)
	var found []catalog.Winding
	err := s.read(ctx, func(ctx context.Context, conn *pgxpool.Conn) error {
		rows, err := conn.Query(ctx, windingList, page.After, size+1, nullText(filter.FamilyID), filter.Poles)
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

const windingList = `
	SELECT w.id::text, w.slug, r.revision, r.state, coalesce(r.reason, ''), r.imported, r.demo, coalesce(i.slug, ''),
	       coalesce(a.pseudonym, ''), coalesce(v.pseudonym, ''), w.created_at, w.modified_at, r.body, w.times_seen, r.findings
	FROM winding w JOIN winding_revision r ON r.winding_id = w.id AND r.revision = w.revision
	LEFT JOIN institute i ON i.id = w.institute_id
	LEFT JOIN person a ON a.id = r.author_person_id LEFT JOIN person v ON v.id = r.vetter_person_id
	WHERE w.state = 'published' AND ($1 = '' OR w.slug > $1)
	  AND ($3::uuid IS NULL OR w.family_id = $3) AND ($4 = 0 OR w.poles = $4)
	ORDER BY w.slug LIMIT $2`
