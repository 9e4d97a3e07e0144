package bundle

import (
	"math/big"
	"strings"
)

// decimal is an exact decimal number: digits × 10^-scale. The scale keeps trailing zeros, since 4.50
// was read to 0.01 and 4.5 to 0.1.
type decimal struct {
	digits *big.Int
	scale  int
}

// parseDecimal reads the text of a JSON number, exponent included. The text must be a JSON number.
func parseDecimal(text string) decimal {
	mantissa, exponent := text, 0
	if i := strings.IndexAny(text, "eE"); i >= 0 {
		mantissa = text[:i]
		exponent = parseExponent(text[i+1:])
	}
	whole, fraction, _ := strings.Cut(mantissa, ".")
	d := decimal{digits: new(big.Int), scale: len(fraction) - exponent}
	d.digits.SetString(whole+fraction, 10)
	return d
}

// parseExponent reads an exponent. Numbers beyond a 64-bit float never get here, so that more than
// four digits can only belong to a zero, whose exponent does not matter.
func parseExponent(text string) int {
	n, sign := 0, 1
	for _, c := range []byte(text) {
		switch {
		case c == '-':
			sign = -1
		case c >= '0' && c <= '9':
			if n = n*10 + int(c-'0'); n > 9999 {
				return 0
			}
		}
	}
	return sign * n
}

// times returns d × factor × 10^shift. The shift moves the point and adds no digit: 0.0125 m is
// 12.5 mm, not 12.5000 mm.
func (d decimal) times(factor int64, shift int) decimal {
	return decimal{new(big.Int).Mul(d.digits, big.NewInt(factor)), d.scale - shift}
}

// plus returns d + n × 10^-scale.
func (d decimal) plus(n int64, scale int) decimal {
	a, b := d.digits, big.NewInt(n)
	for at := scale; at < d.scale; at++ {
		b = new(big.Int).Mul(b, ten)
	}
	for at := d.scale; at < scale; at++ {
		a = new(big.Int).Mul(a, ten)
	}
	return decimal{new(big.Int).Add(a, b), max(d.scale, scale)}
}

var ten = big.NewInt(10)

// maxZeros bounds the zeros that plain writes; more never fit into 32 characters.
const maxZeros = 64

// plain writes d without exponent, "" if that would take very many zeros.
func (d decimal) plain() string {
	text := new(big.Int).Abs(d.digits).String()
	if d.digits.Sign() == 0 {
		text = "0"
	}
	switch {
	case d.scale > maxZeros || d.scale < -maxZeros:
		return ""
	case d.scale < 0 && text != "0":
		text += strings.Repeat("0", -d.scale)
	case d.scale > 0:
		if len(text) <= d.scale {
			text = strings.Repeat("0", d.scale-len(text)+1) + text
		}
		text = text[:len(text)-d.scale] + "." + text[len(text)-d.scale:]
	}
	if d.digits.Sign() < 0 {
		text = "-" + text
	}
	return text
}
