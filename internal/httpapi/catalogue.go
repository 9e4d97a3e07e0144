package httpapi

// candidatesMax is the most candidates that a match lists.
const candidatesMax = 50

// stats counts what is in memory.
func (s *Snapshot) stats() metaCatalogue {
	return metaCatalogue{Wires: s.Wires.Len()}
}
