package bundle

import (
	"bytes"
	"encoding/hex"
	"fmt"
	"io"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"statorbook/internal/unit"
)

const school = "demo-winding-school"

func recordID(n int) string { return fmt.Sprintf("01234567-89ab-4def-8123-%012x", n) }

// proofWinding is a published record of about the size of a real one.
func proofWinding(n int) Winding {
	return Winding{
		ID: recordID(n), Standing: Standing{Revision: 1, State: "published"}, Origin: Origin{Source: "demo bench record", Licence: "CC0-1.0", Demo: true},
		Sheet: Sheet{
			MotorType: "permanent_split_capacitor", CoreAsMeasured: &Core{Slots: 24, GapDiameter: M{unit.Measured{Given: true, Value: 60.5, Text: "60.50"}}},
			Scheme: Scheme{Poles: 4, CoilSets: []CoilSet{{
				Role: "main", Wires: []Wire{{System: "metric", Size: "0.500", Conductor: "copper", Strands: 1}},
				Pattern: &Pattern{Kind: "concentric", Throws: []int{6, 4}, Turns: []float64{float64(80 + n%50), 60}, Groups: 4},
			}}},
			Remarks: "demo",
		},
	}
}

// stated gives the statement that publishes a record.
func stated(t require.TestingT, w Winding) Statement {
	sum, err := ContentHash(w)
	require.NoError(t, err)
	return Statement{Act: "publication", Kind: KindWinding, Record: w.ID, Revision: w.Revision, SHA256: hex.EncodeToString(sum[:]),
		Institute: school, Author: "demo-p1", Vetter: "demo-p2"}
}

// forge is how a test bundle is made.
type forge struct {
	signer, verifier string
	records          int
	manifest         func(*Manifest)
	fill             func(t require.TestingT, w *Writer) // behind the records
}

// make writes a sealed bundle.
func (f forge) make(t require.TestingT) []byte {
	var out bytes.Buffer
	w := NewWriter(&out)
	id, _, err := KeyIDOf(f.signer)
	require.NoError(t, err)
	m := Manifest{Licence: "CC0-1.0", Demo: true, Title: "demo", Institute: school, Keys: []string{f.verifier}, Signer: id, CatalogueRevision: 7, Provenance: "demo records"}
	if f.manifest != nil {
		f.manifest(&m)
	}
	require.NoError(t, w.Manifest("demo", 7, m))
	for n := range f.records {
		r := proofWinding(n)
		require.NoError(t, w.Write(KindWinding, r.ID, r.Revision, r))
		note, err := SignStatement(f.signer, stated(t, r))
		require.NoError(t, err)
		require.NoError(t, w.Review(stated(t, r), note))
	}
	if f.fill != nil {
		f.fill(t, w)
	}
	if m.Signer == "" {
		require.NoError(t, w.Close())
	} else {
		require.NoError(t, w.CloseSealed(f.signer))
	}
	return out.Bytes()
}

// newForge gives a forge with a key.
func newForge(t require.TestingT, letter byte) forge {
	signer, verifier := keyPair(t, school, letter)
	return forge{signer: signer, verifier: verifier, records: 2}
}

func verifyText(text []byte, known *Keys) Report {
	return Verify(NewReader(bytes.NewReader(text), Options{}), known)
}

func TestVerifyWhole(t *testing.T) {
	t.Parallel()
	f := newForge(t, 1)
	second, secondV := keyPair(t, "demo-other-school", 2)
	f.fill = func(t require.TestingT, w *Writer) {
		loose := proofWinding(50)
		require.NoError(t, w.Write(KindWinding, loose.ID, 1, loose))
		unsigned := proofWinding(51)
		require.NoError(t, w.Review(stated(t, unsigned), nil)) // may stand before its record
		require.NoError(t, w.Write(KindWinding, unsigned.ID, 1, unsigned))
		gone := proofWinding(52)
		gone.State, gone.Revision = "withdrawn", 2
		s := stated(t, gone)
		s.Act, s.Reason = "withdrawal", "wrong_turns"
		note, err := SignStatement(f.signer, s)
		require.NoError(t, err)
		note, err = CoSignStatement(note, knownKeys(t, f.verifier), second)
		require.NoError(t, err)
		require.NoError(t, w.Write(KindWinding, gone.ID, 2, gone))
		require.NoError(t, w.Review(s, note))
		require.NoError(t, w.Write(KindMaterial, "demo-liner", 1, InsulatingMaterial{ID: "demo-liner"}))
	}
	text := f.make(t)
	r := verifyText(text, knownKeys(t, f.verifier, secondV))
	require.Empty(t, r.Problems)
	require.True(t, r.OK())
	require.True(t, r.Pinned)
	require.Equal(t, []int{3, 2, 0, 4, 1, 1, 11}, []int{r.Proved, r.Unproved, r.Failed, r.Reviews, r.CoSigned, r.Other, r.Lines})
	require.Equal(t, map[string]int{school: 3, "demo-other-school": 1}, r.Signers)
	require.Equal(t, []string{school}, r.Seal.Signers)
	require.Equal(t, "demo records", r.Manifest.Provenance)
	require.Len(t, r.Doubts, 2)
	require.Equal(t, "line 6 (winding "+recordID(50)+"): UNPROVED: Nobody vouches for it: there is no statement.", r.Doubts[0].String())
	require.Contains(t, r.Doubts[1].Detail, "not signed")

	own := verifyText(text, nil)
	require.True(t, own.OK())
	require.False(t, own.Pinned, "the file's own keys say nothing about who made it")
	require.Equal(t, 3, own.Proved)
	require.Zero(t, own.CoSigned, "the other school's key is not in the file")
}

// What somebody without the key can do to a file, hashes and end line made to fit again.
func TestVerifyRefuses(t *testing.T) {
	t.Parallel()
	honest := newForge(t, 1)
	pinned := knownKeys(t, honest.verifier)
	thief := newForge(t, 9)
	tests := []struct {
		name  string
		text  []byte
		codes []string // of the problems
	}{
		{"other content, statement kept", rewrite(t, honest.make(t), func(l *Line, w *Writer) bool {
			if l.Kind == KindWinding {
				l.Winding.Scheme.CoilSets[0].Pattern.Turns[0]++
			}
			return true
		}), []string{CodeHash, CodeHash, CodeUnsealed}},
		{"a record taken out", rewrite(t, honest.make(t), func(l *Line, w *Writer) bool { return l.Kind != KindWinding || l.ID != recordID(0) }),
			[]string{CodeUnsealed, CodeRecord}},
		{"all proofs taken off", rewrite(t, honest.make(t), func(l *Line, w *Writer) bool { return l.Kind != KindReview }), []string{CodeUnsealed}},
		{"signed by somebody else under the same name", thief.make(t), []string{CodeSignerUnknown}},
		{"never signed", forge{signer: honest.signer, verifier: honest.verifier, records: 1, manifest: func(m *Manifest) { m.Signer = "" }}.make(t), []string{CodeUnsealed}},
		{"forked statements", forge{signer: honest.signer, verifier: honest.verifier, records: 1, fill: func(t require.TestingT, w *Writer) {
			s := stated(t, proofWinding(0))
			s.SHA256 = strings.Repeat("00", 32)
			note, err := SignStatement(honest.signer, s)
			require.NoError(t, err)
			require.NoError(t, w.Write(KindMaterial, "demo-liner", 1, InsulatingMaterial{ID: "demo-liner"}))
			require.NoError(t, w.Review(s, note))
		}}.make(t), []string{CodeForked}},
		{"forked records", forge{signer: honest.signer, verifier: honest.verifier, records: 1, fill: func(t require.TestingT, w *Writer) {
			other := proofWinding(1)
			other.ID = recordID(0)
			require.NoError(t, w.Write(KindWinding, other.ID, 1, other))
		}}.make(t), []string{CodeForked}},
		{"withdrawn, but the statement publishes", forge{signer: honest.signer, verifier: honest.verifier, fill: func(t require.TestingT, w *Writer) {
			r := proofWinding(0)
			note, err := SignStatement(honest.signer, stated(t, r))
			require.NoError(t, err)
			r.State = "withdrawn"
			require.NoError(t, w.Write(KindWinding, r.ID, 1, r))
			require.NoError(t, w.Review(stated(t, r), note))
		}}.make(t), []string{CodeState}},
		{"other names than in the statement", rewrite(t, honest.make(t), func(l *Line, w *Writer) bool {
			if l.Kind == KindWinding && l.ID == recordID(0) {
				l.Winding.Author, l.Winding.Vetter = "demo-p1", "demo-p3"
			}
			if l.Kind == KindWinding && l.ID == recordID(1) {
				l.Winding.Institute, l.Winding.Author, l.Winding.Vetter = school, "demo-p1", "demo-p2"
			}
			return true
		}), []string{CodeUnsealed, CodeWitness}},
		{"another institute and reason", forge{signer: honest.signer, verifier: honest.verifier, fill: func(t require.TestingT, w *Writer) {
			for n, change := range []func(*Winding){func(r *Winding) { r.Institute = "demo-thief" }, func(r *Winding) { r.ReasonCode = "other" }, func(r *Winding) { r.ReasonCode = "wrong_data" }} {
				r := proofWinding(n)
				r.State = "withdrawn"
				s := stated(t, r)
				s.Act, s.Reason = "withdrawal", "wrong_data"
				note, err := SignStatement(honest.signer, s)
				require.NoError(t, err)
				change(&r)
				require.NoError(t, w.Write(KindWinding, r.ID, 1, r))
				require.NoError(t, w.Review(s, note))
			}
		}}.make(t), []string{CodeWitness, CodeWitness}},
		{"packed", append([]byte{0x1f, 0x8b, 8}, honest.make(t)...), []string{"SYNTAX"}},
		{"cut", honest.make(t)[:900], []string{"SYNTAX", "LINE"}},
		{"empty", nil, []string{"LINE"}},
	}
	for _, tc := range tests {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			r := verifyText(tc.text, pinned)
			require.False(t, r.OK())
			var codes []string
			for _, p := range r.Problems {
				codes = append(codes, p.Code)
			}
			require.Equal(t, tc.codes, codes, "%v", r.Problems)
		})
	}
	r := verifyText(thief.make(t), nil)
	require.True(t, r.OK(), "without pinned keys any file that agrees with itself passes")
	require.False(t, r.Pinned)
	r = verifyText(thief.make(t), pinned)
	require.Equal(t, []int{0, 2}, []int{r.Proved, r.Unproved})
	require.Contains(t, r.Doubts[0].Detail, school+"+")
}

// rewrite makes a file anew from the lines that keep lets through, with hashes and an end line that fit.
// The manifest no longer announces a signature.
func rewrite(t require.TestingT, text []byte, keep func(*Line, *Writer) bool) []byte {
	var out bytes.Buffer
	w := NewWriter(&out)
	r := NewReader(bytes.NewReader(text), Options{})
	for {
		l, err := r.Next()
		if err == io.EOF {
			break
		}
		require.NoError(t, err)
		switch {
		case l.Kind == KindManifest:
			l.Manifest.Signer = ""
			require.NoError(t, w.Manifest(l.ID, l.Revision, *l.Manifest))
		case !keep(l, w):
		default:
			require.NoError(t, w.line(rawLine{Kind: l.Kind, ID: l.ID, Revision: l.Revision, Body: l.Body()}))
		}
	}
	require.NoError(t, w.Close())
	return out.Bytes()
}

// No random change of a sealed file passes, whether the keys are pinned or its own (goal G14, row S29).
func TestVerifyNoticesEveryChange(t *testing.T) {
	t.Parallel()
	f := newForge(t, 1)
	f.records = 1
	text := f.make(t)
	pinned := knownKeys(t, f.verifier)
	require.True(t, verifyText(text, pinned).OK())
	dice := rand.New(rand.NewPCG(20261125, 6))
	for i := range 20_000 {
		changed := tamper(text, dice)
		if bytes.Equal(bytes.TrimSuffix(changed, []byte("\n")), bytes.TrimSuffix(text, []byte("\n"))) {
			continue // the last line feed may be absent
		}
		known := pinned
		if i%4 == 0 {
			known = nil
		}
		require.False(t, verifyText(changed, known).OK(), "change %d: %q", i, changed)
	}
}

// tamper changes a text at random: bits, bytes, runs, lines.
func tamper(text []byte, dice *rand.Rand) []byte {
	out := bytes.Clone(text)
	at := dice.IntN(len(out))
	lines := bytes.SplitAfter(out, []byte("\n"))
	i, j := dice.IntN(len(lines)), dice.IntN(len(lines))
	switch dice.IntN(8) {
	default:
		out[at] ^= 1 << dice.IntN(8)
	case 3:
		out[at] = byte(dice.IntN(256))
	case 4:
		return append(out[:at], out[min(len(out), at+1+dice.IntN(4)):]...)
	case 5:
		return append(out[:at:at], append([]byte{text[dice.IntN(len(text))]}, text[at:]...)...)
	case 6:
		lines[i], lines[j] = lines[j], lines[i]
		return bytes.Join(lines, nil)
	case 7:
		return bytes.Join(append(append([][]byte{}, lines[:i]...), lines[min(len(lines), i+1+dice.IntN(2)):]...), nil)
	}
	return out
}

func TestSeal(t *testing.T) {
	t.Parallel()
	f := newForge(t, 1)
	other, _ := keyPair(t, "demo-other-school", 2)
	id, _, err := KeyIDOf(f.signer)
	require.NoError(t, err)
	w := NewWriter(io.Discard)
	require.Error(t, w.CloseSealed(f.signer), "before the manifest")
	require.Error(t, w.Manifest("demo", 1, Manifest{Institute: "demo-other-school", Signer: id}), "a key of another institute")
	require.Error(t, w.Manifest("demo", 1, Manifest{Signer: id}), "a signer without an institute")
	require.Error(t, w.Manifest("demo", 1, Manifest{Keys: []string{"x"}}))
	require.NoError(t, w.Manifest("demo", 1, Manifest{Institute: school, Signer: id}))
	require.ErrorContains(t, w.Close(), "announces a signature")
	require.Error(t, w.CloseSealed(other))
	require.Error(t, w.CloseSealed("x"))
	require.NoError(t, w.CloseSealed(f.signer))
	require.Error(t, w.CloseSealed(f.signer), "once")

	r := NewReader(bytes.NewReader(f.make(t)), Options{})
	require.Nil(t, r.Manifest())
	_, err = r.OpenSeal(knownKeys(t, f.verifier))
	require.Equal(t, CodeUnsealed, codeOf(err), "not read to its end")

	text := string(f.make(t))
	end := text[strings.LastIndex(strings.TrimSuffix(text, "\n"), "\n")+1:]
	swapped := f
	swapped.records = 1
	alien := string(swapped.make(t))
	alienEnd := alien[strings.LastIndex(strings.TrimSuffix(alien, "\n"), "\n")+1:]
	note := func(line string) string { return line[strings.Index(line, `"body"`):] }
	for name, tc := range map[string]struct{ text, want string }{
		"seal cut off":        {strings.Replace(text, ","+note(end), "}\n", 1), "7 /body UNSEALED"},
		"seal of another":     {strings.Replace(text, note(end), note(alienEnd), 1), "7 /body/note SIGNATURE_INVALID"},
		"unknown member":      {strings.Replace(text, `"body":{"note"`, `"body":{"x":1,"note"`, 1), "7 /body/x UNKNOWN_NAME"},
		"empty seal":          {strings.Replace(text, note(end), `"body":{}}`, 1), "7 /body/note REQUIRED"},
		"seal that is a word": {strings.Replace(text, note(end), `"body":{"note":"yes"}}`, 1), "7 /body/note NOTE_MALFORMED"},
	} {
		_, bad, _ := outcome(strings.Replace(tc.text, "\x00", "", 1), Options{})
		require.NotEmpty(t, bad, name)
		at := len(bad) - 1
		want := strings.Replace(tc.want, "7 ", "6 ", 1) // manifest, two records with their statements, end
		require.Equal(t, want, bad[at], name)
	}
}

func TestReviewLine(t *testing.T) {
	t.Parallel()
	f := newForge(t, 1)
	text := string(f.make(t))
	read := func(from, to string) []string {
		changed := strings.Split(strings.Replace(text, from, to, 1), "\n")
		_, bad, _ := outcome(finish(changed[0], changed[1], changed[2]), Options{})
		require.Equal(t, "4 /body UNSEALED", bad[len(bad)-1], "the seal is cut off as well")
		return bad[:len(bad)-1]
	}
	hash := stated(t, proofWinding(0)).SHA256
	zeros := strings.Repeat("0", 64)
	for name, tc := range map[string]struct {
		from, to string
		want     []string
	}{
		"other record":   {`"kind":"review","id":"` + recordID(0), `"kind":"review","id":"` + recordID(5), []string{"3 /id IDENTITY_MISMATCH"}},
		"other revision": {`"record":"` + recordID(0) + `","revision":1`, `"record":"` + recordID(0) + `","revision":2`, []string{"3 /revision IDENTITY_MISMATCH"}},
		"own vetter":     {`"vetter":"demo-p2"`, `"vetter":"demo-p1"`, []string{"3 This is not a statement: the vetter must be another person than the author."}},
		"note says else": {`"vetter":"demo-p2"`, `"vetter":"demo-p3"`, []string{"3 /body/note NOTE_MALFORMED"}},
		"no note":        {`\n\n— demo`, `\n— demo`, []string{"3 /body/note NOTE_MALFORMED"}},
		"other content":  {`"sha256":"` + hash + `","institute"`, `"sha256":"` + zeros + `","institute"`, []string{"3 /body/note NOTE_MALFORMED"}},
	} {
		require.Equal(t, tc.want, read(tc.from, tc.to), name)
	}
	w := NewWriter(io.Discard)
	require.NoError(t, w.Manifest("demo", 1, Manifest{}))
	require.Error(t, w.Review(stated(t, proofWinding(0)), []byte("x")))
	require.NoError(t, w.Review(stated(t, proofWinding(0)), nil))

	// Signed and all, but about other content than the record before it.
	s := stated(t, proofWinding(0))
	s.SHA256 = zeros
	note, err := SignStatement(f.signer, s)
	require.NoError(t, err)
	f.records = 0
	f.fill = func(t require.TestingT, w *Writer) {
		r := proofWinding(0)
		require.NoError(t, w.Write(KindWinding, r.ID, 1, r))
		require.NoError(t, w.Review(s, note))
	}
	_, bad, _ := outcome(string(f.make(t)), Options{})
	require.Equal(t, []string{"3 /body/sha256 HASH_MISMATCH"}, bad)
}

// BenchmarkVerify verifies a bundle of 100,000 signed records in memory.
func BenchmarkVerify(b *testing.B) {
	f := newForge(b, 1)
	f.records = 100_000
	text := f.make(b)
	known := knownKeys(b, f.verifier)
	b.SetBytes(int64(len(text)))
	for b.Loop() {
		r := verifyText(text, known)
		if !r.OK() || r.Proved != f.records {
			b.Fatal(r.Problems)
		}
	}
	b.ReportMetric(float64(b.Elapsed().Microseconds())/float64(b.N)/float64(f.records), "us/record")
}
