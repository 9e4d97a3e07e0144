package httpapi

import (
	"errors"
	"net/url"
	"strconv"
	"testing"

	"statorbook/internal/errs"
	"statorbook/internal/jsonin"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// readAll reads a query as a list address would and gives the codes of what is wrong, by parameter.
func readAll(raw string) (*query, error) {
	q := newQuery(raw, []string{"system", "size", "min_mm", "slots", "page_size", "columns"}, false)
	q.enum("system", "swg", "awg")
	q.text("size", 5)
	q.number("min_mm", 0, 100)
	q.whole("slots", 2, 360)
	q.list("columns", "id", "size")
	q.pageSize()
	return q, q.err()
}

func TestQueryRefusals(t *testing.T) {
	t.Parallel()
	for raw, want := range map[string]struct {
		kind            errs.Kind
		parameter, code string
	}{
		"sytem=awg":                 {errs.KindSyntax, "sytem", codeUnknownParameter},
		"System=awg":                {errs.KindSyntax, "System", codeUnknownParameter},
		"=awg":                      {errs.KindSyntax, "", codeUnknownParameter},
		"system=awg&system=awg":     {errs.KindSyntax, "system", codeRepeated},
		"system=AWG":                {errs.KindSyntax, "system", jsonin.CodeValue},
		"system=":                   {errs.KindSyntax, "system", jsonin.CodeValue},
		"system":                    {errs.KindSyntax, "system", jsonin.CodeValue},
		"system=%zz":                {errs.KindSyntax, "system", codeEscape},
		"system=awg;size=4":         {errs.KindSyntax, "system", codeEscape},
		"system=%00":                {errs.KindSyntax, "system", codeText},
		"system=%ff":                {errs.KindSyntax, "system", codeText},
		"size=a%E2%80%AEb":          {errs.KindSyntax, "size", codeText},
		"size=123456":               {errs.KindSyntax, "size", jsonin.CodeTextLength},
		"size=":                     {errs.KindSyntax, "size", jsonin.CodeTextLength},
		"min_mm=NaN":                {errs.KindSyntax, "min_mm", codeNumber},
		"min_mm=0x10":               {errs.KindSyntax, "min_mm", codeNumber},
		"min_mm=1_0":                {errs.KindSyntax, "min_mm", codeNumber},
		"min_mm=+1":                 {errs.KindSyntax, "min_mm", codeNumber},
		"min_mm=01":                 {errs.KindSyntax, "min_mm", codeNumber},
		"min_mm=1,5":                {errs.KindSyntax, "min_mm", codeNumber},
		"min_mm=Infinity":           {errs.KindSyntax, "min_mm", codeNumber},
		"min_mm=1e400":              {errs.KindSyntax, "min_mm", jsonin.CodeOverflow},
		"min_mm=1e-400":             {errs.KindSyntax, "min_mm", jsonin.CodeUnderflow},
		"min_mm=-1":                 {errs.KindImpossible, "min_mm", jsonin.CodeRange},
		"min_mm=100.1":              {errs.KindImpossible, "min_mm", jsonin.CodeRange},
		"slots=0":                   {errs.KindImpossible, "slots", jsonin.CodeRange},
		"slots=361":                 {errs.KindImpossible, "slots", jsonin.CodeRange},
		"slots=12.0":                {errs.KindSyntax, "slots", jsonin.CodeInteger},
		"slots=012":                 {errs.KindSyntax, "slots", jsonin.CodeInteger},
		"slots=+12":                 {errs.KindSyntax, "slots", jsonin.CodeInteger},
		"slots=99999999999999":      {errs.KindImpossible, "slots", jsonin.CodeRange},
		"slots=9999999999999999999": {errs.KindSyntax, "slots", jsonin.CodeInteger},
		"page_size=0":               {errs.KindSyntax, "page_size", codePageSize},
		"page_size=201":             {errs.KindSyntax, "page_size", codePageSize},
		"page_size=ten":             {errs.KindSyntax, "page_size", jsonin.CodeInteger},
		"columns=id,id":             {errs.KindSyntax, "columns", codeRepeatedItem},
		"columns=id,":               {errs.KindSyntax, "columns", jsonin.CodeValue},
		"columns=%69d,price":        {errs.KindSyntax, "columns", jsonin.CodeValue},
		"slots=0&min_mm=%31%65400":  {errs.KindSyntax, "min_mm", jsonin.CodeOverflow},
	} {
		_, err := readAll(raw)
		var known *errs.Error
		require.True(t, errors.As(err, &known), "%s was taken", raw)
		require.Equal(t, want.kind, known.Kind, raw)
		require.Equal(t, want.parameter, known.Fields[0].Parameter, raw)
		require.Equal(t, want.code, known.Fields[0].Code, raw)
	}
}

func TestQueryTakes(t *testing.T) {
	t.Parallel()
	q, err := readAll("system=awg&&size=4%2F0&min_mm=0.50&slots=12&columns=size,id&page_size=200&")
	require.NoError(t, err)
	require.Equal(t, "awg", q.enum("system", "swg", "awg"))
	require.Equal(t, "4/0", q.text("size", 5))
	v, ok := q.number("min_mm", 0, 100)
	require.True(t, ok)
	require.InDelta(t, 0.5, v, 0)
	require.Equal(t, 12, q.whole("slots", 2, 360))
	require.Equal(t, []string{"size", "id"}, q.list("columns", "id", "size"))
	require.Equal(t, 200, q.pageSize())
	require.Equal(t, "columns=size%2Cid&min_mm=0.50&size=4%2F0&slots=12&system=awg", q.filters("page_size", "page_token"))
}

func TestQueryNamesEverything(t *testing.T) {
	t.Parallel()
	_, err := readAll("sytem=awg&slots=a&min_mm=b&slots=12")
	var known *errs.Error
	require.ErrorAs(t, err, &known)
	require.Len(t, known.Fields, 4)
	require.Contains(t, known.Fields[3].Detail, "Did you mean system?")
}

// Whatever is sent, reading neither panics nor takes a number outside its range.
func TestQueryNumberProperty(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.OneOf(rapid.String(), rapid.Custom(func(t *rapid.T) string {
			return strconv.FormatFloat(rapid.Float64().Draw(t, "v"), 'g', -1, 64)
		})).Draw(t, "text")
		q := newQuery("min_mm="+url.QueryEscape(text), []string{"min_mm"}, false)
		v, ok := q.number("min_mm", -5, 5)
		if ok {
			require.NoError(t, q.err())
			want, err := strconv.ParseFloat(text, 64)
			require.NoError(t, err)
			require.InDelta(t, want, v, 0)
			require.True(t, v >= -5 && v <= 5)
		} else {
			require.Error(t, q.err())
		}
	})
}
