package httpapi

import (
	"errors"

	"statorbook/internal/bundle"
	"statorbook/internal/errs"
	"statorbook/internal/insulation"
	"statorbook/internal/jsonin"
	"statorbook/internal/unit"
	"statorbook/internal/wire"

	"github.com/gin-gonic/gin"
)

// equivalentsRequest asks what may replace a wire.
type equivalentsRequest struct {
	From   bundle.Wire       `json:"from" in:"required"`
	To     equivalentsTarget `json:"to"`
	Stock  []bundle.Wire     `json:"stock" in:"maxitems=500"` // absent: the tables are searched
	Limits equivalentsLimits `json:"limits"`
	Limit  int               `json:"limit" in:"min=1,max=200"`
}

type equivalentsTarget struct {
	Systems    []string `json:"systems" in:"maxitems=3,enum=swg|awg|metric"`
	Builds     []string `json:"builds" in:"maxitems=6,enum=grade_1|grade_2|grade_3|single|heavy|triple"`
	Conductor  string   `json:"conductor" in:"enum=copper|aluminium"`
	MaxStrands int      `json:"max_strands" in:"min=1,max=8"`
	Mixed      bool     `json:"mixed"`
}

type equivalentsLimits struct {
	AreaError       areaBand `json:"area_error_pct"`
	MaxOverall      float64  `json:"max_overall_mm" in:"min=0.001,max=100"`
	MaxBare         float64  `json:"max_bare_mm" in:"min=0.001,max=100"`
	MinThermalClass string   `json:"min_thermal_class" in:"runes=10"`
}

type areaBand struct {
	Low  *float64 `json:"low" in:"min=-100,max=1000"`
	High *float64 `json:"high" in:"min=-100,max=1000"`
}

// equivalentsView is the answer.
type equivalentsView struct {
	From     bundle.Wire      `json:"from"`
	Items    []equivalentView `json:"items"`
	Excluded map[string]int   `json:"excluded,omitempty"`
}

type equivalentView struct {
	Wires               []bundle.Wire    `json:"wires"`
	AreaErrorPct        float64          `json:"area_error_pct"`
	DiameterRatio       float64          `json:"diameter_ratio"`
	Overall             []*float64       `json:"overall_mm"` // null: not known
	ResistanceRatio     float64          `json:"resistance_ratio"`
	CurrentDensityRatio float64          `json:"current_density_ratio"`
	SlotArea            *ratioView       `json:"slot_area_ratio,omitempty"`
	MassRatio           float64          `json:"mass_ratio"`
	ThermalClassChange  *float64         `json:"thermal_class_change,omitempty"`
	Findings            []bundle.Finding `json:"findings"`
	RankReason          string           `json:"rank_reason"`
}

type ratioView struct {
	Square float64 `json:"square"`
	Circle float64 `json:"circle"`
}

// postEquivalents answers POST /v1/wire-equivalents.
func (s *server) postEquivalents(c *gin.Context, q *query) error {
	var req equivalentsRequest
	if err := decodeBody(c, q, &req, jsonin.Single); err != nil {
		return err
	}
	snap, err := s.snapshot()
	if err != nil {
		return err
	}
	view, err := snap.equivalents(req)
	if err != nil {
		return err
	}
	return sendJSON(c, view)
}

// equivalents asks the wire tables.
func (s *Snapshot) equivalents(req equivalentsRequest) (equivalentsView, error) {
	res, err := s.Wires.Equivalents(req.From.ToDomain(), wire.EquivalentOptions{
		Systems: typed[wire.System](req.To.Systems), Builds: typed[wire.Build](req.To.Builds), Conductor: wire.Conductor(req.To.Conductor),
		MaxStrands: req.To.MaxStrands, Mixed: req.To.Mixed, Stock: bundle.WiresToDomain(req.Stock), StockGiven: req.Stock != nil,
		Limits: wire.Limits{
			AreaErrorLow: req.Limits.AreaError.Low, AreaErrorHigh: req.Limits.AreaError.High,
			MaxOverall: unit.Millimetre(req.Limits.MaxOverall), MaxBare: unit.Millimetre(req.Limits.MaxBare), MinThermalClass: req.Limits.MinThermalClass,
		},
		Limit:            req.Limit,
		ClassTemperature: func(class string) (unit.Celsius, bool) { return insulation.Temperature(s.Classes, class) },
	})
	if err != nil {
		return equivalentsView{}, err
	}
	return equivalentsView{bundle.WireOf(res.From), each(res.Items, viewEquivalent), res.Excluded}, nil
}

func viewEquivalent(e wire.Equivalent) equivalentView {
	v := equivalentView{
		Wires: bundle.WiresOf(e.Wires), AreaErrorPct: sixDigits(e.AreaErrorPct), DiameterRatio: sixDigits(e.DiameterRatio),
		Overall: each(e.Overall, known[unit.Millimetre]), ResistanceRatio: sixDigits(e.ResistanceRatio), CurrentDensityRatio: sixDigits(e.CurrentDensityRatio),
		MassRatio: sixDigits(e.MassRatio), ThermalClassChange: e.ThermalClassChange, Findings: viewFindings(e.Findings), RankReason: sentence(e.RankReason),
	}
	if e.SlotArea != nil {
		v.SlotArea = &ratioView{sixDigits(e.SlotArea.Square), sixDigits(e.SlotArea.Circle)}
	}
	return v
}

// known gives nil for a figure that no source gives.
func known[F ~float64](v F) *float64 {
	if v == 0 {
		return nil
	}
	f := sixDigits(v)
	return &f
}

func typed[S ~string](list []string) []S {
	if list == nil {
		return nil
	}
	return each(list, func(w string) S { return S(w) })
}

// postEquivalentsBatch answers POST /v1/wire-equivalents/batch.
func (s *server) postEquivalentsBatch(c *gin.Context, q *query) error {
	var batch batchRequest
	if err := decodeBody(c, q, &batch, jsonin.Batch); err != nil {
		return err
	}
	snap, err := s.snapshot()
	if err != nil {
		return err
	}
	s.sendBatch(c, batch.Items, func(item jsonin.Raw) (any, error) {
		var req equivalentsRequest
		if err := soleDetail(item.Decode(&req)); err != nil {
			return nil, err
		}
		return snap.equivalents(req)
	})
	return nil
}

// paramsEquivalents are the query parameters of the one-line form.
var paramsEquivalents = []string{"systems", "builds", "max_strands", "mixed", "limit", "build", "strands", "material", "conductor"}

// getEquivalents answers GET /v1/wires/{id}/equivalents.
func (s *server) getEquivalents(c *gin.Context, q *query) error {
	req := equivalentsRequest{
		From: bundle.Wire{Strands: max(q.whole("strands", 1, wire.MaxStrands), 1), Build: q.enum("build", words(wire.Builds())...), Conductor: q.enum("material", conductors...)},
		To: equivalentsTarget{
			Systems: q.list("systems", words(wire.Systems())...), Builds: q.list("builds", words(wire.Builds())...),
			Conductor: q.enum("conductor", conductors...), MaxStrands: q.whole("max_strands", 1, wire.MaxStrands), Mixed: q.enum("mixed", "true", "false") == "true",
		},
		Limit: q.whole("limit", 1, wire.MaxEquivalents),
	}
	if req.From.Conductor == "" {
		req.From.Conductor = string(wire.Copper)
	}
	if err := q.err(); err != nil {
		return err
	}
	snap, err := s.snapshot()
	if err != nil {
		return err
	}
	size, found := snap.Wires.ByID(c.Param("id"))
	if !found {
		return unknownWire(snap.Wires, c.Param("id"))
	}
	req.From.System, req.From.Size = string(size.System), size.Size
	view, err := snap.equivalents(req)
	if err != nil {
		return asParameters(err)
	}
	return sendTagged(c, view, "", cacheReference)
}

var conductors = []string{string(wire.Copper), string(wire.Aluminium)}

// asParameters rewrites the pointers of a body into the parameters that stand for them.
func asParameters(err error) error {
	return eachField(err, func(f errs.Field) errs.Field {
		f.Parameter, f.Pointer = parameterOf(f.Pointer), ""
		return f
	})
}

// eachField rewrites the fields of a classified error.
func eachField(err error, rewrite func(errs.Field) errs.Field) error {
	var known *errs.Error
	if !errors.As(err, &known) {
		return err
	}
	return errs.New(known.Kind, known.Detail, each(known.Fields, rewrite)...)
}

func parameterOf(pointer string) string {
	switch pointer {
	case "/from/build", "/from/strands":
		return pointer[len("/from/"):]
	case "/limit":
		return "limit"
	}
	return "id"
}
