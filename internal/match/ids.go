package match

import (
	"bytes"
	"cmp"
	"encoding/hex"
	"slices"
)

// idList keeps identifiers in 16 bytes each when they are UUIDs in the usual lower-case form, and
// anything else as text beside.
type idList struct {
	packed [][16]byte
	other  map[uint32]string
}

// add appends an identifier and returns its number.
func (l *idList) add(id string) uint32 {
	n := uint32(len(l.packed))
	l.packed = append(l.packed, [16]byte{})
	l.set(n, id)
	return n
}

// set replaces the identifier with number n.
func (l *idList) set(n uint32, id string) {
	u, ok := packUUID(id)
	l.packed[n] = u
	switch {
	case !ok && l.other == nil:
		l.other = map[uint32]string{n: id}
	case !ok:
		l.other[n] = id
	case l.other != nil:
		delete(l.other, n)
	}
}

// at returns the identifier with number n.
func (l *idList) at(n uint32) string {
	if len(l.other) > 0 {
		if s, ok := l.other[n]; ok {
			return s
		}
	}
	return formatUUID(l.packed[n])
}

// is tells whether the identifier with number n is id.
func (l *idList) is(n uint32, id string) bool {
	if u, ok := packUUID(id); ok {
		_, other := l.other[n]
		return l.packed[n] == u && !other
	}
	s, other := l.other[n]
	return other && s == id
}

// compare orders two identifiers: UUIDs as their text sorts, before all others.
func (l *idList) compare(a, b uint32) int {
	if len(l.other) > 0 {
		s, sOther := l.other[a]
		t, tOther := l.other[b]
		if sOther || tOther {
			return cmp.Or(compareBool(sOther, tOther), cmp.Compare(s, t))
		}
	}
	return bytes.Compare(l.packed[a][:], l.packed[b][:])
}

func compareBool(a, b bool) int {
	switch {
	case a == b:
		return 0
	case b:
		return -1
	}
	return 1
}

// pick returns a list of the identifiers in the given order.
func (l *idList) pick(order []uint32) idList {
	out := idList{packed: make([][16]byte, len(order))}
	for i, n := range order {
		out.packed[i] = l.packed[n]
		if s, ok := l.other[n]; ok {
			if out.other == nil {
				out.other = map[uint32]string{}
			}
			out.other[uint32(i)] = s
		}
	}
	return out
}

// sorted puts the numbers in the order of their identifiers; equal ones keep their order.
func (l *idList) sorted(numbers []uint32) {
	half := len(numbers) / 2
	if half < 1<<12 {
		slices.SortStableFunc(numbers, l.compare)
		return
	}
	low, high := slices.Clone(numbers[:half]), slices.Clone(numbers[half:])
	together(func() { l.sorted(low) }, func() { l.sorted(high) })
	for i := range numbers {
		if len(high) == 0 || len(low) > 0 && l.compare(low[0], high[0]) <= 0 {
			numbers[i], low = low[0], low[1:]
		} else {
			numbers[i], high = high[0], high[1:]
		}
	}
}

// bytes is the memory of the list.
func (l *idList) bytes() int {
	n := 16 * cap(l.packed)
	for _, s := range l.other {
		n += len(s) + 40
	}
	return n
}

// idTable finds numbers by identifier.
type idTable struct {
	packed map[[16]byte]uint32
	other  map[string]uint32
}

func newIDTable() idTable { return idTable{map[[16]byte]uint32{}, map[string]uint32{}} }

func (t *idTable) get(id string) (uint32, bool) {
	if u, ok := packUUID(id); ok {
		n, ok := t.packed[u]
		return n, ok
	}
	n, ok := t.other[id]
	return n, ok
}

func (t *idTable) put(id string, n uint32) {
	if u, ok := packUUID(id); ok {
		t.packed[u] = n
		return
	}
	t.other[id] = n
}

func (t *idTable) drop(id string) {
	if u, ok := packUUID(id); ok {
		delete(t.packed, u)
		return
	}
	delete(t.other, id)
}

const uuidLen = 36

// packUUID packs a lower-case UUID; ok is false for any other text.
func packUUID(s string) (u [16]byte, ok bool) {
	if len(s) != uuidLen {
		return u, false
	}
	n := 0
	for i := 0; i < uuidLen; i++ {
		if i == 8 || i == 13 || i == 18 || i == 23 {
			if s[i] != '-' {
				return [16]byte{}, false
			}
			continue
		}
		var v byte
		switch c := s[i]; {
		case c >= '0' && c <= '9':
			v = c - '0'
		case c >= 'a' && c <= 'f':
			v = c - 'a' + 10
		default:
			return [16]byte{}, false
		}
		u[n/2] |= v << (4 * (1 - n%2))
		n++
	}
	return u, true
}

// formatUUID is the inverse of packUUID.
func formatUUID(u [16]byte) string {
	var b [uuidLen]byte
	hex.Encode(b[0:8], u[0:4])
	b[8] = '-'
	hex.Encode(b[9:13], u[4:6])
	b[13] = '-'
	hex.Encode(b[14:18], u[6:8])
	b[18] = '-'
	hex.Encode(b[19:23], u[8:10])
	b[23] = '-'
	hex.Encode(b[24:36], u[10:16])
	return string(b[:])
}
