package match

import "math"

// What machines on one lamination have in common beyond what the regressions say: a pump, a fan and a
// grinder of equal iron differ in power, current, capacitor, slip and auxiliary winding, and another
// winding of the same lamination mostly serves the same purpose. How much they share is learned from
// the catalogue: the spread within laminations beside that of all records. The estimate is the usual one of
// mixed models, best linear unbiased prediction (Robinson, Statistical Science 6, 1991).
const (
	tPower   = iota // ln W, of the power that the core suggests
	tCurrent        // ln A, of the current that power and voltage suggest
	tCap            // ln µF, likewise
	tSlip           // ln of the slip
	tAuxTurns
	tAuxArea // ln of auxiliary/main, of what is usual for the rotor position
	tAuxMass // ln of all copper/main copper, likewise
	tMass    // ln of the mass of the main set, of what turns, wire and stack give
	nTraits
)

// expected is mean and variance of each trait of one more record of a kind on a lamination.
type expected [nTraits]struct{ mean, v float64 }

// traitModel is how the traits of records are spread: mean and standard deviation by class of machine,
// as the fallback, and by kind of winding on a kind of ring; and the variance of each that the records of
// one lamination do not share.
type traitModel struct {
	own   [nTraits]float64
	class [4]traitSpreads // as kwTable.prior
	kind  map[kwKey]*traitSpreads
}

// traitSpreads are mean and standard deviation of each trait, kept short: a kind has few records.
type traitSpreads [nTraits]struct{ mean, sd float32 }

func (s *traitSpreads) set(k int, p kwPrior) { s[k].mean, s[k].sd = float32(p.mean), float32(p.sd) }

func (s *traitSpreads) get(k int) kwPrior { return kwPrior{float64(s[k].mean), float64(s[k].sd)} }

// of gives the spread of a kind.
func (m *traitModel) of(k kwKey) *traitSpreads {
	if list, ok := m.kind[k]; ok {
		return list
	}
	return &m.class[kwClass(k.rotor, k.phases)]
}

// split divides the variance of a trait into the part that a lamination's records share and the rest.
func (m *traitModel) split(k int, sd float64) (shared, own float64) {
	own = min(m.own[k], traitOwnMost*sd*sd)
	return sd*sd - own, own
}

// traitSum is the mean of each trait over the records of a lamination, beside their kinds, and their
// number. It is worked out for the few laminations that a match follows up, when it is asked for.
type traitSum struct {
	lam     int
	known   bool
	n, mean [nTraits]float64
}

// traitsOfRecord are the residuals of a record on a site; NaN where it does not tell.
func (x *Index) traitsOfRecord(r *record, s *site) (t [nTraits]float64) {
	for k := range t {
		t[k] = math.NaN()
	}
	d := &x.designs[r.design]
	x.plateTraits(r, s, d, &t)
	a := &x.model.aux
	turns, area := float64(x.series(r.turnsMain)), float64(x.main(r).area)
	if second := float64(x.series(r.turnsAux)); turns > 0 && second > 0 {
		t[tAuxTurns] = math.Log(second/turns) - a.turns[s.rotor].mean
	}
	if second := float64(x.aux(r).area); area > 0 && second > 0 {
		t[tAuxArea] = math.Log(second/area) - a.area[s.rotor].mean
	}
	main, aux := recMass(r, 0), recMass(r, 1)
	if main > 0 && aux > 0 {
		t[tAuxMass] = math.Log(1+aux/main) - a.mass[s.rotor].mean
	}
	if main > 0 && turns > 0 && area > 0 && r.poles > 0 {
		t[tMass] = math.Log(main) - s.lnMass(math.Log(turns), math.Log(area), float64(r.poles)) - x.model.mass[s.rotor].mean
	}
	return t
}

// plateTraits fills those of the nameplate.
func (x *Index) plateTraits(r *record, s *site, d *design, t *[nTraits]float64) {
	m := &x.model.plate
	lnPower, ok := unpackLog(r.power)
	if !ok || d.voltage == 0 || d.frequency == 0 || r.poles == 0 {
		return
	}
	lnPower -= math.Log(200)
	poles := float64(r.poles)
	var fp [nPowerX]float64
	s.powerX(poles, d.frequency, d.phases, &fp)
	t[tPower] = lnPower - m.power.at(fp[:])
	var fx [nPlateX]float64
	plateX(s.rotor, d.phases, lnPower, d.voltage, d.frequency, poles, &fx)
	if ln, ok := unpackLog(r.current); ok {
		t[tCurrent] = ln - m.current.at(fx[:])
	}
	if ln, ok := unpackLog(r.capacitor); ok && d.phases == 1 {
		t[tCap] = ln - m.cap.at(fx[:])
	}
	if ln, ok := unpackLog(r.speed); ok {
		if slip := 1 - math.Exp(ln)*poles/(120*d.frequency); slip > 0.002 {
			t[tSlip] = math.Log(slip) - m.slip.at(fx[:])
		}
	}
}

// windingKind is the kind of a record's winding on a site.
func (x *Index) windingKind(r *record, s *site) kwKey {
	return kwKey{s.rotor, uint8(x.designs[r.design].phases), r.poles, uint16(s.slots)}
}

// sumTraits works the means of a lamination out, each record held within three standard deviations.
func (x *Index) sumTraits(t *traitSum) {
	l := t.lam
	t.known = true
	for c := int(x.lam.coreStart[l]); c < int(x.lam.coreStart[l+1]); c++ {
		from, to := int(x.core.recStart[c]), int(x.core.recStart[c+1])
		if from == to {
			continue
		}
		s := x.siteOf(c)
		for r := from; r < min(to, from+famRecords); r++ {
			list := x.model.traits.of(x.windingKind(&x.recs[r], &s))
			for k, v := range x.traitsOfRecord(&x.recs[r], &s) {
				if !math.IsNaN(v) {
					p := list.get(k)
					t.mean[k] += clamp(v-p.mean, 3*p.sd)
					t.n[k]++
				}
			}
		}
	}
	for k := range t.n {
		if t.n[k] > 0 {
			t.mean[k] /= t.n[k]
		}
	}
}

// expect gives the traits of one more winding of a kind on a lamination, nil = on none that is listed: the
// mean of its records, shrunk (best linear unbiased prediction).
func (x *Index) expect(on *traitSum, key kwKey) (out expected) {
	m := &x.model.traits
	list := m.of(key)
	for k := range out {
		usual := list.get(k)
		shared, own := m.split(k, usual.sd)
		out[k].mean, out[k].v = usual.mean, shared+own
		if on != nil && on.n[k] > 0 {
			shrink := on.n[k] * shared / (on.n[k]*shared + own)
			out[k].mean += shrink * on.mean[k]
			out[k].v = own + shared*(1-shrink)
		}
	}
	return out
}

// kindExpected keeps what is expected of a kind on a context.
type kindExpected struct {
	phases, poles uint8
	of            expected
}

// expectOn gives the traits of one more winding of so many phases and poles on a context.
func (x *Index) expectOn(c *context, phases, poles uint8) *expected {
	for i := range c.kinds {
		if k := &c.kinds[i]; k.phases == phases && k.poles == poles {
			return &k.of
		}
	}
	if c.traits != nil && !c.traits.known {
		x.sumTraits(c.traits)
	}
	if c.kinds == nil {
		c.kinds = make([]kindExpected, 0, len(c.poles))
	}
	c.kinds = append(c.kinds, kindExpected{phases, poles, x.expect(c.traits, kwKey{c.site.rotor, phases, poles, uint16(c.site.slots)})})
	return &c.kinds[len(c.kinds)-1].of
}
