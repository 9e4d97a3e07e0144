package match

import "math"

// small is a whole number from 0 to smallMost in three bytes.
type small [3]uint8

const smallMost = 1<<24 - 1

func newSmall(n int) small { return small{uint8(n), uint8(n >> 8), uint8(n >> 16)} }

func (n small) int() int { return int(n[0]) | int(n[1])<<8 | int(n[2])<<16 }

// mostSeen bounds the sightings that count for a record: float32 holds all numbers and a half up to it.
const mostSeen = 1<<23 - 1

// weight is the popularity of a record: times seen + ½.
func (r *record) weight() float64 { return float64(r.seen.int()) + 0.5 }

// conductor is the copper of one turn of a coil set.
type conductor struct {
	area  float32 // mm², 0 = not known
	wires uint8   // strands × paths
	build uint8   // of the enamel, 0 = not known
}

// kind is what many records have in common besides their design. Texts by their numbers, 0 = not told.
type kind struct{ class, status, motor, origin, taps uint8 }

// dictionary numbers equal values in the order of first use.
type dictionary[T comparable] struct {
	list []T
	at   map[T]int
	most int // numbers beyond are given the number 0
}

func newDictionary[T comparable](most int) dictionary[T] {
	var zero T
	return dictionary[T]{list: []T{zero}, at: map[T]int{zero: 0}, most: most}
}

// add returns the number of a value; number 0 is the zero value.
func (d *dictionary[T]) add(v T) int {
	n, ok := d.at[v]
	if !ok && len(d.list) <= d.most {
		n = len(d.list)
		d.at[v] = n
		d.list = append(d.list, v)
	}
	return n
}

// translation gives the values of a Builder's dictionary numbers of an index.
type translation[F, T comparable] struct {
	from  []F
	found []uint32 // 1 + number, 0 = not met yet
	to    dictionary[T]
	turn  func(F) T
}

func renumbered[F, T comparable](d *dictionary[F], most int, turn func(F) T) translation[F, T] {
	return translation[F, T]{from: d.list, found: make([]uint32, len(d.list)), to: newDictionary[T](most), turn: turn}
}

// at returns the index's number of the Builder's number n.
func (t *translation[F, T]) at(n uint32) int {
	if t.found[n] == 0 {
		t.found[n] = 1 + uint32(t.to.add(t.turn(t.from[n])))
	}
	return int(t.found[n]) - 1
}

// Turns in series are whole in most windings: those are kept as they are, others by their number in a list.
const wholeTurns = 1 << 23

// packSeries packs turns in series, with the list of those that are not whole.
func packSeries(v float32, odd *dictionary[float32]) small {
	switch {
	case !(v > 0):
		return small{}
	case v < wholeTurns && float64(v) == math.Trunc(float64(v)):
		return newSmall(int(v))
	}
	return newSmall(wholeTurns + odd.add(v))
}

// series is the inverse of packSeries.
func (x *Index) series(n small) float32 {
	v := n.int()
	if v >= wholeTurns {
		return x.oddTurns[v-wholeTurns]
	}
	return float32(v)
}

// main is the conductor of the main winding (or phase u) of a record.
func (x *Index) main(r *record) *conductor { return &x.conductors[r.main.int()] }

// aux is the conductor of the auxiliary winding of a record.
func (x *Index) aux(r *record) *conductor { return &x.conductors[r.aux.int()] }

// kindOf is the kind of a record.
func (x *Index) kindOf(r *record) *kind { return &x.kinds[r.kind] }

// textList keeps texts one behind the other.
type textList struct {
	text string
	ends []uint32
}

func newTextList(list []string) textList {
	var text []byte
	out := textList{ends: make([]uint32, len(list))}
	for i, s := range list {
		text = append(text, s...)
		out.ends[i] = uint32(len(text))
	}
	out.text = string(text)
	return out
}

// at returns the text with number n, without copying it.
func (l *textList) at(n int) string {
	from := uint32(0)
	if n > 0 {
		from = l.ends[n-1]
	}
	return l.text[from:l.ends[n]]
}

// block is how many records share one entry of figureAt, and how many cores one of lamAt.
const block = 8

// figuresOf is where the figures of record r begin: its turns, and then the numbers of its wires.
func (x *Index) figuresOf(r int) []uint16 {
	arena := x.figures[x.figureAt[r/block]:]
	for i := r - r%block; i < r; i++ {
		s := x.shapeSize[x.recs[i].shape.int()]
		arena = arena[figuresLen(arena, int(s.turns)+int(s.wires)):]
	}
	return arena
}

// shapeSize is how many figures a record of a shape keeps.
type shapeSize struct{ turns, wires uint32 }

// exact copies a slice to the memory that it needs.
func exact[S ~[]E, E any](s S) S {
	if len(s) == cap(s) {
		return s
	}
	return append(make(S, 0, len(s)), s...)
}
