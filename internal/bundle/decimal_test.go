package bundle

import (
	"math/big"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// exact reads a decimal text as a rational, by the standard library.
func exact(t require.TestingT, text string) *big.Rat {
	r, ok := new(big.Rat).SetString(text)
	require.True(t, ok, text)
	return r
}

var jsonNumber = rapid.Custom(func(t *rapid.T) string {
	text := rapid.StringMatching(`-?(0|[1-9][0-9]{0,8})(\.[0-9]{1,8})?`).Draw(t, "mantissa")
	if rapid.Bool().Draw(t, "exponent") {
		text += rapid.SampledFrom([]string{"e", "E", "e+", "e-"}).Draw(t, "e") + strconv.Itoa(rapid.IntRange(0, 20).Draw(t, "n"))
	}
	return text
})

// Written plain, a number has the value it was typed with.
func TestPlainKeepsTheValue(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		text := jsonNumber.Draw(t, "text")
		plain := parseDecimal(text).plain()
		require.NotContains(t, strings.ToLower(plain), "e")
		require.Zero(t, exact(t, text).Cmp(exact(t, plain)), "%s became %s", text, plain)
		if !strings.ContainsAny(text, "eE") && !strings.HasPrefix(text, "-0") {
			require.Equal(t, text, plain, "digits as typed")
		}
	})
}

// Products, sums and shifts are exact.
func TestDecimalArithmetic(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		text := jsonNumber.Draw(t, "text")
		d := parseDecimal(text)
		factor, shift := rapid.Int64Range(1, 1e9).Draw(t, "factor"), rapid.IntRange(-9, 9).Draw(t, "shift")
		want := exact(t, text+"")
		want.Mul(want, new(big.Rat).SetInt64(factor))
		want.Mul(want, exact(t, "1e"+strconv.Itoa(shift)))
		require.Zero(t, want.Cmp(exact(t, d.times(factor, shift).plain())))

		n, scale := rapid.Int64Range(-1e6, 1e6).Draw(t, "n"), rapid.IntRange(0, 6).Draw(t, "scale")
		want = new(big.Rat).Add(exact(t, text), new(big.Rat).Mul(new(big.Rat).SetInt64(n), exact(t, "1e-"+strconv.Itoa(scale))))
		require.Zero(t, want.Cmp(exact(t, d.plus(n, scale).plain())))
	})
}

// The factors are the definitions, worked out by rational arithmetic.
func TestUnitFactorsAreTheDefinitions(t *testing.T) {
	t.Parallel()
	foot, pound := exact(t, "0.3048"), exact(t, "0.45359237") // m and kg, exact since 1959
	product := func(list ...*big.Rat) *big.Rat {
		r := big.NewRat(1, 1)
		for _, x := range list {
			r.Mul(r, x)
		}
		return r
	}
	inch := product(foot, big.NewRat(1000, 12)) // in mm
	for _, tc := range []struct {
		own, code string
		want      *big.Rat
	}{
		{"mm", "[in_i]", inch}, {"mm", "[mil_i]", product(inch, big.NewRat(1, 1000))}, {"mm2", "[in_i]2", product(inch, inch)},
		{"m", "[ft_i]", foot}, {"m", "[in_i]", product(foot, big.NewRat(1, 12))},
		{"g", "[lb_av]", product(pound, big.NewRat(1000, 1))}, {"g", "[oz_av]", product(pound, big.NewRat(1000, 16))},
		{"W", "[HP]", product(big.NewRat(550, 1), foot, pound, exact(t, "9.80665"))}, // 550 ft·lbf/s, standard gravity
		{"mm", "um", big.NewRat(1, 1000)}, {"mm", "cm", big.NewRat(10, 1)}, {"mm", "m", big.NewRat(1000, 1)}, {"mm2", "cm2", big.NewRat(100, 1)},
		{"m", "mm", big.NewRat(1, 1000)}, {"m", "cm", big.NewRat(1, 100)}, {"m", "km", big.NewRat(1000, 1)},
		{"V", "mV", big.NewRat(1, 1000)}, {"V", "kV", big.NewRat(1000, 1)}, {"A", "mA", big.NewRat(1, 1000)}, {"Hz", "kHz", big.NewRat(1000, 1)},
		{"W", "kW", big.NewRat(1000, 1)}, {"W", "mW", big.NewRat(1, 1000)}, {"/min", "/s", big.NewRat(60, 1)},
		{"uF", "nF", big.NewRat(1, 1000)}, {"uF", "mF", big.NewRat(1000, 1)}, {"uF", "F", big.NewRat(1000000, 1)},
		{"g", "mg", big.NewRat(1, 1000)}, {"g", "kg", big.NewRat(1000, 1)}, {"Ohm", "mOhm", big.NewRat(1, 1000)}, {"Ohm", "kOhm", big.NewRat(1000, 1)},
	} {
		c := unitLists[tc.own][tc.code]
		require.Zero(t, tc.want.Cmp(exact(t, parseDecimal("1").times(c.factor, c.shift).plain())), "%s in %s", tc.code, tc.own)
	}
	c := unitLists["Cel"]["K"]
	require.Equal(t, "0.00", parseDecimal("273.15").times(c.factor, c.shift).plus(c.offset, c.scale).plain())
}

func TestPlainGivesUpOnEndlessZeros(t *testing.T) {
	t.Parallel()
	require.Equal(t, "", parseDecimal("1e300").plain())
	require.Equal(t, "", parseDecimal("1e-300").plain())
	require.Equal(t, "0", parseDecimal("0e99999999999999999999").plain())
	require.Equal(t, "100", parseDecimal("1e2").plain())
	require.Equal(t, "0", parseDecimal("0e5").plain())
}
