package httpapi_test

import (
	"fmt"
	"net/http"
	"strings"
	"sync"
	"testing"

	"statorbook/internal/bundle"
	"statorbook/internal/catalog"

	"github.com/stretchr/testify/require"
)

const windingsAt, familiesAt = "/v1/windings", "/v1/stator-families"

// The whole life of a winding record, each step with its status, headers and refusals.
func TestLifeOverHTTP(t *testing.T) {
	t.Parallel()
	s := openSchool(t)
	made := s.done(201, "author", "POST", windingsAt, sheetBody(66))
	id := made.At(t, "id").(string)
	at := windingsAt + "/" + id
	require.Equal(t, at, made.Header.Get("Location"))
	require.Equal(t, `"draft-1"`, made.Header.Get("ETag"))
	require.Equal(t, "no-store", made.Header.Get("Cache-Control"))
	require.Equal(t, "draft", made.At(t, "state"))
	require.Equal(t, demoSchool, made.At(t, "institute"))
	require.Equal(t, "demo-p1", made.At(t, "author"))
	require.Contains(t, made.Text(), `"gap_diameter_mm":60.50`, "digits stay as typed")

	// RFC 9110 section 13.1.1 and RFC 6585 section 3: no condition, a stale one, a weak one, the right one, any.
	require.Equal(t, "IF_MATCH_REQUIRED", s.done(428, "author", "PUT", at, sheetBody(67)).Problem(t).Errors[0].Code)
	s.done(412, "author", "PUT", at, sheetBody(67), `If-Match: "draft-2"`)
	s.done(412, "author", "PUT", at, sheetBody(67), `If-Match: W/"draft-1"`)
	for _, held := range []string{`*`, `"draft-1"`, `W/"draft-1"`, `"x", "draft-1-gzip"`} { // RFC 9110 section 13.1.2: not if it is there
		s.done(412, "author", "PUT", at, sheetBody(67), `If-Match: "draft-1"`, `If-None-Match: `+held)
	}
	bare := s.done(412, "author", "PUT", at, sheetBody(67), `If-Match: draft-1`).Problem(t)
	require.Contains(t, bare.Detail, "double quotes", "the etag of the body stands without them")
	require.Equal(t, []string{"If-Match", "draft-1"}, []string{bare.Errors[0].Header, bare.Errors[0].Got})
	edited := s.done(200, "author", "PUT", at, sheetBody(67), `If-Match: "other", "draft-1-gzip"`)
	require.Equal(t, `"draft-2"`, edited.Header.Get("ETag"))
	require.NotEqual(t, made.At(t, "sha256"), edited.At(t, "sha256"))
	s.done(200, "author", "PUT", at, sheetBody(67), `If-Match: *`)

	s.done(403, "other author", "PUT", at, sheetBody(68), `If-Match: *`)
	s.done(403, "other author", "POST", at+"/submission", "")
	s.done(409, "vetter", "POST", at+"/vetting", `{"sha256":"`+edited.At(t, "sha256").(string)+`"}`)
	submitted := s.done(200, "author", "POST", at+"/submission", "{}")
	require.Equal(t, "submitted", submitted.At(t, "state"))
	s.done(409, "author", "POST", at+"/submission", "")

	// Four eyes: the author by any key of his, then the vetter who read something else, or answers too little.
	checklist := answersTo(t, submitted)
	s.done(403, "author with all scopes", "POST", at+"/vetting", checklist)
	s.done(412, "vetter", "POST", at+"/vetting", `{"sha256":"`+strings.Repeat("0", 64)+`"}`)
	s.done(400, "vetter", "POST", at+"/vetting", `{"sha256":"x"}`)
	require.NotEmpty(t, submitted.List(t, "findings"), "the sheet has something to answer")
	require.Equal(t, catalog.CodeUnanswered, s.done(422, "vetter", "POST", at+"/vetting", `{"sha256":"`+submitted.At(t, "sha256").(string)+`"}`).Problem(t).Errors[0].Code)
	require.Equal(t, catalog.CodeNeedsReason, s.done(422, "vetter", "POST", at+"/vetting", strings.ReplaceAll(checklist, "looked at (demo)", "")).Problem(t).Errors[0].Code)

	back := s.done(200, "vetter", "POST", at+"/return", `{"reason":"count the turns again (demo)"}`)
	require.Equal(t, "draft", back.At(t, "state"))
	require.Equal(t, "count the turns again (demo)", s.done(200, "author", "GET", at, "").At(t, "returned_for"))
	s.done(200, "author", "PUT", at, sheetBody(66), "If-Match: "+back.Header.Get("ETag"))
	submitted = s.done(200, "author", "POST", at+"/submission", "")
	s.done(409, "publisher", "POST", at+"/publication", "")
	vetted := s.done(200, "vetter", "POST", at+"/vetting", answersTo(t, submitted))
	require.Equal(t, "demo-p2", vetted.At(t, "vetter"))
	require.Equal(t, "looked at (demo)", vetted.At(t, "answers", 0, "reason"), "whoever publishes reads why it stands")

	// An edit voids the vetting; the same content again does not.
	s.done(200, "author", "PUT", at, sheetBody(66), "If-Match: "+vetted.Header.Get("ETag"))
	require.Equal(t, "vetted", s.done(200, "vetter", "GET", at, "").At(t, "state"))
	require.Nil(t, s.done(200, "author", "PUT", at, sheetBody(65), "If-Match: *").At(t, "answers"))
	s.done(409, "publisher", "POST", at+"/publication", "")
	submitted = s.done(200, "author", "POST", at+"/submission", "")
	s.done(200, "vetter", "POST", at+"/vetting", answersTo(t, submitted))

	s.done(403, "vetter", "POST", at+"/publication", "")
	s.done(400, "publisher", "POST", at+"/publication", `{"slug":"in"}`)
	taken := s.done(409, "publisher", "POST", at+"/publication", `{"slug":"demo-ceiling-fan-01-a"}`)
	require.Equal(t, "SLUG_TAKEN", taken.Problem(t).Errors[0].Code)
	published := s.done(200, "publisher", "POST", at+"/publication", `{"slug":"demo-life-370"}`)
	require.Equal(t, []any{"published", 1.0, "demo-life-370", "demo"},
		[]any{published.At(t, "state"), published.At(t, "revision"), published.At(t, "slug"), published.At(t, "status")})
	require.NotEmpty(t, published.List(t, "answers"))
	require.Equal(t, published.Text(), s.done(200, "anonymous", "GET", windingsAt+"/demo-life-370", "").Text())
	s.done(409, "author", "PUT", at, sheetBody(70), "If-Match: *")

	// Correct, publish again, withdraw.
	s.done(403, "foreign", "POST", at+"/erratum", `{"reason_code":"written_wrong","reason":"demo"}`)
	draft := s.done(200, "other author", "POST", at+"/erratum", `{"reason_code":"written_wrong","reason":"demo"}`)
	require.Equal(t, []any{1.0, "written_wrong", "demo", nil}, []any{draft.At(t, "base_revision"), draft.At(t, "reason_code"), draft.At(t, "corrected_for"), draft.At(t, "withdrawn_reason")})
	s.done(409, "author", "POST", at+"/erratum", `{"reason_code":"written_wrong","reason":"demo"}`)
	require.Equal(t, "published", s.done(200, "other author", "GET", at, "").At(t, "state"))
	require.Equal(t, "draft", s.done(200, "other author", "GET", at+"?view=draft", "").At(t, "state"))
	s.done(404, "foreign", "GET", at+"?view=draft", "")
	s.done(200, "other author", "PUT", at, sheetBody(64), `If-Match: "draft-1"`)
	submitted = s.done(200, "other author", "POST", at+"/submission", "")
	s.done(200, "vetter", "POST", at+"/vetting", answersTo(t, submitted))
	s.done(422, "publisher", "POST", at+"/publication", `{"slug":"demo-another-name"}`)
	second := s.done(200, "publisher", "POST", at+"/publication", "")
	require.Equal(t, []any{2.0, "demo", nil}, []any{second.At(t, "revision"), second.At(t, "corrected_for"), second.At(t, "withdrawn_reason")})
	corrected := page(t, shop{Host: s.Host}, "/windings/demo-life-370", 200).Text()
	require.NotContains(t, corrected, "withdrawn", "a correction is no withdrawal")
	require.Contains(t, corrected, "It corrects an earlier revision:</b> demo")
	s.done(403, "foreign", "POST", at+"/withdrawal", `{"reason_code":"unsafe","reason":"demo"}`)
	withdrawn := s.done(200, "publisher", "POST", at+"/withdrawal", `{"reason_code":"unsafe","reason":"burns (demo)"}`)
	require.Equal(t, []any{"withdrawn", "burns (demo)", nil, 3.0}, []any{withdrawn.At(t, "status"), withdrawn.At(t, "withdrawn_reason"), withdrawn.At(t, "corrected_for"), withdrawn.At(t, "revision")})
	s.done(409, "publisher", "POST", at+"/withdrawal", `{"reason_code":"unsafe","reason":"demo"}`)
	s.done(409, "author", "POST", at+"/erratum", `{"reason_code":"other","reason":"demo"}`)

	s.checkRevisions(at, []string{"publication", "erratum", "withdrawal"}, []string{"superseded", "superseded", "withdrawn"})
	require.Contains(t, s.done(200, "anonymous", "GET", at+"/revisions/1", "").Text(), "[65,52]")
	s.done(404, "anonymous", "GET", at+"/revisions/4", "")
	s.done(404, "anonymous", "GET", at+"/revisions/0", "")
	s.done(404, "anonymous", "GET", at+"/revisions/01", "") // one address for each revision
}

// A correction is worked on under the slug of its record as under the id (rule 3 of the contract), and
// nobody else learns of it.
func TestCorrectionBySlug(t *testing.T) {
	t.Parallel()
	s := openSchool(t)
	for _, kind := range []struct{ at, body, edited string }{
		{windingsAt, sheetBody(66), sheetBody(67)},
		{familiesAt, familyBody(1), familyBody(2)},
	} {
		id := s.bring(kind.at, kind.body, catalog.Vetted, "author", "vetter", "publisher")
		s.done(200, "publisher", "POST", kind.at+"/"+id+"/publication", `{"slug":"demo-by-slug"}`)
		at := kind.at + "/demo-by-slug"
		s.done(409, "author", "PUT", at, kind.edited, "If-Match: *")
		s.done(403, "foreign", "PUT", at, kind.edited, "If-Match: *")
		s.done(409, "author", "POST", at+"/submission", "")
		s.done(404, "author", "GET", at+"?view=draft", "")
		s.done(200, "author", "POST", at+"/erratum", `{"reason_code":"written_wrong","reason":"demo"}`)
		s.done(200, "author", "GET", at+"?view=draft", "")
		for _, who := range []string{"foreign", "anonymous"} {
			s.done(404, who, "GET", at+"?view=draft", "")
		}
		s.done(403, "foreign", "POST", at+"/submission", "")
		s.done(428, "author", "PUT", at, kind.edited)
		s.done(412, "author", "PUT", at, kind.edited, `If-Match: "draft-2"`)
		s.done(200, "author", "PUT", at, kind.edited, `If-Match: "draft-1"`)
		s.done(200, "author", "POST", at+"/submission", "")
		s.done(200, "vetter", "POST", at+"/return", `{"reason":"demo"}`)
		submitted := s.done(200, "author", "POST", at+"/submission", "")
		s.done(200, "vetter", "POST", at+"/vetting", answersTo(t, submitted))
		require.Equal(t, 2.0, s.done(200, "publisher", "POST", at+"/publication", "").At(t, "revision"))
		for _, ref := range []string{"%00", "demo_x", "%ff", "demo--x"} { // never reaches the database
			s.done(404, "author", "GET", kind.at+"/"+ref+"?view=draft", "")
		}
	}
}

// checkRevisions holds the list of revisions and their signed statements against what was done.
func (s *school) checkRevisions(at string, changes, states []string) {
	t := s.t
	list := s.done(200, "anonymous", "GET", at+"/revisions", "")
	require.Len(t, list.List(t, "items"), len(changes))
	for i := range changes {
		require.Equal(t, changes[i], list.At(t, "items", i, "change"))
		require.Equal(t, states[i], list.At(t, "items", i, "state"))
		opened, err := bundle.OpenStatement([]byte(list.At(t, "items", i, "statement").(string)), s.signed)
		require.NoError(t, err)
		require.Len(t, opened.Signers, 1)
		require.Equal(t, changes[i], opened.Act)
		require.Equal(t, i+1, opened.Revision)
		require.Equal(t, list.At(t, "items", i, "sha256"), opened.SHA256)
		require.NotEqual(t, opened.Author, opened.Vetter)
	}
	first := s.done(200, "anonymous", "GET", at+"/revisions?page_size=1", "")
	require.Len(t, first.List(t, "items"), 1)
	if len(changes) > 1 {
		next := s.done(200, "anonymous", "GET", first.At(t, "next").(string), "")
		require.Equal(t, 2.0, next.At(t, "items", 0, "revision"))
	}
}

// A family goes the same way; its stacks get ids, and a winding on it waits until it is public.
func TestFamilyOverHTTP(t *testing.T) {
	t.Parallel()
	s := openSchool(t)
	id := s.bring(familiesAt, familyBody(1), catalog.Vetted, "author", "vetter", "publisher")
	core := s.done(200, "author", "GET", familiesAt+"/"+id, "").At(t, "cores", 0, "id").(string)
	sheet := strings.Replace(sheetBody(66), `"motor_type"`, `"family_id":"`+id+`","core_id":"`+core+`","motor_type"`, 1)
	winding := s.bring(windingsAt, sheet, catalog.Vetted, "author", "vetter", "publisher")
	early := s.done(409, "publisher", "POST", windingsAt+"/"+winding+"/publication", "")
	require.Equal(t, "FAMILY_NOT_PUBLISHED", early.Problem(t).Errors[0].Code)
	s.done(200, "publisher", "POST", familiesAt+"/"+id+"/publication", `{"slug":"demo-pump-own"}`)
	s.done(200, "publisher", "POST", windingsAt+"/"+winding+"/publication", "")
	require.Len(t, s.done(200, "anonymous", "GET", windingsAt+"?family=demo-pump-own", "").List(t, "items"), 1)
	late := s.bring(windingsAt, sheet, catalog.Vetted, "author", "vetter", "publisher")
	require.Len(t, s.done(200, "anonymous", "GET", windingsAt+"?family="+id+"&institute="+demoSchool, "").List(t, "items"), 1)
	require.Empty(t, s.done(200, "anonymous", "GET", windingsAt+"?family="+id+"&institute="+otherSchool, "").List(t, "items"))

	draft := s.done(200, "author", "POST", familiesAt+"/"+id+"/erratum", `{"reason_code":"completed","reason":"demo"}`)
	require.Equal(t, core, draft.At(t, "cores", 0, "id"))
	stolen := strings.Replace(familyBody(2), `{"stack_length_mm":28.0}`, `{"id":"`+core+`","stack_length_mm":28.0}`, 1)
	thief := s.bring(familiesAt, stolen, catalog.Vetted, "author", "vetter", "publisher")
	require.Equal(t, "CORE_TAKEN", s.done(409, "publisher", "POST", familiesAt+"/"+thief+"/publication", "").Problem(t).Errors[0].Code)
	s.done(422, "author", "POST", familiesAt, strings.Replace(familyBody(3), `"gap_diameter_mm":60.5`, `"gap_diameter_mm":160.5`, 1))
	s.done(200, "publisher", "POST", familiesAt+"/"+id+"/withdrawal", `{"reason_code":"duplicate","reason":"demo"}`)
	s.checkRevisions(familiesAt+"/"+id, []string{"publication", "withdrawal"}, []string{"superseded", "withdrawn"})
	gone := s.done(409, "publisher", "POST", windingsAt+"/"+late+"/publication", "").Problem(t).Errors[0]
	require.Equal(t, "FAMILY_WITHDRAWN", gone.Code, "nobody is told to publish what was withdrawn")
}

// What is missing for a submission is named together.
func TestSubmissionWantsEnough(t *testing.T) {
	t.Parallel()
	s := openSchool(t)
	id := s.done(201, "author", "POST", windingsAt, "{}").At(t, "id").(string)
	p := s.done(422, "author", "POST", windingsAt+"/"+id+"/submission", "").Problem(t)
	var missing []string
	for _, e := range p.Errors {
		missing = append(missing, *e.Pointer)
	}
	require.ElementsMatch(t, []string{"/motor_type", "/origin", "/core_as_measured", "/scheme/poles", "/scheme/coil_sets", "/source", "/licence"}, missing)
}

// Sightings count once a job; a problem report shows until it is answered.
func TestWitnesses(t *testing.T) {
	t.Parallel()
	s := openSchool(t)
	at := windingsAt + "/" + s.bring(windingsAt, sheetBody(66), catalog.Published, "author", "vetter", "publisher")
	require.Equal(t, 2.0, s.done(200, "foreign", "POST", at+"/sightings", `{"job":"demo-job-1"}`).At(t, "times_seen"))
	require.Equal(t, "SEEN_FOR_THIS_JOB", s.done(409, "foreign vetter", "POST", at+"/sightings", `{"job":"demo-job-1"}`).Problem(t).Errors[0].Code)
	require.Equal(t, 3.0, s.done(200, "vetter", "POST", at+"/sightings", `{"job":"demo-job-1"}`).At(t, "times_seen"))

	report := s.done(201, "foreign", "POST", at+"/problem-reports", `{"text":"gets hot (demo)"}`)
	require.Equal(t, true, report.At(t, "open"))
	require.Equal(t, 1.0, s.done(200, "anonymous", "GET", at, "").At(t, "open_problem_reports"))
	answer := at + "/problem-reports/" + report.At(t, "id").(string) + "/answer"
	s.done(403, "foreign", "POST", answer, `{"answer":"no"}`)
	s.done(403, "author", "POST", answer, `{"answer":"no"}`)
	require.Equal(t, false, s.done(200, "publisher", "POST", answer, `{"answer":"corrected (demo)"}`).At(t, "open"))
	s.done(409, "publisher", "POST", answer, `{"answer":"again"}`)
	s.done(409, "publisher", "POST", at+"/problem-reports/x/answer", `{"answer":"again"}`)
	require.Nil(t, s.done(200, "anonymous", "GET", at, "").At(t, "open_problem_reports"))
	require.Equal(t, "corrected (demo)", s.done(200, "anonymous", "GET", at+"/problem-reports", "").At(t, "items", 0, "answer"))
}

// Idempotency (rows of reliability section 3): missing, malformed, replayed, of another request; 50 keys
// asked for 10 times each at once make 50 records and the same answers.
func TestOnceKeys(t *testing.T) {
	t.Parallel()
	s := openSchool(t)
	require.Equal(t, "IDEMPOTENCY_KEY_REQUIRED", s.Ask(t, "POST", windingsAt, sheetBody(66), s.header["author"]).Problem(t).Errors[0].Code)
	for _, bad := range []string{"", " ", `""`, "a b", `"a`, "ä", strings.Repeat("x", 201)} {
		a := s.Ask(t, "POST", windingsAt, sheetBody(66), s.header["author"], "Idempotency-Key: "+bad)
		require.Equal(t, 400, a.StatusCode, "%q: %s", bad, a.Text())
	}
	first := s.done(201, "author", "POST", windingsAt, sheetBody(66), `Idempotency-Key: "k-1"`)
	again := s.done(201, "author", "POST", windingsAt, sheetBody(66), `Idempotency-Key: k-1`)
	require.Equal(t, first.Text(), again.Text())
	for _, name := range []string{"Location", "ETag", "Content-Type"} {
		require.Equal(t, first.Header.Get(name), again.Header.Get(name))
	}
	require.Equal(t, "KEY_OF_ANOTHER_REQUEST", s.done(422, "author", "POST", windingsAt, sheetBody(67), `Idempotency-Key: k-1`).Problem(t).Errors[0].Code)
	s.done(201, "foreign", "POST", windingsAt, sheetBody(67), `Idempotency-Key: k-1`) // another institute's keys are its own

	before := len(s.drafts(catalog.Draft))
	var group sync.WaitGroup
	var lock sync.Mutex
	bodies := map[string]map[string]int{}
	for n := range 50 {
		for range 10 {
			group.Go(func() {
				key := fmt.Sprintf("race-%d", n)
				for {
					a := s.Send("POST", windingsAt, sheetBody(60), s.header["author"], "Idempotency-Key: "+key)
					if a.StatusCode == http.StatusConflict || a.StatusCode == http.StatusServiceUnavailable { // still running, or no connection free
						continue
					}
					lock.Lock()
					if bodies[key] == nil {
						bodies[key] = map[string]int{}
					}
					bodies[key][fmt.Sprint(a.StatusCode, a.Text())]++
					lock.Unlock()
					return
				}
			})
		}
	}
	group.Wait()
	require.Len(t, bodies, 50)
	for key, answers := range bodies {
		require.Len(t, answers, 1, "%s was answered in different ways", key)
		for text, n := range answers {
			require.True(t, strings.HasPrefix(text, "201"), text)
			require.Equal(t, 10, n)
		}
	}
	require.Len(t, s.drafts(catalog.Draft), before+50)
}

// drafts lists the drafts of the demo institute in a state.
func (s *school) drafts(state catalog.State) []any {
	var all []any
	for target := windingsAt + "?state=" + string(state) + "&page_size=200"; target != ""; {
		a := s.done(200, "vetter", "GET", target, "")
		all = append(all, a.List(s.t, "items")...)
		next, _ := a.At(s.t, "next").(string)
		target = next
	}
	return all
}

// stateOrder are the states of the matrix; "" is an id that there is none of.
var stateOrder = []catalog.State{"", catalog.Draft, catalog.Submitted, catalog.Vetted, catalog.Published, catalog.Withdrawn}
