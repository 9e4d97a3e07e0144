package httpapi

import (
	"compress/gzip"
	"context"
	"fmt"
	"log/slog"
	"net/http"
	"regexp"
	"runtime/debug"
	"slices"
	"strings"

	"statorbook/internal/errs"

	"github.com/gin-gonic/gin"
	"github.com/klauspost/compress/gzhttp"
)

// requestIDHeader carries the request id both ways.
const requestIDHeader = "X-Request-Id"

// requestIDGrammar is what a caller's own request id may look like; anything else is replaced.
var requestIDGrammar = regexp.MustCompile(`^[A-Za-z0-9._-]{1,64}$`)

// Header values of every answer. The policy forbids a browser to load or run anything from here.
var (
	policyNothing  = []string{"default-src 'none'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"}
	noSniff        = []string{"nosniff"}
	noReferrer     = []string{"no-referrer"}
	anyOrigin      = []string{"*"}
	crossOrigin    = []string{"cross-origin"}
	exposedHeaders = []string{"ETag, Link, X-Request-Id, RateLimit, RateLimit-Policy, Retry-After, Deprecation, Sunset"}
	allowedHeaders = []string{"Accept, Authorization, Content-Type, Idempotency-Key, If-Match, If-None-Match, X-Request-Id"}
)

// requestID gives the id of the running request; observe has set it.
func requestID(c *gin.Context) string { return c.Writer.Header().Get(requestIDHeader) }

// observe gives the request its id and the answer its common headers, turns a panic into a
// problem, and logs one line: route template, never path, query or body.
func (s *server) observe(c *gin.Context) {
	begun := s.Now()
	h := c.Writer.Header()
	id := c.Request.Header.Get(requestIDHeader)
	if !requestIDGrammar.MatchString(id) {
		id = s.NewID()
	}
	h[requestIDHeader] = []string{id}
	h["X-Content-Type-Options"] = noSniff
	h["Referrer-Policy"] = noReferrer
	h["Content-Security-Policy"] = policyNothing
	h["Cross-Origin-Resource-Policy"] = crossOrigin
	h["Access-Control-Allow-Origin"] = anyOrigin
	h["Access-Control-Expose-Headers"] = exposedHeaders

	defer func() {
		if fault := recover(); fault != nil {
			s.recovered(c, fault)
		}
		s.Log.LogAttrs(c.Request.Context(), slog.LevelInfo, "request",
			slog.String("request_id", id), slog.String("method", methodOf(c.Request)), slog.String("route", c.FullPath()),
			slog.Int("status", c.Writer.Status()), slog.Int("bytes", max(c.Writer.Size(), 0)),
			slog.Int64("us", s.Now().Sub(begun).Microseconds()))
	}()
	c.Next()
}

// recovered answers a panic with a problem. Once bytes have gone out the connection is cut, so
// that half an answer never looks whole.
func (s *server) recovered(c *gin.Context, fault any) {
	if fault == http.ErrAbortHandler || c.Writer.Written() {
		panic(http.ErrAbortHandler)
	}
	s.failAsWanted(c, errs.Wrap(errs.KindInternal, "", fmt.Errorf("panic: %v\n%s", fault, debug.Stack())))
}

// wrongMethod answers a known address asked with another method: OPTIONS with what is allowed,
// anything else with 405. gin has listed the methods of the address in Allow.
func (s *server) wrongMethod(c *gin.Context) {
	h := c.Writer.Header()
	allow := strings.Split(h.Get("Allow"), ", ")
	if slices.Contains(allow, http.MethodGet) {
		allow = append(allow, http.MethodHead)
	}
	allow = append(allow, http.MethodOptions)
	slices.Sort(allow)
	h.Set("Allow", strings.Join(allow, ", "))
	if c.Request.Method != http.MethodOptions {
		s.failAsWanted(c, errs.New(errs.KindMethod, "This address takes "+h.Get("Allow")+"."))
		return
	}
	h["Access-Control-Allow-Methods"] = h["Allow"]
	h["Access-Control-Allow-Headers"] = allowedHeaders
	h.Set("Access-Control-Max-Age", "86400")
	c.Writer.WriteHeader(http.StatusNoContent)
	c.Writer.WriteHeaderNow()
}

// notFound answers an unknown address.
func (s *server) notFound(c *gin.Context) {
	s.failAsWanted(c, errs.New(errs.KindNotFound, "There is nothing at this address. GET / lists the addresses."))
}

// headKey marks the context of a HEAD request that runs as a GET.
type headKey struct{}

// methodOf gives the method as it was sent.
func methodOf(r *http.Request) string {
	if r.Method == http.MethodGet && r.Context().Value(headKey{}) != nil {
		return http.MethodHead
	}
	return r.Method
}

// headAsGet runs a HEAD request as the GET it stands for, so that both have the same headers,
// down to the tag of the compressed form. The body is thrown away.
func headAsGet(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.Method != http.MethodHead {
			next.ServeHTTP(w, r)
			return
		}
		get := r.WithContext(context.WithValue(r.Context(), headKey{}, true))
		get.Method = http.MethodGet
		next.ServeHTTP(bodiless{w}, get)
	})
}

// bodiless drops what is written.
type bodiless struct{ http.ResponseWriter }

func (b bodiless) Write(p []byte) (int, error) { return len(p), nil }

// compress wraps next with gzip for answers of a kilobyte or more, at the fastest level: nobody should
// wait here for the last few per cent.
func compress(next http.Handler) (http.Handler, error) {
	wrap, err := gzhttp.NewWrapper(gzhttp.MinSize(1024), gzhttp.CompressionLevel(gzip.BestSpeed), gzhttp.EnableZstd(false), gzhttp.SuffixETag(gzipSuffix))
	if err != nil {
		return nil, err
	}
	return wrap(next), nil
}
