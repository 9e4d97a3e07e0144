package match

import (
	"reflect"
	"unsafe"

	"statorbook/internal/wire"
)

// Stats tells how large an index is. Bytes is all memory that goes when the index goes, counted by its
// own pointers; the table of wires belongs to the whole service. What Go's allocator rounds up is not in
// it: 1 to 3 per cent (TestBytesAreMeasured).
type Stats struct {
	Families, Cores, Records int
	Bytes                    int64
}

// Stats counts the index.
func (x *Index) Stats() Stats {
	return Stats{Families: len(x.lam.slots), Cores: len(x.core.stack), Records: len(x.recs), Bytes: x.bytes}
}

// bytesOf is the memory that an index holds.
func bytesOf(x *Index) int64 {
	c := counter{seen: map[unsafe.Pointer]bool{}}
	return c.held(reflect.ValueOf(x))
}

// counter adds up memory; what two pointers share is counted once.
type counter struct{ seen map[unsafe.Pointer]bool }

// at counts n bytes at p.
func (c *counter) at(p unsafe.Pointer, n int64) int64 {
	if n == 0 || c.seen[p] {
		return 0
	}
	c.seen[p] = true
	return n
}

// held is the memory to which a value points, without the value itself.
func (c *counter) held(v reflect.Value) (n int64) {
	switch v.Kind() {
	case reflect.String:
		return c.at(unsafe.Pointer(unsafe.StringData(v.String())), int64(v.Len()))
	case reflect.Slice:
		n = c.at(v.UnsafePointer(), int64(v.Cap())*int64(v.Type().Elem().Size()))
		return n + c.items(v)
	case reflect.Array:
		return c.items(v)
	case reflect.Struct:
		for i := range v.NumField() {
			n += c.held(v.Field(i))
		}
	case reflect.Pointer:
		if v.IsNil() || v.Type() == reflect.TypeFor[*wire.Table]() {
			return 0
		}
		n = c.at(v.UnsafePointer(), int64(v.Type().Elem().Size()))
		if n > 0 {
			n += c.held(v.Elem())
		}
	case reflect.Map:
		n = mapBytes(v)
		for each := v.MapRange(); each.Next(); {
			n += c.held(each.Key()) + c.held(each.Value())
		}
	}
	return n
}

// items adds up what the items of an array or slice point to.
func (c *counter) items(v reflect.Value) (n int64) {
	if !points(v.Type().Elem()) {
		return 0
	}
	for i := range v.Len() {
		n += c.held(v.Index(i))
	}
	return n
}

// points tells whether values of a type may point to memory.
func points(t reflect.Type) bool {
	switch t.Kind() {
	case reflect.String, reflect.Slice, reflect.Map, reflect.Pointer:
		return true
	case reflect.Array:
		return points(t.Elem())
	case reflect.Struct:
		for i := range t.NumField() {
			if points(t.Field(i).Type) {
				return true
			}
		}
	}
	return false
}

// mapBytes is the memory of a map's own table: its head, and groups of eight places with a byte each
// beside them, at most seven eighths full, a power of two of them.
func mapBytes(m reflect.Value) int64 {
	const head, group = 48, 8
	places := int64(group)
	if m.Len() > group {
		for places*7/8 < int64(m.Len()) {
			places *= 2
		}
	}
	return head + places*int64(1+m.Type().Key().Size()+m.Type().Elem().Size())
}
