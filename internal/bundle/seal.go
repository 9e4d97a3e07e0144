package bundle

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"statorbook/internal/errs"
	"statorbook/internal/jsonin"
)

// CodeUnsealed: the institute did not sign the file, or the signature that the manifest announces is gone.
const CodeUnsealed = "UNSEALED"

// endBody is the body of an end line: the seal, a signed note over the whole file before it. It stands
// last, so that a bundle can be written as a stream.
type endBody struct {
	Note string `json:"note" in:"required,lines,runes=8000"`
}

// sealText is what the seal of a file signs: whose it is, which it is, and the count and digest of all
// lines before the end line, the manifest included. It has one form, so that a reader, who knows all of
// it, needs only compare.
func sealText(manifest *Line, count int, digest string) string {
	return "statorbook bundle v1\n" +
		"institute " + manifest.Manifest.Institute + "\n" +
		"bundle " + manifest.ID + "\n" +
		"revision " + strconv.Itoa(manifest.Revision) + "\n" +
		"count " + strconv.Itoa(count) + "\n" +
		"sha256 " + digest + "\n"
}

// check reports what keeps a manifest from naming its keys and its signer properly.
func (m *Manifest) check() error {
	if _, err := NewKeys(m.Keys...); err != nil {
		return err
	}
	if m.Signer == "" {
		return nil
	}
	name, hash, _ := strings.Cut(m.Signer, "+")
	if !jsonin.IsSlug(m.Institute) || keyInstitute(name) != m.Institute || checkKeyName(name) != nil || len(hash) != 8 {
		return badKey(fmt.Sprintf("The signer %q is not a key of the institute %q.", m.Signer, m.Institute))
	}
	return nil
}

// readSeal takes the seal of an end line whose count and digest were found right, and sees that it is
// about this very file. Whether its signatures hold is for OpenSeal to say.
func (r *Reader) readSeal(head readLine, digest string) error {
	announced := r.manifest.Manifest.Signer
	if !head.Body.Given() {
		if announced != "" {
			return unsealed("The manifest says that the file is signed by " + announced + ", but the signature is gone.")
		}
		return nil
	}
	var body endBody
	if err := head.Body.Decode(&body); err != nil {
		return under("/body", err)
	}
	ids, err := signatureIDs([]byte(body.Note))
	if err != nil {
		return under("/body", err)
	}
	if text, _ := noteText(body.Note); text != sealText(r.manifest, r.number-1, digest) || !slices.Contains(ids, announced) {
		return under("/body", badNote(CodeSignature, "The signature is about another file than this one."))
	}
	r.seal = body.Note
	return nil
}

// OpenSeal holds the signature over the whole file against known keys. It is to be asked after Next
// gave io.EOF. It fails if the file is not signed, or by no known key of the institute in its manifest.
func (r *Reader) OpenSeal(known *Keys) (Signatures, error) {
	if r.seal == "" {
		return Signatures{}, unsealed("The bundle is not signed as a whole, so that nobody can tell whether lines are missing. Ask its institute for one that is.")
	}
	_, by, err := openText([]byte(r.seal), known)
	if err != nil {
		return by, err
	}
	return by, by.require(r.manifest.Manifest.Institute)
}

// Manifest is the manifest of the bundle once its line was read, else nil.
func (r *Reader) Manifest() *Manifest {
	if r.manifest == nil {
		return nil
	}
	return r.manifest.Manifest
}

func unsealed(detail string) error {
	return errs.New(errs.KindImpossible, detail, errs.Field{Pointer: "/body", Code: CodeUnsealed, Detail: detail})
}

// check sees that the note of a review says what its parts say.
func (r *Review) check() error {
	if err := r.Statement().Validate(); err != nil {
		return err
	}
	if r.Note == "" {
		return nil
	}
	if _, err := signatureIDs([]byte(r.Note)); err != nil {
		return err
	}
	if text, _ := noteText(r.Note); text != r.Statement().Text() {
		return badNote(CodeNote, "The signed note says something else than the review.")
	}
	return nil
}
