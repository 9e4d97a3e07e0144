package jsonin

import (
	"encoding/json"
	"math"
	"reflect"
	"strconv"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"statorbook/internal/errs"
)

func TestSuggest(t *testing.T) {
	t.Parallel()
	known := []string{"system", "size", "diameter_mm", "slot_depth_mm", "swg", "awg"}
	for got, want := range map[string]string{
		"sytem": "system", "sysetm": "system", "systemm": "system", "SYSTEM": "system", "sistim": "system",
		"diametre_mm": "diameter_mm", "slotdepth_mm": "slot_depth_mm", "SWG": "swg", "xyz": "", "": "", "szie": "size", "ab": "",
	} {
		require.Equal(t, want, Suggest(got, known), got)
	}
}

func TestDistanceIsAMetricOfEdits(t *testing.T) {
	t.Parallel()
	word := rapid.StringMatching(`[abc]{0,8}`)
	rapid.Check(t, func(t *rapid.T) {
		a, b := word.Draw(t, "a"), word.Draw(t, "b")
		require.Equal(t, distance(a, b), distance(b, a))
		require.Equal(t, a == b, distance(a, b) == 0)
		require.LessOrEqual(t, distance(a, a+"x"), 1)
	})
}

func TestPointer(t *testing.T) {
	t.Parallel()
	// The examples of RFC 6901 section 5 that need escapes.
	require.Equal(t, "/foo/0", Pointer("foo", 0))
	require.Equal(t, "/a~1b", Pointer("a/b"))
	require.Equal(t, "/m~0n", Pointer("m~n"))
	require.Equal(t, "/", Pointer(""))
	require.Equal(t, "", Pointer())
}

func TestFormats(t *testing.T) {
	t.Parallel()
	require.True(t, IsUUID("00000000-0000-0000-0000-000000000000"))
	for _, bad := range []string{"", "0", "00000000-0000-0000-0000-00000000000g", "00000000000000000000000000000000000a", "00000000-0000-0000-0000-00000000000A"} {
		require.False(t, IsUUID(bad), bad)
	}
	for _, good := range []string{"abc", "demo-fan-12", "sim-r0000001", "1ab"} {
		require.True(t, IsSlug(good), good)
	}
	for _, bad := range []string{"", "ab", "-ab", "ab-", "a--b", "Abc", "a_b", "a/b", "é-bc", "abcdef01-0000-0000-0000-000000000000"} {
		require.False(t, IsSlug(bad), bad)
	}
	require.True(t, isSHA256("e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855")) // SHA-256 of nothing, FIPS 180-4
	require.False(t, isSHA256("E3B0C44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"))
	require.False(t, isSHA256("e3"))
}

// pair reads itself from [a, b] or from {"a":, "b":}.
type pair struct{ A, B float64 }

func (p *pair) ReadJSON(n Node) {
	switch n.Kind() {
	case Object:
		var o struct {
			A *float64 `json:"a" in:"required"`
			B *float64 `json:"b" in:"required"`
		}
		if n.Object(&o) {
			p.A, p.B = *o.A, *o.B
			if p.A > p.B {
				n.FailAt("a", CodeConflict, "a must not be above b", nil, "a")
			}
			n.CheckAt("b", p.B, "too much")
		}
	case Number:
		if v, text, ok := n.Number(); ok {
			p.A, p.B = v, float64(len(text))
		}
	case String:
		if s, ok := n.Text(); ok {
			p.A = float64(len(s))
		}
	default:
		n.WrongType("a pair")
	}
}

func TestValueReadsItself(t *testing.T) {
	t.Parallel()
	type holder struct {
		P pair            `json:"p_mm" in:"max=10,unit=mm,enum=word"`
		Q *pair           `json:"q"`
		L []pair          `json:"l"`
		M map[string]pair `json:"m"`
	}
	var h holder
	require.NoError(t, Decode([]byte(`{"p_mm":"word","q":{"a":1,"b":2},"l":[4.50],"m":{"x":{"a":1,"b":2}}}`), &h, Single))
	require.Equal(t, holder{P: pair{A: 4}, Q: &pair{1, 2}, L: []pair{{4.5, 4}}, M: map[string]pair{"x": {1, 2}}}, h)

	var e *errs.Error
	require.ErrorAs(t, Decode([]byte(`{"p_mm":{"a":1,"b":11},"q":{"a":3,"b":2},"l":[true,{"a":1,"c":1},"`+"\xff"+`"]}`), &h, Single), &e)
	got := []string{}
	for _, f := range e.Fields {
		got = append(got, f.Pointer+" "+f.Code)
	}
	require.Equal(t, []string{"/p_mm/b OUT_OF_RANGE", "/q/a CONFLICTING_NAMES", "/l/0 WRONG_TYPE", "/l/1/c UNKNOWN_NAME", "/l/1/b REQUIRED", "/l/2 INVALID_UTF8"}, got)
}

func TestFieldsTellsTheTags(t *testing.T) {
	t.Parallel()
	list, err := Fields(reflect.TypeFor[body]())
	require.NoError(t, err)
	require.Equal(t, "id", list[0].Name)
	require.Equal(t, "uuid", list[0].Format)
	require.True(t, list[1].Required)
	_, err = Fields(reflect.TypeFor[struct {
		A int `json:"a" in:"x"`
	}]())
	require.Error(t, err)
}

// Every finite float64 that encoding/json writes reads back bit for bit.
func TestNumbersReadBack(t *testing.T) {
	t.Parallel()
	type one struct {
		V float64 `json:"v"`
	}
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.Float64().Filter(func(v float64) bool { return !math.IsInf(v, 0) && !math.IsNaN(v) && v != 0 }).Draw(t, "v")
		var back one
		require.NoError(t, Decode([]byte(`{"v":`+strconv.FormatFloat(v, 'e', -1, 64)+`}`), &back, Single))
		require.Equal(t, v, back.V)
	})
}

// Whatever encoding/json accepts as one value, the tree accepts, and the other way round, but for
// depth and tokens: the grammar is checked against the standard library.
func TestGrammarAgreesWithTheStandardLibrary(t *testing.T) {
	t.Parallel()
	piece := rapid.SampledFrom([]string{"{", "}", "[", "]", ",", ":", `"a"`, `"b"`, `"\u00e9"`, `"\q"`, "1", "-1.5e3", "01", "1.", "true", "null", " ", "\n", "-", "\"", "\x01"})
	rapid.Check(t, func(t *rapid.T) {
		text := ""
		for _, p := range rapid.SliceOfN(piece, 0, 12).Draw(t, "pieces") {
			text += p
		}
		_, fault := parse(text, Single.filled())
		require.Equal(t, json.Valid([]byte(text)), fault == nil, text)
	})
}

func FuzzDecode(f *testing.F) {
	for _, seed := range []string{`{}`, `{"system":"awg","turns":[1,2.5e3]}`, `{"core":{"slots":1e400}}`, `{"a":"\ud83d\ude00"}`, `[[[[`, `{"items":[{"system":1}]}`, "{\"a\":\"\xff\"}"} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		var b body
		err := Decode(data, &b, Single)
		if err != nil {
			var e *errs.Error
			require.ErrorAs(t, err, &e)
			require.NotEqual(t, errs.KindInternal, e.Kind)
			require.NotEmpty(t, e.Fields)
			for _, field := range e.Fields {
				require.True(t, utf8.ValidString(field.Got) && utf8.ValidString(field.Pointer) && utf8.ValidString(field.Detail))
			}
			return
		}
		require.True(t, json.Valid(data), "accepted what the standard library calls invalid")
		for _, item := range b.Items {
			_ = item.Decode(&body{})
		}
	})
}

func BenchmarkDecode(b *testing.B) {
	text := []byte(`{"system":"awg","phases":3,"title":"fan","core":{"slots":24,"width_mm":3.50},"rings":[{"slots":12,"width_mm":3.1},{"slots":14}],"turns":[100,200,300],"marks":{"power_w":"measured"}}`)
	b.ReportAllocs()
	b.SetBytes(int64(len(text)))
	for b.Loop() {
		var v body
		if err := Decode(text, &v, Single); err != nil {
			b.Fatal(err)
		}
	}
}

// The sentences of refusals read as sentences.
func TestSentences(t *testing.T) {
	t.Parallel()
	var v struct {
		Items []int `json:"items" in:"minitems=1,maxitems=1"`
	}
	for text, want := range map[string]string{
		`{"items":[]}`:          "at least 1 item is needed here",
		`{"items":[1,2]}`:       "at most 1 item is taken here",
		"{\"items\":\"a\x01\"}": "a control character inside a string must be written as an escape",
	} {
		err := Decode([]byte(text), &v, Single)
		var known *errs.Error
		require.ErrorAs(t, err, &known)
		require.Contains(t, strings.ToLower(known.Fields[0].Detail), want)
	}
}
