package httpapi

import (
	"encoding/json"
	"regexp"
	"slices"
	"strings"
	"testing"

	"statorbook/openapi"

	"github.com/stretchr/testify/require"
)

// contractTree is the contract as plain JSON values.
func contractTree(t testing.TB) map[string]any {
	t.Helper()
	var tree map[string]any
	require.NoError(t, json.Unmarshal(openapi.JSON, &tree))
	return tree
}

// operation is one operation of the contract.
type operation struct {
	method, path string
	body         map[string]any
}

// operations lists the operations of the contract by "METHOD path".
func operations(t testing.TB, tree map[string]any) map[string]operation {
	t.Helper()
	all := map[string]operation{}
	for path, item := range tree["paths"].(map[string]any) {
		for method, body := range item.(map[string]any) {
			op := operation{strings.ToUpper(method), path, body.(map[string]any)}
			all[op.method+" "+path] = op
		}
	}
	return all
}

// lookup follows a reference inside the contract.
func lookup(t testing.TB, tree map[string]any, node map[string]any) map[string]any {
	t.Helper()
	ref, ok := node["$ref"].(string)
	if !ok {
		return node
	}
	for _, part := range strings.Split(strings.TrimPrefix(ref, "#/"), "/") {
		next, ok := tree[part].(map[string]any)
		require.True(t, ok, "%s leads nowhere", ref)
		tree = next
	}
	return tree
}

var pathParameter = regexp.MustCompile(`:([a-z_]+)`)

// TestRoutesAreTheContract proves routes = paths both ways, parameters and formats included.
func TestRoutesAreTheContract(t *testing.T) {
	t.Parallel()
	tree := contractTree(t)
	ops := operations(t, tree)
	for _, r := range (&server{}).routes() {
		name := r.method + " " + pathParameter.ReplaceAllString(r.path, "{$1}")
		op, found := ops[name]
		require.True(t, found, "%s is served but not in the contract", name)
		delete(ops, name)

		var query, path []string
		params, _ := op.body["parameters"].([]any)
		for _, p := range params {
			p := lookup(t, tree, p.(map[string]any))
			require.NotEmpty(t, p["description"], "%s: parameter %v", name, p["name"])
			switch p["in"] {
			case "query":
				query = append(query, p["name"].(string))
			case "path":
				path = append(path, p["name"].(string))
			}
		}
		require.ElementsMatch(t, r.params, query, "%s: query parameters", name)
		var inPath []string
		for _, m := range pathParameter.FindAllStringSubmatch(r.path, -1) {
			inPath = append(inPath, m[1])
		}
		require.ElementsMatch(t, inPath, path, "%s: path parameters", name)

		offers := r.offers
		if offers == nil {
			offers = offersJSON
		}
		responses := op.body["responses"].(map[string]any)
		ok, found := responses["200"].(map[string]any)
		if !found {
			ok = responses["201"].(map[string]any)
		}
		var formats []string
		for format := range ok["content"].(map[string]any) {
			formats = append(formats, format)
		}
		require.ElementsMatch(t, offers, formats, "%s: formats", name)
	}
	require.Empty(t, ops, "in the contract but not served")
}

// TestContractSaysEverything is the house lint of the contract: a problem on every operation, a
// description on every parameter and member, a format on every number, no open request body.
func TestContractSaysEverything(t *testing.T) {
	t.Parallel()
	tree := contractTree(t)
	for name, op := range operations(t, tree) {
		require.NotEmpty(t, op.body["operationId"], name)
		require.NotEmpty(t, op.body["summary"], name)
		require.NotEmpty(t, op.body["tags"], name)
		responses := op.body["responses"].(map[string]any)
		for _, status := range []string{"400", "406", "500"} {
			require.Contains(t, responses, status, name)
		}
		if strings.Contains(op.path, "{") {
			require.Contains(t, responses, "404", name)
		}
		if op.path != "/livez" && op.path != "/readyz" { // these two are let in whatever the key and however often
			require.Contains(t, responses, "401", name)
			require.Contains(t, responses, "429", name)
		}
		if op.method == "POST" {
			for _, status := range []string{"413", "415", "422"} {
				require.Contains(t, responses, status, name)
			}
			require.NotEmpty(t, op.body["requestBody"], name)
		}
	}
	walkSchemas(tree, "", func(where string, schema map[string]any) {
		if schema["type"] == "number" {
			require.Equal(t, "double", schema["format"], "%s: a number without a format becomes 32 bits wide in generated clients", where)
		}
		require.True(t, schema["description"] != nil || schema["$ref"] != nil || schema["examples"] != nil || schema["title"] != nil, "%s says nothing", where)
	})
}

// walkSchemas calls visit for every member of every object schema.
func walkSchemas(node any, where string, visit func(where string, schema map[string]any)) {
	switch n := node.(type) {
	case []any:
		for _, item := range n {
			walkSchemas(item, where, visit)
		}
	case map[string]any:
		if props, ok := n["properties"].(map[string]any); ok {
			for name, p := range props {
				visit(where+"."+name, p.(map[string]any))
				walkSchemas(p, where+"."+name, visit)
			}
		}
		for name, child := range n {
			if !slices.Contains([]string{"properties", "example", "examples", "default", "enum"}, name) {
				walkSchemas(child, where+"/"+name, visit)
			}
		}
	}
}

// TestValidatorSees proves that the check of answers against the contract can fail.
func TestValidatorSees(t *testing.T) {
	t.Parallel()
	h := newHost(t, Config{})
	good := h.Ask(t, "GET", "/livez", "")
	for name, body := range map[string]string{
		"undeclared member": `{"status":"ok","secret":1}`, "missing member": `{}`, "wrong type": `{"status":1}`, "other word": `{"status":"no"}`, "not JSON": `{`,
	} {
		v, err := contractValidator()
		require.NoError(t, err)
		bad := answer{Response: good.Response, text: []byte(body)}
		bad.Body = bodyOf(body)
		ok, _ := v.ValidateHttpResponse(request("GET", "/livez", ""), bad.Response)
		require.False(t, ok, name)
	}
}
