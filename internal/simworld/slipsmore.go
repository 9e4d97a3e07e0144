package simworld

import (
	"fmt"
	"math"
	"strconv"

	"statorbook/internal/winding"
	"statorbook/internal/wire"
)

// offThrow counts one throw wrong by some slots.
func offThrow(s *slipping, by int) bool {
	if s.d.chance(0.5) {
		by = -by
	}
	coil, was, is := -1, "", ""
	name, ok := alike(s, func(set *winding.CoilSet) bool {
		if coil < 0 {
			coil = s.d.r.IntN(len(set.Pattern.Throws))
		}
		throw := set.Pattern.Throws[coil] + by
		if throw < 2 || throw > s.g.lam.slots {
			return false
		}
		was, is = strconv.Itoa(set.Pattern.Throws[coil]), strconv.Itoa(throw)
		set.Pattern.Throws[coil] = throw
		return true
	})
	return ok && s.note(fmt.Sprintf("%s.pattern.throws[%d]", name, coil), was, is)
}

// wrongPaths writes two paths for one, or one for two.
func wrongPaths(s *slipping) bool {
	was, is := "", ""
	name, ok := alike(s, func(set *winding.CoilSet) bool {
		was = strconv.Itoa(set.ParallelPaths)
		set.ParallelPaths = 3 - set.ParallelPaths
		is = strconv.Itoa(set.ParallelPaths)
		return set.Pattern.Groups%2 == 0
	})
	return ok && s.note(name+".parallel_paths", was, is)
}

// lineToLine enters what was read between two lines as the resistance of a phase: 2R in star, 2R/3
// in delta.
func lineToLine(s *slipping) bool {
	sets := s.w.Scheme.CoilSets
	factor := 2.0
	if s.w.Nameplate.Connection == winding.ConnDelta {
		factor = 2.0 / 3
	}
	if !sets[0].Role.IsPhase() || !sets[0].Resistance.Given {
		return false
	}
	was := sets[0].Resistance.Text
	for i := range sets {
		sets[i].Resistance = significant(sets[i].Resistance.Value*factor, 3)
	}
	return s.note(setName(0)+".resistance_ohm", was, sets[0].Resistance.Text)
}

func swapStarDelta(s *slipping) bool {
	was := s.w.Nameplate.Connection
	switch was {
	case winding.ConnStar:
		s.w.Nameplate.Connection = winding.ConnDelta
	case winding.ConnDelta:
		s.w.Nameplate.Connection = winding.ConnStar
	default:
		return false
	}
	return s.note("nameplate.connection", string(was), string(s.w.Nameplate.Connection))
}

// wrongPoles takes a neighbouring number of poles, on the plate and in the scheme.
func wrongPoles(s *slipping) bool {
	was := s.w.Scheme.Poles
	is := pick(s.d, was+2, was-2, was*2, was/2)
	if is < 2 || is%2 != 0 || is == was || is > s.g.lam.slots {
		return false
	}
	s.w.Scheme.Poles, s.w.Nameplate.Poles = is, is
	return s.note("scheme.poles", strconv.Itoa(was), strconv.Itoa(is))
}

// stackBlunder makes a gross error in the stack length.
func stackBlunder(s *slipping) bool {
	core := s.w.CoreAsMeasured
	if core == nil || !core.StackLength.Given {
		return false
	}
	was := core.StackLength.Text
	core.StackLength, _ = blunder(s.d, core.StackLength)
	return s.note("core_as_measured.stack_length_mm", was, core.StackLength.Text)
}

// swapRoles writes main for auxiliary and the other way round; two windings that are alike would
// not show it.
func swapRoles(s *slipping) bool {
	sets := s.w.Scheme.CoilSets
	if len(sets) != 2 || sets[0].Wires[0].Size == sets[1].Wires[0].Size && math.Abs(math.Log(s.g.sets[0].series()/s.g.sets[1].series())) < 0.05 {
		return false
	}
	sets[0].Role, sets[1].Role = sets[1].Role, sets[0].Role
	sets[0].LeadPair, sets[1].LeadPair = sets[1].LeadPair, sets[0].LeadPair
	return s.note(setName(0)+".role", string(sets[1].Role), string(sets[0].Role))
}

// wrongVoltage takes another voltage class: mains of another country, or line for phase volts.
func wrongVoltage(s *slipping) bool {
	v := &s.w.Nameplate.Voltage
	was := v.Text
	others := []float64{115, 230, 400}
	is := pick(s.d, others...)
	if r := is / v.Value; r < 1.3 && r > 1/1.3 || s.g.lam.kind.phases == 1 && is > 300 || s.g.lam.kind.phases == 3 && is < 200 {
		return false
	}
	*v = typed(whole(is))
	return s.note("nameplate.voltage_v", was, v.Text)
}

func wrongMaterial(s *slipping) bool {
	return every(s, func(w *wire.Wire) bool {
		if w.Conductor == wire.Copper {
			w.Conductor = wire.Aluminium
		} else {
			w.Conductor = wire.Copper
		}
		return true
	})
}
