package match

import (
	"math"

	"statorbook/internal/winding"
)

// The checks of a data sheet. Each is a logarithm that the catalogue predicts from other figures
// of the sheet; the order is that of the residual arrays.
const (
	chkArea    = iota // conductor against mass and resistance: needs no turns and no geometry
	chkLength         // wire length against turns and mean turn
	chkDensity        // y_B, main winding only
	chkFill           // y_F
	chkCurrent        // plate current against power, volts, poles
	chkLoad           // current density
	chkPower          // power against D²L and poles
	chkTeeth          // y_B where only the teeth are known, which leaves out what the back iron bears
	chkIron           // y_B where only the back iron is known
	chkProfile        // turns of concentric coils against the sine of their span: root mean square
	nChk
)

// kinds of check that stand beside the two sets.
const (
	pairTurns = iota // effective turns, auxiliary over main
	pairArea
	nPair
)

// Priors of the checks: spread of the residual and the share of honest sheets far outside
// (measured on simulated worlds of our own; the spreads are replaced by the catalogue's).
var (
	chkSD   = [nChk]float64{0.021, 0.045, 0.085, 0.14, 0.12, 0.25, 0.3, 0.12, 0.12, 0.09}
	chkWild = [nChk]float64{1e-6, 1e-4, 3e-4, 3e-4, 3e-4, 3e-4, 3e-4, 3e-4, 3e-4, 3e-4}
	// chkLeast is what no check goes below, however like each other a few records are.
	chkLeast = [nChk]float64{0, 0.01, 0.04, 0.06, 0.05, 0.1, 0.1, 0.06, 0.06, 0.02}
	pairSD   = [nPair]float64{0.2, 0.3}
	pairWild = 3e-4
)

// weighedLeast is the least scatter of the area check where masses and resistances were measured: a shop's
// scale is good to about 1 %, its bridge to 0.5 %, and the check has half of either (common practice, no source).
const weighedLeast = 0.005

// nSheetX is the number of features of a check's regression.
const nSheetX = 12

// Two of them.
const (
	featurePower = 7
	featureVolts = 8
)

// The shapes of coils that are judged apart: a coil close round one tooth has ends of another form, and
// more scatter in them, than one laid over several slots; the figures of three like phases scatter less
// than that of one winding.
const (
	shapeLaid = iota
	shapeTooth
	shapePhases
	nShape
)

func shapeOf(kind winding.PatternKind, phases int) int {
	switch {
	case kind == winding.Tooth:
		return shapeTooth
	case phases == 3:
		return shapePhases
	}
	return shapeLaid
}

// sheetModel is what the catalogue says of honest sheets.
type sheetModel struct {
	chk    [nShape][2][nChk]linear // by the shape of the coils; main or phase, auxiliary
	pair   [nPair]linear
	joint  [nShape]jointModel
	guess  [nShape][2]float64          // sd that a guessed depth of slots adds to the length check
	rms    [nShape][2][rmsBins]float32 // density of chkProfile, by the same classes as chk
	layout tally                       // records of each way of laying a set
	ways   tally                       // records of each kind of ring, poles and role
	paths  [4]float64                  // share of 1, 2, 3, more parallel paths
	mixed  float64                     // share of sheets whose two windings have wires of unlike systems
	apart  [2]float64                  // sd of the logarithms of ratios between masses, between resistances, of phases
	n      float64
}

// features that all checks share.
func (f *sheetFacts) x(set int, out *[nSheetX]float64) {
	fan, tri := classFlags(f.rotor, f.phases)
	lnPower := math.Log(f.power / 200)
	lnD, lnL := math.Log(f.gap/70), math.Log(f.stack/40)
	*out = [nSheetX]float64{1, fan, tri, zeroNaN(lnD), zeroNaN(lnL), math.Log(float64(f.poles) / 4), math.Log(f.slots / 24), zeroNaN(lnPower), zeroNaN(math.Log(f.volts / 230)), zeroNaN(math.Log(f.freq / 50)), f.splitPhase, f.startCapacitor}
	if fan == 1 {
		out[5] = math.Log(float64(f.poles) / 14)
		out[6] = 0
	}
}

func zeroNaN(v float64) float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return 0
	}
	return v
}

// checks computes the values that the regressions predict; NaN where the sheet does not tell. The
// standard deviations that a weighing state adds come in extra.
func (f *sheetFacts) checks(set int, out, extra *[nChk]float64) {
	s := &f.sets[set]
	*extra = [nChk]float64{}
	total := s.total()
	series := total / s.paths
	lnLen := math.Log(total * f.meanTurn(s))
	lnM, lnR, lnA := math.Log(s.mass.middle()), math.Log(s.ohm.middle()), math.Log(s.area)
	out[chkArea] = lnA - 0.5*(lnM+s.lnRho-s.lnDelta-lnR) + math.Log(s.paths)
	extra[chkArea] = s.massSD / 2
	switch {
	case !math.IsNaN(lnM) && !math.IsNaN(lnR):
		out[chkLength] = math.Log(s.paths) + 0.5*(lnM+lnR-s.lnDelta-s.lnRho) - lnLen
		extra[chkLength] = s.massSD / 2
	case !math.IsNaN(lnM):
		out[chkLength] = lnM - s.lnDelta - lnLen - lnA
		extra[chkLength] = s.massSD
	default:
		out[chkLength] = lnR + 2*math.Log(s.paths) + lnA - s.lnRho - lnLen
	}
	out[chkProfile] = f.profile(s)
	out[chkFill] = math.Log(2*series*s.area*s.paths*float64(phaseCount(f.phases))) - s.lnRoom
	for _, c := range [...]int{chkDensity, chkTeeth, chkIron, chkCurrent, chkLoad, chkPower} {
		out[c] = math.NaN()
	}
	if set != 0 {
		return
	}
	d := design{phases: f.phases, voltage: f.volts, connection: f.connection}
	volts := d.phaseVoltage()
	if f.phases == 3 && f.connection == "" {
		volts = math.NaN()
	}
	tau := math.Pi * f.gap / float64(f.poles)
	out[f.basis] = math.Log(volts/(emfConstant*f.freq*series*s.kw*tau*f.stack*1e-6)) - f.lnBref
	out[chkCurrent] = math.Log(f.amps)
	i := f.amps
	if f.phases == 3 && f.connection != "star" {
		i /= math.Sqrt(3)
	}
	out[chkLoad] = math.Log(i / (s.area * s.paths))
	out[chkPower] = math.Log(f.power / 200)
}

// pairs compares the auxiliary with the main winding.
func (f *sheetFacts) pairs(out *[nPair]float64) {
	if f.n < 2 {
		*out = [nPair]float64{math.NaN(), math.NaN()}
		return
	}
	m, a := &f.sets[0], &f.sets[1]
	out[pairTurns] = math.Log(a.total() / a.paths * a.kw / (m.total() / m.paths * m.kw))
	out[pairArea] = math.Log(a.area * a.paths / (m.area * m.paths))
}

// sheetPriorN is how many records the prior spread of a check is worth.
const sheetPriorN = 8

// sheetPriors are the coefficients before any record: nothing but the constant.
func sheetPrior(features int, constant, sd float64) prior {
	p := prior{b: make([]float64, features), hold: make([]float64, features), sd: sd, n: sheetPriorN}
	for i := range p.hold {
		p.hold[i] = 4
	}
	p.b[0] = constant
	return p
}

// constants of the checks before any record (common practice, no source).
var chkConstant = [nChk]float64{0, 0, 0.1, -1.6, 0.4, 1.7, -0.4, 0, 0, 0.08}

// maskFeatures leaves out what would give a check away to itself: the power does not predict itself, nor do the
// volts. What the area check compares is free of the machine, so that it has its constant alone.
func maskFeatures(check int, x *[nSheetX]float64) {
	switch check {
	case chkArea:
		for i := 1; i < nSheetX; i++ {
			x[i] = 0
		}
	case chkPower:
		x[featurePower], x[featureVolts] = 0, 0
	}
}

// learnSheets fits the checks to a sample of sheets.
func learnSheets(sample []*sheetRow, layouts []string) sheetModel {
	m := sheetModel{n: float64(len(sample))}
	m.count(sample, layouts)
	m.learnProfiles(sample)
	m.learnApart(sample)
	var tasks []func()
	for shape := range m.chk {
		for set := range m.chk[shape] {
			for c := range m.chk[shape][set] {
				if c == chkProfile || set == 1 && (shape == shapePhases || c != chkArea && c != chkLength && c != chkFill) {
					continue // nothing is judged by these
				}
				tasks = append(tasks, func() { m.chk[shape][set][c] = learnCheck(sample, shape, set, c) })
			}
		}
	}
	for c := range m.pair {
		tasks = append(tasks, func() { m.pair[c] = learnPair(sample, c) })
	}
	together(tasks...)
	m.weighed()
	m.learnGuess(sample)
	m.learnJoint(sample)
	return m
}

// count counts layouts, parallel paths and mixed gauge systems. What it begins with is worth one sheet (common
// practice, no source).
func (m *sheetModel) count(sample []*sheetRow, layouts []string) {
	layout, ways := map[string]float64{}, map[string]float64{}
	m.paths = [4]float64{1, 0.05, 0.01, 0.01}
	mixed, both := 0.02, 1.0
	for _, row := range sample {
		for i := range row.n {
			set := &row.sets[i]
			key := layouts[set.layout]
			layout[key]++
			ways[wayOf(key)]++
			m.paths[min(set.paths, 4)-1]++
		}
		if row.systems != 0 {
			both++
			if row.systems == 2 {
				mixed++
			}
		}
	}
	m.layout, m.ways = newTally(layout), newTally(ways)
	m.mixed = mixed / both
	sum := 0.0
	for _, p := range m.paths {
		sum += p
	}
	for i := range m.paths {
		m.paths[i] /= sum
	}
}

// learnCheck fits one check of the main (0) or auxiliary (1) set of a shape.
func learnCheck(sample []*sheetRow, shape, set, check int) linear {
	table := rows{p: featuresOf(check)}
	for _, row := range sample {
		if set >= int(row.n) {
			continue
		}
		s := &row.sets[set]
		if int(s.shape) != shape {
			continue
		}
		x := s.features(check, &row.x)
		scatter := s.extra[check]
		if check == chkLength && s.lone {
			scatter = math.Hypot(scatter, chkSD[chkArea])
		}
		table.add(x[:table.p], s.v[check], 1/(1+sq(scatter/chkSD[check])))
	}
	held := sheetPrior(table.p, chkConstant[check], chkSD[check])
	if check == chkCurrent { // amperes are watts over volts
		held.b[featurePower], held.b[featureVolts] = 1, -1
	}
	out := table.fit(held)
	out.sd = max(out.sd, chkLeast[check])
	return out
}

// weighed widens the checks that rest on scales and bridges where the sample was not weighed: its masses and
// resistances agree better than any scale, because somebody calculated them, and tell nothing of scales.
func (m *sheetModel) weighed() {
	for shape := range m.chk {
		for set := range m.chk[shape] {
			c := &m.chk[shape][set]
			n := c[chkArea].n
			shown := n*sq(weighedLeast) + sheetPriorN*sq(chkSD[chkArea]) // the prior has a share in the spread
			if n > 0 && (n+sheetPriorN)*sq(c[chkArea].sd) < shown {
				c[chkArea].sd = chkSD[chkArea]
				c[chkLength].sd = max(chkSD[chkLength], math.Hypot(c[chkLength].sd, chkSD[chkArea]))
			}
		}
	}
}

// learnPair fits one comparison of both sets.
func learnPair(sample []*sheetRow, pair int) linear {
	table := rows{p: nSheetX}
	for _, row := range sample {
		table.add(row.x[:], row.pair[pair], 1)
	}
	return table.fit(sheetPrior(nSheetX, 0, pairSD[pair]))
}

// systems compares the gauge systems of both windings: 0 not known, 1 alike, 2 unlike.
func (f *sheetFacts) systems() int {
	if f.n < 2 || len(f.sets[0].wires) == 0 || len(f.sets[1].wires) == 0 {
		return 0
	}
	if f.sets[0].wires[0].System == f.sets[1].wires[0].System {
		return 1
	}
	return 2
}

// wayOf is the part of a layout key that names role, kind of ring and poles: all but kind, groups and throws.
func wayOf(key string) string {
	role, kind := 0, 0
	for i := range len(key) {
		if key[i] == '|' {
			role = i
			break
		}
	}
	for i := role + 1; i < len(key); i++ {
		if key[i] == '|' {
			kind = i
			break
		}
	}
	bars, end := 0, len(key)
	for i := kind; i < len(key); i++ {
		if key[i] == '|' {
			bars++
			if bars == 5 {
				end = i
				break
			}
		}
	}
	return key[:role] + key[kind:end]
}
