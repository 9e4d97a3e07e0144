package httpapi

import (
	"net/http"
	"strings"
	"testing"

	"statorbook/internal/jsonin"
	"statorbook/internal/wire"

	"github.com/stretchr/testify/require"
)

func TestIdentification(t *testing.T) {
	t.Parallel()
	h := newHost(t, seeded(t))
	a := h.Ask(t, "POST", "/v1/wire-identifications", `{"readings":[{"diameter_mm":0.36,"resolution_mm":0.01}],"surface":"over_enamel","condition":"clean"}`)
	sum, last := 0.0, 1.0
	for i := range a.List(t, "candidates") {
		p := a.Number(t, "candidates", i, "probability")
		sum += p
		require.Less(t, p, 0.95, "the tables overlap: nothing is certain")
		require.LessOrEqual(t, p, last)
		last = p
	}
	require.InDelta(t, 1, sum, 1e-9)
	require.NotEmpty(t, a.List(t, "settle_by"))

	// resolution_mm says the same as resolution inside the reading.
	a = h.Ask(t, "POST", "/v1/wire-identifications", `{"readings":[{"diameter_mm":{"value":0.36,"resolution":0.002}}]}`)
	b := h.Ask(t, "POST", "/v1/wire-identifications", `{"readings":[{"diameter_mm":0.36,"resolution_mm":0.002}]}`)
	require.Equal(t, string(a.text), string(b.text))

	// Copper at 20 °C, 1 m of 0.500 mm: 1/58.5/0.19635 = 0.08706 ohm.
	a = h.Ask(t, "POST", "/v1/wire-identifications", `{"readings":[{"diameter_mm":0.5,"resolution_mm":0.001}],"surface":"bare","resistance":{"ohm":{"value":87.06,"unit":"mOhm"},"length_m":1,"temperature_c":20}}`)
	require.Equal(t, "0.500", a.At(t, "candidates", 0, "wire", "size"))
	require.Equal(t, "copper", a.At(t, "candidates", 0, "wire", "conductor"))
}

func TestIdentificationHostile(t *testing.T) {
	t.Parallel()
	h := newHost(t, seeded(t))
	const at = "/v1/wire-identifications"
	refuse(t, h, append(brokenBodies(at, "readings"),
		post(at, `{}`, 422, jsonin.CodeRange, "/readings"),
		post(at, `{"readings":[]}`, 422, jsonin.CodeRange, "/readings"),
		post(at, `{"readings":[0.36]}`, 400, jsonin.CodeType, "/readings/0"),
		post(at, `{"readings":[{}]}`, 400, jsonin.CodeRequired, "/readings/0/diameter_mm"),
		post(at, `{"readings":[{"diameter_mm":0}]}`, 422, jsonin.CodeRange, "/readings/0/diameter_mm"),
		post(at, `{"readings":[{"diameter_mm":-0.3}]}`, 422, jsonin.CodeRange, "/readings/0/diameter_mm"),
		post(at, `{"readings":[{"diameter_mm":118}]}`, 422, jsonin.CodeRange, "/readings/0/diameter_mm"),
		post(at, `{"readings":[{"diameter_mm":1e400}]}`, 400, jsonin.CodeOverflow, "/readings/0/diameter_mm"),
		post(at, `{"readings":[{"diameter_mm":0.3,"resolution_mm":-1}]}`, 422, jsonin.CodeRange, "/readings/0/resolution_mm"),
		post(at, `{"readings":[{"diameter_mm":0.3,"resolution_mm":0}]}`, 422, jsonin.CodeRange, "/readings/0/resolution_mm"),
		post(at, `{"readings":[{"diameter_mm":0.3},{"diameter_mm":{"value":0.3,"resolution":0.01},"resolution_mm":0.001}]}`, 422, jsonin.CodeConflict, "/readings/1/resolution_mm"),
		post(at, `{"readings":[{"diameter_mm":{"value":0.3,"uncertainty":0.01},"resolution_mm":0.001}]}`, 422, jsonin.CodeConflict, "/readings/0/resolution_mm"),
		post(at, `{"readings":[{"diameter_mm":{"value":0.3,"uncertainty":-1}}]}`, 422, jsonin.CodeRange, "/readings/0/diameter_mm/uncertainty"),
		post(at, `{"readings":[`+strings.TrimSuffix(strings.Repeat(`{"diameter_mm":0.3},`, 51), ",")+`]}`, 413, jsonin.CodeTooManyItems, "/readings"),
		post(at, `{"surface":"shiny"}`, 400, jsonin.CodeValue, "/surface"),
		post(at, `{"condition":"old"}`, 400, jsonin.CodeValue, "/condition"),
		post(at, `{"conductor":"tin"}`, 400, jsonin.CodeValue, "/conductor"),
		post(at, `{"resistance":{"ohm":1}}`, 400, jsonin.CodeRequired, "/resistance/length_m"),
		post(at, `{"resistance":{"ohm":0,"length_m":1}}`, 422, jsonin.CodeRange, "/resistance/ohm"),
		post(at, `{"resistance":{"ohm":1,"length_m":1,"temperature_c":2000}}`, 422, jsonin.CodeRange, "/resistance/temperature_c"),
		post(at, `{"mass":{"g":1,"length_m":1,"strands":9}}`, 422, jsonin.CodeRange, "/mass/strands"),
		post(at, `{"mass":{"g":{"value":1,"unit":"stone"},"length_m":1}}`, 400, jsonin.CodeUnit, "/mass/g/unit"),
	))
}

func TestLength(t *testing.T) {
	t.Parallel()
	h := newHost(t, seeded(t))
	var v lengthView
	const wire34 = `"wires":[` + swg34 + `]`
	h.Ask(t, "POST", "/v1/wire-lengths", `{`+wire34+`,"turns":400,"mean_turn_mm":210,"temperature_c":25}`).JSON(t, &v)
	// 400 x 0.21 m = 84 m of 0.0428886 mm2: 84/58/0.0428886 = 33.77 ohm at 20 °C; x (234.5+25)/254.5 at 25 °C.
	require.InDelta(t, 84, v.Length.Length.Value, 1e-9)
	require.InDelta(t, 33.77, v.Length.Resistance20.Value, 0.02)
	require.InDelta(t, v.Length.Resistance20.Value*259.5/254.5, v.Length.ResistanceAt.Resistance.Value, 1e-3)
	require.Positive(t, v.Length.Mass.Uncertainty)
	require.Empty(t, v.Missing)

	v = lengthView{}
	h.Ask(t, "POST", "/v1/wire-lengths", `{`+wire34+`,"resistance_ohm":33.77,"turns":400}`).JSON(t, &v)
	require.InDelta(t, 210, v.MeanTurnFromResistance.Value, 0.2)
	require.Equal(t, []string{"mean_turn_mm"}, v.Missing)
	require.Equal(t, "temperature_c", v.Assumed[0].Field)

	v = lengthView{}
	h.Ask(t, "POST", "/v1/wire-lengths", `{`+wire34+`,"mass_g":32.03,"resistance_ohm":33.77,"mean_turn_mm":210}`).JSON(t, &v)
	require.InDelta(t, 400, v.TurnsFromMass.Value, 1)
	require.InDelta(t, 400, v.TurnsFromResistance.Value, 1)

	// What was taken for an uncertainty that nobody stated is said, and so is bare copper; what was stated is not.
	fields := func(body string) []string {
		var v lengthView
		h.Ask(t, "POST", "/v1/wire-lengths", `{`+wire34+`,`+body+`}`).JSON(t, &v)
		return each(v.Assumed, func(a assumedView) string { return a.Field })
	}
	require.Equal(t, []string{"temperature_c", "mass_state", "mean_turn_mm.uncertainty", "mass_g.uncertainty", "resistance_ohm.uncertainty"}, each(v.Assumed, func(a assumedView) string { return a.Field }))
	require.InDelta(t, 2.1, v.Assumed[2].Value, 1e-9)
	require.Empty(t, fields(`"turns":400,"mean_turn_mm":{"value":210,"uncertainty":2},"temperature_c":25`))
	require.Empty(t, fields(`"mass_g":{"value":32,"resolution":0.1},"mass_state":"bare","mean_turn_mm":{"value":210,"uncertainty":2}`))
	require.Equal(t, []string{"mean_turn_mm.uncertainty"}, fields(`"turns":400,"mean_turn_mm":210,"temperature_c":25`))
}

func TestLengthHostile(t *testing.T) {
	t.Parallel()
	h := newHost(t, seeded(t))
	const at = "/v1/wire-lengths"
	with := func(rest string) string { return `{"wires":[` + swg34 + `],` + rest + `}` }
	refuse(t, h, append(brokenBodies(at, "wires"),
		post(at, `{}`, 400, jsonin.CodeRequired, "/wires"),
		post(at, `{"wires":[]}`, 400, jsonin.CodeTooFewItems, "/wires"),
		post(at, `{"wires":[`+swg34+`]}`, 422, jsonin.CodeRequired, ""),
		post(at, with(`"turns":400`), 422, jsonin.CodeRequired, ""),
		post(at, with(`"turns":0,"mean_turn_mm":210`), 422, jsonin.CodeRange, "/turns"),
		post(at, with(`"turns":-5,"mean_turn_mm":210`), 422, jsonin.CodeRange, "/turns"),
		post(at, with(`"turns":1e9,"mean_turn_mm":210`), 422, jsonin.CodeRange, "/turns"),
		post(at, with(`"turns":"400"`), 400, jsonin.CodeType, "/turns"),
		post(at, with(`"turns":400,"mean_turn_mm":0`), 422, jsonin.CodeRange, "/mean_turn_mm"),
		post(at, with(`"turns":400,"mean_turn_mm":{"value":"a"}`), 400, jsonin.CodeType, "/mean_turn_mm/value"),
		post(at, with(`"turns":400,"mean_turn_mm":{}`), 400, jsonin.CodeRequired, "/mean_turn_mm/value"),
		post(at, with(`"mass_g":1,"mean_turn_mm":10,"mass_state":"wet"`), 400, jsonin.CodeValue, "/mass_state"),
		post(at, with(`"mass_g":1,"mean_turn_mm":10,"mass_state":"enamelled"`), 422, wire.CodeBadBuild, "/wires/0/build"),
		post(at, with(`"resistance_ohm":1,"turns":10,"temperature_c":301`), 422, jsonin.CodeRange, "/temperature_c"),
		post(at, `{"wires":[`+swg34+`,{"system":"swg","size":"34","conductor":"aluminium","strands":1}],"turns":1,"mean_turn_mm":1}`, 422, wire.CodeBadConductor, "/wires/1/conductor"),
		post(at, `{"wires":[{"system":"swg","size":"34","diameter_mm":0.9,"conductor":"copper","strands":1}],"turns":1,"mean_turn_mm":1}`, 422, wire.CodeContradiction, "/wires/0/diameter_mm"),
		post(at, `{"wires":[{"system":"swg","size":"77","conductor":"copper","strands":1}],"turns":1,"mean_turn_mm":1}`, 422, wire.CodeUnknownSize, "/wires/0/size"),
	))
	// Size - 1, size, size + 1 of a single question.
	for size, status := range map[int]int{bodyMax - 1: http.StatusOK, bodyMax: http.StatusOK, bodyMax + 1: http.StatusRequestEntityTooLarge} {
		body := with(`"turns":400,"mean_turn_mm":210`)
		require.Equal(t, status, h.Ask(t, "POST", at, body+strings.Repeat(" ", size-len(body))).StatusCode, size)
	}
}
