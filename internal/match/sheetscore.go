package match

import (
	"math"
)

// scorer computes the likelihood of sheets.
type scorer struct {
	x *Index
	m *sheetModel
}

// tailWidth is how much wider the far tail of a check is than its middle.
const tailWidth = 12

// chkLog is the logarithm of the density of a residual z with spread s, with a share of wild ones.
func chkLog(z, s, wild float64) float64 {
	return math.Log((1-wild)*math.Exp(-z*z/2)/s + wild*math.Exp(-z*z/(2*tailWidth*tailWidth))/(s*tailWidth) + 1e-12)
}

// logLikelihood of a sheet as it stands.
func (s *scorer) logLikelihood(f *sheetFacts) float64 {
	e := noResiduals
	l := s.setLogs(f)
	var shared [nSheetX]float64
	var v, extra [2][nChk]float64
	var ends [2][nEnds]float64
	for set := range f.n {
		f.checks(set, &v[set], &extra[set])
		ends[set] = f.ends(&f.sets[set])
		if p := v[set][chkProfile]; !math.IsNaN(p) && !math.IsInf(p, 0) {
			l += math.Log(float64(s.m.rms[shapeOf(f.sets[set].kind, f.phases)][set][rmsBin(p)]))
		}
	}
	f.x(0, &shared)
	for j, o := range jointOrder {
		if o.set < f.n && !math.IsNaN(v[o.set][o.check]) {
			shape := shapeOf(f.sets[o.set].kind, f.phases)
			fits := &s.m.chk[shape][o.set]
			x := features(o.check, &shared, &ends[o.set])
			e.put(j, v[o.set][o.check]-fits[o.check].at(x[:]), fits[o.check].sd, s.m.own(shape, o.set, o.check, extra[o.set][o.check], ends[o.set][endGuess], f.sets[o.set].lone()))
		}
	}
	var pair [nPair]float64
	f.pairs(&pair)
	for c := range pair {
		e.put(len(jointOrder)+c, pair[c]-s.m.pair[c].at(shared[:]), s.m.pair[c].sd, 0)
	}
	l += s.m.joint[shapeOf(f.sets[0].kind, f.phases)].log(&e)
	switch f.systems() {
	case 1:
		l += math.Log(1 - s.m.mixed)
	case 2:
		l += math.Log(s.m.mixed)
	}
	return l + s.designLog(f)
}

// setLogs are the chances of each set's layout, paths and strands, and of the agreement of its phases.
func (s *scorer) setLogs(f *sheetFacts) float64 {
	l := 0.0
	for set := range f.n {
		k := &f.sets[set]
		l += s.layoutLog(f, k) + math.Log(s.m.paths[min(max(int(k.paths), 1), 4)-1]) + s.strandsLog(k)
		l += s.apartLog(0, &k.mass) + s.apartLog(1, &k.ohm)
	}
	return l
}

// strandsLog is the chance of so many strands for the conductor's area.
func (s *scorer) strandsLog(k *setFacts) float64 {
	if !(k.area > 0) || k.strands == 0 {
		return 0
	}
	n := min(k.strands*int(k.paths), maxWires)
	return math.Log(s.x.model.strands[areaBin(math.Log(k.area*k.paths))][n-1] + 1e-4)
}

// designLog is the chance of volts, hertz and connection among the records.
func (s *scorer) designLog(f *sheetFacts) float64 {
	if math.IsNaN(f.volts) || math.IsNaN(f.freq) {
		return 0
	}
	share := 1e-4
	for i := range s.x.designs {
		d := &s.x.designs[i]
		if d.phases == f.phases && math.Abs(d.voltage-f.volts) < 0.5 && math.Abs(d.frequency-f.freq) < 0.5 && (f.phases == 1 || d.connection == f.connection) {
			share += s.x.model.design[i]
		}
	}
	return math.Log(share)
}

// layoutHold is how many records the general rules of layout are worth beside counted layouts.
const layoutHold = 1.5

// layoutLog is the chance of a set's kind, groups and throws for its ring and poles: as often as
// catalogued, smoothed by the general rules.
func (s *scorer) layoutLog(f *sheetFacts, k *setFacts) float64 {
	if k.kind == "" {
		return 0
	}
	key := f.layoutKey(k)
	n, all := s.m.layout.of(key), s.m.ways.of(wayOf(key))
	return math.Log((n + layoutHold*f.layoutRule(k)) / (all + layoutHold))
}

// layoutRule is the chance of a layout by the rules of the trade: as many groups as poles (or half,
// or a third or sixth of the slots for three phases), throws of a group two apart, none wider than
// a pole pitch and a slot.
func (f *sheetFacts) layoutRule(k *setFacts) float64 {
	l := 0.02 // so many ways are about equally likely
	p, q := float64(f.poles), f.slots
	switch {
	case f.phases == 3 && len(k.throws) == 1:
		if k.groups*3 != q && k.groups*6 != q {
			l *= 0.01
		}
	case k.groups == p:
	case 2*k.groups == p:
		l *= 0.05
	default:
		l *= 0.003
	}
	for i := range k.throws {
		if i > 0 && k.throws[i] != k.throws[i-1]-2 {
			l *= 0.01
		}
	}
	if len(k.throws) > 0 {
		pitch := q / p
		first := float64(k.throws[0] - 1)
		switch {
		case first > pitch+0.01:
			l *= 0.02
		case first < pitch-1.5 && f.phases == 1 && first < 0.6*pitch:
			l *= 0.05
		case f.phases == 3 && first < 0.7*pitch:
			l *= 0.05
		}
	}
	return l
}
