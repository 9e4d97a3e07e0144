package httpapi

import (
	"bytes"
	"cmp"
	"compress/gzip"
	"io"
	"maps"
	"net/http"
	"slices"

	"statorbook/internal/errs"

	"github.com/gin-gonic/gin"
	"github.com/swaggest/swgui/v5/static"
)

// docsRoutes lists the addresses under /docs. Like the pages of pageRoutes they are no operations of
// the contract, and tests of their own look at them.
func (s *server) docsRoutes() []route {
	return []route{
		{http.MethodGet, "/docs", nil, offersHTML, s.docs},
		{http.MethodGet, "/docs/reference", nil, offersHTML, s.docsReference},
		{http.MethodGet, "/docs/renderer/:name", nil, offersAssets, s.rendererFile},
	}
}

// docsBody is what the page of quick starts, errors and units shows.
type docsBody struct {
	Problems []problemInfo
	Units    []unitRow
}

// unitRow is one unit and the fields that are given in it.
type unitRow struct {
	unitInfo
	Fields []string // in the order of the alphabet
}

// docs answers GET /docs: quick starts, errors and units, readable without JavaScript.
func (s *server) docs(c *gin.Context, q *query) error {
	if err := q.err(); err != nil {
		return err
	}
	body := docsBody{Units: unitRows(s.units)}
	for _, t := range problemTypes() {
		body.Problems = append(body.Problems, infoOf(t))
	}
	return s.sendHTML(c, "docs", pageView{Title: s.pages.texts["docs.title"], Nav: "/docs", Body: body})
}

// docsReference answers GET /docs/reference: every operation of the contract, to read and to try.
func (s *server) docsReference(c *gin.Context, q *query) error {
	if err := q.err(); err != nil {
		return err
	}
	return s.sendHTML(c, "reference", pageView{Title: s.pages.texts["reference.title"], Nav: "/docs"})
}

// unitRows turns units by field into fields by unit.
func unitRows(byField map[string]unitInfo) []unitRow {
	fields := map[unitInfo][]string{}
	for _, name := range slices.Sorted(maps.Keys(byField)) {
		fields[byField[name]] = append(fields[byField[name]], name)
	}
	var rows []unitRow
	for unit, names := range fields {
		rows = append(rows, unitRow{unit, names})
	}
	slices.SortFunc(rows, func(a, b unitRow) int {
		return cmp.Or(cmp.Compare(a.Quantity, b.Quantity), cmp.Compare(a.UCUM, b.UCUM), cmp.Compare(a.Label, b.Label))
	})
	return rows
}

// rendererTypes lists the files of the reference's renderer, which its module embeds packed.
var rendererTypes = map[string][]string{
	"swagger-ui.css":       {"text/css; charset=utf-8"},
	"swagger-ui-bundle.js": {"text/javascript; charset=utf-8"},
}

// rendererFile answers GET /docs/renderer/{name}. Whoever takes gzip gets the file as it is
// embedded, which costs nothing here and is smaller than what is packed on the way.
func (s *server) rendererFile(c *gin.Context, q *query) error {
	if err := q.err(); err != nil {
		return err
	}
	name := c.Param("name")
	kind, known := rendererTypes[name]
	if !known {
		return errs.New(errs.KindNotFound, "There is no such file.")
	}
	body, err := static.FS.ReadFile(name + ".gz")
	if err != nil {
		return errs.Wrap(errs.KindInternal, "", err)
	}
	packed := weightOf(c.Request.Header.Get("Accept-Encoding"), "gzip") > 0
	if !packed {
		if body, err = unpack(body); err != nil {
			return errs.Wrap(errs.KindInternal, "", err)
		}
	}
	d := document{body: body, tag: tagOf(body), cache: cacheReference, contentType: kind}
	if err := needTag(c.Request, d.tag); err != nil {
		return err // before the coding of the body is told
	}
	if _, held := heldTag(c.Request, d.tag); packed && !held {
		c.Writer.Header().Set("Content-Encoding", "gzip")
	}
	return sendDocument(c, d)
}

// unpack undoes gzip.
func unpack(packed []byte) ([]byte, error) {
	r, err := gzip.NewReader(bytes.NewReader(packed))
	if err != nil {
		return nil, err
	}
	return io.ReadAll(r)
}
