package httpapi_test

import (
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"statorbook/internal/bundle"
	"statorbook/internal/catalog"
	"statorbook/internal/httpapi"
	"statorbook/internal/pgtest"
	"statorbook/internal/postgres"

	"github.com/stretchr/testify/require"
)

const demoSchool, otherSchool = "demo-winding-school", "demo-other-school"

// school is a server on the demo set with two institutes that hold keys: header gives the header of each.
type school struct {
	*httpapi.Host
	t      testing.TB
	store  *postgres.Store
	url    string
	header map[string]string
	signed *bundle.Keys // the verifier keys of both
	once   atomic.Int64
}

// members lists who holds which key. Two keys of one person are one person.
var members = []struct {
	name, institute, person string
	scopes                  []catalog.Scope
}{
	{"author", demoSchool, "demo-p1", []catalog.Scope{catalog.ScopeContribute}},
	{"author with all scopes", demoSchool, "demo-p1", catalog.Scopes()},
	{"vetter", demoSchool, "demo-p2", []catalog.Scope{catalog.ScopeVet}},
	{"publisher", demoSchool, "demo-p3", []catalog.Scope{catalog.ScopePublish}},
	{"other author", demoSchool, "demo-p4", []catalog.Scope{catalog.ScopeContribute}},
	{"steward", demoSchool, "demo-p5", []catalog.Scope{catalog.ScopeSteward}},
	{"colleague", demoSchool, "demo-p6", catalog.Scopes()},
	{"foreign", otherSchool, "demo-x1", catalog.Scopes()},
	{"foreign vetter", otherSchool, "demo-x2", catalog.Scopes()},
	{"revoked", demoSchool, "demo-p7", catalog.Scopes()},
	{"expired", demoSchool, "demo-p8", catalog.Scopes()},
}

func openSchool(t testing.TB) *school {
	t.Helper()
	_, url := pgtest.NewFrom(t, "httpapi-demo", fill)
	store, err := postgres.Open(t.Context(), url, postgres.WithConns(8))
	require.NoError(t, err)
	t.Cleanup(store.Close)
	s := &school{t: t, store: store, url: url, header: map[string]string{"anonymous": ""}}

	signer := map[string]string{}
	var verifiers []string
	for i, slug := range []string{demoSchool, otherSchool} {
		private, public, err := bundle.NewSigningKey(strings.NewReader(strings.Repeat(string(rune('a'+i)), 32)), slug)
		require.NoError(t, err)
		if slug == demoSchool { // the demo set has it already
			err = store.RotateSigningKey(t.Context(), catalog.Act{}, slug, public)
		} else {
			_, err = store.AddInstitute(t.Context(), catalog.Act{}, catalog.Institute{Slug: slug, Title: "Demo school (invented)", Demo: true}, public)
		}
		require.NoError(t, err)
		signer[slug], verifiers = private, append(verifiers, public)
	}
	s.signed, err = bundle.NewKeys(verifiers...)
	require.NoError(t, err)
	now := time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC)
	people := map[string]bool{}
	for i, m := range members {
		if !people[m.institute+m.person] {
			require.NoError(t, store.AddPerson(t.Context(), catalog.Act{}, m.institute, m.person))
			people[m.institute+m.person] = true
		}
		secret, made := secretOf(i), now.Add(-time.Hour)
		k := postgres.NewKey{ID: fmt.Sprintf("key%09d", i), SecretHash: sha256.Sum256([]byte(secret)), Days: 30, Now: made}
		if m.name == "expired" {
			k.Days, k.Now = 1, now.Add(-48*time.Hour)
		}
		_, err := store.IssueKey(t.Context(), catalog.Act{}, m.institute, m.person, m.scopes, k)
		require.NoError(t, err, m.name)
		if m.name == "revoked" {
			_, err := store.RevokeKey(t.Context(), catalog.Act{}, k.ID, now.Add(-time.Minute))
			require.NoError(t, err)
		}
		s.header[m.name] = "Authorization: Bearer sbk_" + k.ID + "_" + secret
	}
	snap := snapshotOf(t, store)
	s.Host = httpapi.NewHost(t, httpapi.Config{
		Snapshot: func() *httpapi.Snapshot { return snap }, Families: store, Windings: store, Drafts: store, Workflow: store, Witnesses: store,
		Keys: store, Changes: store,
		Sign: func(st bundle.Statement) ([]byte, error) { return bundle.SignStatement(signer[st.Institute], st) },
	})
	return s
}

// as sends a request with somebody's key; a POST gets a fresh Idempotency-Key unless one is among the headers.
func (s *school) as(who, method, target, body string, headers ...string) httpapi.Answer {
	s.t.Helper()
	return s.Ask(s.t, method, target, body, s.headers(who, method, headers)...)
}

func (s *school) headers(who, method string, headers []string) []string {
	if h := s.header[who]; h != "" {
		headers = append(headers, h)
	}
	if method == "POST" && !strings.Contains(strings.Join(headers, "\n"), "Idempotency-Key:") {
		headers = append(headers, fmt.Sprintf("Idempotency-Key: \"once-%d\"", s.once.Add(1)))
	}
	return headers
}

// done is as for a request that must be answered with status.
func (s *school) done(status int, who, method, target, body string, headers ...string) httpapi.Answer {
	s.t.Helper()
	a := s.as(who, method, target, body, headers...)
	require.Equal(s.t, status, a.StatusCode, "%s: %s %s: %s", who, method, target, a.Text())
	return a
}

// sheetBody is a coherent demo record; turns makes it another one.
func sheetBody(turns int) string {
	return fmt.Sprintf(`{"motor_type":"permanent_split_capacitor","origin":"factory",
		"core_as_measured":{"phases":1,"rotor_position":"inside","slots":24,"gap_diameter_mm":60.50,"stack_length_mm":45.0},
		"nameplate":{"voltage_v":230,"frequency_hz":50,"power_w":370},
		"scheme":{"poles":4,"coil_sets":[{"role":"main","pattern":{"kind":"concentric","throws":[6,4],"turns":[%d,52],"groups":4,"alternate":true},
			"wires":[{"system":"swg","size":"23","conductor":"copper","strands":1}]}]},
		"source":"measured on the bench (demo)","licence":"CC0-1.0","demo":true}`, turns)
}

// familyBody is a demo lamination; n makes it another one.
func familyBody(n int) string {
	return fmt.Sprintf(`{"title":"Demo pump %d","application":"pump","core":{"phases":1,"rotor_position":"inside","slots":24,"gap_diameter_mm":60.5,
		"back_diameter_mm":110,"tooth_width_mm":4.1,"slot_depth_mm":16,"slot_opening_mm":2.2,"back_iron_mm":8.6},
		"cores":[{"stack_length_mm":28.0},{"stack_length_mm":%d}],"source":"measured (demo)","licence":"CC0-1.0","demo":true}`, n, 40+n)
}

// answersTo accepts every finding of a record.
func answersTo(t testing.TB, record httpapi.Answer) string {
	t.Helper()
	var r struct {
		Findings []bundle.Finding `json:"findings"`
	}
	require.NoError(t, json.Unmarshal([]byte(record.Text()), &r))
	answers := []bundle.Answer{}
	for _, f := range r.Findings {
		answers = append(answers, bundle.Answer{Code: f.Code, Fields: f.Fields, Kind: "accepted", Reason: "looked at (demo)"})
	}
	text, err := json.Marshal(map[string]any{"sha256": record.At(t, "sha256"), "answers": answers})
	require.NoError(t, err)
	return string(text)
}

// bring takes a record of who's institute to a state and gives its id; the people are those of members.
func (s *school) bring(at, body string, state catalog.State, author, vetter, publisher string) string {
	s.t.Helper()
	id := s.done(201, author, "POST", at, body).At(s.t, "id").(string)
	here := at + "/" + id
	if state == catalog.Draft {
		return id
	}
	submitted := s.done(200, author, "POST", here+"/submission", "")
	if state == catalog.Submitted {
		return id
	}
	s.done(200, vetter, "POST", here+"/vetting", answersTo(s.t, submitted))
	if state == catalog.Vetted {
		return id
	}
	s.done(200, publisher, "POST", here+"/publication", "")
	if state == catalog.Published {
		return id
	}
	s.done(200, publisher, "POST", here+"/withdrawal", `{"reason_code":"wrong_data","reason":"demo"}`)
	return id
}
