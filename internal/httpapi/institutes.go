package httpapi

import (
	"net/http"
	"time"

	"statorbook/internal/bundle"
	"statorbook/internal/catalog"
	"statorbook/internal/errs"
	"statorbook/internal/jsonin"

	"github.com/gin-gonic/gin"
)

// institutePin is the body of POST /v1/institutes: a foreign institute and the key that it signs with.
type institutePin struct {
	Slug     string `json:"slug" in:"required,format=slug"`
	Title    string `json:"title" in:"required,runes=200"`
	Verifier string `json:"verifier" in:"required,runes=300"`
}

// instituteView is an institute with the keys that its statements are checked with.
type instituteView struct {
	Slug  string    `json:"slug"`
	Title string    `json:"title"`
	Demo  bool      `json:"demo"`
	Own   bool      `json:"own"`
	Keys  []keyView `json:"keys"`
	ETag  string    `json:"etag"`
}

type keyView struct {
	ID        string     `json:"id"`
	Verifier  string     `json:"verifier"`
	CreatedAt time.Time  `json:"created_at"`
	RetiredAt *time.Time `json:"retired_at,omitempty"`
}

// viewInstitute is the one form of an institute, in lists and alone, tag included.
func viewInstitute(i catalog.Signatory) (instituteView, error) {
	v := instituteView{Slug: i.Slug, Title: i.Title, Demo: i.Demo, Own: i.Own, Keys: make([]keyView, 0, len(i.Keys))}
	for _, k := range i.Keys {
		id, _, err := bundle.KeyIDOf(k.Verifier)
		if err != nil {
			return v, errs.Wrap(errs.KindInternal, "a stored verifier key cannot be read", err)
		}
		key := keyView{ID: id, Verifier: k.Verifier, CreatedAt: k.CreatedAt.UTC()}
		if !k.RetiredAt.IsZero() {
			key.RetiredAt = &k.RetiredAt
		}
		v.Keys = append(v.Keys, key)
	}
	err := tagged(v, &v.ETag)
	return v, err
}

// listInstitutes answers GET /v1/institutes.
func (s *server) listInstitutes(c *gin.Context, q *query) error {
	size, after := s.readPage(q, c.Request.URL.Path)
	if err := q.err(); err != nil {
		return err
	}
	page, err := s.Institutes.Signatories(c.Request.Context(), catalog.PageRequest{After: after, Size: size})
	if err != nil {
		return err
	}
	return sendRecords(s, c, q, page, viewInstitute)
}

// getInstitute answers GET /v1/institutes/{id}.
func (s *server) getInstitute(c *gin.Context, q *query) error {
	if err := q.err(); err != nil {
		return err
	}
	slug := c.Param("id")
	if !jsonin.IsSlug(slug) {
		return noRecord("institute", slug)
	}
	i, err := s.Institutes.Signatory(c.Request.Context(), slug)
	if errs.KindOf(err) == errs.KindNotFound {
		err = noRecord("institute", slug)
	}
	if err != nil {
		return err
	}
	v, err := viewInstitute(i)
	if err != nil {
		return err
	}
	return sendTagged(c, v, v.ETag, cacheCheck)
}

// pinInstitute answers POST /v1/institutes: a steward accepts the signing key of a foreign institute.
func (s *server) pinInstitute(c *gin.Context, q *query) error {
	var pin institutePin
	body, err := readChange(c, q, &pin, false)
	if err != nil {
		return err
	}
	a, err := s.act(c, body)
	if err != nil {
		return err
	}
	reply, err := s.Institutes.PinSigningKey(c.Request.Context(), a, catalog.Institute{Slug: pin.Slug, Title: pin.Title}, pin.Verifier,
		func(i catalog.Signatory) (catalog.Reply, error) {
			v, err := viewInstitute(i)
			if err != nil {
				return catalog.Reply{}, err
			}
			body, err := encodeJSON(v)
			return catalog.Reply{Status: http.StatusCreated, Location: "/v1/institutes/" + v.Slug, Tag: v.ETag, Body: body}, err
		})
	if err != nil {
		return err
	}
	sendReply(c, reply)
	return nil
}
