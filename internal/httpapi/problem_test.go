package httpapi

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"net/http"
	"regexp"
	"strings"
	"testing"

	"statorbook/internal/errs"
	"statorbook/internal/jsonin"

	"github.com/gin-gonic/gin"
	"github.com/stretchr/testify/require"
)

func TestEveryKindHasAProblem(t *testing.T) {
	t.Parallel()
	for _, kind := range errs.Kinds() {
		p, found := problemOf[kind]
		require.True(t, found, "kind %d has no problem", kind)
		require.NotEmpty(t, p.slug)
		require.NotEmpty(t, p.cause)
		require.NotEmpty(t, p.fix)
	}
	require.Len(t, problemOf, len(errs.Kinds()))
	require.LessOrEqual(t, len(problemTypes()), 15)
}

// The statuses of contract rule 1 and RFC 9110, RFC 6585.
func TestProblemStatus(t *testing.T) {
	t.Parallel()
	for kind, status := range map[errs.Kind]int{
		errs.KindInternal: 500, errs.KindSyntax: 400, errs.KindImpossible: 422, errs.KindNotFound: 404, errs.KindUnauthenticated: 401,
		errs.KindForbidden: 403, errs.KindConflict: 409, errs.KindInProgress: 409, errs.KindPreconditionNeeded: 428,
		errs.KindPreconditionFailed: 412, errs.KindTooLarge: 413, errs.KindMediaType: 415, errs.KindMethod: 405, errs.KindNotAcceptable: 406,
		errs.KindRateLimited: 429, errs.KindUnavailable: 503, errs.KindTimeout: 503, errs.KindStorageFull: 503,
	} {
		p, _ := newProblem(errs.New(kind, "detail"), "id")
		require.Equal(t, status, p.Status, "kind %d", kind)
	}
}

func TestProblemHidesCauses(t *testing.T) {
	t.Parallel()
	secret := errors.New("dial tcp 10.0.0.7:5432: password of role app")
	for name, err := range map[string]error{
		"unclassified":    secret,
		"wrapped":         fmt.Errorf("reading: %w", secret),
		"internal":        errs.Wrap(errs.KindInternal, "table winding_revision is gone", secret),
		"unavailable":     errs.Wrap(errs.KindUnavailable, "The database does not answer.", secret),
		"classified deep": fmt.Errorf("reading: %w", errs.Wrap(errs.KindNotFound, "No such record.", secret)),
	} {
		p, _ := newProblem(err, "id")
		body, encodeErr := encodeJSON(p)
		require.NoError(t, encodeErr)
		require.NotContains(t, string(body), "10.0.0.7", name)
		require.NotContains(t, string(body), "winding_revision", name)
	}
}

func TestProblemFields(t *testing.T) {
	t.Parallel()
	p, _ := newProblem(errs.New(errs.KindSyntax, "",
		errs.Field{Pointer: "/a", Code: "A", Detail: "give a"}, errs.Field{Parameter: "b", Code: "B", Detail: "Give b.", Got: strings.Repeat("ä", 200)},
		errs.Field{Header: "C", Code: "C", Detail: "Give c?"}, errs.Field{Code: "D", Detail: "the whole body"}), "id")
	require.Equal(t, "/a", *p.Errors[0].Pointer)
	require.Equal(t, "Give a.", p.Errors[0].Detail)
	require.Nil(t, p.Errors[1].Pointer)
	require.Len(t, []rune(p.Errors[1].Got), 61)
	require.Nil(t, p.Errors[2].Pointer)
	require.Equal(t, "Give c?", p.Errors[2].Detail)
	require.Empty(t, *p.Errors[3].Pointer)
	require.Equal(t, "Several inputs are wrong; errors lists each of them.", p.Detail)
}

// Every type that a problem can name leads to a page, in both formats.
// What is allowed reads alike everywhere, as the contract has it: a list, or an object with min and max.
func TestProblemAllowed(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		allowed any
		want    string
	}{
		{[]string{"swg", "awg"}, `["swg","awg"]`},
		{[]int{1, 2, 4}, `[1,2,4]`},
		{[2]int{1, 8}, `{"min":1,"max":8}`},
		{[2]float64{0.005, 25}, `{"min":0.005,"max":25}`},
		{bounds(0, 65536), `{"min":0,"max":65536}`},
		{jsonin.AtMost(1000), `{"max":1000}`},
	} {
		text, err := json.Marshal(problemField(errs.Field{Code: "X", Allowed: c.allowed}))
		require.NoError(t, err)
		require.Contains(t, string(text), `"allowed":`+c.want)
	}
	h := newHost(t, seeded(t))
	for body, want := range map[string]string{
		`{"from":{"system":"bare","conductor":"copper","strands":1}}`:                                         `{"min":0.005,"max":25}`,
		`{"from":` + swg34 + `,"to":{"systems":["swg","awg","metric","swg"]}}`:                                `{"max":3}`,
		`{"from":{"system":"swg","size":"` + strings.Repeat("1", 21) + `","conductor":"copper","strands":1}}`: `{"max":20}`,
	} {
		a := h.Ask(t, "POST", "/v1/wire-equivalents", body)
		require.Contains(t, a.Text(), `"allowed":`+want)
	}
}

func TestProblemPages(t *testing.T) {
	t.Parallel()
	h := newHost(t, Config{})
	var list problemList
	h.Ask(t, "GET", "/problems", "").JSON(t, &list)
	require.Len(t, list.Items, len(problemTypes()))
	for _, item := range list.Items {
		var one problemInfo
		h.Ask(t, "GET", item.Type, "").JSON(t, &one)
		require.Equal(t, item, one)
		page := h.Ask(t, "GET", item.Type, "", "Accept: text/html,application/xhtml+xml,*/*;q=0.8")
		require.Equal(t, "text/html; charset=utf-8", page.Header.Get("Content-Type"))
		require.Contains(t, string(page.text), item.Title)
		require.Contains(t, string(page.text), "What to do")
	}
}

// TestFaults puts faults behind a route and looks at what a caller sees.
func TestFaults(t *testing.T) {
	t.Parallel()
	for name, handle := range map[string]func(*gin.Context, *query) error{
		"panic":    func(*gin.Context, *query) error { panic("secret of the stack") },
		"nil":      func(*gin.Context, *query) error { var m map[string]int; put(m, "a"); return nil },
		"NaN":      func(c *gin.Context, _ *query) error { return sendJSON(c, map[string]float64{"a": math.NaN()}) },
		"infinity": func(c *gin.Context, _ *query) error { return sendTagged(c, []float64{math.Inf(1)}, "", cacheNever) },
		"unmarked": func(*gin.Context, *query) error { return errors.New("secret of the store") },
		"bad field": func(*gin.Context, *query) error {
			return errs.New(errs.KindInternal, "secret", errs.Field{Code: "secret"})
		},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			h, log := faultyHost(t, handle)
			a := h.Ask(t, "GET", "/livez", "")
			require.Equal(t, http.StatusInternalServerError, a.StatusCode)
			require.NotContains(t, string(a.text), "secret")
			require.NotContains(t, string(a.text), ".go")
			require.Contains(t, log.String(), "level=ERROR")
			require.Contains(t, log.String(), a.Header.Get("X-Request-Id"))
		})
	}
}

// An Allowed value that JSON cannot hold costs the errors, not the answer.
func TestProblemThatCannotBeEncoded(t *testing.T) {
	t.Parallel()
	h, _ := faultyHost(t, func(*gin.Context, *query) error {
		return errs.New(errs.KindSyntax, "Bad.", errs.Field{Code: "A", Detail: "a", Allowed: math.NaN()})
	})
	a := h.Ask(t, "GET", "/livez", "")
	require.Equal(t, http.StatusBadRequest, a.StatusCode)
	require.Empty(t, a.Problem(t).Errors)
}

// Every code that this package writes has the one form.
func TestCodes(t *testing.T) {
	t.Parallel()
	form := regexp.MustCompile(`^[A-Z][A-Z0-9_]+$`)
	for _, p := range problemTypes() {
		if p.exampleField != nil {
			require.Regexp(t, form, p.exampleField.Code)
		}
	}
}

// put writes into a map that may be nil, which panics as a fault of ours would.
func put(m map[string]int, key string) { m[key] = 1 }
