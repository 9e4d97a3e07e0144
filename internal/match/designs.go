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

// priorDesigns are the usual supplies of the world, each worth a quarter of a record, so that a
// stator of a voltage that the catalogue lacks still has a chance (common practice, IEC 60038 and
// national practice from memory).
var priorDesigns = []design{
	{1, 230, 50, ""}, {1, 220, 50, ""}, {1, 240, 50, ""}, {1, 110, 50, ""}, {1, 100, 50, ""}, {1, 115, 60, ""}, {1, 120, 60, ""}, {1, 127, 60, ""}, {1, 220, 60, ""}, {1, 230, 60, ""},
	{3, 400, 50, winding.ConnStar}, {3, 400, 50, winding.ConnDelta}, {3, 230, 50, winding.ConnDelta}, {3, 380, 50, winding.ConnStar}, {3, 380, 50, winding.ConnDelta}, {3, 415, 50, winding.ConnStar}, {3, 415, 50, winding.ConnDelta},
	{3, 220, 60, winding.ConnDelta}, {3, 230, 60, winding.ConnStar}, {3, 460, 60, winding.ConnStar}, {3, 208, 60, winding.ConnStar}, {3, 380, 60, winding.ConnStar},
}

const priorDesignWeight = 0.25

// maxDesigns bounds the table of an index; of a catalogue of plates with a thousand different voltages
// the first in the order of the records are kept, and the rest count as unknown design 0.
const maxDesigns = 4096

// design returns the Builder's number of a design.
func (b *Builder) design(d design) uint32 {
	if d.phases != 3 {
		d.phases = 1
		d.connection = ""
	}
	n, ok := b.designAt[d]
	if !ok {
		n = uint32(len(b.designs))
		b.designAt[d] = n
		b.designs = append(b.designs, d)
	}
	return n
}

// designTable numbers the designs of an index and counts them. Number 0 is the unknown design.
type designTable struct {
	list []design
	seen []float64      // records of each
	at   map[design]int // numbers
	to   []int          // by the Builder's number, 1 + number, 0 = not met yet
}

func newDesignTable(builders int) designTable {
	t := designTable{list: []design{{phases: 1}}, seen: []float64{0}, at: map[design]int{}, to: make([]int, builders)}
	for _, p := range priorDesigns {
		t.at[p] = len(t.list)
		t.list = append(t.list, p)
		t.seen = append(t.seen, priorDesignWeight)
	}
	return t
}

// add counts a record of the Builder's design n and returns the number of the design.
func (t *designTable) add(n uint32, d design) uint16 {
	if t.to[n] == 0 {
		at, ok := t.at[d]
		switch {
		case !ok && len(t.list) >= maxDesigns:
			at = 0
		case !ok:
			at = len(t.list)
			t.list = append(t.list, d)
			t.seen = append(t.seen, 0)
		}
		t.to[n] = at + 1
	}
	at := t.to[n] - 1
	if at > 0 {
		t.seen[at]++
	}
	return uint16(at)
}
