package match

import (
	"strings"

	"statorbook/internal/winding"
	"statorbook/internal/wire"
)

// wireSets interns the wires of whole schemes, one list for each coil set.
type wireSets struct {
	list  [][][]wire.Wire
	index map[string]uint32 // only while building
	bytes int
}

// add interns the wires of a scheme and returns their number.
func (t *wireSets) add(sc *winding.Scheme) uint32 {
	var key strings.Builder
	for i := range sc.CoilSets {
		for _, w := range sc.CoilSets[i].Wires {
			key.WriteString(string(w.System) + " " + w.Size + " " + w.Diameter.Text + " " + string(w.Conductor) + " " + string(w.Build) + " " + w.ThermalClass + " ")
			key.WriteByte(byte('0' + max(min(w.Strands, 8), 0)))
			if w.Diameter.Given && w.Diameter.Text == "" {
				key.WriteString(formatFloat(w.Diameter.Value))
			}
			key.WriteByte(';')
		}
		key.WriteByte('|')
	}
	k := key.String()
	if n, ok := t.index[k]; ok {
		return n
	}
	if t.index == nil {
		t.index = map[string]uint32{}
	}
	all := make([][]wire.Wire, len(sc.CoilSets))
	for i := range all {
		all[i] = append([]wire.Wire(nil), sc.CoilSets[i].Wires...)
		t.bytes += 24 + 150*len(all[i])
	}
	n := uint32(len(t.list))
	t.index[k] = n
	t.list = append(t.list, all)
	t.bytes += 24
	return n
}
