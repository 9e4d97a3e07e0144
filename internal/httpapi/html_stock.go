package httpapi

import (
	"encoding/json"
	"fmt"
	"strings"

	"statorbook/internal/wire"
)

// stockMost is the most lines of a stock list (contract: 500 wires).
const stockMost = 500

// stock reads a list of wires as a bench writes it: one wire a line, or commas between; a system and a size
// ("swg 36"), or a bare diameter in mm ("0.30"). "al" before it means aluminium. The answer is nil when nothing was written.
func (f *form) stock(say texts, name string) []any {
	text := f.values[name]
	if text == "" {
		return nil
	}
	list := []any{}
	for _, line := range strings.FieldsFunc(text, func(r rune) bool { return r == '\n' || r == '\r' || r == ',' || r == ';' }) {
		line = strings.ToLower(strings.TrimSpace(line))
		if line == "" {
			continue
		}
		w, ok := stockWire(line)
		if !ok {
			f.refuse(name, fmt.Sprintf(say["fault.stock"], printable(line)))
			continue
		}
		list = append(list, w)
	}
	if len(list) > stockMost {
		f.refuse(name, fmt.Sprintf(say["fault.stock_long"], stockMost))
	}
	return list
}

// stockWire reads one wire of a stock list. Whether the size exists is for the wire table to say.
func stockWire(line string) (map[string]any, bool) {
	w := map[string]any{"conductor": string(wire.Copper), "strands": 1}
	if rest, ok := strings.CutPrefix(line, "al "); ok {
		w["conductor"], line = string(wire.Aluminium), strings.TrimSpace(rest)
	}
	for _, system := range []wire.System{wire.SWG, wire.AWG} {
		if rest, ok := strings.CutPrefix(line, string(system)); ok {
			w["system"], w["size"] = string(system), strings.TrimSpace(rest)
			return w, w["size"] != "" && len(strings.TrimSpace(rest)) <= 20
		}
	}
	n, ok := typedNumber(strings.TrimSpace(strings.TrimSuffix(line, "mm")))
	w["system"], w["diameter_mm"] = string(wire.Bare), json.Number(n)
	return w, ok
}
