package match

import (
	"math"

	"statorbook/internal/stator"
	"statorbook/internal/unit"
	"statorbook/internal/winding"
)

// Slots are counted right mostly (common practice, no source).
const (
	slotsRight  = 0.984
	slotsOff1   = 0.005 // each way
	slotsOff2   = 0.003 // each way
	ring2Right  = 0.98
	ring2Unseen = 0.05 // the second ring was seen but is not on record, or the other way round
)

// slotChance is the chance that a ring of true slots was counted as read.
func slotChance(read, truth int) float64 {
	switch d := read - truth; {
	case d == 0:
		return slotsRight
	case d == 1 || d == -1:
		return slotsOff1
	case d == 2 || d == -2:
		return slotsOff2
	}
	return 0
}

// prepared is a query made ready.
type prepared struct {
	q        *Query
	readings []reading
	at       [nDims]int8 // 1 + place in readings, 0 = not given
	slots    int
	ring2    int // slots of the second ring; 0 = not told, 1 = told without a count
	phases   int
	rotor    int8 // -1 = not told
	plate    plateQuery
	remains  remainsQuery
	assumed  []winding.Assumption
}

// figure is one figure of nameplate or supply: its logarithm and what else may have been meant.
type figure struct {
	given bool
	ln    float64
	slips []figureSlip
}

func newFigure(m unit.Measured) figure {
	if !usable(m) {
		return figure{}
	}
	return figure{given: true, ln: math.Log(m.Value), slips: figureSlips(m)}
}

// plateQuery is what nameplate and supply say.
type plateQuery struct {
	volts, freq, power, current, speed, cap figure
	siteVolts, siteFreq                     figure
	poles, taps                             int
	class                                   string
	connection, siteConnection              winding.Connection
	sitePhases                              int
	powerShare, capShare                    float64 // shares of these values among the records
	powerFrom, powerTo, capFrom, capTo      float64 // their neighbourhoods in the series
}

// prepare turns a query into readings and evidence.
func (x *Index) prepare(q *Query) *prepared {
	p := &prepared{q: q, slots: q.Measurements.Slots, phases: q.Measurements.Phases, rotor: -1}
	c := &q.Measurements
	switch c.RotorPosition {
	case stator.RotorInside:
		p.rotor = rotorInside
	case stator.RotorOutside:
		p.rotor = rotorOutside
	}
	if c.SecondRing != nil {
		p.ring2 = max(1, c.SecondRing.Slots)
		if p.rotor < 0 {
			p.rotor = rotorOutside
			p.assumed = append(p.assumed, winding.Assumption{Field: "measurements.rotor_position", Value: string(stator.RotorOutside), Why: "not given; a second ring of slots is that of a fan, whose rotor runs outside"})
		}
	}
	step := roundingStep(typedFigures(c))
	for d := dGap; d < nDims; d++ {
		m := d.of(c)
		if !usable(m) {
			continue
		}
		s := step
		if d == dStack {
			s = roundingStep([]float64{m.Value})
		}
		r := newReading(d, m, s)
		if (d == dArea || d == dArea2) && c.SlotAreaBasis == stator.AreaGross {
			r.scale(grossToNet)
			r.widen(0.06)
			p.assumed = append(p.assumed, winding.Assumption{Field: dims[d].field, Value: grossToNet, Why: "a gross slot area; the catalogue keeps net ones, taken as this share of it"})
		}
		p.readings = append(p.readings, r)
		p.at[d] = int8(len(p.readings))
	}
	x.preparePlate(p, q)
	x.prepareRemains(p, q.Remains)
	return p
}

// typedFigures lists the lengths of the lamination as typed, from which the rounding step shows.
func typedFigures(c *stator.Core) []float64 {
	var out []float64
	for d := dGap; d < dStack; d++ {
		if m := d.of(c); usable(m) && !dims[d].rel && m.Resolution == 0 && unitFactor(m.Unit) == 1 {
			out = append(out, m.Value)
		}
	}
	return out
}

// preparePlate takes nameplate and supply in.
func (x *Index) preparePlate(p *prepared, q *Query) {
	pl := &p.plate
	if n := q.Nameplate; n != nil {
		pl.volts, pl.freq, pl.power = newFigure(n.Voltage), newFigure(n.Frequency), newFigure(n.Power)
		pl.current, pl.speed, pl.cap = newFigure(n.Current), newFigure(n.Speed), newFigure(n.CapacitorUF)
		pl.poles, pl.taps, pl.class, pl.connection = n.Poles, n.SpeedTaps, classWord(n.InsulationClass), n.Connection
	}
	if s := q.Supply; s != nil {
		pl.siteVolts, pl.siteFreq, pl.siteConnection, pl.sitePhases = newFigure(s.Voltage), newFigure(s.Frequency), s.Connection, s.Phases
	}
	m := &x.model.plate
	pl.powerFrom, pl.powerTo, pl.powerShare = m.powers.interval(pl.power.ln)
	pl.capFrom, pl.capTo, pl.capShare = m.caps.interval(pl.cap.ln)
}

// value is the reading of dimension d; ok is false if it was not given.
func (p *prepared) value(d dim) (*reading, bool) {
	if p.at[d] == 0 {
		return nil, false
	}
	return &p.readings[p.at[d]-1], true
}
