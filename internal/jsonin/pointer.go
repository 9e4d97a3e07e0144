package jsonin

import (
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

// step is one part of a path: a raw member name, or an index when index is not negative.
type step struct {
	raw   string
	index int
}

// maxStep bounds a member name inside a pointer, so that a hostile name cannot blow up the answer.
const maxStep = 100

var pointerEscape = strings.NewReplacer("~", "~0", "/", "~1")

// pointer writes the path as RFC 6901 wants it.
func pointer(path []step) string {
	var b strings.Builder
	for _, s := range path {
		b.WriteByte('/')
		if s.index >= 0 {
			b.WriteString(strconv.Itoa(s.index))
			continue
		}
		name, _ := unescape(s.raw)
		b.WriteString(pointerEscape.Replace(shorten(name, maxStep)))
	}
	return b.String()
}

// Pointer joins member names and indexes to an RFC 6901 pointer; parts are strings or ints.
func Pointer(parts ...any) string {
	var b strings.Builder
	for _, part := range parts {
		b.WriteByte('/')
		switch v := part.(type) {
		case int:
			b.WriteString(strconv.Itoa(v))
		case string:
			b.WriteString(pointerEscape.Replace(v))
		}
	}
	return b.String()
}

// excerpt makes a piece of the input safe and short enough to be shown.
func excerpt(s string) string { return shorten(s, 40) }

// shorten cuts s to n characters and replaces those that must not be shown.
func shorten(s string, n int) string {
	var b strings.Builder
	count := 0
	for i, r := range s {
		if count == n {
			b.WriteString("…")
			break
		}
		if r == utf8.RuneError && !strings.HasPrefix(s[i:], "\uFFFD") || forbidden(r) {
			r = '\uFFFD'
		}
		b.WriteRune(r)
		count++
	}
	return b.String()
}

// forbidden reports control characters (Unicode category Cc, which holds NUL), the bidirectional
// controls of Unicode UAX #9 and the line and paragraph separators.
func forbidden(r rune) bool {
	switch {
	case r < 0x20 || r >= 0x7f && r <= 0x9f:
		return true
	case r < 0x61c:
		return false
	case r == 0x61c, r == 0x200e, r == 0x200f, r >= 0x2028 && r <= 0x202e, r >= 0x2066 && r <= 0x2069, r == 0xfeff:
		return true
	}
	return unicode.Is(unicode.Noncharacter_Code_Point, r)
}
