package wire

import (
	"fmt"
	"math"

	"statorbook/internal/errs"
)

// likely is the probability from which a candidate counts in advice and twins.
const likely = 0.01

// adviceTwins is the most inseparable pairs that advice words; the list of pairs has them all.
const adviceTwins = 3

// settled is the probability from which nothing more need be measured.
const settled = 0.95

// band returns the diameters that a size may have, mm.
func (s *Size) band() (low, high float64) {
	d, tol := float64(s.Diameter), float64(s.tolerance())
	if tol == 0 {
		tol = looseTolerance * d
	}
	low, high = float64(s.DiameterMin), float64(s.DiameterMax)
	if low == 0 {
		low = d - tol
	}
	if high == 0 {
		high = d + tol
	}
	return low, high
}

// inseparable lists pairs of likely sizes whose tolerance bands overlap.
func (t *Table) inseparable(list []WireProbability) [][2]string {
	var ids []string
	for _, c := range list {
		id := SizeID(c.Wire.System, c.Wire.Size)
		if c.Probability >= likely && !contains(ids, id) {
			ids = append(ids, id)
		}
	}
	pairs := [][2]string{}
	for i, a := range ids {
		aLow, aHigh := t.sizes[t.byID[a]].band()
		for _, b := range ids[i+1:] {
			bLow, bHigh := t.sizes[t.byID[b]].band()
			if aLow <= bHigh && bLow <= aHigh {
				pairs = append(pairs, [2]string{a, b})
			}
		}
	}
	return pairs
}

func contains(list []string, s string) bool {
	for _, x := range list {
		if x == s {
			return true
		}
	}
	return false
}

// findings tells what was assumed about a scrap.
func (s *Scrap) findings(p *pooled) []errs.Finding {
	all := []errs.Finding{}
	note := func(code, message string, fields ...string) {
		all = append(all, finding(code, errs.SeverityNote, message, fields...))
	}
	if p.n > 1 && p.scatter > float64(p.n-1)+3*math.Sqrt(2*float64(p.n-1)) {
		all = append(all, finding("readings_disagree", errs.SeverityWarning,
			"the diameter readings scatter more than their instrument allows: a flattened place, two gauges in hand, or a slip; they were given less weight", "readings"))
	}
	if p.given {
		note("stretch", "winding and pulling out draws a wire thinner: a reading may be 0.2 to 0.5 % low (counted in)", "readings")
	}
	if p.given && s.Surface != SurfaceBare && s.Surface != SurfaceOverEnamel && s.Condition != ConditionBurnt {
		note("surface_assumed", "it was not told what the micrometer touched: bare 0.45, over the enamel 0.35, burnt 0.20 were assumed", "surface")
	}
	if s.Surface == SurfaceOverEnamel && s.Condition == ConditionBurnt {
		note("burnt_enamel", "burnt wire has lost its enamel: the reading was taken as burnt bare wire", "surface", "condition")
	}
	if s.stateWeights()[stateBurnt] > 0 {
		note("burnt", "burnt wire measures about 2 % thin, give or take 1.6 %, since copper turns to scale (counted in)", "condition")
	}
	if s.Resistance != nil && !s.Resistance.Temperature.Given {
		note("temperature_assumed", fmt.Sprintf("no temperature was told: %.0f °C, give or take %.0f K, was assumed for the resistance", ReferenceTemperature, workshopSpread), "resistance.temperature_c")
	}
	if s.Conductor == "" && s.Resistance == nil && s.Mass == nil {
		note("conductor_assumed", "copper was assumed: a diameter does not tell copper from aluminium", "readings")
	}
	return all
}

// settleBy says what would tell the candidates apart, most useful first.
func (t *Table) settleBy(id *Identification, s *Scrap, p *pooled) []string {
	all := []string{}
	if len(id.Candidates) == 0 {
		return all
	}
	first := id.Candidates[0]
	if first.Probability < settled {
		states := s.stateWeights()
		if states[stateEnamelled] > 0 {
			all = append(all, "take the enamel off without scraping the metal and measure the bare wire")
		}
		if states[stateBurnt] > 0 {
			all = append(all, "take a piece that was not burnt, from deep in the slot, and clean it without emery")
		}
		if !p.given || p.coarse > 0.002 || p.n < 5 {
			all = append(all, "measure with a micrometer of 0.001 mm, at five places and in two directions")
		}
		if s.Resistance == nil {
			all = append(all, t.resistanceAdvice(id.Candidates))
		}
		if s.Mass == nil {
			all = append(all, "weigh a measured length of clean bare wire, 10 m or more")
		}
	}
	for _, pair := range id.Inseparable[:min(len(id.Inseparable), adviceTwins)] {
		a, b := &t.sizes[t.byID[pair[0]]], &t.sizes[t.byID[pair[1]]]
		all = append(all, fmt.Sprintf("%s and %s overlap within their tolerances (%s and %s mm): no measurement tells them apart; where the motor was wound or its drawing may, and their areas differ by %.1f %%",
			readingName(*a), readingName(*b), a.Text, b.Text, 100*math.Abs(float64(a.Area()/b.Area())-1)))
	}
	return all
}

// tellsApart is the ratio of resistances from which a bench meter and a tape tell two wires apart.
const tellsApart = 1.04

// resistanceAdvice names the length to measure, what the likeliest size would show, and what the
// likeliest one would that a resistance can tell from it.
func (t *Table) resistanceAdvice(list []WireProbability) string {
	per := func(c WireProbability) (name string, ohm float64) {
		size := &t.sizes[t.byID[SizeID(c.Wire.System, c.Wire.Size)]]
		return readingName(*size), float64(size.Ohms(c.Wire.Conductor, ReferenceTemperature).Nominal) / 1000
	}
	name, first := per(list[0])
	length := 10.0
	for length*first < 0.5 && length < 1000 { // half an ohm is measured well with a bench meter
		length *= 2
	}
	shows := fmt.Sprintf("%s shows %.3g Ω", name, length*first)
	for _, c := range list[1:] {
		if name, ohm := per(c); math.Max(ohm/first, first/ohm) > tellsApart {
			shows += fmt.Sprintf(", %s %.3g Ω", name, length*ohm)
			break
		}
	}
	return fmt.Sprintf("measure the resistance of %.0f m with four wires at a known temperature: at 20 °C %s", length, shows)
}
