package jsonin

import (
	"errors"
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"statorbook/internal/errs"
)

type system string

type inner struct {
	Slots int      `json:"slots" in:"min=2,max=360"`
	Width *float64 `json:"width_mm" in:"min=0.01,max=500"`
}

type base struct {
	ID string `json:"id" in:"format=uuid"`
}

type body struct {
	base
	System system             `json:"system" in:"required,enum=swg|awg|metric|bare"`
	Phases int                `json:"phases" in:"enum=1|3"`
	Ratio  float64            `json:"ratio" in:"min=-1,max=1"`
	Demo   *bool              `json:"demo"`
	Title  string             `json:"title" in:"runes=8"`
	Notes  string             `json:"notes" in:"lines,runes=50"`
	Core   *inner             `json:"core"`
	Rings  []inner            `json:"rings" in:"maxitems=2"`
	Turns  []float64          `json:"turns" in:"min=0.5,max=20000,minitems=1"`
	Marks  map[string]string  `json:"marks" in:"enum=measured|counted,maxitems=3"`
	At     time.Time          `json:"at"`
	Count  *int64             `json:"count" in:"min=0,max=10"`
	Items  []Raw              `json:"items" in:"maxitems=3"`
	Free   map[string]float64 `json:"free"`
	//lint:ignore U1000 shows that a field without a tag that is not exported is passed over
	hidden int
	Skip   int `json:"-"`
}

// problems decodes text and lists "pointer CODE" of each problem.
func problems(t *testing.T, text string, lim Limits) ([]string, errs.Kind) {
	t.Helper()
	err := Decode([]byte(text), &body{}, lim)
	if err == nil {
		return nil, -1
	}
	var e *errs.Error
	require.ErrorAs(t, err, &e)
	list := []string{}
	for _, f := range e.Fields {
		require.NotEmpty(t, f.Detail)
		list = append(list, f.Pointer+" "+f.Code)
	}
	return list, e.Kind
}

func TestDecodeReadsEveryKind(t *testing.T) {
	t.Parallel()
	var b body
	err := Decode([]byte(` {"id":"01234567-89ab-4def-8123-456789abcdef","system":"awg","phases":3,"ratio":-0.25,"demo":true,
		"title":"\u0041b\"\\\/","notes":"one\ntwo","core":{"slots":24.0,"width_mm":3.50},"rings":[{"slots":1.2e1},{}],
		"turns":[1,2.5],"marks":{"power_w":"measured"},"at":"2026-01-31T13:00:00+01:00","count":0,
		"items":[{"id":"x"},3],"free":{"a/b":1e-7,"gone":null}} `), &b, Single)
	require.NoError(t, err)
	require.Equal(t, system("awg"), b.System)
	require.Equal(t, "01234567-89ab-4def-8123-456789abcdef", b.ID)
	require.Equal(t, 3, b.Phases)
	require.InDelta(t, -0.25, b.Ratio, 0)
	require.True(t, *b.Demo)
	require.Equal(t, `Ab"\/`, b.Title)
	require.Equal(t, "one\ntwo", b.Notes)
	require.Equal(t, 24, b.Core.Slots)
	require.InDelta(t, 3.5, *b.Core.Width, 0)
	require.Equal(t, 12, b.Rings[0].Slots)
	require.Nil(t, b.Rings[1].Width)
	require.Equal(t, []float64{1, 2.5}, b.Turns)
	require.Equal(t, map[string]string{"power_w": "measured"}, b.Marks)
	require.Equal(t, time.Date(2026, 1, 31, 12, 0, 0, 0, time.UTC), b.At)
	require.EqualValues(t, 0, *b.Count)
	require.Equal(t, map[string]float64{"a/b": 1e-7}, b.Free)
	require.Len(t, b.Items, 2)

	// Each item of a batch fails by itself, with pointers of its own.
	err = b.Items[0].Decode(&body{})
	var e *errs.Error
	require.ErrorAs(t, err, &e)
	require.Equal(t, "/id", e.Fields[0].Pointer)
	require.Equal(t, "/system", e.Fields[1].Pointer)
	require.Equal(t, errs.KindSyntax, errs.KindOf(b.Items[1].Decode(&body{})))
	require.False(t, Raw{}.Given())
	require.Error(t, Raw{}.Decode(&body{}))
}

func TestDecodeNullIsAbsent(t *testing.T) {
	t.Parallel()
	var b body
	require.NoError(t, Decode([]byte(`{"system":"swg","core":null,"turns":null,"title":null,"demo":null,"at":null,"items":null}`), &b, Single))
	require.Equal(t, body{System: "swg"}, b)
}

func TestDecodeProblems(t *testing.T) {
	t.Parallel()
	const kindNone = errs.Kind(-1)
	syntax, impossible, large := errs.KindSyntax, errs.KindImpossible, errs.KindTooLarge
	tests := []struct {
		name, text string
		kind       errs.Kind
		want       []string
	}{
		{"empty", "", syntax, []string{" EMPTY_BODY"}},
		{"white space", " \n", syntax, []string{" EMPTY_BODY"}},
		{"byte order mark", "\xef\xbb\xbf{}", syntax, []string{" SYNTAX"}},
		{"null", "null", syntax, []string{" WRONG_TYPE"}},
		{"array", "[]", syntax, []string{" WRONG_TYPE"}},
		{"second value", `{"system":"awg"}{}`, syntax, []string{" TRAILING_DATA"}},
		{"trailing byte", "{\"system\":\"awg\"}\x00", syntax, []string{" TRAILING_DATA"}},
		{"cut short", `{"system":"awg"`, syntax, []string{" SYNTAX"}},
		{"single quotes", `{'system':'awg'}`, syntax, []string{" SYNTAX"}},
		{"comment", `{/* */"system":"awg"}`, syntax, []string{" SYNTAX"}},
		{"trailing comma", `{"system":"awg",}`, syntax, []string{" SYNTAX"}},
		{"no colon", `{"system" "awg"}`, syntax, []string{" SYNTAX"}},
		{"NaN", `{"ratio":NaN}`, syntax, []string{"/ratio SYNTAX"}},
		{"Infinity", `{"ratio":-Infinity}`, syntax, []string{"/ratio SYNTAX"}},
		{"leading zero", `{"core":{"slots":024}}`, syntax, []string{"/core/slots SYNTAX"}},
		{"plus sign", `{"ratio":+1}`, syntax, []string{"/ratio SYNTAX"}},
		{"bare point", `{"ratio":1.}`, syntax, []string{"/ratio SYNTAX"}},
		{"bare exponent", `{"ratio":1e}`, syntax, []string{"/ratio SYNTAX"}},
		{"hexadecimal", `{"turns":[1,0x10]}`, syntax, []string{"/turns SYNTAX"}},
		{"bad escape", `{"title":"\x41"}`, syntax, []string{"/title SYNTAX"}},
		{"short escape", `{"title":"\u00"}`, syntax, []string{"/title SYNTAX"}},
		{"tab in a string", "{\"title\":\"a\tb\"}", syntax, []string{"/title SYNTAX"}},
		{"open string", `{"title":"a`, syntax, []string{"/title SYNTAX"}},
		{"escape at the end", `{"title":"\`, syntax, []string{"/title SYNTAX"}},
		{"unknown", `{"system":"awg","sytem":"awg"}`, syntax, []string{"/sytem UNKNOWN_NAME"}},
		{"wrong case", `{"System":"awg","system":"awg"}`, syntax, []string{"/System WRONG_CASE_NAME"}},
		{"duplicate", `{"system":"awg","system":"swg"}`, syntax, []string{"/system DUPLICATE_NAME"}},
		{"duplicate by an escape", `{"system":"awg","\u0073ystem":"swg"}`, syntax, []string{"/system DUPLICATE_NAME"}},
		{"duplicate null", `{"system":"awg","title":null,"title":"a"}`, syntax, []string{"/title DUPLICATE_NAME"}},
		{"duplicate inside", `{"system":"awg","rings":[{"slots":4,"slots":4}]}`, syntax, []string{"/rings/0/slots DUPLICATE_NAME"}},
		{"duplicate in a map", `{"system":"awg","marks":{"a":"measured","a":"counted"}}`, syntax, []string{"/marks/a DUPLICATE_NAME"}},
		{"unexported", `{"system":"awg","hidden":1}`, syntax, []string{"/hidden UNKNOWN_NAME"}},
		{"excluded", `{"system":"awg","Skip":1}`, syntax, []string{"/Skip UNKNOWN_NAME"}},
		{"missing", `{}`, syntax, []string{"/system REQUIRED"}},
		{"null for a needed one", `{"system":null}`, syntax, []string{"/system REQUIRED"}},
		{"number for a string", `{"system":5}`, syntax, []string{"/system WRONG_TYPE"}},
		{"string for a number", `{"system":"awg","ratio":"0.5"}`, syntax, []string{"/ratio WRONG_TYPE"}},
		{"string for a bool", `{"system":"awg","demo":"true"}`, syntax, []string{"/demo WRONG_TYPE"}},
		{"array for an object", `{"system":"awg","core":[]}`, syntax, []string{"/core WRONG_TYPE"}},
		{"object for an array", `{"system":"awg","turns":{}}`, syntax, []string{"/turns WRONG_TYPE"}},
		{"array for a map", `{"system":"awg","marks":[]}`, syntax, []string{"/marks WRONG_TYPE"}},
		{"null in an array", `{"system":"awg","turns":[null]}`, syntax, []string{"/turns/0 WRONG_TYPE"}},
		{"fraction", `{"system":"awg","core":{"slots":24.5}}`, syntax, []string{"/core/slots NOT_AN_INTEGER"}},
		{"33 characters", `{"system":"awg","ratio":0.` + strings.Repeat("1", 31) + `}`, syntax, []string{"/ratio NUMBER_TOO_LONG"}},
		{"32 characters", `{"system":"awg","ratio":0.` + strings.Repeat("1", 30) + `}`, kindNone, nil},
		{"overflow", `{"system":"awg","ratio":1e400}`, syntax, []string{"/ratio NUMBER_OVERFLOW"}},
		{"underflow", `{"system":"awg","ratio":1e-400}`, syntax, []string{"/ratio NUMBER_UNDERFLOW"}},
		{"zero with an exponent", `{"system":"awg","ratio":0e-400}`, kindNone, nil},
		{"overflow of an int", `{"system":"awg","count":1e400}`, syntax, []string{"/count NUMBER_OVERFLOW"}},
		{"huge int", `{"system":"awg","count":99999999999999999999}`, impossible, []string{"/count OUT_OF_RANGE"}},
		{"out of range", `{"system":"awg","ratio":1.0001}`, impossible, []string{"/ratio OUT_OF_RANGE"}},
		{"slots 0", `{"system":"awg","core":{"slots":0}}`, impossible, []string{"/core/slots OUT_OF_RANGE"}},
		{"two phases", `{"system":"awg","phases":2}`, impossible, []string{"/phases OUT_OF_RANGE"}},
		{"range and form together", `{"system":"awg","phases":2,"demo":1}`, syntax, []string{"/phases OUT_OF_RANGE", "/demo WRONG_TYPE"}},
		{"in an array", `{"system":"awg","turns":[1,0]}`, impossible, []string{"/turns/1 OUT_OF_RANGE"}},
		{"wrong word", `{"system":"AWG"}`, syntax, []string{"/system VALUE_NOT_ALLOWED"}},
		{"wrong word in a map", `{"system":"awg","marks":{"a":"guessed"}}`, syntax, []string{"/marks/a VALUE_NOT_ALLOWED"}},
		{"too long", `{"system":"awg","title":"123456789"}`, syntax, []string{"/title TEXT_TOO_LONG"}},
		{"runes, not bytes", `{"system":"awg","title":"ΩΩΩΩΩΩΩΩ"}`, kindNone, nil},
		{"NUL", `{"system":"awg","title":"a\u0000"}`, syntax, []string{"/title FORBIDDEN_CHARACTER"}},
		{"line feed", `{"system":"awg","title":"a\nb"}`, syntax, []string{"/title FORBIDDEN_CHARACTER"}},
		{"return in lines", `{"system":"awg","notes":"a\r\nb"}`, syntax, []string{"/notes FORBIDDEN_CHARACTER"}},
		{"delete", "{\"system\":\"awg\",\"title\":\"a\x7f\"}", syntax, []string{"/title FORBIDDEN_CHARACTER"}},
		{"C1 control", `{"system":"awg","title":"a\u0085"}`, syntax, []string{"/title FORBIDDEN_CHARACTER"}},
		{"right-to-left override", `{"system":"awg","title":"a\u202e"}`, syntax, []string{"/title FORBIDDEN_CHARACTER"}},
		{"isolate", "{\"system\":\"awg\",\"title\":\"\u2066\"}", syntax, []string{"/title FORBIDDEN_CHARACTER"}},
		{"noncharacter", `{"system":"awg","title":"\uffff"}`, syntax, []string{"/title FORBIDDEN_CHARACTER"}},
		{"bad UTF-8", "{\"system\":\"awg\",\"title\":\"\xff\"}", syntax, []string{"/title INVALID_UTF8"}},
		{"overlong UTF-8", "{\"system\":\"awg\",\"title\":\"\xc0\x80\"}", syntax, []string{"/title INVALID_UTF8"}},
		{"half a pair", `{"system":"awg","title":"\ud83d"}`, syntax, []string{"/title INVALID_UTF8"}},
		{"two low halves", `{"system":"awg","title":"\udc00\udc00"}`, syntax, []string{"/title INVALID_UTF8"}},
		{"a whole pair", `{"system":"awg","title":"\ud83d\ude00"}`, kindNone, nil},
		{"not a UUID", `{"system":"awg","id":"01234567-89AB-4def-8123-456789abcdef"}`, syntax, []string{"/id INVALID_FORMAT"}},
		{"not a time", `{"system":"awg","at":"yesterday"}`, syntax, []string{"/at INVALID_FORMAT"}},
		{"a time that is none", `{"system":"awg","at":5}`, syntax, []string{"/at WRONG_TYPE"}},
		{"no items", `{"system":"awg","turns":[]}`, syntax, []string{"/turns TOO_FEW_ITEMS"}},
		{"items over the limit", `{"system":"awg","items":[1,2,3,4]}`, large, []string{"/items TOO_MANY_ITEMS"}},
		{"map over the limit", `{"system":"awg","marks":{"a":"x","b":"x","c":"x","d":"x"}}`, large, []string{"/marks TOO_MANY_ITEMS"}},
		{"pointer escapes", `{"system":"awg","a/b~c":1}`, syntax, []string{"/a~1b~0c UNKNOWN_NAME"}},
		{"hostile name", `{"system":"awg","a\u0000\u202e":1}`, syntax, []string{"/a\uFFFD\uFFFD UNKNOWN_NAME"}},
		{"hostile map name", `{"system":"awg","free":{"\u0000":1}}`, syntax, []string{"/free/\uFFFD FORBIDDEN_CHARACTER"}},
		{"all at once", `{"ratio":2,"Title":"x","core":{"slots":0,"widht_mm":1}}`, syntax,
			[]string{"/ratio OUT_OF_RANGE", "/Title WRONG_CASE_NAME", "/core/slots OUT_OF_RANGE", "/core/widht_mm UNKNOWN_NAME", "/system REQUIRED"}},
	}
	for _, tc := range tests {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			got, kind := problems(t, tc.text, Single)
			require.Equal(t, tc.want, got)
			require.Equal(t, tc.kind, kind)
		})
	}
}

func TestDecodeWordsTheRemedy(t *testing.T) {
	t.Parallel()
	first := func(text string) errs.Field {
		var e *errs.Error
		require.ErrorAs(t, Decode([]byte(text), &body{}, Single), &e)
		return e.Fields[0]
	}
	f := first(`{"sytem":"awg"}`)
	require.Contains(t, f.Detail, "did you mean system?")
	require.Equal(t, "awg", f.Got)
	f = first(`{"system":"SWG"}`)
	require.Contains(t, f.Detail, "did you mean swg?")
	require.Equal(t, []string{"swg", "awg", "metric", "bare"}, f.Allowed)
	require.Equal(t, "SWG", f.Got)
	f = first(`{"ratio":11.80}`)
	require.Equal(t, "ratio must be from -1 to 1", f.Detail)
	require.Equal(t, "11.80", f.Got)
	require.InDelta(t, 1, *f.Allowed.(Bounds).Max, 0)
	f = first("{\n \"system\": awg}")
	require.Contains(t, f.Detail, "line 2, column 12")
	require.Equal(t, "/system", f.Pointer)
	f = first(`{"system":{"a":1}}`)
	require.Equal(t, "object", f.Got)
	f = first(`{"system":"` + strings.Repeat("ab\u202e", 30) + `"}`)
	require.NotContains(t, f.Got, "\u202e")
	require.LessOrEqual(t, len([]rune(f.Got)), 41)
}

func TestDecodeLimits(t *testing.T) {
	t.Parallel()
	nest := func(n int) string { return `{"x":` + strings.Repeat("[", n-1) + strings.Repeat("]", n-1) + `}` }
	lim := Limits{Bytes: 100, Depth: 5, Tokens: 9, Problems: 3}

	got, kind := problems(t, nest(5), lim)
	require.Equal(t, []string{"/x UNKNOWN_NAME", "/system REQUIRED"}, got)
	require.Equal(t, errs.KindSyntax, kind)
	got, kind = problems(t, nest(6), lim)
	require.Equal(t, []string{"/x/0/0/0/0 TOO_DEEP"}, got)
	require.Equal(t, errs.KindSyntax, kind)

	// The object, two names, a string, an array and four numbers are nine tokens.
	_, kind = problems(t, `{"system":"awg","turns":[1,2,3,4]}`, lim)
	require.EqualValues(t, -1, kind)
	got, kind = problems(t, `{"system":"awg","turns":[1,2,3,4,5]}`, lim)
	require.Equal(t, []string{"/turns/4 TOO_MANY_TOKENS"}, got)
	require.Equal(t, errs.KindTooLarge, kind)

	pad := func(n int) string { return `{"system":"awg"}` + strings.Repeat(" ", n-16) }
	_, kind = problems(t, pad(100), lim)
	require.EqualValues(t, -1, kind)
	got, kind = problems(t, pad(101), lim)
	require.Equal(t, []string{" BODY_TOO_LARGE"}, got)
	require.Equal(t, errs.KindTooLarge, kind)

	// Reading stops after the bound on problems, and the answer says so.
	err := Decode([]byte(`{"a":1,"b":1,"c":1,"d":1,"e":1}`), &body{}, Limits{Problems: 3})
	var e *errs.Error
	require.ErrorAs(t, err, &e)
	require.Len(t, e.Fields, 3)
	require.Contains(t, e.Detail, "More than 3")

	require.Error(t, Decode([]byte(strings.Repeat("[", 100_000)), &body{}, Batch))
}

func TestDecodeNormalisesText(t *testing.T) {
	t.Parallel()
	var composed, apart body
	require.NoError(t, Decode([]byte(`{"system":"awg","title":"\u00e9"}`), &composed, Single))
	require.NoError(t, Decode([]byte(`{"system":"awg","title":"e\u0301"}`), &apart, Single))
	require.Equal(t, composed, apart)
	require.Equal(t, "é", apart.Title)
}

func TestDecodeTellsProgramFaults(t *testing.T) {
	t.Parallel()
	require.Equal(t, errs.KindInternal, errs.KindOf(Decode([]byte(`{}`), body{}, Single)))
	var none *body
	require.Equal(t, errs.KindInternal, errs.KindOf(Decode([]byte(`{}`), none, Single)))
	for _, bad := range []any{
		&struct {
			A any `json:"a"`
		}{},
		&struct {
			A map[int]string `json:"a"`
		}{},
		&struct {
			A string `json:"a" in:"nonsense"`
		}{},
		&struct {
			A int `json:"a" in:"min=x"`
		}{},
		&struct {
			A string `json:"a" in:"format=phone"`
		}{},
		reflect.New(reflect.StructOf([]reflect.StructField{ // vet would refuse the name twice in plain source
			{Name: "A", Type: reflect.TypeFor[string](), Tag: `json:"a"`},
			{Name: "B", Type: reflect.TypeFor[string](), Tag: `json:"a"`},
		})).Interface(),
	} {
		require.Equal(t, errs.KindInternal, errs.KindOf(Decode([]byte(`{"a":{"1":"x"}}`), bad, Single)))
	}
	require.True(t, errors.As(Decode([]byte(`{`), &body{}, Single), new(*errs.Error)))
}

func TestDecodeReturnsANilThatIsNil(t *testing.T) {
	t.Parallel()
	err := Decode([]byte(`{"system":"awg"}`), &body{}, Single)
	require.True(t, err == nil, "a typed nil would be taken for an error")
}

func TestRequiredTextSaysSomething(t *testing.T) {
	t.Parallel()
	var into struct {
		Reason string `json:"reason" in:"required,runes=8"`
	}
	for body, wrong := range map[string]bool{`{"reason":""}`: true, `{"reason":"  "}`: true, `{}`: true, `{"reason":null}`: true, `{"reason":"x"}`: false} {
		require.Equal(t, wrong, Decode([]byte(body), &into, Single) != nil, body)
	}
}
