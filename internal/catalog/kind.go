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
