package httpapi

import (
	"strconv"
	"strings"
)

// typedNumber brings a number as people type it to the grammar of JSON: a decimal comma, a leading
// plus or point, leading zeros. False if it is no single plain number.
func typedNumber(s string) (string, bool) {
	s = strings.TrimPrefix(strings.ReplaceAll(s, "−", "-"), "+")
	if strings.Count(s, ",") == 1 && !strings.Contains(s, ".") {
		s = strings.Replace(s, ",", ".", 1)
	}
	sign := ""
	if strings.HasPrefix(s, "-") {
		sign, s = "-", s[1:]
	}
	whole, part, _ := strings.Cut(s, ".")
	if whole = strings.TrimLeft(whole, "0"); whole == "" || whole[0] < '0' || whole[0] > '9' {
		whole = "0" + whole
	}
	out := sign + whole
	if part != "" {
		out += "." + part
	}
	return out, s != "" && s != "." && numberGrammar.MatchString(out)
}

// typedFraction reads inches as a rule shows them: 4 5/8, 41/64. The lower figure is a power of two up to 128, so
// that the decimals are exact.
func typedFraction(s string) (string, bool) {
	whole, frac, both := strings.Cut(strings.Join(strings.Fields(s), " "), " ")
	if !both {
		whole, frac = "0", s
	}
	top, bottom, ok := strings.Cut(frac, "/")
	w, err1 := strconv.Atoi(whole)
	a, err2 := strconv.Atoi(top)
	b, err3 := strconv.Atoi(bottom)
	if !ok || err1 != nil || err2 != nil || err3 != nil || w < 0 || w > 999 || a < 0 || b < 2 || b > 128 || b&(b-1) != 0 || a >= b {
		return "", false
	}
	return strconv.FormatFloat(float64(w)+float64(a)/float64(b), 'f', -1, 64), true
}
