package simworld

import (
	"strconv"
	"strings"

	"statorbook/internal/unit"
)

// blunderKind is one way in which a good reading becomes a bad one.
type blunderKind string

// The gross errors of a person who reads and writes figures.
const (
	digitSwap  blunderKind = "digit_swap"   // two neighbouring digits change places
	wrongDigit blunderKind = "digit_wrong"  // one digit is another
	inchRead   blunderKind = "inch"         // read in inches, written as millimetres
	decimalOff blunderKind = "decimal"      // the point one place off
	halfDouble blunderKind = "half_doubled" // radius for diameter, or the other way
)

// blunder draws a gross error for a figure: what is written instead, and which it was.
func blunder(d dice, m unit.Measured) (unit.Measured, blunderKind) {
	for range 20 {
		switch d.index(0.28, 0.26, 0.14, 0.16, 0.16) {
		case 0:
			if text, ok := swapDigits(d, m.Text); ok {
				return typed(text), digitSwap
			}
		case 1:
			if text, ok := changeDigit(d, m.Text); ok {
				return typed(text), wrongDigit
			}
		case 2:
			return read(m.Value/unit.MillimetrePerInch, 0.001), inchRead
		case 3:
			if d.chance(0.5) {
				return typed(shiftPoint(m.Text, 1)), decimalOff
			}
			return typed(shiftPoint(m.Text, -1)), decimalOff
		default:
			factor := pick(d, 0.5, 2)
			return read(m.Value*factor, 0.05), halfDouble
		}
	}
	return typed(shiftPoint(m.Text, 1)), decimalOff // a figure of one digit that cannot be swapped
}

// digitsOf lists the places of the digits of a figure from its first non-zero digit on.
func digitsOf(text string) []int {
	var at []int
	for i := range len(text) {
		if text[i] >= '0' && text[i] <= '9' && (len(at) > 0 || text[i] != '0') {
			at = append(at, i)
		}
	}
	return at
}

// swapDigits lets two neighbouring, different digits change places. The result stays above 0.
func swapDigits(d dice, text string) (string, bool) {
	at := digitsOf(text)
	var places []int
	for i := range len(at) - 1 {
		if text[at[i]] != text[at[i+1]] && !(i == 0 && text[at[1]] == '0') {
			places = append(places, i)
		}
	}
	if len(places) == 0 {
		return "", false
	}
	i := pick(d, places...)
	b := []byte(text)
	b[at[i]], b[at[i+1]] = b[at[i+1]], b[at[i]]
	return string(b), true
}

// changeDigit replaces one digit; the first one never by 0.
func changeDigit(d dice, text string) (string, bool) {
	at := digitsOf(text)
	if len(at) == 0 {
		return "", false
	}
	i := d.r.IntN(len(at))
	b := []byte(text)
	for {
		n := byte('0' + d.r.IntN(10))
		if n != b[at[i]] && !(i == 0 && n == '0') {
			b[at[i]] = n
			return string(b), true
		}
	}
}

// shiftPoint moves the decimal point by places to the right (or left, below 0).
func shiftPoint(text string, places int) string {
	whole, part, _ := strings.Cut(text, ".")
	digits, point := whole+part, len(whole)+places
	for point <= 0 {
		digits, point = "0"+digits, point+1
	}
	for point > len(digits) {
		digits += "0"
	}
	whole, part = strings.TrimLeft(digits[:point], "0"), strings.TrimRight(digits[point:], "0")
	if whole == "" {
		whole = "0"
	}
	if part == "" {
		return whole
	}
	return whole + "." + part
}

// whole is a count written as digits.
func whole(v float64) string { return strconv.FormatFloat(v, 'f', 0, 64) }
