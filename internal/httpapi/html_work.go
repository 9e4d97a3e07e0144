package httpapi

import (
	"cmp"
	"encoding/base64"
	"errors"
	"html/template"
	"math"
	"slices"

	"statorbook/internal/acceptance"
	"statorbook/internal/bundle"
	"statorbook/internal/catalog"
	"statorbook/internal/diagram"
	"statorbook/internal/errs"
	"statorbook/internal/winding"
)

// subject is a winding that a page shows: a record, or a proposal.
type subject struct {
	id, title   string
	status      catalog.Status
	application string
	input       winding.AnalysisInput
}

// workView is all that follows from a winding for the bench. What cannot be worked out is named in Faults.
type workView struct {
	Cautions  []cautionView // gravest first
	Core      bundle.Core
	Nameplate bundle.Nameplate
	Scheme    bundle.Scheme
	Analysis  *analysisView
	Materials *materialsView
	Plan      testPlanView
	Drawings  []drawingView
	Coils     []coilsView
	Faults    []string
	Assumed   []assumedView
	Missing   []string
}

// drawingView is a drawing as an image: what is in it can never act on the page.
type drawingView struct {
	View  string
	Image template.URL
}

// coilsView lists the coils of a set, for those who cannot use a drawing.
type coilsView struct {
	Role  string
	Ring  string
	Coils []winding.Coil
}

// workUp asks the same calls as the operations for analysis, materials, test plan and drawings.
func (snap *Snapshot) workUp(s subject) workView {
	v := workView{Core: bundle.CoreOf(s.input.Core), Scheme: bundle.SchemeOf(s.input.Scheme), Missing: []string{}}
	if p := s.input.Nameplate; p != nil {
		v.Nameplate = bundle.NameplateOf(*p)
	}
	cautions := winding.StandardCautions(slices.Concat(winding.TestCautions, winding.ProposalCautions)...)
	if a, err := winding.Analyse(s.input, snap.Wires); err != nil {
		v.fault(err)
	} else {
		view := viewAnalysis(a)
		v.Analysis, v.Assumed, v.Missing = &view, view.Assumed, view.Missing
	}
	if b, err := winding.Materials(s.input, winding.DefaultAllowances(), snap.Wires); err != nil {
		v.fault(err)
	} else {
		view := viewMaterials(catalog.Winding{ID: s.id, Provenance: catalog.Provenance{Status: s.status}}, b)
		v.Materials = &view
		cautions = append(cautions, b.Cautions...)
	}
	plan := acceptance.MakePlan(s.machine(), acceptance.Tables{Wires: snap.Wires, Classes: snap.Classes})
	v.Plan = viewPlan(s.id, s.status, plan)
	v.Cautions = gravestFirst(viewCautions(cautions))
	v.draw(s)
	if coils, _, err := winding.ExpandScheme(s.input.Scheme, s.input.Core); err == nil {
		for i, set := range s.input.Scheme.CoilSets {
			v.Coils = append(v.Coils, coilsView{string(set.Role), cmp.Or(string(set.Ring), string(winding.RingGap)), coils[i]})
		}
	}
	return v
}

// machine is the subject as a motor to be proved.
func (s subject) machine() acceptance.Machine {
	return acceptance.Machine{
		Core: s.input.Core, Nameplate: s.input.Nameplate, Supply: s.input.Supply, Scheme: s.input.Scheme,
		MotorType: s.input.MotorType, Application: s.application, MeanTurns: s.input.MeanTurns,
	}
}

// fault notes why a part is not there, each reason once.
func (v *workView) fault(err error) {
	var known *errs.Error
	if !errors.As(err, &known) || known.Kind == errs.KindInternal {
		return // a fault of ours; the part is missing and nothing of the fault is shown
	}
	texts := []string{sentence(known.Detail)}
	for _, f := range known.Fields {
		texts = append(texts, sentence(f.Detail))
	}
	for _, text := range texts {
		if text != "" && !slices.Contains(v.Faults, text) {
			v.Faults = append(v.Faults, text)
		}
	}
}

// draw adds the drawings that the winding tells enough for.
func (v *workView) draw(s subject) {
	in := diagram.Input{Title: s.title, Status: string(s.status), Core: s.input.Core, Scheme: s.input.Scheme, MotorType: s.input.MotorType}
	if s.input.Nameplate != nil {
		in.Connection = s.input.Nameplate.Connection
	}
	for _, view := range diagram.Views() {
		svg, err := diagram.SVG(view, in)
		if err != nil {
			v.fault(err)
			continue
		}
		v.Drawings = append(v.Drawings, drawingView{string(view), template.URL("data:image/svg+xml;base64," + base64.StdEncoding.EncodeToString(svg))})
	}
}

// formerRow is a former with the windings whose coils it serves; Coils are those of all of them.
type formerRow struct {
	formerView
	Roles []winding.Role
}

// sameTurn is how far the turns of like coils may differ and still be wound on one former: what mass and resistance
// tell of three phases differs by as much (common practice, no source).
const sameTurn = 0.05

// Formers lists each former once, with the mean turn: three like phases, or two windings of the same coils, need but one.
func (v workView) Formers() []formerRow {
	var rows []formerRow
	for _, f := range v.Materials.Formers {
		alike := func(r formerRow) bool {
			return r.Throw == f.Throw && rounded(0.1, r.Length) == rounded(0.1, f.Length) && rounded(0.1, r.Width) == rounded(0.1, f.Width) && math.Abs(r.Perimeter/f.Perimeter-1) <= sameTurn
		}
		at := slices.IndexFunc(rows, alike)
		if at < 0 {
			rows = append(rows, formerRow{f, []winding.Role{f.Role}})
			continue
		}
		all := rows[at].Coils + f.Coils
		rows[at].Perimeter = (rows[at].Perimeter*float64(rows[at].Coils) + f.Perimeter*float64(f.Coils)) / float64(all)
		rows[at].Coils = all
		if !slices.Contains(rows[at].Roles, f.Role) {
			rows[at].Roles = append(rows[at].Roles, f.Role)
		}
	}
	return rows
}

// Weighed is the mass on record of all coil sets, g, where it is more than the cut list says to buy: the list counts
// bare metal, and goes by the resistance or the rule where the mass does not bear it out. 0 otherwise.
func (v workView) Weighed() float64 {
	weighed, buy := 0.0, 0.0
	for _, set := range v.Scheme.CoilSets {
		if !set.Mass.Given {
			return 0
		}
		weighed += set.Mass.Value
	}
	for _, w := range v.Materials.Wires {
		buy += w.Buy
	}
	if weighed <= buy {
		return 0
	}
	return weighed
}

// Drawing gives one drawing, nil if there is none.
func (v workView) Drawing(view string) *drawingView {
	for i, d := range v.Drawings {
		if d.View == view {
			return &v.Drawings[i]
		}
	}
	return nil
}

// gravestFirst sorts cautions by their grade and keeps each once.
func gravestFirst(list []cautionView) []cautionView {
	grade := []winding.CautionSeverity{winding.CautionDanger, winding.CautionWarning, winding.CautionCaution, winding.CautionNotice}
	var out []cautionView
	for _, g := range grade {
		for _, c := range list {
			if c.Severity == g && !slices.Contains(out, c) {
				out = append(out, c)
			}
		}
	}
	return out
}
