package wire

import (
	"math"

	"statorbook/internal/unit"
)

// Surface says what a micrometer touched.
type Surface string

// The surfaces.
const (
	SurfaceBare       Surface = "bare"
	SurfaceOverEnamel Surface = "over_enamel"
	SurfaceUnknown    Surface = "unknown"
)

// Condition says what a scrap went through.
type Condition string

// The conditions.
const (
	ConditionClean   Condition = "clean"
	ConditionBurnt   Condition = "burnt"
	ConditionUnknown Condition = "unknown"
)

// ResistanceReading is the resistance of a measured length, strands joined in parallel.
type ResistanceReading struct {
	Ohm, Length, Temperature unit.Measured // Ω, m, °C; no temperature is 20 °C, give or take 8 K
	Strands                  int           // 0 is 1
}

// MassReading is the mass of a measured length, all strands together.
type MassReading struct {
	Gram, Length unit.Measured // g, m
	Strands      int           // 0 is 1
}

// Scrap is a piece of wire as somebody measured it. At least one of the three kinds of reading must be there.
type Scrap struct {
	Readings   []unit.Measured // diameters in mm; Resolution or Uncertainty where stated
	Surface    Surface         // "" is unknown
	Condition  Condition       // "" is unknown
	Resistance *ResistanceReading
	Mass       *MassReading
	Conductor  Conductor // "" is not known
}

// The noise of scrap wire. Standard deviations; common practice and from memory unless said otherwise.
const (
	feel              = 0.003 // mm, one reading: touch of the thimble, ovality, dirt
	defaultResolution = 0.01  // mm, of a micrometer whose step is not stated
	stretch           = 0.002 // of the diameter: winding and unwinding draws a wire thinner
	enamelSpread      = 0.12  // of the enamel's thickness, from coil to coil
	burntLoss         = 0.02  // of the diameter: enamel and scale gone, copper oxidised
	burntSpread       = 0.016 // of the diameter
	ohmSpread         = 0.01  // of a resistance whose uncertainty is not stated
	lengthSpread      = 0.005 // of a length whose uncertainty is not stated
	massSpread        = 0.01  // of a mass whose uncertainty is not stated
	celsiusSpread     = 1.0   // K, of a temperature whose uncertainty is not stated
	workshopSpread    = 8.0   // K, of 20 °C where no temperature is told: a workshop from winter to summer
	resistivitySpread = 0.003 // of the resistivity: winding wire runs from 1/59 to 1/58 Ω·mm²/m
	enamelDensity     = 1.35  // g/cm³, usual resins
	looseTolerance    = 0.01  // of the diameter, where no tolerance is published
)

// state is what became of the wire that was measured.
type state int

const (
	stateBare state = iota
	stateEnamelled
	stateBurnt
	noOfStates
)

// Shares of the states when nothing is told: 0.45 bare, 0.35 over the enamel, 0.20 burnt (assumed by
// the matching model too).
var stateShares = [noOfStates]float64{0.45, 0.35, 0.20}

// stateWeights spreads the states over what was told of surface and condition. Burnt wire has lost its
// enamel, so "over_enamel" with "burnt" is read as burnt.
func (s *Scrap) stateWeights() [noOfStates]float64 {
	w := stateShares
	switch s.Condition {
	case ConditionBurnt:
		return [noOfStates]float64{stateBurnt: 1}
	case ConditionClean:
		w[stateBurnt] = 0
	}
	switch s.Surface {
	case SurfaceBare:
		w[stateEnamelled] = 0
	case SurfaceOverEnamel:
		return [noOfStates]float64{stateEnamelled: 1}
	}
	sum := w[stateBare] + w[stateEnamelled] + w[stateBurnt]
	for i := range w {
		w[i] /= sum
	}
	return w
}

// pooled is the weighted mean of the diameter readings.
type pooled struct {
	given    bool
	mean     float64 // mm
	variance float64 // of the mean, mm²
	scatter  float64 // chi squared of the readings about the mean
	n        int
	coarse   float64 // coarsest resolution, mm
}

// sdOf returns the standard deviation of a figure: as stated, from its resolution (step/√12), or the default.
func sdOf(m unit.Measured, otherwise float64) float64 {
	switch {
	case m.Uncertainty > 0:
		return m.Uncertainty
	case m.Resolution > 0:
		return math.Max(m.Resolution/math.Sqrt(12), 1e-9)
	}
	return otherwise
}

// pool takes the readings together. Readings that scatter more than their instrument allows widen the
// variance by the scatter (Birge's ratio), so that a slip does not look like precision.
func (s *Scrap) pool() pooled {
	p := pooled{n: len(s.Readings), given: len(s.Readings) > 0}
	var sum, weights float64
	variance := func(m unit.Measured) float64 {
		sd := sdOf(m, defaultResolution/math.Sqrt(12))
		if m.Uncertainty > 0 {
			return sd * sd
		}
		return sd*sd + feel*feel
	}
	for _, m := range s.Readings {
		w := 1 / variance(m)
		sum, weights = sum+w*m.Value, weights+w
		step := m.Resolution
		if step == 0 {
			step = defaultResolution
		}
		p.coarse = math.Max(p.coarse, step)
	}
	if !p.given {
		return p
	}
	p.mean, p.variance = sum/weights, 1/weights
	for _, m := range s.Readings {
		p.scatter += (m.Value - p.mean) * (m.Value - p.mean) / variance(m)
	}
	if p.n > 1 {
		if birge := p.scatter / float64(p.n-1); birge > 1 {
			p.variance *= birge
		}
	}
	return p
}

// expected is what a hypothesis expects of a diameter reading, mm, without the instrument.
func (h *hypothesis) expected() (mean, variance float64) {
	d := float64(h.size.Diameter)
	loose := h.tolerance / 2
	variance = loose*loose + stretch*stretch*d*d
	switch h.state {
	case stateEnamelled:
		enamel, spread := h.enamel()
		return d + enamel, variance + spread*spread
	case stateBurnt:
		return d * (1 - burntLoss), variance + burntSpread*burntSpread*d*d
	}
	return d, variance
}

// enamel returns the enamel that a build usually has on the diameter: the middle of minimum and
// maximum overall, or four fifths of the room under the maximum where no minimum is published.
func (h *hypothesis) enamel() (thickness, spread float64) {
	d := float64(h.size.Diameter)
	thickness = 0.8 * (float64(h.cover.OverallMax) - d)
	if h.cover.OverallMin > 0 {
		thickness = (float64(h.cover.OverallMax)+float64(h.cover.OverallMin))/2 - d
	}
	return thickness, enamelSpread * thickness
}

// temperatureOf gives the temperature of a measured resistance with its standard uncertainty. Nothing
// told is 20 °C, give or take what a workshop varies.
func temperatureOf(m unit.Measured) (celsius, spread float64) {
	if !m.Given {
		return ReferenceTemperature, workshopSpread
	}
	return m.Value, sdOf(m, celsiusSpread)
}

// ohms compares a resistance reading with a hypothesis: deviation in standard deviations, and the
// logarithm of that deviation's own width.
func (h *hypothesis) ohms(r *ResistanceReading) (z, logWidth float64) {
	k := ZeroResistance(h.metal)
	temp, tempSpread := temperatureOf(r.Temperature)
	perMetre := r.Ohm.Value * float64(max(r.Strands, 1)) / r.Length.Value / TemperatureFactor(h.metal, unit.Celsius(temp))
	rho := ResistivityWindingNominal
	if h.metal == Aluminium {
		rho = ResistivityAluminium
	}
	d := float64(h.size.Diameter)
	want := rho / float64(AreaOf(h.size.Diameter))
	area := h.tolerance / d // 2 × half the tolerance
	variance := area*area + 4*stretch*stretch + resistivitySpread*resistivitySpread
	if h.state == stateBurnt { // some of the loss is copper
		want *= 1 + burntLoss
		variance += 4 * burntSpread * burntSpread
	}
	for _, u := range []float64{
		sdOf(r.Ohm, ohmSpread*r.Ohm.Value) / r.Ohm.Value, sdOf(r.Length, lengthSpread*r.Length.Value) / r.Length.Value,
		tempSpread / (k + temp),
	} {
		variance += u * u
	}
	width := math.Sqrt(variance)
	return math.Log(perMetre/want) / width, math.Log(width)
}

// mass compares a mass reading with a hypothesis, as ohms does.
func (h *hypothesis) mass(m *MassReading) (z, logWidth float64) {
	perMetre := m.Gram.Value / float64(max(m.Strands, 1)) / m.Length.Value
	d := float64(h.size.Diameter)
	want := float64(MassPerMetre(AreaOf(h.size.Diameter), h.metal))
	area := h.tolerance / d
	variance := area*area + 4*stretch*stretch
	switch h.state {
	case stateEnamelled:
		enamel, spread := h.enamel()
		coat := enamelDensity * float64(AreaOf(unit.Millimetre(d+enamel))-AreaOf(h.size.Diameter))
		want += coat
		share := coat / want * (spread/enamel + 0.1) // density of the resin is known to about 10 %
		variance += share * share
	case stateBurnt:
		want *= 1 - burntLoss
		variance += 4 * burntSpread * burntSpread
	}
	for _, u := range []float64{sdOf(m.Gram, massSpread*m.Gram.Value) / m.Gram.Value, sdOf(m.Length, lengthSpread*m.Length.Value) / m.Length.Value} {
		variance += u * u
	}
	width := math.Sqrt(variance)
	return math.Log(perMetre/want) / width, math.Log(width)
}
