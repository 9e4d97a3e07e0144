package postgres

import (
	"context"

	"github.com/jackc/pgx/v5"

	"statorbook/internal/catalog"
)

// authors says whose work the demo lines of an import are; the zero value is nobody's, which is
// what an import without a proof gets.
type authors struct {
	institute, author, vetter *string // UUIDs
}

// applyFamilies decides on the staged families and stores the new ones with their cores.
func applyFamilies(ctx context.Context, tx pgx.Tx, by authors) error {
	_, err := tx.Exec(ctx, `
		CREATE TEMPORARY TABLE import_core ON COMMIT DROP AS
		SELECT r.line, r.id::uuid AS family_id, r.revision, (c.core ->> 'id')::uuid AS core_id,
		       measured(c.core -> 'stack_length_mm') AS stack_length_mm
		FROM import_row r CROSS JOIN LATERAL jsonb_array_elements(r.body -> 'cores') c (core)
		WHERE r.kind = 'family' AND jsonb_typeof(r.body -> 'cores') = 'array'`)
	if err != nil {
		return err
	}
	if _, err := tx.Exec(ctx, `ANALYZE import_core`); err != nil {
		return err
	}
	_, err = tx.Exec(ctx, `
		WITH r AS (
			SELECT line, id::uuid AS id, revision, slug, state, demo, content_hash,
			       row_number() OVER same AS nth, first_value(content_hash) OVER same AS first_hash,
			       first_value(id::uuid) OVER (PARTITION BY slug ORDER BY line) AS slug_owner,
			       act, signer, first_value(signer) OVER (PARTITION BY id ORDER BY signer IS NULL, line) AS holder
			FROM import_row WHERE kind = 'family' WINDOW same AS (PARTITION BY id, revision ORDER BY line)),
		taken AS (
			SELECT DISTINCT i.line FROM import_core i JOIN core c ON c.id = i.core_id WHERE c.family_id <> i.family_id
			UNION SELECT i.line FROM import_core i JOIN import_core o ON o.core_id = i.core_id AND o.family_id <> i.family_id AND o.line < i.line)
		INSERT INTO import_verdict (line, kind, outcome, code, change)
		SELECT r.line, 'family', split_part(j.verdict, ' ', 1), nullif(split_part(j.verdict, ' ', 2), ''),
		       coalesce(r.act, CASE WHEN r.state = 'withdrawn' THEN 'withdrawal' WHEN h.id IS NULL THEN 'publication' ELSE 'supersession' END)
		FROM r LEFT JOIN institute p ON p.slug = r.signer LEFT JOIN family h ON h.id = r.id
		       LEFT JOIN family_revision v ON v.family_id = r.id AND v.revision = r.revision
		       LEFT JOIN family s ON s.slug = r.slug AND s.id <> r.id AND h.id IS NULL
		       LEFT JOIN taken ON taken.line = r.line
		       CROSS JOIN LATERAL (SELECT CASE
		           WHEN r.content_hash <> r.first_hash OR v.content_hash <> r.content_hash THEN 'conflicting other_content'
		           WHEN v.state <> r.state THEN 'conflicting other_state'
		           WHEN r.nth > 1 OR v.revision IS NOT NULL THEN 'same'
		           WHEN h.revision > r.revision THEN 'conflicting older_revision'
		           WHEN p.own THEN 'refused own_record'
		           WHEN h.institute_id IS NOT NULL AND h.institute_id IS DISTINCT FROM coalesce(p.id, CASE WHEN r.demo THEN $1::uuid END)
		             OR r.holder IS DISTINCT FROM r.signer THEN 'conflicting held_here'
		           WHEN s.id IS NOT NULL OR (h.id IS NULL AND r.slug_owner <> r.id) THEN 'conflicting slug_taken'
		           WHEN taken.line IS NOT NULL THEN 'conflicting core_taken'
		           ELSE 'new' END AS verdict) j`, by.institute)
	if err != nil {
		return err
	}
	return storeFamilies(ctx, tx, by)
}

// storeFamilies writes heads, revisions and cores of the families found new.
func storeFamilies(ctx context.Context, tx pgx.Tx, by authors) error {
	if err := ensureProvers(ctx, tx, catalog.KindFamily); err != nil {
		return err
	}
	_, err := tx.Exec(ctx, `
		INSERT INTO family (id, slug, revision, state, institute_id)
		SELECT DISTINCT ON (r.id) r.id::uuid, coalesce(h.slug, r.slug), r.revision, r.state, coalesce(p.id, CASE WHEN r.demo THEN $1::uuid END)
		FROM import_row r JOIN import_verdict v USING (line) LEFT JOIN family h ON h.id = r.id::uuid LEFT JOIN institute p ON p.slug = r.signer
		WHERE v.outcome = 'new' AND r.kind = 'family' ORDER BY r.id, r.revision DESC
		ON CONFLICT (id) DO UPDATE SET revision = excluded.revision, state = excluded.state, institute_id = excluded.institute_id, modified_at = now()`,
		by.institute)
	if err != nil {
		return err
	}
	_, err = tx.Exec(ctx, `
		INSERT INTO family_revision (family_id, revision, state, change, reason, imported, demo, author_person_id, vetter_person_id, content_hash, body, findings, reason_code)
		SELECT r.id::uuid, r.revision, r.state, v.change, r.reason, p.id IS NOT NULL OR NOT (r.demo AND $1::uuid IS NOT NULL), r.demo,
		       CASE WHEN p.id IS NOT NULL THEN a.id WHEN r.demo THEN $1::uuid END, CASE WHEN p.id IS NOT NULL THEN b.id WHEN r.demo THEN $2::uuid END,
		       r.content_hash, r.body, r.findings, r.reason_code
		FROM import_row r JOIN import_verdict v USING (line) LEFT JOIN institute p ON p.slug = r.signer
		     LEFT JOIN person a ON a.institute_id = p.id AND a.pseudonym = r.author LEFT JOIN person b ON b.institute_id = p.id AND b.pseudonym = r.vetter WHERE v.outcome = 'new' AND r.kind = 'family' ORDER BY r.line`,
		by.author, by.vetter)
	if err != nil {
		return err
	}
	_, err = tx.Exec(ctx, `
		INSERT INTO core (id, family_id) SELECT DISTINCT i.core_id, i.family_id
		FROM import_core i JOIN import_verdict v USING (line) WHERE v.outcome = 'new' ON CONFLICT (id) DO NOTHING`)
	if err != nil {
		return err
	}
	_, err = tx.Exec(ctx, `
		INSERT INTO family_core (family_id, revision, core_id, stack_length_mm)
		SELECT i.family_id, i.revision, i.core_id, i.stack_length_mm
		FROM import_core i JOIN import_verdict v USING (line) WHERE v.outcome = 'new'`)
	return err
}

// applyCores decides on the staged lines that add one stack to a family. A stack that the family
// lists itself is not added again.
func applyCores(ctx context.Context, tx pgx.Tx) error {
	_, err := tx.Exec(ctx, `
		WITH r AS (
			SELECT line, id::uuid AS id, revision, family_id, content_hash, measured(body -> 'stack_length_mm') AS stack_length_mm,
			       row_number() OVER same AS nth, first_value(content_hash) OVER same AS first_hash
			FROM import_row WHERE kind = 'core' WINDOW same AS (PARTITION BY id, revision ORDER BY line))
		INSERT INTO import_verdict (line, kind, outcome, code, change)
		SELECT r.line, 'core', split_part(j.verdict, ' ', 1), nullif(split_part(j.verdict, ' ', 2), ''),
		       CASE WHEN newest.revision IS NULL THEN 'publication' ELSE 'supersession' END
		FROM r LEFT JOIN core c ON c.id = r.id LEFT JOIN family f ON f.id = r.family_id
		       LEFT JOIN added_core a ON a.core_id = r.id AND a.revision = r.revision
		       LEFT JOIN family_core l ON l.core_id = r.id AND l.family_id = f.id AND l.revision = f.revision
		       LEFT JOIN LATERAL (SELECT max(n.revision) AS revision FROM added_core n WHERE n.core_id = r.id) newest ON true
		       CROSS JOIN LATERAL (SELECT CASE
		           WHEN r.content_hash <> r.first_hash OR a.content_hash <> r.content_hash THEN 'conflicting other_content'
		           WHEN r.nth > 1 OR a.revision IS NOT NULL THEN 'same'
		           WHEN f.id IS NULL THEN 'refused unknown_family'
		           WHEN c.family_id <> r.family_id THEN 'conflicting core_taken'
		           WHEN l.core_id IS NOT NULL AND l.stack_length_mm IS NOT DISTINCT FROM r.stack_length_mm THEN 'same'
		           WHEN l.core_id IS NOT NULL THEN 'conflicting other_content'
		           WHEN newest.revision > r.revision THEN 'conflicting older_revision'
		           ELSE 'new' END AS verdict) j`)
	if err != nil {
		return err
	}
	_, err = tx.Exec(ctx, `
		INSERT INTO core (id, family_id) SELECT DISTINCT r.id::uuid, r.family_id
		FROM import_row r JOIN import_verdict v USING (line) WHERE v.outcome = 'new' AND r.kind = 'core' ON CONFLICT (id) DO NOTHING`)
	if err != nil {
		return err
	}
	// The statement raises the catalogue revision even if it inserts no row.
	var any bool
	err = tx.QueryRow(ctx, `SELECT EXISTS (SELECT FROM import_verdict WHERE kind = 'core' AND outcome = 'new')`).Scan(&any)
	if err != nil || !any {
		return err
	}
	_, err = tx.Exec(ctx, `
		INSERT INTO added_core (core_id, revision, family_id, content_hash, stack_length_mm)
		SELECT r.id::uuid, r.revision, r.family_id, r.content_hash, measured(r.body -> 'stack_length_mm')
		FROM import_row r JOIN import_verdict v USING (line) WHERE v.outcome = 'new' AND r.kind = 'core'`)
	return err
}

// applyWindings decides on the staged windings and stores the new ones. It runs after
// applyFamilies, so that a bundle may bring a family and its windings in any order.
func applyWindings(ctx context.Context, tx pgx.Tx, by authors) error {
	_, err := tx.Exec(ctx, `
		WITH r AS (
			SELECT line, id::uuid AS id, revision, slug, state, demo, family_id, core_id, content_hash,
			       row_number() OVER same AS nth, first_value(content_hash) OVER same AS first_hash,
			       first_value(id::uuid) OVER (PARTITION BY slug ORDER BY line) AS slug_owner,
			       act, signer, first_value(signer) OVER (PARTITION BY id ORDER BY signer IS NULL, line) AS holder
			FROM import_row WHERE kind = 'winding' WINDOW same AS (PARTITION BY id, revision ORDER BY line))
		INSERT INTO import_verdict (line, kind, outcome, code, change)
		SELECT r.line, 'winding', split_part(j.verdict, ' ', 1), nullif(split_part(j.verdict, ' ', 2), ''),
		       coalesce(r.act, CASE WHEN r.state = 'withdrawn' THEN 'withdrawal' WHEN h.id IS NULL THEN 'publication' ELSE 'supersession' END)
		FROM r LEFT JOIN institute p ON p.slug = r.signer LEFT JOIN winding h ON h.id = r.id
		       LEFT JOIN winding_revision v ON v.winding_id = r.id AND v.revision = r.revision
		       LEFT JOIN winding s ON s.slug = r.slug AND s.id <> r.id AND h.id IS NULL
		       LEFT JOIN core c ON c.id = r.core_id
		       LEFT JOIN family f ON f.id = r.family_id
		       CROSS JOIN LATERAL (SELECT CASE
		           WHEN r.content_hash <> r.first_hash OR v.content_hash <> r.content_hash THEN 'conflicting other_content'
		           WHEN v.state <> r.state THEN 'conflicting other_state'
		           WHEN r.nth > 1 OR v.revision IS NOT NULL THEN 'same'
		           WHEN h.revision > r.revision THEN 'conflicting older_revision'
		           WHEN p.own THEN 'refused own_record'
		           WHEN h.institute_id IS NOT NULL AND h.institute_id IS DISTINCT FROM coalesce(p.id, CASE WHEN r.demo THEN $1::uuid END)
		             OR r.holder IS DISTINCT FROM r.signer THEN 'conflicting held_here'
		           WHEN s.id IS NOT NULL OR (h.id IS NULL AND r.slug_owner <> r.id) THEN 'conflicting slug_taken'
		           WHEN r.family_id IS NOT NULL AND f.id IS NULL THEN 'refused unknown_family'
		           WHEN r.core_id IS NOT NULL AND c.id IS NULL THEN 'refused unknown_core'
		           WHEN c.family_id <> r.family_id THEN 'refused core_of_other_family'
		           ELSE 'new' END AS verdict) j`, by.institute)
	if err != nil {
		return err
	}
	return storeWindings(ctx, tx, by)
}

// storeWindings writes heads and revisions of the windings found new.
func storeWindings(ctx context.Context, tx pgx.Tx, by authors) error {
	if err := ensureProvers(ctx, tx, catalog.KindWinding); err != nil {
		return err
	}
	_, err := tx.Exec(ctx, `
		INSERT INTO winding (id, slug, revision, state, institute_id, family_id, core_id, poles, times_seen)
		SELECT DISTINCT ON (r.id) r.id::uuid, coalesce(h.slug, r.slug), r.revision, r.state, coalesce(p.id, CASE WHEN r.demo THEN $1::uuid END),
		       coalesce(r.family_id, c.family_id), r.core_id, r.poles, r.times_seen
		FROM import_row r JOIN import_verdict v USING (line) LEFT JOIN winding h ON h.id = r.id::uuid LEFT JOIN institute p ON p.slug = r.signer LEFT JOIN core c ON c.id = r.core_id
		WHERE v.outcome = 'new' AND r.kind = 'winding' ORDER BY r.id, r.revision DESC
		ON CONFLICT (id) DO UPDATE SET revision = excluded.revision, state = excluded.state, institute_id = excluded.institute_id,
			family_id = excluded.family_id, core_id = excluded.core_id, poles = excluded.poles,
			times_seen = greatest(winding.times_seen, excluded.times_seen), modified_at = now()`, by.institute)
	if err != nil {
		return err
	}
	_, err = tx.Exec(ctx, `
		INSERT INTO winding_revision (winding_id, revision, state, change, reason, imported, demo, author_person_id, vetter_person_id, content_hash, body, findings, reason_code)
		SELECT r.id::uuid, r.revision, r.state, v.change, r.reason, p.id IS NOT NULL OR NOT (r.demo AND $1::uuid IS NOT NULL), r.demo,
		       CASE WHEN p.id IS NOT NULL THEN a.id WHEN r.demo THEN $1::uuid END, CASE WHEN p.id IS NOT NULL THEN b.id WHEN r.demo THEN $2::uuid END,
		       r.content_hash, r.body, r.findings, r.reason_code
		FROM import_row r JOIN import_verdict v USING (line) LEFT JOIN institute p ON p.slug = r.signer
		     LEFT JOIN person a ON a.institute_id = p.id AND a.pseudonym = r.author LEFT JOIN person b ON b.institute_id = p.id AND b.pseudonym = r.vetter WHERE v.outcome = 'new' AND r.kind = 'winding' ORDER BY r.line`,
		by.author, by.vetter)
	return err
}
