package httpapi

import (
	"errors"
	"io"
	"mime"
	"net/http"
	"strconv"
	"strings"

	"statorbook/internal/errs"
	"statorbook/internal/jsonin"

	"github.com/gin-gonic/gin"
)

// The byte limits of a request body.
const (
	bodyMax  = 64 << 10 // one question
	batchMax = 2 << 20  // a batch

	batchItems = 1000 // items of a batch, told in /v1/meta
)

// decodeBody reads the body into the struct that into points to, within lim. Mistakes of the query
// are named together with those of the body.
func decodeBody(c *gin.Context, q *query, into any, lim jsonin.Limits) error {
	body, err := readBody(c, int64(lim.Bytes))
	if err != nil {
		return err
	}
	return joinMistakes(q.err(), soleDetail(jsonin.Decode(body, into, lim)))
}

// joinMistakes names the mistakes of the query together with those of the body.
func joinMistakes(ofQuery, ofBody error) error {
	var a, b *errs.Error
	if errors.As(ofBody, &a) && errors.As(ofQuery, &b) {
		kind := errs.KindImpossible
		if a.Kind != errs.KindImpossible || b.Kind != errs.KindImpossible {
			kind = errs.KindSyntax
		}
		return errs.New(kind, "", append(b.Fields, a.Fields...)...)
	}
	if ofQuery != nil {
		return ofQuery
	}
	return ofBody
}

// soleDetail lets the only mistake of a body speak for the whole.
func soleDetail(err error) error {
	var known *errs.Error
	if errors.As(err, &known) && len(known.Fields) == 1 && known.Fields[0].Code != jsonin.CodeSyntax {
		return errs.New(known.Kind, known.Fields[0].Detail, known.Fields...)
	}
	return err
}

// readBody gives the bytes of a JSON body of at most most bytes. The type is checked before a byte is read.
func readBody(c *gin.Context, most int64) ([]byte, error) {
	if err := checkBodyType(c.Request.Header); err != nil {
		return nil, err
	}
	if c.Request.ContentLength > most {
		return nil, tooLarge(most)
	}
	body, err := io.ReadAll(http.MaxBytesReader(c.Writer, c.Request.Body, most))
	var over *http.MaxBytesError
	if errors.As(err, &over) {
		return nil, tooLarge(most)
	}
	if err != nil {
		return nil, errs.Wrap(errs.KindSyntax, "The body broke off.", err)
	}
	return body, nil
}

func tooLarge(most int64) error {
	n := strconv.FormatInt(most, 10)
	return errs.New(errs.KindTooLarge, "The body is over the limit of "+n+" bytes.",
		errs.Field{Code: jsonin.CodeTooLarge, Detail: "Send at most " + n + " bytes.", Allowed: bounds(0, float64(most))})
}

// checkBodyType takes application/json, in UTF-8, as it is.
func checkBodyType(h http.Header) error {
	var fields []errs.Field
	sent := h.Get("Content-Type")
	media, params, err := mime.ParseMediaType(sent)
	charset, named := params["charset"]
	if err != nil || media != "application/json" || named && !strings.EqualFold(charset, "utf-8") || len(h["Content-Type"]) > 1 {
		fields = append(fields, errs.Field{
			Header: "Content-Type", Code: codeBodyType, Detail: "Send the body as application/json.", Allowed: []string{"application/json"}, Got: sent,
		})
	}
	if coding := h.Get("Content-Encoding"); coding != "" && !strings.EqualFold(coding, "identity") {
		fields = append(fields, errs.Field{
			Header: "Content-Encoding", Code: codeBodyCoding, Detail: "Send the body without Content-Encoding.", Allowed: []string{"identity"}, Got: coding,
		})
	}
	if len(fields) > 0 {
		return errs.New(errs.KindMediaType, "", fields...)
	}
	return nil
}
