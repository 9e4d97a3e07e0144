package match

import (
	"hash/fnv"
	"maps"
	"slices"
)

// tally counts things by their spelling. It keeps 64-bit hashes in the place of the texts: two of ten
// thousand spellings share one with a chance of about 3 in 10¹².
type tally struct {
	hash  []uint64 // rising
	count []float32
}

// newTally keeps counts in the memory that they need.
func newTally(count map[string]float64) tally {
	byHash := make(map[uint64]float32, len(count))
	for key, n := range count {
		byHash[spelling(key)] = float32(n)
	}
	t := tally{hash: exact(slices.Sorted(maps.Keys(byHash))), count: make([]float32, len(byHash))}
	for i, h := range t.hash {
		t.count[i] = byHash[h]
	}
	return t
}

// of gives the count of a spelling, 0 for one that was never counted.
func (t *tally) of(key string) float64 {
	i, found := slices.BinarySearch(t.hash, spelling(key))
	if !found {
		return 0
	}
	return float64(t.count[i])
}

func spelling(key string) uint64 {
	h := fnv.New64a()
	_, _ = h.Write([]byte(key)) // never fails
	return h.Sum64()
}
