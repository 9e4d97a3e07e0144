package jsonin

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"runtime"
	"strings"
	"testing"
	"time"
	"unicode"
	"unicode/utf8"

	"github.com/stretchr/testify/require"
	"golang.org/x/text/unicode/norm"
	"pgregory.net/rapid"

	"statorbook/internal/errs"
)

type note struct {
	Text string `json:"text" in:"runes=100"`
}

// hostileTexts is the corpus of row S10: texts that have broken other systems, by their kind.
func hostileTexts() []string {
	list := []string{
		"", " ", "null", "undefined", "NaN", "true", "0", "-1", "1e999", "'", "\"", "\\", "`", "';--", "1' OR '1'='1", "\"; DROP TABLE winding; --",
		"<script>alert(1)</script>", "<img src=x onerror=alert(1)>", "{{7*7}}", "${7*7}", "%s%n%x", "%00", "../../etc/passwd", "=1+1", "+1", "-1+1", "@SUM(A1)", "|cmd",
		"é", "e\u0301", "\u00c5", "A\u030a", "\u212b", "ﬀ", "Ω", "\u2126", "µ", "μ", "ß", "İ", "ı", "वायर", "தமிழ்", "电机", "모터", "מנוע", "محرك", "🙂", "👩‍🔧", "🇮🇳",
		"a\u200db", "a\u200cb", "a\u200bb", "a\u00adb", "a\u2060b", strings.Repeat("a\u0301", 50), strings.Repeat("\u0301", 90), strings.Repeat("x", 100), strings.Repeat("x", 101),
		strings.Repeat("é", 100), strings.Repeat("é", 101), "\ufffd", "\U0010fffd", "\ue000", "\u0378",
		"\x80", "\xff", "\xc0\xaf", "\xe0\x80\xaf", "\xf0\x80\x80\xaf", "\xed\xa0\x80", "\xf4\x90\x80\x80", "a\xc3", "\xe2\x82", "\xf8\x88\x80\x80\x80",
	}
	for r := rune(0); r < 0x20; r++ {
		list = append(list, "a"+string(r)+"b")
	}
	for r := rune(0x7f); r < 0xa0; r++ {
		list = append(list, string(r))
	}
	for _, r := range []rune{0x061c, 0x200e, 0x200f, 0x2028, 0x2029, 0x202a, 0x202b, 0x202c, 0x202d, 0x202e, 0x2066, 0x2067, 0x2068, 0x2069, 0xfeff, 0xfffe, 0xffff, 0xfdd0, 0x1fffe, 0x10ffff} {
		list = append(list, "a"+string(r), string(r)+"a")
	}
	return list
}

// quote writes s as a JSON string without changing a byte of it beyond what JSON must escape.
func quote(s string) string {
	var b strings.Builder
	b.WriteByte('"')
	for i := 0; i < len(s); i++ {
		switch c := s[i]; {
		case c == '"' || c == '\\':
			b.WriteByte('\\')
			b.WriteByte(c)
		case c < 0x20:
			fmt.Fprintf(&b, `\u%04x`, c)
		default:
			b.WriteByte(c)
		}
	}
	b.WriteByte('"')
	return b.String()
}

// Every hostile text is refused with a 4xx kind, or comes through exactly, in NFC (row S10).
func TestHostileTexts(t *testing.T) {
	t.Parallel()
	corpus := hostileTexts()
	require.GreaterOrEqual(t, len(corpus), 180)
	taken := 0
	for _, s := range corpus {
		var n note
		err := Decode([]byte(`{"text":`+quote(s)+`}`), &n, Single)
		if err == nil {
			taken++
			require.Equal(t, norm.NFC.String(s), n.Text, "%q", s)
			require.True(t, utf8.ValidString(n.Text))
			for _, r := range n.Text {
				require.False(t, unicode.IsControl(r) || unicode.Is(unicode.Bidi_Control, r) || r == 0, "%q", s)
			}
			continue
		}
		var e *errs.Error
		require.True(t, errors.As(err, &e))
		require.Equal(t, errs.KindSyntax, e.Kind, "%q", s)
		require.Equal(t, "/text", e.Fields[0].Pointer)
		answer, err := json.Marshal(e.Fields[0])
		require.NoError(t, err)
		for _, r := range e.Fields[0].Got {
			require.False(t, unicode.IsControl(r) || unicode.Is(unicode.Bidi_Control, r), "%q comes back in %s", s, answer)
		}
	}
	require.Greater(t, taken, 60, "the guard must not refuse honest text")
}

// Bidi_Control is Unicode's own list; the guard refuses all of it.
func TestEveryBidiControlIsForbidden(t *testing.T) {
	t.Parallel()
	for r := rune(0); r <= unicode.MaxRune; r++ {
		if unicode.Is(unicode.Bidi_Control, r) || unicode.IsControl(r) || unicode.Is(unicode.Noncharacter_Code_Point, r) {
			require.True(t, forbidden(r), "%U", r)
		} else if forbidden(r) {
			require.Contains(t, []rune{0x2028, 0x2029, 0xfeff}, r, "%U is refused without need", r)
		}
	}
}

// A text is read the same whether its letters are escaped or not.
func TestEscapesMakeNoDifference(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		s := rapid.StringN(0, 60, -1).Draw(t, "text")
		escaped := ""
		for _, r := range s {
			if r >= 0x10000 {
				r -= 0x10000
				escaped += fmt.Sprintf(`\u%04x\u%04X`, 0xd800+r>>10, 0xdc00+r&0x3ff)
			} else {
				escaped += fmt.Sprintf(`\u%04x`, r)
			}
		}
		var plain, other note
		errPlain := Decode([]byte(`{"text":`+quote(s)+`}`), &plain, Single)
		errOther := Decode([]byte(`{"text":"`+escaped+`"}`), &other, Single)
		require.Equal(t, errPlain == nil, errOther == nil, "%q", s)
		require.Equal(t, plain, other)
	})
}

// numberSpellings tells of each spelling whether it is a JSON number that can be kept, and as what.
var numberSpellings = []struct {
	text string
	code string // "" = taken
	want float64
}{
	{"0", "", 0}, {"-0", "", 0}, {"-0.0", "", 0}, {"0e0", "", 0}, {"0.0e+99", "", 0}, {"1", "", 1}, {"-1", "", -1}, {"1.50", "", 1.5},
	{"0.5740399999999999", "", 0.5740399999999999}, {"1e-7", "", 1e-7}, {"1E+2", "", 100}, {"9007199254740993", "", 9007199254740992},
	{"1.7976931348623157e308", "", 1.7976931348623157e308}, {"5e-324", "", 5e-324}, {"2.2250738585072014e-308", "", 2.2250738585072014e-308},
	{"1e309", CodeOverflow, 0}, {"-1e309", CodeOverflow, 0}, {"1.8e308", CodeOverflow, 0}, {"1e999999999999999", CodeOverflow, 0},
	{"1e-400", CodeUnderflow, 0}, {"-1e-400", CodeUnderflow, 0}, {"1e-999999999999999", CodeUnderflow, 0}, {"2e-324", CodeUnderflow, 0},
	{"0.00000000000000000000000000000001", CodeNumberLength, 0}, {"100000000000000000000000000000000", CodeNumberLength, 0},
	{"10000000000000000000000000000000", "", 1e31}, {"00", CodeSyntax, 0}, {"01", CodeSyntax, 0}, {"-01", CodeSyntax, 0}, {".5", CodeSyntax, 0}, {"5.", CodeSyntax, 0},
	{"+5", CodeSyntax, 0}, {"--5", CodeSyntax, 0}, {"5e", CodeSyntax, 0}, {"5e+", CodeSyntax, 0}, {"5e1.5", CodeSyntax, 0}, {"0x10", CodeSyntax, 0}, {"1_000", CodeSyntax, 0},
	{"1,5", CodeSyntax, 0}, {"1 000", CodeSyntax, 0}, {"٣", CodeSyntax, 0}, {"１", CodeSyntax, 0}, {"NaN", CodeSyntax, 0}, {"nan", CodeSyntax, 0}, {"Infinity", CodeSyntax, 0},
	{"-Infinity", CodeSyntax, 0}, {"inf", CodeSyntax, 0}, {"1f", CodeSyntax, 0}, {"1n", CodeSyntax, 0}, {"-", CodeSyntax, 0}, {"e5", CodeSyntax, 0}, {"½", CodeSyntax, 0},
	{`"1"`, CodeType, 0}, {"true", CodeType, 0}, {"[1]", CodeType, 0}, {`{"value":1}`, CodeType, 0},
}

func TestNumberSpellings(t *testing.T) {
	t.Parallel()
	for _, tc := range numberSpellings {
		var v struct {
			X float64 `json:"x"`
		}
		err := Decode([]byte(`{"x":`+tc.text+`}`), &v, Single)
		if tc.code == "" {
			require.NoError(t, err, tc.text)
			require.Equal(t, tc.want, v.X, tc.text)
			require.False(t, v.X == 0 && math.Signbit(v.X), "minus zero is zero: %s", tc.text)
			continue
		}
		var e *errs.Error
		require.True(t, errors.As(err, &e), tc.text)
		require.Equal(t, tc.code, e.Fields[0].Code, tc.text)
	}
}

// plainBody is read by the standard library as well; both must see the same in what both accept.
type plainBody struct {
	Name  string             `json:"name"`
	Count int                `json:"count"`
	Ratio float64            `json:"ratio"`
	Flag  *bool              `json:"flag"`
	Inner *plainBody         `json:"inner"`
	Items []plainBody        `json:"items"`
	Words []string           `json:"words"`
	Map   map[string]float64 `json:"map"`
	When  time.Time          `json:"when"`
}

func drawBody(t *rapid.T, depth int) plainBody {
	flag := rapid.Bool().Draw(t, "flag")
	b := plainBody{
		Name:  rapid.StringMatching(`[a-zA-Z0-9 "\\/é]{0,20}`).Draw(t, "name"),
		Count: rapid.IntRange(-1<<53, 1<<53).Draw(t, "count"),
		Ratio: rapid.Float64Range(-1e9, 1e9).Draw(t, "ratio"),
		Flag:  &flag,
		Words: rapid.SliceOfN(rapid.StringMatching(`[a-z]{0,5}`), 1, 3).Draw(t, "words"),
		Map:   rapid.MapOfN(rapid.StringMatching(`[a-z]{1,5}`), rapid.Float64Range(-1, 1), 1, 3).Draw(t, "map"),
		When:  time.Unix(rapid.Int64Range(0, 4e9).Draw(t, "when"), 0).UTC(),
	}
	if depth > 0 {
		inner := drawBody(t, depth-1)
		b.Inner, b.Items = &inner, []plainBody{inner, drawBody(t, depth-1)}
	}
	return b
}

func TestAgreesWithTheStandardLibrary(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		want := drawBody(t, rapid.IntRange(0, 3).Draw(t, "depth"))
		text, err := json.Marshal(want)
		require.NoError(t, err)
		var ours, theirs plainBody
		require.NoError(t, Decode(text, &ours, Line), string(text))
		require.NoError(t, json.Unmarshal(text, &theirs))
		require.Equal(t, theirs, ours)
	})
}

// The presets are the figures of the contract and of row S7.
func TestPresets(t *testing.T) {
	t.Parallel()
	require.Equal(t, Limits{Bytes: 65536, Depth: 16, Tokens: 10000, Problems: 50}, Single)
	require.Equal(t, Single, Limits{}.filled())
	require.Equal(t, 2<<20, Batch.Bytes)
	type batch struct {
		Items []Raw `json:"items" in:"required,maxitems=1000"`
	}
	whole := func(n int) string {
		return `{"items":[` + strings.TrimSuffix(strings.Repeat(`{"text":"x"},`, n), ",") + `]}`
	}
	var b batch
	require.NoError(t, Decode([]byte(whole(1000)), &b, Batch))
	require.Len(t, b.Items, 1000)
	require.Equal(t, errs.KindTooLarge, errs.KindOf(Decode([]byte(whole(1001)), &b, Batch)))
}

// A body of nothing but brackets allocates no more than the bound on tokens lets it: a node is 28
// bytes, and a slice that grows is copied a few times. Not parallel: it reads the heap's own count.
func TestFloodOfTokensIsBounded(t *testing.T) {
	flood := []byte(`{"items":[` + strings.Repeat("[],", 600_000) + `[]]}`)
	var b struct {
		Items []Raw `json:"items"`
	}
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	err := Decode(flood, &b, Batch)
	runtime.ReadMemStats(&after)
	require.Equal(t, errs.KindTooLarge, errs.KindOf(err))
	require.Less(t, after.TotalAlloc-before.TotalAlloc, uint64(64<<20))
}

// Items of one batch fail each by itself; the others are not touched.
func TestItemsFailByThemselves(t *testing.T) {
	t.Parallel()
	var b struct {
		Items []Raw `json:"items"`
	}
	text := `{"items":[{"text":"a"},{"txt":"b"},{"text":"` + "\xff" + `"},{"text":1e400},{"text":"e","text":"f"},null_,{"text":"g"}]}`
	require.NoError(t, Decode([]byte(strings.Replace(text, "null_,", "", 1)), &b, Batch))
	want := []string{"", "/txt UNKNOWN_NAME", "/text INVALID_UTF8", "/text WRONG_TYPE", "/text DUPLICATE_NAME", ""}
	for i, item := range b.Items {
		var n note
		got := ""
		if err := item.Decode(&n); err != nil {
			var e *errs.Error
			require.True(t, errors.As(err, &e))
			got = e.Fields[0].Pointer + " " + e.Fields[0].Code
		}
		require.Equal(t, want[i], got)
	}
}
