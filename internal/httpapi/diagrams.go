package httpapi

import (
	"statorbook/internal/diagram"

	"github.com/gin-gonic/gin"
)

var (
	offersSVG     = []string{"image/svg+xml"}
	typeSVG       = []string{"image/svg+xml"}
	paramsDiagram = []string{"view"}
	diagramViews  = []string{string(diagram.ViewCore), string(diagram.ViewSlots), string(diagram.ViewConnection)}
)

// getDiagram answers GET /v1/windings/{id}/diagram.svg: the core, the slots or the connection of a record.
func (s *server) getDiagram(c *gin.Context, q *query) error {
	view := q.enum("view", diagramViews...)
	w, err := s.recordAsked(c, q)
	if err != nil {
		return err
	}
	if view == "" {
		view = string(diagram.ViewSlots)
	}
	svg, err := diagram.SVG(diagram.View(view), diagram.Input{
		Title: w.Slug, Status: string(w.Status), Core: w.input.Core, Scheme: w.Scheme, MotorType: w.MotorType, Connection: w.Nameplate.Connection,
	})
	if err != nil {
		return ofRecord(err)
	}
	return sendDocument(c, document{body: svg, cache: cacheCheck, contentType: typeSVG})
}
