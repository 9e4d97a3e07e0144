package httpapi

import (
	"statorbook/internal/acceptance"
	"statorbook/internal/bundle"
	"statorbook/internal/errs"
	"statorbook/internal/jsonin"
	"statorbook/internal/unit"
	"statorbook/internal/winding"

	"github.com/gin-gonic/gin"
)

// verdictRequest is a session of readings on a record (winding_id) or on a scheme and its core.
type verdictRequest struct {
	WindingID   string            `json:"winding_id" in:"format=id,runes=80"`
	Core        *bundle.Core      `json:"core"`
	Scheme      *bundle.Scheme    `json:"scheme"`
	Nameplate   *bundle.Nameplate `json:"nameplate"`
	Supply      *bundle.Supply    `json:"supply"`
	MotorType   string            `json:"motor_type" in:"enum=permanent_split_capacitor|capacitor_start|capacitor_start_run|split_phase|shaded_pole|three_phase_cage|unknown"`
	Application string            `json:"application" in:"enum=ceiling_fan|table_fan|exhaust_fan|blower|pump|grinder|air_cooler|washing_machine|compressor|general"`
	ClassII     bool              `json:"class_ii"`
	Extent      string            `json:"extent" in:"enum=rewound|partly_rewound|overhauled"`
	AmbientC    float64           `json:"ambient_c" in:"required,min=-40,max=80"`
	WindingC    *float64          `json:"winding_c" in:"min=-40,max=300"`
	Readings    []readingRequest  `json:"readings" in:"required,minitems=1,maxitems=100"`
}

// readingRequest is what was read in one test; which fields a test wants is told by the test plan.
type readingRequest struct {
	Test        string    `json:"test" in:"required,enum=rotor_free|winding_resistance|phase_balance|pole_resistance|auxiliary_over_main|pole_drop|polarity|growler|surge_comparison|earth_continuity|insulation_resistance|withstand|capacitor|no_load|direction|temperature_rise|performance_run"`
	Role        string    `json:"role,omitzero" in:"enum=main|auxiliary|speed|phase_u|phase_v|phase_w"`
	Pair        string    `json:"pair,omitzero" in:"runes=40"`
	Ohms        []float64 `json:"ohms,omitzero" in:"maxitems=120,min=0,max=1000000000"`
	Megohm      *float64  `json:"megohm,omitzero" in:"min=0,max=1000000000"`
	Volts       []float64 `json:"volts,omitzero" in:"maxitems=120,min=0,max=100000"`
	Amps        []float64 `json:"amps,omitzero" in:"maxitems=3,min=0,max=100000"`
	Watts       *float64  `json:"watts,omitzero" in:"min=0,max=10000000"`
	Seconds     *float64  `json:"seconds,omitzero" in:"min=0,max=1000000"`
	UF          *float64  `json:"uf,omitzero" in:"min=0,max=1000000"`
	Count       *int      `json:"count,omitzero" in:"min=0,max=360"`
	OK          *bool     `json:"ok,omitzero"`
	WindingC    *float64  `json:"winding_c,omitzero" in:"min=-40,max=300"`
	ColdOhm     *float64  `json:"cold_ohm,omitzero" in:"min=0,max=1000000000"`
	ColdC       *float64  `json:"cold_c,omitzero" in:"min=-40,max=80"`
	CoolantEndC *float64  `json:"coolant_end_c,omitzero" in:"min=-40,max=80"`
}

func (r readingRequest) toDomain() acceptance.Reading {
	one := func(v *float64) unit.Measured {
		if v == nil {
			return unit.Measured{}
		}
		return unit.Of(*v)
	}
	return acceptance.Reading{
		Test: r.Test, Role: winding.Role(r.Role), Pair: r.Pair, Ohms: each(r.Ohms, unit.Of), Megohm: one(r.Megohm), Volts: each(r.Volts, unit.Of), Amps: each(r.Amps, unit.Of),
		Watts: one(r.Watts), Seconds: one(r.Seconds), UF: one(r.UF), Count: r.Count, OK: r.OK, WindingC: one(r.WindingC),
		ColdOhm: one(r.ColdOhm), ColdC: one(r.ColdC), CoolantEndC: one(r.CoolantEndC),
	}
}

// verdictAnswer is what is said of a session; cautions come first.
type verdictAnswer struct {
	Cautions []cautionView   `json:"cautions"`
	Tests    []verdictView   `json:"tests"`
	Overall  acceptance.Word `json:"overall"`
	Reason   string          `json:"reason"`
	Assumed  []assumedView   `json:"assumed"`
}

type verdictView struct {
	Test      string          `json:"test"`
	Reading   readingRequest  `json:"reading"`
	Figure    *float64        `json:"figure,omitzero"`
	Limit     *limitView      `json:"limit,omitzero"`
	LimitKind string          `json:"limit_kind,omitzero"`
	Source    string          `json:"source,omitzero"`
	Verdict   acceptance.Word `json:"verdict"`
	Reason    string          `json:"reason"`
}

// postVerdict answers POST /v1/test-verdicts.
func (s *server) postVerdict(c *gin.Context, q *query) error {
	var req verdictRequest
	if err := decodeBody(c, q, &req, jsonin.Single); err != nil {
		return err
	}
	snap, err := s.snapshot()
	if err != nil {
		return err
	}
	m, err := s.machineOf(c, req)
	if err != nil {
		return err
	}
	session := acceptance.Session{AmbientC: unit.Celsius(req.AmbientC), Readings: each(req.Readings, readingRequest.toDomain)}
	if req.WindingC != nil {
		t := unit.Celsius(*req.WindingC)
		session.WindingC = &t
	}
	res, err := acceptance.Judge(m, acceptance.Tables{Wires: snap.Wires, Classes: snap.Classes}, session)
	if err != nil {
		return err
	}
	return sendJSON(c, viewVerdicts(req, res))
}

func viewVerdicts(req verdictRequest, res acceptance.Result) verdictAnswer {
	out := verdictAnswer{Cautions: viewCautions(res.Cautions), Tests: make([]verdictView, len(res.Tests)), Overall: res.Overall, Reason: sentence(res.Reason), Assumed: viewAssumed(res.Assumed)}
	for i, v := range res.Tests {
		view := verdictView{Test: v.Reading.Test, Reading: req.Readings[i], Figure: optional(v.Figure), Verdict: v.Word, Reason: sentence(v.Reason)}
		if v.Limit != nil {
			limit := viewLimit(*v.Limit)
			view.Limit, view.LimitKind, view.Source = &limit, string(limit.Kind), limit.Source
		}
		out.Tests[i] = view
	}
	return out
}

// machineOf reads the motor from the record that the request names, or from its scheme and core.
func (s *server) machineOf(c *gin.Context, req verdictRequest) (acceptance.Machine, error) {
	var m acceptance.Machine
	given := req.Core != nil && req.Scheme != nil
	switch {
	case (req.WindingID == "") != given, req.WindingID != "" && (req.Core != nil || req.Scheme != nil):
		return m, errs.New(errs.KindSyntax, "Say which motor was tested.", errs.Field{Pointer: "/winding_id", Code: jsonin.CodeRequired, Detail: "Give winding_id, or scheme and core, not both."})
	case given:
		m.Core, m.Scheme = req.Core.ToDomain(), req.Scheme.ToDomain()
	default:
		r, err := s.record(c, req.WindingID)
		if err != nil {
			return m, eachField(err, func(f errs.Field) errs.Field {
				if f.Parameter == "id" {
					f.Parameter, f.Pointer = "", "/winding_id"
				}
				return f
			})
		}
		m = r.machine()
	}
	if req.Nameplate != nil {
		plate := req.Nameplate.ToDomain()
		m.Nameplate = &plate
	}
	if req.Supply != nil {
		supply := req.Supply.ToDomain()
		m.Supply = &supply
	}
	if req.MotorType != "" {
		m.MotorType = req.MotorType
	}
	if req.Application != "" {
		m.Application = req.Application
	}
	m.ClassII, m.Extent = req.ClassII, acceptance.Extent(req.Extent)
	return m, nil
}
