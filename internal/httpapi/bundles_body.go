package httpapi

import (
	"bytes"
	"compress/gzip"
	"errors"
	"io"
	"mime"
	"net/http"
	"strings"

	"statorbook/internal/errs"

	"github.com/gin-gonic/gin"
)

// codeGzip marks a body that is not the gzip that it says it is.
const codeGzip = "BAD_GZIP"

// readBundle gives the body of an import as it was sent, and the bundle in it. This is the one address
// that takes gzip. What is unpacked is bounded while it is unpacked, so that a small body cannot fill
// the memory.
func readBundle(c *gin.Context) (sent []byte, text io.Reader, err error) {
	packed, err := checkBundleType(c.Request.Header)
	if err != nil {
		return nil, nil, err
	}
	if c.Request.ContentLength > importMax {
		return nil, nil, tooLarge(importMax)
	}
	sent, err = io.ReadAll(http.MaxBytesReader(c.Writer, c.Request.Body, importMax))
	var over *http.MaxBytesError
	switch {
	case errors.As(err, &over):
		return nil, nil, tooLarge(importMax)
	case err != nil:
		return nil, nil, errs.Wrap(errs.KindSyntax, "The body broke off.", err)
	case !packed:
		return sent, bytes.NewReader(sent), nil
	}
	unpacked, err := gunzip(sent)
	return sent, bytes.NewReader(unpacked), err
}

// gunzip undoes gzip. Bytes behind the packed data that are no gzip are refused.
func gunzip(sent []byte) ([]byte, error) {
	z, err := gzip.NewReader(bytes.NewReader(sent))
	var text []byte
	if err == nil {
		text, err = io.ReadAll(io.LimitReader(z, importMax+1))
	}
	switch {
	case len(text) > importMax:
		return nil, tooLarge(importMax)
	case err != nil:
		return nil, errs.New(errs.KindSyntax, "", errs.Field{Header: "Content-Encoding", Code: codeGzip, Detail: "The body is not whole gzip (RFC 1952)."})
	}
	return text, nil
}

// checkBundleType takes JSON Lines in UTF-8, as it is or in gzip.
func checkBundleType(h http.Header) (packed bool, err error) {
	var fields []errs.Field
	sent := h.Get("Content-Type")
	media, params, bad := mime.ParseMediaType(sent)
	charset, named := params["charset"]
	if bad != nil || media != offersBundle[0] || named && !strings.EqualFold(charset, "utf-8") || len(h["Content-Type"]) > 1 {
		fields = append(fields, errs.Field{Header: "Content-Type", Code: codeBodyType, Detail: "Send the bundle as application/x-ndjson.", Allowed: offersBundle, Got: sent})
	}
	coding := strings.ToLower(strings.Join(h["Content-Encoding"], ", "))
	if coding != "" && coding != "identity" && coding != "gzip" {
		fields = append(fields, errs.Field{Header: "Content-Encoding", Code: codeBodyCoding, Detail: "Send the bundle as it is, or in gzip.", Allowed: []string{"identity", "gzip"}, Got: coding})
	}
	if len(fields) > 0 {
		return false, errs.New(errs.KindMediaType, "", fields...)
	}
	return coding == "gzip", nil
}
