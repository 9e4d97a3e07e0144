package bundle

import (
	"bufio"
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"hash"
	"io"
	"strconv"

	"statorbook/internal/errs"
	"statorbook/internal/jsonin"
)

// Options bound a Reader.
type Options struct {
	MaxLine int // bytes of one line, 64 KiB to 1 MiB; 0 = 1 MiB
}

// The bounds of Options.MaxLine.
const (
	minMaxLine = 64 << 10
	maxMaxLine = 1 << 20
)

// LineError is what is wrong with one line. When Fatal is false the Reader can go on with the next
// line, so that one report names every bad line of a file.
type LineError struct {
	Line  int
	Kind  Kind   // "" if not known
	ID    string // "" if not known
	Fatal bool
	Err   *errs.Error
}

// Error names the line, the record and what is wrong.
func (e *LineError) Error() string {
	where := "line " + strconv.Itoa(e.Line)
	if e.ID != "" {
		where += " (" + string(e.Kind) + " " + e.ID + ")"
	}
	return where + ": " + e.Err.Error()
}

// Unwrap returns the classified error.
func (e *LineError) Unwrap() error { return e.Err }

// Reader reads a bundle line by line in bounded memory. It holds the file against its own end line:
// a cut, lengthened or changed file never ends with io.EOF.
type Reader struct {
	in     *bufio.Reader
	limits jsonin.Limits
	sum    hash.Hash
	number int
	stop   error // what every further call returns

	manifest *Line
	record   *Line  // the last line that was not a review
	seal     string // signed note of the end line
}

// gzipMagic starts a gzip file (RFC 1952, 2.3.1).
var gzipMagic = []byte{0x1f, 0x8b}

// NewReader returns a Reader of in.
func NewReader(in io.Reader, o Options) *Reader {
	if o.MaxLine <= 0 {
		o.MaxLine = maxMaxLine
	}
	limits := jsonin.Line
	limits.Bytes = min(max(o.MaxLine, minMaxLine), maxMaxLine)
	return &Reader{in: bufio.NewReaderSize(in, 64<<10), limits: limits, sum: sha256.New()}
}

// Next returns the next line, io.EOF after a valid end line, or a *LineError. After a fatal error
// every further call returns the same error.
func (r *Reader) Next() (*Line, error) {
	if r.stop != nil {
		return nil, r.stop
	}
	line, err := r.next()
	var le *LineError
	if err != nil && (!errors.As(err, &le) || le.Fatal) {
		r.stop = err
	}
	return line, err
}

func (r *Reader) next() (*Line, error) {
	text, err := r.readText()
	if err != nil {
		return nil, err
	}
	if r.number == 1 && bytes.HasPrefix(text, gzipMagic) {
		const detail = "The file is packed with gzip; unpack it first."
		return nil, r.fail(&Line{}, errs.New(errs.KindSyntax, detail, errs.Field{Code: jsonin.CodeSyntax, Detail: detail}), true)
	}
	var head readLine
	err = jsonin.Decode(text, &head, r.limits)
	digest := ""
	if head.Kind == string(KindEnd) {
		digest = hex.EncodeToString(r.sum.Sum(nil))
	}
	r.sum.Write(text)
	if err != nil {
		return nil, r.fail(&Line{}, err, r.number == 1)
	}
	l := &Line{Number: r.number, Kind: Kind(head.Kind), ID: head.ID, Revision: head.Revision, SHA256: head.SHA256}
	switch {
	case r.number == 1 && l.Kind != KindManifest:
		return nil, r.fail(l, errs.New(errs.KindSyntax, "A bundle starts with its manifest."), true)
	case r.number > 1 && l.Kind == KindManifest:
		return nil, r.fail(l, errs.New(errs.KindSyntax, "A second manifest; a bundle has one, as its first line."), false)
	case l.Kind == KindEnd:
		return nil, r.end(l, head, digest)
	}
	return r.body(l, head)
}

// readText reads one line with its line feed; the last line may lack it.
func (r *Reader) readText() ([]byte, error) {
	r.number++
	var text []byte
	for {
		part, err := r.in.ReadSlice('\n')
		if len(text)+len(part) > r.limits.Bytes {
			return nil, r.fail(&Line{}, errs.New(errs.KindTooLarge, fmt.Sprintf("The line is longer than %d bytes.", r.limits.Bytes)), true)
		}
		switch {
		case err == nil && text == nil:
			return part, nil // the common case, without a copy; used before the next read
		case err == nil:
			return append(text, part...), nil
		case errors.Is(err, bufio.ErrBufferFull):
			text = append(text, part...)
		case errors.Is(err, io.EOF) && len(text)+len(part) > 0:
			return append(text, part...), nil
		case errors.Is(err, io.EOF):
			return nil, r.fail(&Line{}, errs.New(errs.KindSyntax, "The file ends without its end line; it may be cut short."), true)
		default:
			return nil, r.fail(&Line{}, errs.Wrap(errs.KindInternal, "The file cannot be read.", err), true)
		}
	}
}

// body reads the body of a line and holds it against the line.
func (r *Reader) body(l *Line, head readLine) (*Line, error) {
	if fields := missing(map[string]bool{"id": head.ID != "", "revision": head.Revision != 0, "body": head.Body.Given()}); fields != nil {
		return nil, r.fail(l, errs.New(errs.KindSyntax, "The line is not complete.", fields...), r.number == 1)
	}
	body := l.newBody()
	if err := head.Body.Decode(body); err != nil {
		return nil, r.fail(l, under("/body", err), r.number == 1)
	}
	if l.Kind == KindManifest && l.Manifest.Format != Format {
		detail := fmt.Sprintf("The bundle has format %d; this program reads format %d.", l.Manifest.Format, Format)
		return nil, r.fail(l, errs.New(errs.KindImpossible, detail), true)
	}
	if err := l.unify(); err != nil {
		return nil, r.fail(l, err, false)
	}
	if err := r.checkProof(l); err != nil {
		return nil, r.fail(l, under("/body", err), r.number == 1)
	}
	sum, err := ContentHash(body)
	if err != nil {
		return nil, r.fail(l, errs.Wrap(errs.KindInternal, "The content hash cannot be computed.", err), false)
	}
	if computed := hex.EncodeToString(sum[:]); l.SHA256 == "" || l.SHA256 == computed {
		l.SHA256 = computed
	} else {
		f := errs.Field{Pointer: "/sha256", Code: CodeHash, Detail: "the content hash of the body is " + computed, Got: l.SHA256}
		return nil, r.fail(l, errs.New(errs.KindImpossible, "The body is not the one that was hashed.", f), false)
	}
	kept := *l // the caller may change what he gets
	if l.Kind == KindManifest {
		manifest := *l.Manifest
		kept.Manifest = &manifest
		r.manifest = &kept
	}
	if l.Kind != KindReview {
		r.record = &kept
	}
	return l, nil
}

// checkProof holds what a line says about keys and signatures against itself, and a review against the
// record before it. The signatures are for Verify to check, or for whoever knows the keys.
func (r *Reader) checkProof(l *Line) error {
	switch l.Kind {
	case KindManifest:
		return l.Manifest.check()
	case KindReview:
		if err := l.Review.check(); err != nil {
			return err
		}
		if before := r.record; before != nil && string(before.Kind) == l.Review.Kind && before.ID == l.ID && before.Revision == l.Revision && before.SHA256 != l.Review.SHA256 {
			f := errs.Field{Pointer: "/sha256", Code: CodeHash, Detail: "the record before it has the content hash " + before.SHA256, Got: l.Review.SHA256}
			return errs.New(errs.KindImpossible, "The review is about other content than the record has.", f)
		}
	}
	return nil
}

// The codes of problems of a whole line or file.
const (
	CodeHash     = "HASH_MISMATCH"     // the content, or the file, is not what its hash says
	CodeCount    = "COUNT_MISMATCH"    // the end line counts other than the file has
	CodeIdentity = "IDENTITY_MISMATCH" // the body names another id or revision than the line
)

// unify gives the body the line's id and revision, or says that it has others.
func (l *Line) unify() error {
	id, revision := l.identity()
	var fields []errs.Field
	if id != nil {
		if *id == "" {
			*id = l.ID
		} else if *id != l.ID {
			fields = append(fields, errs.Field{Pointer: "/id", Code: CodeIdentity, Detail: "the body is that of " + *id, Got: l.ID})
		}
	}
	if revision != nil {
		if *revision == 0 {
			*revision = l.Revision
		} else if *revision != l.Revision {
			fields = append(fields, errs.Field{Pointer: "/revision", Code: CodeIdentity,
				Detail: "the body is that of revision " + strconv.Itoa(*revision), Got: strconv.Itoa(l.Revision)})
		}
	}
	if (l.Kind == KindFamily || l.Kind == KindWinding || l.Kind == KindCore) && !jsonin.IsUUID(l.ID) {
		fields = append(fields, errs.Field{Pointer: "/id", Code: jsonin.CodeFormat, Detail: "the id must be a UUID in lower case", Got: l.ID})
	}
	if fields != nil {
		return errs.New(errs.KindSyntax, "Line and body disagree.", fields...)
	}
	return nil
}

// end holds the file against its end line. The digest is that of all bytes before the line.
func (r *Reader) end(l *Line, head readLine, digest string) error {
	fields := missing(map[string]bool{"count": head.Count != nil, "sha256": head.SHA256 != ""})
	if fields == nil && *head.Count != r.number-1 {
		fields = append(fields, errs.Field{Pointer: "/count", Code: CodeCount,
			Detail: "there are " + strconv.Itoa(r.number-1) + " lines before this one", Got: strconv.Itoa(*head.Count)})
	}
	if head.SHA256 != "" && head.SHA256 != digest {
		fields = append(fields, errs.Field{Pointer: "/sha256", Code: CodeHash,
			Detail: "the lines before this one have the hash " + digest, Got: head.SHA256})
	}
	if fields != nil {
		return r.fail(l, errs.New(errs.KindImpossible, "The file is not the one that was written.", fields...), true)
	}
	if err := r.readSeal(head, digest); err != nil {
		return r.fail(l, err, true)
	}
	if _, err := r.in.ReadByte(); !errors.Is(err, io.EOF) {
		r.number++
		return r.fail(&Line{}, errs.New(errs.KindSyntax, "Something follows the end line."), true)
	}
	return io.EOF
}

// missing lists the members that are not there, in order of their names.
func missing(there map[string]bool) []errs.Field {
	var fields []errs.Field
	for _, name := range [...]string{"id", "revision", "body", "count", "sha256"} {
		if given, asked := there[name]; asked && !given {
			fields = append(fields, errs.Field{Pointer: "/" + name, Code: jsonin.CodeRequired, Detail: name + " is needed"})
		}
	}
	return fields
}

// under puts the pointers of an error under a member.
func under(member string, err error) error {
	var e *errs.Error
	if !errors.As(err, &e) {
		return err
	}
	for i := range e.Fields {
		e.Fields[i].Pointer = member + e.Fields[i].Pointer
	}
	return e
}

// fail makes a LineError of err.
func (r *Reader) fail(l *Line, err error, fatal bool) error {
	var e *errs.Error
	if !errors.As(err, &e) {
		e = errs.Wrap(errs.KindInternal, "The line cannot be read.", err)
	}
	return &LineError{Line: r.number, Kind: l.Kind, ID: l.ID, Fatal: fatal, Err: e}
}
