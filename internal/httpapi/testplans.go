package httpapi

import (
	"statorbook/internal/acceptance"
	"statorbook/internal/catalog"
	"statorbook/internal/winding"

	"github.com/gin-gonic/gin"
)

// testPlanView is how to prove a rewound motor; cautions come first.
type testPlanView struct {
	Cautions  []cautionView  `json:"cautions"`
	WindingID string         `json:"winding_id"`
	Status    catalog.Status `json:"status"`
	Steps     []stepView     `json:"steps"`
	Missing   []string       `json:"missing"`
	Assumed   []assumedView  `json:"assumed"`
}

// stepView is one test of the plan. Without limits, not_judged says why.
type stepView struct {
	Test       string      `json:"test"`
	Title      string      `json:"title"`
	Method     string      `json:"method,omitzero"`
	Instrument string      `json:"instrument,omitzero"`
	Record     []string    `json:"record"`
	Limits     []limitView `json:"limits"`
	NotJudged  string      `json:"not_judged,omitzero"`
}

// limitView is a band for a figure, in its unit; an absent bound is open.
type limitView struct {
	Figure string               `json:"figure"`
	Role   winding.Role         `json:"role,omitzero"`
	Unit   string               `json:"unit"`
	Low    *float64             `json:"low,omitzero"`
	High   *float64             `json:"high,omitzero"`
	Value  *float64             `json:"value,omitzero"`
	Kind   acceptance.LimitKind `json:"limit_kind"`
	Source string               `json:"source"`
}

func viewLimit(l acceptance.Limit) limitView {
	return limitView{l.Figure, l.Role, l.Unit, optional(l.Low), optional(l.High), optional(l.Value), l.Kind, sentence(l.Source)}
}

// getTestPlan answers GET /v1/windings/{id}/test-plan.
func (s *server) getTestPlan(c *gin.Context, q *query) error {
	w, err := s.recordAsked(c, q)
	if err != nil {
		return err
	}
	p := acceptance.MakePlan(w.machine(), acceptance.Tables{Wires: w.snap.Wires, Classes: w.snap.Classes})
	return sendTagged(c, viewPlan(w.ID, w.Status, p), "", cacheCheck)
}

func viewPlan(id string, status catalog.Status, p acceptance.Plan) testPlanView {
	return testPlanView{
		Cautions: viewCautions(p.Cautions), WindingID: id, Status: status, Missing: filled(p.Missing), Assumed: viewAssumed(p.Assumed),
		Steps: each(p.Steps, func(st acceptance.Step) stepView {
			return stepView{st.Test, st.Title, st.Method, st.Instrument, filled(st.Record), each(st.Limits, viewLimit), sentence(st.NotJudged)}
		}),
	}
}

// machine is the record as a motor to be proved.
func (r record) machine() acceptance.Machine {
	return acceptance.Machine{Core: r.input.Core, Nameplate: r.input.Nameplate, Scheme: r.Scheme, MotorType: r.MotorType, Application: r.application, MeanTurns: r.input.MeanTurns}
}
