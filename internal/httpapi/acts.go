package httpapi

import (
	"crypto/sha256"
	"io"
	"net/http"
	"regexp"
	"strconv"
	"strings"

	"statorbook/internal/catalog"
	"statorbook/internal/errs"
	"statorbook/internal/jsonin"

	"github.com/gin-gonic/gin"
)

// The codes of requests that change something.
const (
	codeNeedsOnceKey = "IDEMPOTENCY_KEY_REQUIRED"
	codeOnceKey      = "BAD_IDEMPOTENCY_KEY"
	codeNeedsMatch   = "IF_MATCH_REQUIRED"
)

// onceKey is what an Idempotency-Key may hold, between quotes or without.
var onceKey = regexp.MustCompile(`^[\x21\x23-\x5b\x5d-\x7e]{1,200}$`)

// needKey refuses a caller without a key before anything that he sent is looked at, so that he learns
// nothing of what is here.
func (s *server) needKey(c *gin.Context) error {
	who, err := s.actor(c)
	if err == nil && who.Anonymous() {
		err = catalog.Permit(who.Actor, catalog.ActCreate, catalog.Object{})
	}
	return err
}

// act says who asks for a change, and how the request is told from others. A request that stores
// something needs an Idempotency-Key; repeated with the same key it changes nothing more.
func (s *server) act(c *gin.Context, body []byte) (catalog.Act, error) {
	who, err := s.actor(c)
	if err != nil {
		return catalog.Act{}, err
	}
	a := catalog.Act{Actor: who.Actor, KeyID: who.KeyID, RequestID: requestID(c)}
	if c.Request.Method != http.MethodPost || who.Anonymous() { // without a key nothing will be stored
		return a, nil
	}
	sent := c.Request.Header["Idempotency-Key"]
	if len(sent) == 0 {
		return a, errs.New(errs.KindSyntax, "", errs.Field{Header: "Idempotency-Key", Code: codeNeedsOnceKey,
			Detail: "Send an Idempotency-Key, a fresh one for each new request (a UUID will do), so that a repeated request counts once."})
	}
	a.Once = sent[0]
	if n := len(a.Once); n > 2 && a.Once[0] == '"' && a.Once[n-1] == '"' {
		a.Once = a.Once[1 : n-1]
	}
	if len(sent) > 1 || !onceKey.MatchString(a.Once) {
		return a, errs.New(errs.KindSyntax, "", errs.Field{Header: "Idempotency-Key", Code: codeOnceKey,
			Detail: "An Idempotency-Key is 1 to 200 printable ASCII characters without spaces, in double quotes or without.", Got: printable(sent[0])})
	}
	h := sha256.New()
	for _, part := range []string{c.Request.Method, "\n", c.Request.URL.Path, "\n"} {
		_, _ = io.WriteString(h, part)
	}
	_, _ = h.Write(body)
	a.Request = catalog.Hash(h.Sum(nil))
	return a, nil
}

// draftTag is the tag of a draft: its version tells all changes apart.
func draftTag(version int) string { return "draft-" + strconv.Itoa(version) }

// heldVersions reads If-Match by the strong comparison of RFC 9110 section 8.8.3.2: the versions of
// the draft that the caller takes, nil when he takes any or says nothing. A tag of something else
// gives a version that never was.
func heldVersions(h http.Header) []int {
	var held []int
	for _, line := range h["If-Match"] {
		for part := range strings.SplitSeq(line, ",") {
			part = strings.TrimSpace(part)
			if part == "*" {
				return nil
			}
			number, isDraft := strings.CutPrefix(strings.TrimSuffix(strings.Trim(part, `"`), gzipSuffix), "draft-")
			version, err := strconv.Atoi(number)
			if !isDraft || err != nil || version < 1 || !strings.HasPrefix(part, `"`) {
				version = -1
			}
			held = append(held, version)
		}
	}
	return held
}

// explainMatch says why If-Match met nothing if it holds what no draft can have: a tag without its quotes,
// as the body shows it, or a weak one.
func explainMatch(h http.Header, err error) error {
	if errs.KindOf(err) != errs.KindPreconditionFailed {
		return err
	}
	for _, line := range h["If-Match"] {
		for part := range strings.SplitSeq(line, ",") {
			if part = strings.TrimSpace(part); part != "" && part != "*" && !strings.HasPrefix(part, `"`) {
				return errs.New(errs.KindPreconditionFailed, "", errs.Field{Header: "If-Match", Code: jsonin.CodeFormat, Got: printable(part),
					Detail: `Send the ETag header as it came, in its double quotes: "draft-3". Without them, or as a weak tag (W/), it matches nothing.`})
			}
		}
	}
	return err
}

// needMatch refuses a change without If-Match.
func needMatch(h http.Header) error {
	if len(h["If-Match"]) > 0 {
		return nil
	}
	return errs.New(errs.KindPreconditionNeeded, "", errs.Field{Header: "If-Match", Code: codeNeedsMatch,
		Detail: "Read the draft, and send its ETag as If-Match, so that nobody's change is overwritten unseen."})
}

// readChange reads the body of a change as it was sent and into the struct that into points to. An
// act without particulars needs no body.
func readChange(c *gin.Context, q *query, into any, optional bool) ([]byte, error) {
	if optional && c.Request.ContentLength == 0 && c.Request.Header.Get("Content-Type") == "" {
		return nil, q.err()
	}
	body, err := readBody(c, bodyMax)
	if err != nil {
		return nil, err
	}
	return body, joinMistakes(q.err(), soleDetail(jsonin.Decode(body, into, jsonin.Single)))
}

// sendReply answers a change.
func sendReply(c *gin.Context, r catalog.Reply) {
	h := c.Writer.Header()
	h["Cache-Control"] = cacheNever
	h.Add("Vary", "Authorization")
	if r.Location != "" {
		h.Set("Location", r.Location)
	}
	if r.Tag != "" {
		h["Etag"] = []string{quoteTag(r.Tag)}
	}
	send(c, r.Status, typeJSON, r.Body)
}

// pathOf is where records of a kind live.
func pathOf(kind catalog.Kind) string {
	if kind == catalog.KindFamily {
		return "/v1/stator-families"
	}
	return "/v1/windings"
}

// nameOf calls a record of a kind by its name.
func nameOf(kind catalog.Kind) string {
	if kind == catalog.KindFamily {
		return "stator family"
	}
	return "winding record"
}

// viewRecord is the one form of a record of either kind, with its tag.
func viewRecord(record catalog.Record) (view any, tag string, err error) {
	switch r := record.(type) {
	case catalog.Family:
		v, err := viewFamily(r)
		return v, v.ETag, err
	case catalog.Winding:
		v, err := viewWinding(r)
		return v, v.ETag, err
	}
	return nil, "", errs.New(errs.KindInternal, "this is no record")
}

// tagRecord sets the tag of a record's view. A draft's tag is its version.
func tagRecord(record catalog.Record, view any, tag *string) error {
	if version := record.Standing().Version; version > 0 {
		*tag = draftTag(version)
		return nil
	}
	return tagged(view, tag)
}

// renderAs makes the answer to a change out of the record.
func renderAs(kind catalog.Kind, status int) catalog.Render {
	return func(record catalog.Record) (catalog.Reply, error) {
		view, tag, err := viewRecord(record)
		if err != nil {
			return catalog.Reply{}, err
		}
		body, err := encodeJSON(view)
		reply := catalog.Reply{Status: status, Tag: tag, Body: body}
		if status == http.StatusCreated {
			reply.Location = pathOf(kind) + "/" + record.RecordID()
		}
		return reply, err
	}
}

// aboutRecord gives "not found" of a store the words of the address.
func aboutRecord(kind catalog.Kind, ref string, err error) error {
	if errs.KindOf(err) == errs.KindNotFound {
		return noRecord(nameOf(kind), ref)
	}
	return err
}
