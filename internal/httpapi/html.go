package httpapi

import (
	"bytes"
	"cmp"
	"html/template"
	"io/fs"
	"mime"
	"net/http"
	"path"
	"strings"
	"sync"

	"statorbook/internal/errs"
	"statorbook/internal/web"

	"github.com/gin-gonic/gin"
)

// offersHTML is what a page offers.
var offersHTML = []string{"text/html"}

// lineEnds makes commas of the line ends of a list that was typed into a form, one entry a line.
var lineEnds = strings.NewReplacer("%0D%0A", "%2C", "%0D", "%2C", "%0A", "%2C")

// policyPage lets a page load style, script and drawings from here alone, send its forms here, and
// be framed by nobody.
var policyPage = []string{"default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"}

// pageRoutes lists the pages for people. They are no operations of the contract: a page may change
// its look and its addresses, and what it shows comes from the same calls as the operations. A test
// holds that each of them is tested.
func (s *server) pageRoutes() []route {
	return []route{
		{http.MethodGet, "/assets/:name", []string{"v"}, offersAssets, s.asset},
		{http.MethodGet, "/find", paramsFind, offersHTML, s.find},
		{http.MethodGet, "/find/check", paramsFind, offersHTML, s.findCheck},
		{http.MethodGet, "/find/winding", paramsFind, offersHTML, s.proposalPage},
		{http.MethodGet, "/find/sheet", paramsFind, offersHTML, s.proposalSheet},
		{http.MethodGet, "/windings/:id", nil, offersHTML, s.windingPage},
		{http.MethodGet, "/windings/:id/sheet", nil, offersHTML, s.windingSheet},
		{http.MethodGet, "/wires", paramsWirePage, offersHTML, s.wirePage},
		{http.MethodGet, "/wires/replace", paramsReplace, offersHTML, s.replacePage},
		{http.MethodGet, "/wires/scrap", paramsScrap, offersHTML, s.scrapPage},
		{http.MethodGet, "/data-sheet", paramsSheets, offersHTML, s.dataSheet},
		{http.MethodGet, "/vetting-desk", nil, offersHTML, s.vettingDesk},
	}
}

// navEntry is a page that the head of every page leads to.
type navEntry struct{ Path, Text string }

// navigation lists the entries of the head in order; Text is a key of the text catalogue.
var navigation = []navEntry{
	{"/", "nav.find"}, {"/wires", "nav.wires"}, {"/wires/replace", "nav.replace"}, {"/wires/scrap", "nav.scrap"},
	{"/data-sheet", "nav.sheet"}, {"/vetting-desk", "nav.desk"}, {"/docs", "nav.docs"},
}

// pageView is what a page's template gets.
type pageView struct {
	Title string
	Nav   string // path of its entry in the head, "" = none
	Class string // of the body, for the style
	Body  any    // what the page's own template shows

	Status  int    // of the answer, 0 = 200
	Version string // of the program, set by renderPage

	Strangers []string // names in the address that the page does not read, set by sendHTML
}

// keyStrangers is where run leaves a query's strangers for sendHTML.
const keyStrangers = "strangers"

// pages are the parsed templates and texts, the same for all servers.
type pages struct {
	byName map[string]*template.Template
	texts  texts
	assets map[string]asset
}

// asset is a file that a page loads; its tag stands in the address, so that it may be kept forever.
type asset struct {
	document
	tag string
}

// loadPages parses the embedded files once.
var loadPages = sync.OnceValues(func() (*pages, error) {
	p := &pages{byName: map[string]*template.Template{}, assets: map[string]asset{}}
	var err error
	if p.texts, err = readTexts("en"); err != nil {
		return nil, err
	}
	if err := p.readAssets(); err != nil {
		return nil, err
	}
	shared, err := template.New("shared").Funcs(p.functions()).ParseFS(web.Files, "templates/layout.html", "templates/parts*.html")
	if err != nil {
		return nil, err
	}
	names, err := fs.Glob(web.Files, "templates/*.html")
	if err != nil {
		return nil, err
	}
	for _, name := range names {
		base := path.Base(name)
		if base == "layout.html" || strings.HasPrefix(base, "parts") {
			continue
		}
		page, err := template.Must(shared.Clone()).ParseFS(web.Files, name)
		if err != nil {
			return nil, err
		}
		p.byName[strings.TrimSuffix(base, ".html")] = page
	}
	return p, nil
})

func (p *pages) readAssets() error {
	files, err := fs.ReadDir(web.Files, "assets")
	if err != nil {
		return err
	}
	for _, f := range files {
		body, err := fs.ReadFile(web.Files, "assets/"+f.Name())
		if err != nil {
			return err
		}
		kind := []string{mime.TypeByExtension(path.Ext(f.Name()))}
		p.assets[f.Name()] = asset{document{body: body, contentType: kind, cache: cacheForever}, tagOf(body)}
	}
	return nil
}

// cacheForever is for addresses that change with their content.
var cacheForever = []string{"public, max-age=31536000, immutable"}

var offersAssets = []string{"text/css", "text/javascript", "image/svg+xml"}

// asset answers GET /assets/{name}: a style, a script or a drawing of the pages.
func (s *server) asset(c *gin.Context, q *query) error {
	if err := q.err(); err != nil {
		return err
	}
	a, found := s.pages.assets[c.Param("name")]
	if !found {
		return errs.New(errs.KindNotFound, "There is no such file.")
	}
	d := a.document
	if q.values["v"] != a.tag { // an address from an older page, or typed
		d.cache = cacheCheck
	}
	return sendDocument(c, d)
}

// sendHTML answers with the page of that name.
func (s *server) sendHTML(c *gin.Context, name string, view pageView) error {
	view.Strangers = c.GetStringSlice(keyStrangers)
	body, err := s.renderPage(name, view)
	if err != nil {
		return err
	}
	c.Writer.Header()["Content-Security-Policy"] = policyPage
	if view.Status != 0 {
		c.Writer.Header()["Cache-Control"] = cacheNever
		send(c, view.Status, typeHTML, body)
		return nil
	}
	return sendDocument(c, document{body: body, cache: cacheCheck, contentType: typeHTML})
}

// renderPage fills the page of that name. A failing template is a fault of ours, found before a byte is sent.
func (s *server) renderPage(name string, view pageView) ([]byte, error) {
	var b bytes.Buffer
	page := s.pages.byName[name]
	if page == nil {
		return nil, errs.New(errs.KindInternal, "no page "+name)
	}
	view.Version = s.Version
	if err := page.ExecuteTemplate(&b, "layout", view); err != nil {
		return nil, errs.Wrap(errs.KindInternal, "", err)
	}
	return b.Bytes(), nil
}

// errorBody is what an error page shows.
type errorBody struct {
	Problem *Problem
	Fix     string
}

// failPage writes err as a page that names field and remedy. It is fail for people.
func (s *server) failPage(c *gin.Context, err error) {
	if s.pages == nil {
		s.fail(c, err)
		return
	}
	p, kind := newProblem(err, requestID(c))
	body, renderErr := s.renderPage("error", pageView{Title: p.Title, Body: errorBody{p, cmp.Or(s.pages.texts["fix."+kind.slug], kind.fix)}})
	if c.Writer.Written() || renderErr != nil {
		s.fail(c, err)
		return
	}
	if kind.status >= http.StatusInternalServerError {
		s.logFault(c, "request failed", err)
	}
	h := c.Writer.Header()
	h["Cache-Control"], h["Content-Security-Policy"] = cacheNever, policyPage
	if kind.retryAfter != "" {
		h.Set("Retry-After", kind.retryAfter)
	}
	send(c, p.Status, typeHTML, body)
}

// failAsWanted writes err as a page for browsers and as a problem for all others, where no route has chosen yet.
func (s *server) failAsWanted(c *gin.Context, err error) {
	// A browser names HTML and prefers it to JSON.
	if negotiate(c.Request.Header.Get("Accept"), offersPage) == 1 {
		s.failPage(c, err)
		return
	}
	s.fail(c, err)
}
