package httpapi

import (
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"strings"

	"statorbook/internal/errs"
)

// Page sizes of every list.
const (
	pageSizeDefault = 50
	pageSizeMax     = 200
)

// macLen is how many bytes of the HMAC a page token carries.
const macLen = 9

// pageToken packs the key of the last item of a page. The token is bound by HMAC to the list and
// its filters (scope), so that it cannot be used with others or made up.
func (s *server) pageToken(scope, last string) string {
	return base64.RawURLEncoding.EncodeToString(append(s.pageMAC(scope, last), last...))
}

// readToken gives back the key in token, or a refusal that names the parameter.
func (s *server) readToken(scope, token string) (string, *errs.Field) {
	raw, err := base64.RawURLEncoding.Strict().DecodeString(token)
	if err == nil && len(raw) > macLen {
		last := string(raw[macLen:])
		if hmac.Equal(raw[:macLen], s.pageMAC(scope, last)) {
			return last, nil
		}
	}
	return "", &errs.Field{
		Parameter: "page_token", Code: codePageToken, Got: token,
		Detail: "This token does not belong to this list with these filters. Take next_page_token from the page before, and change no filter between pages.",
	}
}

func (s *server) pageMAC(scope, last string) []byte {
	mac := hmac.New(sha256.New, s.PageKey)
	mac.Write([]byte(scope))
	mac.Write([]byte{0})
	mac.Write([]byte(last))
	return mac.Sum(nil)[:macLen]
}

// nextLink is the address of the page after token, as a relative reference with absolute path.
func nextLink(path, filters, token string) string {
	var b strings.Builder
	b.WriteString(path)
	b.WriteByte('?')
	if filters != "" {
		b.WriteString(filters)
		b.WriteByte('&')
	}
	b.WriteString("page_token=")
	b.WriteString(token)
	return b.String()
}
