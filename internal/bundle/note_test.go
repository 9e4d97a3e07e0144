package bundle

import (
	"bytes"
	"encoding/base64"
	"encoding/hex"
	"errors"
	"slices"
	"strings"
	"testing"
	"testing/iotest"

	"github.com/stretchr/testify/require"
	"golang.org/x/mod/sumdb/note"
	"pgregory.net/rapid"

	"statorbook/internal/errs"
)

// keyPair makes a pair for tests from a seed letter: secret to nobody.
func keyPair(t require.TestingT, name string, letter byte) (signer, verifier string) {
	signer, verifier, err := NewSigningKey(bytes.NewReader(bytes.Repeat([]byte{letter}, 32)), name)
	require.NoError(t, err)
	return signer, verifier
}

func knownKeys(t require.TestingT, verifiers ...string) *Keys {
	known, err := NewKeys(verifiers...)
	require.NoError(t, err)
	return known
}

// The first three vectors of RFC 8032 section 7.1, as the standard library's test data
// (crypto/ed25519/testdata/sign.input.gz) has them: a key made from the secret has the public key, and
// signs the message with the signature.
func TestSigningKeyVectors(t *testing.T) {
	t.Parallel()
	for _, v := range []struct{ secret, public, message, signature string }{
		{"9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60", "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a", "",
			"e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe24655141438e7a100b"},
		{"4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb", "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c", "72",
			"92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00"},
		{"c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7", "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025", "af82",
			"6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac18ff9b538d16f290ae67f760984dc6594a7c15e9716ed28dc027beceea1ec40a"},
	} {
		secret, err := hex.DecodeString(v.secret)
		require.NoError(t, err)
		signer, verifier, err := NewSigningKey(bytes.NewReader(secret), "demo-winding-school")
		require.NoError(t, err)
		key, err := base64.StdEncoding.DecodeString(strings.SplitN(verifier, "+", 3)[2])
		require.NoError(t, err)
		require.Equal(t, "01"+v.public, hex.EncodeToString(key), "C2SP signed-note: type 0x01, then the public key")
		message, err := hex.DecodeString(v.message)
		require.NoError(t, err)
		s, err := openSigner(signer)
		require.NoError(t, err)
		signature, err := s.Sign(message)
		require.NoError(t, err)
		require.Equal(t, v.signature, hex.EncodeToString(signature))
	}
}

// The vectors of golang.org/x/mod/sumdb/note v0.43.0, note_test.go and example_test.go: the key of 32
// zero bytes, and what it signs.
const (
	vectorKey  = "EnochRoot+af0cfe78+ATtqJ7zOtqQtYqOo0CpvDXNlMhV3HeJDpjrASKGLWdop"
	vectorText = "If you think cryptography is the answer to your problem,\nthen you don't know what your problem is.\n"
	vectorSig  = "— EnochRoot rwz+eBzmZa0SO3NbfRGzPCpDckykFXSdeX+MNtCOXm2/5n2tiOHp+vAF1aGrQ5ovTG01oOTGwnWLox33WWd1RvMc+QQ=\n"
)

func TestNoteVectors(t *testing.T) {
	t.Parallel()
	_, ours := keyPair(t, "demo-winding-school", 0)
	require.Equal(t, strings.SplitN(vectorKey, "+", 3)[2], strings.SplitN(ours, "+", 3)[2])
	v, err := note.NewVerifier(vectorKey)
	require.NoError(t, err)
	require.Equal(t, "EnochRoot+af0cfe78", KeyID(v.Name(), v.KeyHash()))
	known := &Keys{byID: map[string]note.Verifier{"EnochRoot+af0cfe78": v}} // its name is not one of ours

	text, by, err := openText([]byte(vectorText+"\n"+vectorSig), known)
	require.NoError(t, err)
	require.Equal(t, vectorText, text)
	require.Equal(t, Signatures{Signers: []string{"EnochRoot"}, Keys: []string{"EnochRoot+af0cfe78"}}, by)

	// Signing is deterministic (RFC 8032), so the vector's signature comes out beside another one.
	signer, _ := keyPair(t, "demo-other-school", 1)
	other, err := signText(signer, "demo-other-school", vectorText)
	require.NoError(t, err)
	require.Equal(t, vectorText+"\n", string(other[:len(vectorText)+1]))
	text, by, err = openText(append(other, vectorSig...), known)
	require.NoError(t, err)
	require.Equal(t, vectorText, text)
	require.Len(t, by.Unknown, 1)

	for name, tc := range map[string]struct{ note, code string }{
		"no signature":       {vectorText, CodeNote},
		"empty signatures":   {vectorText + "\n", CodeNote},
		"no line feed":       {vectorText + "\n" + strings.TrimSuffix(vectorSig, "\n"), CodeNote},
		"control character":  {"\x01" + vectorText + "\n" + vectorSig, CodeNote},
		"bad UTF-8":          {"\xff" + vectorText + "\n" + vectorSig, CodeNote},
		"name with a space":  {vectorText + "\n" + strings.Replace(vectorSig, "EnochRoot", "Enoch Root", 1), CodeNote},
		"unexpected line":    {vectorText + "\n" + vectorSig + "Unexpected line.\n", CodeNote},
		"too many":           {vectorText + "\n" + strings.Repeat(vectorSig, 101), CodeNote},
		"longer signature":   {vectorText + "\n" + vectorSig[:60] + "ABCD" + vectorSig[60:], CodeSignature},
		"other text":         {"X" + vectorText[1:] + "\n" + vectorSig, CodeSignature},
		"other name":         {vectorText + "\n" + strings.Replace(vectorSig, "EnochRoot", "EnochRoo", 1), CodeSignerUnknown},
		"other key hash":     {vectorText + "\n" + strings.Replace(vectorSig, "rwz+", "rwz/", 1), CodeSignerUnknown},
		"stray base64 bits":  {vectorText + "\n" + strings.Replace(vectorSig, "QQ=", "QR=", 1), CodeNote},
		"twice":              {vectorText + "\n" + vectorSig + vectorSig, CodeNote},
		"twice, second bad":  {vectorText + "\n" + vectorSig + strings.Replace(vectorSig, "RvMc", "RvMd", 1), CodeNote},
		"carriage return":    {vectorText + "\n" + strings.Replace(vectorSig, "=\n", "=\r\n", 1), CodeNote},
		"empty line at end":  {vectorText + "\n" + vectorSig + "\n", CodeNote},
		"no em dash":         {vectorText + "\n" + strings.Replace(vectorSig, "—", "-", 1), CodeNote},
		"hash and no more":   {vectorText + "\n— EnochRoot rwz+eA==\n", CodeNote},
		"nothing to be read": {"", CodeNote},
	} {
		_, _, err := openText([]byte(tc.note), known)
		require.Equal(t, tc.code, codeOf(err), "%s: %v", name, err)
	}
}

// codeOf is the code of the first field of an error.
func codeOf(err error) string {
	var e *errs.Error
	if !errors.As(err, &e) || len(e.Fields) == 0 {
		return ""
	}
	return e.Fields[0].Code
}

func TestNewSigningKeyRefuses(t *testing.T) {
	t.Parallel()
	for _, name := range []string{"", "Demo", "demo school", "demo+school", "demo/", "/demo", "demo-school/A", "demo-school/key/1", "demo.school"} {
		_, _, err := NewSigningKey(bytes.NewReader(make([]byte, 32)), name)
		require.Equal(t, CodeSigningKey, codeOf(err), name)
	}
	_, _, err := NewSigningKey(bytes.NewReader(make([]byte, 31)), "demo-winding-school")
	require.Equal(t, errs.KindInternal, errs.KindOf(err), "a short source must never give a key")
	_, _, err = NewSigningKey(iotest.ErrReader(errors.New("no entropy")), "demo-winding-school")
	require.ErrorContains(t, err, "no entropy")
	signer, verifier := keyPair(t, "demo-winding-school/key-2", 2)
	for _, key := range []string{signer, verifier} {
		id, institute, err := KeyIDOf(key)
		require.NoError(t, err)
		require.Equal(t, "demo-winding-school", institute)
		require.Regexp(t, `^demo-winding-school/key-2\+[0-9a-f]{8}$`, id)
	}
	_, _, err = KeyIDOf(vectorKey)
	require.Equal(t, CodeSigningKey, codeOf(err))
	_, _, err = KeyIDOf("x")
	require.Equal(t, CodeSigningKey, codeOf(err))
}

func TestKeys(t *testing.T) {
	t.Parallel()
	_, a := keyPair(t, "demo-winding-school", 1)
	_, b := keyPair(t, "demo-other-school", 2)
	known := knownKeys(t, a, b, a)
	require.Len(t, known.byID, 2, "a key that is named twice counts once")
	for name, bad := range map[string]string{"no key": "", "secret key": "PRIVATE+KEY+x", "spoilt hash": strings.Replace(a, "+", "+0", 1), "strange name": vectorKey} {
		_, err := NewKeys(b, bad)
		require.Equal(t, CodeSigningKey, codeOf(err), name)
	}
	_, err := (*Keys)(nil).Verifier("demo-winding-school", 1)
	require.Error(t, err)
}

func TestSignStatement(t *testing.T) {
	t.Parallel()
	s := someStatement()
	signer, verifier := keyPair(t, s.Institute, 1)
	otherSigner, otherVerifier := keyPair(t, "demo-other-school", 2)
	signed, err := SignStatement(signer, s)
	require.NoError(t, err)
	opened, err := OpenStatement(signed, knownKeys(t, verifier, otherVerifier))
	require.NoError(t, err)
	require.Equal(t, s, opened.Statement)
	require.Equal(t, []string{s.Institute}, opened.Signers)
	require.Empty(t, opened.Unknown)

	_, err = SignStatement(otherSigner, s)
	require.Equal(t, CodeSigningKey, codeOf(err), "one institute cannot speak for another")
	_, err = SignStatement("PRIVATE+KEY+secret", s)
	require.Equal(t, CodeSigningKey, codeOf(err))
	require.NotContains(t, err.Error(), "secret")
	own := s
	own.Vetter = own.Author
	_, err = SignStatement(signer, own)
	require.ErrorContains(t, err, "another person")

	_, err = OpenStatement(signed, knownKeys(t, otherVerifier))
	require.Equal(t, CodeSignerUnknown, codeOf(err))
	id, _, _ := KeyIDOf(verifier)
	require.ErrorContains(t, err, id, "the error says which key")
	_, err = OpenStatement(signed, nil)
	require.Equal(t, CodeSignerUnknown, codeOf(err))
	_, err = OpenStatement(bytes.Replace(signed, []byte("revision 3"), []byte("revision 4"), 1), knownKeys(t, verifier))
	require.ErrorContains(t, err, "Signature 1, of the key "+id)
}

// Two keys of one institute are one signer; another institute that co-signs is a second one.
func TestCoSignStatement(t *testing.T) {
	t.Parallel()
	s := someStatement()
	first, firstV := keyPair(t, s.Institute, 1)
	second, secondV := keyPair(t, s.Institute, 2)
	other, otherV := keyPair(t, "demo-other-school", 3)
	all := knownKeys(t, firstV, secondV, otherV)
	signed, err := SignStatement(first, s)
	require.NoError(t, err)

	both, err := CoSignStatement(signed, knownKeys(t, firstV), second)
	require.NoError(t, err)
	opened, err := OpenStatement(both, all)
	require.NoError(t, err)
	require.Equal(t, []string{s.Institute}, opened.Signers)
	require.Len(t, opened.Keys, 2)

	three, err := CoSignStatement(both, knownKeys(t, secondV), other)
	require.NoError(t, err)
	opened, err = OpenStatement(three, all)
	require.NoError(t, err)
	require.Equal(t, []string{"demo-other-school", s.Institute}, opened.Signers)
	require.Len(t, opened.Keys, 3)
	again, err := CoSignStatement(three, all, other)
	require.NoError(t, err)
	require.Equal(t, string(three), string(again), "signing again adds nothing")

	// A known key's signature must hold, whoever else signed; an unknown one says nothing.
	opened, err = OpenStatement(three, knownKeys(t, firstV))
	require.NoError(t, err)
	require.Len(t, opened.Unknown, 2)
	_, err = OpenStatement(three, knownKeys(t, otherV))
	require.Equal(t, CodeSignerOther, codeOf(err), "who co-signs does not speak for the institute")
	_, err = CoSignStatement(three, knownKeys(t, otherV), second)
	require.Error(t, err, "nobody co-signs what he cannot verify")
	_, err = CoSignStatement(signed, all, "x")
	require.Equal(t, CodeSigningKey, codeOf(err))

	for i := range MaxSignatures - 1 {
		more, _ := keyPair(t, "demo-other-school", byte(10+i))
		signed, err = CoSignStatement(signed, all, more)
		require.NoError(t, err)
	}
	_, err = OpenStatement(signed, all)
	require.NoError(t, err, "C2SP signed-note: at least 16 signatures")
	_, err = CoSignStatement(signed, all, other)
	require.Equal(t, CodeNote, codeOf(err))
	require.LessOrEqual(t, len([]rune(string(signed))), 8000, "it fits into a review")
}

// No byte of a note of known keys can change unseen.
func TestEveryByteOfANoteCounts(t *testing.T) {
	t.Parallel()
	s := someStatement()
	first, firstV := keyPair(t, s.Institute, 1)
	other, otherV := keyPair(t, "demo-other-school", 3)
	all := knownKeys(t, firstV, otherV)
	signed, err := SignStatement(first, s)
	require.NoError(t, err)
	signed, err = CoSignStatement(signed, all, other)
	require.NoError(t, err)
	want, err := OpenStatement(signed, all)
	require.NoError(t, err)
	rapid.Check(t, func(t *rapid.T) {
		changed := slices.Clone(signed)
		at := rapid.IntRange(0, len(signed)-1).Draw(t, "at")
		changed[at] ^= 1 << rapid.IntRange(0, 7).Draw(t, "bit")
		got, err := OpenStatement(changed, all)
		if err == nil { // the name or hash of the other key became one that nobody knows
			require.Equal(t, s, got.Statement)
			require.Equal(t, []string{s.Institute}, got.Signers)
			require.NotEqual(t, want.Signers, got.Signers)
		}
	})
}

func FuzzOpenStatement(f *testing.F) {
	s := someStatement()
	signer, verifier := keyPair(f, s.Institute, 1)
	known := knownKeys(f, verifier)
	signed, err := SignStatement(signer, s)
	require.NoError(f, err)
	f.Add(signed)
	f.Add([]byte(vectorText + "\n" + vectorSig))
	f.Fuzz(func(t *testing.T, data []byte) {
		opened, err := OpenStatement(data, known)
		if err == nil {
			require.Equal(t, s, opened.Statement, "there is one signed text")
		}
	})
}

func BenchmarkOpenStatement(b *testing.B) {
	s := someStatement()
	signer, verifier := keyPair(b, s.Institute, 1)
	known := knownKeys(b, verifier)
	signed, err := SignStatement(signer, s)
	require.NoError(b, err)
	for b.Loop() {
		if _, err := OpenStatement(signed, known); err != nil {
			b.Fatal(err)
		}
	}
}
