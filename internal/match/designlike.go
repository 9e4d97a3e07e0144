package match

import (
	"math"

	"statorbook/internal/winding"
)

// designLikelihoods is how well each design of the catalogue agrees with phases, nameplate and
// supply as told: one factor for each, in the order of the designs. A voltage or frequency that a
// record does not tell is any of those in the catalogue: it agrees as well as they do on average.
func (x *Index) designLikelihoods(p *prepared, out []float64) []float64 {
	out = out[:0]
	volts, freq := x.usualAgreement(p)
	for i := range x.designs {
		d := &x.designs[i]
		l := p.phaseFactor(d.phases)
		if d.voltage > 0 {
			l *= p.plate.voltFactor(d)
		} else {
			l *= volts[phaseCount(d.phases)]
		}
		if d.frequency > 0 {
			l *= p.plate.freqFactor(d)
		} else {
			l *= freq[phaseCount(d.phases)]
		}
		l *= p.plate.connectionFactor(d)
		out = append(out, l)
	}
	return out
}

// usualAgreement is how well voltage and frequency as told agree with the designs of one and of three
// phases, on average.
func (x *Index) usualAgreement(p *prepared) (volts, freq [4]float64) {
	for i := range x.designs {
		if share := x.model.design[i]; share > 0 {
			d := &x.designs[i]
			n := phaseCount(d.phases)
			volts[n] += share * p.plate.voltFactor(d)
			freq[n] += share * p.plate.freqFactor(d)
		}
	}
	return volts, freq
}

// phaseFactor compares phases as told with those of a design.
func (p *prepared) phaseFactor(phases int) float64 {
	l := 1.0
	if t := p.phases; t == 1 || t == 3 {
		l *= pick(t == phases, phasesSame, 1-phasesSame)
	}
	if t := p.plate.sitePhases; t == 1 || t == 3 {
		l *= pick(t == phases, sitePhaseSame, 1-sitePhaseSame)
	}
	return l
}

func pick(yes bool, a, b float64) float64 {
	if yes {
		return a
	}
	return b
}

// voltAgree is the chance of reading one voltage where another is right: exact, of the same class, a
// slip, or anything else.
func voltAgree(f *figure, lnTruth float64) float64 {
	switch d := math.Abs(f.ln - lnTruth); {
	case d < sameFigure:
		return plateVoltSame
	case d < nearVolts:
		return plateVoltNear / 3 // a class has about three more members
	}
	return (1-plateVoltSame-plateVoltNear)/30 + slipTo(f.slips, lnTruth) // some thirty voltages are in use
}

// siteAgree compares volts on site, rated or as measured, with a design's: mains scatter by some 4 %.
func siteAgree(lnSite, lnTruth float64) float64 {
	d := lnSite - lnTruth
	return siteVoltSame*pick(math.Abs(d) < sameFigure, 1, 0) + siteVoltNear*math.Exp(-sq(d/siteVoltSD)/2) + siteVoltWild
}

func (pl *plateQuery) voltFactor(d *design) float64 {
	l := 1.0
	if pl.volts.given {
		l *= voltAgree(&pl.volts, math.Log(d.voltage))
	}
	if !pl.siteVolts.given {
		return l
	}
	site := siteAgree(pl.siteVolts.ln, math.Log(d.voltage))
	// A star connection on site puts the same volts on the winding as delta at 1/√3 of the line.
	if v := d.phaseVoltage(); d.phases == 3 && v > 0 && pl.siteConnection != "" {
		line := pl.siteVolts.ln
		if pl.siteConnection == winding.ConnStar {
			line -= 0.5 * math.Log(3)
		}
		site = max(site, 0.9*siteAgree(line, math.Log(v)))
	}
	return l * max(site, slipTo(pl.siteVolts.slips, math.Log(d.voltage)))
}

func (pl *plateQuery) freqFactor(d *design) float64 {
	l := 1.0
	if pl.freq.given {
		l *= freqAgree(&pl.freq, d.frequency, plateFreqSame)
	}
	if pl.siteFreq.given {
		l *= freqAgree(&pl.siteFreq, d.frequency, siteFreqSame)
	}
	return l
}

// freqAgree is the chance of reading one frequency where another is right: half of the mistakes take
// the other mains frequency.
func freqAgree(f *figure, truth, same float64) float64 {
	ln := math.Log(truth)
	if math.Abs(f.ln-ln) < 0.01 {
		return same
	}
	other := 0.0
	if v := math.Exp(f.ln); math.Abs(v-50) < 0.5 || math.Abs(v-60) < 0.5 {
		other = 0.5
	}
	return (1-same)*(other+0.02) + slipTo(f.slips, ln)
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
	if pl.power.given {
		l *= discrete(&pl.power, r.power, platePowerSame, pl.powerFrom, pl.powerTo, pl.powerShare)
	}
	if pl.cap.given {
		l *= discrete(&pl.cap, r.capacitor, plateCapSame, pl.capFrom, pl.capTo, pl.capShare)
	}
	if pl.current.given {
		l *= continuous(&pl.current, r.current, currentSD)
	}
	if pl.speed.given {
		l *= continuous(&pl.speed, r.speed, speedSD)
	}
	k := x.kindOf(r)
	if pl.class != "" {
		l *= x.classFactor(pl.class, k.class)
	}
	if pl.taps > 0 {
		l *= pick(int(k.taps) == pl.taps, tapsSame, 1-tapsSame)
	}
	if t := p.q.MotorType; t != "" && t != "unknown" {
		switch have := x.texts.motor.at(k.motor); have {
		case "", "unknown":
			l *= motorUsual
		default:
			l *= pick(have == t, motorSame, 1-motorSame)
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
		return platePolesNone
	}
	return pick(p.plate.poles == poles, platePolesSame, (1-platePolesSame)/4)
}

// discrete is the chance of a figure of a preferred series when the record says another or the
// same: half of the misreadings are near (a neighbour of the series), half anything; besides slips.
func discrete(f *figure, packed uint16, same, from, to, share float64) float64 {
	have, ok := unpackLog(packed)
	if !ok {
		return share
	}
	if math.Abs(f.ln-have) < sameFigure {
		return same
	}
	near := 0.0
	if math.Abs(f.ln-have) < 0.8 {
		near = phi((to-have)/0.25) - phi((from-have)/0.25)
	}
	return (1-same)*(0.5*near+0.5*share) + slipTo(f.slips, have)
}

// continuous is the density of the logarithm of a figure when the record says another.
func continuous(f *figure, packed uint16, sd float64) float64 {
	have, ok := unpackLog(packed)
	if !ok {
		return wildDensity
	}
	l := (1-plateWild)*normal(f.ln-have, sd*sd+1e-6) + plateWild*wildDensity
	if d := f.ln - have; d > 5*sd || d < -5*sd {
		l += slipDensity(f.slips, have, sd)
	}
	return l
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
	return classRare
}
