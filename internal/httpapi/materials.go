package httpapi

import (
	"statorbook/internal/bundle"
	"statorbook/internal/catalog"
	"statorbook/internal/unit"
	"statorbook/internal/winding"

	"github.com/gin-gonic/gin"
)

// allowance is a parameter of the bill with its range and the place that it sets.
type allowance struct {
	name      string
	low, high float64
	set       func(*winding.Allowances, float64)
}

// allowancesAsked lists what a bench adds to the bare sizes. Lengths in mm; the defaults are the domain's.
var allowancesAsked = []allowance{
	{"cuff_mm", 0, 50, func(a *winding.Allowances, v float64) { a.Cuff = unit.Millimetre(v) }},
	{"liner_lap_mm", 0, 50, func(a *winding.Allowances, v float64) { a.LinerLap = unit.Millimetre(v) }},
	{"wedge_lap_mm", 0, 20, func(a *winding.Allowances, v float64) { a.WedgeLap = unit.Millimetre(v) }},
	{"separator_fold_mm", 0, 20, func(a *winding.Allowances, v float64) { a.SeparatorFold = unit.Millimetre(v) }},
	{"sleeve_joint_mm", 26, 500, func(a *winding.Allowances, v float64) { a.SleeveJoint = unit.Millimetre(v) }},
	{"sleeve_lead_mm", 0, 1000, func(a *winding.Allowances, v float64) { a.SleeveLead = unit.Millimetre(v) }},
	{"lacing_factor", 1, 20, func(a *winding.Allowances, v float64) { a.LacingFactor = v }},
	{"wire_waste_pct", 0, 100, func(a *winding.Allowances, v float64) { a.WireWaste = v / 100 }},
	{"sheet_waste_pct", 0, 100, func(a *winding.Allowances, v float64) { a.SheetWaste = v / 100 }},
	{"former_straight_mm", 0, 100, func(a *winding.Allowances, v float64) { a.FormerStraight = unit.Millimetre(v) }},
}

var paramsMaterials = each(allowancesAsked, func(a allowance) string { return a.name })

// materialsView is what to cut and buy for a record.
type materialsView struct {
	WindingID   string         `json:"winding_id"`
	Status      catalog.Status `json:"status"`
	Liners      []cutView      `json:"liners"`
	Wedges      []cutView      `json:"wedges"`
	Separators  []cutView      `json:"separators"`
	PhasePapers int            `json:"phase_papers"`
	Joints      int            `json:"joints"`
	Leads       int            `json:"leads"`
	Sleeving    float64        `json:"sleeving_mm"`
	Lacing      float64        `json:"lacing_mm"`
	Formers     []formerView   `json:"formers"`
	Wires       []wireNeed     `json:"wires"`
	Varnish     string         `json:"varnish"`
	Allowances  allowancesView `json:"allowances"`
	Missing     []string       `json:"missing"`
	Assumed     []assumedView  `json:"assumed"`
	Cautions    []cautionView  `json:"cautions"`
}

type cutView struct {
	Ring       winding.RingName `json:"ring"`
	Count      int              `json:"count"`
	CountToCut int              `json:"count_to_cut"`
	Length     float64          `json:"length_mm"`
	Width      float64          `json:"width_mm"`
}

type formerView struct {
	Set       int          `json:"set"`
	Role      winding.Role `json:"role"`
	Throw     int          `json:"throw"`
	Coils     int          `json:"coils"`
	Turns     []float64    `json:"turns"`
	Length    float64      `json:"length_mm"`
	Width     float64      `json:"width_mm"`
	Perimeter float64      `json:"perimeter_mm"`
}

type wireNeed struct {
	Wire   bundle.Wire    `json:"wire"`
	Roles  []winding.Role `json:"roles"`
	Length float64        `json:"length_m"`
	Mass   float64        `json:"mass_g"`
	Buy    float64        `json:"buy_g"`
}

type allowancesView struct {
	Cuff           float64 `json:"cuff_mm"`
	LinerLap       float64 `json:"liner_lap_mm"`
	WedgeLap       float64 `json:"wedge_lap_mm"`
	SeparatorFold  float64 `json:"separator_fold_mm"`
	SleeveJoint    float64 `json:"sleeve_joint_mm"`
	SleeveLead     float64 `json:"sleeve_lead_mm"`
	LacingFactor   float64 `json:"lacing_factor"`
	WireWaste      float64 `json:"wire_waste_pct"`
	SheetWaste     float64 `json:"sheet_waste_pct"`
	FormerStraight float64 `json:"former_straight_mm"`
}

// getMaterials answers GET /v1/windings/{id}/materials.
func (s *server) getMaterials(c *gin.Context, q *query) error {
	with := winding.DefaultAllowances()
	for _, a := range allowancesAsked {
		if v, ok := q.number(a.name, a.low, a.high); ok {
			a.set(&with, v)
		}
	}
	w, err := s.recordAsked(c, q)
	if err != nil {
		return err
	}
	bill, err := winding.Materials(w.input, with, w.snap.Wires)
	if err != nil {
		return ofRecord(err)
	}
	return sendTagged(c, viewMaterials(w.Winding, bill), "", cacheCheck)
}

func viewMaterials(w catalog.Winding, b winding.Bill) materialsView {
	a := b.Allowances
	return materialsView{
		WindingID: w.ID, Status: w.Status, Liners: each(b.Liners, viewCut), Wedges: each(b.Wedges, viewCut), Separators: each(b.Separators, viewCut),
		PhasePapers: b.PhasePapers, Joints: b.Joints, Leads: b.Leads, Sleeving: sixDigits(b.Sleeving), Lacing: sixDigits(b.Lacing),
		Formers: each(b.Formers, func(f winding.Former) formerView {
			return formerView{f.Set, f.Role, f.Throw, f.Coils, filled(f.Turns), sixDigits(f.Length), sixDigits(f.Width), sixDigits(f.Perimeter)}
		}),
		Wires: each(b.Wires, func(n winding.WireNeed) wireNeed {
			return wireNeed{bundle.WireOf(n.Wire), filled(n.Roles), sixDigits(n.Metre), sixDigits(n.Mass), sixDigits(n.Buy)}
		}),
		Varnish: sentence(b.Varnish), Missing: filled(b.Missing), Assumed: viewAssumed(b.Assumed), Cautions: viewCautions(b.Cautions),
		Allowances: allowancesView{
			float64(a.Cuff), float64(a.LinerLap), float64(a.WedgeLap), float64(a.SeparatorFold), float64(a.SleeveJoint), float64(a.SleeveLead),
			a.LacingFactor, sixDigits(100 * a.WireWaste), sixDigits(100 * a.SheetWaste), float64(a.FormerStraight),
		},
	}
}

func viewCut(c winding.Cut) cutView {
	return cutView{c.Ring, c.Count, c.CountToCut, sixDigits(c.Length), sixDigits(c.Width)}
}
