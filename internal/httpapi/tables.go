package httpapi

import (
	"bytes"

	"statorbook/internal/wire"
)

// encodedTables holds the plain view of every wire size as bytes, so that the look-up that shops
// make all day costs no encoding.
type encodedTables struct {
	sizes []wire.Size // swg, awg, metric, thick to thin
	plain []document  // of the same index
	at    map[string]int
	err   error
}

// tables encodes the wire table on first use.
func (s *Snapshot) tables() (*encodedTables, error) {
	s.once.Do(func() { s.encoded = encodeTables(s.Wires.All()) })
	return s.encoded, s.encoded.err
}

func encodeTables(sizes []wire.Size) *encodedTables {
	t := &encodedTables{sizes: sizes, plain: make([]document, len(sizes)), at: make(map[string]int, len(sizes))}
	for i, size := range sizes {
		v := viewWire(size, plainWire)
		untagged, err := encodeJSON(v)
		if err != nil {
			t.err = err
			return t
		}
		v.ETag = tagOf(untagged)
		body, err := encodeJSON(v)
		if err != nil {
			t.err = err
			return t
		}
		t.plain[i] = document{body: body, tag: v.ETag, cache: cacheReference}
		t.at[size.ID] = i
	}
	return t
}

// document gives size i as o asks for it. The tag in the body is always the row's.
func (t *encodedTables) document(i int, o wireOptions) (document, error) {
	if o.plain() {
		return t.plain[i], nil
	}
	v := viewWire(t.sizes[i], o)
	v.ETag = t.plain[i].tag
	body, err := encodeJSON(v)
	return document{body: body, cache: cacheReference}, err
}

// list joins the sizes at into one page.
func (t *encodedTables) list(at []int, o wireOptions, next pageEnd) ([]byte, error) {
	var b bytes.Buffer
	b.WriteString(`{"items":[`)
	for n, i := range at {
		if n > 0 {
			b.WriteByte(',')
		}
		d, err := t.document(i, o)
		if err != nil {
			return nil, err
		}
		b.Write(bytes.TrimRight(d.body, "\n"))
	}
	b.WriteByte(']')
	if err := next.write(&b); err != nil {
		return nil, err
	}
	b.WriteString("}\n")
	return b.Bytes(), nil
}

// lines writes the sizes at as JSON Lines.
func (t *encodedTables) lines(at []int, o wireOptions) ([]byte, error) {
	var b bytes.Buffer
	for _, i := range at {
		d, err := t.document(i, o)
		if err != nil {
			return nil, err
		}
		b.Write(d.body)
	}
	return b.Bytes(), nil
}
