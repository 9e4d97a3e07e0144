package postgres_test

import (
	"context"
	"fmt"
	"testing"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"

	"statorbook/internal/bundle"
	"statorbook/internal/catalog"
	"statorbook/internal/errs"
	"statorbook/internal/pgtest"
)

// An import that a steward sends is all or nothing, whichever table refuses, with its audit row and its
// kept answer; and after the fault the same Idempotency-Key still serves (reliability F14).
func TestSentImportIsAllOrNothing(t *testing.T) {
	t.Parallel()
	owner, app := pgtest.NewURLs(t)
	store := open(t, app)
	admin, err := pgx.Connect(t.Context(), owner)
	require.NoError(t, err)
	defer admin.Close(context.Background())
	_, err = admin.Exec(t.Context(), `CREATE FUNCTION fail() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN RAISE EXCEPTION 'made to fail' USING ERRCODE = 'disk_full'; END $$`)
	require.NoError(t, err)
	_, ownKey := keyOf(t, "own-school", "w")
	_, err = store.AddInstitute(t.Context(), catalog.Act{}, catalog.Institute{Slug: "own-school", Title: "Own demo school"}, ownKey)
	require.NoError(t, err)
	require.NoError(t, store.AddPerson(t.Context(), catalog.Act{}, "own-school", "own-p1"))
	signer, verifier := keyOf(t, "far-school", "f")
	pin(t, store, "far-school", verifier)
	text := writeVouched(t, vouched{record: sampleFamily(t, 1, nil), institute: "far-school", signer: signer},
		vouched{record: sampleWinding(t, 1, 1, real), institute: "far-school", signer: signer})
	tables := []string{"person", "family", "family_revision", "core", "family_core", "winding", "winding_revision", "statement", "change", "audit", "idempotency"}
	count := func() (n int) {
		for _, table := range tables {
			var rows int
			require.NoError(t, admin.QueryRow(t.Context(), `SELECT count(*) FROM `+table).Scan(&rows))
			n += rows
		}
		return n
	}
	send := func(scope catalog.Scope, once string, apply bool) (catalog.Reply, error) {
		a := catalog.Act{Actor: catalog.Actor{Institute: "own-school", Person: "own-p1", Scopes: []catalog.Scope{scope}}, RequestID: "r-1", Once: once, Request: catalog.Hash{1}}
		return store.ImportBundle(t.Context(), a, reader(text), apply, nil, func(r catalog.ImportReport) (catalog.Reply, error) {
			return catalog.Reply{Status: 200, Body: fmt.Appendf(nil, "%v %d %d", r.Applied, r.Counts[catalog.OutcomeNew], r.Revision)}, nil
		})
	}
	before := count()
	for _, table := range tables {
		_, err = admin.Exec(t.Context(), `CREATE TRIGGER zz_fail BEFORE INSERT ON `+table+` FOR EACH ROW EXECUTE FUNCTION fail()`)
		require.NoError(t, err)
		_, err = send(catalog.ScopeSteward, "one", true)
		require.Equal(t, errs.KindStorageFull, errs.KindOf(err), "%s: %v", table, err)
		_, err = admin.Exec(t.Context(), `DROP TRIGGER zz_fail ON `+table)
		require.NoError(t, err)
		require.Equal(t, before, count(), table)
	}
	for _, scope := range []catalog.Scope{catalog.ScopeContribute, catalog.ScopeVet, catalog.ScopePublish} {
		_, err = send(scope, "one", true)
		require.Equal(t, errs.KindForbidden, errs.KindOf(err), scope)
	}
	dry, err := send(catalog.ScopeSteward, "", false)
	require.NoError(t, err)
	require.Equal(t, "false 4 1", string(dry.Body))
	require.Equal(t, before, count(), "looking leaves nothing, no person either")

	done, err := send(catalog.ScopeSteward, "one", true)
	require.NoError(t, err)
	require.Equal(t, "true 4 1", string(done.Body), "what failed left no gap")
	after := count()
	again, err := send(catalog.ScopeSteward, "one", true)
	require.NoError(t, err)
	require.Equal(t, done.Body, again.Body)
	require.Equal(t, after, count(), "a repeated request counts once")
	var who string
	require.NoError(t, admin.QueryRow(t.Context(), `
		SELECT i.slug || ' ' || p.pseudonym || ' ' || a.request_id FROM audit a JOIN institute i ON i.id = a.institute_id JOIN person p ON p.id = a.person_id
		WHERE a.action = 'import'`).Scan(&who))
	require.Equal(t, "own-school own-p1 r-1", who)
}

// Two that send the same request at once: one is answered, the other hears that it is under way, or gets
// the same answer.
func TestSentImportTwiceAtOnce(t *testing.T) {
	t.Parallel()
	_, app := pgtest.NewURLs(t)
	store := open(t, app)
	_, ownKey := keyOf(t, "own-school", "w")
	_, err := store.AddInstitute(t.Context(), catalog.Act{}, catalog.Institute{Slug: "own-school", Title: "Own demo school"}, ownKey)
	require.NoError(t, err)
	require.NoError(t, store.AddPerson(t.Context(), catalog.Act{}, "own-school", "own-p1"))
	text := write(t, sampleFamily(t, 1, nil), sampleWinding(t, 1, 1, nil))
	a := catalog.Act{Actor: catalog.Actor{Institute: "own-school", Person: "own-p1", Scopes: catalog.Scopes()}, Once: "one", Request: catalog.Hash{1}}
	var second error
	reply, err := store.ImportBundle(t.Context(), a, reader(text), true, nil, func(catalog.ImportReport) (catalog.Reply, error) {
		_, second = store.ImportBundle(t.Context(), a, bundle.NewReader(nil, bundle.Options{}), true, nil, nil) // stopped before it reads
		return catalog.Reply{Status: 200, Body: []byte("{}")}, nil
	})
	require.NoError(t, err)
	require.Equal(t, 200, reply.Status)
	require.Equal(t, errs.KindInProgress, errs.KindOf(second), "%v", second)
	_, err = store.Family(t.Context(), sampleID("f", 1))
	require.NoError(t, err)
}
