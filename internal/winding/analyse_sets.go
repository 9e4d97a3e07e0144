package winding

import (
	"fmt"
	"math"
	"slices"

	"statorbook/internal/errs"
	"statorbook/internal/stator"
	"statorbook/internal/unit"
)

// hotTemperature is the reference temperature in °C of a warm resistance that no field asks for.
const hotTemperature = 75

// sets computes the figures of each coil set.
func (a *analyser) sets() error {
	var faults []errs.Field
	a.out.Roles = make([]RoleAnalysis, len(a.in.Scheme.CoilSets))
	for i, set := range a.in.Scheme.CoilSets {
		r := &a.out.Roles[i]
		ring := set.Ring
		if ring == "" {
			ring = RingGap
		}
		*r = RoleAnalysis{Set: i, Role: set.Role, Ring: ring, Coils: len(a.coils[i]), TotalTurns: TurnsOf(a.coils[i])}
		r.SeriesTurns = r.TotalTurns / float64(Paths(set))
		a.factor(r, set)
		c, ok, err := ConductorOf(set, a.table)
		if err != nil {
			if errs.KindOf(err) != errs.KindImpossible {
				return err
			}
			faults = append(faults, prefixed(err, i)...)
			continue
		}
		r.conductor, r.haveWire = c, ok
		a.lengths(r, set)
		a.copper(r, set)
	}
	if len(faults) > 0 {
		return impossible("a wire of the scheme is not known", faults...)
	}
	a.tellKnown()
	a.method("winding_factor", "phasor sum over the star of slots, |sum t(e^ji - e^jo)| / 2 sum t; harmonics of the working pole pair alike", "scheme", "core.slots")
	a.method("axis_deg", "argument of the same sum, electrical degrees, slot numbers counted from 0 degrees at slot 0", "scheme", "core.slots", "core.second_ring.turned_slots")
	a.method("effective_turns", "turns in series in one path x winding factor", "scheme")
	return nil
}

// factor gives winding factor, harmonics and axis.
func (a *analyser) factor(r *RoleAnalysis, set CoilSet) {
	if a.out.Poles == 0 {
		return
	}
	kw, axis := FactorOfSet(set, a.coils[r.Set], a.out.Poles, a.in.Core, 1)
	r.WindingFactor, r.EffectiveTurns = ref(kw), ref(kw*r.SeriesTurns)
	r.Harmonics = make([]Harmonic, len(HarmonicOrders))
	for i, h := range HarmonicOrders {
		k, _ := FactorOfSet(set, a.coils[r.Set], a.out.Poles, a.in.Core, h)
		r.Harmonics[i] = Harmonic{Order: h, Factor: k}
	}
	if kw < cancels {
		a.find(errs.Finding{Code: "no_working_field", Severity: errs.SeverityWarning, Fields: []string{fmt.Sprintf("coil_sets[%d]", r.Set), "scheme.poles"}, Found: ref(kw),
			Message: fmt.Sprintf("the coils of the %s winding cancel, or nearly so, for %d poles: check the sense of the groups (alternate) and the number of poles", set.Role, a.out.Poles)})
	}
	if kw == 0 {
		return // no field, no axis
	}
	r.AxisDeg = ref(axis)
	if set.Ring == RingBack && (a.in.Core.SecondRing == nil || !a.in.Core.SecondRing.TurnedSlots.Given) {
		a.assume("second_ring.turned_slots", defaultTurned, "not given; the second ring of a fan stator usually stands turned by half a slot pitch")
	}
}

// cancels is the winding factor below which no honest winding lies; the lowest in use is about 0.5
// (common practice, no source).
const cancels = 0.3

// lengths gives the mean turn of each span and of the set.
func (a *analyser) lengths(r *RoleAnalysis, set CoilSet) {
	q := stator.RingSlots(a.in.Core, set.Ring == RingBack)
	spans := map[int]*SpanTurn{}
	sum := 0.0
	for _, c := range a.coils[r.Set] {
		span := wrap(c.Out-c.In, q)
		span = min(span, q-span)
		st := spans[span]
		if st == nil {
			length, ok := a.meanTurn(set, span)
			if !ok {
				return
			}
			st = &SpanTurn{Span: span, MeanTurn: length}
			spans[span] = st
			r.MeanTurns = append(r.MeanTurns, SpanTurn{Span: span})
		}
		st.Coils++
		sum += c.Turns * float64(st.MeanTurn)
	}
	for i := range r.MeanTurns {
		r.MeanTurns[i] = *spans[r.MeanTurns[i].Span]
	}
	slices.SortFunc(r.MeanTurns, func(x, y SpanTurn) int { return y.Span - x.Span })
	if r.TotalTurns > 0 {
		r.MeanTurn, r.MeanTurnSpread = ref(unit.Millimetre(sum/r.TotalTurns)), RuleSpread
		a.takeKnown(r)
		r.Length = ref(Length(r.TotalTurns, *r.MeanTurn))
		a.method("length_m", "turns of all coils x mean turn", "scheme", "mean_turn_mm")
	}
}

// meanTurn is the bench form, or, round a single tooth of known width, 2·L + 2·b + π·w with w the
// width of one coil side, and the straight runs of the bench form: no coil turns before the liner's cuffs
// end, round one tooth as little as round many.
func (a *analyser) meanTurn(set CoilSet, span int) (unit.Millimetre, bool) {
	core := a.in.Core
	tooth := core.ToothWidth
	back := set.Ring == RingBack
	if back && core.SecondRing != nil {
		tooth = core.SecondRing.ToothWidth
	}
	if span == 1 && tooth.Given && core.StackLength.Given {
		if w, ok := a.sideWidth(back, set); ok {
			a.method("mean_turn_mm", fmt.Sprintf("round one tooth: 2 x stack + 2 x tooth + pi x width of a coil side + %g mm for the cuffs of the liner; measure one old turn where there is one", float64(BenchMeanTurn.Straight)), "core.stack_length_mm", "core.tooth_width_mm", "core.gap_diameter_mm", "core.slot_depth_mm")
			return unit.Millimetre(2*core.StackLength.Value+2*tooth.Value+math.Pi*w) + BenchMeanTurn.Straight, true
		}
	}
	length, ok := MeanTurn(core, set.Ring, span, BenchMeanTurn)
	if !ok {
		for _, m := range []struct {
			field string
			given bool
		}{{"core.stack_length_mm", core.StackLength.Given}, {"core.gap_diameter_mm", core.GapDiameter.Given}} {
			if !m.given {
				a.missing(m.field)
			}
		}
		return 0, false
	}
	if _, guessed, _ := MidSlotDiameter(core, set.Ring); guessed {
		a.assume("slot_depth_mm", depthGuess*core.GapDiameter.Value, "not known; 0.15 of the gap diameter, for the mean turn only")
	}
	a.method("mean_turn_mm", fmt.Sprintf("2 x (stack + %g x arc of the span at mid-slot + %g mm); measure one old turn where there is one", BenchMeanTurn.Ke, float64(BenchMeanTurn.Straight)/2), "core.stack_length_mm", "core.gap_diameter_mm", "core.slot_depth_mm")
	return length, true
}

// sideWidth is the mean slot width in mm over the coil sides that share a slot.
func (a *analyser) sideWidth(back bool, set CoilSet) (float64, bool) {
	s, ok := stator.DerivedRingSlotArea(a.in.Core, back)
	if !ok || s.Height <= 0 {
		return 0, false
	}
	sides := 1
	for _, slot := range a.out.Slots {
		if (slot.Ring == RingBack) == back {
			sides = max(sides, len(slot.Sides))
		}
	}
	return float64(s.Gross) / float64(s.Height) / float64(sides), true
}

// copper gives resistance, mass and conductor area.
func (a *analyser) copper(r *RoleAnalysis, set CoilSet) {
	if !r.haveWire {
		a.missing(fmt.Sprintf("coil_sets[%d].wires", r.Set))
		return
	}
	r.ConductorArea = ref(r.conductor.Area * unit.SquareMillimetre(Paths(set)))
	if r.MeanTurn == nil {
		return
	}
	r20 := r.conductor.Resistance20(r.TotalTurns, *r.MeanTurn, Paths(set))
	r.Resistance20 = &r20
	at := unit.Celsius(hotTemperature)
	if set.Temperature.Given {
		at = unit.Celsius(set.Temperature.Value)
	}
	r.ResistanceAt = &WarmResistance{Ohm: r20 * unit.Ohm(r.conductor.TemperatureFactor(at)), Temperature: at}
	r.Mass = ref(r.conductor.Mass(r.TotalTurns, *r.MeanTurn))
	a.method("resistance_20c_ohm", "resistivity x turns in series x mean turn / (paths x metal of one conductor); copper 1/58, aluminium 0.028264 ohm mm2/m", "scheme", "mean_turn_mm")
	a.method("resistance_at", "R20 x (K + t)/(K + 20), K = 234.5 copper, 225 aluminium; t as given with the set, else 75 degrees C", "resistance_20c_ohm", "coil_sets.temperature_c")
	a.method("mass_g", "density x length x metal of one conductor, bare; copper 8.89, aluminium 2.703 g/cm3", "scheme", "mean_turn_mm")
}

// between compares the windings with each other.
func (a *analyser) between() {
	if a.out.Poles == 0 {
		return
	}
	v := roleVectors(a.in.Scheme, a.coils, a.in.Core)
	first, second := Main, Auxiliary
	if a.three {
		first, second = PhaseU, PhaseV
	}
	x, okX := v[first]
	y, okY := v[second]
	if !okX || !okY || x.turns == 0 || y.turns == 0 {
		return
	}
	d := Displacement(x.axis, y.axis)
	a.out.Displacement = &d
	a.method("displacement_deg", "difference of the axes of "+string(first)+" and "+string(second), "axis_deg")
	if a.three {
		return
	}
	a.out.TurnsRatio = ref(y.turns / x.turns)
	a.method("turns_ratio", "effective turns of the auxiliary / effective turns of the main winding", "effective_turns")
	if off := math.Abs(d - 90); off > 5 {
		severity := errs.SeverityNote
		if off > 30 {
			severity = errs.SeverityWarning
		}
		a.find(errs.Finding{Code: "displacement", Severity: severity, Fields: []string{"coil_sets"}, Found: &d, Expected: &errs.Expected{Value: 90, Low: 85, High: 95},
			Message: fmt.Sprintf("main and auxiliary stand %.1f electrical degrees apart; 90 gives the best torque", d)})
	}
}
