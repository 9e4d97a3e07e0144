package match

import (
	"math"
	"slices"
)

// The nameplate: how often a field is read right, and how it scatters (measured on simulated worlds of our
// own; common practice, no source).
const (
	plateVoltSame  = 0.95
	plateVoltNear  = 0.03 // another voltage of the same class: 220, 230, 240
	nearVolts      = 0.10 // what counts as the same class, share of the voltage
	plateFreqSame  = 0.985
	platePowerSame = 0.93
	plateCapSame   = 0.88
	plateClassSame = 0.98
	plateConnSame  = 0.95
	platePolesSame = 0.985
	platePolesNone = 0.3 // chance of the poles as counted, where a record does not tell its own
	tapsSame       = 0.9 // number of speed taps
	tapsUsual      = 0.3 // chance of the number as told, for a winding that is not in the catalogue
	classRare      = 0.02
	phasesSame     = 0.99
	motorSame      = 0.93   // kind of motor
	motorUsual     = 0.6    // of the kind as told, where no record says which it is
	currentSD      = 0.045  // ln A
	speedSD        = 0.0065 // ln rpm
	plateWild      = 0.03   // share of currents and speeds that mean nothing
	sameFigure     = 0.004  // ln: two figures are the same
)

// The site's supply is told by the user: the rated voltage of the design, or what a meter showed,
// within a few per cent of it.
const (
	siteVoltSame  = 0.35
	siteVoltNear  = 0.60
	siteVoltSD    = 0.045 // ln V
	siteVoltWild  = 0.004
	siteFreqSame  = 0.99
	siteConnSame  = 0.90
	sitePhaseSame = 0.97 // a single-phase motor may well be fed from a three-phase board
)

// wildDensity is the density per unit of logarithm of a figure that means nothing.
var wildDensity = 1 / math.Log(60)

// plateModel predicts the nameplate of a winding that is not in the catalogue.
type plateModel struct {
	power   linear // ln W/200 on powerX
	current linear // ln A on currentX
	cap     linear // ln µF on currentX with f
	slip    linear // ln slip on slipX
	powers  grid
	caps    grid
	class   []float64 // share of each insulation class by its number
}

const (
	nPowerX = 8
	nPlateX = 7
)

// powerX fills the features of the power of a core.
func (s *site) powerX(poles, freq float64, phases int, x *[nPowerX]float64) {
	fan, tri := classFlags(s.rotor, phases)
	lnP := math.Log(poles / 4)
	*x = [nPowerX]float64{1, fan, tri, lnP, s.lnD, s.lnL, math.Log(freq / 50), fan * s.lnD}
}

func classFlags(rotor uint8, phases int) (fan, tri float64) {
	if rotor == rotorOutside {
		fan = 1
	}
	if phases == 3 {
		tri = 1
	}
	return fan, tri
}

// plateX fills the features of current, capacitor and slip; lnPower is ln(W/200).
func plateX(rotor uint8, phases int, lnPower, volts, freq, poles float64, x *[nPlateX]float64) {
	fan, tri := classFlags(rotor, phases)
	*x = [nPlateX]float64{1, fan, tri, lnPower, math.Log(volts / 230), math.Log(freq / 50), math.Log(poles / 4)}
}

// Priors of the plate (common practice, no source): 1 W of shaft power from about 60 mm³ of D²L at 4
// poles, power factor times efficiency 0.5, a slip of 6 %.
var (
	priorPower   = prior{b: []float64{-0.4, -1.0, 0.2, -1, 2, 1, 0.5, 0}, hold: []float64{2, 2, 2, 2, 2, 2, 2, 2}, sd: 0.5, n: 4}
	priorCurrent = prior{b: []float64{math.Log(200.0 / 230 / 0.55), 0.3, -0.5, 1, -1, 0, 0.1}, hold: []float64{2, 2, 2, 2, 2, 2, 2}, sd: 0.25, n: 4}
	priorCap     = prior{b: []float64{math.Log(8), 0, 0, 0.8, -1.6, -0.8, 0}, hold: []float64{2, 2, 2, 2, 2, 2, 2}, sd: 0.4, n: 4}
	priorSlip    = prior{b: []float64{math.Log(0.06), 0.6, -0.3, -0.15, 0, 0, 0.1}, hold: []float64{2, 2, 2, 2, 2, 2, 2}, sd: 0.5, n: 4}
)

// learnPlate fits the nameplate model.
func (x *Index) learnPlate(sample []int, sites []site) plateModel {
	tPower := rows{p: nPowerX}
	tCurrent, tCap, tSlip := rows{p: nPlateX}, rows{p: nPlateX}, rows{p: nPlateX}
	var fp [nPowerX]float64
	var fx [nPlateX]float64
	var powers, caps []float64
	class := make([]float64, len(x.texts.class.list)+1)
	for i, r := range sample {
		rec := &x.recs[r]
		d := &x.designs[rec.design]
		class[x.kindOf(rec).class]++
		lnPower, ok := unpackLog(rec.power)
		if !ok || d.voltage == 0 || d.frequency == 0 || rec.poles == 0 {
			continue
		}
		powers = append(powers, lnPower)
		lnPower -= math.Log(200)
		poles := float64(rec.poles)
		sites[i].powerX(poles, d.frequency, d.phases, &fp)
		tPower.add(fp[:], lnPower, 1)
		plateX(sites[i].rotor, d.phases, lnPower, d.voltage, d.frequency, poles, &fx)
		if ln, ok := unpackLog(rec.current); ok {
			tCurrent.add(fx[:], ln, 1)
		}
		if ln, ok := unpackLog(rec.capacitor); ok && d.phases == 1 {
			caps = append(caps, ln)
			tCap.add(fx[:], ln, 1)
		}
		if ln, ok := unpackLog(rec.speed); ok {
			if s := 1 - math.Exp(ln)*poles/(120*d.frequency); s > 0.002 {
				tSlip.add(fx[:], math.Log(s), 1)
			}
		}
	}
	m := plateModel{class: classShares(class)}
	together(
		func() { m.power = tPower.fit(priorPower) },
		func() { m.current = tCurrent.fit(priorCurrent) },
		func() { m.cap = tCap.fit(priorCap) },
		func() { m.slip = tSlip.fit(priorSlip) },
		func() { m.powers, m.caps = newGrid(powers, 0.25), newGrid(caps, 0.22) },
	)
	return m
}

// classShares smooths the counts of insulation classes.
func classShares(count []float64) []float64 {
	sum := 0.0
	for i := range count {
		count[i] += 0.2
		sum += count[i]
	}
	for i := range count {
		count[i] /= sum
	}
	return count
}

// grid is a list of preferred values (powers, capacitances) in logarithms. A figure falls on one of
// them: its chance is that of the interval halfway to the neighbours.
type grid struct {
	ln    []float64
	share []float64
	gap   float64 // ln distance of the series where the catalogue shows too few values
}

// gridMost bounds the number of distinct values of a grid.
const gridMost = 400

// newGrid lists the distinct values of v.
func newGrid(v []float64, gap float64) grid {
	g := grid{gap: gap}
	s := slices.Clone(v)
	slices.Sort(s)
	for _, x := range s {
		if n := len(g.ln); n > 0 && x-g.ln[n-1] < sameFigure {
			g.share[n-1] += 1 / float64(len(s))
			continue
		}
		g.ln = append(g.ln, x)
		g.share = append(g.share, 1/float64(len(s)))
	}
	if len(g.ln) > gridMost {
		return grid{gap: gap}
	}
	g.ln, g.share = exact(g.ln), exact(g.share)
	return g
}

// interval gives the neighbourhood of a value: (from, to) in logarithms, and its share of all
// records, at least that of one odd figure.
func (g *grid) interval(ln float64) (from, to, share float64) {
	i, _ := slices.BinarySearch(g.ln, ln-sameFigure)
	if i < len(g.ln) && g.ln[i] <= ln+sameFigure {
		from, to = ln-g.gap/2, ln+g.gap/2
		if i > 0 {
			from = max(from, (ln+g.ln[i-1])/2)
		}
		if i+1 < len(g.ln) {
			to = min(to, (ln+g.ln[i+1])/2)
		}
		return from, to, g.share[i]
	}
	// A value of no series: an odd figure, a tenth as likely as its neighbourhood.
	return ln - g.gap/20, ln + g.gap/20, 1e-3
}

// phi is the normal distribution function.
func phi(z float64) float64 { return 0.5 * math.Erfc(-z/math.Sqrt2) }
