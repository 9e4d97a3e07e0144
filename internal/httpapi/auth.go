package httpapi

import (
	"crypto/sha256"
	"log/slog"
	"net/http"
	"net/netip"
	"strconv"
	"strings"
	"time"

	"statorbook/internal/catalog"
	"statorbook/internal/errs"

	"github.com/gin-gonic/gin"
)

// A key is sent as `Authorization: Bearer sbk_ID_SECRET`: ID is public, SECRET is 256 random bits in
// base64url. It is taken from this header only, so that it stands in no address and no log.
const (
	keyPrefix    = "sbk_"
	keyIDLen     = 12
	keySecretLen = 43
	callerSlot   = "caller" // of the gin context
)

// WWW-Authenticate (RFC 6750 section 3) without a key, and with one that is refused.
var (
	challenge        = []string{`Bearer realm="statorbook"`}
	challengeRefused = []string{`Bearer realm="statorbook", error="invalid_token"`}
)

// caller is who asks. The zero caller has no key.
type caller struct {
	catalog.Actor
	KeyID string
}

// identified is what became of the key of a request.
type identified struct {
	who caller
	err error // why nobody knows: the database is away
}

// actor tells who asks; the zero caller if no key was sent. A key that is not valid never comes as far
// as this.
func (s *server) actor(c *gin.Context) (caller, error) {
	v, _ := c.Get(callerSlot)
	known, _ := v.(identified)
	return known.who, known.err
}

// admit is what every request passes first: whose key it is, and whether he asks too often. Whoever has
// a good key is counted by the key, all others by address. A key that is not valid is refused on every
// address, so that nobody believes to act when he does not. While the database is away nobody can tell:
// then what needs no key goes on.
//
// Questions after health and preflights pass uncounted.
func (s *server) admit(c *gin.Context) {
	if s.gate == nil || c.Request.Method == http.MethodOptions || c.FullPath() == "/livez" || c.FullPath() == "/readyz" {
		return
	}
	var keyID string
	var known identified
	sent := s.Keys != nil && len(c.Request.Header["Authorization"]) > 0
	if sent {
		keyID, known = s.identify(c.Request)
	}
	from := peer(c.Request.RemoteAddr)
	wait := s.gate.count(c.Writer.Header(), known.who.KeyID, from, s.Now())
	switch {
	case wait > 0:
		s.refuse(c, tooOften(c, wait, "Requests come faster than the limit allows; RateLimit-Policy tells it."))
	case errs.KindOf(known.err) == errs.KindUnauthenticated:
		s.refuse(c, s.refusedKey(c, keyID, from, known.err))
	case sent:
		c.Set(callerSlot, known)
	}
}

// refuse ends a request before its handler.
func (s *server) refuse(c *gin.Context, err error) {
	c.Abort()
	s.failAsWanted(c, err)
}

// identify reads the key of a request and asks for it. The id is "" if the header has not the form of a key.
func (s *server) identify(r *http.Request) (string, identified) {
	id, hash, ok := readKey(r.Header["Authorization"])
	if !ok {
		return "", identified{err: errs.New(errs.KindUnauthenticated, "Send the key as it was shown, once: Authorization: Bearer sbk_...")}
	}
	k, err := s.Keys.Authenticate(r.Context(), id, hash, s.Now())
	if err != nil {
		return id, identified{err: err}
	}
	return id, identified{who: caller{k.Actor, k.ID}}
}

// readKey takes the header apart. What is kept of the secret is its hash.
func readKey(lines []string) (id string, hash [sha256.Size]byte, ok bool) {
	if len(lines) != 1 {
		return "", hash, false
	}
	scheme, key, _ := strings.Cut(lines[0], " ")
	key, prefixed := strings.CutPrefix(strings.TrimLeft(key, " "), keyPrefix)
	if !strings.EqualFold(scheme, "Bearer") || !prefixed || len(key) != keyIDLen+1+keySecretLen || key[keyIDLen] != '_' {
		return "", hash, false
	}
	id, secret := key[:keyIDLen], key[keyIDLen+1:]
	for _, b := range []byte(id) {
		if !(b >= 'a' && b <= 'z' || b >= '0' && b <= '9') {
			return "", hash, false
		}
	}
	return id, sha256.Sum256([]byte(secret)), true
}

// refusedKey counts a key that is not valid: 401, or 429 to whoever tries many. A valid key is let
// through however many others were refused before.
func (s *server) refusedKey(c *gin.Context, id string, from netip.Addr, err error) error {
	if wait := s.gate.countRefused(id, from, s.Now()); wait > 0 {
		return tooOften(c, wait, "Too many keys that are not valid came from this address or with this key id.")
	}
	s.Log.LogAttrs(c.Request.Context(), slog.LevelWarn, "key refused", slog.String("request_id", requestID(c)), slog.String("key_id", id))
	c.Writer.Header()["Www-Authenticate"] = challengeRefused
	return err
}

// tooOften makes the 429 and says when to come again.
func tooOften(c *gin.Context, wait time.Duration, detail string) error {
	c.Writer.Header()["Retry-After"] = []string{strconv.FormatInt(seconds(wait), 10)}
	return errs.New(errs.KindRateLimited, detail)
}
