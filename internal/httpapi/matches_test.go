package httpapi

import (
	"encoding/json"
	"net/http"
	"strings"
	"testing"

	"statorbook/internal/jsonin"
	"statorbook/internal/simworld"
	"statorbook/internal/wire"

	"github.com/stretchr/testify/require"
)

const fan = `"phases":1,"rotor_position":"outside","slots":14`

// checkSums asserts what holds for every match: the probabilities add up, ranges are ordered, and
// every proposal carries its basis, its status and the cautions.
func checkSums(t *testing.T, a answer) {
	t.Helper()
	sum := a.Number(t, "unlisted_probability") + a.Number(t, "none", "winding")
	for i := range a.List(t, "candidates") {
		sum += a.Number(t, "candidates", i, "probability")
	}
	require.InDelta(t, 1, sum, 1e-9)
	require.NotEmpty(t, a.List(t, "cautions"))
	require.NotEmpty(t, a.At(t, "status"))
	for i := range a.List(t, "proposals") {
		require.NotEmpty(t, a.At(t, "proposals", i, "basis", "method"))
		require.NotEmpty(t, a.List(t, "proposals", i, "basis", "steps"))
		for j := range a.List(t, "proposals", i, "coil_sets") {
			for _, name := range []string{"series_turns", "conductor_area_mm2", "resistance_20c_ohm", "mass_g"} {
				at := []any{"proposals", i, "coil_sets", j, name}
				require.LessOrEqual(t, a.Number(t, append(at, "p05")...), a.Number(t, append(at, "p50")...))
				require.LessOrEqual(t, a.Number(t, append(at, "p50")...), a.Number(t, append(at, "p95")...))
			}
		}
	}
}

// A demo core asked for with its own dimensions comes back as the likeliest.
func TestMatchFindsTheDemoCore(t *testing.T) {
	t.Parallel()
	h := demoHost(t)
	snap, err := demoSnapshot()
	require.NoError(t, err)
	set := simworld.Demo(1, snap.Wires)
	f := set.Families[3]
	core := map[string]any{
		"phases": f.Core.Phases, "rotor_position": f.Core.RotorPosition, "slots": f.Core.Slots, "gap_diameter_mm": f.Core.GapDiameter.Value,
		"stack_length_mm": f.Cores[0].StackLength.Value, "tooth_width_mm": f.Core.ToothWidth.Value,
	}
	if f.Core.BackDiameter.Given {
		core["back_diameter_mm"] = f.Core.BackDiameter.Value
	}
	body, err := json.Marshal(map[string]any{"measurements": core, "limit": 50})
	require.NoError(t, err)
	a := h.Ask(t, "POST", "/v1/matches", string(body))
	require.Equal(t, http.StatusOK, a.StatusCode, "%s", a.text)
	checkSums(t, a)
	require.Equal(t, f.Cores[0].ID, a.At(t, "cores", 0, "core_id"), "%s", a.text)
	require.InDelta(t, 7, a.Number(t, "catalogue_revision"), 0)
	require.InDelta(t, f.Core.GapDiameter.Value, a.Number(t, "understood", "measurements", "gap_diameter_mm"), 0)
	require.Equal(t, "demo", a.At(t, "candidates", 0, "status"))
}

// What was found in the core and fits none of the proposals is named; what fits is not.
func TestMatchNamesRemainsThatDisagree(t *testing.T) {
	t.Parallel()
	h := demoHost(t)
	snap, err := demoSnapshot()
	require.NoError(t, err)
	f := simworld.Demo(1, snap.Wires).Families[3]
	ask := func(turns float64) answer {
		body, err := json.Marshal(map[string]any{
			"measurements": map[string]any{
				"phases": f.Core.Phases, "rotor_position": f.Core.RotorPosition, "slots": f.Core.Slots, "gap_diameter_mm": f.Core.GapDiameter.Value,
				"stack_length_mm": f.Cores[0].StackLength.Value, "tooth_width_mm": f.Core.ToothWidth.Value,
			},
			"remains": map[string]any{"coils": []any{map[string]any{"role": "main", "turns": turns}}},
		})
		require.NoError(t, err)
		a := h.Ask(t, "POST", "/v1/matches", string(body))
		require.Equal(t, http.StatusOK, a.StatusCode, a.Text())
		return a
	}
	a := ask(19000)
	require.Contains(t, a.Text(), `"code":"remains_disagree"`)
	require.Contains(t, a.Text(), `"fields":["remains.coils[0].turns"]`)
	fits := a.Number(t, "proposals", 0, "coil_sets", 0, "turns_per_coil", 0, "p50")
	require.NotContains(t, ask(fits).Text(), "remains_disagree")
}

// Next to nothing known gives a broad answer, never an empty one.
func TestMatchBroad(t *testing.T) {
	t.Parallel()
	h := demoHost(t)
	for _, body := range []string{`{}`, `{"measurements":{}}`, `{"measurements":{` + fan + `}}`, `{"supply":{"voltage_v":230}}`, `{"remains":{}}`, `{"stock":[]}`, `{"measurements":null}`} {
		a := h.Ask(t, "POST", "/v1/matches", body)
		require.Equal(t, http.StatusOK, a.StatusCode, "%s: %s", body, a.text)
		checkSums(t, a)
		require.NotEmpty(t, a.List(t, "candidates"), body)
		require.Less(t, a.Number(t, "candidates", 0, "probability"), 0.9, body)
	}
}

// Units are converted exactly and what was understood is echoed.
func TestMatchUnderstands(t *testing.T) {
	t.Parallel()
	h := demoHost(t)
	a := h.Ask(t, "POST", "/v1/matches", `{"measurements":{`+fan+`,"gap_diameter_mm":{"value":4.6457,"unit":"[in_i]","uncertainty":0.001}},
		"supply":{"voltage_v":230,"frequency_hz":50,"phases":1},"nameplate":{"sweep_mm":1200,"poles":14},
		"remains":{"wires":[{"diameter_mm":0.24,"coating":"over_enamel","condition":"clean","role":"main"}],"coils":[{"turns":{"value":300,"uncertainty":5}}],"copper_mass_g":{"total":250}},
		"stock":[{"system":"swg","size":"36","conductor":"copper","strands":1}],"limit":3}`)
	require.Equal(t, http.StatusOK, a.StatusCode, "%s", a.text)
	checkSums(t, a)
	require.LessOrEqual(t, len(a.List(t, "candidates")), 3)
	require.InDelta(t, 4.6457*25.4, a.Number(t, "understood", "measurements", "gap_diameter_mm", "value"), 1e-9)
	require.InDelta(t, 0.0254, a.Number(t, "understood", "measurements", "gap_diameter_mm", "uncertainty"), 1e-12)
	require.Equal(t, "36", a.At(t, "understood", "stock", 0, "size"))
	require.InDelta(t, 250, a.Number(t, "understood", "remains", "copper_mass_g", "total"), 0)
}

// 1180 for 118 is a reading in matches: 200, and named in readings (contract rule 4).
func TestMatchReading(t *testing.T) {
	t.Parallel()
	h := demoHost(t)
	snap, err := demoSnapshot()
	require.NoError(t, err)
	f := simworld.Demo(1, snap.Wires).Families[4]
	body, err := json.Marshal(map[string]any{"measurements": map[string]any{
		"phases": f.Core.Phases, "rotor_position": f.Core.RotorPosition, "slots": f.Core.Slots, "gap_diameter_mm": 10 * f.Core.GapDiameter.Value,
		"stack_length_mm": f.Cores[0].StackLength.Value, "tooth_width_mm": f.Core.ToothWidth.Value, "slot_depth_mm": f.Core.SlotDepth.Value,
	}})
	require.NoError(t, err)
	a := h.Ask(t, "POST", "/v1/matches", string(body))
	require.Equal(t, http.StatusOK, a.StatusCode, "%s", a.text)
	checkSums(t, a)
	require.Equal(t, "gap_diameter_mm", a.At(t, "readings", 0, "field"), "%s", a.text)
	require.InDelta(t, f.Core.GapDiameter.Value, a.Number(t, "readings", 0, "read_as"), 1e-6)
}

// A gap above the back diameter of an inside rotor is taken as a slip where one other reading removes it.
func TestMatchImpossibleAsReading(t *testing.T) {
	t.Parallel()
	h := demoHost(t)
	a := h.Ask(t, "POST", "/v1/matches", `{"measurements":{"rotor_position":"inside","slots":24,"gap_diameter_mm":700,"back_diameter_mm":130}}`)
	require.Equal(t, http.StatusOK, a.StatusCode, "%s", a.text)
	checkSums(t, a)
	require.NotEmpty(t, a.List(t, "readings"), "%s", a.text)
}

func TestMatchHostile(t *testing.T) {
	t.Parallel()
	h := demoHost(t)
	const at = "/v1/matches"
	m := func(members string) string { return `{"measurements":{` + members + `}}` }
	refuse(t, h, append(brokenBodies(at, "limit"),
		post(at, `{"measurement":{}}`, 400, jsonin.CodeUnknown, "/measurement"),
		post(at, `{"measurements":[]}`, 400, jsonin.CodeType, "/measurements"),
		// A stock wire that is not known is named, as in any other question; never passed over.
		post(at, `{"measurements":{"slots":24},"stock":[`+swg34+`,{"system":"swg","size":"99","conductor":"copper","strands":1}]}`, 422, wire.CodeUnknownSize, "/stock/1/size"),
		post(at, `{"measurements":{"slots":24},"stock":[{"size":"12","conductor":"copper","strands":1}]}`, 422, wire.CodeAmbiguousSize, "/stock/0/system"),
		post(at, `{"measurements":{"slots":24},"stock":[{"system":"swg","size":"24","diameter_mm":0.9,"conductor":"copper","strands":1}]}`, 422, wire.CodeContradiction, "/stock/0/diameter_mm"),
		post(at, `{"measurements":{"slots":24},"stock":[{"system":"bare","conductor":"copper","strands":1}]}`, 422, wire.CodeBadDiameter, "/stock/0/diameter_mm"),
		post(at, m(`"slots":0`), 422, jsonin.CodeRange, "/measurements/slots"),
		post(at, m(`"slots":-14`), 422, jsonin.CodeRange, "/measurements/slots"),
		post(at, m(`"slots":100000`), 422, jsonin.CodeRange, "/measurements/slots"),
		post(at, m(`"slots":14.5`), 400, jsonin.CodeInteger, "/measurements/slots"),
		post(at, m(`"slots":"14"`), 400, jsonin.CodeType, "/measurements/slots"),
		post(at, m(`"slot":14`), 400, jsonin.CodeUnknown, "/measurements/slot"),
		post(at, m(`"Slots":14`), 400, jsonin.CodeWrongCase, "/measurements/Slots"),
		post(at, m(`"slots":14,"slots":15`), 400, jsonin.CodeDuplicate, "/measurements/slots"),
		post(at, m(`"rotor_position":"outer"`), 400, jsonin.CodeValue, "/measurements/rotor_position"),
		post(at, m(`"phases":2`), 422, jsonin.CodeRange, "/measurements/phases"),
		post(at, m(`"gap_diameter_mm":0`), 422, jsonin.CodeRange, "/measurements/gap_diameter_mm"),
		post(at, m(`"gap_diameter_mm":-118`), 422, jsonin.CodeRange, "/measurements/gap_diameter_mm"),
		post(at, m(`"gap_diameter_mm":1e400`), 400, jsonin.CodeOverflow, "/measurements/gap_diameter_mm"),
		post(at, m(`"gap_diameter_mm":1e-400`), 400, jsonin.CodeUnderflow, "/measurements/gap_diameter_mm"),
		post(at, m(`"gap_diameter_mm":118.000000000000000000000000000000001`), 400, jsonin.CodeNumberLength, "/measurements/gap_diameter_mm"),
		post(at, m(`"gap_diameter_mm":"118"`), 400, jsonin.CodeType, "/measurements/gap_diameter_mm"),
		post(at, m(`"gap_diameter_mm":{"value":118,"unit":"mile"}`), 400, jsonin.CodeUnit, "/measurements/gap_diameter_mm/unit"),
		post(at, m(`"gap_diameter_mm":{"value":118,"uncertainty":-1}`), 422, jsonin.CodeRange, "/measurements/gap_diameter_mm/uncertainty"),
		post(at, m(`"gap_diameter_mm":{"value":118,"uncertainty":1,"resolution":1}`), 400, jsonin.CodeConflict, "/measurements/gap_diameter_mm/resolution"),
		post(at, m(`"gap_diameter_mm":{"unit":"mm"}`), 400, jsonin.CodeRequired, "/measurements/gap_diameter_mm/value"),
		post(at, m(`"slot_shape":"star"`), 400, jsonin.CodeValue, "/measurements/slot_shape"),
		post(at, m(`"second_ring":{"slots":0}`), 422, jsonin.CodeRange, "/measurements/second_ring/slots"),
		post(at, m(`"second_ring":{"turned_slots":2000}`), 422, jsonin.CodeRange, "/measurements/second_ring/turned_slots"),
		post(at, m(`"slots":360,"gap_diameter_mm":10,"tooth_width_mm":900`), 422, "TEETH_WIDER_THAN_PITCH", "/measurements/tooth_width_mm"),
		post(at, `{"motor_type":"steam"}`, 400, jsonin.CodeValue, "/motor_type"),
		post(at, `{"supply":{"voltage_v":0}}`, 422, jsonin.CodeRange, "/supply/voltage_v"),
		post(at, `{"supply":{"phases":2}}`, 422, jsonin.CodeRange, "/supply/phases"),
		post(at, `{"nameplate":{"poles":0}}`, 422, jsonin.CodeRange, "/nameplate/poles"),
		post(at, `{"nameplate":{"power_w":1e300}}`, 422, jsonin.CodeRange, "/nameplate/power_w"),
		post(at, `{"remains":{"wires":[{}]}}`, 400, jsonin.CodeRequired, "/remains/wires/0/diameter_mm"),
		post(at, `{"remains":{"wires":[{"diameter_mm":0.3,"coating":"paint"}]}}`, 400, jsonin.CodeValue, "/remains/wires/0/coating"),
		post(at, `{"remains":{"coils":[{"turns":0}]}}`, 422, jsonin.CodeRange, "/remains/coils/0/turns"),
		post(at, `{"remains":{"copper_mass_g":{"main":-1}}}`, 422, jsonin.CodeRange, "/remains/copper_mass_g/main"),
		post(at, `{"stock":[{"system":"awg","size":"20"}]}`, 400, jsonin.CodeRequired, "/stock/0/conductor"),
		post(at, `{"limit":0}`, 422, jsonin.CodeRange, "/limit"),
		post(at, `{"limit":51}`, 422, jsonin.CodeRange, "/limit"),
		post(at, `{"x":"`+strings.Repeat("\\u0000", 20)+`"}`, 400, jsonin.CodeUnknown, "/x"),
		post(at, m(`"slot_shape":"\u202e"`), 400, jsonin.CodeCharacter, "/measurements/slot_shape"),
	))
	// Two mistakes of the body and one of the query are named together.
	p := h.Ask(t, "POST", at+"?x=1", m(`"slots":"a","phase":1`)).Problem(t)
	require.Len(t, p.Errors, 3)
}
