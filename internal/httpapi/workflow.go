package httpapi

import (
	"context"
	"encoding/hex"
	"net/http"
	"strings"

	"statorbook/internal/bundle"
	"statorbook/internal/catalog"
	"statorbook/internal/errs"
	"statorbook/internal/jsonin"

	"github.com/gin-gonic/gin"
)

// The bodies of the acts of the workflow.
type (
	emptyAct   struct{}
	vettingAct struct {
		SHA256  string          `json:"sha256" in:"required,runes=64"`
		Answers []bundle.Answer `json:"answers" in:"maxitems=200"`
	}
	returnAct struct {
		Reason string `json:"reason" in:"required,lines,runes=1000"`
	}
	publicationAct struct {
		Slug string `json:"slug" in:"format=slug"`
	}
	// Reason codes go into signed statements, which have no room for free text.
	withdrawalAct struct {
		Code   string `json:"reason_code" in:"required,enum=wrong_data|unsafe|duplicate|not_entitled|other"`
		Reason string `json:"reason" in:"required,lines,runes=1000"`
	}
	erratumAct struct {
		Code   string `json:"reason_code" in:"required,enum=measured_wrong|written_wrong|completed|other"`
		Reason string `json:"reason" in:"required,lines,runes=1000"`
	}
)

// deed is one act of the workflow on the record that the address names, with what If-Match says.
type deed = func(c *gin.Context, a catalog.Act, d catalog.DraftRef) (catalog.Reply, error)

// step is the common frame of the acts of the workflow: read the body into the struct that into points
// to, know who acts, do it, answer.
func (s *server) step(kind catalog.Kind, optional bool, begin func() (into any, do deed)) func(*gin.Context, *query) error {
	return func(c *gin.Context, q *query) error {
		ref := c.Param("id")
		if err := unknownRecord(nameOf(kind), ref); err != nil {
			return err
		}
		into, do := begin()
		body, err := readChange(c, q, into, optional)
		if err != nil {
			return err
		}
		a, err := s.act(c, body)
		if err != nil {
			return err
		}
		reply, err := do(c, a, catalog.DraftRef{Kind: kind, ID: ref, Versions: heldVersions(c.Request.Header)})
		if err != nil {
			return aboutRecord(kind, ref, explainMatch(c.Request.Header, err))
		}
		sendReply(c, reply)
		return nil
	}
}

// submit answers POST …/submission: the draft is judged anew, and must say enough.
func (s *server) submit(kind catalog.Kind) func(*gin.Context, *query) error {
	return s.step(kind, true, func() (any, deed) {
		return &emptyAct{}, func(c *gin.Context, a catalog.Act, d catalog.DraftRef) (catalog.Reply, error) {
			record, err := s.ownDraft(c, a.Actor, kind, d.ID, catalog.ActSubmit)
			if err != nil {
				return catalog.Reply{}, err
			}
			var findings []errs.Finding
			var judged catalog.Hash
			if record != nil {
				judged = record.Standing().Hash
				if findings, err = s.complete(c.Request.Context(), record); err != nil {
					return catalog.Reply{}, err
				}
			}
			return s.Workflow.Submit(c.Request.Context(), a, d, judged, findings, renderAs(kind, http.StatusOK))
		}
	})
}

// complete says whether a draft says enough to be handed in, and what is doubtful about it.
func (s *server) complete(ctx context.Context, record catalog.Record) ([]errs.Finding, error) {
	judged, err := s.judge(ctx, record)
	if err != nil {
		return nil, err
	}
	if f, ok := judged.(catalog.Family); ok {
		return f.Findings, catalog.ReadyFamily(f)
	}
	w := judged.(catalog.Winding)
	return w.Findings, catalog.ReadyWinding(w)
}

// vet answers POST …/vetting.
func (s *server) vet(kind catalog.Kind) func(*gin.Context, *query) error {
	return s.step(kind, false, func() (any, deed) {
		var body vettingAct
		return &body, func(c *gin.Context, a catalog.Act, d catalog.DraftRef) (catalog.Reply, error) {
			seen, err := hex.DecodeString(body.SHA256)
			if err != nil || len(seen) != len(catalog.Hash{}) || strings.ToLower(body.SHA256) != body.SHA256 {
				return catalog.Reply{}, errs.New(errs.KindSyntax, "", errs.Field{Pointer: "/sha256", Code: jsonin.CodeFormat,
					Detail: "sha256 is the content hash that the record shows: 64 hexadecimal digits in lower case", Got: body.SHA256})
			}
			return s.Workflow.Vet(c.Request.Context(), a, d, catalog.Hash(seen), bundle.AnswersToDomain(body.Answers), renderAs(kind, http.StatusOK))
		}
	})
}

// sendBack answers POST …/return.
func (s *server) sendBack(kind catalog.Kind) func(*gin.Context, *query) error {
	return s.step(kind, false, func() (any, deed) {
		var body returnAct
		return &body, func(c *gin.Context, a catalog.Act, d catalog.DraftRef) (catalog.Reply, error) {
			return s.Workflow.Return(c.Request.Context(), a, d, body.Reason, renderAs(kind, http.StatusOK))
		}
	})
}

// publish answers POST …/publication.
func (s *server) publish(kind catalog.Kind) func(*gin.Context, *query) error {
	return s.step(kind, true, func() (any, deed) {
		var body publicationAct
		return &body, func(c *gin.Context, a catalog.Act, d catalog.DraftRef) (catalog.Reply, error) {
			if body.Slug != "" && !catalog.ValidSlug(body.Slug) {
				return catalog.Reply{}, errs.New(errs.KindImpossible, "", errs.Field{Pointer: "/slug", Code: catalog.CodeIdentifier,
					Detail: "a slug has lower-case letters and digits in parts joined by single hyphens, 3 to 100 characters", Got: body.Slug})
			}
			return s.published(c.Request.Context(), func() (catalog.Reply, error) {
				return s.Workflow.Publish(c.Request.Context(), a, d, body.Slug, s.sign, renderAs(kind, http.StatusOK))
			})
		}
	})
}

// withdraw answers POST …/withdrawal.
func (s *server) withdraw(kind catalog.Kind) func(*gin.Context, *query) error {
	return s.step(kind, false, func() (any, deed) {
		var body withdrawalAct
		return &body, func(c *gin.Context, a catalog.Act, d catalog.DraftRef) (catalog.Reply, error) {
			return s.published(c.Request.Context(), func() (catalog.Reply, error) {
				return s.Workflow.Withdraw(c.Request.Context(), a, kind, d.ID, catalog.Reason{Code: body.Code, Text: body.Reason}, s.sign, renderAs(kind, http.StatusOK))
			})
		}
	})
}

// erratum answers POST …/erratum: a draft that corrects what is published.
func (s *server) erratum(kind catalog.Kind) func(*gin.Context, *query) error {
	return s.step(kind, false, func() (any, deed) {
		var body erratumAct
		return &body, func(c *gin.Context, a catalog.Act, d catalog.DraftRef) (catalog.Reply, error) {
			return s.Workflow.StartErratum(c.Request.Context(), a, kind, d.ID, catalog.Reason{Code: body.Code, Text: body.Reason}, renderAs(kind, http.StatusOK))
		}
	})
}

// published runs a change of published data and has the tables in memory follow it before the answer.
func (s *server) published(ctx context.Context, change func() (catalog.Reply, error)) (catalog.Reply, error) {
	reply, err := change()
	if err == nil && s.Refresh != nil {
		s.Refresh(ctx)
	}
	return reply, err
}

// sign makes the signed note of a statement.
func (s *server) sign(statement bundle.Statement) ([]byte, error) {
	if s.Sign == nil {
		return nil, errs.New(errs.KindUnavailable, "This server holds no signing keys, so nothing can be published or withdrawn on it.")
	}
	return s.Sign(statement)
}
