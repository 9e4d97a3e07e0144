package catalog

// Kind is a kind of record that people write, vet and publish.
type Kind string

// The kinds.
const (
	KindFamily  Kind = "family"
	KindWinding Kind = "winding"
)

// Kinds lists every kind.
func Kinds() []Kind { return []Kind{KindFamily, KindWinding} }

// Record is a Winding or a Family: what both have in common on the way to publication.
type Record interface {
	RecordID() string // UUID, "" before it has one
	RecordKind() Kind
	Standing() Provenance
}

// RecordID implements Record.
func (w Winding) RecordID() string { return w.ID }

// RecordKind implements Record.
func (Winding) RecordKind() Kind { return KindWinding }

// Standing implements Record.
func (w Winding) Standing() Provenance { return w.Provenance }

// RecordID implements Record.
func (f Family) RecordID() string { return f.ID }

// RecordKind implements Record.
func (Family) RecordKind() Kind { return KindFamily }

// Standing implements Record.
func (f Family) Standing() Provenance { return f.Provenance }
