package bundle

import (
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"

	"statorbook/internal/errs"
)

// The codes of what Verify finds beyond what a Reader refuses.
const (
	CodeForked   = "FORKED"           // one revision with two contents
	CodeState    = "STATE_MISMATCH"   // the statement says another act than the record's state
	CodeWitness  = "WITNESS_MISMATCH" // the record names others than its statement
	CodeRecord   = "RECORD_MISSING"   // a statement about a record that is not in the bundle
	CodeUnproved = "UNPROVED"         // no statement, or none that a known key signed
	maxProblems  = 1000               // that a Report keeps
)

// Problem is one thing that Verify has to say about one line.
type Problem struct {
	Line   int    // 0 = the whole file
	Kind   Kind   // "" if not known
	ID     string // "" if not known
	Code   string
	Detail string
}

// String names the line, the record, and what is wrong.
func (p Problem) String() string {
	where := "the whole file"
	if p.Line > 0 {
		where = "line " + strconv.Itoa(p.Line)
	}
	if p.ID != "" {
		where += " (" + string(p.Kind) + " " + p.ID + ")"
	}
	return where + ": " + p.Code + ": " + p.Detail
}

// Report is what Verify found. Each record line counts once, as proved, unproved or failed.
type Report struct {
	Manifest *Manifest // nil if the first line could not be read
	Pinned   bool      // the keys came from the caller, not from the bundle itself
	Lines    int       // that were read, the manifest included, the end line not
	Other    int       // lines of reference data and stacks: covered by the seal alone

	Proved   int // records with a statement about this very content, signed by a known key of its institute
	Unproved int // records that no known key vouches for
	Failed   int // records that are not what was stated, or cannot be read
	Reviews  int // statements

	CoSigned int            // proved records with two or more distinct signers
	Signers  map[string]int // name of each signer -> records that it vouches for
	Seal     Signatures     // of the whole file; no signers if it does not hold

	Problems     []Problem // failures, in order of the file; the first 1000
	ProblemCount int
	Doubts       []Problem // unproved records; the first 1000
}

// OK tells that the file is whole, signed, and that nothing in it was found false. Unproved records do
// not spoil it: they say themselves that nobody vouches for them.
func (r Report) OK() bool { return r.ProblemCount == 0 }

// contentKey names one revision of one record.
type contentKey struct {
	kind     Kind
	id       string
	revision int
}

// content is what the lines say about one revision.
type content struct {
	line     int // of the record; 0 = not seen yet
	hash     string
	state    string
	stated   string // hash in a statement that holds
	act      string
	named    witnesses // in the record
	answers  witnesses // in the statement
	signers  []string
	review   int    // line of the statement that holds
	failed   bool   // a problem was told already
	unproved string // why the statement that was seen does not prove it
}

// witnesses are the names under which a record goes; "" where none is given.
type witnesses struct{ institute, author, vetter, reason string }

// differ says which name in a record is another than in its statement, "" if none is.
func (w witnesses) differ(stated witnesses) string {
	for _, n := range [...]struct{ what, named, stated string }{
		{"institute", w.institute, stated.institute}, {"author", w.author, stated.author}, {"vetter", w.vetter, stated.vetter}, {"reason code", w.reason, stated.reason},
	} {
		if n.named != "" && n.named != n.stated {
			return fmt.Sprintf("The record names the %s %q, its statement %q.", n.what, n.named, n.stated)
		}
	}
	return ""
}

// verification is one Verify under way.
type verification struct {
	in     *Reader
	known  *Keys
	report Report
	found  map[contentKey]*content
	order  []contentKey
}

// Verify reads a bundle to its end, offline, and checks every line's hash, every statement and its
// signatures, that each is about the content in the file, names a vetter other than the author and
// nobody else than the record does, and the count, digest and signature of the whole. known are the keys that the caller trusts. Without them
// (nil) it takes the keys that the file brings along: that shows that the file agrees with itself, but
// anybody could have made it. It keeps about 900 bytes for each record in memory (measured).
func Verify(in *Reader, known *Keys) Report {
	v := &verification{in: in, known: known, found: map[contentKey]*content{}, report: Report{Pinned: known != nil, Signers: map[string]int{}}}
	v.read()
	v.report.Manifest = in.Manifest()
	v.judge()
	return v.report
}

// read takes line after line.
func (v *verification) read() {
	for {
		line, err := v.in.Next()
		var bad *LineError
		switch {
		case errors.Is(err, io.EOF):
			v.seal()
			return
		case errors.As(err, &bad):
			v.badLine(bad)
			if bad.Fatal {
				return
			}
		default:
			v.line(line)
		}
	}
}

// badLine notes a line that a Reader refuses.
func (v *verification) badLine(bad *LineError) {
	if bad.Kind == KindFamily || bad.Kind == KindWinding {
		v.report.Failed++
	}
	p := Problem{Line: bad.Line, Kind: bad.Kind, ID: bad.ID, Code: "LINE", Detail: bad.Err.Detail}
	if len(bad.Err.Fields) > 0 {
		f := bad.Err.Fields[0]
		p.Code = f.Code
		if f.Detail != p.Detail && (f.Pointer != "" || !strings.Contains(p.Detail, f.Detail)) {
			p.Detail += " " + f.Pointer + ": " + f.Detail
		}
	}
	v.fail(p)
}

func (v *verification) fail(p Problem) {
	v.report.ProblemCount++
	if len(v.report.Problems) < maxProblems {
		v.report.Problems = append(v.report.Problems, p)
	}
}

func (v *verification) line(l *Line) {
	v.report.Lines++
	switch l.Kind {
	case KindManifest:
		if v.known == nil {
			v.known, _ = NewKeys(l.Manifest.Keys...) // the Reader saw that they are well formed
		}
	case KindFamily:
		v.record(l, l.Family.Standing)
	case KindWinding:
		v.record(l, l.Winding.Standing)
	case KindReview:
		v.review(l)
	default:
		v.report.Other++
	}
}

// at gives the place where everything about one revision comes together.
func (v *verification) at(kind Kind, id string, revision int) *content {
	key := contentKey{kind, id, revision}
	c := v.found[key]
	if c == nil {
		c = &content{}
		v.found[key] = c
		v.order = append(v.order, key)
	}
	return c
}

func (v *verification) record(l *Line, s Standing) {
	c := v.at(l.Kind, l.ID, l.Revision)
	if c.line > 0 && c.hash != l.SHA256 {
		v.fail(Problem{l.Number, l.Kind, l.ID, CodeForked, fmt.Sprintf("Revision %d has other content in line %d.", l.Revision, c.line)})
		c.failed = true
		return
	}
	c.line, c.hash, c.state = l.Number, l.SHA256, s.State
	c.named = witnesses{s.Institute, s.Author, s.Vetter, s.ReasonCode}
}

// review opens one statement.
func (v *verification) review(l *Line) {
	v.report.Reviews++
	c := v.at(Kind(l.Review.Kind), l.ID, l.Revision)
	if l.Review.Note == "" {
		c.unproved = "Its statement is not signed."
		return
	}
	s, err := OpenStatement([]byte(l.Review.Note), v.known)
	if err != nil {
		p := Problem{Line: l.Number, Kind: l.Kind, ID: l.ID, Code: "LINE", Detail: err.Error()}
		var e *errs.Error
		if errors.As(err, &e) && len(e.Fields) > 0 {
			p.Code, p.Detail = e.Fields[0].Code, e.Detail
		}
		if p.Code == CodeSignerUnknown || p.Code == CodeSignerOther {
			c.unproved = p.Detail // somebody whom the caller does not know vouches for it
			return
		}
		v.fail(p)
		c.failed = true
		return
	}
	if c.stated != "" && (c.stated != s.SHA256 || c.act != s.Act) {
		v.fail(Problem{l.Number, l.Kind, l.ID, CodeForked, fmt.Sprintf("The statement in line %d says something else about revision %d, and both are signed.", c.review, l.Revision)})
		c.failed = true
		return
	}
	c.stated, c.act, c.signers, c.review = s.SHA256, s.Act, s.Signers, l.Number
	c.answers = witnesses{s.Institute, s.Author, s.Vetter, s.Reason}
}

// seal checks the signature over the whole file.
func (v *verification) seal() {
	by, err := v.in.OpenSeal(v.known)
	if err == nil {
		v.report.Seal = by
		return
	}
	p := Problem{Code: CodeUnsealed, Detail: err.Error()}
	var e *errs.Error
	if errors.As(err, &e) && len(e.Fields) > 0 {
		p.Code, p.Detail = e.Fields[0].Code, e.Detail
	}
	v.fail(p)
}

// judge joins records and statements.
func (v *verification) judge() {
	for _, key := range v.order {
		c := v.found[key]
		if c.line == 0 {
			if c.stated != "" && !c.failed {
				v.fail(Problem{c.review, key.kind, key.id, CodeRecord, fmt.Sprintf("The statement is about revision %d, which is not in the file.", key.revision)})
			}
			continue
		}
		if p := c.judge(key); p != nil {
			v.fail(*p)
			c.failed = true
		}
		switch {
		case c.failed:
			v.report.Failed++
		case c.stated == "":
			v.report.Unproved++
			v.doubt(key, c)
		default:
			v.report.Proved++
			for _, name := range c.signers {
				v.report.Signers[name]++
			}
			if len(c.signers) > 1 {
				v.report.CoSigned++
			}
		}
	}
}

// judge holds a record against the statement that speaks about it.
func (c *content) judge(key contentKey) *Problem {
	switch {
	case c.failed || c.stated == "":
		return nil
	case c.stated != c.hash:
		return &Problem{c.line, key.kind, key.id, CodeHash, fmt.Sprintf("The statement in line %d is about the content %s; this is %s.", c.review, c.stated, c.hash)}
	case (c.act == "withdrawal") != (c.state == "withdrawn"):
		return &Problem{c.line, key.kind, key.id, CodeState, fmt.Sprintf("The record says %q, but the statement in line %d is a %s.", c.state, c.review, c.act)}
	}
	if other := c.named.differ(c.answers); other != "" {
		return &Problem{c.line, key.kind, key.id, CodeWitness, other}
	}
	return nil
}

func (v *verification) doubt(key contentKey, c *content) {
	if len(v.report.Doubts) >= maxProblems {
		return
	}
	why := c.unproved
	if why == "" {
		why = "Nobody vouches for it: there is no statement."
	}
	v.report.Doubts = append(v.report.Doubts, Problem{c.line, key.kind, key.id, CodeUnproved, why})
}
