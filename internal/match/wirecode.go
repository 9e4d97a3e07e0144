package match

import (
	"statorbook/internal/unit"
	"statorbook/internal/wire"
)

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
