package httpapi_test

import (
	"fmt"
	"net/http"
	"strings"
	"sync"
	"sync/atomic"
	"testing"

	"statorbook/internal/httpapi"

	"github.com/stretchr/testify/require"
)

// routesOf lists every operation with ids that exist.
func routesOf(s shop) []httpapi.Route {
	return httpapi.Routes(map[string]string{
		"/v1/wires/": "awg-4-0", "/v1/stator-families/": s.demo.Families[0].Slug, "/v1/windings/": s.demo.Windings[0].Slug,
		"/v1/institutes/": "demo-winding-school",
	})
}

// Every operation answers its own example, or its bare address, with 200 and what the contract says.
func TestEveryOperationAnswers(t *testing.T) {
	t.Parallel()
	s := openShop(t)
	examples := httpapi.BodiesShown(t)
	for _, r := range routesOf(s) {
		a := s.Ask(t, r.Method, r.Path, examples[r.Method+" "+r.Template])
		require.Equal(t, http.StatusOK, a.StatusCode, "%s %s: %s", r.Method, r.Path, a.Text())
		require.NotEmpty(t, a.Header.Get("Cache-Control"), r.Path)
		require.Equal(t, "*", a.Header.Get("Access-Control-Allow-Origin"))
		require.Contains(t, a.Header.Get("Access-Control-Expose-Headers"), "ETag")
		require.Contains(t, a.Header.Get("Content-Security-Policy"), "default-src 'none'")
		require.Equal(t, "no-referrer", a.Header.Get("Referrer-Policy"))
		require.Empty(t, a.Header.Get("Server"))
		require.Empty(t, a.Header.Get("Set-Cookie"))
	}
}

// HEAD is GET without the body; a held tag gets 304 without a body; POST answers are not kept.
func TestEveryOperationMinds(t *testing.T) {
	t.Parallel()
	s := openShop(t)
	examples := httpapi.BodiesShown(t)
	for _, r := range routesOf(s) {
		full := s.Ask(t, r.Method, r.Path, examples[r.Method+" "+r.Template])
		if r.Method != http.MethodGet || strings.HasSuffix(r.Path, "z") || r.Path == bundleAt { // a stream is sent before its tag could be known
			require.Equal(t, "no-store", full.Header.Get("Cache-Control"), r.Path)
			require.Empty(t, full.Header.Get("ETag"), r.Path)
			continue
		}
		head := s.Ask(t, http.MethodHead, r.Path, "")
		require.Equal(t, full.StatusCode, head.StatusCode, r.Path)
		require.Empty(t, head.Text())
		for _, name := range []string{"Content-Type", "Content-Length", "ETag", "Cache-Control", "Vary", "Link"} {
			require.Equal(t, full.Header.Get(name), head.Header.Get(name), "%s %s", r.Path, name)
		}
		require.NotEmpty(t, full.Header.Get("ETag"), r.Path)
		for _, held := range []string{full.Header.Get("ETag"), "*", `"other", W/` + full.Header.Get("ETag")} {
			same := s.Ask(t, r.Method, r.Path, "", "If-None-Match: "+held)
			require.Equal(t, http.StatusNotModified, same.StatusCode, "%s %s", r.Path, held)
			require.Empty(t, same.Text())
			require.Equal(t, full.Header.Get("ETag"), same.Header.Get("ETag"))
			require.Equal(t, full.Header.Get("Cache-Control"), same.Header.Get("Cache-Control"))
		}
		require.Equal(t, http.StatusOK, s.Ask(t, r.Method, r.Path, "", `If-None-Match: "other"`).StatusCode)
	}
}

// The fault walk: every operation against the faults that any client can make. Each answer is a
// problem with its own type, and names its place.
func TestFaultWalk(t *testing.T) {
	t.Parallel()
	s := openShop(t)
	for _, r := range routesOf(s) {
		body := ""
		if r.Method == http.MethodPost {
			body = "{}"
		}
		for _, fault := range []struct {
			method, suffix, body, header, kind string
			status                             int
		}{
			{r.Method, "?no_such_parameter=1", body, "", "invalid-request", 400},
			{r.Method, "?%zz", body, "", "invalid-request", 400},
			{r.Method, "", body, "Accept: application/vnd.nobody", "not-acceptable", 406},
			{"PATCH", "", body, "", "method-not-allowed", 405},
			{"BREW", "", body, "", "method-not-allowed", 405},
			{r.Method, "/", body, "", "not-found", 404},
			{r.Method, "/no/such/address", body, "", "not-found", 404},
		} {
			if r.Path == "/" && fault.suffix == "/" {
				continue
			}
			headers := []string{}
			if fault.header != "" {
				headers = append(headers, fault.header)
			}
			a := s.Ask(t, fault.method, r.Path+fault.suffix, fault.body, headers...)
			require.Equal(t, fault.status, a.StatusCode, "%s %s%s %s: %s", fault.method, r.Path, fault.suffix, fault.header, a.Text())
			require.Equal(t, "/problems/"+fault.kind, a.Problem(t).Type)
			require.Equal(t, "no-store", a.Header.Get("Cache-Control"))
		}
		if r.Method == http.MethodPost {
			require.Equal(t, 415, s.Ask(t, "POST", r.Path, "{}", "Content-Type: text/plain").StatusCode, r.Path)
			require.Equal(t, 415, s.Ask(t, "POST", r.Path, "{}", "Content-Encoding: br").StatusCode, r.Path)
			require.Equal(t, 413, s.Ask(t, "POST", r.Path, strings.Repeat(" ", 3<<20)).StatusCode, r.Path)
			require.Equal(t, 400, s.Ask(t, "POST", r.Path, "{").StatusCode, r.Path)
		}
	}
}

// Before anything is loaded, what needs tables says 503 and when to ask again; the rest answers.
func TestNothingLoaded(t *testing.T) {
	t.Parallel()
	s := openShop(t)
	empty := httpapi.NewHost(t, httpapi.Config{Families: s.store, Windings: s.store, Witnesses: s.store, Institutes: s.store, Changes: s.store, Bundles: s.store})
	examples := httpapi.BodiesShown(t)
	without := map[string]bool{"/": true, "/livez": true, "/openapi.json": true, "/problems": true, "/problems/:slug": true,
		"/v1/stator-families": true, "/v1/stator-families/:id": true, "/v1/windings": true, "/v1/windings/:id": true, "/v1/changes": true,
		"/v1/institutes": true, "/v1/institutes/:id": true, "/v1/data-sheets/blank": true, bundleAt: true,
		"/v1/stator-families/:id/problem-reports": true, "/v1/stator-families/:id/revisions": true, "/v1/stator-families/:id/revisions/:n": true,
		"/v1/windings/:id/problem-reports": true, "/v1/windings/:id/revisions": true, "/v1/windings/:id/revisions/:n": true}
	for _, r := range routesOf(s) {
		a := empty.Ask(t, r.Method, r.Path, examples[r.Method+" "+r.Template])
		if without[r.Template] {
			require.Equal(t, http.StatusOK, a.StatusCode, "%s: %s", r.Path, a.Text())
			continue
		}
		require.Equal(t, http.StatusServiceUnavailable, a.StatusCode, "%s: %s", r.Path, a.Text())
		require.NotEmpty(t, a.Header.Get("Retry-After"), r.Path)
	}
}

// Requests of all kinds run side by side while the snapshot is exchanged under them, and each is
// answered whole from one snapshot.
func TestSnapshotExchangedUnderLoad(t *testing.T) {
	t.Parallel()
	s := openShop(t)
	var current atomic.Pointer[httpapi.Snapshot]
	fresh := func(revision int64) *httpapi.Snapshot {
		snap := snapshotOf(t, s.store)
		snap.Revision = revision
		return snap
	}
	spare := []*httpapi.Snapshot{fresh(1), fresh(2), fresh(3)}
	current.Store(spare[0])
	host := httpapi.NewHost(t, httpapi.Config{Snapshot: current.Load, Families: s.store, Windings: s.store, Witnesses: s.store, Institutes: s.store, Changes: s.store})
	examples := httpapi.BodiesShown(t)
	var group sync.WaitGroup
	var failed atomic.Value
	for worker := range 4 {
		group.Go(func() {
			for i := range whenShort(10, 40) {
				current.Store(spare[(worker+i)%len(spare)])
				for _, r := range routesOf(s) {
					if r.Path == bundleAt { // it does not look at the snapshot, and takes turns
						continue
					}
					a := host.Send(r.Method, r.Path, examples[r.Method+" "+r.Template])
					if a.StatusCode != http.StatusOK {
						failed.Store(fmt.Sprintf("%s %s: %d %s", r.Method, r.Path, a.StatusCode, a.Text()))
					}
				}
			}
		})
	}
	group.Wait()
	require.Nil(t, failed.Load())
}
