package httpapi

import (
	"bytes"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"strings"

	"statorbook/internal/catalog"
	"statorbook/internal/errs"

	"github.com/gin-gonic/gin"
)

// Page sizes of every list.
const (
	pageSizeDefault = catalog.DefaultPageSize
	pageSizeMax     = catalog.MaxPageSize
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
	refusal := badToken(token)
	return "", &refusal
}

func badToken(token string) errs.Field {
	return errs.Field{
		Parameter: "page_token", Code: codePageToken, Got: printable(token),
		Detail: "This token does not belong to this list with these filters. Take next_page_token from the page before, and change no filter between pages.",
	}
}

// paramsPage are the query parameters of a list without filters.
var paramsPage = []string{"page_size", "page_token"}

// readPage reads page_size and page_token of the list at path; after is "" on the first page.
func (s *server) readPage(q *query, path string) (size int, after string) {
	size = q.pageSize()
	if token, sent := q.values["page_token"]; sent {
		last, refusal := s.readToken(pageScope(q, path), token)
		if refusal != nil {
			q.fields, q.form = append(q.fields, *refusal), true
		}
		after = last
	}
	return size, after
}

// pageScope is what a token is bound to: the list and its filters. The size of a page may change on the way.
func pageScope(q *query, path string) string {
	return path + "?" + q.filters("page_size", "page_token")
}

// pageEnd is the end of a page: how to get the next one. The zero value is the end of the list.
type pageEnd struct {
	Token string `json:"next_page_token,omitempty"`
	Next  string `json:"next,omitempty"`
}

// pageEnd makes the end of a page whose last item has the key last, and says it in Link too.
func (s *server) pageEnd(c *gin.Context, q *query, last string) pageEnd {
	path := c.Request.URL.Path
	token := s.pageToken(pageScope(q, path), last)
	end := pageEnd{Token: token, Next: nextLink(path, q.filters("page_token"), token)}
	c.Writer.Header().Set("Link", "<"+end.Next+`>; rel="next"`)
	return end
}

// write adds the members of e to an object that is being written.
func (e pageEnd) write(b *bytes.Buffer) error {
	if e.Token == "" {
		return nil
	}
	members, err := encodeJSON(e)
	if err != nil {
		return err
	}
	b.WriteByte(',')
	b.Write(members[1 : len(members)-2]) // without the braces and the newline
	return nil
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
