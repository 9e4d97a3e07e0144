package httpapi

import (
	"bytes"
	"encoding/json"
	"net/http"
	"strconv"
	"sync"

	"statorbook/internal/errs"

	"github.com/gin-gonic/gin"
)

// Header values that every answer shares; ready-made slices spare the hot path an allocation.
var (
	typeJSON    = []string{"application/json"}
	typeProblem = []string{"application/problem+json"}
	typeHTML    = []string{"text/html; charset=utf-8"}

	cacheNever     = []string{"no-store"}
	cacheCheck     = []string{"public, no-cache"} // keep it, but ask each time: a withdrawal must show at once
	cacheReference = []string{"public, max-age=3600, stale-while-revalidate=86400"}
)

// encodeJSON turns v into JSON with a newline at the end. A number that JSON cannot hold (NaN,
// infinity) is an error here, before any status is sent.
func encodeJSON(v any) ([]byte, error) { return encodeBetween("", v, "\n") }

// encodeBetween turns v into JSON with something before it and after it.
func encodeBetween(before string, v any, after string) ([]byte, error) {
	b := buffers.Get().(*bytes.Buffer)
	defer buffers.Put(b)
	b.Reset()
	b.WriteString(before)
	enc := json.NewEncoder(b)
	enc.SetEscapeHTML(false)
	if err := enc.Encode(v); err != nil {
		return nil, errs.Wrap(errs.KindInternal, "", err)
	}
	b.Truncate(b.Len() - 1) // the encoder's own newline
	b.WriteString(after)
	return bytes.Clone(b.Bytes()), nil
}

// buffers spares the steps of growth of an answer's buffer.
var buffers = sync.Pool{New: func() any { return new(bytes.Buffer) }}

// send writes a whole answer. It is the only place that writes a body.
func send(c *gin.Context, status int, contentType []string, body []byte) {
	h := c.Writer.Header()
	h["Content-Type"] = contentType
	h["Content-Length"] = []string{strconv.Itoa(len(body))}
	c.Writer.WriteHeader(status)
	// A failing write means that the caller has gone; nobody is left to tell.
	_, _ = c.Writer.Write(body)
}

// sendJSON answers 200 with v, not to be kept: for computed answers.
func sendJSON(c *gin.Context, v any) error {
	body, err := encodeJSON(v)
	if err != nil {
		return err
	}
	c.Writer.Header()["Cache-Control"] = cacheNever
	send(c, http.StatusOK, typeJSON, body)
	return nil
}

// document is a representation that may be kept and asked for again by its tag.
type document struct {
	body        []byte
	tag         string // without quotes; "" = computed from body
	cache       []string
	contentType []string // nil = JSON
}

// sendDocument answers 200, 304 when the caller has this version already, or refuses when he wants another one.
func sendDocument(c *gin.Context, d document) error {
	if d.tag == "" {
		d.tag = tagOf(d.body)
	}
	if err := needTag(c.Request, d.tag); err != nil {
		return err
	}
	h := c.Writer.Header()
	h["Cache-Control"] = d.cache
	if held, ok := heldTag(c.Request, d.tag); ok {
		h["Etag"] = []string{quoteTag(held)}
		c.Writer.WriteHeader(http.StatusNotModified)
		c.Writer.WriteHeaderNow()
		return nil
	}
	h["Etag"] = []string{quoteTag(d.tag)}
	if d.contentType == nil {
		d.contentType = typeJSON
	}
	send(c, http.StatusOK, d.contentType, d.body)
	return nil
}

// sendTagged encodes v and answers as sendDocument does.
func sendTagged(c *gin.Context, v any, tag string, cache []string) error {
	body, err := encodeJSON(v)
	if err != nil {
		return err
	}
	return sendDocument(c, document{body: body, tag: tag, cache: cache})
}
