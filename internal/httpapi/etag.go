package httpapi

import (
	"net/http"
	"strings"

	"statorbook/internal/bundle"
)

// gzipSuffix is what the compressor adds to a tag, so that the two encodings of one answer differ.
const gzipSuffix = "-gzip"

// tagOf gives the strong entity tag of a representation, without quotes.
func tagOf(body []byte) string { return bundle.EntityTag(body) }

func quoteTag(tag string) string { return `"` + tag + `"` }

// heldTag tells whether If-None-Match of r names tag (given without quotes), by the weak
// comparison of RFC 9110 section 8.8.3.2, and gives the tag as the caller holds it: with the
// compressor's suffix if he holds the compressed form.
func heldTag(r *http.Request, tag string) (string, bool) {
	for _, line := range r.Header["If-None-Match"] {
		if held, ok := tagListed(line, tag); ok {
			return held, true
		}
	}
	return "", false
}

// tagListed walks the list grammar by hand, since a comma may stand inside a tag. A line that
// breaks the grammar is no condition from there on.
func tagListed(list, tag string) (string, bool) {
	for rest := strings.TrimLeft(list, ", \t"); rest != ""; rest = strings.TrimLeft(rest, ", \t") {
		if rest[0] == '*' {
			return tag, true
		}
		rest = strings.TrimPrefix(rest, "W/")
		if rest == "" || rest[0] != '"' {
			return "", false
		}
		held, after, closed := strings.Cut(rest[1:], `"`)
		if !closed {
			return "", false
		}
		if strings.TrimSuffix(held, gzipSuffix) == tag {
			return held, true
		}
		rest = after
	}
	return "", false
}
