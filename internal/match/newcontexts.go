package match

import (
	"math"
)

// newContexts follows up what a new lamination may be: the chain, and near-copies of catalogued ones.
func (x *Index) newContexts(p *prepared, w *work, shrink float64, out []context) []context {
	prior := 1 - shrink*(priorRecord+priorWinding+priorStack)
	n := float64(len(x.lam.slots))
	copies := copyShare * n / (n + priorHold)
	for rotor := range uint8(2) {
		if p.rotor >= 0 && uint8(p.rotor) != rotor {
			continue
		}
		share := (x.model.gaps.n[rotor] + 1) / (n + 2)
		out = x.chainContexts(p, rotor, prior*(1-copies)*share, out)
	}
	return x.copyContexts(p, w, prior*copies/math.Max(n, 1), out)
}

// chainContexts adds the ways in which the stator is a new lamination by the chain alone.
func (x *Index) chainContexts(p *prepared, rotor uint8, prior float64, out []context) []context {
	sites := x.newSites(p, rotor, nil)
	best, all := 0.0, 0.0
	for i := range sites {
		all += sites[i].weight
		best = max(best, sites[i].weight)
	}
	top := topN(len(sites), 8, func(i int) float64 { return sites[i].weight })
	followed := 0.0
	for _, i := range top {
		followed += sites[i].weight
	}
	for _, i := range top {
		n := &sites[i]
		if n.weight < 0.003*best {
			break
		}
		c := context{hyp: hypNew, core: -1, lam: -1, fam: x.familyEffects(-1)}
		c.poles = onlyPoles(x.model.polesAt(rotor, uint16(n.slots)), n.poles)
		c.site = x.siteOfReadings(p, rotor, n.slots, float64(n.poles), n.gap, -1)
		out = c.withStacks(x.stackOptions(p, rotor, float64(n.poles), n.gap, -1), prior*n.weight*all/followed, out)
	}
	return out
}

// onlyPoles keeps the entries of one pole count, normalised.
func onlyPoles(list []poleCount, poles uint8) []poleCount {
	var out []poleCount
	sum := 0.0
	for _, pc := range list {
		if pc.poles == poles {
			out = append(out, pc)
			sum += pc.share
		}
	}
	for i := range out {
		out[i].share /= sum
	}
	return out
}

// copyContexts adds near-copies of the laminations that survived the scan.
func (x *Index) copyContexts(p *prepared, w *work, prior float64, out []context) []context {
	of := make([]float64, len(w.lams))
	all := 0.0
	for i := range w.lams {
		of[i] = x.copyLike(p, int(w.lams[i].lam))
		all += of[i]
	}
	top := topN(len(of), followCopies, func(i int) float64 { return of[i] })
	followed := 0.0
	for _, i := range top {
		followed += of[i]
	}
	for _, i := range top {
		if of[i] < 0.003*of[top[0]] {
			break
		}
		l := int(w.lams[i].lam)
		gap := x.lam.value(l, dGap)
		gap, _ = settle(p, dGap, math.Log(gap), 0.25/gap)
		c := context{hyp: hypNew, core: -1, lam: -1, poles: x.onLamination(out, l).poles, fam: x.familyEffects(-1)}
		c.site = x.siteOfReadings(p, x.lam.rotor[l], int(x.lam.slots[l]), float64(x.lam.poles[l]), gap, l)
		out = c.withStacks(x.stackOptions(p, x.lam.rotor[l], float64(x.lam.poles[l]), gap, -1), prior*of[i]*all/followed, out)
	}
	return out
}

// copyLike is the likelihood of the lamination readings for a near-copy of l, the common factor summed out.
func (x *Index) copyLike(p *prepared, l int) float64 {
	chance := 1.0
	if p.slots > 0 {
		chance = slotChance(p.slots, int(x.lam.slots[l]))
	}
	g := [nScale]float64{scaleShare[0] * chance, scaleShare[1] * chance, scaleShare[2] * chance}
	for i := range p.readings {
		r := &p.readings[i]
		if r.dim == dStack {
			continue
		}
		c := x.lam.value(l, r.dim)
		if math.IsNaN(c) {
			r.unseen(&g)
			continue
		}
		s := dims[r.dim].copySD
		if dims[r.dim].copyRel {
			s *= c
		}
		r.like(c, x.lamVariance(l, r.dim)+s*s, &g)
	}
	return g[0] + g[1] + g[2]
}
