package httpapi

import (
	"net/http"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// hostile is a request that must be refused, and how: the status, and code and place of the first mistake.
type hostile struct {
	method, target, body string
	headers              []string
	status               int
	code, place          string
}

// refuse sends every row and asserts the exact problem. at least tells how many rows an endpoint must have.
func refuse(t *testing.T, h *host, rows []hostile) {
	t.Helper()
	require.GreaterOrEqual(t, len(rows), 25, "an endpoint has at least 25 hostile requests")
	for _, r := range rows {
		a := h.ask(t, r.method, r.target, r.body, r.headers...)
		what := r.method + " " + shorten(r.target) + " " + shorten(r.body)
		require.Equal(t, r.status, a.StatusCode, "%s: %s", what, a.text)
		if r.code == "" {
			continue
		}
		p := a.problem(t)
		require.NotEmpty(t, p.Errors, what)
		first := p.Errors[0]
		place := first.Parameter + first.Header
		if first.Pointer != nil {
			place = *first.Pointer
		}
		require.Equal(t, r.code, first.Code, "%s: %s", what, a.text)
		require.Equal(t, r.place, place, "%s: %s", what, a.text)
		require.Less(t, len(a.text), 8<<10, "%s: a refusal is short", what)
	}
}

// get builds a hostile GET.
func get(target string, status int, code, place string, headers ...string) hostile {
	return hostile{http.MethodGet, target, "", headers, status, code, place}
}

// post builds a hostile POST.
func post(target, body string, status int, code, place string, headers ...string) hostile {
	return hostile{http.MethodPost, target, body, headers, status, code, place}
}

// wrongMethods are the rows that every GET address shares.
func wrongMethods(target string) []hostile {
	rows := []hostile{
		get(target, 406, codeNotOffered, "Accept", "Accept: application/xml"),
		get(target, 406, codeNotOffered, "Accept", "Accept: application/json;q=0, text/csv;q=0, application/x-ndjson;q=0"),
	}
	for _, method := range []string{"POST", "PUT", "PATCH", "DELETE", "TRACE"} {
		rows = append(rows, hostile{method, target, "{}", nil, 405, "", ""})
	}
	return rows
}

// strangeQueries are the rows that every address shares; target may hold a query already.
func strangeQueries(target string) []hostile {
	join := "?"
	if strings.Contains(target, "?") {
		join = "&"
	}
	return []hostile{
		get(target+join+"nonsense=1", 400, codeUnknownParameter, "nonsense"),
		get(target+join+"=1", 400, codeUnknownParameter, ""),
		get(target+join+"%00=1", 400, codeText, "\x00"),
		get(target+join+"%zz=1", 400, codeEscape, "%zz"),
		get(target+join+"%ff=1", 400, codeText, "\uFFFD"),
		get(target+join+"a;b=1", 400, codeEscape, "a;b"),
		get(target+join+"__proto__=1", 400, codeUnknownParameter, "__proto__"),
		get(target+join+strings.Repeat("x", 5000)+"=1", 400, codeUnknownParameter, strings.Repeat("x", 60)+"…"),
	}
}
