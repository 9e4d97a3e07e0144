package postgres_test

import (
	"bytes"
	"context"
	"encoding/hex"
	"io"
	"strings"
	"testing"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"

	"statorbook/internal/bundle"
	"statorbook/internal/catalog"
	"statorbook/internal/errs"
	"statorbook/internal/pgtest"
	"statorbook/internal/postgres"
)

// keyOf repeats a letter to 32 bytes for a key of an institute: keys of tests are the same in every run.
func keyOf(t testing.TB, institute, letter string) (signer, verifier string) {
	t.Helper()
	signer, verifier, err := bundle.NewSigningKey(strings.NewReader(strings.Repeat(letter, 32)), institute)
	require.NoError(t, err)
	return signer, verifier
}

func keysOf(t testing.TB, store *postgres.Store) *bundle.Keys {
	t.Helper()
	list, err := store.Verifiers(t.Context())
	require.NoError(t, err)
	keys, err := bundle.NewKeys(list...)
	require.NoError(t, err)
	return keys
}

// pin accepts the key of a foreign institute.
func pin(t testing.TB, store *postgres.Store, slug, verifier string) {
	t.Helper()
	require.NoError(t, store.AcceptSigningKey(t.Context(), catalog.Act{}, catalog.Institute{Slug: slug, Title: "Demo " + slug, Demo: true}, verifier))
}

// vouched is a record with the review that stands behind it.
type vouched struct {
	record
	institute, signer string
	change            func(*bundle.Statement)
	spoil             func(note string) string
}

// writeVouched makes a bundle of records, each with its review.
func writeVouched(t testing.TB, list ...vouched) string {
	t.Helper()
	var out bytes.Buffer
	w := bundle.NewWriter(&out)
	require.NoError(t, w.Manifest(sampleID("a", 1), 1, bundle.Manifest{Licence: "CC0-1.0", Title: "test"}))
	for _, v := range list {
		require.NoError(t, w.Write(v.kind, v.id, v.revision, v.body))
		if v.institute == "" {
			continue
		}
		sum, err := bundle.ContentHash(v.body)
		require.NoError(t, err)
		s := bundle.Statement{Act: "publication", Kind: v.kind, Record: v.id, Revision: v.revision, SHA256: hex.EncodeToString(sum[:]),
			Institute: v.institute, Author: "far-p1", Vetter: "far-p2"}
		if v.change != nil {
			v.change(&s)
		}
		var note []byte
		if v.signer != "" {
			note, err = bundle.SignStatement(v.signer, s)
			require.NoError(t, err)
		}
		if v.spoil != nil {
			note = []byte(v.spoil(string(note)))
		}
		require.NoError(t, w.Write(bundle.KindReview, v.id, v.revision, bundle.ReviewOf(s, string(note))))
	}
	require.NoError(t, w.Close())
	return out.String()
}

// real is a winding that is no demonstration.
func real(w *bundle.Winding) { w.Demo, w.Slug, w.FamilyID, w.CoreID = false, "", "", "" }

func TestImportKeepsTheProof(t *testing.T) {
	t.Parallel()
	_, app := pgtest.NewURLs(t)
	store := open(t, app)
	signer, verifier := keyOf(t, "far-school", "f")
	pin(t, store, "far-school", verifier)
	strange, stranger := keyOf(t, "odd-school", "o")
	text := writeVouched(t,
		vouched{record: sampleFamily(t, 1, nil), institute: "far-school", signer: signer},
		vouched{record: sampleWinding(t, 1, 1, real), institute: "far-school", signer: signer},
		vouched{record: sampleWinding(t, 2, 1, real), institute: "odd-school", signer: strange},
		vouched{record: sampleWinding(t, 3, 1, real), institute: "far-school"},
		vouched{record: sampleWinding(t, 4, 1, real)})
	report, rows := imported(t, store, text, postgres.ImportOptions{Keys: keysOf(t, store)})
	require.Equal(t, map[catalog.Outcome]int{catalog.OutcomeNew: 7, catalog.OutcomeIgnored: 2}, report.Counts)
	require.Equal(t, []string{"", "signer_unknown", "", "not_signed"}, []string{rows[5].Code, rows[7].Code, rows[8].Code, rows[9].Code})
	require.Equal(t, catalog.OutcomeNew, rows[5].Outcome, "a review shares the fate of its record")

	f, err := store.Family(t.Context(), sampleID("f", 1))
	require.NoError(t, err)
	require.Equal(t, []string{"far-school", "far-p1", "far-p2"}, []string{f.Institute, f.Author, f.Vetter})
	require.Equal(t, catalog.StatusDemo, f.Status, "a demonstration stays one, whoever vouches for it")
	w, err := store.Winding(t.Context(), sampleID("b", 1))
	require.NoError(t, err)
	require.Equal(t, []string{"far-school", "far-p1", "far-p2"}, []string{w.Institute, w.Author, w.Vetter})
	require.Equal(t, catalog.StatusForeign, w.Status, "never silently our own")
	for _, found := range w.Findings {
		require.NotEqual(t, catalog.UnprovedCode, found.Code)
	}
	held, err := store.Revision(t.Context(), catalog.KindWinding, sampleID("b", 1), 1)
	require.NoError(t, err)
	opened, err := bundle.OpenStatement([]byte(held.Statement), keysOf(t, store))
	require.NoError(t, err)
	require.Equal(t, sampleID("b", 1), opened.Record)
	for n, want := range map[int]string{2: "None of the keys that signed is known", 3: "far-school is not signed", 4: "without a vetting proof"} {
		w, err := store.Winding(t.Context(), sampleID("b", n))
		require.NoError(t, err)
		require.Equal(t, []string{"", ""}, []string{w.Author, w.Vetter})
		require.Equal(t, catalog.UnprovedCode, lastCode(w.Findings))
		require.Contains(t, w.Findings[len(w.Findings)-1].Message, want)
	}
	foreign, err := store.Signatory(t.Context(), "far-school")
	require.NoError(t, err)
	require.False(t, foreign.Own)

	report, rows = imported(t, store, text, postgres.ImportOptions{Keys: keysOf(t, store)})
	require.Equal(t, 7, report.Counts[catalog.OutcomeSame])
	require.False(t, report.Applied)
	require.Empty(t, rows[3].Code)
	pin(t, store, "odd-school", stranger)
	report, rows = imported(t, store, text, postgres.ImportOptions{Keys: keysOf(t, store)})
	require.Equal(t, []catalog.Outcome{catalog.OutcomeSame, catalog.OutcomeNew}, []catalog.Outcome{rows[6].Outcome, rows[7].Outcome}, "the key was pinned after its bundle")
	require.True(t, report.Applied)
}

// A record whose review does not hold is refused, and nothing else with it.
func TestImportRefusesFalseProofs(t *testing.T) {
	t.Parallel()
	_, app := pgtest.NewURLs(t)
	store := open(t, app)
	signer, verifier := keyOf(t, "far-school", "f")
	pin(t, store, "far-school", verifier)
	forged, _ := keyOf(t, "far-school", "g")
	other := func(s *bundle.Statement) { s.SHA256 = strings.Repeat("0", 64) }
	cases := map[string]struct {
		v    vouched
		code string // of the record, "" if it is taken
	}{
		"good":         {vouched{institute: "far-school", signer: signer}, ""},
		"other key":    {vouched{institute: "far-school", signer: forged}, ""}, // unknown: it proves nothing
		"other state":  {vouched{institute: "far-school", signer: signer, change: func(s *bundle.Statement) { s.Act, s.Reason = "withdrawal", "wrong" }}, "proof_of_other_state"},
		"other hash":   {vouched{institute: "far-school", signer: signer, change: other}, "proof_invalid"}, // the reader sees it
		"no hash":      {vouched{institute: "far-school", change: other}, "proof_invalid"},
		"spoilt":       {vouched{institute: "far-school", signer: signer, spoil: func(n string) string { return n[:len(n)-8] + "AAAAAAA\n" }}, "proof_invalid"},
		"not base64":   {vouched{institute: "far-school", signer: signer, spoil: func(n string) string { return n[:len(n)-8] + "!!!!!!!\n" }}, "proof_invalid"},
		"other vetter": {vouched{institute: "far-school", signer: signer, spoil: func(n string) string { return strings.Replace(n, "far-p2", "far-p3", 1) }}, "proof_invalid"},
	}
	for name, c := range cases {
		c.v.record = sampleWinding(t, 1, 1, real)
		text := writeVouched(t, c.v, vouched{record: sampleWinding(t, 2, 1, real), institute: "far-school", signer: signer})
		report, rows := imported(t, store, text, postgres.ImportOptions{Keys: keysOf(t, store), DryRun: true})
		require.Equal(t, c.code, rows[2].Code, "%s: %+v", name, rows)
		require.Equal(t, catalog.OutcomeNew, rows[4].Outcome, name)
		if c.code != "" {
			require.Equal(t, catalog.OutcomeRefused, rows[2].Outcome, name)
			require.NotEmpty(t, rows[2].Detail, name)
			require.Equal(t, 2, report.Counts[catalog.OutcomeRefused], "%s: %+v", name, rows)
		}
	}

	// A signature over a whole file that was changed spoils the whole file.
	var out bytes.Buffer
	w := bundle.NewWriter(&out)
	id, _, err := bundle.KeyIDOf(signer)
	require.NoError(t, err)
	require.NoError(t, w.Manifest(sampleID("a", 1), 1, bundle.Manifest{Institute: "far-school", Signer: id}))
	r := sampleWinding(t, 1, 1, real)
	require.NoError(t, w.Write(r.kind, r.id, r.revision, r.body))
	require.NoError(t, w.CloseSealed(signer))
	report, _ := imported(t, store, out.String(), postgres.ImportOptions{Keys: keysOf(t, store), DryRun: true})
	require.Equal(t, []string{"far-school"}, report.SealedBy)
	report, _ = imported(t, store, out.String(), postgres.ImportOptions{DryRun: true})
	require.Empty(t, report.SealedBy, "without the key the seal says nothing")
	at := strings.LastIndex(out.String(), `\n"}}`)
	broken := out.String()[:at-6] + "AAAA" + out.String()[at-2:]
	_, err = store.Import(t.Context(), reader(broken), postgres.ImportOptions{Keys: keysOf(t, store)})
	require.Equal(t, errs.KindImpossible, errs.KindOf(err), "%v", err)
	_, err = store.Winding(t.Context(), r.id)
	require.Equal(t, errs.KindNotFound, errs.KindOf(err))
}

// What an institute vouches for is replaced by its own proof only.
func TestProvedRecordsAreHeld(t *testing.T) {
	t.Parallel()
	_, app := pgtest.NewURLs(t)
	store := open(t, app)
	far, farKey := keyOf(t, "far-school", "f")
	odd, oddKey := keyOf(t, "odd-school", "o")
	own, ownKey := keyOf(t, "own-school", "w")
	pin(t, store, "far-school", farKey)
	pin(t, store, "odd-school", oddKey)
	_, err := store.AddInstitute(t.Context(), catalog.Act{}, catalog.Institute{Slug: "own-school", Title: "Own demo school"}, ownKey)
	require.NoError(t, err)
	o := postgres.ImportOptions{Keys: keysOf(t, store)}
	second := func(w *bundle.Winding) { real(w); w.Revision, w.Remarks = 2, "again" }

	imported(t, store, writeVouched(t, vouched{record: sampleWinding(t, 1, 1, real), institute: "far-school", signer: far}), o)
	_, rows := imported(t, store, writeVouched(t, vouched{record: sampleWinding(t, 1, 1, second)}), o)
	require.Equal(t, "held_here", rows[2].Code)
	_, rows = imported(t, store, writeVouched(t, vouched{record: sampleWinding(t, 1, 1, second), institute: "odd-school", signer: odd}), o)
	require.Equal(t, []string{"held_here", "review_without_record"}, []string{rows[2].Code, rows[3].Code})
	erratum := func(s *bundle.Statement) { s.Act, s.Reason = "erratum", "turns_miscounted" }
	_, rows = imported(t, store, writeVouched(t, vouched{record: sampleWinding(t, 1, 1, second), institute: "far-school", signer: far, change: erratum}), o)
	require.Equal(t, catalog.OutcomeNew, rows[2].Outcome)
	held, err := store.Revision(t.Context(), catalog.KindWinding, sampleID("b", 1), 2)
	require.NoError(t, err)
	require.Equal(t, "erratum", held.Change)
	w := held.Record.(catalog.Winding)
	require.Equal(t, "turns_miscounted", w.ReasonCode)

	_, rows = imported(t, store, writeVouched(t, vouched{record: sampleWinding(t, 2, 1, real), institute: "own-school", signer: own}), o)
	require.Equal(t, "own_record", rows[2].Code, "what we lost is not made ours again by a file")
	_, rows = imported(t, store, writeVouched(t, vouched{record: sampleWinding(t, 3, 1, real), institute: "far-school", signer: far},
		vouched{record: sampleWinding(t, 3, 1, second)}), o)
	require.Equal(t, []string{"", "held_here"}, []string{rows[2].Code, rows[4].Code}, "in one file too")
}

// publishes takes a record through the hands of an institute of this server and gives its id.
func publishes(t testing.TB, store *postgres.Store, institute, signer string, rec catalog.Record) string {
	t.Helper()
	kind := catalog.KindWinding
	if _, family := rec.(catalog.Family); family {
		kind = catalog.KindFamily
	}
	by := func(person string) catalog.Act {
		return catalog.Act{Actor: catalog.Actor{Institute: institute, Person: person, Scopes: catalog.Scopes()}}
	}
	var id string
	var hash catalog.Hash
	var findings []errs.Finding
	render := func(record catalog.Record) (catalog.Reply, error) {
		switch r := record.(type) {
		case catalog.Winding:
			id, hash, findings = r.ID, r.Hash, r.Findings
		case catalog.Family:
			id, hash, findings = r.ID, r.Hash, r.Findings
		}
		return catalog.Reply{Status: 200, Body: []byte("{}")}, nil
	}
	_, err := store.CreateDraft(t.Context(), by("own-p1"), rec, render)
	require.NoError(t, err)
	d := catalog.DraftRef{Kind: kind, ID: id}
	_, err = store.Submit(t.Context(), by("own-p1"), d, hash, findings, render)
	require.NoError(t, err)
	var answers []catalog.Answer
	for _, f := range findings {
		answers = append(answers, catalog.Answer{Code: f.Code, Fields: f.Fields, Kind: catalog.AnswerAccepted, Reason: "looked at twice"})
	}
	_, err = store.Vet(t.Context(), by("own-p2"), d, hash, answers, render)
	require.NoError(t, err)
	_, err = store.Publish(t.Context(), by("own-p2"), d, "", func(s bundle.Statement) ([]byte, error) { return bundle.SignStatement(signer, s) }, render)
	require.NoError(t, err)
	return id
}

// Two servers: what one publishes, signs and hands out, the other takes with its proof and hands on, and
// it comes home the same (reliability G18). A file that was changed on the way stores nothing (S29).
func TestExchangeWithProof(t *testing.T) {
	t.Parallel()
	_, firstURL := pgtest.NewURLs(t)
	secondOwner, secondURL := pgtest.NewURLs(t)
	first, second := open(t, firstURL), open(t, secondURL)
	signer, verifier := keyOf(t, "own-school", "w")
	_, err := first.AddInstitute(t.Context(), catalog.Act{}, catalog.Institute{Slug: "own-school", Title: "Own demo school"}, verifier)
	require.NoError(t, err)
	for _, person := range []string{"own-p1", "own-p2"} {
		require.NoError(t, first.AddPerson(t.Context(), catalog.Act{}, "own-school", person))
	}
	family := sampleFamily(t, 1, func(f *bundle.Family) { f.Demo, f.Slug, f.ID, f.Cores = false, "", "", f.Cores[:1] }).body.(*bundle.Family).ToDomain()
	ids := map[string]bool{publishes(t, first, "own-school", signer, family): true}
	for n := range 4 {
		w := sampleWinding(t, n, 1, real).body.(*bundle.Winding).ToDomain()
		w.ID, w.Slug = "", ""
		ids[publishes(t, first, "own-school", signer, w)] = true
	}
	sealed := sealedExport(t, first, "own-school", signer)
	report := bundle.Verify(reader(sealed), keysOf(t, first))
	require.True(t, report.OK(), "%+v", report.Problems)
	require.Equal(t, []int{5, 0, 5}, []int{report.Proved, report.Unproved, report.Reviews})

	pin(t, second, "own-school", verifier)
	countRows := func() (n int) {
		conn, err := pgx.Connect(t.Context(), secondOwner)
		require.NoError(t, err)
		defer conn.Close(context.Background())
		require.NoError(t, conn.QueryRow(t.Context(), `SELECT (SELECT count(*) FROM winding) + (SELECT count(*) FROM family) + (SELECT count(*) FROM statement) + (SELECT count(*) FROM person)`).Scan(&n))
		return n
	}
	tampered := 0
	for at := 0; at < len(sealed); at += len(sealed)/40 + 1 {
		flipped := []byte(sealed)
		flipped[at] ^= 1
		_, err := second.Import(t.Context(), bundle.NewReader(bytes.NewReader(flipped), bundle.Options{}), postgres.ImportOptions{Keys: keysOf(t, second)})
		require.Error(t, err, "byte %d of %d", at, len(sealed))
		tampered++
	}
	require.Greater(t, tampered, 30)
	require.Zero(t, countRows(), "tampered: nothing stored")

	in, _ := imported(t, second, sealed, postgres.ImportOptions{Keys: keysOf(t, second), Strict: true})
	require.True(t, in.Applied)
	require.Equal(t, []string{"own-school"}, in.SealedBy)
	require.Equal(t, map[catalog.Outcome]int{catalog.OutcomeNew: 10}, in.Counts, "5 records and 5 reviews")
	back := exported(t, second)
	require.Equal(t, contents(t, sealed), contents(t, back), "the same hashes, records and statements, 100 %")
	handed := bundle.Verify(reader(back), keysOf(t, first))
	require.Equal(t, []int{5, 0, 0}, []int{handed.Proved, handed.Unproved, handed.Failed}, "still proved by the first one's key")
	home, _ := imported(t, first, back, postgres.ImportOptions{Keys: keysOf(t, first)})
	require.Equal(t, map[catalog.Outcome]int{catalog.OutcomeSame: 10}, home.Counts, "nothing is new at home")
	for id := range ids {
		if w, err := second.Winding(t.Context(), id); err == nil {
			require.Equal(t, catalog.StatusForeign, w.Status)
			require.Equal(t, []string{"own-school", "own-p1", "own-p2"}, []string{w.Institute, w.Author, w.Vetter})
		}
	}
}

// sealedExport exports what an institute holds, signed as a whole.
func sealedExport(t testing.TB, store *postgres.Store, institute, signer string) string {
	t.Helper()
	id, _, err := bundle.KeyIDOf(signer)
	require.NoError(t, err)
	var out bytes.Buffer
	w := bundle.NewWriter(&out)
	_, err = store.Export(t.Context(), w, postgres.ExportOptions{Institute: institute, Manifest: bundle.Manifest{Institute: institute, Signer: id}})
	require.NoError(t, err)
	require.NoError(t, w.CloseSealed(signer))
	return out.String()
}

// contents gives kind, id, revision and hash of each line but the manifest.
func contents(t testing.TB, text string) map[string]string {
	t.Helper()
	all := map[string]string{}
	for r := reader(text); ; {
		line, err := r.Next()
		if err == io.EOF {
			return all
		}
		require.NoError(t, err)
		if line.Kind != bundle.KindManifest {
			all[string(line.Kind)+" "+line.ID] = line.SHA256
		}
	}
}

func TestExportOfOneInstituteAndSince(t *testing.T) {
	t.Parallel()
	_, app := pgtest.NewURLs(t)
	store := open(t, app)
	far, farKey := keyOf(t, "far-school", "f")
	pin(t, store, "far-school", farKey)
	o := postgres.ImportOptions{Keys: keysOf(t, store), Credit: &school}
	imported(t, store, write(t, sampleWire(t, nil), sampleFamily(t, 1, nil), sampleFamily(t, 2, nil), addedCore(1, 7, 33), sampleWinding(t, 1, 1, nil)), o)
	imported(t, store, writeVouched(t, vouched{record: sampleWinding(t, 2, 1, func(w *bundle.Winding) { w.Demo, w.Slug = false, "" }), institute: "far-school", signer: far}), o)
	text := func(o postgres.ExportOptions) map[string]string {
		var out bytes.Buffer
		w := bundle.NewWriter(&out)
		_, err := store.Export(t.Context(), w, o)
		require.NoError(t, err)
		require.NoError(t, w.Close())
		return contents(t, out.String())
	}
	of := text(postgres.ExportOptions{Institute: "far-school"})
	require.Len(t, of, 4, "%v", of)
	for _, want := range []string{"family " + sampleID("f", 1), "core " + sampleID("c", 7), "winding " + sampleID("b", 2), "review " + sampleID("b", 2)} {
		require.Contains(t, of, want, "its winding, with the family that it needs")
	}
	since := text(postgres.ExportOptions{Since: 1})
	require.Len(t, since, 3, "winding and review of the second import, and the family that they need: %v", since)
	require.Contains(t, since, "family "+sampleID("f", 1))
	require.Len(t, text(postgres.ExportOptions{}), 7)
	require.Empty(t, text(postgres.ExportOptions{Since: 2}))
	_, err := store.Export(t.Context(), bundle.NewWriter(io.Discard), postgres.ExportOptions{Institute: "no-school"})
	require.Equal(t, errs.KindNotFound, errs.KindOf(err))
	other, _ := keyOf(t, "far-school", "g")
	id, _, err := bundle.KeyIDOf(other)
	require.NoError(t, err)
	var nothing bytes.Buffer
	_, err = store.Export(t.Context(), bundle.NewWriter(&nothing), postgres.ExportOptions{Manifest: bundle.Manifest{Institute: "far-school", Signer: id}})
	require.Equal(t, errs.KindUnavailable, errs.KindOf(err), "a seal that nobody could check")
	require.Zero(t, nothing.Len())
}
