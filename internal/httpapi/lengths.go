package httpapi

import (
	"fmt"

	"statorbook/internal/bundle"
	"statorbook/internal/errs"
	"statorbook/internal/jsonin"
	"statorbook/internal/wire"

	"github.com/gin-gonic/gin"
)

// lengthRequest is what is known of a coil. What can be reckoned follows from what is given.
type lengthRequest struct {
	Wires       []bundle.Wire `json:"wires" in:"required,minitems=1,maxitems=8"`
	Turns       bundle.M      `json:"turns" in:"min=0.001,max=200000"`
	MeanTurn    bundle.M      `json:"mean_turn_mm" in:"min=0.1,max=20000"`
	Mass        bundle.M      `json:"mass_g" in:"min=0.001,max=1000000"`
	MassState   string        `json:"mass_state" in:"enum=bare|enamelled"`
	Resistance  bundle.M      `json:"resistance_ohm" in:"min=0.000001,max=1000000"`
	Temperature bundle.M      `json:"temperature_c" in:"min=-50,max=300"`
}

// lengthView holds every figure that the given ones lead to.
type lengthView struct {
	Length                 *coilLengthView `json:"length,omitempty"`
	TurnsFromMass          *estimateView   `json:"turns_from_mass,omitempty"`
	TurnsFromResistance    *estimateView   `json:"turns_from_resistance,omitempty"`
	MeanTurnFromResistance *estimateView   `json:"mean_turn_from_resistance_mm,omitempty"`
	Assumed                []assumedView   `json:"assumed"`
	Missing                []string        `json:"missing"`
}

// coilLengthView is the forward arithmetic: turns and mean turn to length, mass, resistance.
type coilLengthView struct {
	Length        estimateView   `json:"length_m"`
	WireLengths   []estimateView `json:"wire_lengths_m"`
	Masses        []estimateView `json:"masses_g"`
	Mass          estimateView   `json:"mass_g"`
	Resistance20  estimateView   `json:"resistance_20c_ohm"`
	ResistanceAt  resistanceAt   `json:"resistance_at"`
	ConductorArea float64        `json:"conductor_area_mm2"`
}

type resistanceAt struct {
	Temperature float64      `json:"temperature_c"`
	Resistance  estimateView `json:"resistance_ohm"`
}

// postLength answers POST /v1/wire-lengths.
func (s *server) postLength(c *gin.Context, q *query) error {
	var req lengthRequest
	if err := decodeBody(c, q, &req, jsonin.Single); err != nil {
		return err
	}
	snap, err := s.snapshot()
	if err != nil {
		return err
	}
	coil := req.toDomain()
	view, err := reckonLength(snap.Wires, coil)
	if err != nil {
		return err
	}
	view.note(coil, req.MassState == "")
	return sendJSON(c, view)
}

func (r lengthRequest) toDomain() wire.Coil {
	return wire.Coil{
		Wires: bundle.WiresToDomain(r.Wires), Turns: r.Turns.Measured, MeanTurn: r.MeanTurn.Measured, Mass: r.Mass.Measured,
		Resistance: r.Resistance.Measured, Temperature: r.Temperature.Measured, Enamelled: r.MassState == "enamelled",
	}
}

// reckonLength asks for everything that the given figures lead to. Nothing at all is a refusal that names the choices.
func reckonLength(table *wire.Table, coil wire.Coil) (lengthView, error) {
	view := lengthView{Assumed: []assumedView{}, Missing: []string{}}
	if coil.Turns.Given && coil.MeanTurn.Given {
		l, err := table.Length(coil)
		if err != nil {
			return lengthView{}, err
		}
		view.Length = viewCoilLength(l)
	}
	for _, way := range []struct {
		into   **estimateView
		given  bool
		reckon func(wire.Coil) (wire.Estimate, error)
	}{
		{&view.TurnsFromMass, coil.Mass.Given && coil.MeanTurn.Given, table.TurnsFromMass},
		{&view.TurnsFromResistance, coil.Resistance.Given && coil.MeanTurn.Given, table.TurnsFromResistance},
		{&view.MeanTurnFromResistance, coil.Resistance.Given && coil.Turns.Given, table.MeanTurnFromResistance},
	} {
		if !way.given {
			continue
		}
		e, err := way.reckon(coil)
		if err != nil {
			return lengthView{}, err
		}
		v := viewEstimate(e)
		*way.into = &v
	}
	if view.Length == nil && view.TurnsFromMass == nil && view.TurnsFromResistance == nil && view.MeanTurnFromResistance == nil {
		return lengthView{}, errs.New(errs.KindImpossible, "", errs.Field{Code: jsonin.CodeRequired,
			Detail: "Give two that go together: turns and mean_turn_mm; mass_g and mean_turn_mm; resistance_ohm and mean_turn_mm; or resistance_ohm and turns."})
	}
	return view, nil
}

// note says what was taken for granted and what would tell more.
func (v *lengthView) note(coil wire.Coil, stateUntold bool) {
	if !coil.Temperature.Given && (v.Length != nil || coil.Resistance.Given) {
		v.Assumed = append(v.Assumed, assumedView{"temperature_c", float64(wire.ReferenceTemperature), "No temperature was given; resistance is taken at 20 °C, a measured one give or take 8 K."})
	}
	if coil.Mass.Given && stateUntold {
		v.Assumed = append(v.Assumed, assumedView{"mass_state", "bare", "The mass is taken as bare conductor unless mass_state is enamelled."})
	}
	for _, s := range coil.TakenSpreads() {
		v.Assumed = append(v.Assumed, assumedView{s.Field + ".uncertainty", sixDigits(s.Absolute), fmt.Sprintf("No uncertainty was stated; %g %% is taken (common practice).", 100*s.Relative)})
	}
	for _, f := range []struct {
		name  string
		given bool
	}{{"turns", coil.Turns.Given}, {"mean_turn_mm", coil.MeanTurn.Given}} {
		if !f.given && v.Length == nil {
			v.Missing = append(v.Missing, f.name)
		}
	}
}

func viewCoilLength(l wire.CoilLength) *coilLengthView {
	return &coilLengthView{
		Length: viewEstimate(l.Length), WireLengths: each(l.WireLengths, viewEstimate), Masses: each(l.Masses, viewEstimate), Mass: viewEstimate(l.Mass),
		Resistance20: viewEstimate(l.Resistance20), ResistanceAt: resistanceAt{l.Temperature, viewEstimate(l.Resistance)}, ConductorArea: sixDigits(l.ConductorArea),
	}
}
