package bundle

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"io"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"statorbook/internal/errs"
)

// finish adds an end line that fits.
func finish(lines ...string) string {
	text := strings.Join(lines, "\n") + "\n"
	sum := sha256.Sum256([]byte(text))
	return text + `{"kind":"end","count":` + strconv.Itoa(len(lines)) + `,"sha256":"` + hex.EncodeToString(sum[:]) + `"}`
}

const (
	manifest = `{"kind":"manifest","id":"demo","revision":1,"body":{"format":1,"licence":"CC0-1.0","demo":true,"title":"demo"}}`
	aFamily  = `{"kind":"family","id":"` + drawnUUID + `","revision":2,"body":{"title":"demo fan","demo":true}}`
)

// outcome reads text to its end and lists what went wrong, the line first.
func outcome(text string, o Options) (good int, bad []string, fatal bool) {
	r := NewReader(strings.NewReader(text), o)
	for {
		_, err := r.Next()
		var le *LineError
		switch {
		case err == nil:
			good++
		case errors.Is(err, io.EOF):
			return good, bad, false
		case errors.As(err, &le):
			code := le.Err.Detail
			if len(le.Err.Fields) > 0 {
				code = le.Err.Fields[0].Pointer + " " + le.Err.Fields[0].Code
			}
			bad = append(bad, strconv.Itoa(le.Line)+" "+code)
			if le.Fatal {
				_, again := r.Next()
				return good, bad, errors.Is(again, err)
			}
		default:
			return good, append(bad, "not a LineError"), false
		}
	}
}

func TestReaderTakesAWholeFile(t *testing.T) {
	t.Parallel()
	for _, text := range []string{finish(manifest, aFamily), finish(manifest, aFamily) + "\n", finish(manifest), finish(manifest, aFamily+" \r")} {
		_, bad, fatal := outcome(text, Options{})
		require.Empty(t, bad)
		require.False(t, fatal)
	}
	all := readAll(t, strings.NewReader(finish(manifest, aFamily)))
	require.Equal(t, 2, all[1].Number)
	require.Equal(t, drawnUUID, all[1].Family.ID, "the body takes the line's id")
	require.Equal(t, 2, all[1].Family.Revision)
	require.Len(t, all[1].SHA256, 64)
	require.Same(t, all[1].Family, all[1].Body())
}

func TestReaderRefuses(t *testing.T) {
	t.Parallel()
	whole := finish(manifest, aFamily)
	id := `"id":"` + drawnUUID + `","revision":2`
	tests := []struct {
		name, text string
		want       []string
		fatal      bool
	}{
		{"empty", "", []string{"1 The file ends without its end line; it may be cut short."}, true},
		{"no manifest", finish(aFamily), []string{"1 A bundle starts with its manifest."}, true},
		{"not JSON", "PK\x03\x04", []string{"1  SYNTAX"}, true},
		{"packed", "\x1f\x8b\x08\x00", []string{"1  SYNTAX"}, true},
		{"other format", finish(strings.Replace(manifest, `"format":1`, `"format":2`, 1)),
			[]string{"1 The bundle has format 2; this program reads format 1."}, true},
		{"two manifests", finish(manifest, manifest), []string{"2 A second manifest; a bundle has one, as its first line."}, false},
		{"cut at a line", whole[:strings.LastIndexByte(whole, '\n')+1], []string{"3 The file ends without its end line; it may be cut short."}, true},
		{"cut inside the end line", whole[:len(whole)-1], []string{"3  SYNTAX", "4 The file ends without its end line; it may be cut short."}, true},
		{"something after the end", whole + "\n\n", []string{"4 Something follows the end line."}, true},
		{"another bundle after the end", whole + "\n" + whole, []string{"4 Something follows the end line."}, true},
		{"a byte changed", strings.Replace(whole, "demo fan", "demo van", 1), []string{"3 /sha256 HASH_MISMATCH"}, true},
		{"a line taken out", strings.Replace(whole, aFamily+"\n", "", 1), []string{"2 /count COUNT_MISMATCH"}, true},
		{"end without figures", manifest + "\n" + `{"kind":"end"}`, []string{"2 /count REQUIRED"}, true},
		{"blank line", finish(manifest, ""), []string{"2  EMPTY_BODY"}, false},
		{"unknown kind", finish(manifest, `{"kind":"famly",`+id+`,"body":{}}`), []string{"2 /kind VALUE_NOT_ALLOWED"}, false},
		{"unknown name", finish(manifest, `{"kind":"family",`+id+`,"body":{},"signature":1}`), []string{"2 /signature UNKNOWN_NAME"}, false},
		{"no id", finish(manifest, `{"kind":"family","revision":1,"body":{}}`), []string{"2 /id REQUIRED"}, false},
		{"no body", finish(manifest, `{"kind":"family",`+id+`}`), []string{"2 /body REQUIRED"}, false},
		{"revision 0", finish(manifest, `{"kind":"family","id":"x","revision":0,"body":{}}`), []string{"2 /revision OUT_OF_RANGE"}, false},
		{"id that is no UUID", finish(manifest, `{"kind":"family","id":"demo-fan","revision":1,"body":{}}`), []string{"2 /id INVALID_FORMAT"}, false},
		{"other id in the body", finish(manifest, `{"kind":"family",`+id+`,"body":{"id":"`+strings.Replace(drawnUUID, "0", "1", 1)+`"}}`), []string{"2 /id IDENTITY_MISMATCH"}, false},
		{"other revision in the body", finish(manifest, `{"kind":"family",`+id+`,"body":{"revision":3}}`), []string{"2 /revision IDENTITY_MISMATCH"}, false},
		{"pointer inside the body", finish(manifest, `{"kind":"winding",`+id+`,"body":{"scheme":{"coil_sets":[{"role":"man","wires":[],"pattern":{}}]}}}`),
			[]string{"2 /body/scheme/coil_sets/0/role VALUE_NOT_ALLOWED"}, false},
		{"hash of other content", finish(manifest, `{"kind":"family",`+id+`,"sha256":"`+strings.Repeat("0", 64)+`","body":{}}`), []string{"2 /sha256 HASH_MISMATCH"}, false},
		{"each bad line is named", finish(manifest, `{}`, aFamily, `[]`), []string{"2 /kind REQUIRED", "4  WRONG_TYPE"}, false},
		{"review without a vetter", finish(manifest, `{"kind":"review","id":"r","revision":1,"body":{"act":"publication","kind":"winding"}}`), []string{"2 /body/record REQUIRED"}, false},
	}
	for _, tc := range tests {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			_, bad, fatal := outcome(tc.text, Options{})
			require.Equal(t, tc.want, bad)
			require.Equal(t, tc.fatal, fatal)
		})
	}
}

func TestReaderBoundsALine(t *testing.T) {
	t.Parallel()
	long := func(n int) string { return aFamily + strings.Repeat(" ", n-len(aFamily)-1) } // with its line feed n bytes
	for _, tc := range []struct {
		limit, size int
		ok          bool
	}{{0, 1 << 20, true}, {0, 1<<20 + 1, false}, {64 << 10, 64 << 10, true}, {64 << 10, 64<<10 + 1, false}, {1, 64 << 10, true}, {1 << 30, 1<<20 + 1, false}} {
		_, bad, fatal := outcome(finish(manifest, long(tc.size)), Options{MaxLine: tc.limit})
		require.Equal(t, tc.ok, bad == nil, "%+v %v", tc, bad)
		require.Equal(t, !tc.ok, fatal)
	}
	// Without any line feed nothing is kept beyond the limit.
	r := NewReader(io.LimitReader(endless{}, 1<<30), Options{})
	_, err := r.Next()
	require.Equal(t, errs.KindTooLarge, errs.KindOf(err))
}

type endless struct{}

func (endless) Read(p []byte) (int, error) {
	for i := range p {
		p[i] = ' '
	}
	return len(p), nil
}

type broken struct{}

func (broken) Read([]byte) (int, error) { return 0, errors.New("the pipe broke") }

func TestReaderTellsTheLine(t *testing.T) {
	t.Parallel()
	r := NewReader(strings.NewReader(finish(manifest, `{"kind":"family","id":"`+drawnUUID+`","revision":1,"body":{"demoo":true}}`)), Options{})
	_, err := r.Next()
	require.NoError(t, err)
	_, err = r.Next()
	require.ErrorContains(t, err, "line 2 (family "+drawnUUID+"): ")
	require.ErrorContains(t, err, "did you mean demo?")
	require.Equal(t, errs.KindSyntax, errs.KindOf(err))

	_, err = NewReader(strings.NewReader("slug,poles\n"), Options{}).Next()
	require.Equal(t, 1, strings.Count(err.Error(), "is expected here"), "what is wrong is said once: %v", err)
	problems := Verify(NewReader(strings.NewReader("slug,poles\n"), Options{}), nil).Problems
	require.Equal(t, 1, strings.Count(problems[0].Detail, "is expected here"), "and in the report of Verify: %v", problems)

	_, err = NewReader(broken{}, Options{}).Next()
	require.ErrorContains(t, err, "the pipe broke")
	require.Equal(t, errs.KindInternal, errs.KindOf(err))
}

// Written records come back the same, with the same hash, on every hop (goal G18).
func TestWriterRoundTrip(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		w := WindingOf(drawWinding(t))
		f := FamilyOf(drawFamily(t))
		w.ID, f.ID, w.Revision, f.Revision = drawnUUID, drawnUUID, 4, 4
		first := write(t, w, f)
		r := NewReader(bytes.NewReader(first), Options{})
		_, err := r.Next()
		require.NoError(t, err)
		line, err := r.Next()
		require.NoError(t, err)
		require.Equal(t, w, *line.Winding)
		other, err := r.Next()
		require.NoError(t, err)
		require.Equal(t, f, *other.Family)
		_, err = r.Next()
		require.ErrorIs(t, err, io.EOF)
		require.Equal(t, string(first), string(write(t, *line.Winding, *other.Family)))
	})
}

func write(t require.TestingT, w Winding, f Family) []byte {
	var out bytes.Buffer
	b := NewWriter(&out)
	require.NoError(t, b.Manifest("demo", 1, Manifest{Licence: "CC0-1.0", Demo: true, Title: "demo"}))
	require.NoError(t, b.Write(KindWinding, w.ID, w.Revision, w))
	require.NoError(t, b.Write(KindFamily, f.ID, f.Revision, f))
	require.NoError(t, b.Close())
	return out.Bytes()
}

// Any single byte changed is noticed: nothing wrong ever ends with io.EOF.
func TestEveryChangedByteIsNoticed(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		text := write(t, WindingOf(drawWinding(t)), Family{ID: drawnUUID, Standing: Standing{Revision: 1}})
		if !bytes.Contains(text, []byte(`"revision":1`)) {
			return
		}
		at := rapid.IntRange(0, len(text)-2).Draw(t, "at") // the last byte is the line feed after the end line
		changed := bytes.Clone(text)
		changed[at] ^= byte(rapid.IntRange(1, 255).Draw(t, "bits"))
		_, bad, _ := outcome(string(changed), Options{})
		require.NotEmpty(t, bad)
	})
}

func TestWriterKeepsTheOrder(t *testing.T) {
	t.Parallel()
	var out bytes.Buffer
	b := NewWriter(&out)
	require.Error(t, b.Write(KindFamily, drawnUUID, 1, Family{}))
	require.Error(t, b.Close())
	require.NoError(t, b.Manifest("demo", 1, Manifest{}))
	require.Error(t, b.Manifest("demo", 1, Manifest{}))
	require.Error(t, b.Write(KindEnd, "", 0, Family{}))
	require.Error(t, b.Write(KindFamily, drawnUUID, 1, 5))
	require.NoError(t, b.Close())
	require.Error(t, b.Write(KindFamily, drawnUUID, 1, Family{}))
	require.Contains(t, out.String(), `"format":1`)
	require.Error(t, NewWriter(full{}).Manifest("demo", 1, Manifest{}))
}

type full struct{}

func (full) Write([]byte) (int, error) { return 0, errors.New("no room") }

func FuzzReader(f *testing.F) {
	f.Add([]byte(finish(manifest, aFamily)))
	f.Add([]byte(finish(manifest, `{}`, aFamily)))
	f.Add([]byte(""))
	f.Fuzz(func(t *testing.T, data []byte) {
		r := NewReader(bytes.NewReader(data), Options{})
		for range len(data) + 2 {
			l, err := r.Next()
			var le *LineError
			if errors.Is(err, io.EOF) || errors.As(err, &le) && le.Fatal {
				return
			}
			require.True(t, err == nil == (l != nil))
		}
		require.Fail(t, "the reader does not come to an end")
	})
}
