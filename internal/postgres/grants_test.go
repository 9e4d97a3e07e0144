package postgres_test

import (
	"context"
	"testing"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"

	"statorbook/internal/pgtest"
)

// TestAppRoleMayNot tries what the serving role must be denied (reliability: roles, history).
func TestAppRoleMayNot(t *testing.T) {
	t.Parallel()
	_, app := pgtest.NewURLs(t)
	insertOnly := []string{"family_revision", "winding_revision", "wire_size_revision", "insulation_class_revision",
		"insulating_material_revision", "core", "family_core", "audit", "change", "person", "vetting", "statement", "late_proof", "sighting"}
	heads := []string{"family", "winding", "wire_size", "insulation_class", "insulating_material", "institute", "catalogue_state"}
	denied := []string{`CREATE TABLE mine (x int)`, `ALTER TABLE winding ADD COLUMN x int`, `DROP TABLE winding`, `DROP FUNCTION refuse_change() CASCADE`,
		`ALTER TABLE winding_draft DISABLE ROW LEVEL SECURITY`, `DROP POLICY own_institute ON winding_draft`, `CREATE INDEX ON winding (id)`,
		`UPDATE winding SET slug = 'demo-new'`, `UPDATE winding SET id = gen_random_uuid()`, `UPDATE winding SET catalogue_revision = 0`,
		`UPDATE family SET slug = 'demo-new'`, `UPDATE institute SET slug = 'demo-new'`, `UPDATE goose_db_version SET version_id = 99`,
		`ALTER TABLE winding DISABLE TRIGGER stamp`, `SET session_replication_role = replica`, `TRUNCATE winding_draft`}
	for _, table := range insertOnly {
		denied = append(denied, `UPDATE `+table+` SET created_at = now()`, `DELETE FROM `+table, `TRUNCATE `+table+` CASCADE`)
	}
	for _, table := range heads {
		denied = append(denied, `DELETE FROM `+table, `TRUNCATE `+table+` CASCADE`)
	}
	withRows(t, app, func(ctx context.Context, tx pgx.Tx) {
		for _, sql := range denied {
			state := stateOf(ctx, t, tx, sql)
			if state == "42703" { // no created_at in this table
				continue
			}
			require.Equal(t, "42501", state, sql)
		}
		for _, table := range insertOnly {
			var column string
			require.NoError(t, tx.QueryRow(ctx, `SELECT attname FROM pg_attribute WHERE attrelid = $1::regclass AND attnum = 2`, table).Scan(&column))
			require.Equal(t, "42501", stateOf(ctx, t, tx, `UPDATE `+table+` SET `+column+` = `+column), table)
		}
	})
}

// TestOwnerMeetsTheGuards shows that the triggers hold where grants do not reach.
func TestOwnerMeetsTheGuards(t *testing.T) {
	t.Parallel()
	owner, _ := pgtest.NewURLs(t)
	withRows(t, owner, func(ctx context.Context, tx pgx.Tx) {
		_, err := tx.Exec(ctx, `
			INSERT INTO audit (action) VALUES ('import');
			INSERT INTO change (catalogue_revision, item, change, record_kind, record_id, revision, content_hash)
				VALUES (1, 1, 'publication', 'winding', '`+testWinding+`', 1, `+testHash+`);
			SET CONSTRAINTS ALL IMMEDIATE`)
		require.NoError(t, err)
		for _, table := range []string{"family_revision", "winding_revision", "wire_size_revision", "core", "family_core", "audit", "change"} {
			var column string
			require.NoError(t, tx.QueryRow(ctx, `SELECT attname FROM pg_attribute WHERE attrelid = $1::regclass AND attnum = 2`, table).Scan(&column))
			require.Equal(t, "23001", stateOf(ctx, t, tx, `UPDATE `+table+` SET `+column+` = `+column), table)
			require.Equal(t, "23001", stateOf(ctx, t, tx, `DELETE FROM `+table), table)
			require.Equal(t, "23001", stateOf(ctx, t, tx, `TRUNCATE `+table+` CASCADE`), table)
		}
		for _, table := range []string{"family", "winding", "wire_size", "catalogue_state"} {
			require.Equal(t, "23001", stateOf(ctx, t, tx, `DELETE FROM `+table), table)
			require.Equal(t, "23001", stateOf(ctx, t, tx, `TRUNCATE `+table+` CASCADE`), table)
		}
		require.Equal(t, "23001", stateOf(ctx, t, tx, `UPDATE winding SET id = gen_random_uuid()`))
	})
}

// TestRevisionIsBumpedOnce shows that no write of published data can forget the catalogue revision,
// and that one transaction raises it by one only.
func TestRevisionIsBumpedOnce(t *testing.T) {
	t.Parallel()
	_, app := pgtest.NewURLs(t)
	withRows(t, app, func(ctx context.Context, tx pgx.Tx) {
		revisions := func() (state, family, winding int) {
			require.NoError(t, tx.QueryRow(ctx, `SELECT s.revision, f.catalogue_revision, w.catalogue_revision
				FROM catalogue_state s, family f, winding w`).Scan(&state, &family, &winding))
			return state, family, winding
		}
		state, family, winding := revisions()
		require.Equal(t, []int{state, state}, []int{family, winding})
		require.NotZero(t, state)

		inner, err := tx.Begin(ctx)
		require.NoError(t, err)
		_, err = inner.Exec(ctx, `UPDATE winding SET times_seen = times_seen + 1`)
		require.NoError(t, err)
		again, _, _ := revisions()
		require.Equal(t, state, again, "same transaction, same revision, in a savepoint too")
		require.NoError(t, inner.Rollback(ctx))

		// A note of another transaction, left behind in the session, does not count.
		_, err = tx.Exec(ctx, `SELECT set_config('statorbook.catalogue_bump', '1:77', true)`)
		require.NoError(t, err)
		_, err = tx.Exec(ctx, `UPDATE winding SET times_seen = times_seen + 1`)
		require.NoError(t, err)
		again, _, winding = revisions()
		require.Equal(t, []int{state + 1, state + 1}, []int{again, winding})
	})
}

// TestDraftsAreWalledOff drops every predicate: row-level security alone must hide and refuse.
func TestDraftsAreWalledOff(t *testing.T) {
	t.Parallel()
	_, app := pgtest.NewURLs(t)
	const insert = `INSERT INTO winding_draft (id, institute_id, author_person_id, state, content_hash, body, vetter_person_id, vetted_hash, vetted_at)
		VALUES (gen_random_uuid(), $1, $2, $3, ` + testHash + `, '{}', $4, $5, $6)`
	withRows(t, app, func(ctx context.Context, tx pgx.Tx) {
		act := func(institute string) {
			_, err := tx.Exec(ctx, `SELECT set_config('statorbook.institute', $1, true)`, institute)
			require.NoError(t, err)
		}
		count := func() (n int) {
			require.NoError(t, tx.QueryRow(ctx, `SELECT count(*) FROM winding_draft`).Scan(&n))
			return n
		}
		require.Equal(t, "42501", stateOf(ctx, t, tx, insert, testInstitute, testAuthor, "draft", nil, nil, nil), "no institute acts")
		act(testInstitute)
		_, err := tx.Exec(ctx, insert, testInstitute, testAuthor, "draft", nil, nil, nil)
		require.NoError(t, err)
		require.Equal(t, 1, count())
		require.Equal(t, "23503", stateOf(ctx, t, tx, insert, testInstitute, testFamily, "draft", nil, nil, nil), "author of another institute")
		hash := make([]byte, 32)
		require.Equal(t, "23514", stateOf(ctx, t, tx, insert, testInstitute, testAuthor, "vetted", testVetter, hash, "2026-01-01"), "vetted another content")
		require.Equal(t, "23514", stateOf(ctx, t, tx, `UPDATE winding_draft SET state = 'vetted', vetter_person_id = $1, vetted_hash = content_hash, vetted_at = now()`, testAuthor), "self-vetting")
		require.Equal(t, "23514", stateOf(ctx, t, tx, `UPDATE winding_draft SET state = 'vetted'`), "vetted by nobody")
		require.Equal(t, "", stateOf(ctx, t, tx, `UPDATE winding_draft SET state = 'vetted', vetter_person_id = $1, vetted_hash = content_hash, vetted_at = now()`, testVetter))

		for _, other := range []string{"", testFamily} {
			act(other)
			require.Zero(t, count(), "institute %q", other)
			tag, err := tx.Exec(ctx, `UPDATE winding_draft SET version = 2`)
			require.NoError(t, err)
			require.Zero(t, tag.RowsAffected())
			tag, err = tx.Exec(ctx, `DELETE FROM winding_draft`)
			require.NoError(t, err)
			require.Zero(t, tag.RowsAffected())
			require.Equal(t, "42501", stateOf(ctx, t, tx, insert, testInstitute, testAuthor, "draft", nil, nil, nil))
		}
	})
}
