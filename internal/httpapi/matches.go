package httpapi

import (
	"statorbook/internal/bundle"
	"statorbook/internal/jsonin"
	"statorbook/internal/match"
	"statorbook/internal/unit"
	"statorbook/internal/winding"

	"github.com/gin-gonic/gin"
)

// candidatesMax is the most candidates that a match lists.
const candidatesMax = 50

// matchRequest is one measured stator. Everything is optional: what is not known is left out.
type matchRequest struct {
	Measurements bundle.Core       `json:"measurements,omitzero"`
	MotorType    string            `json:"motor_type,omitzero" in:"enum=permanent_split_capacitor|capacitor_start|capacitor_start_run|split_phase|shaded_pole|three_phase_cage|unknown"`
	Supply       *bundle.Supply    `json:"supply,omitzero"`
	Nameplate    *bundle.Nameplate `json:"nameplate,omitzero"`
	Remains      *matchRemains     `json:"remains,omitzero"`
	Stock        []bundle.Wire     `json:"stock,omitzero" in:"maxitems=500"`
	Limit        int               `json:"limit,omitzero" in:"min=1,max=50"`
}

// matchRemains is what was found in the core.
type matchRemains struct {
	Wires  []scrapWire `json:"wires,omitzero" in:"maxitems=20"`
	Coils  []coilCount `json:"coils,omitzero" in:"maxitems=20"`
	Copper *copperMass `json:"copper_mass_g,omitzero"`
}

type scrapWire struct {
	Diameter  bundle.M `json:"diameter_mm" in:"required,min=0.001,max=100"`
	Coating   string   `json:"coating,omitzero" in:"enum=bare|over_enamel|unknown"`
	Condition string   `json:"condition,omitzero" in:"enum=clean|burnt|unknown"`
	Role      string   `json:"role,omitzero" in:"enum=main|auxiliary|speed|phase_u|phase_v|phase_w"`
	Strands   int      `json:"strands,omitzero" in:"min=1,max=8"`
}

type coilCount struct {
	Role  string   `json:"role,omitzero" in:"enum=main|auxiliary|speed|phase_u|phase_v|phase_w"`
	Turns bundle.M `json:"turns" in:"required,min=0.001,max=20000"`
}

type copperMass struct {
	Main      bundle.M `json:"main,omitzero" in:"unit=g,min=0.001,max=1000000"`
	Auxiliary bundle.M `json:"auxiliary,omitzero" in:"unit=g,min=0.001,max=1000000"`
	Total     bundle.M `json:"total,omitzero" in:"unit=g,min=0.001,max=1000000"`
}

// postMatch answers POST /v1/matches.
func (s *server) postMatch(c *gin.Context, q *query) error {
	var req matchRequest
	if err := decodeBody(c, q, &req, jsonin.Single); err != nil {
		return err
	}
	asked := req.toDomain()
	if len(asked.Stock) > 0 {
		snap, err := s.snapshot()
		if err != nil {
			return err
		}
		if err := snap.Wires.CheckWires(asked.Stock, "/stock"); err != nil {
			return err
		}
	}
	a, snap, err := s.matchNow(c.Request.Context(), asked)
	if err != nil {
		return err
	}
	return sendJSON(c, viewMatch(snap.Revision, req, a))
}

func (r matchRequest) toDomain() match.Query {
	q := match.Query{
		Measurements: r.Measurements.ToDomain(), MotorType: r.MotorType, Stock: bundle.WiresToDomain(r.Stock), Limit: r.Limit,
	}
	if r.Supply != nil {
		supply := r.Supply.ToDomain()
		q.Supply = &supply
	}
	if r.Nameplate != nil {
		plate := r.Nameplate.ToDomain()
		q.Nameplate = &plate
	}
	if r.Remains != nil {
		q.Remains = r.Remains.toDomain()
	}
	return q
}

func (r matchRemains) toDomain() *match.Remains {
	out := &match.Remains{
		Wires: each(r.Wires, func(w scrapWire) match.ScrapWire {
			return match.ScrapWire{
				Diameter: w.Diameter.Measured, Coating: orUnknown(w.Coating), Condition: orUnknown(w.Condition), Role: winding.Role(w.Role), Strands: w.Strands,
			}
		}),
		Coils: each(r.Coils, func(n coilCount) match.CoilCount {
			return match.CoilCount{Role: winding.Role(n.Role), Turns: n.Turns.Measured}
		}),
	}
	if m := r.Copper; m != nil {
		out.CopperMain, out.CopperAuxiliary, out.CopperTotal = m.Main.Measured, m.Auxiliary.Measured, m.Total.Measured
	}
	return out
}

func orUnknown(s string) string {
	if s == "" {
		return "unknown"
	}
	return s
}

func viewRange(r unit.Range) bundle.Range {
	return bundle.Range{P05: sixDigits(r.P05), P50: sixDigits(r.P50), P95: sixDigits(r.P95)}
}
