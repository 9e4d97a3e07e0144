package match

import (
	"cmp"
	"slices"
	"sync"
)

// Limits of an answer.
const (
	defaultLimit = 10
	maxLimit     = 50
	maxCores     = 12
)

// scratch holds work areas between matches; nothing of one query is left in the next.
var scratch = sync.Pool{New: func() any { return new(work) }}

// Match says which catalogued stator the query is, how sure that is, and what winding to try.
func (x *Index) Match(q Query) (Answer, error) {
	w := scratch.Get().(*work)
	defer scratch.Put(w)
	p := x.prepare(&q)
	b := x.weigh(p, w)
	var a Answer
	x.listCandidates(p, w, b, &a)
	x.listCores(w, &a)
	return a, nil
}

// listCandidates fills the candidates, best first, and the probabilities of what is not among them.
func (x *Index) listCandidates(p *prepared, w *work, b *beliefs, a *Answer) {
	limit := p.q.Limit
	if limit <= 0 {
		limit = defaultLimit
	}
	limit = min(limit, maxLimit)
	slices.SortFunc(w.recs, func(p, q recWeight) int { return cmp.Or(cmp.Compare(q.w, p.w), cmp.Compare(p.rec, q.rec)) })
	listed := 0.0
	for i := range min(limit, len(w.recs)) {
		r := &w.recs[i]
		core := w.cores[r.core].core
		a.Candidates = append(a.Candidates, Candidate{
			WindingID: x.recIDs.at(r.rec), CoreID: x.core.ids.at(core), FamilyID: x.lam.ids.at(x.core.lam[core]),
			Probability: r.w, Status: x.texts.status.at(x.recs[r.rec].status),
		})
		listed += r.w
	}
	a.None = Unlisted{Winding: b.winding + b.stack + b.fresh, Core: b.stack + b.fresh, Family: b.fresh}
	a.UnlistedProbability = max(1-listed-a.None.Winding, 0)
}

// listCores fills the cores, best first.
func (x *Index) listCores(w *work, a *Answer) {
	slices.SortFunc(w.cores, func(p, q coreWeight) int {
		return cmp.Or(cmp.Compare(q.rec+q.oth, p.rec+p.oth), cmp.Compare(p.core, q.core))
	})
	for i := range min(maxCores, len(w.cores)) {
		c := &w.cores[i]
		if v := c.rec + c.oth; v > 0 {
			a.Cores = append(a.Cores, CoreProbability{CoreID: x.core.ids.at(c.core), FamilyID: x.lam.ids.at(x.core.lam[c.core]), Probability: v})
		}
	}
}
