package match

import (
	"math"
	"slices"

	"statorbook/internal/winding"
)

// Priors of the two winding regressions: E is about 0.93 V and small machines run near the reference
// density; a main winding of a single-phase machine fills about a fifth of the slots with copper,
// three phases a third (common practice, no source).
var (
	priorTurns = prior{b: []float64{0.10, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0}, hold: evenHold, sd: 0.15, n: 4}
	priorFill  = prior{b: []float64{-1.6, 0.2, 0.5, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0}, hold: evenHold, sd: 0.25, n: 4}
	evenHold   = []float64{2, 2, 2, 2, 2, 2, 2, 2, 2, 2, 2, 2, 2, 2, 2}
)

// spreads splits what the winding regressions leave into a part that a lamination's windings share
// and a part of each winding; variances and the covariance of y_B with y_F.
type spreads struct {
	recB, recF, recBF float64
	famB, famF, famBF float64
}

// windingY is y_B and y_F of a record on a site, and their features; ok is false when the record
// does not tell enough. power is false when the record has none.
func (x *Index) windingY(r *record, s *site, f *[nY]float64) (yB, yF float64, power, ok bool) {
	d := &x.designs[r.design]
	volts := d.phaseVoltage()
	if d.phases == 3 && d.connection != winding.ConnStar && d.connection != winding.ConnDelta {
		volts = 0
	}
	lnKw, haveKw := unpackLog(r.kwMain)
	if !(volts > 0) || !(d.frequency > 0) || r.poles == 0 || !(x.series(r.turnsMain) > 0) || !haveKw {
		return 0, 0, false, false
	}
	poles := float64(r.poles)
	lnB, lnYT, _ := s.reference(poles)
	lnN := math.Log(float64(x.series(r.turnsMain)))
	yB = s.lnTurnsFactor(volts, d.frequency, poles) - lnB - lnN - lnKw
	yF = math.NaN()
	if area := x.main(r).area; area > 0 {
		yF = lnN + math.Log(float64(area)) + math.Log(2*float64(phaseCount(d.phases))) - s.lnSlotRoom
	}
	lnPower, power := unpackLog(r.power)
	if power {
		lnPower -= math.Log(200)
	}
	s.features(poles, d.frequency, d.phases, lnYT, lnPower, f)
	return yB, yF, power, true
}

func phaseCount(phases int) int {
	if phases == 3 {
		return 3
	}
	return 1
}

// learnTurns fits y_B and y_F without and with the power, and splits their spread.
func (m *model) learnTurns(x *Index, sample []int, sites []site) {
	var tB, tF [2]rows
	for k := range tB {
		tB[k].p, tF[k].p = nY, nY
	}
	var f [nY]float64
	for i, r := range sample {
		rec := &x.recs[r]
		s := &sites[i]
		yB, yF, power, ok := x.windingY(rec, s, &f)
		if !ok {
			continue
		}
		w := x.originWeight(rec)
		wB := w / (1 + (s.rvTooth+s.rvYoke)/0.006)
		wF := w / (1 + s.rvArea/0.02)
		if power {
			tB[1].add(f[:], yB, wB)
			tF[1].add(f[:], yF, wF)
		}
		f[nY-1] = 0
		tB[0].add(f[:], yB, wB)
		tF[0].add(f[:], yF, wF)
	}
	together(
		func() { m.turns[0] = tB[0].fit(priorTurns) },
		func() { m.turns[1] = tB[1].fit(priorTurns) },
		func() { m.fill[0] = tF[0].fit(priorFill) },
		func() { m.fill[1] = tF[1].fit(priorFill) },
	)
	together(
		func() { m.spread[0] = m.split(x, sample, sites, 0) },
		func() { m.spread[1] = m.split(x, sample, sites, 1) },
	)
}

// rewoundWeight: an already rewound motor is weaker evidence than a factory winding (common
// practice, no source).
const rewoundWeight = 0.5

func (x *Index) originWeight(r *record) float64 {
	if x.texts.origin.at(x.kindOf(r).origin) == "previously_rewound" {
		return rewoundWeight
	}
	return 1
}

// split divides the residual variance into the part within laminations and the part between them.
// Scales are medians, so that a few gross records do not count.
func (m *model) split(x *Index, sample []int, sites []site, k int) spreads {
	p := spreads{recB: sq(0.05), recF: sq(0.12), famB: sq(0.07), famF: sq(0.10), recBF: 0, famBF: 0}
	var all, within [4][]float64 // B, F, B+F, B-F
	last := -1
	var run [][2]float64
	flush := func() {
		n := len(run)
		if n < 2 {
			return
		}
		var mean [2]float64
		for _, v := range run {
			mean[0] += v[0] / float64(n)
			mean[1] += v[1] / float64(n)
		}
		scale := math.Sqrt(float64(n) / float64(n-1))
		for _, v := range run {
			appendFour(&within, (v[0]-mean[0])*scale, (v[1]-mean[1])*scale)
		}
	}
	for i, r := range sample {
		b, f, ok := x.residuals(&x.recs[r], &sites[i], k)
		if !ok {
			continue
		}
		l := x.lamOf(x.coreOfRecord(r))
		if l != last {
			flush()
			run, last = run[:0], l
		}
		run = append(run, [2]float64{b, f})
		appendFour(&all, b, f)
	}
	flush()
	return p.update(&all, &within)
}

func appendFour(out *[4][]float64, b, f float64) {
	out[0] = append(out[0], math.Abs(b))
	out[1] = append(out[1], math.Abs(f))
	out[2] = append(out[2], math.Abs(b+f))
	out[3] = append(out[3], math.Abs(b-f))
}

// spreadHold is how many records the prior spreads are worth.
const spreadHold = 10.0

// update moves prior spreads to what the residuals show.
func (p spreads) update(all, within *[4][]float64) spreads {
	v := func(a []float64) float64 { return sq(madToSD * median(slices.Clone(a))) }
	if n := float64(len(within[0])); n > 0 {
		mix := func(old, seen float64) float64 { return (spreadHold*old + n*seen) / (spreadHold + n) }
		p.recB, p.recF = mix(p.recB, v(within[0])), mix(p.recF, v(within[1]))
		p.recBF = mix(p.recBF, clampCov((v(within[2])-v(within[3]))/4, p.recB, p.recF))
	}
	if n := float64(len(all[0])); n > 0 {
		mix := func(old, seen float64) float64 { return (spreadHold*old + n*seen) / (spreadHold + n) }
		// A tenth of the record's own variance at least: some of the fit rests on these records.
		fb, ff := max(v(all[0])-p.recB, 0.1*p.recB), max(v(all[1])-p.recF, 0.1*p.recF)
		p.famB, p.famF = mix(p.famB, fb), mix(p.famF, ff)
		p.famBF = mix(p.famBF, clampCov((v(all[2])-v(all[3]))/4-p.recBF, p.famB, p.famF))
	}
	return p
}

// clampCov keeps a covariance within 0.9 of what the variances allow.
func clampCov(c, va, vb float64) float64 {
	most := 0.9 * math.Sqrt(va*vb)
	return min(max(c, -most), most)
}

// residuals of a record in both regressions with (k = 1) or without the power.
func (x *Index) residuals(r *record, s *site, k int) (b, f float64, ok bool) {
	var v [nY]float64
	yB, yF, power, ok := x.windingY(r, s, &v)
	if !ok || math.IsNaN(yF) || k == 1 && !power {
		return 0, 0, false
	}
	if k == 0 {
		v[nY-1] = 0
	}
	return yB - x.model.turns[k].at(v[:]), yF - x.model.fill[k].at(v[:]), true
}
