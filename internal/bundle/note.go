package bundle

import (
	"crypto/ed25519"
	"encoding/base64"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"golang.org/x/mod/sumdb/note"

	"statorbook/internal/errs"
	"statorbook/internal/jsonin"
)

// MaxSignatures is how many signatures one note may hold. C2SP signed-note asks for at least 16.
const MaxSignatures = 16

// The codes of notes that cannot be taken.
const (
	CodeNote          = "NOTE_MALFORMED"    // not a note, or not in its one spelling
	CodeSignature     = "SIGNATURE_INVALID" // a known key did not sign this text
	CodeSignerUnknown = "SIGNER_UNKNOWN"    // none of the signatures is of a known key
	CodeSignerOther   = "SIGNER_OTHER"      // signed, but not by the institute that the text speaks for
	CodeSigningKey    = "SIGNING_KEY_INVALID"
)

// Keys are the verifier keys that signatures are held against. The zero value knows no key.
type Keys struct {
	byID map[string]note.Verifier // key id, see KeyID
	text []string
}

// NewKeys reads verifier keys as NewSigningKey gives them. A key that is named twice counts once; two
// keys with one id are refused, since a signature could not tell them apart.
func NewKeys(verifiers ...string) (*Keys, error) {
	k := &Keys{byID: map[string]note.Verifier{}}
	for i, text := range verifiers {
		v, err := note.NewVerifier(text)
		if err != nil {
			return nil, badKey(fmt.Sprintf("Verifier key %d is malformed. Give it as its institute published it: NAME+HASH+KEY.", i+1))
		}
		if err := checkKeyName(v.Name()); err != nil {
			return nil, err
		}
		id := KeyID(v.Name(), v.KeyHash())
		if slices.Contains(k.text, text) {
			continue
		}
		if k.byID[id] != nil {
			return nil, badKey("Two different verifier keys have the id " + id + ".")
		}
		k.byID[id] = v
		k.text = append(k.text, text)
	}
	return k, nil
}

// Verifier finds a key, as package note asks for it.
func (k *Keys) Verifier(name string, hash uint32) (note.Verifier, error) {
	if k != nil {
		if v, ok := k.byID[KeyID(name, hash)]; ok {
			return v, nil
		}
	}
	return nil, &note.UnknownVerifierError{Name: name, KeyHash: hash}
}

// KeyID tells keys apart: name+hash, the hash in 8 hexadecimal digits.
func KeyID(name string, hash uint32) string { return fmt.Sprintf("%s+%08x", name, hash) }

// KeyIDOf gives the id of a signer or verifier key, and the institute that it speaks for.
func KeyIDOf(key string) (id, institute string, err error) {
	var name string
	if v, errV := note.NewVerifier(key); errV == nil {
		name, id = v.Name(), KeyID(v.Name(), v.KeyHash())
	} else if s, errS := note.NewSigner(key); errS == nil {
		name, id = s.Name(), KeyID(s.Name(), s.KeyHash())
	} else {
		return "", "", badKey("The key is malformed.")
	}
	return id, keyInstitute(name), checkKeyName(name)
}

// keyInstitute is the institute in a key's name.
func keyInstitute(name string) string {
	institute, _, _ := strings.Cut(name, "/")
	return institute
}

// checkKeyName holds a name against its rule: the slug of an institute, or that, a slash, and a slug
// that tells its keys apart. A slug has no space and no plus, as a note requires.
func checkKeyName(name string) error {
	institute, label, labelled := strings.Cut(name, "/")
	if !jsonin.IsSlug(institute) || labelled && !jsonin.IsSlug(label) {
		return badKey("The name of a signing key is the slug of its institute, or that, a slash and another slug.")
	}
	return nil
}

// NewSigningKey makes an Ed25519 key pair for an institute: name is its slug, or slug/label. random
// gives 32 bytes and must be a cryptographic source; the same bytes give the same pair. The signer key
// is secret. The verifier key is for everybody, and what others pin.
func NewSigningKey(random io.Reader, name string) (signer, verifier string, err error) {
	if err := checkKeyName(name); err != nil {
		return "", "", err
	}
	var seed [ed25519.SeedSize]byte
	if _, err := io.ReadFull(random, seed[:]); err != nil {
		return "", "", errs.Wrap(errs.KindInternal, "No randomness for a signing key.", err)
	}
	return note.GenerateKey(strings.NewReader(string(seed[:])), name)
}

// SignStatement signs a valid statement with a key of the institute that it speaks for.
func SignStatement(signer string, s Statement) ([]byte, error) {
	if err := s.Validate(); err != nil {
		return nil, err
	}
	return signText(signer, s.Institute, s.Text())
}

// SignedStatement is a statement whose signatures were held against known keys.
type SignedStatement struct {
	Statement
	Signatures
}

// OpenStatement reads a signed statement. It fails if the note is not in its one spelling, if a known
// key did not sign it, and unless a known key of the very institute that it speaks for did.
func OpenStatement(signed []byte, known *Keys) (SignedStatement, error) {
	text, by, err := openText(signed, known)
	if err != nil {
		return SignedStatement{}, err
	}
	s, err := ParseStatement(text)
	if err != nil {
		return SignedStatement{}, err
	}
	return SignedStatement{s, by}, by.require(s.Institute)
}

// CoSignStatement adds the signature of another institute, or of another key, to a signed statement.
// It opens the statement first: nobody vouches for what he cannot verify. All other signatures stay.
func CoSignStatement(signed []byte, known *Keys, signer string) ([]byte, error) {
	if _, err := OpenStatement(signed, known); err != nil {
		return nil, err
	}
	key, err := openSigner(signer)
	if err != nil {
		return nil, err
	}
	var unverified *note.UnverifiedNoteError
	if _, err := note.Open(signed, nil); !errors.As(err, &unverified) { // without keys nothing is verified
		return nil, errs.Wrap(errs.KindInternal, "The note cannot be read.", err)
	}
	if len(unverified.Note.UnverifiedSigs) >= MaxSignatures {
		return nil, badNote(CodeNote, fmt.Sprintf("The note has %d signatures already; no more fit.", MaxSignatures))
	}
	return note.Sign(unverified.Note, key)
}

// Signatures says who signed a text.
type Signatures struct {
	Signers []string // names of known keys that signed, each once, sorted: two keys of one name are one signer
	Keys    []string // ids of known keys that signed, in the order of the note
	Unknown []string // ids of keys that are not known: their signatures say nothing
}

// require sees that a known key of the institute signed.
func (s Signatures) require(institute string) error {
	for _, name := range s.Signers {
		if keyInstitute(name) == institute {
			return nil
		}
	}
	return badNote(CodeSignerOther, fmt.Sprintf("The text speaks for %s, but it is signed by %s only.", institute, strings.Join(s.Keys, ", ")))
}

// signText makes a note of a text that speaks for an institute.
func signText(signer, institute, text string) ([]byte, error) {
	key, err := openSigner(signer)
	if err != nil {
		return nil, err
	}
	if keyInstitute(key.Name()) != institute {
		return nil, badKey(fmt.Sprintf("The key %s cannot sign for %s.", KeyID(key.Name(), key.KeyHash()), institute))
	}
	return note.Sign(&note.Note{Text: text}, key)
}

// openSigner reads a signer key. Its errors never show the key.
func openSigner(signer string) (note.Signer, error) {
	key, err := note.NewSigner(signer)
	if err != nil {
		return nil, badKey("The signer key is malformed.")
	}
	return key, checkKeyName(key.Name())
}

// openText opens a note strictly. Package note takes a note with one good signature, leaves repeated
// signatures unread, and takes base64 with stray bits at its end; so that nothing in a note can change
// unseen, its one spelling is asked for here. What a note is, is its text and who signed it, never its
// bytes: signatures come and go.
func openText(signed []byte, known *Keys) (string, Signatures, error) {
	ids, err := signatureIDs(signed)
	if err != nil {
		return "", Signatures{}, err
	}
	opened, err := note.Open(signed, known)
	var invalid *note.InvalidSignatureError
	var unverified *note.UnverifiedNoteError
	switch {
	case errors.As(err, &invalid):
		id := KeyID(invalid.Name, invalid.Hash)
		detail := fmt.Sprintf("Signature %d, of the key %s, is not valid for this text.", slices.Index(ids, id)+1, id)
		return "", Signatures{}, badNote(CodeSignature, detail)
	case errors.As(err, &unverified):
		return "", Signatures{}, badNote(CodeSignerUnknown, "None of the keys that signed is known: "+strings.Join(ids, ", ")+".")
	case err != nil:
		return "", Signatures{}, badNote(CodeNote, "This is not a signed note: "+err.Error()+".")
	}
	var by Signatures
	for _, s := range opened.Sigs {
		by.Keys = append(by.Keys, KeyID(s.Name, s.Hash))
		by.Signers = append(by.Signers, s.Name)
	}
	for _, s := range opened.UnverifiedSigs {
		by.Unknown = append(by.Unknown, KeyID(s.Name, s.Hash))
	}
	slices.Sort(by.Signers)
	by.Signers = slices.Compact(by.Signers)
	return opened.Text, by, nil
}

// noteText is the text of a note, without a look at the signatures.
func noteText(signed string) (string, bool) {
	at := strings.LastIndex(signed, "\n\n")
	if at < 0 {
		return "", false
	}
	return signed[:at+1], true
}

// signatureIDs lists the ids of the keys that signed, in order, and sees that every signature is in
// strict base64 (RFC 4648 section 3.5) and that no key signed twice.
func signatureIDs(signed []byte) ([]string, error) {
	text, ok := noteText(string(signed))
	if !ok {
		return nil, badNote(CodeNote, "This is not a signed note: no empty line parts text and signatures.")
	}
	lines := strings.Split(strings.TrimSuffix(string(signed[len(text)+1:]), "\n"), "\n")
	if len(lines) > MaxSignatures {
		return nil, badNote(CodeNote, fmt.Sprintf("The note has %d signatures; at most %d are read.", len(lines), MaxSignatures))
	}
	var ids []string
	for i, line := range lines {
		name, b64, _ := strings.Cut(strings.TrimPrefix(line, "— "), " ")
		sig, err := base64.StdEncoding.Strict().DecodeString(b64)
		if err != nil || len(sig) < 5 {
			return nil, badNote(CodeNote, fmt.Sprintf("Signature %d, of %.100q, is not in strict base64.", i+1, name))
		}
		id := KeyID(name, binary.BigEndian.Uint32(sig))
		if slices.Contains(ids, id) {
			return nil, badNote(CodeNote, fmt.Sprintf("Signature %d: the key %s signed before; a key signs once.", i+1, id))
		}
		ids = append(ids, id)
	}
	return ids, nil
}

// badNote is the error of a note. A signature that does not hold is understood, but impossible.
func badNote(code, detail string) error {
	kind := errs.KindImpossible
	if code == CodeNote {
		kind = errs.KindSyntax
	}
	return errs.New(kind, detail, errs.Field{Pointer: "/note", Code: code, Detail: detail})
}

func badKey(detail string) error {
	return errs.New(errs.KindSyntax, detail, errs.Field{Pointer: "/key", Code: CodeSigningKey, Detail: detail})
}
