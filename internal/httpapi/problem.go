package httpapi

import (
	"errors"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"statorbook/internal/errs"

	"github.com/gin-gonic/gin"
)

// Problem is the one form of every answer that is not a success: RFC 9457, with the request id and
// all mistakes of the request together.
type Problem struct {
	Type      string         `json:"type"` // relative reference to the page that explains it
	Title     string         `json:"title"`
	Status    int            `json:"status"`
	Detail    string         `json:"detail"`
	RequestID string         `json:"request_id,omitempty"`
	Errors    []ProblemField `json:"errors,omitempty"`
}

// ProblemField is one thing wrong with one input; exactly one of Pointer, Parameter and Header is set.
type ProblemField struct {
	Pointer   *string `json:"pointer,omitempty"` // RFC 6901; "" is the whole body
	Parameter string  `json:"parameter,omitempty"`
	Header    string  `json:"header,omitempty"`
	Code      string  `json:"code"`
	Detail    string  `json:"detail"`
	Allowed   any     `json:"allowed,omitempty"`
	Got       string  `json:"got,omitempty"`
}

// problemType is what a problem of one sort always has, and what its page says.
type problemType struct {
	slug, title  string
	status       int
	retryAfter   string // seconds, "" = no such header
	cause, fix   string
	requestLine  string // an example of a request that gets this answer
	exampleField *ProblemField
}

// problemOf is the one table from kinds to problems. A few kinds share a type where the caller's
// remedy is the same.
var problemOf = map[errs.Kind]*problemType{
	errs.KindInternal:           &problemInternal,
	errs.KindSyntax:             &problemInvalid,
	errs.KindImpossible:         &problemImpossible,
	errs.KindNotFound:           &problemNotFound,
	errs.KindUnauthenticated:    &problemUnauthenticated,
	errs.KindForbidden:          &problemForbidden,
	errs.KindConflict:           &problemConflict,
	errs.KindInProgress:         &problemConflict,
	errs.KindPreconditionNeeded: &problemPreconditionNeeded,
	errs.KindPreconditionFailed: &problemPreconditionFailed,
	errs.KindTooLarge:           &problemTooLarge,
	errs.KindMediaType:          &problemMediaType,
	errs.KindMethod:             &problemMethod,
	errs.KindNotAcceptable:      &problemNotAcceptable,
	errs.KindRateLimited:        &problemRateLimited,
	errs.KindUnavailable:        &problemUnavailable,
	errs.KindTimeout:            &problemUnavailable,
	errs.KindStorageFull:        &problemUnavailable,
}

// problemFor classifies err. An error that nobody classified is a fault of ours and shows neutral text only.
func problemFor(err error) (*problemType, *errs.Error) {
	var known *errs.Error
	if !errors.As(err, &known) {
		known = errs.New(errs.KindInternal, "")
	}
	kind := problemOf[known.Kind]
	if kind == nil {
		kind = &problemInternal
	}
	if kind == &problemInternal {
		known = errs.New(errs.KindInternal, "Something went wrong on our side. The request id finds it in the log.")
	}
	return kind, known
}

// newProblem builds the document for err.
func newProblem(err error, requestID string) (*Problem, *problemType) {
	kind, known := problemFor(err)
	p := &Problem{Type: "/problems/" + kind.slug, Title: kind.title, Status: kind.status, Detail: sentence(known.Detail), RequestID: requestID}
	for _, f := range known.Fields {
		p.Errors = append(p.Errors, problemField(f))
	}
	if p.Detail == "" {
		p.Detail = detailOf(known.Fields, kind)
	}
	return p, kind
}

// detailOf says in one sentence what the fields say one by one.
func detailOf(fields []errs.Field, kind *problemType) string {
	switch len(fields) {
	case 0:
		return kind.cause
	case 1:
		return sentence(fields[0].Detail)
	}
	return "Several inputs are wrong; errors lists each of them."
}

func problemField(f errs.Field) ProblemField {
	out := ProblemField{Parameter: f.Parameter, Header: f.Header, Code: f.Code, Detail: sentence(f.Detail), Allowed: allowedOf(f.Allowed), Got: shorten(f.Got)}
	if f.Parameter == "" && f.Header == "" {
		pointer := f.Pointer
		out.Pointer = &pointer
	}
	return out
}

// allowedOf gives a range the one form that the contract has for it.
func allowedOf(v any) any {
	switch span := v.(type) {
	case [2]int:
		return bounds(float64(span[0]), float64(span[1]))
	case [2]float64:
		return bounds(span[0], span[1])
	}
	return v
}

// sentence gives a detail from below its capital and its full stop.
func sentence(s string) string {
	if s == "" {
		return s
	}
	end := "."
	if strings.HasSuffix(s, ".") || strings.HasSuffix(s, "?") {
		end = ""
	}
	if word, _, _ := strings.Cut(s, " "); strings.Contains(word, "_") { // a name stays as it is written
		return s + end
	}
	first, size := utf8.DecodeRuneInString(s)
	return string(unicode.ToUpper(first)) + s[size:] + end
}

// shorten keeps what was sent short enough to read.
func shorten(s string) string {
	const most = 60
	runes := []rune(s)
	if len(runes) <= most {
		return s
	}
	return string(runes[:most]) + "…"
}

// fail writes err as a problem and logs it once when it is ours.
func (s *server) fail(c *gin.Context, err error) {
	if c.Writer.Written() {
		s.logFault(c, "the answer had already begun", err)
		return
	}
	p, kind := newProblem(err, requestID(c))
	if kind.status >= http.StatusInternalServerError {
		s.logFault(c, "request failed", err)
	}
	h := c.Writer.Header()
	h["Cache-Control"] = cacheNever
	var known *errs.Error
	if errors.As(err, &known) && known.WaitS > 0 {
		h.Set("Retry-After", strconv.Itoa(known.WaitS))
	}
	if kind.retryAfter != "" && h["Retry-After"] == nil {
		h.Set("Retry-After", kind.retryAfter)
	}
	if kind == &problemUnauthenticated && h["Www-Authenticate"] == nil {
		h["Www-Authenticate"] = challenge
	}
	body, encodeErr := encodeJSON(p)
	if encodeErr != nil { // an Allowed value that JSON cannot hold: a fault of ours
		s.logFault(c, "problem cannot be encoded", encodeErr)
		p.Errors = nil
		body, _ = encodeJSON(p)
	}
	send(c, p.Status, typeProblem, body)
}

func (s *server) logFault(c *gin.Context, what string, err error) {
	s.Log.ErrorContext(c.Request.Context(), what, "request_id", requestID(c), "route", c.FullPath(), "error", err.Error())
}

// problemTypes lists the types once each, by slug.
func problemTypes() []*problemType {
	seen := map[*problemType]bool{}
	var all []*problemType
	for _, kind := range errs.Kinds() {
		if t := problemOf[kind]; t != nil && !seen[t] {
			seen[t] = true
			all = append(all, t)
		}
	}
	slices.SortFunc(all, func(a, b *problemType) int {
		if a.slug < b.slug {
			return -1
		}
		return 1
	})
	return all
}
