package postgres_test

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/stretchr/testify/require"

	"statorbook/internal/pgtest"
)

// Ids of the rows that insertRows makes.
const (
	testInstitute = "00000000-0000-4000-8000-00000000000a"
	testAuthor    = "00000000-0000-4000-8000-0000000000a1"
	testVetter    = "00000000-0000-4000-8000-0000000000a2"
	testFamily    = "00000000-0000-4000-8000-0000000000f1"
	testCore      = "00000000-0000-4000-8000-0000000000c1"
	testSpare     = "00000000-0000-4000-8000-0000000000c2" // a core that no revision lists
	testWinding   = "00000000-0000-4000-8000-0000000000b1"
	testHash      = `'\x000102030405060708090a0b0c0d0e0f101112131415161718191a1b1c1d1e1f'`
)

// insertRows puts one institute with two persons, one family with a core, one winding and one wire
// size in, the way the service does: heads first, revisions after them, all in one transaction.
const insertRows = `
INSERT INTO institute (id, slug, title, demo) VALUES ('` + testInstitute + `', 'demo-school', 'Demo school', true);
INSERT INTO person (id, institute_id, pseudonym) VALUES
	('` + testAuthor + `', '` + testInstitute + `', 'demo-a'), ('` + testVetter + `', '` + testInstitute + `', 'demo-b');
INSERT INTO family (id, slug, revision, state) VALUES ('` + testFamily + `', 'demo-family', 1, 'published');
INSERT INTO family_revision (family_id, revision, state, change, imported, demo, author_person_id, vetter_person_id, content_hash, body)
	VALUES ('` + testFamily + `', 1, 'published', 'publication', false, true, '` + testAuthor + `', '` + testVetter + `', ` + testHash + `,
	'{"title": "Demo", "application": "pump", "core": {"slots": 24, "phases": 1, "gap_diameter_mm": 60.50, "back_diameter_mm": {"value": 110.00, "resolution": 0.01}}}');
INSERT INTO core (id, family_id) VALUES ('` + testCore + `', '` + testFamily + `'), ('` + testSpare + `', '` + testFamily + `');
INSERT INTO family_core (family_id, revision, core_id, stack_length_mm) VALUES ('` + testFamily + `', 1, '` + testCore + `', 50.0);
INSERT INTO winding (id, slug, revision, state, family_id, core_id) VALUES
	('` + testWinding + `', 'demo-winding', 1, 'published', '` + testFamily + `', '` + testCore + `');
INSERT INTO winding_revision (winding_id, revision, state, change, imported, demo, content_hash, body)
	VALUES ('` + testWinding + `', 1, 'published', 'publication', true, true, ` + testHash + `, '{"nameplate": {"voltage_v": 230}}');
INSERT INTO wire_size (id, revision, state) VALUES ('swg-34', 1, 'published');
INSERT INTO wire_size_revision (wire_size_id, revision, state, content_hash, body)
	VALUES ('swg-34', 1, 'published', ` + testHash + `, '{"system": "swg", "size": "34", "conductor": {"diameter_mm": 0.2337}}');`

// withRows runs f in a transaction of the app's role that has the rows of insertRows, and rolls back.
func withRows(t *testing.T, url string, f func(ctx context.Context, tx pgx.Tx)) {
	t.Helper()
	ctx := t.Context()
	conn, err := pgx.Connect(ctx, url)
	require.NoError(t, err)
	defer conn.Close(context.WithoutCancel(ctx))
	tx, err := conn.Begin(ctx)
	require.NoError(t, err)
	defer func() { require.NoError(t, tx.Rollback(context.WithoutCancel(ctx))) }()
	_, err = tx.Exec(ctx, insertRows)
	require.NoError(t, err)
	f(ctx, tx)
}

// stateOf runs sql inside a savepoint and gives the SQLSTATE of its failure, "" for none. Deferred
// constraints are checked too.
func stateOf(ctx context.Context, t *testing.T, tx pgx.Tx, sql string, args ...any) string {
	t.Helper()
	inner, err := tx.Begin(ctx)
	require.NoError(t, err)
	defer func() { require.NoError(t, inner.Rollback(ctx)) }()
	_, err = inner.Exec(ctx, sql, args...)
	if err == nil {
		_, err = inner.Exec(ctx, `SET CONSTRAINTS ALL IMMEDIATE`)
	}
	if err == nil {
		return ""
	}
	var server *pgconn.PgError
	require.True(t, errors.As(err, &server), "%v", err)
	return server.Code
}

func TestMeasuredKeepsDigits(t *testing.T) {
	t.Parallel()
	_, app := pgtest.NewURLs(t)
	withRows(t, app, func(ctx context.Context, tx pgx.Tx) {
		var gap, back, stack string
		var gapUM, backUM, stackUM int
		require.NoError(t, tx.QueryRow(ctx, `
			SELECT r.gap_diameter_mm::text, r.gap_diameter_um, r.back_diameter_mm::text, r.back_diameter_um, c.stack_length_mm::text, c.stack_length_um
			FROM family_revision r JOIN family_core c USING (family_id, revision)`).Scan(&gap, &gapUM, &back, &backUM, &stack, &stackUM))
		require.Equal(t, []string{"60.50", "110.00", "50.0"}, []string{gap, back, stack})
		require.Equal(t, []int{60500, 110000, 50000}, []int{gapUM, backUM, stackUM})
	})
}

// TestNumbersHaveBothBounds puts NaN and both infinities, and figures beyond each bound, into every
// numeric column of the schema. Postgres orders NaN above all numbers, so a lone lower bound takes it.
func TestNumbersHaveBothBounds(t *testing.T) {
	t.Parallel()
	_, app := pgtest.NewURLs(t)
	withRows(t, app, func(ctx context.Context, tx pgx.Tx) {
		rows, err := tx.Query(ctx, `
			SELECT c.relname, a.attname FROM pg_attribute a JOIN pg_class c ON c.oid = a.attrelid AND c.relkind = 'r' AND c.relnamespace = 'public'::regnamespace
			JOIN pg_type t ON t.oid = a.atttypid
			WHERE a.attnum > 0 AND NOT a.attisdropped AND (t.typname IN ('numeric', 'float4', 'float8')
			   OR t.typbasetype IN ('numeric'::regtype, 'float8'::regtype)) ORDER BY 1, 2`)
		require.NoError(t, err)
		type column struct{ Table, Name string }
		columns, err := pgx.CollectRows(rows, pgx.RowToStructByPos[column])
		require.NoError(t, err)
		require.Greater(t, len(columns), 40, "the catalogue query finds the columns")
		for _, c := range columns {
			for _, figure := range []string{"NaN", "Infinity", "-Infinity", "-1000", "100000000"} {
				require.Equal(t, "23514", stateOf(ctx, t, tx, insertFigure(t, c.Table, c.Name, figure)), "%s.%s = %s", c.Table, c.Name, figure)
			}
			require.Equal(t, "0.250", storedFigure(ctx, t, tx, c.Table, c.Name), "%s.%s takes what is inside", c.Table, c.Name)
		}
	})
}

// storedFigure puts 0.250 into a column the same way and reads it back.
func storedFigure(ctx context.Context, t *testing.T, tx pgx.Tx, table, column string) string {
	t.Helper()
	inner, err := tx.Begin(ctx)
	require.NoError(t, err)
	defer func() { require.NoError(t, inner.Rollback(ctx)) }()
	sql := insertFigure(t, table, column, "0.250")
	if column == "diameter_min_mm" { // the figures of a size must stay in order
		sql = strings.Replace(sql, "0.2337", "0.3", 1)
	}
	_, err = inner.Exec(ctx, sql)
	require.NoError(t, err, sql)
	var stored string
	which := `revision = 2`
	if table == "family_core" {
		which = `core_id = '` + testSpare + `'`
	}
	require.NoError(t, inner.QueryRow(ctx, `SELECT `+column+`::text FROM `+table+` WHERE `+which).Scan(&stored))
	return stored
}

// jsonPath tells where in a body the figure of a typed column stands.
func jsonPath(table, column string) []string {
	switch {
	case table == "wire_size_revision":
		return []string{"conductor", column}
	case column == "liner_thickness_mm":
		return []string{"liner", "thickness_mm"}
	case strings.HasPrefix(column, "overhang_"), strings.HasPrefix(column, "coil_"):
		return []string{column}
	case slices.Contains([]string{"voltage_v", "frequency_hz", "power_w", "current_a", "speed_rpm", "capacitor_uf", "capacitor_v", "sweep_mm"}, column):
		return []string{"nameplate", column}
	}
	core := map[string]string{"family_revision": "core", "winding_revision": "core_as_measured"}[table]
	if name, ok := strings.CutPrefix(column, "second_ring_"); ok {
		return []string{core, "second_ring", name}
	}
	return []string{core, column}
}

// insertFigure is a second revision of a record with one figure replaced.
func insertFigure(t *testing.T, table, column, figure string) string {
	t.Helper()
	if table == "family_core" {
		return `INSERT INTO family_core (family_id, revision, core_id, stack_length_mm) VALUES ('` + testFamily + `', 1, '` + testSpare + `', '` + figure + `')`
	}
	if table == "added_core" {
		return `INSERT INTO added_core (core_id, revision, family_id, content_hash, stack_length_mm) VALUES ('` + testSpare + `', 2, '` + testFamily + `', ` + testHash + `, '` + figure + `')`
	}
	body := fmt.Sprintf(`{"value": %q}`, figure)
	keys := jsonPath(table, column)
	for i := len(keys) - 1; i >= 0; i-- {
		body = fmt.Sprintf(`{%q: %s}`, keys[i], body)
	}
	switch table {
	case "wire_size_revision":
		return `INSERT INTO wire_size_revision (wire_size_id, revision, state, content_hash, body) VALUES ('swg-34', 2, 'published', ` + testHash +
			`, jsonb_build_object('system', 'swg', 'size', '34', 'conductor', '{"diameter_mm": 0.2337}'::jsonb || coalesce('` + body + `'::jsonb -> 'conductor', '{}')))`
	case "family_revision", "winding_revision":
		record := strings.TrimSuffix(table, "_revision")
		id := map[string]string{"family": testFamily, "winding": testWinding}[record]
		return `INSERT INTO ` + table + ` (` + record + `_id, revision, state, change, imported, demo, content_hash, body)
			VALUES ('` + id + `', 2, 'published', 'supersession', true, true, ` + testHash + `, '` + body + `')`
	}
	t.Fatalf("table %s has a numeric column that this test does not know", table)
	return ""
}

func TestConstraints(t *testing.T) {
	t.Parallel()
	_, app := pgtest.NewURLs(t)
	family := func(columns, values string) string {
		return `INSERT INTO family_revision (family_id, revision, change, demo, content_hash, body, ` + columns +
			`) VALUES ('` + testFamily + `', 2, 'supersession', true, ` + testHash + `, '{}', ` + values + `)`
	}
	head := func(slug string) string {
		return `INSERT INTO family (id, slug, revision, state) VALUES ('00000000-0000-4000-8000-0000000000f2', '` + slug + `', 1, 'published')`
	}
	cases := []struct{ name, sql, want string }{
		{"vetted by another", family(`state, imported, author_person_id, vetter_person_id`, `'published', false, '`+testAuthor+`', '`+testVetter+`'`), ""},
		{"import without proof", family(`state, imported`, `'published', true`), ""},
		{"self-vetting", family(`state, imported, author_person_id, vetter_person_id`, `'published', false, '`+testAuthor+`', '`+testAuthor+`'`), "23514"},
		{"self-vetting of an import", family(`state, imported, author_person_id, vetter_person_id`, `'published', true, '`+testAuthor+`', '`+testAuthor+`'`), "23514"},
		{"published without vetting", family(`state, imported, author_person_id`, `'published', false, '`+testAuthor+`'`), "23514"},
		{"published by nobody", family(`state, imported`, `'published', false`), "23514"},
		{"import with half a proof", family(`state, imported, author_person_id`, `'published', true, '`+testAuthor+`'`), "23514"},
		{"draft in the public table", family(`state, imported`, `'draft', true`), "23514"},
		{"withdrawn without a reason", strings.Replace(family(`state, imported`, `'withdrawn', true`), "supersession", "withdrawal", 1), "23514"},
		{"withdrawn as a supersession", family(`state, imported, reason`, `'withdrawn', true, 'wrong'`), "23514"},
		{"withdrawn with a reason", strings.Replace(family(`state, imported, reason`, `'withdrawn', true, 'wrong'`), "supersession", "withdrawal", 1), ""},
		{"same revision again", `INSERT INTO family_revision (family_id, revision, state, change, imported, demo, content_hash, body)
			VALUES ('` + testFamily + `', 1, 'published', 'supersession', true, true, ` + testHash + `, '{}')`, "23505"},
		{"short hash", `INSERT INTO family_revision (family_id, revision, state, change, imported, demo, content_hash, body)
			VALUES ('` + testFamily + `', 2, 'published', 'supersession', true, true, '\x00', '{}')`, "23514"},
		{"body that is no object", strings.Replace(family(`state, imported`, `'published', true`), "'{}'", "'[]'", 1), "23514"},
		{"unknown application", strings.Replace(family(`state, imported`, `'published', true`), "'{}'", `'{"application": "boat"}'`, 1), "23514"},
		{"two phases", strings.Replace(family(`state, imported`, `'published', true`), "'{}'", `'{"core": {"phases": 2}}'`, 1), "23514"},
		{"no slots", strings.Replace(family(`state, imported`, `'published', true`), "'{}'", `'{"core": {"slots": 0}}'`, 1), "23514"},
		{"head without its revision", head("demo-other"), "23503"},
		{"slug taken", head("demo-family"), "23505"},
		{"slug like a UUID", head("00000000-0000-4000-8000-0000000000f2"), "23514"},
		{"slug with a slash", head("a/b"), "23514"},
		{"slug in capitals", head("Demo"), "23514"},
		{"head points to a revision that is not there", `UPDATE family SET revision = 7`, "23503"},
		{"head steps back", family(`state, imported`, `'published', true`) + `; UPDATE family SET revision = 2; UPDATE family SET revision = 1`, "23001"},
		{"core of another family", `INSERT INTO winding (id, slug, revision, state, family_id, core_id) VALUES
			('00000000-0000-4000-8000-0000000000b2', 'demo-b2', 1, 'published', '` + testFamily + `', '00000000-0000-4000-8000-0000000000c9')`, "23503"},
		{"core without a family", `INSERT INTO winding (id, slug, revision, state, core_id) VALUES
			('00000000-0000-4000-8000-0000000000b2', 'demo-b2', 1, 'published', '` + testCore + `')`, "23514"},
		{"second catalogue state", `INSERT INTO catalogue_state (revision) VALUES (1)`, "42501"},
		{"wire of another system", `INSERT INTO wire_size_revision (wire_size_id, revision, state, content_hash, body)
			VALUES ('swg-34', 2, 'published', ` + testHash + `, '{"system": "own", "size": "1", "conductor": {"diameter_mm": 1}}')`, "23514"},
		{"wire thinner than its least", `INSERT INTO wire_size_revision (wire_size_id, revision, state, content_hash, body)
			VALUES ('swg-34', 2, 'published', ` + testHash + `, '{"system": "swg", "size": "1", "conductor": {"diameter_mm": 1, "diameter_min_mm": 1.1}}')`, "23514"},
		{"negative times seen", `UPDATE winding SET times_seen = -1`, "23514"},
		{"person of no institute", `INSERT INTO person (institute_id, pseudonym) VALUES (gen_random_uuid(), 'demo-c')`, "23503"},
		{"pseudonym twice", `INSERT INTO person (institute_id, pseudonym) VALUES ('` + testInstitute + `', 'demo-a')`, "23505"},
	}
	withRows(t, app, func(ctx context.Context, tx pgx.Tx) {
		for _, c := range cases {
			require.Equal(t, c.want, stateOf(ctx, t, tx, c.sql), c.name)
		}
	})
}
