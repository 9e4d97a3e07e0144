package wire

import (
	"fmt"
	"math"

	"statorbook/internal/errs"
	"statorbook/internal/unit"
)

// Estimate is a computed figure with its standard uncertainty (one standard deviation), in the unit of
// the field that holds it. Uncertainties are propagated to first order as in the GUM (JCGM 100:2008, 5.1.2).
type Estimate struct{ Value, Uncertainty float64 }

// Coil is what is known of the coils of one conductor. Wires are all laid in hand together; two
// entries are two unlike gauges. Which figures must be given depends on the function.
type Coil struct {
	Wires       []Wire
	Turns       unit.Measured // turns in series, all coils together
	MeanTurn    unit.Measured // mm
	Mass        unit.Measured // g, of all strands
	Resistance  unit.Measured // Ω, strands in parallel
	Temperature unit.Measured // °C of the resistance; not given: 20 °C, give or take 8 K for what a meter showed
	Enamelled   bool          // the mass includes enamel
}

// CoilLength is the answer of the forward arithmetic. Length is of one strand; wire to buy is
// Length × strands of each wire, waste not included.
type CoilLength struct {
	Length        Estimate   // m, of one strand
	WireLengths   []Estimate // m, of each wire with its strands
	Masses        []Estimate // g of bare conductor, of each wire with its strands
	Mass          Estimate   // g, together
	Resistance20  Estimate   // Ω, strands in parallel, 20 °C
	Resistance    Estimate   // Ω, at Temperature
	Temperature   float64    // °C
	ConductorArea float64    // mm², all strands
}

// Uncertainties that are not the caller's to state. Relative, one standard deviation.
const (
	// The resistivity of winding copper lies between 1/59 and 1/58 Ω·mm²/m (IEC 60317-0-1 practice);
	// this is the width of that band over √12. The coil figures use 1/58, its upper end.
	coilRhoSpread     = 0.005
	coilDensitySpread = 0.001 // 8.89 or 8.9 g/cm³ are both in print
	enamelMassSpread  = 0.3   // of the enamel's mass
)

// wireSum is a bundle of strands as the arithmetic needs it.
type wireSum struct {
	area       float64 // mm², all strands
	areaSpread float64 // relative
	areas      []float64
	spreads    []float64 // relative, of each wire
	strands    []float64
	metal      Conductor
	density    float64
	enamel     float64 // g/m of all strands, 0 if not asked for
}

// sum resolves the wires. The tolerance of a conductor counts as a rectangular distribution; strands of one wire come from one reel.
func (t *Table) sum(c *Coil) (wireSum, error) {
	s := wireSum{}
	if len(c.Wires) == 0 || len(c.Wires) > MaxStrands {
		return s, errs.New(errs.KindImpossible, "name the wire", errs.Field{Pointer: "/wires", Code: "OUT_OF_RANGE", Detail: "give 1 to 8 wires", Got: fmt.Sprint(len(c.Wires))})
	}
	variance := 0.0
	for i, w := range c.Wires {
		base := fmt.Sprintf("/wires/%d", i)
		r, err := t.resolveSole(w)
		if err != nil {
			return s, pointed(err, base)
		}
		if i > 0 && w.Conductor != s.metal {
			return s, errs.New(errs.KindImpossible, "the wires in hand are of two metals", errs.Field{Pointer: base + "/conductor", Code: CodeBadConductor, Detail: "all wires in hand must be of one metal", Got: string(w.Conductor)})
		}
		s.metal, s.density = w.Conductor, r.Density
		tolerance := float64(r.Tolerance)
		if tolerance == 0 {
			tolerance = looseTolerance * float64(r.Bare)
		}
		spread := 2 * tolerance / math.Sqrt(3) / float64(r.Bare)
		area := float64(r.TotalArea)
		s.area += area
		s.areas, s.spreads, s.strands = append(s.areas, area), append(s.spreads, spread), append(s.strands, float64(r.Strands))
		variance += area * area * spread * spread
		if c.Enamelled {
			if r.Overall == 0 {
				return s, errs.New(errs.KindImpossible, "the mass includes enamel, so the build of each wire must be given", errs.Field{Pointer: base + "/build", Code: CodeBadBuild, Detail: "give the build of the wire, or the mass of bare wire", Allowed: Builds()})
			}
			overall := r.Overall
			if r.OverallMin > 0 {
				overall = (r.Overall + r.OverallMin) / 2
			}
			s.enamel += enamelDensity * float64(r.Strands) * float64(AreaOf(overall)-r.Area)
		}
	}
	s.areaSpread = math.Sqrt(variance) / s.area
	return s, nil
}

// given is one measured input of an arithmetic function.
type given struct {
	name     string
	m        unit.Measured
	high     float64
	relative float64 // default relative uncertainty
}

// need refuses inputs that are missing or out of (0, high].
func need(inputs ...given) error {
	var bad []errs.Field
	for _, in := range inputs {
		if !in.m.Given || !(in.m.Value > 0 && in.m.Value <= in.high) {
			bad = append(bad, errs.Field{Pointer: "/" + in.name, Code: "OUT_OF_RANGE", Detail: fmt.Sprintf("%s must be above 0 and at most %g", in.name, in.high), Got: shorten(fmt.Sprint(in.m.Value))})
		}
	}
	if bad == nil {
		return nil
	}
	return errs.New(errs.KindImpossible, bad[0].Detail, bad...)
}

// spread is the relative standard uncertainty of an input: as stated, from its resolution, or the default.
func (in given) spread() float64 { return sdOf(in.m, in.relative*in.m.Value) / in.m.Value }

// TakenSpread is the standard uncertainty that stands in for one that was not stated.
type TakenSpread struct {
	Field    string  // mean_turn_mm, mass_g or resistance_ohm
	Absolute float64 // in the unit of the field
	Relative float64 // of the value
}

// TakenSpreads lists the inputs of c, valid ones, that came without uncertainty and resolution, with what is taken
// instead (common practice, no source). A number of turns is counted: exact, and not listed.
func (c *Coil) TakenSpreads() []TakenSpread {
	var out []TakenSpread
	for _, in := range []given{meanTurnInput(c), massInput(c), resistanceInput(c)} {
		if in.m.Given && in.m.Uncertainty == 0 && in.m.Resolution == 0 {
			out = append(out, TakenSpread{in.name, in.relative * in.m.Value, in.relative})
		}
	}
	return out
}

// Bounds and default uncertainties of the inputs. A counted number of turns is exact unless stated.
func turnsInput(c *Coil) given { return given{"turns", c.Turns, 200000, 0} }
func meanTurnInput(c *Coil) given {
	return given{"mean_turn_mm", c.MeanTurn, 20000, 0.01} // a turn measured on the former: 1 %
}
func massInput(c *Coil) given { return given{"mass_g", c.Mass, 1e6, 0.005} }
func resistanceInput(c *Coil) given {
	return given{"resistance_ohm", c.Resistance, 1e6, ohmSpread}
}

// temperature returns the coil's temperature, its factor on resistance and that factor's relative
// uncertainty: as told, or 20 °C give or take what a workshop varies.
func (c *Coil) temperature(metal Conductor) (celsius, factor, spread float64, err error) {
	celsius, kelvin := temperatureOf(c.Temperature)
	if !(celsius >= -50 && celsius <= 300) {
		return 0, 0, 0, errs.New(errs.KindImpossible, "the temperature is out of range", errs.Field{Pointer: "/temperature_c", Code: "OUT_OF_RANGE", Detail: "temperature_c must be -50 to 300", Got: shorten(fmt.Sprint(celsius))})
	}
	return celsius, TemperatureFactor(metal, unit.Celsius(celsius)), kelvin / (ZeroResistance(metal) + celsius), nil
}

// quadrature adds relative uncertainties and turns the sum into an Estimate.
func quadrature(value float64, relative ...float64) Estimate {
	sum := 0.0
	for _, r := range relative {
		sum += r * r
	}
	return Estimate{Value: value, Uncertainty: math.Abs(value) * math.Sqrt(sum)}
}

// Length returns wire length, mass of conductor and resistance from turns and mean turn:
// l = N·l_m, m = ρ_m·A·l, R = ρ·l/A·(K+t)/(K+20), copper with 1/58 Ω·mm²/m and 8.89 g/cm³.
func (t *Table) Length(c Coil) (CoilLength, error) {
	turns, mean := turnsInput(&c), meanTurnInput(&c)
	if err := need(turns, mean); err != nil {
		return CoilLength{}, err
	}
	c.Enamelled = false
	s, err := t.sum(&c)
	if err != nil {
		return CoilLength{}, err
	}
	celsius, factor, warm, err := c.temperature(s.metal)
	if err != nil {
		return CoilLength{}, err
	}
	metres := turns.m.Value * mean.m.Value / 1000
	uN, uL := turns.spread(), mean.spread()
	if !c.Temperature.Given {
		warm = 0 // then the resistance at 20 °C is what was asked for, not what a meter showed
	}
	out := CoilLength{Length: quadrature(metres, uN, uL), Temperature: celsius, ConductorArea: s.area}
	for i, area := range s.areas {
		out.WireLengths = append(out.WireLengths, quadrature(metres*s.strands[i], uN, uL))
		out.Masses = append(out.Masses, quadrature(s.density*area*metres, uN, uL, s.spreads[i], coilDensitySpread))
	}
	out.Mass = quadrature(s.density*s.area*metres, uN, uL, s.areaSpread, coilDensitySpread)
	cold := Resistivity(s.metal, AnnealedCopper) * metres / s.area
	out.Resistance20 = quadrature(cold, uN, uL, s.areaSpread, coilRhoSpread)
	out.Resistance = quadrature(cold*factor, uN, uL, s.areaSpread, coilRhoSpread, warm)
	return out, nil
}

// TurnsFromMass returns the turns that a mass of wire and a mean turn amount to: N = m/(ρ_m·A·l_m).
// With Enamelled the enamel's share is taken off by the build's usual thickness.
func (t *Table) TurnsFromMass(c Coil) (Estimate, error) {
	mass, mean := massInput(&c), meanTurnInput(&c)
	if err := need(mass, mean); err != nil {
		return Estimate{}, err
	}
	s, err := t.sum(&c)
	if err != nil {
		return Estimate{}, err
	}
	perMetre := s.density*s.area + s.enamel
	metal := s.density * s.area / perMetre // its share of the mass
	turns := mass.m.Value / perMetre / (mean.m.Value / 1000)
	return quadrature(turns, mass.spread(), mean.spread(), metal*s.areaSpread, metal*coilDensitySpread, (1-metal)*enamelMassSpread), nil
}

// MeanTurnFromResistance returns the mean turn in mm that a resistance and a number of turns amount
// to: l_m = R·A/(ρ·N) at the coil's temperature.
func (t *Table) MeanTurnFromResistance(c Coil) (Estimate, error) {
	ohm, turns := resistanceInput(&c), turnsInput(&c)
	if err := need(ohm, turns); err != nil {
		return Estimate{}, err
	}
	metres, relative, err := t.lengthOf(&c)
	if err != nil {
		return Estimate{}, err
	}
	return quadrature(1000*metres/turns.m.Value, append(relative, turns.spread())...), nil
}

// TurnsFromResistance returns the turns that a resistance and a mean turn amount to: N = R·A/(ρ·l_m).
func (t *Table) TurnsFromResistance(c Coil) (Estimate, error) {
	ohm, mean := resistanceInput(&c), meanTurnInput(&c)
	if err := need(ohm, mean); err != nil {
		return Estimate{}, err
	}
	metres, relative, err := t.lengthOf(&c)
	if err != nil {
		return Estimate{}, err
	}
	return quadrature(1000*metres/mean.m.Value, append(relative, mean.spread())...), nil
}

// lengthOf turns a resistance into the length of one strand, with the relative uncertainties that go into it.
func (t *Table) lengthOf(c *Coil) (metres float64, relative []float64, err error) {
	enamelled := c.Enamelled
	c.Enamelled = false // no matter for a resistance
	s, err := t.sum(c)
	c.Enamelled = enamelled
	if err != nil {
		return 0, nil, err
	}
	_, factor, warm, err := c.temperature(s.metal)
	if err != nil {
		return 0, nil, err
	}
	metres = c.Resistance.Value / factor * s.area / Resistivity(s.metal, AnnealedCopper)
	return metres, []float64{resistanceInput(c).spread(), s.areaSpread, coilRhoSpread, warm}, nil
}
