package httpapi

import (
	"encoding/json"
	"math"
	"slices"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// TestWhatTheContractAllowsIsUnderstood draws bodies that the contract allows, most of them from its
// example with some members drawn anew, the others any values in any company: each is answered with 200 as the contract says, or refused with 422 as impossible; never
// 400, never 5xx.
func TestWhatTheContractAllowsIsUnderstood(t *testing.T) {
	t.Parallel()
	h := demoHost(t)
	tree := contractTree(t)
	ops := operations(t, tree)
	for name, path := range map[string]string{
		"EquivalentsRequest": "/v1/wire-equivalents", "IdentificationRequest": "/v1/wire-identifications", "LengthRequest": "/v1/wire-lengths",
		"MatchRequest": "/v1/matches", "AnalysisRequest": "/v1/winding-analyses", "ChangeRequest": "/v1/winding-changes", "CheckRequest": "/v1/winding-checks",
	} {
		schema := map[string]any{"$ref": "#/components/schemas/" + name}
		content := ops["POST "+path].body["requestBody"].(map[string]any)["content"].(map[string]any)["application/json"].(map[string]any)
		example, answered := content["example"], 0
		rapid.Check(t, func(rt *rapid.T) {
			d := drawer{t: t, rt: rt, tree: tree}
			from := any(nil)
			if rapid.IntRange(0, 3).Draw(rt, "from the example") > 0 {
				from = example
			}
			body, err := json.Marshal(d.draw("", schema, from))
			require.NoError(t, err)
			a := h.Ask(t, "POST", path, string(body))
			require.True(t, a.StatusCode == 200 || a.StatusCode == 422, "%s %d: %s\n%s", path, a.StatusCode, body, a.text)
			if a.StatusCode == 200 {
				answered++
			}
			if a.StatusCode == 200 && name == "MatchRequest" {
				checkSums(t, a)
			}
		})
		t.Logf("%s: %d answered, the others impossible", path, answered)
	}
}

// drawer draws values that a schema allows.
type drawer struct {
	t    *testing.T
	rt   *rapid.T
	tree map[string]any
}

// draw gives a value that schema allows: four times in five that of the example, if it has one.
func (d drawer) draw(name string, schema map[string]any, example any) any {
	target := lookup(d.t, d.tree, schema)
	if example != nil && target["type"] != "object" && rapid.IntRange(0, 4).Draw(d.rt, name+" as in the example") > 0 {
		return example
	}
	if words, ok := target["enum"].([]any); ok {
		return rapid.SampledFrom(words).Draw(d.rt, name)
	}
	if words, ok := schema["x-enum"].([]any); ok {
		n, err := strconv.Atoi(rapid.SampledFrom(words).Draw(d.rt, name).(string))
		require.NoError(d.t, err)
		return n
	}
	if span, ok := schema["x-range"].([]any); ok {
		low, high := span[0].(float64), span[1].(float64)
		if schema["$ref"] == "#/components/schemas/Length" && high == 10000 {
			low, high = max(low, 0.5), 2000 // cores that somebody could hold; the hostile rows go beyond
		}
		return d.measured(name, schema["$ref"] == "#/components/schemas/Count", low, high)
	}
	switch target["type"] {
	case "object":
		return d.object(target, example)
	case "array":
		most, _ := target["maxItems"].(float64)
		least, _ := target["minItems"].(float64)
		list := make([]any, rapid.IntRange(int(least), int(min(most, max(least, 3)))).Draw(d.rt, name+" length"))
		for i := range list {
			list[i] = d.draw(name, target["items"].(map[string]any), first(example))
		}
		return list
	case "integer":
		return rapid.IntRange(int(target["minimum"].(float64)), int(min(target["maximum"].(float64), 1000))).Draw(d.rt, name)
	case "number":
		return d.number(name, target["minimum"].(float64), target["maximum"].(float64))
	case "boolean":
		return rapid.Bool().Draw(d.rt, name)
	case nil: // taken unread
		return rapid.SampledFrom([]any{"x", 1, true, []any{1, "x"}, map[string]any{"x": 1}}).Draw(d.rt, name)
	}
	return d.text(name, int(target["maxLength"].(float64)))
}

// text draws the texts that mean something as often as those that do not.
func (d drawer) text(name string, most int) string {
	known := map[string][]string{
		"size": {"34", "20", "4/0", "0.500", "0.710", "99", "12"}, "thermal_class": {"F", "155", "B", "130 L"}, "min_thermal_class": {"A", "H"}, "insulation_class": {"B", "F"},
	}[name]
	if known != nil && rapid.IntRange(0, 9).Draw(d.rt, name+" known") > 0 {
		return rapid.SampledFrom(known).Draw(d.rt, name)
	}
	return rapid.StringMatching(`[a-zA-Z0-9 ./äß-]{1,8}`).Filter(func(s string) bool { return len([]rune(s)) <= most }).Draw(d.rt, name)
}

// number draws from the range by its logarithm where it can, since machines differ by factors.
func (d drawer) number(name string, low, high float64) float64 {
	v := low + (high-low)*rapid.Float64Range(0, 1).Draw(d.rt, name)
	if low > 0 && rapid.Bool().Draw(d.rt, name+" by factor") {
		v = low * math.Pow(high/low, rapid.Float64Range(0, 1).Draw(d.rt, name))
	}
	rounded, err := strconv.ParseFloat(strconv.FormatFloat(v, 'g', 6, 64), 64)
	require.NoError(d.t, err)
	return min(max(rounded, low), high)
}

// measured draws a figure in one of its forms.
func (d drawer) measured(name string, count bool, low, high float64) any {
	v := d.number(name, low, high)
	if count {
		v = math.Round(v)
		v = min(max(v, math.Ceil(low)), math.Floor(high))
	}
	long := map[string]any{"value": v}
	switch rapid.IntRange(0, 5).Draw(d.rt, name+" form") {
	case 0:
	case 1:
		if !count {
			long["uncertainty"] = d.number(name+" uncertainty", 1e-6, 1e6)
		}
	case 2:
		if !count {
			long["resolution"] = d.number(name+" resolution", 1e-6, 1e6)
		}
	default:
		return v
	}
	return long
}

// object draws the required members and some of the others, seldom all.
func (d drawer) object(schema map[string]any, example any) any {
	given, _ := example.(map[string]any)
	props, _ := schema["properties"].(map[string]any)
	required, _ := schema["required"].([]any)
	out := map[string]any{}
	names := make([]string, 0, len(props))
	for name := range props {
		names = append(names, name)
	}
	slices.Sort(names) // rapid must see the same draws in the same order
	for _, name := range names {
		seldom := 2 // with an example, members that it lacks stay out more often
		if given != nil && given[name] == nil {
			seldom = 8
		}
		if slices.Contains(required, any(name)) || (rapid.IntRange(0, seldom).Draw(d.rt, "with "+name) > 0) == (seldom == 2) {
			out[name] = d.draw(name, props[name].(map[string]any), given[name])
		}
	}
	if props["pattern"] != nil && props["coils"] != nil {
		other := rapid.SampledFrom([]string{"coils", "pattern"}).Draw(d.rt, "not")
		if given["pattern"] != nil {
			other = "coils"
		}
		delete(out, other)
		for _, name := range []string{"pattern", "coils"} {
			if name != other && out[name] == nil {
				out[name] = d.draw(name, props[name].(map[string]any), given[name])
			}
		}
	}
	return out
}

// first is the first item of an example list.
func first(example any) any {
	if list, ok := example.([]any); ok && len(list) > 0 {
		return list[0]
	}
	return nil
}
