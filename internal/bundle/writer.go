package bundle

import (
	"bytes"
	"crypto/sha256"
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
	return w.write(KindManifest, id, revision, m)
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

func (w *Writer) write(kind Kind, id string, revision int, body any) error {
	sum, err := ContentHash(body)
	if err != nil {
		return err
	}
	return w.line(rawLine{Kind: kind, ID: id, Revision: revision, SHA256: hex.EncodeToString(sum[:]), Body: body})
}

// Close writes the end line. It does not close the underlying writer.
func (w *Writer) Close() error {
	if w.count == 0 {
		return errors.New("bundle: the manifest must be the first line")
	}
	err := w.line(rawLine{Kind: KindEnd, Count: w.count, SHA256: hex.EncodeToString(w.sum.Sum(nil))})
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
