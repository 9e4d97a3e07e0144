package jsonin

import "strings"

// Suggest returns the word of known that the writer of got most likely meant: equal but for letter
// case, or at most two edits away (insert, delete, replace, swap of neighbours). "" if none is.
func Suggest(got string, known []string) string {
	if len(got) == 0 || len(got) > 64 {
		return ""
	}
	best, bestAt := "", 3
	for _, k := range known {
		if strings.EqualFold(k, got) {
			return k
		}
		// Two edits in a word of three letters would match almost anything.
		if d := distance(got, k); d < bestAt && 2*d < max(len(got), len(k)) {
			best, bestAt = k, d
		}
	}
	return best
}

// distance is the optimal string alignment distance (restricted Damerau-Levenshtein), by bytes: the
// names are ASCII. It gives up early with 3, since no more than 2 is of interest.
func distance(a, b string) int {
	if d := len(a) - len(b); d > 2 || d < -2 {
		return 3
	}
	before, prev, row := make([]int, len(b)+1), make([]int, len(b)+1), make([]int, len(b)+1)
	for j := range prev {
		prev[j] = j
	}
	for i := 1; i <= len(a); i++ {
		row[0] = i
		for j := 1; j <= len(b); j++ {
			cost := 1
			if a[i-1] == b[j-1] {
				cost = 0
			}
			row[j] = min(prev[j]+1, row[j-1]+1, prev[j-1]+cost)
			if i > 1 && j > 1 && a[i-1] == b[j-2] && a[i-2] == b[j-1] {
				row[j] = min(row[j], before[j-2]+1)
			}
		}
		before, prev, row = prev, row, before
	}
	return min(prev[len(b)], 3)
}
