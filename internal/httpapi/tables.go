package httpapi

import (
	"bytes"
	"errors"

	"statorbook/internal/wire"
)

// encodedTables holds the reference tables as bytes, so that the look-ups that shops make all day
// cost no encoding.
type encodedTables struct {
	sizes []wire.Size // swg, awg, metric, thick to thin
	plain []document  // their plain views, by the same index
	at    map[string]int

	class              map[string]document // thermal classes by letter
	classes, materials document
}

// tables encodes the reference tables on first use.
func (s *Snapshot) tables() (*encodedTables, error) {
	s.once.Do(func() {
		t := &encodedTables{}
		s.encoded, s.encodeErr = t, errors.Join(t.encodeSizes(s.Wires.All()), t.encodeClasses(s.Classes), t.encodeMaterials(s.Materials))
	})
	return s.encoded, s.encodeErr
}

// tables gives the snapshot with its encoded tables.
func (s *server) tables() (*Snapshot, *encodedTables, error) {
	snap, err := s.snapshot()
	if err != nil {
		return nil, nil, err
	}
	tables, err := snap.tables()
	return snap, tables, err
}

func (t *encodedTables) encodeSizes(sizes []wire.Size) error {
	t.sizes, t.plain, t.at = sizes, make([]document, len(sizes)), make(map[string]int, len(sizes))
	for i, size := range sizes {
		v := viewWire(size, plainWire)
		if err := tagged(v, &v.ETag); err != nil {
			return err
		}
		body, err := encodeJSON(v)
		if err != nil {
			return err
		}
		t.plain[i] = document{body: body, tag: v.ETag, cache: cacheReference}
		t.at[size.ID] = i
	}
	return nil
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

// stats counts what is in memory.
func (s *Snapshot) stats() metaCatalogue {
	x := s.Index.Stats()
	return metaCatalogue{Wires: s.Wires.Len(), Families: x.Families, Cores: x.Cores, Records: x.Records, IndexBytes: x.Bytes}
}
