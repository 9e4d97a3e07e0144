package openapi_test

import (
	"encoding/json"
	"flag"
	"os"
	"path/filepath"
	"testing"

	"statorbook/openapi"

	"github.com/goccy/go-yaml"
	"github.com/stretchr/testify/require"
)

var update = flag.Bool("update", false, "write openapi.json from src/")

// TestBundle proves that the served document is what the sources say; -update makes it so.
func TestBundle(t *testing.T) {
	want := bundle(t)
	if *update {
		require.NoError(t, os.WriteFile("openapi.json", want, 0o644))
		return
	}
	require.Equal(t, string(want), string(openapi.JSON), "run: go test ./openapi -run TestBundle -update")
}

// bundle merges the sources into one document. Two files may add to the same object but never
// give the same member.
func bundle(t *testing.T) []byte {
	t.Helper()
	files, err := filepath.Glob("src/*.yaml")
	require.NoError(t, err)
	require.NotEmpty(t, files)
	whole := map[string]any{}
	for _, file := range files {
		text, err := os.ReadFile(file)
		require.NoError(t, err)
		var part map[string]any
		require.NoError(t, yaml.UnmarshalWithOptions(text, &part, yaml.Strict()), file)
		merge(t, file, whole, part)
	}
	out, err := json.MarshalIndent(whole, "", " ")
	require.NoError(t, err)
	return append(out, '\n')
}

func merge(t *testing.T, where string, into, from map[string]any) {
	t.Helper()
	for name, value := range from {
		held, there := into[name]
		if !there {
			into[name] = value
			continue
		}
		a, okA := held.(map[string]any)
		b, okB := value.(map[string]any)
		require.True(t, okA && okB, "%s: %s is given twice", where, name)
		merge(t, where+" "+name, a, b)
	}
}
