package postgres_test

import (
	"testing"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"

	"statorbook/internal/bundle"
	"statorbook/internal/catalog"
	"statorbook/internal/errs"
	"statorbook/internal/pgtest"
	"statorbook/internal/postgres"
)

// A proof that comes after its revision is taken in: the record says who vouches for it, goes on with its
// proof, and is held. Its revision is not rewritten.
func TestProofThatComesLater(t *testing.T) {
	t.Parallel()
	owner, app := pgtest.NewURLs(t)
	store := open(t, app)
	signer, verifier := keyOf(t, "far-school", "f")
	pin(t, store, "far-school", verifier)
	keys := postgres.ImportOptions{Keys: keysOf(t, store)}
	gone := func(w *bundle.Winding) { real(w); w.State, w.WithdrawnReason = "withdrawn", "burns (demo)" }
	withdrawal := func(s *bundle.Statement) { s.Act, s.Reason = "withdrawal", "unsafe" }
	plain := func(f *bundle.Family) { f.Demo = false }
	bare := writeVouched(t, vouched{record: sampleFamily(t, 1, plain)}, vouched{record: sampleWinding(t, 1, 1, real)}, vouched{record: sampleWinding(t, 2, 1, gone)})
	proved := writeVouched(t,
		vouched{record: sampleFamily(t, 1, plain), institute: "far-school", signer: signer},
		vouched{record: sampleWinding(t, 1, 1, real), institute: "far-school", signer: signer},
		vouched{record: sampleWinding(t, 1, 1, real), institute: "far-school", signer: signer}, // twice in one file
		vouched{record: sampleWinding(t, 2, 1, gone), institute: "far-school", signer: signer, change: withdrawal})
	first, _ := imported(t, store, bare, keys)
	before, err := store.Winding(t.Context(), sampleID("b", 1))
	require.NoError(t, err)
	require.Equal(t, catalog.UnprovedCode, lastCode(before.Findings))
	conn, err := pgx.Connect(t.Context(), owner)
	require.NoError(t, err)
	defer conn.Close(t.Context())
	digest := func() (d string) {
		require.NoError(t, conn.QueryRow(t.Context(), `SELECT md5((SELECT string_agg(r::text, '|' ORDER BY r.winding_id, r.revision) FROM winding_revision r)
			|| (SELECT string_agg(r::text, '|' ORDER BY r.family_id, r.revision) FROM family_revision r) || (SELECT count(*) FROM change))`).Scan(&d))
		return d
	}
	revisions := digest()

	dry := keys
	dry.DryRun = true
	report, rows := imported(t, store, proved, dry)
	require.False(t, report.Applied)
	require.Equal(t, 3, report.Counts[catalog.OutcomeNew])
	unchanged, err := store.Winding(t.Context(), sampleID("b", 1))
	require.NoError(t, err)
	require.Equal(t, before, unchanged, "a dry run stores nothing")

	for _, table := range []string{"statement", "person", "late_proof"} { // F14: all or nothing
		_, err = conn.Exec(t.Context(), `CREATE OR REPLACE FUNCTION fail() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN RAISE EXCEPTION 'made to fail' USING ERRCODE = 'disk_full'; END $$;
			CREATE TRIGGER zz_fail BEFORE INSERT ON `+table+` FOR EACH ROW EXECUTE FUNCTION fail()`)
		require.NoError(t, err)
		_, err = store.Import(t.Context(), reader(proved), keys)
		require.Equal(t, errs.KindStorageFull, errs.KindOf(err), table)
		_, err = conn.Exec(t.Context(), `DROP TRIGGER zz_fail ON `+table)
		require.NoError(t, err)
		unchanged, err := store.Winding(t.Context(), sampleID("b", 1))
		require.NoError(t, err)
		require.Equal(t, before, unchanged, table)
	}
	report, again := imported(t, store, proved, keys)
	require.Equal(t, rows, again)
	require.True(t, report.Applied)
	require.Equal(t, map[catalog.Outcome]int{catalog.OutcomeSame: 5, catalog.OutcomeNew: 3}, report.Counts)
	require.Equal(t, first.Revision+1, report.Revision, "whoever follows the catalogue sees it")
	require.Equal(t, revisions, digest(), "no revision rewritten, no entry of the feed")

	w, err := store.Winding(t.Context(), sampleID("b", 1))
	require.NoError(t, err)
	require.Equal(t, []string{"far-school", "far-p1", "far-p2"}, []string{w.Institute, w.Author, w.Vetter})
	require.Equal(t, catalog.StatusForeign, w.Status)
	require.Equal(t, len(before.Findings)-1, len(w.Findings))
	for _, f := range w.Findings {
		require.NotEqual(t, catalog.UnprovedCode, f.Code)
	}
	f, err := store.Family(t.Context(), sampleID("f", 1))
	require.NoError(t, err)
	require.Equal(t, []string{"far-school", "far-p1", "far-p2"}, []string{f.Institute, f.Author, f.Vetter})
	old, err := store.Revision(t.Context(), catalog.KindWinding, sampleID("b", 2), 1)
	require.NoError(t, err)
	require.Equal(t, "far-p2", old.Record.Standing().Vetter)
	require.NotEmpty(t, old.Statement)
	checked := bundle.Verify(reader(exported(t, store)), keysOf(t, store))
	require.Equal(t, []int{3, 0, 0}, []int{checked.Proved, checked.Unproved, checked.Failed}, "it goes on with its proof")

	report, _ = imported(t, store, proved, keys)
	require.Equal(t, map[catalog.Outcome]int{catalog.OutcomeSame: 8}, report.Counts)
	second := func(w *bundle.Winding) { real(w); w.Revision, w.Remarks = 2, "again" }
	_, rows = imported(t, store, writeVouched(t, vouched{record: sampleWinding(t, 1, 1, second)}), keys)
	require.Equal(t, "held_here", rows[2].Code, "it is held by the one who proved it")
}

// Not every late proof may be taken in: an import makes nothing ours, takes nothing from its holder, and
// proves what stands.
func TestLateProofsNotTaken(t *testing.T) {
	t.Parallel()
	_, app := pgtest.NewURLs(t)
	store := open(t, app)
	far, farKey := keyOf(t, "far-school", "f")
	own, ownKey := keyOf(t, "own-school", "w")
	pin(t, store, "far-school", farKey)
	_, err := store.AddInstitute(t.Context(), catalog.Act{}, catalog.Institute{Slug: "own-school", Title: "Own demo school"}, ownKey)
	require.NoError(t, err)
	o := postgres.ImportOptions{Keys: keysOf(t, store), Credit: &school}
	second := func(w *bundle.Winding) { real(w); w.Revision, w.Remarks = 2, "again" }
	demo := func(w *bundle.Winding) { w.Slug, w.FamilyID, w.CoreID = "", "", "" }
	imported(t, store, writeVouched(t, vouched{record: sampleWinding(t, 1, 1, real)}, vouched{record: sampleWinding(t, 2, 1, real)},
		vouched{record: sampleWinding(t, 3, 1, demo)}), o)
	imported(t, store, writeVouched(t, vouched{record: sampleWinding(t, 2, 1, second)}), o)
	report, rows := imported(t, store, writeVouched(t,
		vouched{record: sampleWinding(t, 1, 1, real), institute: "own-school", signer: own},
		vouched{record: sampleWinding(t, 2, 1, real), institute: "far-school", signer: far},
		vouched{record: sampleWinding(t, 3, 1, demo), institute: "far-school", signer: far}), o)
	require.False(t, report.Applied)
	for _, line := range []int{3, 5, 7} {
		require.Equal(t, []any{catalog.OutcomeIgnored, "proof_not_taken"}, []any{rows[line].Outcome, rows[line].Code}, "line %d", line)
		require.Contains(t, rows[line].Detail, "next revision")
	}
	for n, want := range map[int]string{1: "", 2: "", 3: school.Institute.Slug} {
		w, err := store.Winding(t.Context(), sampleID("b", n))
		require.NoError(t, err)
		if want == "" {
			require.Empty(t, w.Vetter)
		} else {
			require.Equal(t, want, w.Institute)
		}
	}
}
