// Package diagram draws a stator as SVG: the core to scale with its measured dimensions, the coils
// in their slots, and the order of joining. The drawings are black on white, told apart by line
// style and labels before colour, made for a phone's width (360 units) and for paper, and the same
// input gives the same bytes.
package diagram

import (
	"fmt"

	"statorbook/internal/errs"
	"statorbook/internal/stator"
	"statorbook/internal/winding"
)

// View names one of the drawings.
type View string

// The views.
const (
	ViewCore       View = "core"       // cross-section to scale with its dimensions
	ViewSlots      View = "slots"      // slot by slot: coils, sense, numbers; a second ring as a ring of its own
	ViewConnection View = "connection" // order of joining with lead names
)

// Views lists the views in the order in which they are offered.
func Views() []View { return []View{ViewCore, ViewSlots, ViewConnection} }

// Input is what is drawn. Status is shown in the drawing: demo, vetted, foreign ...
type Input struct {
	Title, Status string
	Core          stator.Core
	Scheme        winding.Scheme
	MotorType     string
	Connection    winding.Connection // of a three-phase machine, "" if not known
}

// SVG draws one view. It fails with KindImpossible when the core or the scheme does not tell enough for that view.
func SVG(view View, in Input) ([]byte, error) {
	switch view {
	case ViewCore:
		return drawCore(in)
	case ViewSlots:
		return drawSlots(in)
	case ViewConnection:
		return drawConnection(in)
	}
	return nil, errs.New(errs.KindSyntax, fmt.Sprintf("there is no view %q; the views are core, slots and connection", view),
		errs.Field{Parameter: "view", Code: "UNKNOWN_VALUE", Detail: "choose core, slots or connection", Allowed: Views(), Got: string(view)})
}

// tooLittle says which fields a drawing still needs.
func tooLittle(what string, missing ...string) error {
	fields := make([]errs.Field, len(missing))
	for i, name := range missing {
		fields[i] = errs.Field{Pointer: "/core/" + name, Code: "MISSING", Detail: name + " is needed for this drawing"}
	}
	return errs.New(errs.KindImpossible, "The "+what+" cannot be drawn: the record does not tell enough.", fields...)
}

// line gives the stroke of a role: solid, dashes and dots first, since paper has no colour.
func line(role winding.Role) string {
	switch role {
	case winding.Auxiliary, winding.PhaseV:
		return "6 3"
	case winding.Speed:
		return "1.5 3"
	case winding.PhaseW:
		return "9 3 1.5 3"
	}
	return ""
}

// lineWords names the stroke of a role.
func lineWords(role winding.Role) string {
	switch role {
	case winding.Auxiliary, winding.PhaseV:
		return "dashed line"
	case winding.Speed:
		return "dotted line"
	case winding.PhaseW:
		return "dash-and-dot line"
	}
	return "solid line"
}

// roleWords names a role as people read it.
func roleWords(role winding.Role) string {
	switch role {
	case winding.PhaseU:
		return "phase U"
	case winding.PhaseV:
		return "phase V"
	case winding.PhaseW:
		return "phase W"
	}
	return string(role)
}
