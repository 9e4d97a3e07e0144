package httpapi

import (
	"statorbook/internal/bundle"
	"statorbook/internal/jsonin"
	"statorbook/internal/winding"

	"github.com/gin-gonic/gin"
)

// analysisRequest is a scheme on a core. What is not given is listed as missing in the answer.
type analysisRequest struct {
	Core      bundle.Core       `json:"core"`
	Nameplate *bundle.Nameplate `json:"nameplate"`
	Supply    *bundle.Supply    `json:"supply"`
	Scheme    bundle.Scheme     `json:"scheme" in:"required"`
}

func (r analysisRequest) toDomain() winding.AnalysisInput {
	in := winding.AnalysisInput{Core: r.Core.ToDomain(), Scheme: r.Scheme.ToDomain()}
	if r.Nameplate != nil {
		plate := r.Nameplate.ToDomain()
		in.Nameplate = &plate
	}
	if r.Supply != nil {
		supply := r.Supply.ToDomain()
		in.Supply = &supply
	}
	return in
}

// postAnalysis answers POST /v1/winding-analyses.
func (s *server) postAnalysis(c *gin.Context, q *query) error {
	var req analysisRequest
	if err := decodeBody(c, q, &req, jsonin.Single); err != nil {
		return err
	}
	snap, err := s.snapshot()
	if err != nil {
		return err
	}
	a, err := winding.Analyse(req.toDomain(), snap.Wires)
	if err != nil {
		return err
	}
	return sendJSON(c, viewAnalysis(a))
}
