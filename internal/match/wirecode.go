package match

import (
	"statorbook/internal/unit"
	"statorbook/internal/winding"
	"statorbook/internal/wire"
)

// wireCodes interns the wires of schemes: each wire once, and each choice of wires for the sets of a scheme.
type wireCodes struct{ wires, sets interned }

// add returns the number of the wires of a scheme.
func (t *wireCodes) add(sc *winding.Scheme) uint32 {
	key := make([]byte, 0, 32)
	buf := make([]byte, 0, 64)
	for i := range sc.CoilSets {
		key = appendInt(key, len(sc.CoilSets[i].Wires))
		for _, w := range sc.CoilSets[i].Wires {
			key = appendInt(key, int(t.wires.add(appendWire(buf[:0], &w))))
		}
	}
	return t.sets.add(key)
}

// appendWire spells a wire.
func appendWire(b []byte, w *wire.Wire) []byte {
	for _, s := range [...]string{string(w.System), w.Size, string(w.Conductor), string(w.Build), w.ThermalClass} {
		b = appendText(b, s)
	}
	b = appendInt(b, w.Strands)
	d := &w.Diameter
	if !d.Given {
		return b
	}
	for _, v := range [...]float64{d.Value, d.Uncertainty, d.Resolution} {
		b = appendFloat(b, v)
	}
	return appendText(appendText(appendText(b, d.Text), d.Unit), d.Method)
}

// readWire is the inverse of appendWire.
func readWire(c code) wire.Wire {
	w := wire.Wire{System: wire.System(c.text()), Size: c.text(), Conductor: wire.Conductor(c.text()), Build: wire.Build(c.text()), ThermalClass: c.text(), Strands: c.int()}
	if len(c) > 0 {
		w.Diameter = unit.Measured{Given: true, Value: c.float(), Uncertainty: c.float(), Resolution: c.float(), Text: c.text(), Unit: c.text(), Method: c.text()}
	}
	return w
}

// readWires gives the wires of each set of a choice.
func readWires(choice code, wires []string) [][]wire.Wire {
	var out [][]wire.Wire
	for len(choice) > 0 {
		var list []wire.Wire
		for range choice.int() {
			list = append(list, readWire(code(wires[choice.int()])))
		}
		out = append(out, list)
	}
	return out
}

// renumberWires renumbers the wires inside a choice.
func renumberWires(choice code, wires *renumbering) string {
	var b []byte
	for len(choice) > 0 {
		n := choice.int()
		b = appendInt(b, n)
		for range n {
			b = appendInt(b, int(wires.at(uint32(choice.int()))))
		}
	}
	return string(b)
}
