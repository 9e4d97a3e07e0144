package simworld

import (
	"math"

	"statorbook/internal/stator"
	"statorbook/internal/unit"
)

// errorForm is the shape of a person's reading errors.
type errorForm int

const (
	normalErrors  errorForm = iota // careful and practised
	studentErrors                  // t with 6 degrees of freedom: now and then a bad one
	laplaceErrors                  // hurried
)

// technician is the person at the bench for one session, with his instruments.
type technician struct {
	form    errorForm
	scale   float64 // of his errors
	zero    float64 // mm, zero error of the calliper: adds outside, takes off inside
	step    float64 // mm, smallest step of the calliper
	lacks   [5]bool // what he cannot measure, by dimKind
	burr    float64 // mm, teeth read wide by burrs and old varnish, mean
	states  bool    // states an uncertainty with each reading
	honesty float64 // stated / true uncertainty
}

// Chances that a dimension is not read although the instrument is there.
var queryMiss = map[string]float64{
	"gap_diameter_mm": 0.22, "back_diameter_mm": 0.24, "stack_length_mm": 0.18, "tooth_width_mm": 0.28, "slot_depth_mm": 0.3, "slot_opening_mm": 0.45, "back_iron_mm": 0.45, "slot_area_mm2": 0.8,
	"second_ring.tooth_width_mm": 0.6, "second_ring.slot_depth_mm": 0.7, "second_ring.slot_opening_mm": 0.6, "second_ring.slot_area_mm2": 0.9,
}

// hire draws a technician.
func (w *World) hire(d dice) technician {
	c := &w.c
	t := technician{form: errorForm(d.index(0.35, 0.45, 0.2)), zero: d.normal(c.Bias), step: []float64{0.01, 0.02, 0.05, 0.1, 0.5}[d.index(0.3, 0.2, 0.25, 0.2, 0.05)],
		burr: c.Burr * d.spread(0.5), states: d.chance(0.45), honesty: d.spread(0.3)}
	t.scale = c.Caliper * []float64{0.6, 1, 1.6}[t.form] * d.spread(0.2)
	t.lacks[depths] = d.chance(0.2 * c.Miss)
	t.lacks[widths] = d.chance(0.08 * c.Miss)
	return t
}

// err is one reading error with standard deviation about sd.
func (t *technician) err(d dice, sd float64) float64 {
	sd *= t.scale
	switch t.form {
	case normalErrors:
		return d.normal(sd)
	case studentErrors:
		return d.student(6, sd*0.82)
	}
	return d.laplace(sd)
}

// inside tells whether a dimension is read with the inside jaws or the depth rod.
func inside(dim dimension, rotor stator.RotorPosition) bool {
	switch dim.name {
	case "gap_diameter_mm":
		return rotor == stator.RotorInside
	case "back_diameter_mm":
		return rotor == stator.RotorOutside
	case "slot_depth_mm", "slot_opening_mm", "second_ring.slot_depth_mm", "second_ring.slot_opening_mm":
		return true
	}
	return false
}

// read is the core of a stator as the technician types it in; fields with a gross error are named.
func (t *technician) read(d dice, exact stator.Core, c *constants) (core stator.Core, blunders []string) {
	core = copyCore(exact)
	for _, dim := range dimensions(&core) {
		if t.lacks[dim.kind] || d.chance(math.Min(0.97, c.Miss*queryMiss[dim.name])) {
			*dim.at = unit.Measured{}
			continue
		}
		sd := dim.sd
		if dim.area {
			sd *= dim.at.Value
		}
		v := dim.at.Value + t.err(d, sd)
		step := t.step
		switch {
		case dim.area:
			step = 0.5
		case dim.name == "stack_length_mm":
			step = max(step, 0.1)
		}
		if !dim.area {
			v += map[bool]float64{true: -t.zero, false: t.zero}[inside(dim, exact.RotorPosition)]
		}
		if dim.name == "tooth_width_mm" || dim.name == "second_ring.tooth_width_mm" {
			v += d.r.ExpFloat64() * t.burr
		}
		m := read(math.Max(v, 2*step), step)
		if d.chance(c.Gross) {
			m, _ = blunder(d, m)
			blunders = append(blunders, dim.name)
		}
		if t.states {
			m.Uncertainty = significant(sd*t.scale*t.honesty, 2).Value
		}
		*dim.at = m
	}
	if !core.SlotArea.Given {
		core.SlotAreaBasis = ""
	}
	core.SlotShape = ""
	if r := core.SecondRing; r != nil {
		r.TurnedSlots = unit.Measured{}
	}
	return core, blunders
}
