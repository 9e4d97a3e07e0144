package match

import (
	"cmp"
	"slices"
	"sync"

	"statorbook/internal/stator"
	"statorbook/internal/winding"
)

// Limits of an answer.
const (
	defaultLimit = 10
	maxLimit     = 50
	maxCores     = 12
)

// scratch holds work areas between matches; nothing of one query is left in the next.
var scratch = sync.Pool{New: func() any { return new(work) }}

// Match says which catalogued stator the query is, how sure that is, and what winding to try. The
// same query on the same index gives the same answer, bit for bit. It fails with KindImpossible when
// no stator can have the dimensions, however one of them is read. Outside the service range (6 to 72
// slots, 5 W to 3 kW, 12 to 690 V, 45 to 65 Hz, no shaded-pole and no commutator motors) the answer is "none" with a
// finding and no proposal.
func (x *Index) Match(q Query) (Answer, error) {
	repaired, findings, err := checkGeometry(&q.Measurements)
	if err != nil {
		return Answer{}, err
	}
	if q.MotorType == shadedPole {
		findings = append(findings, shadedPoleAsked)
	}
	findings = append(findings, fasterThanField(q.Nameplate, q.Supply)...)
	if anotherKind(findings) {
		return abstain(findings), nil
	}
	if f, unread := unreadClass(q.Nameplate); unread {
		findings = append(findings, f)
	}
	w := scratch.Get().(*work)
	defer scratch.Put(w)
	p := x.prepare(&q)
	b := x.weigh(p, w)
	if outside := winding.OutsideService(q.Nameplate, q.Supply, beyondMatching); len(outside) > 0 {
		if b.beyondService(p, outside) {
			return abstain(append(findings, outside...)), nil
		}
		findings = append(findings, misread(outside)...)
	}
	w.note(b)
	a := Answer{Assumed: p.assumed, Findings: findings}
	x.listCandidates(p, w, b, &a)
	x.listCores(w, &a)
	pts := x.spread(w)
	x.overall(w, pts, &a)
	x.propose(p, w, b, pts, x.cover(w, pts), &a)
	x.readAs(p, w, b, &a)
	x.readSlots(p, w, b, &a)
	x.readRemains(p, w, &a)
	x.plateDisagrees(p, w, &a)
	a.addRepaired(&q.Measurements, repaired)
	x.extrapolated(p, &a)
	x.decide(&a)
	x.next(p, w, b, &a)
	x.assumptions(p, &a)
	a.Cautions = winding.StandardCautions(winding.ProposalCautions...)
	a.Status = "estimated"
	if len(a.Proposals) > 0 && a.Proposals[0].Basis.Method == methodRecord {
		a.Status = x.statusOf(&a)
	}
	return a, nil
}

// note keeps what later steps ask of contexts and cores by their places: listCores sorts the cores, on
// which readAs and next rest.
func (w *work) note(b *beliefs) {
	w.rotors, w.coreAt = w.rotors[:0], w.coreAt[:0]
	for i := range b.contexts {
		w.rotors = append(w.rotors, b.contexts[i].site.rotor)
	}
	for i := range w.cores {
		w.coreAt = append(w.coreAt, w.cores[i].core)
	}
}

// addRepaired adds the readings without which the geometry would be impossible, but no second
// explanation of what the readings that the posterior tells already remove; the findings then name those.
func (a *Answer) addRepaired(c *stator.Core, repaired []ReadAs) {
	if len(repaired) == 0 {
		return
	}
	asRead := *c
	for _, r := range a.Readings {
		if d := slices.IndexFunc(dims[:], func(k dimInfo) bool { return k.field == r.Field }); d >= 0 {
			asRead = withReading(&asRead, dim(d), r.ReadAs)
		}
	}
	if !stator.Impossible(stator.Check(asRead)) {
		for i := range a.Findings {
			if f := &a.Findings[i]; f.LikelySlip != nil && f.LikelySlip.Code == slipReading {
				f.LikelySlip = doubtOf(f, a.Readings)
			}
		}
		return
	}
	for _, r := range repaired {
		if !slices.ContainsFunc(a.Readings, func(told ReadAs) bool { return told.Field == r.Field }) {
			a.Readings = append(a.Readings, r)
		}
	}
}

// statusOf is the status of the record that the first proposal repeats.
func (x *Index) statusOf(a *Answer) string {
	for i := range a.Candidates {
		if a.Candidates[i].WindingID == a.Proposals[0].Basis.WindingIDs[0] && a.Candidates[i].Status != "" {
			return a.Candidates[i].Status
		}
	}
	return "estimated"
}

// listCandidates fills the candidates, best first, and the probabilities of what is not among them.
func (x *Index) listCandidates(p *prepared, w *work, b *beliefs, a *Answer) {
	limit := p.q.Limit
	if limit <= 0 {
		limit = defaultLimit
	}
	limit = min(limit, maxLimit)
	slices.SortFunc(w.recs, func(p, q recWeight) int { return heavier(p.w, q.w, p.rec, q.rec) })
	listed := 0.0
	for i := range min(limit, len(w.recs)) {
		r := &w.recs[i]
		core := w.coreAt[r.core]
		a.Candidates = append(a.Candidates, Candidate{
			WindingID: x.recIDs.at(r.rec), CoreID: x.core.ids.at(core), FamilyID: x.lam.ids.at(uint32(x.lamOf(int(core)))),
			Probability: r.w, Status: x.texts.status.at(x.kindOf(&x.recs[r.rec]).status), Comparison: x.compare(p, int(core)),
		})
		listed += r.w
	}
	a.None = Unlisted{Winding: b.winding + b.stack + b.fresh, Core: b.stack + b.fresh, Family: b.fresh}
	a.UnlistedProbability = max(1-listed-a.None.Winding, 0)
}

// listCores sorts the cores and fills those of the answer, best first.
func (x *Index) listCores(w *work, a *Answer) {
	slices.SortFunc(w.cores, func(p, q coreWeight) int { return heavier(p.rec+p.oth, q.rec+q.oth, p.core, q.core) })
	for i := range min(maxCores, len(w.cores)) {
		c := &w.cores[i]
		if v := c.rec + c.oth; v > 0 {
			a.Cores = append(a.Cores, CoreProbability{CoreID: x.core.ids.at(c.core), FamilyID: x.lam.ids.at(uint32(x.lamOf(int(c.core)))), Probability: v})
		}
	}
}

// heavier sorts by falling weight, then by number. It compares by hand: these are the longest lists of a match.
func heavier(v, w float64, i, j uint32) int {
	switch {
	case v > w:
		return -1
	case v < w:
		return 1
	}
	return cmp.Compare(i, j)
}
