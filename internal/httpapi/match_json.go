package httpapi

import (
	"statorbook/internal/bundle"
	"statorbook/internal/match"
	"statorbook/internal/unit"
	"statorbook/internal/winding"
)

// matchView is the answer of a match. The probabilities of the candidates, unlisted_probability and
// none.winding add up to 1.
type matchView struct {
	Revision     int64            `json:"catalogue_revision"`
	Understood   matchRequest     `json:"understood"`
	Candidates   []candidateView  `json:"candidates"`
	Unlisted     float64          `json:"unlisted_probability"`
	Cores        []coreView       `json:"cores"`
	None         noneView         `json:"none"`
	Overall      []roleRangeView  `json:"overall"`
	Proposals    []proposalView   `json:"proposals"`
	Readings     []readAsView     `json:"readings"`
	Next         []nextView       `json:"next"`
	Extrapolated []outsideView    `json:"extrapolated"`
	Assumed      []assumedView    `json:"assumed"`
	Findings     []bundle.Finding `json:"findings"`
	Decided      *decidedView     `json:"decided,omitempty"`
	Status       string           `json:"status"`
	Cautions     []cautionView    `json:"cautions"`
}

type candidateView struct {
	WindingID   string           `json:"winding_id"`
	CoreID      string           `json:"core_id"`
	FamilyID    string           `json:"family_id"`
	Probability float64          `json:"probability"`
	Status      string           `json:"status"`
	Comparison  []comparisonView `json:"comparison"`
}

type comparisonView struct {
	Field      string  `json:"field"`
	Measured   float64 `json:"measured"`
	OnRecord   float64 `json:"on_record"`
	Deviations float64 `json:"deviations"`
}

type coreView struct {
	CoreID      string  `json:"core_id"`
	FamilyID    string  `json:"family_id"`
	Probability float64 `json:"probability"`
}

type noneView struct {
	Winding float64 `json:"winding"`
	Core    float64 `json:"core"`
	Family  float64 `json:"family"`
}

type roleRangeView struct {
	Role          winding.Role `json:"role"`
	SeriesTurns   bundle.Range `json:"series_turns"`
	ConductorArea bundle.Range `json:"conductor_area_mm2"`
}

type proposalView struct {
	Probability float64           `json:"probability"`
	Basis       basisOfView       `json:"basis"`
	Scheme      bundle.Scheme     `json:"scheme"`
	CoilSets    []proposedSetView `json:"coil_sets"`
	Capacitor   *capacitorRange   `json:"capacitor,omitempty"`
	Densities   *densitiesView    `json:"densities,omitempty"`
	Findings    []bundle.Finding  `json:"findings"`
}

// basisOfView tells what a proposal rests on.
type basisOfView struct {
	Method     string   `json:"method"`
	WindingIDs []string `json:"winding_ids"`
	Steps      []string `json:"steps"`
}

type proposedSetView struct {
	Role           winding.Role   `json:"role"`
	TurnsPerCoil   []bundle.Range `json:"turns_per_coil"`
	SeriesTurns    bundle.Range   `json:"series_turns"`
	ConductorArea  bundle.Range   `json:"conductor_area_mm2"`
	Wires          []bundle.Wire  `json:"wires"`
	FromStock      bool           `json:"from_stock"`
	Fill           *fillView      `json:"fill,omitempty"`
	CurrentDensity *float64       `json:"current_density_a_per_mm2,omitempty"`
	Resistance20   bundle.Range   `json:"resistance_20c_ohm"`
	Mass           bundle.Range   `json:"mass_g"`
}

type capacitorRange struct {
	UF       bundle.Range `json:"uf"`
	VoltageV float64      `json:"voltage_v"` // at the highest supply
}

type readAsView struct {
	Field       string  `json:"field"`
	Typed       float64 `json:"typed"`
	ReadAs      float64 `json:"read_as"`
	Probability float64 `json:"probability"`
}

type nextView struct {
	Field string  `json:"field"`
	Bits  float64 `json:"bits"`
	How   string  `json:"how"`
}

type outsideView struct {
	Field string  `json:"field"`
	Value float64 `json:"value"`
	Low   float64 `json:"low"`
	High  float64 `json:"high"`
}

type decidedView struct {
	CoreID      string  `json:"core_id,omitempty"`
	None        bool    `json:"none,omitempty"`
	Probability float64 `json:"probability"`
	Text        string  `json:"text"`
}

// viewMatch builds the answer. Probabilities keep all their digits, so that they add up.
func viewMatch(revision int64, req matchRequest, a match.Answer) matchView {
	v := matchView{
		Revision: revision, Understood: req, Unlisted: a.UnlistedProbability, None: noneView(a.None), Status: a.Status,
		Candidates: each(a.Candidates, viewCandidate),
		Cores:      each(a.Cores, func(c match.CoreProbability) coreView { return coreView(c) }),
		Overall: each(a.Overall, func(r match.RoleRange) roleRangeView {
			return roleRangeView{r.Role, viewRange(r.SeriesTurns), viewRange(r.ConductorArea)}
		}),
		Proposals: each(a.Proposals, viewProposal),
		Readings: each(a.Readings, func(r match.ReadAs) readAsView {
			return readAsView{r.Field, r.Typed, sixDigits(r.ReadAs), r.Probability}
		}),
		Next:         each(a.Next, func(n match.Next) nextView { return nextView{n.Field, sixDigits(n.Bits), sentence(n.How)} }),
		Extrapolated: each(a.Extrapolated, func(e match.Extrapolated) outsideView { return outsideView(e) }),
		Assumed:      viewAssumed(a.Assumed), Findings: viewFindings(a.Findings), Cautions: viewCautions(a.Cautions),
	}
	if d := a.Decided; d != nil {
		v.Decided = &decidedView{d.CoreID, d.None, d.Probability, sentence(d.Text)}
	}
	return v
}

func viewCandidate(c match.Candidate) candidateView {
	return candidateView{
		WindingID: c.WindingID, CoreID: c.CoreID, FamilyID: c.FamilyID, Probability: c.Probability, Status: c.Status,
		Comparison: each(c.Comparison, func(m match.Comparison) comparisonView {
			return comparisonView{m.Field, m.Measured, sixDigits(m.OnRecord), sixDigits(m.Deviations)}
		}),
	}
}

func viewProposal(p match.Proposal) proposalView {
	v := proposalView{
		Probability: p.Probability,
		Basis:       basisOfView{p.Basis.Method, filled(p.Basis.WindingIDs), each(p.Basis.Steps, sentence)},
		Scheme:      bundle.SchemeOf(p.Scheme), CoilSets: each(p.CoilSets, viewProposedSet),
		Densities: viewDensities(p.Densities), Findings: viewFindings(p.Findings),
	}
	if c := p.Capacitor; c != nil {
		v.Capacitor = &capacitorRange{viewRange(c.UF), sixDigits(c.VoltageV)}
	}
	return v
}

func viewProposedSet(s match.ProposedSet) proposedSetView {
	v := proposedSetView{
		Role: s.Role, TurnsPerCoil: each(s.TurnsPerCoil, func(r unit.Range) bundle.Range { return viewRange(r) }),
		SeriesTurns: viewRange(s.SeriesTurns), ConductorArea: viewRange(s.ConductorArea), Wires: bundle.WiresOf(s.Wires), FromStock: s.FromStock,
		CurrentDensity: optional(s.CurrentDensity), Resistance20: viewRange(s.Resistance20), Mass: viewRange(s.Mass),
	}
	if s.Fill != nil {
		f := viewFill(*s.Fill)
		v.Fill = &f
	}
	return v
}
