package postgres_test

import (
	"context"
	"errors"
	"strings"
	"sync"
	"testing"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"

	"statorbook/internal/bundle"
	"statorbook/internal/catalog"
	"statorbook/internal/errs"
	"statorbook/internal/pgtest"
	"statorbook/internal/postgres"
	"statorbook/internal/unit"
)

var school = postgres.Authorship{
	Institute: catalog.Institute{Slug: "demo-winding-school", Title: "Demo winding school", Demo: true},
	Author:    "demo-p1", Vetter: "demo-p2",
}

func TestImportStoresAndRereads(t *testing.T) {
	t.Parallel()
	_, app := pgtest.NewURLs(t)
	store := open(t, app)
	text := write(t, sampleWinding(t, 1, 1, nil), sampleWire(t, nil), sampleFamily(t, 1, nil)) // the winding comes before its family
	report, rows := imported(t, store, text, postgres.ImportOptions{})
	require.Equal(t, catalog.ImportReport{Lines: 3, Counts: map[catalog.Outcome]int{catalog.OutcomeNew: 3}, Applied: true, Revision: 1,
		Licence: "CC0-1.0", Title: "test", Demo: true}, report)
	require.Equal(t, catalog.OutcomeNew, rows[2].Outcome)
	require.Equal(t, "winding", rows[2].Kind)

	w, err := store.Winding(t.Context(), "demo-winding-1")
	require.NoError(t, err)
	require.Equal(t, sampleID("b", 1), w.ID)
	require.Equal(t, catalog.StatusDemo, w.Status)
	require.Equal(t, catalog.Published, w.State)
	require.Equal(t, 3, w.TimesSeen)
	require.Equal(t, "9.50", w.Scheme.CoilSets[0].Resistance.Text, "the digits as typed")
	require.Equal(t, "31.50", w.OverhangLead.Text)
	require.Equal(t, []string{"", ""}, []string{w.Author, w.Vetter}, "an import without a proof has neither")
	require.False(t, w.CreatedAt.IsZero())
	byID, err := store.Winding(t.Context(), sampleID("b", 1))
	require.NoError(t, err)
	require.Equal(t, w, byID)

	f, err := store.Family(t.Context(), "demo-family-1")
	require.NoError(t, err)
	require.Equal(t, "60.50", f.Core.GapDiameter.Text)
	require.Equal(t, unit.Measured{Given: true, Value: 110, Text: "110.00", Resolution: 0.01}, f.Core.BackDiameter)
	require.Len(t, f.Cores, 2)
	require.Equal(t, "45.00", f.Cores[1].StackLength.Text)

	again, rows := imported(t, store, text, postgres.ImportOptions{})
	require.Equal(t, map[catalog.Outcome]int{catalog.OutcomeSame: 3}, again.Counts)
	require.False(t, again.Applied)
	require.Equal(t, int64(1), again.Revision, "nothing new, no new revision")
	require.Empty(t, rows[2].Code)
}

func TestImportCreditsTheDemoInstitute(t *testing.T) {
	t.Parallel()
	_, app := pgtest.NewURLs(t)
	store := open(t, app)
	foreign := sampleWinding(t, 2, 1, func(w *bundle.Winding) { w.Demo = false; w.Slug, w.Institute = "shop-2", "far-school" })
	text := write(t, sampleFamily(t, 1, nil), sampleWinding(t, 1, 1, nil), foreign)
	_, rows := imported(t, store, text, postgres.ImportOptions{Credit: &school})
	w, err := store.Winding(t.Context(), "demo-winding-1")
	require.NoError(t, err)
	require.Equal(t, []string{"demo-winding-school", "demo-p1", "demo-p2"}, []string{w.Institute, w.Author, w.Vetter})
	require.Equal(t, catalog.StatusDemo, w.Status)
	f, err := store.Family(t.Context(), "demo-family-1")
	require.NoError(t, err)
	require.Equal(t, "demo-p2", f.Vetter)

	other, err := store.Winding(t.Context(), "shop-2")
	require.NoError(t, err)
	require.Equal(t, catalog.StatusForeign, other.Status)
	require.Equal(t, []string{"far-school", "", ""}, []string{other.Institute, other.Author, other.Vetter}, "what it claims, with its status")
	require.Equal(t, "unproved", lastCode(other.Findings))
	require.Equal(t, "unproved", lastCode(rows[4].Findings), "line 1 is the manifest")

	i, err := store.Institute(t.Context(), "demo-winding-school")
	require.NoError(t, err)
	require.True(t, i.Demo)
	_, err = store.Institute(t.Context(), "nobody")
	require.Equal(t, errs.KindNotFound, errs.KindOf(err))

	// Without the credit the school's records cannot be replaced from outside.
	next := sampleWinding(t, 1, 1, func(w *bundle.Winding) { w.Revision, w.Remarks = 2, "changed elsewhere" })
	_, rows = imported(t, store, write(t, next), postgres.ImportOptions{})
	require.Equal(t, "held_here", rows[2].Code)
	require.Equal(t, catalog.OutcomeConflicting, rows[2].Outcome)
	_, rows = imported(t, store, write(t, next), postgres.ImportOptions{Credit: &school})
	require.Equal(t, catalog.OutcomeNew, rows[2].Outcome)

	self := school
	self.Vetter = self.Author
	_, err = store.Import(t.Context(), reader(text), postgres.ImportOptions{Credit: &self})
	require.Equal(t, errs.KindImpossible, errs.KindOf(err))
}

func lastCode(list []errs.Finding) string {
	if len(list) == 0 {
		return ""
	}
	return list[len(list)-1].Code
}

// TestImportOutcomes gives the outcome of a second bundle on top of family 1 and winding 1 (revision 2).
func TestImportOutcomes(t *testing.T) {
	t.Parallel()
	_, app := pgtest.NewURLs(t)
	store := open(t, app)
	imported(t, store, write(t, sampleWire(t, nil), sampleFamily(t, 1, nil), sampleWinding(t, 1, 1, func(w *bundle.Winding) { w.Revision = 2 })), postgres.ImportOptions{})
	cases := []struct {
		name    string
		records []record
		want    catalog.Outcome // of the last record
		code    string
	}{
		{"same content", []record{sampleFamily(t, 1, nil)}, catalog.OutcomeSame, ""},
		{"times seen is no content", []record{sampleWinding(t, 1, 1, func(w *bundle.Winding) { w.Revision, w.TimesSeen = 2, 99 })}, catalog.OutcomeSame, ""},
		{"other content under one revision", []record{sampleFamily(t, 1, func(f *bundle.Family) { f.Title = "Other" })}, catalog.OutcomeConflicting, "other_content"},
		{"other digits are other content", []record{sampleFamily(t, 1, func(f *bundle.Family) { f.Core.GapDiameter.Text = "60.5" })}, catalog.OutcomeConflicting, "other_content"},
		{"withdrawn under one revision", []record{sampleFamily(t, 1, func(f *bundle.Family) { f.State = "withdrawn" })}, catalog.OutcomeConflicting, "other_state"},
		{"next revision", []record{sampleFamily(t, 1, func(f *bundle.Family) { f.Revision, f.Title = 2, "Better" })}, catalog.OutcomeNew, ""},
		{"revision that was passed", []record{sampleWinding(t, 1, 1, func(w *bundle.Winding) { w.Revision, w.Remarks = 1, "old" })}, catalog.OutcomeConflicting, "older_revision"},
		{"slug of another", []record{sampleFamily(t, 2, func(f *bundle.Family) { f.Slug = "demo-family-1" })}, catalog.OutcomeConflicting, "slug_taken"},
		{"slug twice in one bundle", []record{sampleFamily(t, 2, nil), sampleFamily(t, 3, func(f *bundle.Family) { f.Slug = "demo-family-2" })}, catalog.OutcomeConflicting, "slug_taken"},
		{"no slug", []record{sampleFamily(t, 2, func(f *bundle.Family) { f.Slug = "" })}, catalog.OutcomeNew, ""},
		{"core of another family", []record{sampleFamily(t, 2, func(f *bundle.Family) { f.Cores[0].ID = sampleID("c", 2) })}, catalog.OutcomeConflicting, "core_taken"},
		{"core of another family in one bundle", []record{sampleFamily(t, 2, nil), sampleFamily(t, 3, func(f *bundle.Family) { f.Cores[0].ID = sampleID("c", 4) })}, catalog.OutcomeConflicting, "core_taken"},
		{"core without id", []record{sampleFamily(t, 2, func(f *bundle.Family) { f.Cores[0].ID = "" })}, catalog.OutcomeRefused, "core_without_id"},
		{"core twice", []record{sampleFamily(t, 2, func(f *bundle.Family) { f.Cores[0].ID = f.Cores[1].ID })}, catalog.OutcomeRefused, "line"},
		{"draft", []record{sampleWinding(t, 2, 1, func(w *bundle.Winding) { w.State = "draft" })}, catalog.OutcomeRefused, "not_published"},
		{"family that nobody knows", []record{sampleWinding(t, 2, 9, nil)}, catalog.OutcomeRefused, "unknown_family"},
		{"core that nobody knows", []record{sampleWinding(t, 2, 1, func(w *bundle.Winding) { w.CoreID = sampleID("c", 99) })}, catalog.OutcomeRefused, "unknown_core"},
		{"core of another family than named", []record{sampleFamily(t, 2, nil), sampleWinding(t, 2, 1, func(w *bundle.Winding) { w.CoreID = sampleID("c", 4) })}, catalog.OutcomeRefused, "core_of_other_family"},
		{"core without family", []record{sampleWinding(t, 2, 1, func(w *bundle.Winding) { w.FamilyID = "" })}, catalog.OutcomeRefused, "line"},
		{"stator without data", []record{sampleWinding(t, 2, 1, func(w *bundle.Winding) { w.FamilyID, w.CoreID = "", "" })}, catalog.OutcomeNew, ""},
		{"line twice", []record{sampleWinding(t, 2, 1, nil), sampleWinding(t, 2, 1, nil)}, catalog.OutcomeSame, ""},
		{"line twice with other content", []record{sampleWinding(t, 2, 1, nil), sampleWinding(t, 2, 1, func(w *bundle.Winding) { w.Remarks = "x" })}, catalog.OutcomeConflicting, "other_content"},
		{"two revisions in one bundle", []record{sampleWinding(t, 2, 1, nil), sampleWinding(t, 2, 1, func(w *bundle.Winding) { w.Revision, w.Remarks = 2, "x" })}, catalog.OutcomeNew, ""},
		{"wire again", []record{sampleWire(t, nil)}, catalog.OutcomeSame, ""},
		{"wire with other figures", []record{sampleWire(t, func(w *bundle.WireSize) { w.Conductor.DiameterMin = 0.6 })}, catalog.OutcomeConflicting, "other_content"},
		{"added core", []record{addedCore(1, 7, 33)}, catalog.OutcomeNew, ""},
		{"added core twice", []record{addedCore(1, 7, 33), addedCore(1, 7, 33)}, catalog.OutcomeSame, ""},
		{"added core that the family lists", []record{addedCore(1, 2, 28)}, catalog.OutcomeSame, ""},
		{"added core with another stack than listed", []record{addedCore(1, 2, 29)}, catalog.OutcomeConflicting, "other_content"},
		{"added core of an unknown family", []record{addedCore(9, 7, 33)}, catalog.OutcomeRefused, "unknown_family"},
		{"winding on an added core", []record{addedCore(1, 7, 33), sampleWinding(t, 2, 1, func(w *bundle.Winding) { w.CoreID = sampleID("c", 7) })}, catalog.OutcomeNew, ""},
		{"vetting proof of nothing", []record{{bundle.KindReview, sampleID("b", 1), 2, &bundle.Review{Act: "publication", Kind: "winding", Record: sampleID("b", 1), Revision: 2,
			SHA256: strings.Repeat("0", 64), Institute: "far-school", Author: "p-1", Vetter: "p-2"}}}, catalog.OutcomeIgnored, "review_without_record"},
	}
	for _, c := range cases {
		report, rows := imported(t, store, write(t, c.records...), postgres.ImportOptions{DryRun: true})
		last := rows[len(c.records)+1]
		require.Equal(t, c.want, last.Outcome, "%s: %+v", c.name, last)
		require.Equal(t, c.code, last.Code, c.name)
		require.Equal(t, c.code != "", last.Detail != "", "%s: a code has its words", c.name)
		require.False(t, report.Applied)
	}
	revision, err := store.CatalogueRevision(t.Context())
	require.NoError(t, err)
	require.Equal(t, int64(1), revision, "dry runs store nothing")
}

// addedCore is a line that adds one stack to a family.
func addedCore(family, n int, stack float64) record {
	id := sampleID("c", n)
	return record{bundle.KindCore, id, 1, &bundle.StandaloneCore{ID: id, FamilyID: sampleID("f", family), StackLength: bundle.M{Measured: unit.Of(stack)}}}
}

func TestRevisionsSupersedeAndWithdraw(t *testing.T) {
	t.Parallel()
	owner, app := pgtest.NewURLs(t)
	store := open(t, app)
	imported(t, store, write(t, sampleFamily(t, 1, nil), sampleWinding(t, 1, 1, nil)), postgres.ImportOptions{})
	second := sampleWinding(t, 1, 1, func(w *bundle.Winding) {
		w.Revision, w.TimesSeen, w.Scheme.Poles, w.CorrectedFor = 2, 2, 6, "The poles were miscounted."
	})
	gone := sampleWinding(t, 1, 1, func(w *bundle.Winding) {
		w.Revision, w.State, w.WithdrawnReason = 3, "withdrawn", "The turns were halved."
	})
	imported(t, store, write(t, second), postgres.ImportOptions{})
	w, err := store.Winding(t.Context(), "demo-winding-1")
	require.NoError(t, err)
	require.Equal(t, []int{2, 3, 6}, []int{w.Revision, w.TimesSeen, w.Scheme.Poles}, "times seen never falls")
	require.Equal(t, "The poles were miscounted.", w.Reason, "why it was corrected travels")
	imported(t, store, write(t, gone), postgres.ImportOptions{})
	w, err = store.Winding(t.Context(), "demo-winding-1")
	require.NoError(t, err, "a withdrawn record still answers")
	require.Equal(t, catalog.StatusWithdrawn, w.Status)
	require.Equal(t, "The turns were halved.", w.Reason)
	page, err := store.Windings(t.Context(), catalog.WindingFilter{}, catalog.PageRequest{})
	require.NoError(t, err)
	require.Empty(t, page.Items)

	conn, err := pgx.Connect(t.Context(), owner)
	require.NoError(t, err)
	defer conn.Close(context.Background())
	rows, err := conn.Query(t.Context(), `SELECT c.catalogue_revision || ' ' || c.change || ' ' || c.record_kind || ' ' || c.revision || ' ' || (c.content_hash = r.content_hash)
		FROM change c LEFT JOIN winding_revision r ON r.winding_id::text = c.record_id AND r.revision = c.revision ORDER BY c.catalogue_revision, c.item`)
	require.NoError(t, err)
	feed, err := pgx.CollectRows(rows, pgx.RowTo[*string])
	require.NoError(t, err)
	require.Len(t, feed, 4)
	for i, want := range []string{"1 publication winding 1 true", "2 supersession winding 2 true", "3 withdrawal winding 3 true"} {
		require.Equal(t, want, *feed[i+1])
	}
	var audits int
	require.NoError(t, conn.QueryRow(t.Context(), `SELECT count(*) FROM audit WHERE action = 'import'`).Scan(&audits))
	require.Equal(t, 3, audits, "one row for each import that changed something")
}

// TestBadBundlesStoreNothing cuts and changes a good bundle: not one row may stay (reliability S29, F15).
func TestBadBundlesStoreNothing(t *testing.T) {
	t.Parallel()
	_, app := pgtest.NewURLs(t)
	store := open(t, app)
	records := []record{sampleFamily(t, 1, nil)}
	for n := range 20 {
		records = append(records, sampleWinding(t, n, 1, nil))
	}
	good := write(t, records...)
	bad := map[string]string{
		"other byte":         strings.Replace(good, `"resistance_ohm":9.50`, `"resistance_ohm":9.51`, 1),
		"line left out":      strings.Replace(good, strings.SplitAfter(good, "\n")[3], "", 1),
		"something follows":  good + "{}\n",
		"no manifest":        strings.SplitAfterN(good, "\n", 2)[1],
		"not JSON":           "hello\n",
		"empty":              "",
		"line far too long":  strings.Replace(good, "demo record", strings.Repeat("x", 2<<20), 1),
		"format of tomorrow": strings.Replace(good, `"format":1`, `"format":2`, 1),
	}
	for tenth := 1; tenth < 10; tenth++ {
		bad["cut at "+string(rune('0'+tenth))+"0 %"] = good[:len(good)*tenth/10]
	}
	for name, text := range bad {
		_, err := store.Import(t.Context(), reader(text), postgres.ImportOptions{})
		require.Error(t, err, name)
		require.NotEqual(t, errs.KindInternal, errs.KindOf(err), "%s: %v", name, err)
		var line *bundle.LineError
		require.ErrorAs(t, err, &line, name)
	}
	page, err := store.Families(t.Context(), catalog.FamilyFilter{}, catalog.PageRequest{})
	require.NoError(t, err)
	require.Empty(t, page.Items)
	revision, err := store.CatalogueRevision(t.Context())
	require.NoError(t, err)
	require.Zero(t, revision)
	report, _ := imported(t, store, good, postgres.ImportOptions{})
	require.Equal(t, 21, report.Counts[catalog.OutcomeNew], "and the good one goes in after all")
}

func TestBadLinesDoNotStopTheOthers(t *testing.T) {
	t.Parallel()
	_, app := pgtest.NewURLs(t)
	store := open(t, app)
	wrong := sampleWinding(t, 2, 1, func(w *bundle.Winding) { w.Scheme.CoilSets[0].Wires[0].Strands = 99; w.MotorType = "steam" })
	text := write(t, sampleFamily(t, 1, nil), wrong, sampleWinding(t, 3, 1, nil))
	_, err := store.Import(t.Context(), reader(text), postgres.ImportOptions{OnRow: func(catalog.ImportRow) error { return errors.New("the terminal is gone") }})
	require.ErrorContains(t, err, "the terminal is gone")
	report, _ := imported(t, store, text, postgres.ImportOptions{Strict: true})
	require.False(t, report.Applied, "strict: one bad line, nothing stored")
	report, rows := imported(t, store, text, postgres.ImportOptions{})
	require.True(t, report.Applied)
	require.Equal(t, map[catalog.Outcome]int{catalog.OutcomeNew: 2, catalog.OutcomeRefused: 1}, report.Counts)
	require.Equal(t, wrong.id, rows[3].ID)
	require.Len(t, rows[3].Fields, 2, "all mistakes of a line together: %+v", rows[3].Fields)
	require.Contains(t, rows[3].Fields[0].Pointer, "/body/")
}

// TestTwoImportsOfOneFile races: one stores, the others find everything there.
func TestTwoImportsOfOneFile(t *testing.T) {
	t.Parallel()
	_, app := pgtest.NewURLs(t)
	store := open(t, app)
	records := []record{sampleWire(t, nil), sampleFamily(t, 1, nil)}
	for n := range 50 {
		records = append(records, sampleWinding(t, n, 1, nil))
	}
	text := write(t, records...)
	reports := make([]catalog.ImportReport, 4)
	var done sync.WaitGroup
	failed := make([]error, len(reports))
	for i := range reports {
		done.Go(func() {
			reports[i], failed[i] = store.Import(t.Context(), reader(text), postgres.ImportOptions{Credit: &school})
		})
	}
	done.Wait()
	applied := 0
	for i, r := range reports {
		require.NoError(t, failed[i])
		require.Equal(t, int64(1), r.Revision)
		if r.Applied {
			applied++
			require.Equal(t, map[catalog.Outcome]int{catalog.OutcomeNew: 52}, r.Counts)
		} else {
			require.Equal(t, map[catalog.Outcome]int{catalog.OutcomeSame: 52}, r.Counts)
		}
	}
	require.Equal(t, 1, applied)
}

// TestRevisionIsSeenElsewhere shows what a polling process relies on: as soon as the revision is
// seen, so are the records.
func TestRevisionIsSeenElsewhere(t *testing.T) {
	t.Parallel()
	_, app := pgtest.NewURLs(t)
	writer, other := open(t, app), open(t, app)
	for n := 1; n <= 5; n++ {
		report, _ := imported(t, writer, write(t, sampleFamily(t, n, nil)), postgres.ImportOptions{})
		seen, err := other.CatalogueRevision(t.Context())
		require.NoError(t, err)
		require.Equal(t, []int64{int64(n), int64(n)}, []int64{report.Revision, seen})
		_, err = other.Family(t.Context(), sampleID("f", n))
		require.NoError(t, err)
	}
}
