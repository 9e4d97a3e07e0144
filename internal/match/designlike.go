package match

import (
	"math"

	"statorbook/internal/winding"
)

// designLikelihoods is how well each design of the catalogue agrees with phases, nameplate and
// supply as told: one factor for each, in the order of the designs.
func (x *Index) designLikelihoods(p *prepared, out []float64) []float64 {
	out = out[:0]
	for i := range x.designs {
		d := &x.designs[i]
		l := p.phaseFactor(d.phases)
		if d.voltage > 0 {
			l *= p.plate.voltFactor(d)
		}
		if d.frequency > 0 {
			l *= p.plate.freqFactor(d)
		}
		l *= p.plate.connectionFactor(d)
		out = append(out, l)
	}
	return out
}

// phaseFactor compares phases as told with those of a design.
func (p *prepared) phaseFactor(phases int) float64 {
	l := 1.0
	if t := p.phases; t == 1 || t == 3 {
		l *= pick(t == phases, phasesSame, 1-phasesSame)
	}
	if t := p.plate.sitePhases; t == 1 || t == 3 {
		l *= pick(t == phases, 0.97, 0.03) // a single-phase motor may well be fed from a three-phase board
	}
	return l
}

func pick(yes bool, a, b float64) float64 {
	if yes {
		return a
	}
	return b
}

// agree is the chance of reading one voltage where another is right: exact, near, or anything else.
func agree(read, truth, same, near float64) float64 {
	switch d := math.Abs(math.Log(read / truth)); {
	case d < sameFigure:
		return same
	case d < nearVolts:
		return near / 3 // a class has about three more members
	}
	return (1 - same - near) / 12 // about a dozen voltages are in use
}

func (pl *plateQuery) voltFactor(d *design) float64 {
	l := 1.0
	if pl.volts > 0 {
		l *= agree(pl.volts, d.voltage, plateVoltSame, plateVoltNear)
	}
	if pl.siteVolts > 0 {
		site := agree(pl.siteVolts, d.voltage, siteVoltSame, siteVoltNear)
		// A star connection on site puts the same volts on the winding as delta at 1/√3 of the line.
		if v := d.phaseVoltage(); d.phases == 3 && v > 0 {
			line := pl.siteVolts
			if pl.siteConnection == winding.ConnStar {
				line /= math.Sqrt(3)
			}
			if pl.siteConnection != "" {
				site = max(site, 0.9*agree(line, v, siteVoltSame, siteVoltNear))
			}
		}
		l *= site
	}
	return l
}

func (pl *plateQuery) freqFactor(d *design) float64 {
	l := 1.0
	if pl.freq > 0 {
		l *= pick(math.Abs(pl.freq-d.frequency) < 0.5, plateFreqSame, 1-plateFreqSame)
	}
	if pl.siteFreq > 0 {
		l *= pick(math.Abs(pl.siteFreq-d.frequency) < 0.5, siteFreqSame, 1-siteFreqSame)
	}
	return l
}

func (pl *plateQuery) connectionFactor(d *design) float64 {
	l := 1.0
	if pl.connection == winding.ConnStar || pl.connection == winding.ConnDelta {
		switch {
		case d.phases != 3:
			l *= 0.02
		case d.connection == "":
			l *= 0.5
		default:
			l *= pick(pl.connection == d.connection, plateConnSame, 1-plateConnSame)
		}
	}
	if c := pl.siteConnection; d.phases == 3 && (c == winding.ConnStar || c == winding.ConnDelta) && d.connection != "" {
		l *= pick(c == d.connection, siteConnSame, 1-siteConnSame)
	}
	return l
}

// recordFactor is how well the rest of the nameplate agrees with a record.
func (x *Index) recordFactor(p *prepared, r *record) float64 {
	pl := &p.plate
	l := 1.0
	if pl.poles > 0 {
		l *= p.polesFactor(int(r.poles))
	}
	if pl.hasPower {
		l *= discrete(pl.power, r.power, platePowerSame, pl.powerFrom, pl.powerTo, pl.powerShare)
	}
	if pl.hasCap {
		l *= discrete(pl.cap, r.capacitor, plateCapSame, pl.capFrom, pl.capTo, pl.capShare)
	}
	if pl.hasCurrent {
		l *= continuous(pl.current, r.current, currentSD)
	}
	if pl.hasSpeed {
		l *= continuous(pl.speed, r.speed, speedSD)
	}
	if pl.class != "" {
		l *= x.classFactor(pl.class, r.class)
	}
	if pl.taps > 0 {
		l *= pick(int(r.taps) == pl.taps, 0.9, 0.1)
	}
	if t := p.q.MotorType; t != "" && t != "unknown" && r.motor != 0 {
		if have := x.texts.motor.at(r.motor); have != "unknown" {
			l *= pick(have == t, 0.93, 0.07)
		}
	}
	return l
}

// polesFactor compares counted poles with a design's.
func (p *prepared) polesFactor(poles int) float64 {
	if p.plate.poles == 0 {
		return 1
	}
	if poles == 0 {
		return 0.3
	}
	return pick(p.plate.poles == poles, platePolesSame, (1-platePolesSame)/4)
}

// discrete is the chance of a figure of a preferred series when the record says another or the
// same: half of the misreadings are near (a neighbour of the series), half anything.
func discrete(ln float64, packed uint16, same, from, to, share float64) float64 {
	have, ok := unpackLog(packed)
	if !ok {
		return share
	}
	if math.Abs(ln-have) < sameFigure {
		return same
	}
	near := 0.0
	if math.Abs(ln-have) < 0.8 {
		near = phi((to-have)/0.25) - phi((from-have)/0.25)
	}
	return (1 - same) * (0.5*near + 0.5*share)
}

// continuous is the density of the logarithm of a figure when the record says another.
func continuous(ln float64, packed uint16, sd float64) float64 {
	have, ok := unpackLog(packed)
	if !ok {
		return wildDensity
	}
	return (1-plateWild)*normal(ln-have, sd*sd+1e-6) + plateWild*wildDensity
}

// classFactor compares insulation classes.
func (x *Index) classFactor(class string, have uint8) float64 {
	share := x.classShare(class)
	if have == 0 {
		return share
	}
	return pick(x.texts.class.at(have) == class, plateClassSame, (1-plateClassSame)*share)
}

// classShare is the share of an insulation class in the catalogue.
func (x *Index) classShare(class string) float64 {
	for i, c := range x.texts.class.list {
		if c == class {
			return x.model.plate.class[i+1]
		}
	}
	return 0.02
}
