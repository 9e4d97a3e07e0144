package httpapi

import (
	"bytes"
	"encoding/json"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"testing"
	"time"

	"statorbook/openapi"

	"github.com/gin-gonic/gin"
	"github.com/pb33f/libopenapi"
	validator "github.com/pb33f/libopenapi-validator"
	"github.com/pb33f/libopenapi-validator/config"
	"github.com/stretchr/testify/require"
)

// contractValidator holds every answer of the test suite against the contract. Clients may meet new
// members in answers later; here an object may hold only what the contract declares.
var contractValidator = sync.OnceValues(func() (validator.Validator, error) {
	var tree map[string]any
	if err := json.Unmarshal(openapi.JSON, &tree); err != nil {
		return nil, err
	}
	closeObjects(tree)
	closed, err := json.Marshal(tree)
	if err != nil {
		return nil, err
	}
	doc, err := libopenapi.NewDocument(closed)
	if err != nil {
		return nil, err
	}
	v, faults := validator.NewValidator(doc, config.WithFormatAssertions())
	if len(faults) > 0 {
		return nil, faults[0]
	}
	return v, nil
})

// closeObjects forbids undeclared members in every object schema that declares any.
func closeObjects(node any) {
	switch n := node.(type) {
	case []any:
		for _, item := range n {
			closeObjects(item)
		}
	case map[string]any:
		_, declares := n["properties"].(map[string]any)
		if _, says := n["additionalProperties"]; declares && !says {
			n["additionalProperties"] = false
		}
		for _, child := range n {
			closeObjects(child)
		}
	}
}

// host is a handler under test.
type host struct {
	handler http.Handler
	config  Config
	log     *bytes.Buffer
}

// newHost serves cfg; what cfg leaves out is filled with a fixed clock, fixed ids and a log in memory.
func newHost(t testing.TB, cfg Config) *host {
	t.Helper()
	log := &bytes.Buffer{}
	if cfg.Log == nil {
		cfg.Log = slog.New(slog.NewTextHandler(&lockedWriter{w: log}, nil))
	}
	if cfg.Snapshot == nil {
		cfg.Snapshot = func() *Snapshot { return nil }
	}
	if cfg.Bell == nil {
		cfg.Bell = NewBell()
	}
	if cfg.Ready == nil {
		cfg.Ready = func() error { return nil }
	}
	cfg.NewID = func() string { return "01890a5d-ac96-774b-bcce-b302099a8057" }
	if cfg.Now == nil {
		cfg.Now = func() time.Time { return time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC) }
	}
	cfg.PageKey = []byte("a key for tests")
	cfg.Version = "test"
	h, err := New(cfg)
	require.NoError(t, err)
	return &host{handler: h, config: cfg, log: log}
}

// lockedWriter lets parallel requests share one log.
type lockedWriter struct {
	mu sync.Mutex
	w  io.Writer
}

func (l *lockedWriter) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.w.Write(p)
}

// answer is a response with its body read.
type answer struct {
	*http.Response
	text []byte
}

// ask sends one request and holds the answer against the contract. Headers are "Name: value".
func (h *host) Ask(t testing.TB, method, target, body string, headers ...string) answer {
	t.Helper()
	a := h.Send(method, target, body, headers...)
	checkAnswer(t, request(method, target, body, headers...), a)
	return a
}

// Send sends one request and looks at nothing.
func (h *host) Send(method, target, body string, headers ...string) answer {
	rec := httptest.NewRecorder()
	h.handler.ServeHTTP(rec, request(method, target, body, headers...))
	return answer{Response: rec.Result(), text: rec.Body.Bytes()}
}

func request(method, target, body string, headers ...string) *http.Request {
	path, query, _ := strings.Cut(target, "?")
	req := httptest.NewRequest(method, "/", strings.NewReader(body))
	if body == "" {
		req.Body, req.ContentLength = http.NoBody, 0
	} else {
		req.Header.Set("Content-Type", "application/json")
	}
	req.URL.Path, req.URL.RawPath, req.URL.RawQuery = path, "", query
	req.RequestURI = target
	for _, line := range headers {
		name, value, _ := strings.Cut(line, ": ")
		req.Header.Set(name, value)
	}
	return req
}

// checkAnswer asserts what holds for every answer: a body that is what its type says, the request
// id, and agreement with the contract where the contract knows the operation.
func checkAnswer(t testing.TB, req *http.Request, a answer) {
	t.Helper()
	require.NotEmpty(t, a.Header.Get("X-Request-Id"))
	require.Equal(t, "nosniff", a.Header.Get("X-Content-Type-Options"))
	if a.StatusCode >= 400 && req.Method != http.MethodHead {
		require.Equal(t, "application/problem+json", a.Header.Get("Content-Type"))
		p := a.Problem(t)
		require.Equal(t, a.StatusCode, p.Status)
		require.NotEmpty(t, p.Title)
		require.NotEmpty(t, p.Detail)
		require.Equal(t, a.Header.Get("X-Request-Id"), p.RequestID)
	}
	if a.StatusCode == http.StatusMethodNotAllowed || req.Method == http.MethodHead || req.Method == http.MethodOptions || a.Header.Get("Content-Encoding") != "" {
		return // not operations of the contract, or the same answer in another coding
	}
	if a.StatusCode == http.StatusOK {
		require.NotEmpty(t, a.text, "an empty 200")
	}
	if unknownPath(req.URL.Path) || strings.HasPrefix(a.Header.Get("Content-Type"), "application/x-ndjson") {
		return // the validator would take the only line of JSON Lines for JSON
	}
	v, err := contractValidator()
	require.NoError(t, err)
	a.Body = io.NopCloser(bytes.NewReader(a.text))
	ok, faults := v.ValidateHttpResponse(req, a.Response)
	for _, f := range faults {
		t.Errorf("%s %s: the answer breaks the contract: %s: %s", req.Method, req.URL, f.Message, f.Reason)
		for _, s := range f.SchemaValidationErrors {
			t.Errorf("  at %s: %s", s.FieldPath, s.Reason)
		}
	}
	require.True(t, ok, "%s", a.text)
}

// unknownPath tells paths that no operation has.
func unknownPath(path string) bool {
	for _, r := range (&server{}).routes() {
		if pathMatches(r.path, path) {
			return false
		}
	}
	return true
}

func pathMatches(pattern, path string) bool {
	a, b := strings.Split(pattern, "/"), strings.Split(path, "/")
	if len(a) != len(b) {
		return false
	}
	for i := range a {
		if a[i] != b[i] && (!strings.HasPrefix(a[i], ":") || b[i] == "") {
			return false
		}
	}
	return true
}

// problem reads the answer as a problem.
func (a answer) Problem(t testing.TB) Problem {
	t.Helper()
	var p Problem
	require.NoError(t, json.Unmarshal(a.text, &p), "%s", a.text)
	return p
}

// json reads the answer into v, refusing members that v lacks.
func (a answer) JSON(t testing.TB, v any) {
	t.Helper()
	dec := json.NewDecoder(bytes.NewReader(a.text))
	dec.DisallowUnknownFields()
	require.NoError(t, dec.Decode(v), "%s", a.text)
}

func bodyOf(text string) io.ReadCloser { return io.NopCloser(strings.NewReader(text)) }

// faultContext is a request context without a server, for what needs only an id and a log.
func faultContext() *gin.Context {
	c, _ := gin.CreateTestContext(httptest.NewRecorder())
	c.Request = request("POST", "/", "")
	return c
}

// at follows a path of names and indexes through the answer.
func (a answer) At(t testing.TB, path ...any) any {
	t.Helper()
	var v any
	require.NoError(t, json.Unmarshal(a.text, &v), "%s", a.text)
	for _, step := range path {
		switch s := step.(type) {
		case string:
			object, ok := v.(map[string]any)
			require.True(t, ok, "%v leads nowhere in %s", path, a.text)
			v = object[s]
		case int:
			list, ok := v.([]any)
			require.True(t, ok && s < len(list), "%v leads nowhere in %s", path, a.text)
			v = list[s]
		}
	}
	return v
}

// list is at for an array.
func (a answer) List(t testing.TB, path ...any) []any {
	t.Helper()
	list, ok := a.At(t, path...).([]any)
	require.True(t, ok, "%v is no array in %s", path, a.text)
	return list
}

// number is at for a number.
func (a answer) Number(t testing.TB, path ...any) float64 {
	t.Helper()
	v, ok := a.At(t, path...).(float64)
	require.True(t, ok, "%v is no number in %s", path, a.text)
	return v
}

// Text is the body as text.
func (a answer) Text() string { return string(a.text) }
