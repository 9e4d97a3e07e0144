package httpapi

import (
	"slices"
	"testing"

	"statorbook/internal/jsonin"

	"github.com/stretchr/testify/require"
)

// verdictOn is a session on a stator with the given readings; 1180 mm and the like are the check's business, not this one's.
func verdictOn(readings string) string {
	return `{"core":` + core24 + `,"scheme":` + scheme4 + `,"nameplate":` + plate230 + `,"application":"pump","ambient_c":20,"readings":[` + readings + `]}`
}

func TestVerdictHostile(t *testing.T) {
	t.Parallel()
	h := newHost(t, seeded(t))
	const at = "/v1/test-verdicts"
	growler := `"readings":[{"test":"growler","count":0}]`
	refuse(t, h, append(brokenBodies(at, "readings"),
		post(at, `{`+growler+`}`, 400, jsonin.CodeRequired, "/ambient_c"),
		post(at, `{"ambient_c":20}`, 400, jsonin.CodeRequired, "/readings"),
		post(at, `{"ambient_c":20,`+growler+`}`, 400, jsonin.CodeRequired, "/winding_id"),
		post(at, `{"core":`+core24+`,"ambient_c":20,`+growler+`}`, 400, jsonin.CodeRequired, "/winding_id"),
		post(at, `{"winding_id":"demo-x","core":`+core24+`,"scheme":`+scheme4+`,"ambient_c":20,`+growler+`}`, 400, jsonin.CodeRequired, "/winding_id"),
		post(at, `{"winding_id":"A B","ambient_c":20,`+growler+`}`, 400, jsonin.CodeFormat, "/winding_id"),
		post(at, `{"ambient_c":200,`+growler+`}`, 422, jsonin.CodeRange, "/ambient_c"),
		post(at, `{"ambient_c":"20",`+growler+`}`, 400, jsonin.CodeType, "/ambient_c"),
		post(at, `{"ambient_c":20,"extent":"new",`+growler+`}`, 400, jsonin.CodeValue, "/extent"),
		post(at, `{"ambient_c":20,"application":"drill",`+growler+`}`, 400, jsonin.CodeValue, "/application"),
		post(at, `{"ambient_c":20,"class_ii":"no",`+growler+`}`, 400, jsonin.CodeType, "/class_ii"),
		post(at, verdictOn(``), 400, jsonin.CodeTooFewItems, "/readings"),
		post(at, verdictOn(`{}`), 400, jsonin.CodeRequired, "/readings/0/test"),
		post(at, verdictOn(`{"test":"smoke"}`), 400, jsonin.CodeValue, "/readings/0/test"),
		post(at, verdictOn(`{"test":"growler","Count":0}`), 400, jsonin.CodeWrongCase, "/readings/0/Count"),
		post(at, verdictOn(`{"test":"growler","counts":0}`), 400, jsonin.CodeUnknown, "/readings/0/counts"),
		post(at, verdictOn(`{"test":"growler","count":1.5}`), 400, jsonin.CodeInteger, "/readings/0/count"),
		post(at, verdictOn(`{"test":"growler","count":-1}`), 422, jsonin.CodeRange, "/readings/0/count"),
		post(at, verdictOn(`{"test":"growler"}`), 422, "MISSING", "/readings/0/count"),
		post(at, verdictOn(`{"test":"polarity","count":4}`), 422, "MISSING", "/readings/0/ok"),
		post(at, verdictOn(`{"test":"winding_resistance","ohms":[3]}`), 422, "MISSING", "/readings/0/role"),
		post(at, verdictOn(`{"test":"winding_resistance","role":"main"}`), 422, "MISSING", "/readings/0/ohms"),
		post(at, verdictOn(`{"test":"auxiliary_over_main","ohms":[0,3]}`), 422, "OUT_OF_RANGE", "/readings/0/ohms/0"),
		post(at, verdictOn(`{"test":"capacitor","uf":2.5,"megohm":3}`), 422, "NOT_USED", "/readings/0/megohm"),
		post(at, `{"winding_id":"demo-air-cooler-01-a","scheme":`+scheme4+`,"ambient_c":20,`+growler+`}`, 400, jsonin.CodeRequired, "/winding_id"),
		post(at, `{"winding_id":"demo-air-cooler-01-a","core":`+core24+`,"ambient_c":20,`+growler+`}`, 400, jsonin.CodeRequired, "/winding_id"),
		post(at, verdictOn(`{"test":"winding_resistance","role":"main","ohms":[1e400]}`), 400, jsonin.CodeOverflow, "/readings/0/ohms/0"),
		post(at, verdictOn(`{"test":"winding_resistance","role":"main","ohms":3}`), 400, jsonin.CodeType, "/readings/0/ohms"),
		post(at, verdictOn(`{"test":"winding_resistance","role":"rotor","ohms":[3]}`), 400, jsonin.CodeValue, "/readings/0/role"),
		post(at, verdictOn(`{"test":"insulation_resistance"}`), 422, "MISSING", "/readings/0/megohm"),
		post(at, verdictOn(`{"test":"no_load","amps":[1,2]}`), 422, "MISSING", "/readings/0/amps"),
	))
}

// checkOn is a sheet with the given core and scheme.
func checkOn(core, scheme string) string {
	return `{"core_as_measured":` + core + `,"nameplate":` + plate230 + `,"scheme":` + scheme + `}`
}

// TestCheckHostile wants form refused; what is impossible about a sheet is a finding, not a refusal (contract rule 4).
func TestCheckHostile(t *testing.T) {
	t.Parallel()
	snap, err := demoSnapshot()
	require.NoError(t, err)
	h := newHost(t, Config{Snapshot: func() *Snapshot { return snap }})
	const at = "/v1/winding-checks"
	refuse(t, h, append(brokenBodies(at, "scheme"),
		post(at, `{"core":`+core24+`}`, 400, jsonin.CodeUnknown, "/core"),
		post(at, `{"core_as_measured":24}`, 400, jsonin.CodeType, "/core_as_measured"),
		post(at, `{"core_as_measured":{"slots":0}}`, 422, jsonin.CodeRange, "/core_as_measured/slots"),
		post(at, `{"core_as_measured":{"slots":"24"}}`, 400, jsonin.CodeType, "/core_as_measured/slots"),
		post(at, `{"core_as_measured":{"gap_diameter_mm":-70}}`, 422, jsonin.CodeRange, "/core_as_measured/gap_diameter_mm"),
		post(at, `{"core_as_measured":{"gap_diameter_mm":1e-400}}`, 400, jsonin.CodeUnderflow, "/core_as_measured/gap_diameter_mm"),
		post(at, `{"motor_type":"steam"}`, 400, jsonin.CodeValue, "/motor_type"),
		post(at, `{"origin":"Factory"}`, 400, jsonin.CodeValue, "/origin"),
		post(at, `{"nameplate":{"voltage_v":"230"}}`, 400, jsonin.CodeType, "/nameplate/voltage_v"),
		post(at, checkOn(core24, `{"coil_sets":[{}]}`), 400, jsonin.CodeRequired, "*"),
		post(at, checkOn(core24, schemeOf(`"wires":[{"system":"swg","size":"24","conductor":"gold","strands":1}],"coils":[]`)), 400, jsonin.CodeValue, "/scheme/coil_sets/0/wires/0/conductor"),
		post(at, checkOn(core24, schemeOf(`"wires":[{"system":"swg","size":"24","conductor":"copper","strands":101}],"coils":[{"in":1,"out":6,"turns":5}]`)), 422, jsonin.CodeRange, "/scheme/coil_sets/0/wires/0/strands"),
		post(at, checkOn(core24, schemeOf(`"wires":[{"system":"swg","size":"24","conductor":"copper","strands":0}],"coils":[{"in":1,"out":6,"turns":5}]`)), 422, jsonin.CodeRange, "/scheme/coil_sets/0/wires/0/strands"),
		post(at, `{"nameplate":{"voltage_v":2000000},"core_as_measured":{"slots":0}}`, 422, jsonin.CodeRange, "*"),
		post(at, `{"nameplate":{"voltage_v":0}}`, 422, jsonin.CodeRange, "/nameplate/voltage_v"),
	))
	for name, body := range map[string]string{
		"nameplate.voltage_v":          `{"nameplate":{"voltage_v":2300000},"core_as_measured":` + core24 + `,"scheme":` + scheme4 + `}`,
		"nameplate.power_w":            `{"nameplate":{"voltage_v":230,"power_w":75000000},"core_as_measured":` + core24 + `,"scheme":` + scheme4 + `}`,
		"nameplate.current_a":          `{"nameplate":{"current_a":200000}}`,
		"nameplate.frequency_hz":       `{"nameplate":{"frequency_hz":50000}}`,
		"scheme.coil_sets[0].wires[0]": checkOn(core24, schemeOf(`"wires":[{"system":"swg","size":"24","conductor":"copper","strands":9}],"coils":[{"in":1,"out":6,"turns":5}]`)),
	} {
		a := h.Ask(t, "POST", at, body)
		require.Equal(t, 200, a.StatusCode, "%s: %s", name, a.text)
		require.Equal(t, "impossible", a.At(t, "verdict"), name)
		told := 0
		for _, f := range a.List(t, "findings") {
			if slices.Contains(f.(map[string]any)["fields"].([]any), any(name)) && f.(map[string]any)["severity"] == "error" {
				told++
			}
		}
		require.Equal(t, 1, told, "%s: %s", name, a.text)
	}
	for name, body := range map[string]string{
		"1180 for 118":        checkOn(`{"phases":1,"rotor_position":"inside","slots":24,"gap_diameter_mm":1180,"back_diameter_mm":130}`, scheme4),
		"a slot twice":        checkOn(core24, schemeOf(`"wires":[`+wire710+`],"coils":[{"in":7,"out":7,"turns":5}]`)),
		"a slot out of range": checkOn(core24, schemeOf(`"wires":[`+wire710+`],"coils":[{"in":1,"out":30,"turns":5}]`)),
	} {
		a := h.Ask(t, "POST", at, body)
		require.Equal(t, 200, a.StatusCode, "%s: %s", name, a.text)
		require.Equal(t, "impossible", a.At(t, "verdict"), name)
		require.NotEmpty(t, a.List(t, "findings"), name)
	}
}
