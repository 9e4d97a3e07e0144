package match

import "unsafe"

// Stats tells how large an index is. Memory is in bytes, without Go's own overhead. FixedBytes is the
// part of Bytes that does not grow with the records: shapes, choices of wire, what was learned.
type Stats struct {
	Families, Cores, Records int
	Bytes, FixedBytes        int64
}

// recordBytes is the size of one record in the index.
const recordBytes = int(unsafe.Sizeof(record{}))

// Stats counts the index.
func (x *Index) Stats() Stats {
	n := len(x.lam.slots)
	bytes := x.recIDs.bytes() + x.core.ids.bytes() + x.lam.ids.bytes()
	const perLamination = 4*nScan + 2 + 2 + 4 + 2 + 2 + 1 + 1 + 4 + 2*int(unsafe.Sizeof(famSum{}))
	const perCore = 4 + 4 + 4 + 4
	bytes += n*perLamination + (4+16)*len(x.lam.second) + len(x.core.lam)*perCore + len(x.recs)*recordBytes + 2*len(x.turns)
	fixed := textBytes(x.shapes) + textBytes(x.wireSet) + textBytes(x.wireList) + len(x.designs)*int(unsafe.Sizeof(design{})) + x.model.bytes()
	return Stats{Families: n, Cores: len(x.core.lam), Records: len(x.recs), Bytes: int64(bytes + fixed), FixedBytes: int64(fixed)}
}

// bytes is the memory of what was learned, tables only.
func (m *model) bytes() int {
	n := int(unsafe.Sizeof(*m)) + 8*len(m.design)
	for _, g := range m.gaps.list {
		n += 48 + 8*len(g)
	}
	for _, p := range m.poles.list {
		n += 64 + int(unsafe.Sizeof(poleCount{}))*len(p)
	}
	for _, e := range m.kw.list {
		n += 16 + int(unsafe.Sizeof(e)) + 4*cap(e.examples)
	}
	for _, g := range [...]grid{m.plate.powers, m.plate.caps} {
		n += 16 * cap(g.ln)
	}
	for _, table := range [...]map[string]float64{m.sheet.layout, m.sheet.ways} {
		for key := range table {
			n += 24 + len(key)
		}
	}
	return n
}
