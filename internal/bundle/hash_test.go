package bundle

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/gowebpki/jcs"
	"github.com/stretchr/testify/require"
	"golang.org/x/text/unicode/norm"
	"pgregory.net/rapid"

	"statorbook/internal/catalog"
	"statorbook/internal/jsonin"
	"statorbook/internal/unit"
)

func TestCanonicalForm(t *testing.T) {
	t.Parallel()
	text := `{"id":"01234567-89ab-4def-8123-456789abcdef","slug":"demo-fan","revision":3,"state":"published","demo":true,
		"core_as_measured":{"slots":24,"gap_diameter_mm":4.50,"back_diameter_mm":{"value":1.180e2,"unit":"mm","uncertainty":0.10}},
		"scheme":{"poles":4,"coil_sets":[{"role":"main","wires":[{"system":"bare","diameter_mm":0.3550,"conductor":"copper","strands":2}],
			"coils":[{"in":1,"out":8,"turns":33.0}]}]},
		"remarks":"e\u0301","quality":{"scheme":"counted","nameplate.power_w":"plate"},"etag":"x","licence":"CC0-1.0"}`
	var w Winding
	require.NoError(t, jsonin.Decode([]byte(text), &w, jsonin.Single))
	got, err := Canonical(w)
	require.NoError(t, err)
	require.Equal(t, `{"core_as_measured":{"back_diameter_mm":{"uncertainty":"0.1","value":"118.0"},"gap_diameter_mm":"4.50","slots":24},`+
		`"demo":true,"id":"01234567-89ab-4def-8123-456789abcdef","licence":"CC0-1.0","quality":{"nameplate.power_w":"plate","scheme":"counted"},`+
		`"remarks":"é","scheme":{"coil_sets":[{"coils":[{"in":1,"out":8,"turns":33}],"role":"main",`+
		`"wires":[{"conductor":"copper","diameter_mm":"0.3550","strands":2,"system":"bare"}]}],"poles":4}}`, string(got))
	sum, err := ContentHash(&w)
	require.NoError(t, err)
	require.Equal(t, sha256.Sum256(got), sum)
	// The vector is fixed (sha256sum of the line above): a change of the form would break every hash
	// that was ever given out.
	require.Equal(t, "2f84878fcbfa2dd39c6e6857ec7a1bf6a3986c43ac0026173a255668399495e2", hex.EncodeToString(sum[:]))
}

func TestCanonicalRefuses(t *testing.T) {
	t.Parallel()
	for _, bad := range []any{nil, 5, "x", map[string]int{}, []int{}, (*Winding)(nil), struct {
		C chan int `json:"c"`
	}{make(chan int)}, Coil{Turns: math.NaN()}} {
		_, err := ContentHash(bad)
		require.Error(t, err, "%T", bad)
	}
}

// respell writes the same JSON value another way: members shuffled, white space strewn in, letters
// escaped or taken apart (NFD), numbers outside strings with an exponent where that keeps the digits.
func respell(t require.TestingT, text []byte, dice *rand.Rand) string {
	dec := json.NewDecoder(bytes.NewReader(text))
	dec.UseNumber()
	var v any
	require.NoError(t, dec.Decode(&v))
	var b strings.Builder
	respellValue(&b, v, dice)
	return b.String()
}

func respellValue(b *strings.Builder, v any, dice *rand.Rand) {
	space := func() { b.WriteString([]string{"", " ", "\n\t", "\r\n"}[dice.IntN(4)]) }
	space()
	switch v := v.(type) {
	case map[string]any:
		b.WriteByte('{')
		names := make([]string, 0, len(v))
		for name := range v {
			names = append(names, name)
		}
		dice.Shuffle(len(names), func(i, j int) { names[i], names[j] = names[j], names[i] })
		for i, name := range names {
			if i > 0 {
				b.WriteByte(',')
			}
			space()
			respellText(b, name, dice)
			space()
			b.WriteByte(':')
			respellValue(b, v[name], dice)
		}
		b.WriteByte('}')
	case []any:
		b.WriteByte('[')
		for i, item := range v {
			if i > 0 {
				b.WriteByte(',')
			}
			respellValue(b, item, dice)
		}
		b.WriteByte(']')
	case string:
		respellText(b, v, dice)
	case json.Number:
		b.WriteString(v.String())
		if !strings.ContainsAny(v.String(), "eE") && len(v) < 28 && dice.IntN(2) == 0 {
			b.WriteString([]string{"e0", "E+0", "e-0"}[dice.IntN(3)])
		}
	default:
		text, _ := json.Marshal(v)
		b.Write(text)
	}
	space()
}

func respellText(b *strings.Builder, s string, dice *rand.Rand) {
	if dice.IntN(2) == 0 {
		s = norm.NFD.String(s)
	}
	b.WriteByte('"')
	for _, r := range s {
		if r < 0x10000 && (r < 0x20 || r == '"' || r == '\\' || dice.IntN(4) == 0) {
			b.WriteString(`\u` + hex.EncodeToString([]byte{byte(r >> 8), byte(r)}))
			continue
		}
		b.WriteRune(r)
	}
	b.WriteByte('"')
}

// Key order, white space, escapes, Unicode form, exponents: none of them changes the hash (goal G17).
func TestHashIsIndependentOfTheSpelling(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		shape := WindingOf(drawWinding(t))
		want, err := ContentHash(shape)
		require.NoError(t, err)
		text, err := json.Marshal(shape)
		require.NoError(t, err)
		dice := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
		other := respell(t, text, dice)
		var back Winding
		require.NoError(t, jsonin.Decode([]byte(other), &back, jsonin.Line), other)
		got, err := ContentHash(back)
		require.NoError(t, err)
		require.Equal(t, want, got, other)
	})
}

// The form is what the library makes of it: RFC 8785 to the letter.
func TestCanonicalIsCanonical(t *testing.T) {
	t.Parallel()
	type plain struct {
		Text  string            `json:"text"`
		Value float64           `json:"value"`
		Words map[string]string `json:"words"`
		Names []string          `json:"a_names"`
	}
	check := func(t require.TestingT, shape any) {
		got, err := Canonical(shape)
		require.NoError(t, err)
		want, err := jcs.Transform(got)
		require.NoError(t, err)
		require.Equal(t, string(want), string(got))
	}
	all := ""
	for r := rune(0); r < 0x300; r++ {
		all += string(r)
	}
	check(t, plain{Text: all})
	// The key order of RFC 8785 section 3.2.3 is by UTF-16 units: the smiley comes before U+FF01.
	check(t, plain{Words: map[string]string{"\u20ac": "a", "\r": "b", "\uff01": "c", "1": "d", "\U0001f600": "e", "\u0080": "f", "\u00f6": "g"}})
	rapid.Check(t, func(t *rapid.T) {
		check(t, WindingOf(drawWinding(t)))
		check(t, FamilyOf(drawFamily(t)))
		check(t, plain{
			rapid.String().Draw(t, "text"), rapid.Float64().Filter(func(v float64) bool { return !math.IsInf(v, 0) && !math.IsNaN(v) }).Draw(t, "value"),
			rapid.MapOf(rapid.String().Filter(norm.NFC.IsNormalString), rapid.String()).Draw(t, "words"), rapid.SliceOf(rapid.String()).Draw(t, "names"),
		})
	})
}

// What the server sets does not count; a digit more or less does.
func TestHashCountsContentOnly(t *testing.T) {
	t.Parallel()
	hash := func(t require.TestingT, w catalog.Winding) [32]byte {
		sum, err := ContentHash(WindingOf(w))
		require.NoError(t, err)
		return sum
	}
	rapid.Check(t, func(t *rapid.T) {
		w := drawWinding(t)
		want := hash(t, w)
		other := w
		other.Slug, other.TimesSeen, other.Findings = "demo-other", 99, nil
		p := drawProvenance(t)
		p.Source, p.Licence, p.Demo = w.Source, w.Licence, w.Demo
		other.Provenance = p
		require.Equal(t, want, hash(t, other))

		digit := w
		digit.OverhangFar = unit.Measured{Given: true, Value: 4.5, Text: "4.5"}
		more := w
		more.OverhangFar = unit.Measured{Given: true, Value: 4.5, Text: "4.50"}
		require.NotEqual(t, hash(t, digit), hash(t, more), "4.50 was read finer than 4.5")
		licence := w
		licence.Licence = w.Licence + "x"
		require.NotEqual(t, want, hash(t, licence))
	})
}

// The typed unit does not count: the record holds what was understood.
func TestHashForgetsTheTypedUnit(t *testing.T) {
	t.Parallel()
	var inch, mm figures
	require.NoError(t, jsonin.Decode([]byte(`{"gap_diameter_mm":{"value":0.5,"unit":"[in_i]"}}`), &inch, jsonin.Single))
	require.NoError(t, jsonin.Decode([]byte(`{"gap_diameter_mm":12.70}`), &mm, jsonin.Single))
	a, err := ContentHash(inch)
	require.NoError(t, err)
	b, err := ContentHash(mm)
	require.NoError(t, err)
	require.Equal(t, b, a)
}

// The examples of RFC 8785 appendix B and section 3.2, against the library that we lean on.
func TestCanonicalLibraryKeepsTheStandard(t *testing.T) {
	t.Parallel()
	got, err := jcs.Transform([]byte(`{"numbers": [333333333.33333329, 1E30, 4.50, 2e-3, 0.000000000000000000000000001],
		"string": "\u20ac$\u000F\u000aA'\u0042\u0022\u005c\\\"\/", "literals": [null, true, false]}`))
	require.NoError(t, err)
	require.Equal(t, `{"literals":[null,true,false],"numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27],"string":"€$\u000f\nA'B\"\\\\\"/"}`, string(got))
}

func BenchmarkContentHash(b *testing.B) {
	r := sampleRecord(b)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := ContentHash(r); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkMarshalWinding(b *testing.B) {
	r := sampleRecord(b)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := json.Marshal(r); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkDecodeWinding(b *testing.B) {
	text, err := json.Marshal(sampleRecord(b))
	require.NoError(b, err)
	b.ReportAllocs()
	b.SetBytes(int64(len(text)))
	for b.Loop() {
		var w Winding
		if err := jsonin.Decode(text, &w, jsonin.Line); err != nil {
			b.Fatal(err)
		}
	}
}
