package httpapi

import (
	"net/http"
	"slices"
	"strings"
	"testing"

	"statorbook/internal/jsonin"

	"github.com/stretchr/testify/require"
)

// hostile is a request that must be refused, and how: the status, and code and place of the first
// mistake. Code "" is for problems without errors, place "*" for places that are jsonin's to test.
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
		a := h.Ask(t, r.method, r.target, r.body, r.headers...)
		what := r.method + " " + shorten(r.target) + " " + shorten(r.body)
		require.Equal(t, r.status, a.StatusCode, "%s: %s", what, a.text)
		if r.code == "" {
			continue
		}
		p := a.Problem(t)
		require.NotEmpty(t, p.Errors, what)
		first := p.Errors[0]
		place := first.Parameter + first.Header
		if first.Pointer != nil {
			place = *first.Pointer
		}
		require.Equal(t, r.code, first.Code, "%s: %s", what, a.text)
		if r.place != "*" {
			require.Equal(t, r.place, place, "%s: %s", what, a.text)
		}
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
// Methods that the address takes with a key are left out.
func wrongMethods(target string, taken ...string) []hostile {
	rows := []hostile{
		get(target, 406, codeNotOffered, "Accept", "Accept: application/xml"),
		get(target, 406, codeNotOffered, "Accept", "Accept: application/json;q=0, text/csv;q=0, application/x-ndjson;q=0"),
	}
	for _, method := range []string{"POST", "PUT", "PATCH", "DELETE", "TRACE"} {
		if !slices.Contains(taken, method) {
			rows = append(rows, hostile{method, target, "{}", nil, 405, "", ""})
		}
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

// brokenBodies are the rows that every POST address shares. member is a member that its body may have.
func brokenBodies(target, member string) []hostile {
	rows := []hostile{
		post(target, "", 415, codeBodyType, "Content-Type"),
		post(target, "", 400, jsonin.CodeEmpty, "*", "Content-Type: application/json"),
		post(target, " \n\t", 400, jsonin.CodeEmpty, "*"),
		post(target, "{", 400, jsonin.CodeSyntax, "*"),
		post(target, "{]", 400, jsonin.CodeSyntax, "*"),
		post(target, "{'a':1}", 400, jsonin.CodeSyntax, "*"),
		post(target, "{} // comment", 400, jsonin.CodeTrailing, "*"),
		post(target, "{}{}", 400, jsonin.CodeTrailing, "*"),
		post(target, "{},", 400, jsonin.CodeTrailing, "*"),
		post(target, `{"`+member+`":NaN}`, 400, jsonin.CodeSyntax, "*"),
		post(target, `{"`+member+`":Infinity}`, 400, jsonin.CodeSyntax, "*"),
		post(target, `{"`+member+`":01}`, 400, jsonin.CodeSyntax, "*"),
		post(target, `{"`+member+`":1,}`, 400, jsonin.CodeSyntax, "*"),
		post(target, "\uFEFF{}", 400, jsonin.CodeSyntax, "*"),
		post(target, "[]", 400, jsonin.CodeType, ""),
		post(target, "null", 400, jsonin.CodeType, ""),
		post(target, `"text"`, 400, jsonin.CodeType, ""),
		post(target, "1e400", 400, jsonin.CodeType, ""),
		post(target, strings.Repeat("[", 50_000), 400, jsonin.CodeTooDeep, "*"),
		post(target, strings.Repeat(`{"a":`, 5_000)+"1"+strings.Repeat("}", 5_000), 400, jsonin.CodeTooDeep, "*"),
		post(target, `{"nonsense":1}`, 400, jsonin.CodeUnknown, "/nonsense"),
		post(target, `{"__proto__":{}}`, 400, jsonin.CodeUnknown, "/__proto__"),
		post(target, `{"`+strings.ToUpper(member)+`":1}`, 400, jsonin.CodeWrongCase, "/"+strings.ToUpper(member)),
		post(target, `{"`+member+`":null,"`+member+`":null}`, 400, jsonin.CodeDuplicate, "/"+member),
		post(target, `{"a`+"\x00"+`b":1}`, 400, jsonin.CodeSyntax, "*"),
		post(target, `{"a\u0000b":1}`, 400, jsonin.CodeUnknown, "*"),
		post(target, "{\"a\xff\":1}", 400, jsonin.CodeUnknown, "*"),
		post(target, `{"x":"`+strings.Repeat("x", 3<<20)+`"}`, 413, jsonin.CodeTooLarge, ""),
		post(target, "{}", 415, codeBodyType, "Content-Type", "Content-Type: text/plain"),
		post(target, "<a/>", 415, codeBodyType, "Content-Type", "Content-Type: application/xml"),
		post(target, "a: 1", 415, codeBodyType, "Content-Type", "Content-Type: application/yaml"),
		post(target, "a=1", 415, codeBodyType, "Content-Type", "Content-Type: application/x-www-form-urlencoded"),
		post(target, "{}", 415, codeBodyType, "Content-Type", "Content-Type: application/json; charset=utf-16"),
		post(target, "{}", 415, codeBodyType, "Content-Type", "Content-Type: application/json, text/plain"),
		post(target, "{}", 415, codeBodyCoding, "Content-Encoding", "Content-Encoding: gzip"),
		post(target, "{}", 406, codeNotOffered, "Accept", "Accept: text/html"),
		post(target+"?nonsense=1", "{}", 400, codeUnknownParameter, "nonsense"),
	}
	for _, method := range []string{"GET", "HEAD", "PUT", "PATCH", "DELETE"} {
		rows = append(rows, hostile{method, target, "", nil, 405, "", ""})
	}
	return rows
}
