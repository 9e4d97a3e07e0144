package httpapi

import (
	"encoding/json"
	"strings"
)

// unitInfo tells the unit of a numeric field: its UCUM code, how people write it, and what it measures.
type unitInfo struct {
	UCUM     string `json:"ucum"`
	Label    string `json:"label"`
	Quantity string `json:"quantity"`
}

// unitSuffixes reads the unit off a field's name, longest suffix first where one ends in another.
var unitSuffixes = []struct {
	suffix string
	unit   unitInfo
}{
	{"_ohm_per_km", unitInfo{"Ohm/km", "Ω/km", "resistance per length"}},
	{"_ohm_per_1000ft", unitInfo{"Ohm/(1000.[ft_i])", "Ω per 1000 ft", "resistance per length"}},
	{"_lb_per_1000ft", unitInfo{"[lb_av]/(1000.[ft_i])", "lb per 1000 ft", "mass per length"}},
	{"_a_per_mm2", unitInfo{"A/mm2", "A/mm²", "current density"}},
	{"_conductors_per_m", unitInfo{"A/m", "A/m", "linear current density"}},
	{"_g_per_m", unitInfo{"g/m", "g/m", "mass per length"}},
	{"_mm2", unitInfo{"mm2", "mm²", "area"}},
	{"_mm", unitInfo{"mm", "mm", "length"}},
	{"_um", unitInfo{"um", "µm", "length"}},
	{"_in", unitInfo{"[in_i]", "in", "length"}},
	{"_cmil", unitInfo{"[cml_i]", "cmil", "area"}},
	{"_mwb", unitInfo{"mWb", "mWb", "magnetic flux"}},
	{"_ohm", unitInfo{"Ohm", "Ω", "resistance"}},
	{"_rpm", unitInfo{"/min", "1/min", "rotational frequency"}},
	{"_pct", unitInfo{"%", "%", "ratio"}},
	{"_deg", unitInfo{"deg", "° (electrical)", "electrical angle"}},
	{"_20c", unitInfo{"Ohm", "Ω", "resistance at 20 °C"}},
	{"_hz", unitInfo{"Hz", "Hz", "frequency"}},
	{"_uf", unitInfo{"uF", "µF", "capacitance"}},
	{"_v", unitInfo{"V", "V", "voltage"}},
	{"_w", unitInfo{"W", "W", "power"}},
	{"_a", unitInfo{"A", "A", "current"}},
	{"_g", unitInfo{"g", "g", "mass"}},
	{"_c", unitInfo{"Cel", "°C", "temperature"}},
	{"_k", unitInfo{"K", "K", "temperature difference"}},
	{"_t", unitInfo{"T", "T", "magnetic flux density"}},
	{"_m", unitInfo{"m", "m", "length"}},
	{"_bytes", unitInfo{"By", "byte", "data size"}},
	{"_probability", unitInfo{"1", "", "probability"}},
	{"_ratio", unitInfo{"1", "", "ratio"}},
	{"_factor", unitInfo{"1", "", "ratio"}},
	{"_turns", unitInfo{"1", "", "count"}},
}

// unitNames holds the numeric fields whose name carries no suffix: pure numbers, and figures whose
// unit is that of the field they speak about.
var unitNames = map[string]unitInfo{
	"megohm":               {"MOhm", "MΩ", "insulation resistance"},
	"ohms":                 {"Ohm", "Ω", "resistance"},
	"volts":                {"V", "V", "voltage"},
	"amps":                 {"A", "A", "current"},
	"watts":                {"W", "W", "power"},
	"seconds":              {"s", "s", "time"},
	"figure":               {"1", "", "in the unit of its limit"},
	"low":                  {"1", "", "in the unit of its limit"},
	"high":                 {"1", "", "in the unit of its limit"},
	"probability":          {"1", "", "probability"},
	"bits":                 {"bit", "bit", "information"},
	"deviations":           {"1", "σ", "multiples of the combined standard uncertainty"},
	"odds":                 {"1", "", "natural logarithm of odds"},
	"thermal_class_change": {"K", "K", "temperature difference"},
	"turns":                {"1", "", "count"},
	"uf":                   {"uF", "µF", "capacitance"},
	"ohm":                  {"Ohm", "Ω", "resistance"},
	"t":                    {"T", "T", "magnetic flux density"},
	"g":                    {"g", "g", "mass"},
	"winding":              {"1", "", "probability"},
	"core":                 {"1", "", "probability"},
	"family":               {"1", "", "probability"},
	"conductors":           {"1", "", "count"},
	"slip":                 {"1", "", "ratio"},
	"factor":               {"1", "", "ratio"},
	"min":                  {"Ohm/km", "Ω/km", "resistance per length"},
	"nominal":              {"Ohm/km", "Ω/km", "resistance per length"},
	"max":                  {"Ohm/km", "Ω/km", "resistance per length"},
	"copper":               {"1", "", "ratio"},
	"circle":               {"1", "", "ratio"},
	"square":               {"1", "", "ratio"},
}

// unitOf gives the unit of a numeric field by its name.
func unitOf(name string) (unitInfo, bool) {
	if u, ok := unitNames[name]; ok {
		return u, true
	}
	for _, s := range unitSuffixes {
		if strings.HasSuffix(name, s.suffix) || name == s.suffix[1:] {
			return s.unit, true
		}
	}
	return unitInfo{}, false
}

// contractUnits walks the contract and gives the unit of every field that can hold a quantity, so
// that /v1/meta never falls behind the contract.
func contractUnits(doc []byte) (map[string]unitInfo, error) {
	var tree struct {
		Components struct {
			Schemas map[string]map[string]any `json:"schemas"`
		} `json:"components"`
		Paths map[string]any `json:"paths"`
	}
	if err := json.Unmarshal(doc, &tree); err != nil {
		return nil, err
	}
	units := map[string]unitInfo{}
	visit := func(name string, schema map[string]any) {
		if ref, ok := schema["$ref"].(string); ok {
			schema = tree.Components.Schemas[ref[strings.LastIndexByte(ref, '/')+1:]]
		}
		if u, ok := unitOf(name); ok && isQuantity(schema) {
			units[name] = u
		}
	}
	for _, schema := range tree.Components.Schemas {
		walkProperties(schema, visit)
	}
	walkProperties(tree.Paths, visit)
	return units, nil
}

// isQuantity tells schemas of a number, of a measured value, and of a figure with a range or an uncertainty.
func isQuantity(schema map[string]any) bool {
	switch kind := schema["type"].(type) {
	case string:
		props, _ := schema["properties"].(map[string]any)
		return kind == "number" || props["p50"] != nil || props["uncertainty"] != nil && props["value"] != nil
	case []any:
		return len(kind) > 0 && kind[0] == "number"
	}
	forms, _ := schema["oneOf"].([]any)
	if len(forms) == 0 {
		return false
	}
	short, _ := forms[0].(map[string]any)
	return short["type"] == "number"
}

// walkProperties calls visit for every property of every schema in a JSON tree.
func walkProperties(node any, visit func(name string, schema map[string]any)) {
	switch n := node.(type) {
	case []any:
		for _, item := range n {
			walkProperties(item, visit)
		}
	case map[string]any:
		if props, ok := n["properties"].(map[string]any); ok {
			for name, p := range props {
				if schema, ok := p.(map[string]any); ok {
					visit(name, schema)
				}
			}
		}
		for _, child := range n {
			walkProperties(child, visit)
		}
	}
}
