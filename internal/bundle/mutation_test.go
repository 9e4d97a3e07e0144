package bundle

import (
	"bytes"
	"encoding/json"
	"errors"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"statorbook/internal/catalog"
	"statorbook/internal/errs"
	"statorbook/internal/jsonin"
)

// member is one member of a document, told by its pointer and by where it stands in the text.
type member struct {
	pointer    string
	start, end int // of the name with its quotes
	from, to   int // of the value
}

// members finds every member of an object in text, by the standard library's token reader.
func members(t require.TestingT, text []byte) []member {
	dec := json.NewDecoder(bytes.NewReader(text))
	dec.UseNumber()
	var found []member
	readMembers(t, dec, text, "", &found)
	return found
}

func readMembers(t require.TestingT, dec *json.Decoder, text []byte, at string, found *[]member) {
	token, err := dec.Token()
	require.NoError(t, err)
	switch token {
	case json.Delim('{'):
		for dec.More() {
			name, err := dec.Token()
			require.NoError(t, err)
			end := int(dec.InputOffset())
			m := member{pointer: at + jsonin.Pointer(name.(string)), end: end, start: bytes.LastIndex(text[:end-1], []byte(`"`)), from: end + 1}
			i := len(*found)
			*found = append(*found, m)
			readMembers(t, dec, text, m.pointer, found)
			(*found)[i].to = int(dec.InputOffset())
		}
		_, err = dec.Token()
	case json.Delim('['):
		for i := 0; dec.More(); i++ {
			readMembers(t, dec, text, at+"/"+strconv.Itoa(i), found)
		}
		_, err = dec.Token()
	}
	require.NoError(t, err)
}

// spoil replaces bytes from..to of text.
func spoil(text []byte, from, to int, by string) string {
	return string(text[:from]) + by + string(text[to:])
}

// first reads text as a T and gives the first problem at the pointer, or the first at all.
func first[T any](t require.TestingT, text, pointer string) (errs.Field, errs.Kind) {
	var v T
	err := jsonin.Decode([]byte(text), &v, jsonin.Line)
	var e *errs.Error
	require.True(t, errors.As(err, &e), "accepted: %s", text)
	for _, f := range e.Fields {
		if f.Pointer == pointer {
			return f, e.Kind
		}
	}
	return e.Fields[0], e.Kind
}

// Each name of a record in another case, twice, or misspelt, and each value of another type, is
// refused at exactly its place; null is absent (rows S3, S8; experience point 9).
func TestEveryMemberIsGuarded(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		text, err := json.Marshal(WindingOf(drawWinding(t)))
		require.NoError(t, err)
		all := members(t, text)
		m := rapid.SampledFrom(all).Draw(t, "member")
		if strings.HasPrefix(m.pointer, "/quality/") {
			return // its names are data
		}
		name, value := string(text[m.start+1:m.end-1]), string(text[m.from:m.to])
		parent := m.pointer[:strings.LastIndexByte(m.pointer, '/')]

		upper := strings.ToUpper(name[:1]) + name[1:]
		f, kind := first[Winding](t, spoil(text, m.start+1, m.end-1, upper), parent+"/"+upper)
		require.Equal(t, parent+"/"+upper, f.Pointer)
		require.Equal(t, jsonin.CodeWrongCase, f.Code)
		require.Equal(t, errs.KindSyntax, kind)
		require.Contains(t, f.Detail, name)

		f, _ = first[Winding](t, spoil(text, m.start, m.start, `"`+name+`":`+value+`,`), m.pointer)
		require.Equal(t, m.pointer, f.Pointer)
		require.Equal(t, jsonin.CodeDuplicate, f.Code)

		f, _ = first[Winding](t, spoil(text, m.end-1, m.end-1, "x"), m.pointer+"x")
		require.Equal(t, m.pointer+"x", f.Pointer)
		require.Equal(t, jsonin.CodeUnknown, f.Code)

		f, kind = first[Winding](t, spoil(text, m.from, m.to, otherType(value)), m.pointer)
		require.Equal(t, m.pointer, f.Pointer)
		require.Equal(t, jsonin.CodeType, f.Code)
		require.Equal(t, errs.KindSyntax, kind)
	})
}

// otherType is a value that no field of the kind of value takes.
func otherType(value string) string {
	if value[0] == '[' {
		return "{}"
	}
	return "[]"
}

// hostileNumbers are spellings that no number of a record may have, with what is said of them.
var hostileNumbers = map[string]string{
	"1e400": jsonin.CodeOverflow, "-1e400": jsonin.CodeOverflow, "1e-400": jsonin.CodeUnderflow, "1e130000": jsonin.CodeOverflow,
	"0.000000000000000000000000000000001": jsonin.CodeNumberLength, "1e300": jsonin.CodeRange, "-1e300": jsonin.CodeRange,
	`"1"`: jsonin.CodeType, "true": jsonin.CodeType, "NaN": jsonin.CodeSyntax, "Infinity": jsonin.CodeSyntax, "01": jsonin.CodeSyntax, "1.": jsonin.CodeSyntax,
}

// Every number of a record refuses every hostile number at its place (rows S8 and S9). Which numbers
// a record has is drawn, so that draws of fixed seeds see to it that the chief ones are tried.
func TestEveryNumberIsGuarded(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) { guardNumbers(t, drawWinding(t)) })
	tried := map[string]bool{}
	for seed := range 20 {
		for _, name := range guardNumbers(t, rapid.Custom(drawWinding).Example(seed)) {
			tried[name] = true
		}
	}
	for _, name := range []string{"gap_diameter_mm", "value", "uncertainty", "resolution", "slots", "poles", "turns", "strands", "mass_g", "resistance_ohm", "times_seen", "revision"} {
		require.True(t, tried[name], "%s was never tried", name)
	}
}

// guardNumbers tries every hostile number in the place of every number of a record, and gives the
// names of the places.
func guardNumbers(t require.TestingT, record catalog.Winding) []string {
	w := WindingOf(record)
	w.Findings = nil // their numbers are ours and have no bounds
	text, err := json.Marshal(w)
	require.NoError(t, err)
	var names []string
	for _, m := range members(t, text) {
		value := string(text[m.from:m.to])
		if value[0] != '-' && (value[0] < '0' || value[0] > '9') {
			continue
		}
		names = append(names, m.pointer[strings.LastIndexByte(m.pointer, '/')+1:])
		for number, code := range hostileNumbers {
			f, kind := first[Winding](t, spoil(text, m.from, m.to, number), m.pointer)
			require.Equal(t, m.pointer, f.Pointer, number)
			require.Equal(t, code, f.Code, "%s at %s", number, m.pointer)
			if code == jsonin.CodeRange {
				require.Equal(t, errs.KindImpossible, kind)
			} else {
				require.Equal(t, errs.KindSyntax, kind)
			}
		}
	}
	return names
}
