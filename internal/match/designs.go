package match

import (
	"math"
	"strconv"

	"statorbook/internal/winding"
)

// formatFloat spells a figure as short as it can be read back.
func formatFloat(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }

// design is what a winding was made for.
type design struct {
	phases             int
	voltage, frequency float64 // V, Hz; 0 = not known
	connection         winding.Connection
}

// phaseVoltage is the voltage of one winding, 0 if not known.
func (d *design) phaseVoltage() float64 {
	if d.phases == 3 && d.connection == winding.ConnStar {
		return d.voltage / math.Sqrt(3)
	}
	return d.voltage
}

// designs interns what records were made for, and counts them.
type designs struct {
	list  []design
	seen  []float64 // records of each
	index map[design]uint16
}

// priorDesigns are the usual supplies of the world, each worth a quarter of a record, so that a
// stator of a voltage that the catalogue lacks still has a chance (common practice, IEC 60038 and
// national practice from memory).
var priorDesigns = []design{
	{1, 230, 50, ""}, {1, 220, 50, ""}, {1, 240, 50, ""}, {1, 110, 50, ""}, {1, 100, 50, ""}, {1, 115, 60, ""}, {1, 120, 60, ""}, {1, 127, 60, ""}, {1, 220, 60, ""}, {1, 230, 60, ""},
	{3, 400, 50, winding.ConnStar}, {3, 400, 50, winding.ConnDelta}, {3, 230, 50, winding.ConnDelta}, {3, 380, 50, winding.ConnStar}, {3, 380, 50, winding.ConnDelta}, {3, 415, 50, winding.ConnStar}, {3, 415, 50, winding.ConnDelta},
	{3, 220, 60, winding.ConnDelta}, {3, 230, 60, winding.ConnStar}, {3, 460, 60, winding.ConnStar}, {3, 208, 60, winding.ConnStar}, {3, 380, 60, winding.ConnStar},
}

const priorDesignWeight = 0.25

// maxDesigns bounds the table; a catalogue of plates with a thousand different voltages keeps the
// first, and the rest count as unknown design 0.
const maxDesigns = 4096

// add returns the number of a design. Number 0 is the unknown design.
func (t *designs) add(d design) uint16 {
	if t.index == nil {
		t.index = map[design]uint16{{}: 0}
		t.list = []design{{phases: 1}}
		t.seen = []float64{0}
		for _, p := range priorDesigns {
			t.index[p] = uint16(len(t.list))
			t.list = append(t.list, p)
			t.seen = append(t.seen, priorDesignWeight)
		}
	}
	if d.phases != 3 {
		d.phases = 1
		d.connection = ""
	}
	n, ok := t.index[d]
	if !ok {
		if len(t.list) >= maxDesigns {
			return 0
		}
		n = uint16(len(t.list))
		t.index[d] = n
		t.list = append(t.list, d)
		t.seen = append(t.seen, 0)
	}
	t.seen[n]++
	return n
}
