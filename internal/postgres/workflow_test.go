package postgres_test

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"statorbook/internal/bundle"
	"statorbook/internal/catalog"
	"statorbook/internal/errs"
	"statorbook/internal/pgtest"
	"statorbook/internal/postgres"
)

// house is a store with an institute of four persons and its signing key.
type house struct {
	*postgres.Store
	owner, app string
	sign       func(bundle.Statement) ([]byte, error)
	once       atomic.Int64
}

const houseSlug = "demo-house"

func openHouse(t testing.TB) *house {
	t.Helper()
	owner, app := pgtest.NewURLs(t)
	return houseOn(t, owner, app)
}

// houseOn is a house in a migrated database.
func houseOn(t testing.TB, owner, app string) *house {
	t.Helper()
	h := &house{Store: open(t, app), owner: owner, app: app}
	private, public, err := bundle.NewSigningKey(strings.NewReader(strings.Repeat("h", 32)), houseSlug)
	require.NoError(t, err)
	h.sign = func(s bundle.Statement) ([]byte, error) { return bundle.SignStatement(private, s) }
	_, err = h.AddInstitute(t.Context(), catalog.Act{}, catalog.Institute{Slug: houseSlug, Title: "Demo house"}, public)
	require.NoError(t, err)
	for n := range 4 {
		require.NoError(t, h.AddPerson(t.Context(), catalog.Act{}, houseSlug, person(n)))
	}
	return h
}

func person(n int) string { return fmt.Sprintf("demo-p%d", n+1) }

// by is an act of a person, with all scopes and a fresh Idempotency-Key.
func (h *house) by(n int) catalog.Act {
	key := fmt.Sprintf("once-%d", h.once.Add(1))
	return catalog.Act{Actor: catalog.Actor{Institute: houseSlug, Person: person(n), Scopes: catalog.Scopes()}, KeyID: "k", RequestID: "r", Once: key, Request: catalog.Hash{1}}
}

// sheet is a record whose content n tells apart.
func sheet(t testing.TB, n int) catalog.Winding {
	record := sampleWinding(t, 1, 1, func(w *bundle.Winding) { w.CoreID, w.FamilyID, w.Demo, w.ID = "", "", false, "" })
	w := record.body.(*bundle.Winding).ToDomain()
	w.Remarks = fmt.Sprintf("content %d", n)
	return w
}

// kept gives the record that an act rendered.
func kept(into *catalog.Winding) catalog.Render {
	return func(record catalog.Record) (catalog.Reply, error) {
		*into = record.(catalog.Winding)
		return catalog.Reply{Status: 200, Body: []byte("{}")}, nil
	}
}

func (h *house) create(t testing.TB, by, n int) catalog.Winding {
	t.Helper()
	var w catalog.Winding
	_, err := h.CreateDraft(t.Context(), h.by(by), sheet(t, n), kept(&w))
	require.NoError(t, err)
	return w
}

func ref(id string) catalog.DraftRef { return catalog.DraftRef{Kind: catalog.KindWinding, ID: id} }

// vetted brings a record to the state in which it may be published.
func (h *house) vetted(t testing.TB, n int) catalog.Winding {
	t.Helper()
	w := h.create(t, 0, n)
	_, err := h.Submit(t.Context(), h.by(0), ref(w.ID), w.Hash, nil, kept(&w))
	require.NoError(t, err)
	_, err = h.Vet(t.Context(), h.by(1), ref(w.ID), w.Hash, nil, kept(&w))
	require.NoError(t, err)
	return w
}

// text asks the owner, who sees everything but what row-level security hides from him too.
func text(t testing.TB, url, sql string, args ...any) string {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), url)
	require.NoError(t, err)
	defer conn.Close(context.Background())
	var s string
	require.NoError(t, conn.QueryRow(t.Context(), sql, args...).Scan(&s))
	return s
}

// The rule of four eyes stands in the tables: as the role that serves, with raw SQL (row S2, goal G10).
func TestFourEyesInSQL(t *testing.T) {
	t.Parallel()
	h := openHouse(t)
	w := h.create(t, 0, 1)
	withRows(t, h.app, func(ctx context.Context, tx pgx.Tx) {
		_, err := tx.Exec(ctx, `SELECT set_config('statorbook.institute', id::text, true) FROM institute WHERE slug = $1`, houseSlug)
		require.NoError(t, err)
		for name, sql := range map[string]string{
			"vetted by the author":    `UPDATE winding_draft SET state = 'vetted', vetter_person_id = author_person_id, vetted_hash = content_hash, vetted_at = now()`,
			"vetted by nobody":        `UPDATE winding_draft SET state = 'vetted'`,
			"vetted another content":  `UPDATE winding_draft SET state = 'vetted', vetter_person_id = (SELECT id FROM person WHERE pseudonym = 'demo-p2'), vetted_hash = sha256('x'::bytea), vetted_at = now()`,
			"a vetting left standing": `UPDATE winding_draft SET vetted_hash = content_hash`,
			"published by nobody":     `INSERT INTO winding_revision (winding_id, revision, state, change, imported, demo, content_hash, body) SELECT id, 1, 'published', 'publication', false, false, content_hash, body FROM winding_draft`,
			"published by one": `INSERT INTO winding_revision (winding_id, revision, state, change, imported, demo, author_person_id, vetter_person_id, content_hash, body)
				SELECT id, 1, 'published', 'publication', false, false, author_person_id, author_person_id, content_hash, body FROM winding_draft`,
			"imported by one": `INSERT INTO winding_revision (winding_id, revision, state, change, imported, demo, author_person_id, content_hash, body)
				SELECT id, 1, 'published', 'publication', true, false, author_person_id, content_hash, body FROM winding_draft`,
		} {
			require.Equal(t, "23514", stateOf(ctx, t, tx, sql), name)
		}
		// The second wall: another institute's transaction sees and changes nothing, without any predicate.
		_, err = tx.Exec(ctx, `SELECT set_config('statorbook.institute', gen_random_uuid()::text, true)`)
		require.NoError(t, err)
		var seen int
		require.NoError(t, tx.QueryRow(ctx, `SELECT (SELECT count(*) FROM winding_draft) + (SELECT count(*) FROM vetting)`).Scan(&seen))
		require.Zero(t, seen)
		done, err := tx.Exec(ctx, `UPDATE winding_draft SET version = version + 1 WHERE id = $1`, w.ID)
		require.NoError(t, err)
		require.Zero(t, done.RowsAffected())
	})
}

// Each act leaves one audit row; one that is refused leaves none (row S31, goal G24).
func TestOneAuditRowEach(t *testing.T) {
	t.Parallel()
	h := openHouse(t)
	ctx := t.Context()
	var w catalog.Winding
	count := func() string { return text(t, h.owner, `SELECT count(*)::text FROM audit`) }
	id := ""
	report := ""
	answer := func(r catalog.ProblemReport) (catalog.Reply, error) {
		report = r.ID
		return catalog.Reply{Status: 201, Body: []byte("{}")}, nil
	}
	for _, step := range []struct {
		name string
		ok   bool
		do   func() error
	}{
		{"create", true, func() error { _, err := h.CreateDraft(ctx, h.by(0), sheet(t, 1), kept(&w)); id = w.ID; return err }},
		{"edit", true, func() error { _, err := h.EditDraft(ctx, h.by(0), ref(id), sheet(t, 2), kept(&w)); return err }},
		{"edit of an old version", false, func() error {
			_, err := h.EditDraft(ctx, h.by(0), catalog.DraftRef{Kind: catalog.KindWinding, ID: id, Versions: []int{1}}, sheet(t, 3), kept(&w))
			return err
		}},
		{"vet too early", false, func() error { _, err := h.Vet(ctx, h.by(1), ref(id), w.Hash, nil, kept(&w)); return err }},
		{"submit", true, func() error { _, err := h.Submit(ctx, h.by(0), ref(id), w.Hash, nil, kept(&w)); return err }},
		{"vet by the author", false, func() error { _, err := h.Vet(ctx, h.by(0), ref(id), w.Hash, nil, kept(&w)); return err }},
		{"return", true, func() error { _, err := h.Return(ctx, h.by(1), ref(id), "demo", kept(&w)); return err }},
		{"submit again", true, func() error { _, err := h.Submit(ctx, h.by(0), ref(id), w.Hash, nil, kept(&w)); return err }},
		{"vet", true, func() error { _, err := h.Vet(ctx, h.by(1), ref(id), w.Hash, nil, kept(&w)); return err }},
		{"publish without a key", false, func() error {
			_, err := h.Publish(ctx, h.by(2), ref(id), "", func(bundle.Statement) ([]byte, error) { return nil, errors.New("no key") }, kept(&w))
			return err
		}},
		{"publish with a key that is not registered", false, func() error {
			private, _, err := bundle.NewSigningKey(strings.NewReader(strings.Repeat("x", 32)), houseSlug)
			require.NoError(t, err)
			_, err = h.Publish(ctx, h.by(2), ref(id), "", func(s bundle.Statement) ([]byte, error) { return bundle.SignStatement(private, s) }, kept(&w))
			require.Equal(t, errs.KindUnavailable, errs.KindOf(err))
			return err
		}},
		{"publish", true, func() error { _, err := h.Publish(ctx, h.by(2), ref(id), "", h.sign, kept(&w)); return err }},
		{"sight", true, func() error { _, err := h.Sight(ctx, h.by(3), id, "job", kept(&w)); return err }},
		{"sight again", false, func() error { _, err := h.Sight(ctx, h.by(3), id, "job", kept(&w)); return err }},
		{"report", true, func() error { _, err := h.Report(ctx, h.by(3), catalog.KindWinding, id, "hot", answer); return err }},
		{"answer", true, func() error {
			_, err := h.AnswerReport(ctx, h.by(2), catalog.KindWinding, id, report, "done", answer)
			return err
		}},
		{"erratum", true, func() error {
			_, err := h.StartErratum(ctx, h.by(1), catalog.KindWinding, id, catalog.Reason{Code: "other", Text: "demo"}, kept(&w))
			return err
		}},
		{"withdraw", true, func() error {
			_, err := h.Withdraw(ctx, h.by(2), catalog.KindWinding, id, catalog.Reason{Code: "other", Text: "demo"}, h.sign, kept(&w))
			return err
		}},
		{"withdraw again", false, func() error {
			_, err := h.Withdraw(ctx, h.by(2), catalog.KindWinding, id, catalog.Reason{Code: "other", Text: "demo"}, h.sign, kept(&w))
			return err
		}},
	} {
		before := count()
		err := step.do()
		require.Equal(t, step.ok, err == nil, "%s: %v", step.name, err)
		var want int
		_, scanErr := fmt.Sscan(before, &want)
		require.NoError(t, scanErr)
		if step.ok {
			want++
		}
		require.Equal(t, fmt.Sprint(want), count(), step.name)
	}
	require.Equal(t, "demo-p3 k r publish winding vetted published", text(t, h.owner, `
		SELECT concat_ws(' ', p.pseudonym, a.key_id, a.request_id, a.action, a.record_kind, a.from_state, a.to_state)
		FROM audit a JOIN person p ON p.id = a.person_id WHERE a.action = 'publish'`))
}

// Row F16: of many who publish, vet or withdraw at once, one wins; an edit beside a vetting never leaves
// a vetting of what was not read.
func TestRacesOfActs(t *testing.T) {
	t.Parallel()
	h := openHouse(t)
	race := func(runners ...func() error) (won int) {
		var group sync.WaitGroup
		var n atomic.Int64
		for _, run := range runners {
			group.Go(func() {
				if sure(run) == nil {
					n.Add(1)
				}
			})
		}
		group.Wait()
		return int(n.Load())
	}
	for round := range 25 {
		w := h.create(t, 0, round)
		var unused [8]catalog.Winding
		_, err := h.Submit(t.Context(), h.by(0), ref(w.ID), w.Hash, nil, kept(&w))
		require.NoError(t, err)
		vet := func(n, i int) func() error {
			return func() error {
				_, err := h.Vet(t.Context(), h.by(n), ref(w.ID), w.Hash, nil, kept(&unused[i]))
				return err
			}
		}
		edit := func() error {
			_, err := h.EditDraft(t.Context(), h.by(0), ref(w.ID), sheet(t, 1000+round), kept(&unused[7]))
			return err
		}
		race(vet(1, 0), vet(2, 1), vet(3, 2), edit)
		record, err := h.Draft(t.Context(), h.by(0).Actor, catalog.KindWinding, w.ID)
		require.NoError(t, err)
		now := record.(catalog.Winding)
		require.Equal(t, catalog.Draft, now.State, "the edit came through, before or after the vetting, and voids it")
		require.NotEqual(t, w.Hash, now.Hash)

		_, err = h.Submit(t.Context(), h.by(0), ref(w.ID), now.Hash, nil, kept(&w))
		require.NoError(t, err)
		require.Equal(t, 1, race(vet(1, 0), vet(2, 1), vet(3, 2)), "one vetter")
		publish := func(i int) func() error {
			return func() error {
				_, err := h.Publish(t.Context(), h.by(i), ref(w.ID), "", h.sign, kept(&unused[i]))
				return err
			}
		}
		require.Equal(t, 1, race(publish(0), publish(1), publish(2), publish(3)), "one publisher")
		withdraw := func(i int) func() error {
			return func() error {
				_, err := h.Withdraw(t.Context(), h.by(i), catalog.KindWinding, w.ID, catalog.Reason{Code: "other", Text: "demo"}, h.sign, kept(&unused[i]))
				return err
			}
		}
		require.Equal(t, 1, race(withdraw(0), withdraw(1), withdraw(2)), "one withdrawal")
	}
	require.Equal(t, "25 25 50", text(t, h.owner, `SELECT concat_ws(' ', count(*) FILTER (WHERE change = 'publication'), count(*) FILTER (WHERE change = 'withdrawal'), (SELECT count(*) FROM statement)) FROM change`))
}

// life is the reference model of one record: the list of what is published, and the draft.
type life struct {
	id        string
	published []string // remarks of the revisions, "" for a withdrawal
	draft     string   // remarks of the draft
	state     catalog.State
	author    int
	base      int
}

// Random workflows on the store against the model (row S25): whatever is tried, what the model allows is
// done and nothing else, and only what another person vetted is ever published.
func TestStoreAgainstModel(t *testing.T) {
	t.Parallel()
	h := openHouse(t)
	content := 0
	walks, acts := 0, 0
	const fewest = 50
	until := time.Now().Add(8 * time.Second)
	rapid.Check(t, func(rt *rapid.T) {
		if acts > fewest && time.Now().After(until) {
			return // as many walks as there is time for; the pure rules have their own test
		}
		walks++
		content++
		first := h.create(t, 0, content)
		m := &life{id: first.ID, draft: first.Remarks, state: catalog.Draft}
		for range rapid.IntRange(4, 14).Draw(rt, "acts") {
			acts++
			content++
			m.step(rt, t, h, content)
		}
		m.check(t, h)
	})
	t.Logf("%d walks, %d acts", walks, acts)
	require.Greater(t, acts, fewest)
}

// step tries one act and holds the store's answer against the model's.
func (m *life) step(rt *rapid.T, t *testing.T, h *house, content int) {
	who := rapid.IntRange(0, 3).Draw(rt, "who")
	hash := m.hash(t, h)
	open := m.state != ""
	on := len(m.published) > 0 && m.published[len(m.published)-1] != ""
	var w catalog.Winding
	var err error
	want := false
	next := *m
	switch act := rapid.SampledFrom([]string{"edit", "submit", "submit", "vet", "vet", "return", "publish", "publish", "erratum", "withdraw"}).Draw(rt, "act"); act {
	case "edit":
		want = open && who == m.author
		next.draft, next.state = fmt.Sprintf("content %d", content), catalog.Draft
		_, err = h.EditDraft(t.Context(), h.by(who), ref(m.id), sheet(t, content), kept(&w))
	case "submit":
		want = m.state == catalog.Draft && who == m.author
		next.state = catalog.Submitted
		_, err = h.Submit(t.Context(), h.by(who), ref(m.id), hash, nil, kept(&w))
	case "vet":
		seen := hash
		stale := rapid.IntRange(0, 4).Draw(rt, "stale") == 0
		if stale {
			seen[0]++
		}
		want = m.state == catalog.Submitted && who != m.author && !stale
		next.state = catalog.Vetted
		_, err = h.Vet(t.Context(), h.by(who), ref(m.id), seen, nil, kept(&w))
	case "return":
		want = m.state == catalog.Submitted || m.state == catalog.Vetted
		next.state = catalog.Draft
		_, err = h.Return(t.Context(), h.by(who), ref(m.id), "demo", kept(&w))
	case "publish":
		want = m.state == catalog.Vetted && m.base == len(m.published)
		next.published, next.state = append(slices.Clone(m.published), m.draft), ""
		_, err = h.Publish(t.Context(), h.by(who), ref(m.id), "", h.sign, kept(&w))
	case "erratum":
		want = on && !open
		next.author, next.base, next.state = who, len(m.published), catalog.Draft
		if on {
			next.draft = m.published[len(m.published)-1]
		}
		_, err = h.StartErratum(t.Context(), h.by(who), catalog.KindWinding, m.id, catalog.Reason{Code: "other", Text: "demo"}, kept(&w))
	case "withdraw":
		want = on
		next.published = append(slices.Clone(m.published), "")
		_, err = h.Withdraw(t.Context(), h.by(who), catalog.KindWinding, m.id, catalog.Reason{Code: "other", Text: "demo"}, h.sign, kept(&w))
	}
	require.Equal(t, want, err == nil, "%+v by %d: %v", *m, who, err)
	if want {
		*m = next
	}
}

// hash is the content hash of the draft, if there is one.
func (m *life) hash(t *testing.T, h *house) catalog.Hash {
	record, err := h.Draft(t.Context(), h.by(0).Actor, catalog.KindWinding, m.id)
	require.Equal(t, m.state == "", errs.KindOf(err) == errs.KindNotFound, "%v", err)
	if err != nil {
		return catalog.Hash{}
	}
	w := record.(catalog.Winding)
	require.Equal(t, m.state, w.State)
	require.Equal(t, m.draft, w.Remarks)
	return w.Hash
}

// check holds what is published against the model, statements included.
func (m *life) check(t *testing.T, h *house) {
	if len(m.published) == 0 {
		return
	}
	list, _, err := h.Revisions(t.Context(), catalog.KindWinding, m.id, 0, 100)
	require.NoError(t, err)
	require.Len(t, list, len(m.published))
	for i, r := range list {
		w := r.Record.(catalog.Winding)
		require.NotEqual(t, w.Author, w.Vetter)
		s, err := bundle.ParseStatement(strings.SplitAfter(r.Statement, "\n\n")[0][:strings.Index(r.Statement, "\n\n")+1])
		require.NoError(t, err)
		require.Equal(t, i+1, s.Revision)
		require.Equal(t, fmt.Sprintf("%x", w.Hash[:]), s.SHA256)
		if m.published[i] == "" {
			require.Equal(t, catalog.Withdrawn, w.State)
			continue
		}
		require.Equal(t, m.published[i], w.Remarks)
	}
}

// BenchmarkPublish reports the publish transaction, on a database in memory if the machine has that.
func BenchmarkPublish(b *testing.B) {
	h := openHouse(b)
	waiting := make([]catalog.Winding, b.N)
	for i := range waiting {
		waiting[i] = h.vetted(b, i)
	}
	took := make([]time.Duration, b.N)
	b.ResetTimer()
	for i, w := range waiting {
		begun := time.Now()
		_, err := h.Publish(b.Context(), h.by(2), ref(w.ID), "", h.sign, kept(&w))
		took[i] = time.Since(begun)
		require.NoError(b, err)
	}
	slices.Sort(took)
	b.ReportMetric(float64(took[len(took)/2].Microseconds())/1000, "p50-ms")
	b.ReportMetric(float64(took[len(took)*99/100].Microseconds())/1000, "p99-ms")
}
