package httpapi

import (
	"bytes"
	"html/template"

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
	return sendPage(c, q, problemListPage, list)
}

// problemPage explains one problem type; the type member of a problem leads here.
func (s *server) problemPage(c *gin.Context, q *query) error {
	slug := c.Param("slug")
	for _, t := range problemTypes() {
		if t.slug == slug {
			return sendPage(c, q, problemTypePage, infoOf(t))
		}
	}
	return errs.New(errs.KindNotFound, "", errs.Field{
		Parameter: "slug", Code: codeUnknownID, Detail: "There is no such problem type. GET /problems lists them.", Got: printable(slug),
	})
}

// sendPage answers with v as JSON or through page as HTML, as the caller prefers.
func sendPage(c *gin.Context, q *query, page *template.Template, v any) error {
	if err := q.err(); err != nil {
		return err
	}
	if offersPage[q.offer] == "application/json" {
		return sendTagged(c, v, "", cacheReference)
	}
	var b bytes.Buffer
	if err := page.Execute(&b, v); err != nil {
		return errs.Wrap(errs.KindInternal, "", err)
	}
	sendDocument(c, document{body: b.Bytes(), cache: cacheReference, contentType: typeHTML})
	return nil
}

// The pages need no script, no style and nothing from elsewhere.
var (
	problemTypePage = template.Must(template.New("type").Parse(`<!doctype html>
<html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width"><title>{{.Title}}</title></head>
<body><main><h1>{{.Title}}</h1>
<p>Type <code>{{.Type}}</code>, HTTP status {{.Status}}.</p>
<h2>Cause</h2><p>{{.Cause}}</p>
<h2>What to do</h2><p>{{.Fix}}</p>
<h2>Example</h2><p>Request: <code>{{.Example.Request}}</code></p><p>Answer: {{.Example.Problem.Detail}}</p>
<p><a href="/problems">All problem types</a></p></main></body></html>
`))
	problemListPage = template.Must(template.New("list").Parse(`<!doctype html>
<html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width"><title>Problem types</title></head>
<body><main><h1>Problem types</h1><ul>
{{range .Items}}<li><a href="{{.Type}}">{{.Title}}</a> (HTTP status {{.Status}})</li>
{{end}}</ul></main></body></html>
`))
)
