package httpapi

import (
	"statorbook/internal/bundle"
	"statorbook/internal/jsonin"
	"statorbook/internal/winding"

	"github.com/gin-gonic/gin"
)

// checkRequest is a winding record as it would be submitted, without what the server sets.
type checkRequest struct {
	bundle.Sheet
	TimesSeen int `json:"times_seen" in:"min=0,max=1000000000"`
	bundle.Origin
}

// checkView is what the check says. Odds are the ln odds of the best single slip against the sheet as it stands.
type checkView struct {
	Findings []bundle.Finding `json:"findings"`
	Odds     float64          `json:"odds"`
	Slip     *bundle.Slip     `json:"likely_slip,omitempty"`
	Verdict  winding.Verdict  `json:"verdict"`
}

// postCheck answers POST /v1/winding-checks. It refuses nothing that it can read: what cannot be is
// a finding of severity error.
func (s *server) postCheck(c *gin.Context, q *query) error {
	var req checkRequest
	if err := decodeBody(c, q, &req, jsonin.Single); err != nil {
		return err
	}
	snap, err := s.snapshot()
	if err != nil {
		return err
	}
	v := snap.Index.CheckRecord(sheetOf(req.Sheet))
	return sendJSON(c, checkView{viewFindings(v.Findings), sixDigits(v.LnOdds), (*bundle.Slip)(v.Slip), v.Verdict})
}
