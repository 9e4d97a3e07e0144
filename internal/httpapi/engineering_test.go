package httpapi

import (
	"net/http"
	"strings"
	"testing"

	"statorbook/internal/jsonin"
	"statorbook/internal/wire"

	"github.com/stretchr/testify/require"
)

const (
	core24   = `{"phases":1,"rotor_position":"inside","slots":24,"gap_diameter_mm":70,"back_diameter_mm":130,"stack_length_mm":60,"tooth_width_mm":4.2,"slot_depth_mm":15,"back_iron_mm":15,"slot_area_mm2":70,"slot_area_basis":"net"}`
	wire710  = `{"system":"metric","size":"0.710","conductor":"copper","build":"grade_2","strands":1}`
	scheme4  = `{"poles":4,"coil_sets":[{"role":"main","pattern":{"kind":"concentric","throws":[6,4],"turns":[60,40],"groups":4,"alternate":true},"wires":[` + wire710 + `]}]}`
	plate230 = `{"voltage_v":230,"frequency_hz":50,"connection":"single"}`
)

// schemeOf is scheme4 with one coil set of the given members.
func schemeOf(set string) string { return `{"poles":4,"coil_sets":[{"role":"main",` + set + `}]}` }

func TestAnalysis(t *testing.T) {
	t.Parallel()
	h := newHost(t, seeded(t))
	a := h.Ask(t, "POST", "/v1/winding-analyses", `{"core":`+core24+`,"nameplate":{"voltage_v":230,"frequency_hz":50,"current_a":3.2,"speed_rpm":1420,"connection":"single"},"scheme":`+scheme4+`}`)
	require.Equal(t, http.StatusOK, a.StatusCode, "%s", a.text)
	require.InDelta(t, 400, a.Number(t, "roles", 0, "series_turns"), 0)
	// 24 slots, 4 poles: a coil of span 5 has kp = sin(75°), one of span 3 sin(45°).
	require.InDelta(t, (60*0.9659258+40*0.7071068)/100, a.Number(t, "roles", 0, "winding_factor"), 1e-5)
	require.InDelta(t, 1500, a.Number(t, "speed", "synchronous_rpm"), 0)
	require.Len(t, a.List(t, "slots"), 24)
	require.NotEmpty(t, a.List(t, "fill"))
	require.Positive(t, a.Number(t, "densities", "back_iron_t"))
	require.NotEmpty(t, a.At(t, "methods"))
	for figure := range a.At(t, "methods").(map[string]any) {
		require.NotEmpty(t, a.At(t, "methods", figure, "method"), figure)
	}
}

// What can be computed is computed, and missing lists what the rest lacks.
func TestAnalysisPartial(t *testing.T) {
	t.Parallel()
	h := newHost(t, seeded(t))
	a := h.Ask(t, "POST", "/v1/winding-analyses", `{"core":{"slots":24},"scheme":`+scheme4+`}`)
	require.Equal(t, http.StatusOK, a.StatusCode, "%s", a.text)
	require.NotEmpty(t, a.List(t, "missing"))
	require.Nil(t, a.At(t, "flux_per_pole_mwb"))
	require.Positive(t, a.Number(t, "roles", 0, "winding_factor"))
}

func TestAnalysisHostile(t *testing.T) {
	t.Parallel()
	h := newHost(t, seeded(t))
	const at = "/v1/winding-analyses"
	on := func(core, scheme string) string { return `{"core":` + core + `,"scheme":` + scheme + `}` }
	with := func(set string) string { return on(core24, schemeOf(set)) }
	wires := `"wires":[` + wire710 + `]`
	refuse(t, h, append(brokenBodies(at, "scheme"),
		post(at, `{}`, 400, jsonin.CodeRequired, "/scheme"),
		post(at, `{"scheme":{}}`, 422, "NO_COIL_SETS", "/scheme/coil_sets"),
		post(at, `{"scheme":{"coil_sets":[]}}`, 422, "NO_COIL_SETS", "/scheme/coil_sets"),
		post(at, `{"scheme":{"coil_sets":[{}]}}`, 400, jsonin.CodeRequired, "*"),
		post(at, with(wires), 400, jsonin.CodeRequired, "/scheme/coil_sets/0/pattern"),
		post(at, with(wires+`,"coils":[{"in":1,"out":6,"turns":5}],"pattern":{"kind":"lap"}`), 400, jsonin.CodeConflict, "/scheme/coil_sets/0/pattern"),
		post(at, with(wires+`,"coils":[{"in":1,"out":25,"turns":5}]`), 422, "SLOT_OUT_OF_RANGE", "/scheme/coil_sets/0/coils/0/out"),
		post(at, with(wires+`,"coils":[{"in":0,"out":6,"turns":5}]`), 422, jsonin.CodeRange, "/scheme/coil_sets/0/coils/0/in"),
		post(at, with(wires+`,"coils":[{"in":3,"out":3,"turns":5}]`), 422, "SAME_SLOT_TWICE", "*"),
		post(at, with(wires+`,"coils":[{"in":1,"out":6,"turns":0}]`), 422, "ZERO_TURNS", "/scheme/coil_sets/0/coils/0/turns"),
		post(at, with(wires+`,"pattern":{"kind":"concentric","throws":[6],"turns":[0],"groups":4}`), 422, "ZERO_TURNS", "/scheme/coil_sets/0/pattern/turns/0"),
		post(at, with(wires+`,"coils":[{"in":1,"out":6,"turns":-5}]`), 422, jsonin.CodeRange, "/scheme/coil_sets/0/coils/0/turns"),
		post(at, with(wires+`,"coils":[{"in":1,"out":6}]`), 400, jsonin.CodeRequired, "/scheme/coil_sets/0/coils/0/turns"),
		post(at, with(wires+`,"coils":[{"in":1.5,"out":6,"turns":5}]`), 400, jsonin.CodeInteger, "/scheme/coil_sets/0/coils/0/in"),
		post(at, with(wires+`,"pattern":{"kind":"concentric","throws":[50],"turns":[60],"groups":4}`), 422, "THROW_IMPOSSIBLE", "/scheme/coil_sets/0/pattern/throws/0"),
		post(at, with(wires+`,"pattern":{"kind":"basket","throws":[6],"turns":[60],"groups":4}`), 400, jsonin.CodeValue, "/scheme/coil_sets/0/pattern/kind"),
		post(at, with(wires+`,"pattern":{"kind":"concentric","throws":[],"turns":[60],"groups":4}`), 422, "THROWS_MISSING", "/scheme/coil_sets/0/pattern/throws"),
		post(at, with(wires+`,"pattern":{"kind":"concentric","throws":[6],"turns":[60,40],"groups":4}`), 422, "TURNS_COUNT", "/scheme/coil_sets/0/pattern/turns"),
		post(at, with(wires+`,"parallel_paths":3,"pattern":{"kind":"concentric","throws":[6],"turns":[60],"groups":4,"alternate":true}`), 422, "PATHS_IMPOSSIBLE", "/scheme/coil_sets/0/parallel_paths"),
		post(at, with(wires+`,"ring":"back","coils":[{"in":1,"out":6,"turns":5}]`), 422, "NO_SECOND_RING", "/scheme/coil_sets/0/ring"),
		post(at, with(wires+`,"ring":"outer"`), 400, jsonin.CodeValue, "/scheme/coil_sets/0/ring"),
		post(at, with(`"wires":[{"system":"awg","size":"99","conductor":"copper","strands":1}],"coils":[{"in":1,"out":6,"turns":5}]`), 422, wire.CodeUnknownSize, "/scheme/coil_sets/0/wires/0"),
		post(at, with(`"wires":[{"size":"20","conductor":"copper","strands":1}],"coils":[{"in":1,"out":6,"turns":5}]`), 422, wire.CodeAmbiguousSize, "*"),
		post(at, `{"core":{"slots":0},"scheme":`+scheme4+`}`, 422, jsonin.CodeRange, "/core/slots"),
		post(at, `{"core":{"rotor_position":"inside","gap_diameter_mm":130,"back_diameter_mm":70},"scheme":`+scheme4+`}`, 422, "GAP_ON_WRONG_SIDE", "/core/gap_diameter_mm"),
		post(at, `{"core":{"rotor_position":"outside","gap_diameter_mm":70,"back_diameter_mm":130},"scheme":`+scheme4+`}`, 422, "GAP_ON_WRONG_SIDE", "/core/gap_diameter_mm"),
		post(at, `{"core":{"slots":24,"gap_diameter_mm":70,"tooth_width_mm":20},"scheme":`+scheme4+`}`, 422, "TEETH_WIDER_THAN_PITCH", "/core/tooth_width_mm"),
		post(at, `{"core":{"slots":24},"nameplate":{"speed_rpm":-1},"scheme":`+scheme4+`}`, 422, jsonin.CodeRange, "/nameplate/speed_rpm"),
		post(at, `{"core":{"slots":24},"supply":{"voltage_v":1e9},"scheme":`+scheme4+`}`, 422, jsonin.CodeRange, "/supply/voltage_v"),
		post(at, `{"core":{"slots":24},"scheme":{"poles":3,"coil_sets":[{"role":"main",`+wires+`,"coils":[{"in":1,"out":6,"turns":5}]}]}}`, 422, "POLES_IMPOSSIBLE", "/scheme/poles"),
		post(at, `{"core":{"slots":24},"scheme":{"poles":4,"coil_sets":[{"role":"phase_u",`+wires+`,"coils":[{"in":1,"out":6,"turns":5}]},{"role":"main",`+wires+`,"coils":[{"in":2,"out":7,"turns":5}]}]}}`, 422, "ROLES_MIXED", "/scheme/coil_sets"),
		post(at, `{"core":{"slots":24},"scheme":{"coil_sets":[`+strings.TrimSuffix(strings.Repeat(`{"role":"main",`+wires+`},`, 25), ",")+`]}}`, 413, jsonin.CodeTooManyItems, "/scheme/coil_sets"),
	))
}

func TestChange(t *testing.T) {
	t.Parallel()
	h := newHost(t, seeded(t))
	a := h.Ask(t, "POST", "/v1/winding-changes", `{"core":`+core24+`,"nameplate":`+plate230+`,"scheme":`+scheme4+`,"change":{"voltage_v":115}}`)
	require.Equal(t, http.StatusOK, a.StatusCode, "%s", a.text)
	// Half the volts: half the turns.
	require.InDelta(t, 30, a.Number(t, "scheme", "coil_sets", 0, "pattern", "turns", 0), 0)
	require.InDelta(t, 20, a.Number(t, "scheme", "coil_sets", 0, "pattern", "turns", 1), 0)
	require.InDelta(t, 115, a.Number(t, "nameplate", "voltage_v"), 0)
	require.NotEmpty(t, a.List(t, "basis"))
	require.NotEmpty(t, a.List(t, "cautions"))
	require.NotEmpty(t, a.List(t, "table"))
	require.InDelta(t, a.Number(t, "before", "densities", "gap_t"), a.Number(t, "after", "densities", "gap_t"), 0.01)
	require.Equal(t, "estimated", a.At(t, "status"))

	// Without a core there is no before and after.
	a = h.Ask(t, "POST", "/v1/winding-changes", `{"nameplate":`+plate230+`,"scheme":`+scheme4+`,"change":{"frequency_hz":60,"strands":2}}`)
	require.Equal(t, http.StatusOK, a.StatusCode, "%s", a.text)
	require.Nil(t, a.At(t, "before"))
}

func TestChangeHostile(t *testing.T) {
	t.Parallel()
	h := newHost(t, seeded(t))
	const at = "/v1/winding-changes"
	with := func(change string) string {
		return `{"core":` + core24 + `,"nameplate":` + plate230 + `,"scheme":` + scheme4 + `,"change":{` + change + `}}`
	}
	refuse(t, h, append(brokenBodies(at, "change"),
		post(at, `{}`, 400, jsonin.CodeRequired, "*"),
		post(at, `{"scheme":`+scheme4+`}`, 400, jsonin.CodeRequired, "/change"),
		post(at, `{"scheme":`+scheme4+`,"change":{"voltage_v":115}}`, 422, "MISSING", "/nameplate/voltage_v"),
		post(at, `{"scheme":`+scheme4+`,"nameplate":{},"change":{"connection":"star"}}`, 422, "MISSING", "/nameplate/connection"),
		post(at, with(`"voltage_v":0`), 422, jsonin.CodeRange, "/change/voltage_v"),
		post(at, with(`"voltage_v":"115"`), 400, jsonin.CodeType, "/change/voltage_v"),
		post(at, with(`"volts":115`), 400, jsonin.CodeUnknown, "/change/volts"),
		post(at, with(`"frequency_hz":1e6`), 422, jsonin.CodeRange, "/change/frequency_hz"),
		post(at, with(`"connection":"delta"`), 422, "CONNECTION_IMPOSSIBLE", "/change/connection"),
		post(at, with(`"connection":"zigzag"`), 400, jsonin.CodeValue, "/change/connection"),
		post(at, with(`"parallel_paths":0`), 422, jsonin.CodeRange, "/change/parallel_paths"),
		post(at, with(`"parallel_paths":3`), 422, "PATHS_IMPOSSIBLE", "*"),
		post(at, with(`"conductor":"steel"`), 400, jsonin.CodeValue, "/change/conductor"),
		post(at, with(`"strands":9`), 422, jsonin.CodeRange, "/change/strands"),
		post(at, with(`"span":0`), 422, jsonin.CodeRange, "/change/span"),
		post(at, with(`"span":300`), 422, "THROW_IMPOSSIBLE", "/scheme/coil_sets/0/pattern/throws/0"),
		post(at, with(`"poles":2`), 422, "MISSING", "/change/pattern"),
		post(at, with(`"poles":2,"pattern":{"kind":"concentric","throws":[12,10],"turns":[60,40],"groups":2,"alternate":true}`), 422, "BACK_IRON_TOO_THIN", "/change/poles"),
		post(at, with(`"stack_length_mm":-5`), 422, jsonin.CodeRange, "/change/stack_length_mm"),
		post(at, with(`"core":{"slots":36,"gap_diameter_mm":70,"stack_length_mm":60}`), 422, "SLOTS_DIFFER", "/change/core/slots"),
		post(at, with(`"wires":[{"system":"awg","size":"99","conductor":"copper","strands":1}]`), 422, wire.CodeUnknownSize, "/change/wires/0/size"),
		post(at, with(`"wires":[{"system":"awg","size":"20","diameter_mm":1.2,"conductor":"copper","strands":1}]`), 422, wire.CodeContradiction, "/change/wires/0/diameter_mm"),
		post(at, strings.TrimSuffix(with(`"voltage_v":115`), "}")+`,"stock":[`+swg34+`,{"size":"12","conductor":"copper","strands":1}]}`, 422, wire.CodeAmbiguousSize, "/stock/1/system"),
		post(at, with(`"wires":[{"system":"awg","size":"20"}]`), 400, jsonin.CodeRequired, "*"),
	))
}
