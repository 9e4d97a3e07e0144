package bundle

import (
	"bytes"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"encoding/json"
	"errors"
	"hash"
	"io"
)

// Writer writes a bundle: the manifest first, any number of lines, the end line last. It keeps
// nothing but a running hash in memory.
type Writer struct {
	out   io.Writer
	sum   hash.Hash
	buf   bytes.Buffer
	enc   *json.Encoder
	count int
	ended bool

	manifest *Line
}

// NewWriter returns a Writer to out. The caller buffers and closes out.
func NewWriter(out io.Writer) *Writer {
	w := &Writer{out: out, sum: sha256.New()}
	w.enc = json.NewEncoder(&w.buf)
	w.enc.SetEscapeHTML(false)
	return w
}

// Manifest writes the first line. Format is set by the Writer.
func (w *Writer) Manifest(id string, revision int, m Manifest) error {
	if w.count > 0 {
		return errors.New("bundle: the manifest must be the first line")
	}
	m.Format = Format
	if err := m.check(); err != nil {
		return err
	}
	w.manifest = &Line{Kind: KindManifest, ID: id, Revision: revision, Manifest: &m}
	return w.write(KindManifest, id, revision, m)
}

// Review writes the statement about a record, behind the record's line. signed is its signed note; nil
// if nobody signed.
func (w *Writer) Review(s Statement, signed []byte) error {
	r := ReviewOf(s, string(signed))
	if err := r.check(); err != nil {
		return err
	}
	return w.Write(KindReview, s.Record, s.Revision, r)
}

// Write writes one record with its content hash. body is the shape that belongs to kind.
func (w *Writer) Write(kind Kind, id string, revision int, body any) error {
	if w.count == 0 {
		return errors.New("bundle: the manifest must be the first line")
	}
	if kind == KindManifest || kind == KindEnd {
		return errors.New("bundle: " + string(kind) + " is not written as a record")
	}
	return w.write(kind, id, revision, body)
}

// WriteTagged is Write for a record that has an address of its own: the line holds what GET answers
// there, its entity tag included. body is a pointer, and tag the field of it that takes the tag.
func (w *Writer) WriteTagged(kind Kind, id string, revision int, body any, tag *string) error {
	*tag = ""
	w.buf.Reset()
	if err := w.enc.Encode(body); err != nil {
		return err
	}
	*tag = EntityTag(w.buf.Bytes())
	return w.Write(kind, id, revision, body)
}

// EntityTag gives the strong entity tag (RFC 9110) of a representation, without quotes: 96 bits of its
// SHA-256. The tag that stands in a record is that of the record's line of JSON without a tag.
func EntityTag(representation []byte) string {
	sum := sha256.Sum256(representation)
	return base64.RawURLEncoding.EncodeToString(sum[:12])
}

func (w *Writer) write(kind Kind, id string, revision int, body any) error {
	sum, err := ContentHash(body)
	if err != nil {
		return err
	}
	return w.line(rawLine{Kind: kind, ID: id, Revision: revision, SHA256: hex.EncodeToString(sum[:]), Body: body})
}

// Close writes the end line of a bundle whose manifest names no signer. It does not close the
// underlying writer.
func (w *Writer) Close() error {
	if w.manifest != nil && w.manifest.Manifest.Signer != "" {
		return errors.New("bundle: the manifest announces a signature; use CloseSealed")
	}
	return w.end(nil)
}

// CloseSealed writes the end line with the institute's signature over everything before it. signer is
// the key whose id the manifest names.
func (w *Writer) CloseSealed(signer string) error {
	id, institute, err := KeyIDOf(signer)
	switch {
	case err != nil:
		return err
	case w.manifest == nil || w.manifest.Manifest.Signer != id:
		return errors.New("bundle: the manifest does not name the signer " + id)
	}
	note, err := signText(signer, institute, sealText(w.manifest, w.count, w.digest()))
	if err != nil {
		return err
	}
	return w.end(endBody{string(note)})
}

func (w *Writer) digest() string { return hex.EncodeToString(w.sum.Sum(nil)) }

func (w *Writer) end(body any) error {
	if w.count == 0 {
		return errors.New("bundle: the manifest must be the first line")
	}
	err := w.line(rawLine{Kind: KindEnd, Count: w.count, SHA256: w.digest(), Body: body})
	w.ended = true
	return err
}

func (w *Writer) line(l rawLine) error {
	if w.ended {
		return errors.New("bundle: nothing follows the end line")
	}
	w.buf.Reset()
	if err := w.enc.Encode(l); err != nil { // ends with a line feed
		return err
	}
	w.sum.Write(w.buf.Bytes())
	w.count++
	_, err := w.out.Write(w.buf.Bytes())
	return err
}
