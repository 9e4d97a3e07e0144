package httpapi_test

import (
	"fmt"
	"net/http"
	"strings"
	"testing"

	"statorbook/internal/bundle"
	"statorbook/internal/catalog"
	"statorbook/internal/httpapi"

	"github.com/stretchr/testify/require"
)

// signingPair is a pair of signing keys; the same letter gives the same pair.
func signingPair(t testing.TB, institute, letter string) (signer, verifier string) {
	t.Helper()
	signer, verifier, err := bundle.NewSigningKey(strings.NewReader(strings.Repeat(letter, 32)), institute)
	require.NoError(t, err)
	return signer, verifier
}

func pinBody(slug, title, verifier string) string {
	return fmt.Sprintf(`{"slug":%q,"title":%q,"verifier":%q}`, slug, title, verifier)
}

// TestInstitutesArePublic: everybody may see who signs with which key.
func TestInstitutesArePublic(t *testing.T) {
	t.Parallel()
	k := openKeyed(t, nil)
	_, verifier := signingPair(t, keySchool, "a")
	a := k.Ask(t, "GET", "/v1/institutes/"+keySchool, "")
	require.Equal(t, http.StatusOK, a.StatusCode)
	require.Equal(t, "Demo key school", a.At(t, "title"))
	require.Equal(t, true, a.At(t, "own"))
	require.Equal(t, true, a.At(t, "demo"))
	require.Equal(t, verifier, a.At(t, "keys", 0, "verifier"))
	require.True(t, strings.HasPrefix(verifier, fmt.Sprint(a.At(t, "keys", 0, "id"))+"+"))
	require.NotContains(t, a.Text(), "PRIVATE")
	require.Equal(t, http.StatusNotModified, k.Ask(t, "GET", "/v1/institutes/"+keySchool, "", "If-None-Match: "+a.Header.Get("ETag")).StatusCode)

	_, next := signingPair(t, keySchool, "b")
	require.NoError(t, k.store.RotateSigningKey(t.Context(), catalog.Act{}, keySchool, next))
	b := k.Ask(t, "GET", "/v1/institutes/"+keySchool, "")
	require.NotEqual(t, a.Header.Get("ETag"), b.Header.Get("ETag"))
	require.Equal(t, next, b.At(t, "keys", 0, "verifier"))
	require.Equal(t, verifier, b.At(t, "keys", 1, "verifier"), "the retired key stays, to prove what it signed")
	require.NotNil(t, b.At(t, "keys", 1, "retired_at"))

	list := k.Ask(t, "GET", "/v1/institutes?page_size=1", "")
	require.Equal(t, b.At(t), list.At(t, "items", 0), "one form, in the list and alone")
	rows := append(httpapi.WrongMethods("/v1/institutes/"+keySchool), httpapi.StrangeQueries("/v1/institutes/"+keySchool)...)
	for _, slug := range []string{"demo-no-school", "a", "A-B", "ä", "a b", "a--b", "-a", "\x00", "..", "'--", "%s", "00000000-0000-4000-8000-000000000000", strings.Repeat("a", 101), strings.Repeat("a", 5000)} {
		rows = append(rows, httpapi.Get("/v1/institutes/"+slug, 404, "UNKNOWN_ID", "id"))
	}
	httpapi.Refuse(t, k.Host, rows)
}

// TestPinOverHTTP: a steward, and nobody else, accepts the key of a foreign institute, once.
func TestPinOverHTTP(t *testing.T) {
	t.Parallel()
	k := openKeyed(t, nil)
	stewardID, steward := k.issue(t, "demo-p1", 30, catalog.ScopeSteward)
	_, others := k.issue(t, "demo-p2", 30, catalog.ScopeContribute, catalog.ScopeVet, catalog.ScopePublish)
	signer, verifier := signingPair(t, "demo-far-school", "f")
	body := pinBody("demo-far-school", "Demo far school", verifier)

	require.Equal(t, http.StatusUnauthorized, k.Ask(t, "POST", "/v1/institutes", body, "Idempotency-Key: one").StatusCode)
	require.Equal(t, http.StatusForbidden, k.Ask(t, "POST", "/v1/institutes", body, others, "Idempotency-Key: one").StatusCode)
	require.Equal(t, http.StatusBadRequest, k.Ask(t, "POST", "/v1/institutes", body, steward).StatusCode, "no Idempotency-Key")
	require.Equal(t, http.StatusNotFound, k.Ask(t, "GET", "/v1/institutes/demo-far-school", "").StatusCode, "nothing of these stayed")

	a := k.Ask(t, "POST", "/v1/institutes", body, steward, "Idempotency-Key: one")
	require.Equal(t, http.StatusCreated, a.StatusCode, "%s", a.Text())
	require.Equal(t, "/v1/institutes/demo-far-school", a.Header.Get("Location"))
	require.Equal(t, false, a.At(t, "own"))
	require.Equal(t, verifier, a.At(t, "keys", 0, "verifier"))
	again := k.Ask(t, "POST", "/v1/institutes", body, steward, "Idempotency-Key: one")
	require.Equal(t, a.Text(), again.Text(), "a repeated request counts once")
	require.Equal(t, a.Text(), k.Ask(t, "GET", "/v1/institutes/demo-far-school", "").Text())

	_, second := signingPair(t, "demo-far-school", "g")
	_, ours := signingPair(t, keySchool, "h")
	for name, c := range map[string]struct {
		body   string
		status int
		says   string
	}{
		"the same again":          {body, http.StatusConflict, "in use already"},
		"a second key":            {pinBody("demo-far-school", "Demo far school", second), http.StatusConflict, "must be retired first"},
		"our own institute":       {pinBody(keySchool, "Ours", ours), http.StatusConflict, "one of this server"},
		"another institute's key": {pinBody("demo-third", "Third", verifier), http.StatusUnprocessableEntity, "not of demo-third"},
		"the secret half":         {pinBody("demo-third", "Third", signer), http.StatusUnprocessableEntity, "secret half"},
		"no key":                  {pinBody("demo-third", "Third", "abc"), http.StatusUnprocessableEntity, "malformed"},
		"a spoilt key":            {pinBody("demo-third", "Third", strings.Replace(second, "demo-far-school", "demo-third", 1)), http.StatusUnprocessableEntity, "malformed"},
		"no title":                {pinBody("demo-third", "", second), http.StatusBadRequest, ""},
		"no slug":                 {pinBody("Demo Third", "Third", second), http.StatusBadRequest, ""},
		"set by the server":       {`{"slug":"demo-third","title":"T","verifier":"v","own":true}`, http.StatusBadRequest, "own"},
		"accepted by":             {`{"slug":"demo-third","title":"T","verifier":"v","accepted_by":"x"}`, http.StatusBadRequest, "accepted_by"},
	} {
		got := k.Ask(t, "POST", "/v1/institutes", c.body, steward, "Idempotency-Key: "+strings.ReplaceAll(name, " ", "-"))
		require.Equal(t, c.status, got.StatusCode, "%s: %s", name, got.Text())
		require.Contains(t, got.Text(), c.says, name)
		require.NotContains(t, got.Text(), signer[len(signer)-30:], name)
	}
	require.NotContains(t, k.log.String(), signer[len(signer)-30:])
	require.Equal(t, http.StatusNotFound, k.Ask(t, "GET", "/v1/institutes/demo-third", "").StatusCode)
	require.Contains(t, k.log.String(), `"route":"/v1/institutes"`)
	require.NotEmpty(t, stewardID)
}

// TestTwoKeysOfOnePerson are one actor: what one key stored under an Idempotency-Key the other repeats.
func TestTwoKeysOfOnePerson(t *testing.T) {
	t.Parallel()
	k := openKeyed(t, nil)
	_, one := k.issue(t, "demo-p1", 30, catalog.ScopeSteward)
	_, two := k.issue(t, "demo-p1", 30, catalog.ScopeSteward)
	_, verifier := signingPair(t, "demo-far-school", "f")
	body := pinBody("demo-far-school", "Demo far school", verifier)
	first := k.Ask(t, "POST", "/v1/institutes", body, one, "Idempotency-Key: same")
	require.Equal(t, http.StatusCreated, first.StatusCode)
	require.Equal(t, first.Text(), k.Ask(t, "POST", "/v1/institutes", body, two, "Idempotency-Key: same").Text())
	a, err := k.store.Authenticate(t.Context(), "key000000001", hashOf(1), k.at)
	require.NoError(t, err)
	b, err := k.store.Authenticate(t.Context(), "key000000002", hashOf(2), k.at)
	require.NoError(t, err)
	require.Equal(t, a.Actor, b.Actor)
}
