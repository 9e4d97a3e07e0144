package postgres

import (
	"context"
	"strings"

	"github.com/jackc/pgx/v5"
)

// referenceTables names the head table of each kind of reference data. Its revisions are in
// <table>_revision, keyed by <table>_id.
var referenceTables = []struct{ kind, table string }{
	{"wire", "wire_size"},
	{"insulation_class", "insulation_class"},
	{"insulating_material", "insulating_material"},
}

// applyReference decides on the staged reference rows and stores the new ones.
func applyReference(ctx context.Context, tx pgx.Tx) error {
	for _, ref := range referenceTables {
		// The name comes from the closed list above, never from input.
		for _, statement := range []string{judgeReference, headReference, reviseReference} {
			if _, err := tx.Exec(ctx, strings.ReplaceAll(statement, "{table}", ref.table), ref.kind); err != nil {
				return err
			}
		}
	}
	return nil
}

const judgeReference = `
	WITH r AS (
		SELECT line, id, revision, state, content_hash,
		       row_number() OVER same AS nth, first_value(content_hash) OVER same AS first_hash
		FROM import_row WHERE kind = $1 WINDOW same AS (PARTITION BY id, revision ORDER BY line))
	INSERT INTO import_verdict (line, kind, outcome, code, change)
	SELECT r.line, $1, split_part(j.verdict, ' ', 1), nullif(split_part(j.verdict, ' ', 2), ''),
	       CASE WHEN r.state = 'withdrawn' THEN 'withdrawal' WHEN h.id IS NULL AND r.nth = 1 THEN 'publication' ELSE 'supersession' END
	FROM r LEFT JOIN {table} h ON h.id = r.id
	       LEFT JOIN {table}_revision v ON v.{table}_id = r.id AND v.revision = r.revision
	       CROSS JOIN LATERAL (SELECT CASE
	           WHEN r.content_hash <> r.first_hash OR v.content_hash <> r.content_hash THEN 'conflicting other_content'
	           WHEN v.state <> r.state THEN 'conflicting other_state'
	           WHEN r.nth > 1 OR v.revision IS NOT NULL THEN 'same'
	           WHEN h.revision > r.revision THEN 'conflicting older_revision'
	           ELSE 'new' END AS verdict) j`

const headReference = `
	INSERT INTO {table} (id, revision, state)
	SELECT DISTINCT ON (r.id) r.id, r.revision, r.state
	FROM import_row r JOIN import_verdict v USING (line)
	WHERE v.outcome = 'new' AND r.kind = $1 ORDER BY r.id, r.revision DESC
	ON CONFLICT (id) DO UPDATE SET revision = excluded.revision, state = excluded.state, modified_at = now()`

const reviseReference = `
	INSERT INTO {table}_revision ({table}_id, revision, state, reason, content_hash, body, findings)
	SELECT r.id, r.revision, r.state, r.reason, r.content_hash, r.body, r.findings
	FROM import_row r JOIN import_verdict v USING (line) WHERE v.outcome = 'new' AND r.kind = $1 ORDER BY r.line`
