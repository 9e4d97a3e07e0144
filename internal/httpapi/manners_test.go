package httpapi

import (
	"bytes"
	"compress/gzip"
	"errors"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"github.com/gin-gonic/gin"
	"github.com/stretchr/testify/require"
)

// faultyHost serves one route, /livez, by handle.
func faultyHost(t *testing.T, handle func(*gin.Context, *query) error) (*host, *bytes.Buffer) {
	t.Helper()
	h := newHost(t, Config{})
	cfg := h.config
	s := &server{Config: cfg}
	e := s.engine([]route{{http.MethodGet, "/livez", nil, nil, handle}})
	h.handler = headAsGet(e)
	return h, h.log
}

func TestMethods(t *testing.T) {
	t.Parallel()
	h := newHost(t, Config{})
	for path, allow := range map[string]string{"/livez": "GET, HEAD, OPTIONS", "/": "GET, HEAD, OPTIONS", "/problems/not-found": "GET, HEAD, OPTIONS"} {
		for _, method := range []string{"POST", "PUT", "PATCH", "DELETE", "TRACE", "CONNECT", "PROPFIND", "get"} {
			a := h.Ask(t, method, path, "")
			require.Equal(t, http.StatusMethodNotAllowed, a.StatusCode, "%s %s", method, path)
			require.Equal(t, allow, a.Header.Get("Allow"))
			require.Equal(t, "/problems/method-not-allowed", a.Problem(t).Type)
		}
		a := h.Ask(t, "OPTIONS", path, "", "Origin: https://shop.example", "Access-Control-Request-Method: GET")
		require.Equal(t, http.StatusNoContent, a.StatusCode)
		require.Equal(t, allow, a.Header.Get("Allow"))
		require.Equal(t, "*", a.Header.Get("Access-Control-Allow-Origin"))
		require.Equal(t, allow, a.Header.Get("Access-Control-Allow-Methods"))
		for _, name := range []string{"If-None-Match", "If-Match", "Idempotency-Key", "Authorization", "X-Request-Id", "Content-Type"} {
			require.Contains(t, a.Header.Get("Access-Control-Allow-Headers"), name)
		}
		require.Empty(t, a.Header.Get("Access-Control-Allow-Credentials"))
		require.Empty(t, a.text)
	}
}

func TestUnknownAddresses(t *testing.T) {
	t.Parallel()
	h := newHost(t, Config{})
	for _, path := range []string{"/nowhere", "/livez/", "//livez", "/LIVEZ", "/v1", "/v1/", "/problems/a/b", "/livez/../livez", "/.git/config", "/debug/pprof/", "/%00"} {
		for _, method := range []string{"GET", "POST", "OPTIONS"} {
			a := h.Ask(t, method, path, "")
			require.Equal(t, http.StatusNotFound, a.StatusCode, "%s %s", method, path)
			require.Equal(t, "/problems/not-found", a.Problem(t).Type)
			require.Empty(t, a.Header.Get("Location"))
		}
	}
}

func TestUnknownParameterEverywhere(t *testing.T) {
	t.Parallel()
	h := newHost(t, seeded(t))
	for _, r := range (&server{}).routes() {
		if r.stores() {
			continue // without a key nothing of the request is looked at
		}
		path := strings.NewReplacer(":slug", "not-found", ":letter", "F", ":id", "swg-34", ":n", "1").Replace(r.path)
		body := ""
		if r.method == http.MethodPost {
			body = "{}"
		}
		a := h.Ask(t, r.method, path+"?a_parameter_that_nobody_has=1", body)
		require.Equal(t, http.StatusBadRequest, a.StatusCode, path)
		require.Equal(t, codeUnknownParameter, a.Problem(t).Errors[0].Code, path)
	}
}

func TestRequestID(t *testing.T) {
	t.Parallel()
	h := newHost(t, Config{})
	const fresh = "01890a5d-ac96-774b-bcce-b302099a8057"
	for sent, want := range map[string]string{
		"": fresh, "mine-1": "mine-1", "a.b_c-9": "a.b_c-9", strings.Repeat("x", 64): strings.Repeat("x", 64),
		strings.Repeat("x", 65): fresh, "a b": fresh, "<script>": fresh, "a\tb": fresh, "ä": fresh,
	} {
		a := h.Ask(t, "GET", "/nowhere", "", "X-Request-Id: "+sent)
		require.Equal(t, want, a.Header.Get("X-Request-Id"), "%q", sent)
	}
}

func TestAccessLog(t *testing.T) {
	t.Parallel()
	h := newHost(t, Config{})
	h.Ask(t, "GET", "/problems/not-found?api_key=canary-1", "", "Authorization: canary-2", "Cookie: canary-3")
	h.Ask(t, "HEAD", "/canary-4", "")
	log := h.log.String()
	require.NotContains(t, log, "canary")
	require.Contains(t, log, "route=/problems/:slug status=400")
	require.Contains(t, log, "method=HEAD")
	require.Contains(t, log, "request_id=01890a5d")
}

func TestNotAcceptable(t *testing.T) {
	t.Parallel()
	h := newHost(t, Config{})
	a := h.Ask(t, "GET", "/livez", "", "Accept: application/xml")
	require.Equal(t, http.StatusNotAcceptable, a.StatusCode)
	require.Equal(t, "Accept", a.Problem(t).Errors[0].Header)
	require.Equal(t, http.StatusOK, h.Ask(t, "GET", "/livez", "", "Accept: text/html, */*;q=0.1").StatusCode)
}

func TestReady(t *testing.T) {
	t.Parallel()
	state := errors.New("cannot reach 10.0.0.7")
	h := newHost(t, Config{Ready: func() error { return state }, Snapshot: func() *Snapshot { return &Snapshot{} }})
	a := h.Ask(t, "GET", "/readyz", "")
	require.Equal(t, http.StatusServiceUnavailable, a.StatusCode)
	require.Equal(t, "2", a.Header.Get("Retry-After"))
	require.NotContains(t, string(a.text), "10.0.0.7")
	require.Contains(t, h.log.String(), "10.0.0.7")
	require.Equal(t, http.StatusOK, h.Ask(t, "GET", "/livez", "").StatusCode)
	state = nil
	require.Equal(t, http.StatusOK, h.Ask(t, "GET", "/readyz", "").StatusCode)
	require.Equal(t, http.StatusServiceUnavailable, newHost(t, Config{}).Ask(t, "GET", "/readyz", "").StatusCode, "nothing is loaded")
}

// TestOverTheWire looks at what only a real connection shows: HEAD, compression, 304 without a body.
func TestOverTheWire(t *testing.T) {
	t.Parallel()
	server := httptest.NewServer(newHost(t, Config{}).handler)
	defer server.Close()
	client := &http.Client{Transport: &http.Transport{DisableCompression: true}}
	get := func(method, path string, headers ...string) answer {
		req, err := http.NewRequest(method, server.URL+path, nil)
		require.NoError(t, err)
		for _, line := range headers {
			name, value, _ := strings.Cut(line, ": ")
			req.Header.Set(name, value)
		}
		resp, err := client.Do(req)
		require.NoError(t, err)
		defer resp.Body.Close()
		text, err := io.ReadAll(resp.Body)
		require.NoError(t, err)
		return answer{resp, text}
	}

	whole := get("GET", "/openapi.json")
	packed := get("GET", "/openapi.json", "Accept-Encoding: gzip")
	require.Equal(t, "gzip", packed.Header.Get("Content-Encoding"))
	require.Equal(t, "Accept-Encoding", packed.Header.Get("Vary"))
	reader, err := gzip.NewReader(bytes.NewReader(packed.text))
	require.NoError(t, err)
	unpacked, err := io.ReadAll(reader)
	require.NoError(t, err)
	require.Equal(t, whole.text, unpacked)
	require.NotEqual(t, whole.Header.Get("ETag"), packed.Header.Get("ETag"), "each encoding has its own tag")
	require.Equal(t, strings.TrimSuffix(whole.Header.Get("ETag"), `"`)+`-gzip"`, packed.Header.Get("ETag"))
	require.Empty(t, get("GET", "/openapi.json", "Accept-Encoding: gzip;q=0").Header.Get("Content-Encoding"))
	require.Empty(t, get("GET", "/livez", "Accept-Encoding: gzip").Header.Get("Content-Encoding"), "two words are not worth packing")

	for _, path := range []string{"/", "/livez", "/openapi.json", "/problems", "/nowhere", "/v1/meta", "/livez?x=1"} {
		for _, coding := range []string{"identity", "gzip"} {
			full, head := get("GET", path, "Accept-Encoding: "+coding), get("HEAD", path, "Accept-Encoding: "+coding)
			require.Equal(t, full.StatusCode, head.StatusCode, path)
			require.Empty(t, head.text)
			for _, name := range []string{"Content-Type", "ETag", "Cache-Control", "Vary", "Content-Encoding"} {
				require.Equal(t, full.Header.Get(name), head.Header.Get(name), "%s %s", path, name)
			}
		}
	}

	for _, held := range []string{whole.Header.Get("ETag"), packed.Header.Get("ETag"), "W/" + whole.Header.Get("ETag"), `"other", ` + whole.Header.Get("ETag"), "*"} {
		for _, method := range []string{"GET", "HEAD"} {
			a := get(method, "/openapi.json", "If-None-Match: "+held, "Accept-Encoding: gzip")
			require.Equal(t, http.StatusNotModified, a.StatusCode, held)
			require.Empty(t, a.text)
			require.Empty(t, a.Header.Get("Content-Encoding"))
			require.NotEmpty(t, a.Header.Get("ETag"))
			require.Equal(t, whole.Header.Get("Cache-Control"), a.Header.Get("Cache-Control"))
			require.Equal(t, "Accept-Encoding", a.Header.Get("Vary"))
		}
	}
	require.Equal(t, http.StatusOK, get("GET", "/openapi.json", `If-None-Match: "other"`).StatusCode)
}

// A forged proxy header changes nothing that the server believes.
func TestServerSettings(t *testing.T) {
	t.Parallel()
	s := NewServer(http.NotFoundHandler())
	require.Positive(t, s.ReadHeaderTimeout)
	require.Positive(t, s.ReadTimeout)
	require.Positive(t, s.WriteTimeout)
	require.Positive(t, s.IdleTimeout)
	require.Equal(t, 16<<10, s.MaxHeaderBytes)
	var seen string
	h, _ := faultyHost(t, func(c *gin.Context, _ *query) error {
		seen = c.ClientIP()
		return sendJSON(c, health{"ok"})
	})
	h.Ask(t, "GET", "/livez", "", "X-Forwarded-For: 6.6.6.6", "X-Real-Ip: 6.6.6.6")
	require.Equal(t, "192.0.2.1", seen)
}
