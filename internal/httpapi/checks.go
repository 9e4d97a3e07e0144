package httpapi

import (
	"errors"
	"regexp"
	"strconv"

	"statorbook/internal/bundle"
	"statorbook/internal/errs"
	"statorbook/internal/jsonin"
	"statorbook/internal/unit"
	"statorbook/internal/winding"

	"github.com/gin-gonic/gin"
)

// checkRequest is a winding record without ids and state.
type checkRequest struct {
	bundle.Sheet
	TimesSeen int `json:"times_seen" in:"min=0,max=1000000000"`
	bundle.Origin
	setByServer
}

// setByServer is what a record that was read holds besides: it may be sent back as it came, and is not judged.
type setByServer struct {
	Slug            jsonin.Raw `json:"slug"`
	Revision        jsonin.Raw `json:"revision"`
	Status          jsonin.Raw `json:"status"`
	WithdrawnReason jsonin.Raw `json:"withdrawn_reason"`
	CorrectedFor    jsonin.Raw `json:"corrected_for"`
	Findings        jsonin.Raw `json:"findings"`
	Institute       jsonin.Raw `json:"institute"`
	SHA256          jsonin.Raw `json:"sha256"`
	Author          jsonin.Raw `json:"author"`
	Vetter          jsonin.Raw `json:"vetter"`
	VettedAt        jsonin.Raw `json:"vetted_at"`
	Answers         jsonin.Raw `json:"answers"`
	OpenReports     jsonin.Raw `json:"open_problem_reports"`
	Base            jsonin.Raw `json:"base_revision"`
	ReasonCode      jsonin.Raw `json:"reason_code"`
	ReturnedFor     jsonin.Raw `json:"returned_for"`
	Returned        jsonin.Raw `json:"returned_findings"`
	ETag            jsonin.Raw `json:"etag"`
	CreatedAt       jsonin.Raw `json:"created_at"`
	ModifiedAt      jsonin.Raw `json:"modified_at"`
}

// checkView is what the check says. Odds are the ln odds of the best single slip against the sheet as it stands.
type checkView struct {
	Findings []bundle.Finding `json:"findings"`
	Odds     float64          `json:"odds"`
	Slip     *bundle.Slip     `json:"likely_slip,omitempty"`
	Verdict  winding.Verdict  `json:"verdict"`
}

// postCheck answers POST /v1/winding-checks. What cannot be is a finding of severity error, so are some figures
// beyond their range, see judge.
func (s *server) postCheck(c *gin.Context, q *query) error {
	var req checkRequest
	if err := req.judge(decodeBody(c, q, &req, jsonin.Single)); err != nil {
		return err
	}
	snap, err := s.snapshot()
	if err != nil {
		return err
	}
	v := snap.Index.CheckRecord(sheetOf(req.Sheet))
	return sendJSON(c, checkView{viewFindings(v.Findings), sixDigits(v.LnOdds), (*bundle.Slip)(v.Slip), v.Verdict})
}

// judge takes figures that lie beyond what the service keeps, but that the rest of the sheet can judge, as
// they are; the check tells of each in a finding of severity error. 9 strands in hand, or 2300000 V, are what a
// check is for. Any other mistake stands, and so do as many mistakes as the reader lists: it stops there, and the
// rest of the sheet was not read.
func (r *checkRequest) judge(mistake error) error {
	var known *errs.Error
	if !errors.As(mistake, &known) || len(known.Fields) >= jsonin.Single.Problems {
		return mistake
	}
	for i := range known.Fields {
		f := &known.Fields[i]
		v, err := strconv.ParseFloat(f.Got, 64)
		if f.Code != jsonin.CodeRange || err != nil || !(v > 0) || !r.take(f.Pointer, f.Got, v) {
			return mistake
		}
	}
	return nil
}

// mostJudged bounds strands in hand that are judged: more are no count of strands.
const mostJudged = 100

var strandsAt = regexp.MustCompile(`^/scheme/coil_sets/(\d+)/wires/(\d+)/strands$`)

// take puts a figure that is out of range where it stood, if it is one that the check judges.
func (r *checkRequest) take(pointer, text string, v float64) bool {
	if at := strandsAt.FindStringSubmatch(pointer); at != nil {
		set, err1 := strconv.Atoi(at[1])
		w, err2 := strconv.Atoi(at[2])
		if err1 != nil || err2 != nil || v > mostJudged || v != float64(int(v)) {
			return false
		}
		r.Scheme.CoilSets[set].Wires[w].Strands = int(v)
		return true
	}
	n := &r.Nameplate
	for name, at := range map[string]*bundle.M{"voltage_v": &n.Voltage, "frequency_hz": &n.Frequency, "power_w": &n.Power, "current_a": &n.Current} {
		if pointer == "/nameplate/"+name {
			at.Measured = unit.Measured{Given: true, Value: v, Text: text}
			return true
		}
	}
	return false
}
