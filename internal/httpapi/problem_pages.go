package httpapi

import (
	"statorbook/internal/errs"

	"github.com/gin-gonic/gin"
)

// offersPage is for addresses that speak to people as well: JSON unless HTML is preferred.
var offersPage = []string{"application/json", "text/html"}

// problemInfo tells people what a problem type means.
type problemInfo struct {
	Type    string  `json:"type"`
	Title   string  `json:"title"`
	Status  int     `json:"status"`
	Cause   string  `json:"cause"`
	Fix     string  `json:"fix"`
	Example example `json:"example"`
}

// example is a request and the problem that it gets.
type example struct {
	Request string  `json:"request"`
	Problem Problem `json:"problem"`
}

type problemList struct {
	Items []problemInfo `json:"items"`
}

func infoOf(t *problemType) problemInfo {
	p := Problem{Type: "/problems/" + t.slug, Title: t.title, Status: t.status, Detail: t.cause, RequestID: "01890a5d-ac96-774b-bcce-b302099a8057"}
	if t.exampleField != nil {
		p.Detail = t.exampleField.Detail
		p.Errors = []ProblemField{*t.exampleField}
	}
	return problemInfo{Type: p.Type, Title: t.title, Status: t.status, Cause: t.cause, Fix: t.fix, Example: example{t.requestLine, p}}
}

// problemIndex lists the problem types.
func (s *server) problemIndex(c *gin.Context, q *query) error {
	var list problemList
	for _, t := range problemTypes() {
		list.Items = append(list.Items, infoOf(t))
	}
	return s.sendPage(c, q, "problems", s.pages.texts["problems.title"], list)
}

// problemPage explains one problem type; the type member of a problem leads here.
func (s *server) problemPage(c *gin.Context, q *query) error {
	slug := c.Param("slug")
	for _, t := range problemTypes() {
		if t.slug == slug {
			return s.sendPage(c, q, "problem", t.title, infoOf(t))
		}
	}
	return errs.New(errs.KindNotFound, "", errs.Field{
		Parameter: "slug", Code: codeUnknownID, Detail: "There is no such problem type. GET /problems lists them.", Got: printable(slug),
	})
}

// sendPage answers with v as JSON or as the page of that name, as the caller prefers.
func (s *server) sendPage(c *gin.Context, q *query, page, title string, v any) error {
	if err := q.err(); err != nil {
		return err
	}
	if offersPage[q.offer] == offersJSON[0] {
		return sendTagged(c, v, "", cacheReference)
	}
	return s.sendHTML(c, page, pageView{Title: title, Body: v})
}
