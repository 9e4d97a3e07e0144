package wire_test

import (
	"encoding/csv"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// record is one line of a reference file by column name.
type record map[string]string

// reference reads a file of published check rows. The sources of the rows stand in the files.
func reference(t testing.TB, name string) []record {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "..", "testdata", "reference", name))
	require.NoError(t, err)
	defer func() { require.NoError(t, f.Close()) }()
	r := csv.NewReader(f)
	r.Comment = '#'
	lines, err := r.ReadAll()
	require.NoError(t, err)
	require.Greater(t, len(lines), 1, "%s has no rows", name)
	var all []record
	for _, line := range lines[1:] {
		row := record{}
		for i, column := range lines[0] {
			row[column] = strings.TrimSpace(line[i])
		}
		all = append(all, row)
	}
	return all
}

// number reads a cell; an empty cell is 0, which stands for "no figure".
func (r record) number(t testing.TB, column string) float64 {
	t.Helper()
	text, known := r[column]
	require.True(t, known, "no column %s", column)
	if text == "" {
		return 0
	}
	v, err := strconv.ParseFloat(text, 64)
	require.NoError(t, err, "column %s", column)
	return v
}

// decimals counts the digits after the point of a printed figure.
func decimals(text string) int {
	_, frac, ok := strings.Cut(text, ".")
	if !ok {
		return 0
	}
	return len(frac)
}
