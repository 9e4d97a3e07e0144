package winding

import (
	"errors"
	"fmt"
	"math"

	"statorbook/internal/errs"
	"statorbook/internal/unit"
	"statorbook/internal/wire"
)

// Conductor is one conductor of a set: all strands in hand that are wound together.
type Conductor struct {
	Area           unit.SquareMillimetre // metal of all strands
	Strands        int
	Square, Circle unit.SquareMillimetre // room of all strands with enamel: ΣDo² and Σπ·Do²/4; 0 if an overall diameter is not known
	Thickest       unit.Millimetre       // largest overall diameter; the bare one if none is known
	perMetre       float64               // g/m
	conductance    float64               // m/Ω at 20 °C
	metals         []metalShare
}

// metalShare is the share of the conductance that one metal carries, for the temperature.
type metalShare struct {
	metal       wire.Conductor
	conductance float64
}

// ConductorOf resolves the wires of a set. A wire without strands counts once. Errors are
// KindImpossible with pointers relative to the set. ok is false for a set without wires.
func ConductorOf(set CoilSet, t *wire.Table) (c Conductor, ok bool, err error) {
	if len(set.Wires) == 0 {
		return Conductor{}, false, nil
	}
	if t == nil {
		return Conductor{}, false, errs.New(errs.KindInternal, "no wire table")
	}
	var fields []errs.Field
	overall := true
	for i, w := range set.Wires {
		r, err := t.Resolve(w)
		if err != nil {
			fields = append(fields, wireFields(err, i)...)
			continue
		}
		n := float64(r.Strands)
		c.Area += r.TotalArea
		c.Strands += r.Strands
		c.perMetre += r.Density * float64(r.TotalArea)
		g := float64(r.TotalArea) / r.Resistivity
		c.conductance += g
		c.metals = append(c.metals, metalShare{w.Conductor, g})
		do := r.Overall
		if do == 0 {
			overall, do = false, r.Bare
		} else {
			c.Square += unit.SquareMillimetre(n * float64(do*do))
			c.Circle += unit.SquareMillimetre(n) * wire.AreaOf(do)
		}
		c.Thickest = max(c.Thickest, do)
	}
	if len(fields) > 0 {
		return Conductor{}, false, impossible("a wire is not known", fields...)
	}
	if !overall {
		c.Square, c.Circle = 0, 0
	}
	return c, true, nil
}

// namedTwice finds the wires of a scheme that are named twice, and not alike. The figures go by the size.
func namedTwice(s Scheme, t *wire.Table) []errs.Finding {
	var out []errs.Finding
	if t == nil {
		return nil
	}
	for i, set := range s.CoilSets {
		for k, w := range set.Wires {
			if err := t.Clash(w); err != nil {
				out = append(out, errs.Finding{Code: "wire_named_twice", Severity: errs.SeverityWarning, Fields: []string{fmt.Sprintf("scheme.coil_sets[%d].wires[%d]", i, k)}, Message: wireFields(err, k)[0].Detail})
			}
		}
	}
	return out
}

// wireFields points the fields of a wire error at the wire.
func wireFields(err error, i int) []errs.Field {
	at := fmt.Sprintf("/wires/%d", i)
	var e *errs.Error
	if !errors.As(err, &e) || len(e.Fields) == 0 {
		return []errs.Field{{Pointer: at, Code: "WIRE_UNKNOWN", Detail: err.Error()}}
	}
	out := make([]errs.Field, len(e.Fields))
	for k, f := range e.Fields {
		f.Pointer = at + f.Pointer
		if f.Detail == "" {
			f.Detail = e.Detail
		}
		out[k] = f
	}
	return out
}

// ConductorArea is the metal of one turn in mm²: strands in hand times parallel paths, as it is
// asked for in matches. ok is false without wires.
func ConductorArea(set CoilSet, t *wire.Table) (area unit.SquareMillimetre, ok bool, err error) {
	c, ok, err := ConductorOf(set, t)
	return c.Area * unit.SquareMillimetre(Paths(set)), ok, err
}

// Length is the wire length in m of all turns of a set: turns × mean turn.
func Length(turns float64, meanTurn unit.Millimetre) unit.Metre {
	return unit.Metre(turns * float64(meanTurn) / 1000)
}

// Resistance20 is the resistance in Ω at 20 °C of one phase or winding between its ends:
// ρ·(turns of all coils / a)·MLT / (a·A), with a paths in parallel (formula of any text; ρ of package wire).
func (c Conductor) Resistance20(turns float64, meanTurn unit.Millimetre, paths int) unit.Ohm {
	if c.conductance <= 0 || paths < 1 {
		return unit.Ohm(math.NaN())
	}
	return unit.Ohm(float64(Length(turns, meanTurn)) / c.conductance / float64(paths*paths))
}

// TemperatureFactor is R(t)/R(20 °C) of the conductor: (K+t)/(K+20), K of package wire. Strands of
// different metals share the current by their conductance at t.
func (c Conductor) TemperatureFactor(t unit.Celsius) float64 {
	at := 0.0
	for _, m := range c.metals {
		at += m.conductance / wire.TemperatureFactor(m.metal, t)
	}
	return c.conductance / at
}

// Mass is the metal in g of all turns of a set.
func (c Conductor) Mass(turns float64, meanTurn unit.Millimetre) unit.Gram {
	return unit.Gram(c.perMetre * float64(Length(turns, meanTurn)))
}

// EnamelShare is the mass of enamel over the mass of metal that a weighed winding of this state
// carries: 0 for bare, else the middle of 2 to 6 % by build as weighings of small wire show (common
// practice, no source); leads and varnish add more, which nobody knows: the second figure is the uncertainty.
func EnamelShare(state string) (share, sd float64) {
	switch state {
	case "bare":
		return 0, 0
	case "enamelled":
		return 0.035, 0.012
	case "varnished":
		return 0.08, 0.04
	case "with_leads":
		return 0.06, 0.03
	}
	return 0.02, 0.02
}
