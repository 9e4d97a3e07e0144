// Package httpapi is the JSON interface and the bench pages: routes, request and response structs,
// and the manners of HTTP (problems, tags, paging, limits). A handler reads its parameters, asks
// storage, asks the domain and encodes; trade knowledge lives below. The contract it keeps is
// openapi/. The pages (html*.go) fill the templates of internal/web with what the same domain calls say.
package httpapi

import (
	"context"
	"log/slog"
	"net/http"
	"slices"
	"sync"
	"time"

	"statorbook/internal/bundle"
	"statorbook/internal/errs"
	"statorbook/internal/insulation"
	"statorbook/internal/match"
	"statorbook/internal/wire"

	"github.com/gin-gonic/gin"
)

// Snapshot is the reference data of one catalogue revision, held in memory and never changed.
type Snapshot struct {
	Revision  int64 // of the catalogue that it was built from
	Wires     *wire.Table
	Classes   []insulation.Class
	Materials []insulation.Material
	Index     *match.Index
	BuiltAt   time.Time

	once      sync.Once
	encoded   *encodedTables // the reference tables as bytes, made on first use
	encodeErr error
}

// Config is what the interface needs from outside. All fields are required unless they say otherwise.
type Config struct {
	Snapshot   func() *Snapshot // nil result: nothing is loaded yet
	Families   FamilyStore
	Windings   WindingStore
	Drafts     DraftStore // drafts, workflow and witnesses may be nil in tests of what needs no key
	Workflow   WorkflowStore
	Witnesses  WitnessStore
	Institutes InstituteStore
	Sign       func(bundle.Statement) ([]byte, error)                                           // signs with the key of the statement's institute; nil: there are no signing keys here
	Seal       func(institute string) (keyID string, end func(*bundle.Writer) error, err error) // ends a bundle with the signature of an institute; nil: none is signed
	Refresh    func(context.Context)                                                            // has the snapshot follow a change that was just made; nil: it follows by itself
	Withheld   func() *Withheld                                                                 // records that matches must not show any more; nil: none
	Keys       KeyStore                                                                         // nil: there are no keys, and none is looked at
	Changes    ChangeStore
	Bundles    BundleStore  // nil: there are no bundles here
	Bell       *Bell        // rung when the change feed has grown
	Ready      func() error // why the service cannot answer, nil if it can; called often, so it must be cheap
	Log        *slog.Logger
	Version    string           // of the program, for / and /v1/meta
	NewID      func() string    // a fresh request id
	Now        func() time.Time // the clock
	PageKey    []byte           // secret that binds page tokens; the same in all processes that share a database
	Quota      int              // requests a minute of one key, or of one address without a key; 0 = no limit
}

// server holds the configuration for the handlers.
type server struct {
	Config
	units map[string]unitInfo // of the contract's fields
	pages *pages
	gate  *gate         // nil: everybody is let in as nobody
	bulk  chan struct{} // places for bundles
}

// New returns the handler of the whole interface.
func New(cfg Config) (http.Handler, error) {
	units, err := contractUnits(contract.body)
	if err != nil {
		return nil, err
	}
	pages, err := loadPages()
	if err != nil {
		return nil, err
	}
	s := &server{cfg, units, pages, newGate(cfg.Quota), make(chan struct{}, bulkAtOnce)}
	engine := s.engine(slices.Concat(s.routes(), s.pageRoutes(), s.docsRoutes()))
	compressed, err := compress(engine)
	if err != nil {
		return nil, err
	}
	return headAsGet(compressed), nil
}

// engine sets gin to say no in our own words: nothing is redirected, no proxy header is believed.
func (s *server) engine(routes []route) *gin.Engine {
	gin.SetMode(gin.ReleaseMode)
	e := gin.New()
	e.RedirectTrailingSlash = false
	e.RedirectFixedPath = false
	e.HandleMethodNotAllowed = true
	e.ForwardedByClientIP = false
	e.UseEscapedPath = false
	_ = e.SetTrustedProxies(nil) // fails only on a malformed address
	e.Use(s.observe, s.admit)
	e.NoRoute(s.notFound)
	e.NoMethod(s.wrongMethod)
	for _, r := range routes {
		e.Handle(r.method, r.path, s.run(r))
	}
	return e
}

// run makes a gin handler of a route: what is accepted, which parameters there are, and one writer for failures.
func (s *server) run(r route) gin.HandlerFunc {
	offers := r.offers
	if offers == nil {
		offers = offersJSON
	}
	return func(c *gin.Context) {
		accept := c.Request.Header.Get("Accept")
		offer := negotiate(accept, offers)
		if len(offers) > 1 {
			c.Writer.Header().Add("Vary", "Accept")
		}
		if offer < 0 {
			s.fail(c, notAcceptable(accept, offers))
			return
		}
		if r.stores() {
			if err := s.needKey(c); err != nil {
				s.fail(c, err)
				return
			}
		}
		raw, fail := c.Request.URL.RawQuery, s.fail
		page := offers[offer] == offersHTML[0]
		if page {
			raw, fail = lineEnds.Replace(raw), s.failPage
		}
		q := newQuery(raw, r.params, page)
		q.offer = offer
		if q.strangers != nil {
			c.Set(keyStrangers, q.strangers)
		}
		if err := r.handle(c, q); err != nil {
			fail(c, err)
		}
	}
}

// snapshot gives the tables in memory, or says that they are still being loaded.
func (s *server) snapshot() (*Snapshot, error) {
	if snap := s.Snapshot(); snap != nil {
		return snap, nil
	}
	return nil, errs.New(errs.KindUnavailable, "The tables are still being loaded.")
}

// NewServer returns an http.Server around h with the time and size limits that keep a slow or
// hostile peer from holding resources.
func NewServer(h http.Handler) *http.Server {
	return &http.Server{
		Handler:           h,
		ReadHeaderTimeout: 5 * time.Second,
		ReadTimeout:       30 * time.Second,
		WriteTimeout:      60 * time.Second,
		IdleTimeout:       60 * time.Second,
		MaxHeaderBytes:    16 << 10,
	}
}
