package match

import (
	"encoding/binary"
	"math"
	"slices"
	"sync"

	"statorbook/internal/winding"
	"statorbook/internal/wire"
)

// interned keeps each text once and numbers it: a million records share some dozens of shapes and
// some thousands of choices of wire.
type interned struct {
	list  []string
	index map[string]uint32 // only while building
}

// add returns the number of a text.
func (t *interned) add(key []byte) uint32 {
	if n, ok := t.index[string(key)]; ok {
		return n
	}
	if t.index == nil {
		t.index = map[string]uint32{}
	}
	n := uint32(len(t.list))
	s := string(key)
	t.index[s] = n
	t.list = append(t.list, s)
	return n
}

// renumbering gives the texts that an index uses numbers in the order of first use.
type renumbering struct {
	from []string
	to   []uint32 // 1 + new number, 0 = not used yet
	list []string
}

func renumber(t *interned) renumbering {
	return renumbering{from: t.list, to: make([]uint32, len(t.list))}
}

// at returns the new number of old number n.
func (r *renumbering) at(n uint32) uint32 {
	if r.to[n] == 0 {
		r.list = append(r.list, r.from[n])
		r.to[n] = uint32(len(r.list))
	}
	return r.to[n] - 1
}

// code reads what appendInt and appendText wrote.
type code string

func appendInt(b []byte, v int) []byte { return binary.AppendVarint(b, int64(v)) }

// codeWords are spelled in one byte: minus their place, where another text has its length.
var codeWords = [...]string{
	"", string(wire.Metric), string(wire.AWG), string(wire.SWG), string(wire.Bare), string(wire.Copper), string(wire.Aluminium),
	string(wire.Grade1), string(wire.Grade2), string(wire.Grade3), string(wire.Single), string(wire.Heavy), string(wire.Triple),
	string(winding.Main), string(winding.Auxiliary), string(winding.Speed), string(winding.PhaseU), string(winding.PhaseV), string(winding.PhaseW),
	string(winding.RingGap), string(winding.RingBack), string(winding.Lap), string(winding.Concentric), string(winding.Tooth), string(winding.Skein),
}

func appendText(b []byte, s string) []byte {
	if n := slices.Index(codeWords[:], s); n > 0 {
		return appendInt(b, -n)
	}
	return append(appendInt(b, len(s)), s...)
}

func appendFloat(b []byte, v float64) []byte {
	return binary.BigEndian.AppendUint64(b, math.Float64bits(v))
}

// int reads a whole number.
func (c *code) int() int {
	var u uint64
	for i, shift := 0, 0; ; i, shift = i+1, shift+7 {
		b := (*c)[i]
		u |= uint64(b&0x7f) << shift
		if b < 0x80 {
			*c = (*c)[i+1:]
			return int(int64(u>>1) ^ -int64(u&1))
		}
	}
}

// text reads a text, without copying it.
func (c *code) text() string {
	n := c.int()
	if n < 0 {
		return codeWords[-n]
	}
	s := (*c)[:n]
	*c = (*c)[n:]
	return string(s)
}

func (c *code) float() float64 {
	var u uint64
	for i := range 8 {
		u = u<<8 | uint64((*c)[i])
	}
	*c = (*c)[8:]
	return math.Float64frombits(u)
}

// texts interns short texts (status, class, motor type); an index keeps the first 255 kinds.
type texts struct{ list []string }

// at returns the text with a number; 0 is the empty text and any beyond 255 kinds.
func (t *texts) at(n uint8) string {
	if n == 0 {
		return ""
	}
	return t.list[n-1]
}

// together runs tasks at the same time and waits for them. Each writes only what no other reads or
// writes, so that the result does not depend on who is first.
func together(tasks ...func()) {
	var wait sync.WaitGroup
	for _, task := range tasks[1:] {
		wait.Go(task)
	}
	tasks[0]()
	wait.Wait()
}

// parts is how many runs of a long row are worked on at the same time. It is fixed, so that sums by
// run do not depend on the machine.
const parts = 8

// inParts splits 0..n-1 into runs and works on them together.
func inParts(n int, task func(part, from, to int)) {
	tasks := make([]func(), parts)
	for p := range tasks {
		tasks[p] = func() { task(p, n*p/parts, n*(p+1)/parts) }
	}
	together(tasks...)
}
