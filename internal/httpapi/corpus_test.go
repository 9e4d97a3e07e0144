package httpapi

import (
	"encoding/json"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// TestWhatTheContractForbidsIsRefused makes wrong bodies out of the contract: for every POST, its
// example with one member unknown, missing, of another type, out of range, too long, or not one of
// the words. Each must be refused with 4xx, and the pointer must lead to the place.
func TestWhatTheContractForbidsIsRefused(t *testing.T) {
	t.Parallel()
	h := demoHost(t)
	tree := contractTree(t)
	judged := 0
	for name, op := range operations(t, tree) {
		if op.method != http.MethodPost || strings.HasSuffix(op.path, "/batch") || (route{method: op.method, path: op.path}).stores() {
			continue
		}
		content := op.body["requestBody"].(map[string]any)["content"].(map[string]any)["application/json"].(map[string]any)
		schema := lookup(t, tree, content["schema"].(map[string]any))
		c := corpus{t: t, tree: tree}
		c.object(full(t, tree, schema, content["example"], 0).(map[string]any), schema, "")
		require.Greater(t, len(c.wrong), 60, name)
		for _, w := range c.wrong {
			a := h.Ask(t, "POST", op.path, w.body)
			if op.path == "/v1/winding-checks" && w.what == "a number above" && slices.Contains(judgedBeyond, w.pointer) {
				require.Equal(t, http.StatusOK, a.StatusCode, "%s %s at %s: %s", name, w.what, w.pointer, a.text)
				require.Equal(t, "impossible", a.At(t, "verdict"), w.pointer)
				judged++
				continue
			}
			require.True(t, a.StatusCode == 400 || a.StatusCode == 413 || a.StatusCode == 422, "%s %s at %s: %d for %s", name, w.what, w.pointer, a.StatusCode, w.body)
			p := a.Problem(t)
			require.NotEmpty(t, p.Errors, "%s %s at %s", name, w.what, w.pointer)
			require.True(t, slices.ContainsFunc(p.Errors, func(f ProblemField) bool { return f.Pointer != nil && strings.HasPrefix(*f.Pointer, w.pointer) }),
				"%s: %s at %s was refused for something else: %s", name, w.what, w.pointer, a.text)
		}
		t.Logf("%s: %d wrong bodies refused", name, len(c.wrong))
	}
	require.Equal(t, len(judgedBeyond), judged)
}

// judgedBeyond are figures that a record check judges beyond their range: the contract has it find what is
// wrong with a sheet, and says so at the operation.
var judgedBeyond = []string{"/nameplate/voltage_v", "/nameplate/frequency_hz", "/nameplate/power_w", "/nameplate/current_a", "/scheme/coil_sets/0/wires/0/strands"}

// full completes an example with every member that the schema has, from the members' own examples,
// so that each of them is tried.
func full(t *testing.T, tree map[string]any, schema map[string]any, example any, depth int) any {
	schema = lookup(t, tree, schema)
	if example == nil {
		if list, ok := schema["examples"].([]any); ok {
			example = list[0]
		}
	}
	props, _ := schema["properties"].(map[string]any)
	if schema["type"] != "object" || props == nil || depth > 6 {
		return example
	}
	out := map[string]any{}
	given, _ := example.(map[string]any)
	for name, sub := range props {
		if (name == "coils" && given["pattern"] != nil) || (name == "pattern" && given["pattern"] == nil && props["coils"] != nil) {
			continue // one of the two only
		}
		if v := full(t, tree, sub.(map[string]any), given[name], depth+1); v != nil {
			out[name] = v
		}
	}
	for name, v := range given {
		if out[name] == nil {
			out[name] = v
		}
	}
	return out
}

// wrongBody is a body with one thing wrong.
type wrongBody struct{ what, pointer, body string }

type corpus struct {
	t     *testing.T
	tree  map[string]any
	root  any
	wrong []wrongBody
}

// try notes the whole body as it stands now, with one thing wrong in it.
func (c *corpus) try(what, pointer string) {
	c.t.Helper()
	text, err := json.Marshal(c.root)
	require.NoError(c.t, err)
	c.wrong = append(c.wrong, wrongBody{what, pointer, string(text)})
}

// object tries everything on the members of v, which stands at pointer.
func (c *corpus) object(v map[string]any, schema map[string]any, pointer string) {
	if c.root == nil {
		c.root = v
	}
	v["a_name_that_nobody_knows"] = 1
	c.try("an unknown member", pointer+"/a_name_that_nobody_knows")
	delete(v, "a_name_that_nobody_knows")
	required, _ := schema["required"].([]any)
	for _, name := range required {
		if held, ok := v[name.(string)]; ok {
			delete(v, name.(string))
			c.try("a missing member", pointer+"/"+name.(string))
			v[name.(string)] = held
		}
	}
	props, _ := schema["properties"].(map[string]any)
	for name, sub := range props {
		if _, there := v[name]; there {
			c.value(v, name, sub.(map[string]any), pointer+"/"+name)
		}
	}
}

// value tries everything on one member.
func (c *corpus) value(parent map[string]any, name string, schema map[string]any, pointer string) {
	held := parent[name]
	target := lookup(c.t, c.tree, schema)
	set := func(what string, v any) {
		parent[name] = v
		c.try(what, pointer)
		parent[name] = held
	}
	if target["type"] != "string" {
		set("a text", "a text")
	}
	if target["type"] != "boolean" {
		set("a truth value", true)
	}
	if target["type"] != "array" {
		set("an array", []any{})
	}
	if target["type"] == "string" || target["type"] == "array" || target["type"] == "object" || target["type"] == "boolean" {
		set("a number", 12345)
	}
	if words, ok := target["enum"].([]any); ok {
		set("another word", "no_such_word")
		if first, ok := words[0].(string); ok {
			set("the word in capitals", strings.ToUpper(first))
		}
	}
	if most, ok := target["maxLength"].(float64); ok {
		set("a long text", strings.Repeat("x", int(most)+1))
	}
	low, high := target["minimum"], target["maximum"]
	if span, ok := schema["x-range"].([]any); ok {
		low, high = span[0], span[1]
		set("an object without value", map[string]any{})
		set("a strange unit", map[string]any{"value": 1, "unit": "furlong"})
	}
	if bound, ok := low.(float64); ok {
		set("a number below", bound-1)
	}
	if bound, ok := high.(float64); ok {
		set("a number above", bound*10+1)
	}
	switch v := held.(type) {
	case map[string]any:
		if target["type"] == "object" && target["properties"] != nil {
			c.object(v, target, pointer)
		}
	case []any:
		c.list(parent, name, v, target, pointer)
	}
}

// list tries the length of an array and everything on its first item.
func (c *corpus) list(parent map[string]any, name string, held []any, schema map[string]any, pointer string) {
	if most, ok := schema["maxItems"].(float64); ok && len(held) > 0 {
		parent[name] = slices.Repeat([]any{held[0]}, int(most)+1)
		if text, _ := json.Marshal(c.root); len(text) < bodyMax {
			c.try("too many items", pointer)
		}
		parent[name] = held
	}
	items, _ := schema["items"].(map[string]any)
	if len(held) == 0 || items == nil {
		return
	}
	item := lookup(c.t, c.tree, items)
	if v, ok := held[0].(map[string]any); ok && item["type"] == "object" {
		c.object(v, item, pointer+"/0")
		return
	}
	first := held[0]
	for what, v := range map[string]any{"an item of another type": map[string]any{"a": 1}, "an item that is null": nil} {
		held[0] = v
		c.try(what, fmt.Sprint(pointer, "/0"))
	}
	held[0] = first
}
