package httpapi

import (
	"maps"
	"reflect"
	"slices"
	"strings"
	"testing"

	"statorbook/internal/bundle"
	"statorbook/internal/catalog"
	"statorbook/internal/jsonin"

	"github.com/stretchr/testify/require"
)

// requestShapes are the bodies that are read, by the schema that the contract gives them.
var requestShapes = map[string]reflect.Type{
	"EquivalentsRequest":    reflect.TypeFor[equivalentsRequest](),
	"IdentificationRequest": reflect.TypeFor[identificationRequest](),
	"LengthRequest":         reflect.TypeFor[lengthRequest](),
	"MatchRequest":          reflect.TypeFor[matchRequest](),
	"AnalysisRequest":       reflect.TypeFor[analysisRequest](),
	"ChangeRequest":         reflect.TypeFor[changeRequest](),
	"CheckRequest":          reflect.TypeFor[checkRequest](),
}

// TestReaderIsTheContract holds what the strict reader takes against what the contract says, name
// by name: members, required ones, types, words, ranges, lengths, units.
func TestReaderIsTheContract(t *testing.T) {
	t.Parallel()
	tree := contractTree(t)
	for name, shape := range requestShapes {
		c := shapeCheck{t: t, tree: tree}
		c.object(name, shape, lookup(t, tree, map[string]any{"$ref": "#/components/schemas/" + name}))
		require.Greater(t, c.members, 2, name)
	}
}

type shapeCheck struct {
	t       *testing.T
	tree    map[string]any
	members int
}

func (c *shapeCheck) object(where string, shape reflect.Type, schema map[string]any) {
	c.t.Helper()
	require.Equal(c.t, "object", schema["type"], where)
	require.Equal(c.t, false, schema["additionalProperties"], "%s: a request body is closed", where)
	fields, err := jsonin.Fields(shape)
	require.NoError(c.t, err)
	props, _ := schema["properties"].(map[string]any)
	var names, required []string
	for _, f := range fields {
		names = append(names, f.Name)
		if f.Required {
			required = append(required, f.Name)
		}
	}
	var declared, demanded []string
	for name := range props {
		declared = append(declared, name)
	}
	list, _ := schema["required"].([]any)
	for _, name := range list {
		demanded = append(demanded, name.(string))
	}
	require.ElementsMatch(c.t, names, declared, where)
	require.ElementsMatch(c.t, required, demanded, where)
	types := memberTypes(shape)
	for _, f := range fields {
		c.members++
		c.member(where+"."+f.Name, f, types[f.Name], props[f.Name].(map[string]any))
	}
}

// memberTypes gives the Go type of each JSON member, embedded structs included.
func memberTypes(shape reflect.Type) map[string]reflect.Type {
	all := map[string]reflect.Type{}
	for i := range shape.NumField() {
		f := shape.Field(i)
		name, _, _ := strings.Cut(f.Tag.Get("json"), ",")
		if f.Anonymous && name == "" {
			for k, v := range memberTypes(f.Type) {
				all[k] = v
			}
			continue
		}
		all[name] = f.Type
	}
	return all
}

func (c *shapeCheck) member(where string, f jsonin.Field, shape reflect.Type, schema map[string]any) {
	c.t.Helper()
	if shape.Kind() == reflect.Pointer {
		shape = shape.Elem()
	}
	target := lookup(c.t, c.tree, schema)
	switch {
	case shape == reflect.TypeFor[jsonin.Raw]():
		require.Equal(c.t, []string{"description"}, slices.Collect(maps.Keys(schema)), "%s is taken unread", where)
	case shape == reflect.TypeFor[bundle.M]():
		long := target["oneOf"].([]any)[1].(map[string]any)["properties"].(map[string]any)
		require.Equal(c.t, anyList(bundle.Units(bundle.OwnUnit(&f))), long["unit"].(map[string]any)["enum"], where)
		c.bounds(where, f, schema["x-range"])
	case shape == reflect.TypeFor[bundle.Count]():
		require.Equal(c.t, "#/components/schemas/Count", schema["$ref"], where)
		if f.Enum != nil {
			require.Equal(c.t, anyList(f.Enum), schema["x-enum"], where)
			return
		}
		c.bounds(where, f, schema["x-range"])
	case shape.Kind() == reflect.Struct:
		c.object(where, shape, target)
	case shape.Kind() == reflect.Slice:
		require.Equal(c.t, "array", target["type"], where)
		c.items(where, f, target)
		c.member(where+"[]", jsonin.Field{Name: f.Name, Enum: f.Enum, Min: f.Min, Max: f.Max, Runes: f.Runes}, shape.Elem(), target["items"].(map[string]any))
	case shape.Kind() == reflect.Map:
		require.InDelta(c.t, f.MaxItems, target["maxProperties"], 0, where)
		c.scalar(where+".*", f, shape.Elem(), target["additionalProperties"].(map[string]any))
	default:
		c.scalar(where, f, shape, target)
	}
}

func (c *shapeCheck) scalar(where string, f jsonin.Field, shape reflect.Type, schema map[string]any) {
	c.t.Helper()
	switch shape.Kind() {
	case reflect.String:
		require.Equal(c.t, "string", schema["type"], where)
		if f.Enum != nil {
			require.Equal(c.t, anyList(f.Enum), schema["enum"], where)
			return
		}
		most := f.Runes
		if most == 0 {
			most = 200
		}
		require.InDelta(c.t, most, schema["maxLength"], 0, "%s: maxLength", where)
	case reflect.Int:
		require.Equal(c.t, "integer", schema["type"], where)
		c.bounds(where, f, []any{schema["minimum"], schema["maximum"]})
	case reflect.Float64:
		require.Equal(c.t, "number", schema["type"], where)
		c.bounds(where, f, []any{schema["minimum"], schema["maximum"]})
	case reflect.Bool:
		require.Equal(c.t, "boolean", schema["type"], where)
	default:
		c.t.Errorf("%s: a member of type %s has no rule here", where, shape)
	}
}

func (c *shapeCheck) bounds(where string, f jsonin.Field, declared any) {
	c.t.Helper()
	require.NotNil(c.t, f.Min, "%s: a number without a range", where)
	require.NotNil(c.t, f.Max, "%s: a number without a range", where)
	require.Equal(c.t, []any{*f.Min, *f.Max}, declared, "%s: range", where)
}

func (c *shapeCheck) items(where string, f jsonin.Field, schema map[string]any) {
	c.t.Helper()
	require.InDelta(c.t, f.MaxItems, schema["maxItems"], 0, "%s: maxItems", where)
	if f.MinItems > 0 {
		require.InDelta(c.t, f.MinItems, schema["minItems"], 0, "%s: minItems", where)
	}
}

func anyList(words []string) []any {
	out := make([]any, len(words))
	for i, w := range words {
		out[i] = w
	}
	return out
}

// TestLimitsAreTold holds /v1/meta against the limits that the reader keeps.
func TestLimitsAreTold(t *testing.T) {
	t.Parallel()
	a := demoHost(t).Ask(t, "GET", "/v1/meta", "")
	require.InDelta(t, jsonin.Single.Bytes, a.Number(t, "limits", "body_bytes"), 0)
	require.InDelta(t, jsonin.Batch.Bytes, a.Number(t, "limits", "batch_bytes"), 0)
	require.InDelta(t, importMax, a.Number(t, "limits", "import_bytes"), 0)
	require.InDelta(t, jsonin.Single.Depth, a.Number(t, "limits", "json_depth"), 0)
	require.InDelta(t, catalog.DraftsPerDay, a.Number(t, "limits", "drafts_per_day"), 0)
	fields, err := jsonin.Fields(reflect.TypeFor[batchRequest]())
	require.NoError(t, err)
	require.InDelta(t, fields[0].MaxItems, a.Number(t, "limits", "batch_items"), 0)
	fields, err = jsonin.Fields(reflect.TypeFor[matchRequest]())
	require.NoError(t, err)
	for _, f := range fields {
		if f.Name == "limit" {
			require.InDelta(t, *f.Max, a.Number(t, "limits", "candidates_max"), 0)
		}
	}
	require.InDelta(t, 200, a.Number(t, "catalogue", "records"), 60)
	require.Positive(t, a.Number(t, "catalogue", "index_bytes"))
}

// borrowed are the numbers that have the unit of the field they speak of, as their descriptions say.
var borrowed = map[string]bool{
	"value": true, "uncertainty": true, "resolution": true, "p05": true, "p50": true, "p95": true, "low": true, "high": true, "found": true,
	"measured": true, "on_record": true, "typed": true, "read_as": true, "before": true, "after": true, "minimum": true, "maximum": true,
}

// TestEveryNumberHasAUnit joins the numeric members of the contract with the units of /v1/meta.
func TestEveryNumberHasAUnit(t *testing.T) {
	t.Parallel()
	walkSchemas(contractTree(t), "", func(where string, schema map[string]any) {
		name := where[strings.LastIndexByte(where, '.')+1:]
		types, _ := schema["type"].([]any)
		isNumber := schema["type"] == "number" || len(types) > 0 && types[0] == "number"
		if !isNumber || borrowed[name] {
			return
		}
		_, known := unitOf(name)
		require.True(t, known, "%s: the number %s tells no unit; name it with one, or list it in units.go", where, name)
	})
}
