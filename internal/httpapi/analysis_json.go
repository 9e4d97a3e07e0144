package httpapi

import (
	"statorbook/internal/bundle"
	"statorbook/internal/stator"
	"statorbook/internal/winding"
)

// analysisView is all that follows from a scheme on a core. An absent figure could not be
// computed; missing says what it lacks.
type analysisView struct {
	Poles            int                   `json:"poles,omitzero"`
	Roles            []roleView            `json:"roles"`
	Displacement     *float64              `json:"displacement_deg,omitempty"`
	TurnsRatio       *float64              `json:"turns_ratio,omitempty"`
	FluxPerPole      *float64              `json:"flux_per_pole_mwb,omitempty"`
	Densities        *densitiesView        `json:"densities,omitempty"`
	AverageGap       *float64              `json:"average_gap_t,omitempty"`
	Fill             []slotFillView        `json:"fill"`
	Slots            []slotView            `json:"slots"`
	Speed            *speedView            `json:"speed,omitempty"`
	Capacitor        *capacitorView        `json:"capacitor,omitempty"`
	EMF              *float64              `json:"emf_v,omitempty"`
	AmpereConductors *float64              `json:"ampere_conductors_per_m,omitempty"`
	Terminals        []terminalView        `json:"terminals,omitempty"`
	Methods          map[string]methodView `json:"methods"`
	Missing          []string              `json:"missing"`
	Assumed          []assumedView         `json:"assumed"`
	Findings         []bundle.Finding      `json:"findings"`
}

type roleView struct {
	Set            int              `json:"set"`
	Role           winding.Role     `json:"role"`
	Ring           winding.RingName `json:"ring"`
	Coils          int              `json:"coils"`
	TotalTurns     float64          `json:"total_turns"`
	SeriesTurns    float64          `json:"series_turns"`
	WindingFactor  *float64         `json:"winding_factor,omitempty"`
	Harmonics      []harmonicView   `json:"harmonics"`
	AxisDeg        *float64         `json:"axis_deg,omitempty"`
	EffectiveTurns *float64         `json:"effective_turns,omitempty"`
	MeanTurn       *float64         `json:"mean_turn_mm,omitempty"`
	MeanTurns      []spanView       `json:"mean_turns,omitempty"`
	Length         *float64         `json:"length_m,omitempty"`
	Resistance20   *float64         `json:"resistance_20c_ohm,omitempty"`
	ResistanceAt   *warmView        `json:"resistance_at,omitempty"`
	Mass           *float64         `json:"mass_g,omitempty"`
	ConductorArea  *float64         `json:"conductor_area_mm2,omitempty"`
	CurrentDensity *float64         `json:"current_density_a_per_mm2,omitempty"`
}

type harmonicView struct {
	Order  int     `json:"order"`
	Factor float64 `json:"factor"`
}

type spanView struct {
	Span     int     `json:"span"`
	Coils    int     `json:"coils"`
	MeanTurn float64 `json:"mean_turn_mm"`
}

type warmView struct {
	Temperature float64 `json:"temperature_c"`
	Ohm         float64 `json:"resistance_ohm"`
}

type slotFillView struct {
	Ring       winding.RingName `json:"ring"`
	Slot       int              `json:"slot"`
	Conductors float64          `json:"conductors"`
	fillView
	Area      float64          `json:"area_mm2"`
	AreaBasis stator.AreaBasis `json:"area_basis,omitempty"`
}

type slotView struct {
	Ring  winding.RingName `json:"ring"`
	Slot  int              `json:"slot"`
	Turns float64          `json:"turns"`
	Sides []sideView       `json:"sides"`
}

type sideView struct {
	Set   int          `json:"set"`
	Role  winding.Role `json:"role"`
	Coil  int          `json:"coil"`  // counted from 1
	Sense string       `json:"sense"` // in|out
	Turns float64      `json:"turns"`
}

type speedView struct {
	Synchronous float64  `json:"synchronous_rpm"`
	Slip        *float64 `json:"slip,omitempty"`
}

type capacitorView struct {
	UF             *float64 `json:"uf,omitempty"`
	Volts          float64  `json:"voltage_v"`
	HighestSupply  float64  `json:"highest_supply_v"`
	RatedVolts     *float64 `json:"rated_v,omitempty"`
	PlausibleLow   *float64 `json:"plausible_low_uf,omitempty"`
	PlausibleHigh  *float64 `json:"plausible_high_uf,omitempty"`
	PlausibleBasis string   `json:"plausible_basis,omitempty"`
	BalancedUF     *float64 `json:"balanced_uf,omitempty"`
	AuxiliaryAmps  *float64 `json:"auxiliary_current_a,omitempty"`
}

type terminalView struct {
	Pair         string  `json:"pair"`
	Resistance20 float64 `json:"resistance_20c_ohm"`
}

type methodView struct {
	Method string   `json:"method"`
	Inputs []string `json:"inputs"`
}

func viewAnalysis(a winding.Analysis) analysisView {
	v := analysisView{
		Poles: a.Poles, Roles: each(a.Roles, viewRole), Displacement: optional(a.Displacement), TurnsRatio: optional(a.TurnsRatio),
		FluxPerPole: optional(a.FluxPerPole), Densities: viewDensities(a.Densities), AverageGap: optional(a.AverageGap),
		Fill: each(a.Fill, viewSlotFill), Slots: each(a.Slots, viewSlot), EMF: optional(a.EMF), AmpereConductors: optional(a.AmpereConductors),
		Terminals: each(a.Terminals, func(t winding.Terminal) terminalView { return terminalView{t.Pair, sixDigits(t.Resistance20)} }),
		Methods:   make(map[string]methodView, len(a.Methods)), Missing: filled(a.Missing), Assumed: viewAssumed(a.Assumed), Findings: viewFindings(a.Findings),
	}
	for figure, m := range a.Methods {
		v.Methods[figure] = methodView{m.Method, filled(m.Inputs)}
	}
	if s := a.Speed; s != nil {
		v.Speed = &speedView{sixDigits(s.Synchronous), optional(s.Slip)}
	}
	if c := a.Capacitor; c != nil {
		v.Capacitor = &capacitorView{
			optional(c.UF), sixDigits(c.Volts), sixDigits(c.HighestSupply), optional(c.RatedVolts), optional(c.PlausibleLow), optional(c.PlausibleHigh),
			c.PlausibleBasis, optional(c.BalancedUF), optional(c.AuxiliaryAmps),
		}
	}
	return v
}

func viewRole(r winding.RoleAnalysis) roleView {
	v := roleView{
		Set: r.Set, Role: r.Role, Ring: r.Ring, Coils: r.Coils, TotalTurns: sixDigits(r.TotalTurns), SeriesTurns: sixDigits(r.SeriesTurns),
		WindingFactor: optional(r.WindingFactor), AxisDeg: optional(r.AxisDeg), EffectiveTurns: optional(r.EffectiveTurns),
		Harmonics: each(r.Harmonics, func(h winding.Harmonic) harmonicView { return harmonicView{h.Order, sixDigits(h.Factor)} }),
		MeanTurns: each(r.MeanTurns, func(s winding.SpanTurn) spanView { return spanView{s.Span, s.Coils, sixDigits(s.MeanTurn)} }),
		MeanTurn:  optional(r.MeanTurn), Length: optional(r.Length), Resistance20: optional(r.Resistance20), Mass: optional(r.Mass),
		ConductorArea: optional(r.ConductorArea), CurrentDensity: optional(r.CurrentDensity),
	}
	if w := r.ResistanceAt; w != nil {
		v.ResistanceAt = &warmView{float64(w.Temperature), sixDigits(w.Ohm)}
	}
	return v
}

func viewSlotFill(f winding.SlotFill) slotFillView {
	return slotFillView{f.Ring, f.Slot, f.Conductors, viewFill(f.Fill), sixDigits(f.Area), f.AreaBasis}
}

func viewSlot(s winding.SlotUse) slotView {
	return slotView{s.Ring, s.Number, sixDigits(s.Turns()), each(s.Sides, func(side winding.Side) sideView {
		v := sideView{side.Set, side.Role, side.Coil + 1, "in", sixDigits(side.Turns)}
		if side.Out {
			v.Sense = "out"
		}
		return v
	})}
}
