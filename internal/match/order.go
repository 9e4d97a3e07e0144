package match

import (
	"cmp"
	"math"
	"slices"
)

// order is the order in which an index holds a catalogue: laminations by rotor position, slots and
// identifier, the cores of each by identifier, the records of each by identifier. Numbers are the
// Builder's.
type order struct {
	lams      []famBuild // completed from their records
	fams      []uint32
	cores     []uint32
	coreStart []uint32 // of each lamination; one more at the end
	recs      []uint32
	recStart  []uint32 // of each core; one more at the end
}

// none marks what no record speaks of.
const none = math.MaxUint32

// order sorts what is there.
func (b *Builder) order() order {
	byID := b.recordsByID()
	first := filled(len(b.cores), none) // rank of the first record of each core
	famFirst := filled(len(b.fams), none)
	done := slices.Clone(b.fams)
	for rank, r := range byID {
		rec := &b.recs[r]
		f := b.cores[rec.core].fam
		first[rec.core] = min(first[rec.core], uint32(rank))
		famFirst[f] = min(famFirst[f], uint32(rank))
		done[f].complete(rec)
	}
	var o order
	famPlace := b.orderFamilies(&o, done, famFirst)
	corePlace := b.orderCores(&o, famPlace, first)
	o.recStart = make([]uint32, len(o.cores)+1)
	for _, r := range byID {
		o.recStart[corePlace[b.recs[r].core]+1]++
	}
	for i := range o.cores {
		o.recStart[i+1] += o.recStart[i]
	}
	o.recs = make([]uint32, len(byID))
	at := slices.Clone(o.recStart)
	for _, r := range byID {
		c := corePlace[b.recs[r].core]
		o.recs[at[c]] = r
		at[c]++
	}
	return o
}

// recordsByID lists the records by identifier: those of the last Build that are still there, and what
// came since put between them. No two have the same identifier.
func (b *Builder) recordsByID() []uint32 {
	old := slices.DeleteFunc(b.byID, func(r uint32) bool { return !b.recs[r].listed })
	var came []uint32
	for r := range b.recs {
		if rec := &b.recs[r]; rec.live && !rec.listed {
			rec.listed = true
			came = append(came, uint32(r))
		}
	}
	b.recIDs.sorted(came)
	out := make([]uint32, 0, len(old)+len(came))
	for _, r := range came {
		at, _ := slices.BinarySearchFunc(old, r, b.recIDs.compare)
		out = append(append(out, old[:at]...), r)
		old = old[at:]
	}
	b.byID = append(out, old...)
	return b.byID
}

func filled(n int, v uint32) []uint32 {
	out := make([]uint32, n)
	for i := range out {
		out[i] = v
	}
	return out
}

// complete fills what the family itself does not tell from one of its records.
func (f *famBuild) complete(r *recBuild) {
	if !r.measured {
		return
	}
	if f.slots == 0 {
		f.slots, f.rotor = int(r.slots), r.rotor
	}
	if f.phases == 0 {
		f.phases = int(r.corePhases)
	}
	if r.second {
		f.second = true
		if f.ring2Slots == 0 {
			f.ring2Slots = int(r.ring2Slots)
		}
	}
}

// orderFamilies lists the families that are entered or have records, and tells the place of each.
func (b *Builder) orderFamilies(o *order, done []famBuild, first []uint32) (place []uint32) {
	// In the order of the last index first: what is nearly sorted is quickly sorted.
	listed := make([]bool, len(done))
	list := func(f uint32) {
		if !listed[f] && (done[f].entered || first[f] != none) {
			o.fams = append(o.fams, f)
			listed[f] = true
		}
	}
	for _, f := range b.famsBy {
		list(f)
	}
	for f := range done {
		list(uint32(f))
	}
	slices.SortFunc(o.fams, func(p, q uint32) int {
		f, g := &done[p], &done[q]
		return cmp.Or(cmp.Compare(f.rotor, g.rotor), cmp.Compare(f.slots, g.slots), b.famIDs.compare(p, q), cmp.Compare(first[p], first[q]))
	})
	b.famsBy = o.fams
	place = filled(len(b.fams), none)
	o.lams = make([]famBuild, len(o.fams))
	for i, f := range o.fams {
		place[f] = uint32(i)
		o.lams[i] = done[f]
	}
	return place
}

// orderCores lists the cores that are entered or have records, and tells the place of each.
func (b *Builder) orderCores(o *order, famPlace, first []uint32) (place []uint32) {
	o.coreStart = make([]uint32, len(o.fams)+1)
	lists := make([]uint32, 0, len(b.cores))
	for c := range b.cores {
		if b.cores[c].entered || first[c] != none {
			lists = append(lists, uint32(c))
			o.coreStart[famPlace[b.cores[c].fam]+1]++
		}
	}
	for i := range o.fams {
		o.coreStart[i+1] += o.coreStart[i]
	}
	o.cores = make([]uint32, len(lists))
	at := slices.Clone(o.coreStart)
	for _, c := range lists {
		f := famPlace[b.cores[c].fam]
		o.cores[at[f]] = c
		at[f]++
	}
	place = filled(len(b.cores), none)
	for l := range o.fams {
		run := o.cores[o.coreStart[l]:o.coreStart[l+1]]
		slices.SortFunc(run, func(p, q uint32) int {
			return cmp.Or(b.coreIDs.compare(p, q), cmp.Compare(first[p], first[q]))
		})
	}
	for i, c := range o.cores {
		place[c] = uint32(i)
	}
	return place
}

// recordsOf lists the records of lamination l.
func (o *order) recordsOf(l int) []uint32 {
	return o.recs[o.recStart[o.coreStart[l]]:o.recStart[o.coreStart[l+1]]]
}
