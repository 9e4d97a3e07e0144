// Package errs holds the closed list of error kinds that the service knows, the per-field
// findings that go with them, and nothing of HTTP: one table in httpapi turns a Kind into a
// status and a problem type.
package errs

import (
	"errors"
	"strings"
)

// Kind says what sort of failure an Error is. The list is closed and append only.
type Kind int

// The kinds. KindInternal is the zero value, so that an unclassified error never looks like the caller's fault.
const (
	KindInternal           Kind = iota // a fault of ours; its text never leaves the process
	KindSyntax                         // malformed input, wrong type, unknown or duplicate name
	KindImpossible                     // understood, but physically or logically impossible, or ambiguous
	KindNotFound                       // no such thing, or none that the actor may know of
	KindUnauthenticated                // no usable key
	KindForbidden                      // a good key without the right
	KindConflict                       // the state does not allow it
	KindInProgress                     // the same idempotency key is still running
	KindPreconditionNeeded             // If-Match is missing
	KindPreconditionFailed             // If-Match is stale
	KindTooLarge                       // over a byte or item limit
	KindMediaType                      // a media type that is not taken
	KindMethod                         // a method that is not allowed
	KindNotAcceptable                  // no representation that the caller accepts
	KindRateLimited                    // slow down
	KindUnavailable                    // the database cannot be reached, or is still migrating
	KindTimeout                        // the deadline passed
	KindStorageFull                    // the database has no room
	kindCount
)

// Kinds lists every kind, for tables that must cover all of them.
func Kinds() []Kind {
	all := make([]Kind, kindCount)
	for i := range all {
		all[i] = Kind(i)
	}
	return all
}

// Field is one thing wrong with one input. Exactly one of Pointer (RFC 6901 JSON pointer into
// the body), Parameter (path or query) and Header is set.
type Field struct {
	Pointer   string
	Parameter string
	Header    string
	Code      string // stable UPPER_SNAKE code
	Detail    string // one sentence that names the remedy
	Allowed   any    // the allowed values as a list, or the range as [2]int or [2]float64 (least, most); nil if there is none
	Got       string // what was sent, shortened
}

// Error is a classified failure. Detail is safe to show to a caller; the wrapped cause is not.
type Error struct {
	Kind   Kind
	Detail string
	Fields []Field
	WaitS  int // seconds after which it may be tried again, 0 = not known
	cause  error
}

// New returns an Error of kind k with a detail that is safe to show.
func New(k Kind, detail string, fields ...Field) *Error {
	return &Error{Kind: k, Detail: detail, Fields: fields}
}

// Wrap returns an Error of kind k that keeps cause for the log.
func Wrap(k Kind, detail string, cause error) *Error {
	return &Error{Kind: k, Detail: detail, cause: cause}
}

// Error gives the detail, what the fields say beyond it, then the cause; it is meant for logs.
func (e *Error) Error() string {
	var b strings.Builder
	b.WriteString(e.Detail)
	for _, f := range e.Fields {
		place := f.Pointer + f.Parameter + f.Header
		if f.Detail == e.Detail || place == "" && strings.Contains(e.Detail, f.Detail) {
			continue // said already
		}
		if b.Len() > 0 {
			b.WriteString("; ")
		}
		b.WriteString(place + ": " + f.Detail)
	}
	if e.cause != nil {
		b.WriteString(": " + e.cause.Error())
	}
	return b.String()
}

// Unwrap returns the cause.
func (e *Error) Unwrap() error { return e.cause }

// KindOf returns the kind of the first Error in err's chain, KindInternal if there is none.
func KindOf(err error) Kind {
	var e *Error
	if errors.As(err, &e) {
		return e.Kind
	}
	return KindInternal
}
