package wire

import "statorbook/internal/unit"

// Ohms is the resistance of one kilometre of a size. Min and Max are 0 where no source gives the
// limits of the conductor.
type Ohms struct {
	Convention        Convention
	Min, Nominal, Max unit.OhmPerKilometre
	Printed           bool // Min, Nominal or Max is a printed figure of the table, not computed from the diameters
}

// DrawnDiameter is the nominal diameter from which resistance is reckoned. Winding wire to SWG is
// drawn to the gauge's diameter rounded to the third decimal of a millimetre (IS 13730-0-1 sheets,
// seen); other sizes to their nominal diameter.
func (s Size) DrawnDiameter() unit.Millimetre {
	if s.System == SWG {
		return round3(s.Diameter)
	}
	return s.Diameter
}

// Ohms returns the resistance per kilometre of the size in a metal at temperature t: nominal from
// the drawn diameter, minimum from the largest conductor, maximum from the smallest, by the size's
// convention (see Convention). Copper figures that the table prints stand in front of computed ones.
func (s Size) Ohms(metal Conductor, t unit.Celsius) Ohms {
	by := s.Convention
	if by == "" {
		by = ConventionOf(s.System)
	}
	low, mid, high := Resistivity(metal, by), Resistivity(metal, by), Resistivity(metal, by)
	if metal == Aluminium {
		by = AluminiumEC
	} else if by == WindingWire {
		low, high = ResistivityWindingMin, ResistivityWindingMax
	}
	warm := TemperatureFactor(metal, t)
	at := func(rho float64, d unit.Millimetre) unit.OhmPerKilometre {
		if d == 0 {
			return 0
		}
		return unit.OhmPerKilometre(1000 * rho / float64(AreaOf(d)) * warm)
	}
	o := Ohms{Convention: by, Min: at(low, s.DiameterMax), Nominal: at(mid, s.DrawnDiameter()), Max: at(high, s.DiameterMin)}
	if metal == Copper {
		for _, p := range []struct {
			printed unit.OhmPerKilometre
			into    *unit.OhmPerKilometre
		}{{s.PrintedMin, &o.Min}, {s.PrintedNominal, &o.Nominal}, {s.PrintedMax, &o.Max}} {
			if p.printed > 0 {
				*p.into = p.printed * unit.OhmPerKilometre(warm)
				o.Printed = true
			}
		}
	}
	return o
}

// aluminiumEnamel is the one enamel system for round aluminium wire whose standard was seen, and the sizes that its grades
// 1 and 2 cover together.
var aluminiumEnamel = Enamel{Name: "polyesterimide", ThermalClass: "200", Source: "IEC 60317-89:2023, seen"}

const aluminiumEnamelMin, aluminiumEnamelMax unit.Millimetre = 0.250, 5.000

// EnamelsFor gives the enamel systems that are made for the size in a metal. The tables list those of
// copper wire; American sizes are ordered by NEMA names, of which none was seen for aluminium.
func (s Size) EnamelsFor(metal Conductor) []Enamel {
	switch {
	case metal != Aluminium:
		return s.Enamels
	case s.System == AWG || s.Diameter < aluminiumEnamelMin || s.Diameter > aluminiumEnamelMax:
		return nil
	}
	return []Enamel{aluminiumEnamel}
}

// Area returns the cross-section of the nominal diameter.
func (s Size) Area() unit.SquareMillimetre { return AreaOf(s.Diameter) }

// Mass returns the mass of one metre of bare conductor.
func (s Size) Mass(metal Conductor) unit.GramPerMetre { return MassPerMetre(s.Area(), metal) }
