package httpapi

import (
	"net/http"
	"testing"

	"github.com/stretchr/testify/require"
)

// The rows follow the grammar and examples of RFC 9110 sections 8.8.3 and 13.1.2.
func TestHeldTag(t *testing.T) {
	t.Parallel()
	for _, row := range []struct {
		lines []string
		held  string
		ok    bool
	}{
		{nil, "", false},
		{[]string{`"abc"`}, "abc", true},
		{[]string{`W/"abc"`}, "abc", true},
		{[]string{`*`}, "abc", true},
		{[]string{`"abc-gzip"`}, "abc-gzip", true},
		{[]string{`W/"abc-gzip"`}, "abc-gzip", true},
		{[]string{`"xyz", "abc"`}, "abc", true},
		{[]string{`"x,y" , W/"abc"`}, "abc", true},
		{[]string{`, ,"abc"`}, "abc", true},
		{[]string{`"xyz"`, `"abc"`}, "abc", true},
		{[]string{`"xyz"`}, "", false},
		{[]string{`"ABC"`}, "", false},
		{[]string{`abc`}, "", false},
		{[]string{`"abc`}, "", false},
		{[]string{`""`}, "", false},
		{[]string{`W/`}, "", false},
		{[]string{`w/"abc"`}, "", false},
		{[]string{`"abcd"`}, "", false},
		{[]string{`"x"abc"`}, "", false},
	} {
		held, ok := heldTag(&http.Request{Header: http.Header{"If-None-Match": row.lines}}, "abc")
		require.Equal(t, row.ok, ok, "%q", row.lines)
		require.Equal(t, row.held, held, "%q", row.lines)
	}
}

// RFC 9110 section 13.1.1: If-Match takes the strong comparison, and goes before If-None-Match (section 13.2.2).
func TestIfMatchOnReads(t *testing.T) {
	t.Parallel()
	h := newHost(t, seeded(t))
	for _, at := range []string{"/v1/wires/swg-34", "/v1/wires", "/v1/insulation-classes", "/openapi.json", "/problems"} {
		tag := h.Ask(t, "GET", at, "").Header.Get("ETag")
		require.NotEmpty(t, tag, at)
		for _, row := range []struct {
			status int
			header []string
		}{
			{200, []string{"If-Match: " + tag}}, {200, []string{"If-Match: *"}}, {200, []string{`If-Match: "x", ` + tag}}, {200, []string{`If-Match: "x"`, "If-Match: " + tag}},
			{304, []string{"If-Match: " + tag, "If-None-Match: " + tag}},
			{412, []string{`If-Match: "x"`}}, {412, []string{"If-Match: W/" + tag}}, {412, []string{"If-Match: x"}}, {412, []string{"If-Match: "}},
			{412, []string{`If-Match: "x"`, "If-None-Match: " + tag}}, {412, []string{`If-Match: "x"`, "Accept-Encoding: gzip"}},
		} {
			for _, method := range []string{"GET", "HEAD"} {
				a := h.Ask(t, method, at, "", row.header...)
				require.Equal(t, row.status, a.StatusCode, "%s %s %v", method, at, row.header)
				if row.status == 412 {
					require.Equal(t, "application/problem+json", a.Header.Get("Content-Type"))
					require.Empty(t, a.Header.Get("Content-Encoding"))
				}
			}
		}
	}
}

func TestTagOf(t *testing.T) {
	t.Parallel()
	require.Equal(t, tagOf([]byte("a")), tagOf([]byte("a")))
	require.NotEqual(t, tagOf([]byte("a")), tagOf([]byte("b")))
	require.Regexp(t, `^[A-Za-z0-9_-]{16}$`, tagOf(nil))
}
