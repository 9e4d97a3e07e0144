package postgres

import (
	"context"

	"github.com/jackc/pgx/v5"

	"statorbook/internal/catalog"
)

// adoptProofs takes in the proofs of revisions that are here already without one: the signed statement,
// whom it names, and the institute as the holder. The revision itself stays as it is. The proof must be
// of the current revision, of an institute elsewhere, and of nobody but the one that holds the record, if
// anybody does. Like a sighting it raises the catalogue revision and is no entry of the change feed.
func adoptProofs(ctx context.Context, tx pgx.Tx) error {
	_, err := tx.Exec(ctx, `CREATE TEMPORARY TABLE import_late (line integer, kind text, id uuid, institute_id uuid) ON COMMIT DROP`)
	if err != nil {
		return err
	}
	for _, kind := range catalog.Kinds() {
		for _, statement := range []map[catalog.Kind]string{lateFound, lateHeld} {
			if _, err := tx.Exec(ctx, statement[kind]); err != nil {
				return err
			}
		}
	}
	for _, statement := range []string{`
		INSERT INTO statement (record_kind, record_id, revision, note)
		SELECT r.kind, l.id, r.revision, r.note FROM import_late l JOIN import_row r USING (line) ORDER BY l.line`, `
		INSERT INTO person (institute_id, pseudonym)
		SELECT DISTINCT l.institute_id, x.pseudonym FROM import_late l JOIN import_row r USING (line)
		CROSS JOIN LATERAL (VALUES (r.author), (r.vetter)) x (pseudonym) ON CONFLICT (institute_id, pseudonym) DO NOTHING`, `
		INSERT INTO late_proof (record_kind, record_id, revision, author_person_id, vetter_person_id)
		SELECT r.kind, l.id, r.revision, a.id, v.id FROM import_late l JOIN import_row r USING (line)
		JOIN person a ON a.institute_id = l.institute_id AND a.pseudonym = r.author JOIN person v ON v.institute_id = l.institute_id AND v.pseudonym = r.vetter`} {
		if _, err := tx.Exec(ctx, statement); err != nil {
			return err
		}
	}
	return nil
}

var (
	// lateFound looks among the lines that are the same as what is here.
	lateFound = perKind(`
		INSERT INTO import_late
		SELECT DISTINCT ON (h.id) r.line, r.kind, h.id, p.id
		FROM import_row r JOIN import_verdict v USING (line) JOIN institute p ON p.slug = r.signer AND NOT p.own
		JOIN {kind} h ON h.id = r.id::uuid AND h.revision = r.revision AND (h.institute_id IS NULL OR h.institute_id = p.id)
		JOIN {kind}_revision x ON x.{kind}_id = h.id AND x.revision = h.revision AND x.imported AND x.author_person_id IS NULL
		WHERE r.kind = '{kind}' AND v.outcome = 'same' AND r.note IS NOT NULL
		  AND NOT EXISTS (SELECT FROM statement s WHERE s.record_kind = r.kind AND s.record_id = h.id AND s.revision = r.revision)
		ORDER BY h.id, r.line`)
	lateHeld = perKind(`UPDATE {kind} h SET institute_id = l.institute_id, modified_at = now() FROM import_late l WHERE l.kind = '{kind}' AND l.id = h.id`)
)
