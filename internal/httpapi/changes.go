package httpapi

import (
	"statorbook/internal/bundle"
	"statorbook/internal/jsonin"
	"statorbook/internal/stator"
	"statorbook/internal/winding"
	"statorbook/internal/wire"

	"github.com/gin-gonic/gin"
)

// changeRequest is a winding and what is to become different.
type changeRequest struct {
	Core      *bundle.Core     `json:"core"`
	Nameplate bundle.Nameplate `json:"nameplate"`
	Scheme    bundle.Scheme    `json:"scheme" in:"required"`
	Change    changeWanted     `json:"change" in:"required"`
	Stock     []bundle.Wire    `json:"stock" in:"maxitems=500"`
}

type changeWanted struct {
	Voltage       bundle.M        `json:"voltage_v" in:"min=0.1,max=100000"`
	Frequency     bundle.M        `json:"frequency_hz" in:"min=0.1,max=10000"`
	Connection    string          `json:"connection" in:"enum=single|star|delta"`
	ParallelPaths int             `json:"parallel_paths" in:"min=1,max=120"`
	Conductor     string          `json:"conductor" in:"enum=copper|aluminium"`
	Wires         []bundle.Wire   `json:"wires" in:"maxitems=8"`
	Strands       int             `json:"strands" in:"min=1,max=8"`
	Span          int             `json:"span" in:"min=1,max=359"`
	Pattern       *bundle.Pattern `json:"pattern"`
	Poles         int             `json:"poles" in:"min=1,max=120"`
	StackLength   bundle.M        `json:"stack_length_mm" in:"min=0.01,max=10000"`
	Core          *bundle.Core    `json:"core"`
}

// changeView is the changed winding with what became of its figures.
type changeView struct {
	Scheme    bundle.Scheme    `json:"scheme"`
	Nameplate bundle.Nameplate `json:"nameplate"`
	Core      *bundle.Core     `json:"core,omitempty"`
	Before    *analysisView    `json:"before,omitempty"`
	After     *analysisView    `json:"after,omitempty"`
	Table     []changeRow      `json:"table"`
	Basis     []string         `json:"basis"`
	Findings  []bundle.Finding `json:"findings"`
	Status    string           `json:"status"`
	Cautions  []cautionView    `json:"cautions"`
}

type changeRow struct {
	Figure string       `json:"figure"`
	Role   winding.Role `json:"role,omitempty"`
	Unit   string       `json:"unit"`
	Before *float64     `json:"before"`
	After  *float64     `json:"after"`
}

// postChange answers POST /v1/winding-changes.
func (s *server) postChange(c *gin.Context, q *query) error {
	var req changeRequest
	if err := decodeBody(c, q, &req, jsonin.Single); err != nil {
		return err
	}
	snap, err := s.snapshot()
	if err != nil {
		return err
	}
	asked := req.toDomain()
	if err := snap.Wires.CheckWires(asked.Change.Wires, "/change/wires"); err != nil {
		return err
	}
	if err := snap.Wires.CheckWires(asked.Stock, "/stock"); err != nil {
		return err
	}
	r, err := winding.Rewind(asked, snap.Wires)
	if err != nil {
		return err
	}
	return sendJSON(c, viewChange(r))
}

func (r changeRequest) toDomain() winding.ChangeInput {
	return winding.ChangeInput{
		Core: coreOf(r.Core), Nameplate: r.Nameplate.ToDomain(), Scheme: r.Scheme.ToDomain(), Change: r.Change.toDomain(), Stock: bundle.WiresToDomain(r.Stock),
	}
}

func (w changeWanted) toDomain() winding.Change {
	out := winding.Change{
		Voltage: w.Voltage.Measured, Frequency: w.Frequency.Measured, Connection: winding.Connection(w.Connection), ParallelPaths: w.ParallelPaths,
		Conductor: wire.Conductor(w.Conductor), Wires: bundle.WiresToDomain(w.Wires), Strands: w.Strands, Span: w.Span, Poles: w.Poles,
		StackLength: w.StackLength.Measured, Core: coreOf(w.Core),
	}
	if p := w.Pattern; p != nil {
		out.Pattern = &winding.Pattern{Kind: winding.PatternKind(p.Kind), Throws: p.Throws, Turns: p.Turns, Groups: p.Groups, FirstSlot: p.FirstSlot, Alternate: p.Alternate}
	}
	return out
}

// coreOf converts a core that may be absent.
func coreOf(c *bundle.Core) *stator.Core {
	if c == nil {
		return nil
	}
	core := c.ToDomain()
	return &core
}

func viewChange(r winding.ChangeResult) changeView {
	v := changeView{
		Scheme: bundle.SchemeOf(r.Scheme), Nameplate: bundle.NameplateOf(r.Nameplate), Before: optionalAnalysis(r.Before), After: optionalAnalysis(r.After),
		Table: each(r.Table, func(row winding.ChangeRow) changeRow {
			return changeRow{row.Figure, row.Role, row.Unit, optional(row.Before), optional(row.After)}
		}),
		Basis: each(r.Steps, sentence), Findings: viewFindings(r.Findings), Status: "estimated", Cautions: viewCautions(r.Cautions),
	}
	if r.Core != nil {
		core := bundle.CoreOf(*r.Core)
		v.Core = &core
	}
	return v
}

func optionalAnalysis(a *winding.Analysis) *analysisView {
	if a == nil {
		return nil
	}
	v := viewAnalysis(*a)
	return &v
}
