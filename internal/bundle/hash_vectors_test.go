package bundle

import (
	"encoding/json"
	"math"
	"strconv"
	"strings"
	"testing"

	"github.com/gowebpki/jcs"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"statorbook/internal/jsonin"
)

// The number samples of RFC 8785 appendix B, written by our own form, not only by the library.
func TestCanonicalNumberVectors(t *testing.T) {
	t.Parallel()
	type box struct {
		N float64 `json:"n"`
	}
	for bits, want := range map[uint64]string{
		0x0000000000000000: "0", 0x8000000000000000: "0", 0x0000000000000001: "5e-324", 0x8000000000000001: "-5e-324",
		0x7fefffffffffffff: "1.7976931348623157e+308", 0xffefffffffffffff: "-1.7976931348623157e+308",
		0x4340000000000000: "9007199254740992", 0xc340000000000000: "-9007199254740992", 0x4430000000000000: "295147905179352830000",
		0x44b52d02c7e14af5: "9.999999999999997e+22", 0x44b52d02c7e14af6: "1e+23", 0x44b52d02c7e14af7: "1.0000000000000001e+23",
		0x444b1ae4d6e2ef4e: "999999999999999700000", 0x444b1ae4d6e2ef4f: "999999999999999900000", 0x444b1ae4d6e2ef50: "1e+21",
		0x3eb0c6f7a0b5ed8c: "9.999999999999997e-7", 0x3eb0c6f7a0b5ed8d: "0.000001",
		0x41b3de4355555553: "333333333.3333332", 0x41b3de4355555554: "333333333.33333325", 0x41b3de4355555555: "333333333.3333333",
		0x41b3de4355555556: "333333333.3333334", 0x41b3de4355555557: "333333333.33333343",
		0xbecbf647612f3696: "-0.0000033333333333333333", 0x43143ff3c1cb0959: "1424953923781206.2",
	} {
		got, err := Canonical(box{math.Float64frombits(bits)})
		require.NoError(t, err)
		require.Equal(t, `{"n":`+want+`}`, string(got))
	}
	for _, bits := range []uint64{0x7fffffffffffffff, 0x7ff0000000000000, 0xfff0000000000000} {
		_, err := Canonical(box{math.Float64frombits(bits)})
		require.Error(t, err)
	}
}

// The sorting example of RFC 8785 section 3.2.3. Our own form puts text into NFC first, which takes the
// last name apart; the others keep their order.
func TestCanonicalOrderVectors(t *testing.T) {
	t.Parallel()
	names := map[string]string{"\u20ac": "Euro Sign", "\r": "Carriage Return", "\ufb33": "Hebrew Letter Dalet With Dagesh", "1": "One",
		"\U0001f600": "Emoji: Grinning Face", "\u0080": "Control", "\u00f6": "Latin Small Letter O With Diaeresis"}
	want := `{"\r":"Carriage Return","1":"One","` + "\u0080" + `":"Control","ö":"Latin Small Letter O With Diaeresis",` +
		`"€":"Euro Sign","😀":"Emoji: Grinning Face","` + "\ufb33" + `":"Hebrew Letter Dalet With Dagesh"}`
	text, err := json.Marshal(names)
	require.NoError(t, err)
	got, err := jcs.Transform(text)
	require.NoError(t, err)
	require.Equal(t, want, string(got))

	type box struct {
		Names map[string]string `json:"names"`
	}
	delete(names, "\ufb33")
	got, err = Canonical(box{names})
	require.NoError(t, err)
	require.Equal(t, `{"names":`+strings.Replace(want, `,"`+"\ufb33"+`":"Hebrew Letter Dalet With Dagesh"`, "", 1)+`}`, string(got))
}

// typedDigits draws a positive decimal number as somebody types it, in at most 32 characters, with its
// value inside the bounds of a length.
func typedDigits(t *rapid.T) string {
	whole := strconv.Itoa(rapid.IntRange(1, 9999).Draw(t, "whole"))
	digits := rapid.SliceOfN(rapid.ByteRange('0', '9'), 0, 31-len(whole)).Draw(t, "fraction")
	if len(digits) == 0 {
		return whole
	}
	return whole + "." + string(digits)
}

// No digit that was typed is lost on the way through reading, canonical form, writing and reading again,
// also where a float64 could not hold it; any other digit gives another hash (goal G17).
func TestDigitsAreNeverLost(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		typed := typedDigits(t)
		read := func(text string) Core {
			var c Core
			require.NoError(t, jsonin.Decode([]byte(text), &c, jsonin.Single))
			return c
		}
		c := read(`{"gap_diameter_mm":` + typed + `}`)
		form, err := Canonical(c)
		require.NoError(t, err)
		require.Equal(t, `{"gap_diameter_mm":"`+typed+`"}`, string(form))
		require.Equal(t, c, roundTrip(t, c))
		hash := func(c Core) [32]byte {
			sum, err := ContentHash(c)
			require.NoError(t, err)
			return sum
		}
		require.Equal(t, hash(c), hash(read(`{"gap_diameter_mm":{"unit":"mm","value":`+typed+`}}`)))

		at := rapid.IntRange(0, len(typed)-1).Draw(t, "at")
		if typed[at] == '.' || at == 0 {
			return
		}
		other := []byte(typed)
		other[at] = '0' + (other[at]-'0'+byte(rapid.IntRange(1, 9).Draw(t, "step")))%10
		require.NotEqual(t, hash(c), hash(read(`{"gap_diameter_mm":`+string(other)+`}`)), "%s and %s", typed, other)
	})
}

// FuzzHash: whatever text reads as a winding has one hash, which writing and reading again keeps.
func FuzzHash(f *testing.F) {
	f.Add([]byte(`{"core_as_measured":{"slots":24,"gap_diameter_mm":4.50},"remarks":"e\u0301"}`))
	f.Add([]byte(`{"nameplate":{"voltage_v":{"value":2.30e2,"uncertainty":1}},"quality":{"scheme":"counted"}}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		var w Winding
		if jsonin.Decode(data, &w, jsonin.Line) != nil {
			return
		}
		want, err := ContentHash(w)
		require.NoError(t, err)
		text, err := json.Marshal(w)
		require.NoError(t, err)
		var back Winding
		require.NoError(t, jsonin.Decode(text, &back, jsonin.Line), string(text))
		got, err := ContentHash(back)
		require.NoError(t, err)
		require.Equal(t, want, got)
	})
}
