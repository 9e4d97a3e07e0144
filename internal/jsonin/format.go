package jsonin

import "strings"

// formats holds the named forms of a text, each with the words that tell it.
var formats = map[string]struct {
	ok   func(string) bool
	want string
}{
	"uuid":   {IsUUID, "a UUID in lower case such as 01234567-89ab-4def-8123-456789abcdef"},
	"slug":   {IsSlug, "a slug: lower-case letters and digits in parts joined by single hyphens, 3 to 100 characters"},
	"id":     {func(s string) bool { return IsUUID(s) || IsSlug(s) }, "a UUID in lower case, or a slug"},
	"sha256": {isSHA256, "64 lower-case hexadecimal digits"},
}

// IsUUID reports the canonical lower-case text of a UUID (RFC 9562 section 4), of any version.
func IsUUID(s string) bool {
	if len(s) != 36 {
		return false
	}
	for i := 0; i < len(s); i++ {
		switch i {
		case 8, 13, 18, 23:
			if s[i] != '-' {
				return false
			}
		default:
			if !isHex(s[i]) {
				return false
			}
		}
	}
	return true
}

// IsSlug reports a slug: 3-100 lower-case letters and digits in parts joined by single hyphens. A
// UUID is never a slug, so that both can stand in one path.
func IsSlug(s string) bool {
	if len(s) < 3 || len(s) > 100 || s[0] == '-' || s[len(s)-1] == '-' || strings.Contains(s, "--") {
		return false
	}
	for i := 0; i < len(s); i++ {
		if c := s[i]; !(c >= 'a' && c <= 'z' || c >= '0' && c <= '9' || c == '-') {
			return false
		}
	}
	return !IsUUID(s)
}

func isSHA256(s string) bool {
	if len(s) != 64 {
		return false
	}
	for i := 0; i < len(s); i++ {
		if !isHex(s[i]) {
			return false
		}
	}
	return true
}

func isHex(c byte) bool { return c >= '0' && c <= '9' || c >= 'a' && c <= 'f' }
