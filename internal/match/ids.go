package match

import "encoding/hex"

// idList keeps identifiers in 16 bytes each when they are UUIDs in the usual lower-case form, and
// anything else as text beside.
type idList struct {
	packed [][16]byte
	other  map[uint32]string
}

// add appends an identifier and returns its number.
func (l *idList) add(id string) uint32 {
	n := uint32(len(l.packed))
	u, ok := packUUID(id)
	l.packed = append(l.packed, u)
	if !ok {
		if l.other == nil {
			l.other = map[uint32]string{}
		}
		l.other[n] = id
	}
	return n
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

// bytes is the memory of the list.
func (l *idList) bytes() int {
	n := 16 * cap(l.packed)
	for _, s := range l.other {
		n += len(s) + 40
	}
	return n
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
				return u, false
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
			return u, false
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
