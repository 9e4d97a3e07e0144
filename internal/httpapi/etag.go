package httpapi

import (
	"net/http"
	"strings"

	"statorbook/internal/bundle"
	"statorbook/internal/errs"
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
		if held, ok := tagListed(line, tag, true); ok {
			return held, true
		}
	}
	return "", false
}

// needTag refuses a request whose If-Match names other tags than tag only, by the strong comparison of RFC 9110
// sections 8.8.3.2 and 13.1.1.
func needTag(r *http.Request, tag string) error {
	lines := r.Header["If-Match"]
	for _, line := range lines {
		if _, ok := tagListed(line, tag, false); ok {
			return nil
		}
	}
	if len(lines) == 0 {
		return nil
	}
	return errs.New(errs.KindPreconditionFailed, "What is here now is not what If-Match names.")
}

// tagListed walks the list grammar by hand, since a comma may stand inside a tag. A line that
// breaks the grammar is no condition from there on. A weak tag matches only if weak is set.
func tagListed(list, tag string, weak bool) (string, bool) {
	for rest := strings.TrimLeft(list, ", \t"); rest != ""; rest = strings.TrimLeft(rest, ", \t") {
		if rest[0] == '*' {
			return tag, true
		}
		bare, isWeak := strings.CutPrefix(rest, "W/")
		if bare == "" || bare[0] != '"' {
			return "", false
		}
		held, after, closed := strings.Cut(bare[1:], `"`)
		if !closed {
			return "", false
		}
		if strings.TrimSuffix(held, gzipSuffix) == tag && (weak || !isWeak) {
			return held, true
		}
		rest = after
	}
	return "", false
}
