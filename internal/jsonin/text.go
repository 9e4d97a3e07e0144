package jsonin

import (
	"math"
	"strconv"
	"strings"
	"unicode/utf16"
	"unicode/utf8"

	"golang.org/x/text/unicode/norm"
)

// unescape resolves the escapes of a raw JSON string, whose form the parser has checked. It
// reports false for half a surrogate pair or bytes that are not UTF-8.
func unescape(raw string) (string, bool) {
	if strings.IndexByte(raw, '\\') < 0 {
		return raw, utf8.ValidString(raw)
	}
	var b strings.Builder
	b.Grow(len(raw))
	ok := true
	for i := 0; i < len(raw); {
		c := raw[i]
		if c != '\\' || i+1 >= len(raw) {
			b.WriteByte(c)
			i++
			continue
		}
		if raw[i+1] != 'u' {
			b.WriteByte(plainEscape(raw[i+1]))
			i += 2
			continue
		}
		r, n, whole := unicodeEscape(raw[i:])
		ok = ok && whole
		b.WriteRune(r)
		i += n
	}
	s := b.String()
	return s, ok && utf8.ValidString(s)
}

func plainEscape(c byte) byte {
	switch c {
	case 'b':
		return '\b'
	case 'f':
		return '\f'
	case 'n':
		return '\n'
	case 'r':
		return '\r'
	case 't':
		return '\t'
	}
	return c
}

// unicodeEscape reads \uXXXX, or two of them that form a pair, and tells how many bytes they took.
// It reports false for half a pair.
func unicodeEscape(s string) (rune, int, bool) {
	r := hex4(s[2:])
	if !utf16.IsSurrogate(r) {
		return r, 6, true
	}
	if len(s) >= 12 && s[6] == '\\' && s[7] == 'u' {
		if pair := utf16.DecodeRune(r, hex4(s[8:])); pair != utf8.RuneError {
			return pair, 12, true
		}
	}
	return utf8.RuneError, 6, false
}

func hex4(s string) rune {
	if len(s) < 4 {
		return utf8.RuneError
	}
	v, err := strconv.ParseUint(s[:4], 16, 32)
	if err != nil {
		return utf8.RuneError
	}
	return rune(v)
}

// textProblem is why a text cannot be taken: its code and a sentence.
type textProblem struct{ code, detail string }

// cleanText resolves raw, normalises it to NFC and checks its characters and its length. lines
// lets line feeds through; they are the only control character that a text of ours may hold.
func cleanText(raw string, runes int, lines bool) (string, *textProblem) {
	s, ok := unescape(raw)
	if !ok {
		return "", &textProblem{CodeUTF8, "the text is not valid UTF-8; send each character whole"}
	}
	plain := true
	for i := 0; i < len(s); i++ {
		if s[i] >= utf8.RuneSelf || s[i] < 0x20 || s[i] == 0x7f {
			plain = false
			break
		}
	}
	if !plain {
		for _, r := range s {
			if forbidden(r) && !(lines && r == '\n') {
				return "", &textProblem{CodeCharacter, "the text holds the character " + codePoint(r) + "; control and bidirectional characters are refused"}
			}
		}
		s = norm.NFC.String(s)
	}
	if len(s) > runes && utf8.RuneCountInString(s) > runes {
		return "", &textProblem{CodeTextLength, "the text is longer than " + strconv.Itoa(runes) + " characters"}
	}
	return s, nil
}

func codePoint(r rune) string {
	h := strings.ToUpper(strconv.FormatInt(int64(r), 16))
	return "U+" + strings.Repeat("0", max(0, 4-len(h))) + h
}

// cleanNumber turns the text of a number, whose form the parser has checked, into a float64.
// Numbers of more than 32 characters, not finite ones, and those that would silently become 0 are refused.
func cleanNumber(text string) (float64, *textProblem) {
	if len(text) > maxNumber {
		return 0, &textProblem{CodeNumberLength, "a number may have at most " + strconv.Itoa(maxNumber) + " characters"}
	}
	v, err := strconv.ParseFloat(text, 64)
	if err != nil || math.IsInf(v, 0) || math.IsNaN(v) {
		return 0, &textProblem{CodeOverflow, "the number is too large for a 64-bit float"}
	}
	if v == 0 {
		if hasDigit(text) {
			return 0, &textProblem{CodeUnderflow, "the number is too small for a 64-bit float; it would become 0"}
		}
		return 0, nil // never minus zero
	}
	return v, nil
}

// hasDigit reports a digit other than 0 in the mantissa.
func hasDigit(text string) bool {
	for i := 0; i < len(text); i++ {
		switch c := text[i]; {
		case c == 'e' || c == 'E':
			return false
		case c >= '1' && c <= '9':
			return true
		}
	}
	return false
}
