package httpapi

import (
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestPageTokens(t *testing.T) {
	t.Parallel()
	s := &server{Config: Config{PageKey: []byte("one")}}
	other := &server{Config: Config{PageKey: []byte("two")}}
	rapid.Check(t, func(t *rapid.T) {
		scope, last := rapid.String().Draw(t, "scope"), rapid.StringN(1, 40, -1).Draw(t, "last")
		token := s.pageToken(scope, last)
		require.Regexp(t, `^[A-Za-z0-9_-]+$`, token)
		got, refused := s.readToken(scope, token)
		require.Nil(t, refused)
		require.Equal(t, last, got)

		_, refused = s.readToken(scope+"x", token)
		require.NotNil(t, refused, "a token of another scope was taken")
		_, refused = other.readToken(scope, token)
		require.NotNil(t, refused, "a token of another key was taken")

		// One changed character is seen, wherever it is.
		i := rapid.IntRange(0, len(token)-1).Draw(t, "i")
		c := rapid.SampledFrom([]byte("AbZ09_-")).Draw(t, "c")
		if forged := token[:i] + string(c) + token[i+1:]; forged != token {
			_, refused = s.readToken(scope, forged)
			require.NotNil(t, refused, "%s was taken for %s", forged, token)
		}
	})
}

func TestMadeUpTokens(t *testing.T) {
	t.Parallel()
	s := &server{Config: Config{PageKey: []byte("one")}}
	for _, token := range []string{"", "A", "AAAAAAAAAAAA", "AAAAAAAAAAAAAAAA", "====", "ä", "..", "AAAA AAAA AAAA", s.pageToken("s", "a") + "="} {
		_, refused := s.readToken("s", token)
		require.NotNil(t, refused, "%q", token)
		require.Equal(t, "page_token", refused.Parameter)
		require.Equal(t, codePageToken, refused.Code)
	}
}
