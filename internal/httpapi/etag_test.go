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

func TestTagOf(t *testing.T) {
	t.Parallel()
	require.Equal(t, tagOf([]byte("a")), tagOf([]byte("a")))
	require.NotEqual(t, tagOf([]byte("a")), tagOf([]byte("b")))
	require.Regexp(t, `^[A-Za-z0-9_-]{16}$`, tagOf(nil))
}
