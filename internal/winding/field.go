package winding

import (
	"math"

	"statorbook/internal/stator"
	"statorbook/internal/unit"
)

// EMFConstant is √2·π = 4.44288; books print 4.44. One constant for the whole service.
const EMFConstant = math.Sqrt2 * math.Pi

// DefaultStacking is the stacking factor of 0.5 mm laminations (band 0.92 to 0.97; a lecture's slides
// use 0.9, common practice 0.95): net iron / stack length.
const DefaultStacking = 0.95

// Back EMF over applied volts (common practice: 0.90-0.98 for three phases, 0.80-0.96 for the main
// winding of a small single-phase motor).
const (
	BackEMFThreePhase  = 0.95
	BackEMFSinglePhase = 0.93
)

// EMF is the RMS voltage of a winding: √2·π·f·N·kw·Φ, N turns in series in one path.
func EMF(f unit.Hertz, seriesTurns, kw float64, flux unit.Milliweber) unit.Volt {
	return unit.Volt(EMFConstant * float64(f) * seriesTurns * kw * float64(flux) / 1000)
}

// FluxPerPole is the flux that an EMF needs: the EMF equation solved for Φ. It is +Inf for no turns.
func FluxPerPole(e unit.Volt, f unit.Hertz, seriesTurns, kw float64) unit.Milliweber {
	return unit.Milliweber(1000 * float64(e) / (EMFConstant * float64(f) * seriesTurns * kw))
}

// SeriesTurnsFor is the EMF equation solved for the turns in series.
func SeriesTurnsFor(e unit.Volt, f unit.Hertz, kw float64, flux unit.Milliweber) float64 {
	return 1000 * float64(e) / (EMFConstant * float64(f) * kw * float64(flux))
}

// WindingVolts is the voltage of one phase or winding from the line voltage: V/√3 in star, else V.
func WindingVolts(line unit.Volt, by Connection) unit.Volt {
	if by == ConnStar {
		return line / unit.Volt(math.Sqrt(3))
	}
	return line
}

// PeakGapDensity is the peak of a sine field in T from the flux of a pole: Φ·P/(2·D·L); the
// average over the pole is 2/π of it. Lengths in mm.
func PeakGapDensity(flux unit.Milliweber, poles int, gap, stack unit.Millimetre) unit.Tesla {
	return unit.Tesla(1000 * float64(flux) * float64(poles) / (2 * float64(gap) * float64(stack)))
}

// GapFlux is PeakGapDensity solved for the flux.
func GapFlux(peak unit.Tesla, poles int, gap, stack unit.Millimetre) unit.Milliweber {
	return unit.Milliweber(2 * float64(peak) * float64(gap) * float64(stack) / (1000 * float64(poles)))
}

// AverageGapDensity is the average over a pole pitch: (2/π) × peak.
func AverageGapDensity(peak unit.Tesla) unit.Tesla { return peak * 2 / math.Pi }

// ToothDensityOf is the peak density in T of a tooth of a sine field, exact for equal teeth:
// Φ·sin(π·P/(2·Q))/(b·L·kfe). The many-slot form (π/2)·Φ·P/(Q·b·L·kfe) overstates it by 57 % at one
// slot per pole, 11 % at two and 1.1 % at six. teeth counts all openings on the circle.
func ToothDensityOf(flux unit.Milliweber, poles, teeth int, width, stack unit.Millimetre, stacking float64) unit.Tesla {
	share := math.Sin(math.Pi * float64(poles) / (2 * float64(teeth)))
	return unit.Tesla(1000 * float64(flux) * share / (float64(width) * float64(stack) * stacking))
}

// ToothFlux is ToothDensityOf solved for the flux.
func ToothFlux(peak unit.Tesla, poles, teeth int, width, stack unit.Millimetre, stacking float64) unit.Milliweber {
	share := math.Sin(math.Pi * float64(poles) / (2 * float64(teeth)))
	return unit.Milliweber(float64(peak) * float64(width) * float64(stack) * stacking / (1000 * share))
}

// BackIronDensity is Φ/(2·h·L·kfe) in T: half of a pole's flux goes each way behind the slots.
func BackIronDensity(flux unit.Milliweber, depth, stack unit.Millimetre, stacking float64) unit.Tesla {
	return unit.Tesla(1000 * float64(flux) / (2 * float64(depth) * float64(stack) * stacking))
}

// BackIronFlux is BackIronDensity solved for the flux.
func BackIronFlux(peak unit.Tesla, depth, stack unit.Millimetre, stacking float64) unit.Milliweber {
	return unit.Milliweber(2 * float64(peak) * float64(depth) * float64(stack) * stacking / 1000)
}

// ironPart is a part of the core that carries a known share of the flux.
type ironPart struct {
	ring  RingName
	part  string // tooth|slit_leg|back_iron
	width unit.Millimetre
	teeth int // openings on the circle; 0 for back iron
	field string
}

// ironParts lists the parts of a core whose width is known, and the fields that would add more.
// With a second ring the slits split the teeth at the gap: their legs count the openings of both rings.
func ironParts(core stator.Core) (parts []ironPart, missing []string) {
	tooth := func(ring RingName, m unit.Measured, teeth int, field string) {
		if m.Given && teeth > 0 {
			parts = append(parts, ironPart{ring, "tooth", unit.Millimetre(m.Value), teeth, field})
		} else {
			missing = append(missing, field)
		}
	}
	tooth(RingGap, core.ToothWidth, core.Slots, "tooth_width_mm")
	if core.SecondRing != nil {
		back := stator.RingSlots(core, true)
		if leg, ok := stator.SlitLeg(core); ok && core.Slots > 0 {
			parts = append(parts, ironPart{RingGap, "slit_leg", leg, core.Slots + back, "second_ring.slot_opening_mm"})
		} else {
			missing = append(missing, "second_ring.slot_opening_mm")
		}
		tooth(RingBack, core.SecondRing.ToothWidth, back, "second_ring.tooth_width_mm")
	}
	if iron, ok := stator.BackIronOf(core); ok {
		parts = append(parts, ironPart{RingGap, "back_iron", iron.Value, 0, "back_iron_mm"})
	} else {
		missing = append(missing, "back_iron_mm")
	}
	return parts, missing
}

// density of a part at a flux.
func (p ironPart) density(flux unit.Milliweber, poles int, stack unit.Millimetre) unit.Tesla {
	if p.teeth == 0 {
		return BackIronDensity(flux, p.width, stack, DefaultStacking)
	}
	return ToothDensityOf(flux, poles, p.teeth, p.width, stack, DefaultStacking)
}

// flux that brings a part to a density.
func (p ironPart) flux(peak unit.Tesla, poles int, stack unit.Millimetre) unit.Milliweber {
	if p.teeth == 0 {
		return BackIronFlux(peak, p.width, stack, DefaultStacking)
	}
	return ToothFlux(peak, poles, p.teeth, p.width, stack, DefaultStacking)
}

// DensitiesAt gives all densities of a core at a flux, with the stacking factor DefaultStacking. ok is false without stack
// length or poles; missing lists the fields that would add more.
func DensitiesAt(core stator.Core, poles int, flux unit.Milliweber) (d Densities, missing []string, ok bool) {
	parts, missing := ironParts(core)
	if !core.GapDiameter.Given {
		missing = append(missing, "gap_diameter_mm")
	}
	if !core.StackLength.Given || poles <= 0 {
		return Densities{}, append(missing, "stack_length_mm"), false
	}
	stack := unit.Millimetre(core.StackLength.Value)
	if core.GapDiameter.Given {
		d.Gap = float64(PeakGapDensity(flux, poles, unit.Millimetre(core.GapDiameter.Value), stack))
	}
	for _, p := range parts {
		t := float64(p.density(flux, poles, stack))
		if p.teeth == 0 {
			d.BackIron = t
		} else {
			d.Teeth = append(d.Teeth, ToothDensity{Ring: p.ring, Part: p.part, T: t})
		}
	}
	return d, missing, true
}

// FluxLimit is the flux that one part of a core allows, or the gap usually carries.
type FluxLimit struct {
	Part  string // tooth, slit_leg, back_iron, gap; "back " in front for the second ring
	Field string
	Flux  unit.Milliweber
}

// Densities that limit the flux of a blank core (common practice: teeth 1.5 T, back iron 1.3 T, average
// in the gap at most 0.5 T; bands in the check table).
const (
	LimitTooth      unit.Tesla = 1.5
	LimitBackIron   unit.Tesla = 1.3
	LimitGapAverage unit.Tesla = 0.5
)

// FluxLimits lists what each part of a core allows for a number of poles, smallest first. Empty
// without stack length or poles.
func FluxLimits(core stator.Core, poles int) []FluxLimit {
	if !core.StackLength.Given || poles <= 0 {
		return nil
	}
	stack := unit.Millimetre(core.StackLength.Value)
	parts, _ := ironParts(core)
	var out []FluxLimit
	for _, p := range parts {
		name, limit := p.part, LimitTooth
		if p.teeth == 0 {
			limit = LimitBackIron
		}
		if p.ring == RingBack {
			name = "back " + name
		}
		out = append(out, FluxLimit{name, p.field, p.flux(limit, poles, stack)})
	}
	if core.GapDiameter.Given {
		peak := LimitGapAverage * math.Pi / 2
		out = append(out, FluxLimit{"gap", "gap_diameter_mm", GapFlux(peak, poles, unit.Millimetre(core.GapDiameter.Value), stack)})
	}
	for i := 1; i < len(out); i++ {
		for k := i; k > 0 && out[k].Flux < out[k-1].Flux; k-- {
			out[k], out[k-1] = out[k-1], out[k]
		}
	}
	return out
}
