package httpapi

import (
	"context"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"statorbook/internal/catalog"
	"statorbook/internal/errs"

	"github.com/stretchr/testify/require"
)

// fuzzPosts are the addresses that FuzzBodies sends to.
var fuzzPosts = []string{
	"/v1/matches", "/v1/wire-equivalents", "/v1/wire-equivalents/batch", "/v1/wire-identifications", "/v1/wire-lengths",
	"/v1/winding-analyses", "/v1/winding-changes", "/v1/winding-checks", "/v1/test-verdicts",
}

// noRecords stands for an empty catalogue: a fuzzer that runs in many processes needs no database for
// the one field (winding_id of a test verdict) that asks storage. Everything else asserts on real Postgres.
type noRecords struct{ WindingStore }

func (noRecords) Winding(context.Context, string) (catalog.Winding, error) {
	return catalog.Winding{}, errs.New(errs.KindNotFound, "There is no such record.")
}

// FuzzBodies sends bytes to every address that reads a body: never a panic, never 5xx, never an
// empty answer, and JSON always.
func FuzzBodies(f *testing.F) {
	snap, err := demoSnapshot()
	require.NoError(f, err)
	h := newHost(f, Config{Snapshot: func() *Snapshot { return snap }, Windings: noRecords{}})
	tree := contractTree(f)
	ops := operations(f, tree)
	for i, path := range fuzzPosts {
		content := ops["POST "+path].body["requestBody"].(map[string]any)["content"].(map[string]any)["application/json"].(map[string]any)
		example, err := encodeJSON(content["example"])
		require.NoError(f, err)
		f.Add(i, example)
	}
	f.Add(0, []byte(`{"measurements":{"slots":{"value":14},"gap_diameter_mm":{"value":1e-9,"unit":"m","uncertainty":1e300}}}`))
	f.Add(5, []byte(`{"scheme":{"poles":2,"coil_sets":[{"role":"main","coils":[{"in":1,"out":360,"turns":0.001}],"wires":[]}]}}`))
	f.Fuzz(func(t *testing.T, which int, body []byte) {
		path := fuzzPosts[((which%len(fuzzPosts))+len(fuzzPosts))%len(fuzzPosts)]
		rec := httptest.NewRecorder()
		h.handler.ServeHTTP(rec, request("POST", path, string(body), "Content-Type: application/json"))
		require.Less(t, rec.Code, http.StatusInternalServerError, "%s %q: %s", path, body, rec.Body)
		require.True(t, strings.HasPrefix(rec.Body.String(), "{"), "%s %q: %s", path, body, rec.Body)
		if strings.Contains(rec.Body.String(), `"status":500`) {
			t.Fatalf("an item of a batch failed: %q: %s", body, rec.Body)
		}
	})
}

// FuzzQueries sends query strings to the addresses that read them.
func FuzzQueries(f *testing.F) {
	snap, err := seedSnapshot()
	require.NoError(f, err)
	h := newHost(f, Config{Snapshot: func() *Snapshot { return snap }})
	for _, q := range []string{"", "system=awg&size=4%2F0", "min_diameter_mm=1e-3&max_diameter_mm=2", "columns=id,size", "page_size=3&page_token=AAAA", "temperature_c=75&units=inch_pound"} {
		f.Add("awg-20", q)
	}
	f.Fuzz(func(t *testing.T, id, query string) {
		for _, path := range []string{"/v1/wires", "/v1/wires/" + id, "/v1/wires/" + id + "/equivalents", "/v1/insulation-classes/" + id} {
			for _, accept := range []string{"application/json", "text/csv"} {
				req := request("GET", path, "", "Accept: "+accept)
				req.URL.RawQuery = query
				rec := httptest.NewRecorder()
				h.handler.ServeHTTP(rec, req)
				require.Less(t, rec.Code, http.StatusInternalServerError, "%s?%s: %s", path, query, rec.Body)
				require.NotZero(t, rec.Body.Len())
			}
		}
	})
}
