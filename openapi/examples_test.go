package openapi_test

import (
	"bytes"
	"encoding/json"
	"strconv"
	"strings"
	"testing"

	"statorbook/openapi"

	"github.com/pb33f/jsonschema/v6"
	"github.com/pb33f/libopenapi"
	validator "github.com/pb33f/libopenapi-validator"
	"github.com/stretchr/testify/require"
)

// TestDocumentIsOpenAPI holds the document against the published schema of OpenAPI 3.1.
func TestDocumentIsOpenAPI(t *testing.T) {
	t.Parallel()
	doc, err := libopenapi.NewDocument(openapi.JSON)
	require.NoError(t, err)
	v, faults := validator.NewValidator(doc)
	require.Empty(t, faults)
	ok, wrong := v.ValidateDocument()
	for _, f := range wrong {
		t.Errorf("%s: %s", f.Message, f.Reason)
		for _, s := range f.SchemaValidationErrors {
			t.Errorf("  at %s: %s", s.FieldPath, s.Reason)
		}
	}
	require.True(t, ok)
}

// examples is one schema of the document with the examples that stand beside or in it.
type examples struct {
	at     string // JSON pointer to the schema
	values []any
}

// TestExamples holds every example of the document against its own schema.
func TestExamples(t *testing.T) {
	t.Parallel()
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(openapi.JSON))
	require.NoError(t, err)
	compiler := jsonschema.NewCompiler()
	compiler.DefaultDraft(jsonschema.Draft2020)
	compiler.AssertFormat()
	require.NoError(t, compiler.AddResource("contract.json", doc))
	found := collect(doc, "")
	require.NotEmpty(t, found)
	count := 0
	for _, e := range found {
		schema, err := compiler.Compile("contract.json#" + e.at)
		require.NoError(t, err, e.at)
		for _, value := range e.values {
			count++
			require.NoError(t, schema.Validate(value), "the example at %s", e.at)
		}
	}
	require.Greater(t, count, 50, "too few examples were found: this test looks at the wrong places")
}

// collect finds schemas with examples, and media types and parameters with an example and a schema.
func collect(node any, at string) []examples {
	var all []examples
	switch n := node.(type) {
	case []any:
		for i, item := range n {
			all = append(all, collect(item, at+"/"+strconv.Itoa(i))...)
		}
	case map[string]any:
		if list, ok := n["examples"].([]any); ok {
			all = append(all, examples{at, list})
		}
		if _, hasSchema := n["schema"].(map[string]any); hasSchema {
			if e, ok := n["example"]; ok {
				all = append(all, examples{at + "/schema", []any{e}})
			}
			if named, ok := n["examples"].(map[string]any); ok {
				for _, e := range named {
					all = append(all, examples{at + "/schema", []any{e.(map[string]any)["value"]}})
				}
			}
		}
		for name, child := range n {
			if name != "example" && name != "examples" && name != "default" {
				all = append(all, collect(child, at+"/"+strings.NewReplacer("~", "~0", "/", "~1").Replace(name))...)
			}
		}
	}
	return all
}

// TestExamplesCanFail proves that the test above is not blind.
func TestExamplesCanFail(t *testing.T) {
	t.Parallel()
	bad := bytes.Replace(openapi.JSON, []byte(`"examples": [
       "ok"
      ]`), []byte(`"examples": ["no"]`), 1)
	var tree any
	require.NoError(t, json.Unmarshal(bad, &tree))
	compiler := jsonschema.NewCompiler()
	require.NoError(t, compiler.AddResource("bad.json", tree))
	failed := false
	for _, e := range collect(tree, "") {
		schema, err := compiler.Compile("bad.json#" + e.at)
		require.NoError(t, err)
		for _, value := range e.values {
			failed = failed || schema.Validate(value) != nil
		}
	}
	require.True(t, failed)
}
