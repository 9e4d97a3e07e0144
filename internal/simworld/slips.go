package simworld

import (
	"fmt"
	"math"
	"strconv"

	"statorbook/internal/unit"
	"statorbook/internal/winding"
	"statorbook/internal/wire"
)

// slippers are the slips of the contract, each a thing that happens to one person at one desk.
var slippers = []slipper{
	{"swg_awg_swapped", swapSystem},
	{"gauge_off_by_1", func(s *slipping) bool { return offGauge(s, 1) }},
	{"gauge_off_by_2", func(s *slipping) bool { return offGauge(s, 2) }},
	{"turns_halved", func(s *slipping) bool { return scaleTurns(s, 0.5) }},
	{"turns_doubled", func(s *slipping) bool { return scaleTurns(s, 2) }},
	{"turns_digit_swap", func(s *slipping) bool { return digitTurns(s, swapDigits) }},
	{"turns_digit_wrong", func(s *slipping) bool { return digitTurns(s, changeDigit) }},
	{"strands_forgotten", forgetStrands},
	{"coils_halved", halveCoils},
	{"mass_of_both", massOfBoth},
	{"mass_swapped", swapMasses},
	{"mass_digit_swap", func(s *slipping) bool {
		set, name := s.set()
		return swapFigure(s, &set.Mass, name+".mass_g")
	}},
	{"throw_off_by_1", func(s *slipping) bool { return offThrow(s, 1) }},
	{"throw_off_by_2", func(s *slipping) bool { return offThrow(s, 2) }},
	{"paths_wrong", wrongPaths},
	{"r_line_to_line", lineToLine},
	{"r_digit_swap", func(s *slipping) bool {
		set, name := s.set()
		return swapFigure(s, &set.Resistance, name+".resistance_ohm")
	}},
	{"star_delta_swapped", swapStarDelta},
	{"poles_wrong", wrongPoles},
	{"stack_blunder", stackBlunder},
	{"main_aux_swapped", swapRoles},
	{"voltage_wrong", wrongVoltage},
	{"material_wrong", wrongMaterial},
}

func setName(i int) string { return "scheme.coil_sets[" + strconv.Itoa(i) + "]" }

// every changes the wires of all sets alike: the whole sheet was keyed with one wrong idea.
func every(s *slipping, change func(*wire.Wire) bool) bool {
	was := wireName(s.w.Scheme.CoilSets[0].Wires[0])
	for i := range s.w.Scheme.CoilSets {
		if !change(&s.w.Scheme.CoilSets[i].Wires[0]) {
			return false
		}
	}
	return s.note(setName(0)+".wires[0]", was, wireName(s.w.Scheme.CoilSets[0].Wires[0]))
}

func wireName(w wire.Wire) string {
	return fmt.Sprintf("%s %s %s x%d", w.System, w.Size, w.Conductor, w.Strands)
}

// swapSystem keys the right number under the other gauge system. Builds differ between the
// systems, so the build is what the other one usually has.
func swapSystem(s *slipping) bool {
	return every(s, func(w *wire.Wire) bool {
		switch w.System {
		case wire.SWG:
			w.System, w.Build = wire.AWG, wire.Heavy
		case wire.AWG:
			w.System, w.Build = wire.SWG, wire.Grade2
		default:
			return false
		}
		_, known := s.table.sizeOf(w.System, w.Size)
		return known
	})
}

// offGauge takes a neighbour in the table for the wire of one role (of all phases in a three-phase
// machine, whose wire is written once).
func offGauge(s *slipping, steps int) bool {
	if s.d.chance(0.5) {
		steps = -steps
	}
	change := func(w *wire.Wire) bool {
		i, known := s.table.sizeOf(w.System, w.Size)
		list := s.table.sizes[w.System]
		if !known || i+steps < 0 || i+steps >= len(list) {
			return false
		}
		w.Size = list[i+steps]
		return true
	}
	if s.w.Scheme.CoilSets[0].Role.IsPhase() {
		return every(s, change)
	}
	set, name := s.set()
	was := wireName(set.Wires[0])
	return change(&set.Wires[0]) && s.note(name+".wires[0]", was, wireName(set.Wires[0]))
}

// alike applies a change to one role, or to all three phases alike.
func alike(s *slipping, change func(*winding.CoilSet) bool) (name string, ok bool) {
	sets := s.w.Scheme.CoilSets
	if !sets[0].Role.IsPhase() {
		set, name := s.set()
		return name, change(set)
	}
	for i := range sets {
		if !change(&sets[i]) {
			return "", false
		}
	}
	return setName(0), true
}

// scaleTurns writes half or twice the turns of every coil of a role.
func scaleTurns(s *slipping, factor float64) bool {
	was, is := "", ""
	name, ok := alike(s, func(set *winding.CoilSet) bool {
		was = fmt.Sprint(set.Pattern.Turns)
		for i, t := range set.Pattern.Turns {
			set.Pattern.Turns[i] = math.Max(1, math.Round(t*factor))
		}
		is = fmt.Sprint(set.Pattern.Turns)
		return true
	})
	return ok && s.note(name+".pattern.turns", was, is)
}

// digitTurns spoils the digits of the turns of one coil.
func digitTurns(s *slipping, spoil func(dice, string) (string, bool)) bool {
	coil, bad, was := -1, "", ""
	name, ok := alike(s, func(set *winding.CoilSet) bool {
		if coil < 0 {
			coil = s.d.r.IntN(len(set.Pattern.Turns))
			was = plain(set.Pattern.Turns[coil])
			var ok bool
			if bad, ok = spoil(s.d, was); !ok {
				return false
			}
		}
		set.Pattern.Turns[coil] = typed(bad).Value
		return set.Pattern.Turns[coil] > 0
	})
	return ok && s.note(fmt.Sprintf("%s.pattern.turns[%d]", name, coil), was, bad)
}

func forgetStrands(s *slipping) bool {
	was := ""
	name, ok := alike(s, func(set *winding.CoilSet) bool {
		was = strconv.Itoa(set.Wires[0].Strands)
		set.Wires[0].Strands = 1
		return was != "1"
	})
	return ok && s.note(name+".wires[0].strands", was, "1")
}

// halveCoils writes half the coil groups of a role down.
func halveCoils(s *slipping) bool {
	was, is := "", ""
	name, ok := alike(s, func(set *winding.CoilSet) bool {
		if set.Pattern.Groups%2 != 0 || set.Pattern.Groups < 2 {
			return false
		}
		was = strconv.Itoa(set.Pattern.Groups)
		set.Pattern.Groups /= 2
		is = strconv.Itoa(set.Pattern.Groups)
		return true
	})
	return ok && s.note(name+".pattern.groups", was, is)
}

// massOfBoth enters the mass of the whole winding for the main one; the other is left empty, or has
// its own.
func massOfBoth(s *slipping) bool {
	sets := s.w.Scheme.CoilSets
	if len(sets) != 2 || !sets[0].Mass.Given || !sets[1].Mass.Given {
		return false
	}
	was := sets[0].Mass
	sets[0].Mass = read(was.Value+sets[1].Mass.Value, 0.5)
	if s.d.chance(0.5) {
		sets[1].Mass, sets[1].MassState = unit.Measured{}, ""
	}
	return s.note(setName(0)+".mass_g", was.Text, sets[0].Mass.Text)
}

// swapMasses is drawn only where a scale would show the difference.
func swapMasses(s *slipping) bool {
	sets := s.w.Scheme.CoilSets
	if len(sets) != 2 || !sets[0].Mass.Given || !sets[1].Mass.Given || math.Abs(math.Log(sets[0].Mass.Value/sets[1].Mass.Value)) < 0.04 {
		return false
	}
	sets[0].Mass, sets[1].Mass = sets[1].Mass, sets[0].Mass
	return s.note(setName(0)+".mass_g", sets[1].Mass.Text, sets[0].Mass.Text)
}

// swapFigure lets two digits of a figure change places.
func swapFigure(s *slipping, m *unit.Measured, name string) bool {
	if !m.Given {
		return false
	}
	bad, ok := swapDigits(s.d, m.Text)
	if !ok {
		return false
	}
	was := m.Text
	*m = typed(bad)
	return s.note(name, was, bad)
}
