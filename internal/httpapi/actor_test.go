package httpapi

import (
	"context"
	"errors"
	"net/http"
	"testing"
	"time"

	"statorbook/internal/catalog"
	"statorbook/internal/errs"

	"github.com/gin-gonic/gin"
	"github.com/stretchr/testify/require"
)

// oneKey knows a single key, whatever its secret, or fails.
type oneKey struct {
	key  catalog.Key
	fail error
}

func (o oneKey) Authenticate(_ context.Context, id string, _ [32]byte, _ time.Time) (catalog.Key, error) {
	switch {
	case o.fail != nil:
		return catalog.Key{}, o.fail
	case id != o.key.ID:
		return catalog.Key{}, errs.New(errs.KindUnauthenticated, "no")
	}
	return o.key, nil
}

// TestActor shows what a handler hears: nobody, a person with his scopes, or that nobody can tell.
func TestActor(t *testing.T) {
	t.Parallel()
	vet := catalog.Actor{Institute: "demo-school", Person: "demo-p1", Scopes: []catalog.Scope{catalog.ScopeVet}}
	away := errs.Wrap(errs.KindUnavailable, "The database is away.", errors.New("dial"))
	const secret = "_0123456789012345678901234567890123456789012"
	cases := map[string]struct {
		keys   KeyStore
		header string
		want   caller
		status int
	}{
		"no key":              {oneKey{key: catalog.Key{ID: "k00000000001", Actor: vet}}, "", caller{}, 200},
		"a good key":          {oneKey{key: catalog.Key{ID: "k00000000001", Actor: vet}}, "Bearer sbk_k00000000001" + secret, caller{vet, "k00000000001"}, 200},
		"an unknown key":      {oneKey{key: catalog.Key{ID: "k00000000001", Actor: vet}}, "Bearer sbk_k00000000002" + secret, caller{}, 401},
		"the store is away":   {oneKey{fail: away}, "Bearer sbk_k00000000001" + secret, caller{}, 503},
		"a fault of ours":     {oneKey{fail: errors.New("bug")}, "Bearer sbk_k00000000001" + secret, caller{}, 500},
		"no keys on this one": {nil, "Bearer sbk_k00000000001" + secret, caller{}, 200},
	}
	for name, c := range cases {
		h := newHost(t, Config{Keys: c.keys})
		s := &server{Config: h.config, gate: newGate(0)}
		var heard caller
		h.handler = s.engine([]route{{http.MethodGet, "/v1/meta", nil, nil, func(c *gin.Context, _ *query) error {
			who, err := s.actor(c)
			heard = who
			if err != nil {
				return err
			}
			return sendJSON(c, health{"ok"})
		}}})
		a := h.Send("GET", "/v1/meta", "", "Authorization: "+c.header)
		if c.header == "" {
			a = h.Send("GET", "/v1/meta", "")
		}
		require.Equal(t, c.status, a.StatusCode, name)
		require.Equal(t, c.want, heard, name)
	}
}
