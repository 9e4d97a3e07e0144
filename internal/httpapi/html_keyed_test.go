package httpapi_test

import (
	"html"
	"net/url"
	"regexp"
	"strings"
	"testing"

	"statorbook/internal/httpapi"

	"github.com/stretchr/testify/require"
)

// sheetTyped is the sheet of sheetBody as a person types it, with a count of poles that its groups contradict.
var sheetTyped = url.Values{
	"motor_type": {"permanent_split_capacitor"}, "origin": {"factory"}, "nameplate.voltage_v": {"230"}, "nameplate.frequency_hz": {"50"}, "nameplate.power_w": {"370"},
	"core_as_measured.phases": {"1"}, "core_as_measured.rotor_position": {"inside"}, "core_as_measured.slots": {"24"},
	"core_as_measured.gap_diameter_mm": {"60,50"}, "core_as_measured.stack_length_mm": {"45.0"},
	"scheme.poles": {"6"}, "scheme.coil_sets.1.role": {"main"}, "scheme.coil_sets.1.pattern.kind": {"concentric"}, "scheme.coil_sets.1.pattern.throws": {"6 4"},
	"scheme.coil_sets.1.pattern.turns": {"66; 52"}, "scheme.coil_sets.1.pattern.groups": {"4"}, "scheme.coil_sets.1.pattern.alternate": {"yes"},
	"scheme.coil_sets.1.wires.0.system": {"swg"}, "scheme.coil_sets.1.wires.0.size": {"23"}, "scheme.coil_sets.1.wires.0.conductor": {"copper"}, "scheme.coil_sets.1.wires.0.strands": {"1"},
	"source": {"measured on the bench (demo)"}, "licence": {"CC0-1.0"}, "demo": {"yes"},
}.Encode()

// Without a script the sheet is checked by a plain form: what the operation finds stands at its question, and nothing is stored.
func TestDataSheetSaysWhatTheCheckSays(t *testing.T) {
	t.Parallel()
	s := openShop(t)
	body := strings.Replace(sheetBody(66), `"poles":4`, `"poles":6`, 1)
	said := s.Ask(t, "POST", "/v1/winding-checks", body)
	require.NotEmpty(t, said.List(t, "findings"))
	text := html.UnescapeString(page(t, s, "/data-sheet?"+sheetTyped, 200).Text())
	for i := range said.List(t, "findings") {
		message := said.At(t, "findings", i, "message").(string)
		require.Contains(t, text, httpapi.People(t, message))
	}
	require.Contains(t, text, `href="#f-scheme.`)
	require.Contains(t, text, `value="60,50"`, "what was typed stays")
	require.NotContains(t, page(t, s, "/data-sheet", 200).Text(), "What the check says")
	require.Contains(t, page(t, s, "/data-sheet?source=measured", 200).Text(), "does not prove it right")
}

// What cannot be read is told at its question, in the row that it was typed into.
func TestDataSheetRefuses(t *testing.T) {
	t.Parallel()
	s := openShop(t)
	for target, at := range map[string]string{
		"core_as_measured.slots=many":              "core_as_measured.slots",
		"core_as_measured.gap_diameter_mm=-4":      "core_as_measured.gap_diameter_mm",
		"scheme.coil_sets.2.pattern.turns=66+x":    "scheme.coil_sets.2.pattern.turns",
		"scheme.coil_sets.1.role=helper":           "scheme.coil_sets.1.role",
		"scheme.coil_sets.2.pattern.throws=6+9999": "scheme.coil_sets.2.pattern.throws",
		"family_id=pump":                           "family_id",
	} {
		text := page(t, s, "/data-sheet?"+target, 422).Text()
		require.Contains(t, text, `href="#`+at+`"`, target)
		require.Contains(t, text, `id="`+at+`-fault"`, target)
		require.NotContains(t, text, "What the check says", target)
	}
	for typed, says := range map[string]string{"demo-pump-999": "No published family is called demo-pump-999", "demo pump": "Write the readable name", "../meta": "Write the readable name"} {
		text := page(t, s, "/data-sheet?family_id="+strings.NewReplacer(" ", "+", "/", "%2F").Replace(typed), 422).Text()
		require.Contains(t, text, says, typed)
	}
	for _, typed := range []string{"demo-air-cooler-01", "Demo-Air-Cooler-01", "480b529d-adff-5a5a-8f9d-bbf3696b2224"} {
		require.Contains(t, page(t, s, "/data-sheet?family_id="+typed, 200).Text(), `value="`+typed+`" autocomplete="off" maxlength="100"`, "what was typed stays, and an id has room")
	}
	for _, method := range []string{"POST", "PUT"} {
		require.Equal(t, 405, s.Send(method, "/data-sheet", sheetTyped, asBrowser).StatusCode)
		require.Equal(t, 405, s.Send(method, "/vetting-desk", "", asBrowser).StatusCode)
	}
	require.Contains(t, page(t, s, "/vetting-desk", 200).Text(), "needs JavaScript")
	require.NotContains(t, page(t, s, "/data-sheet", 200).Text(), `name="key"`, "a key that had a name would be sent with the form")
}

// Each question of the data sheet has a label of its own words and says how the figure is got.
func TestDataSheetQuestions(t *testing.T) {
	t.Parallel()
	label, hint := httpapi.SheetQuestions(t)
	require.Greater(t, len(label), 80)
	for name, text := range label {
		require.NotRegexp(t, `_|^[a-z]+$`, text, name)
		if further := regexp.MustCompile(`^(scheme\.coil_sets|leads)\.[1-9]`); further.MatchString(name) {
			require.Empty(t, hint[name], "%s: the first row has said it", name)
		} else if !strings.HasPrefix(name, "nameplate.") {
			require.NotEmpty(t, hint[name], "%s: how is it got?", name)
		}
	}
	require.NotEqual(t, label["scheme.coil_sets.0.wires.0.size"], label["scheme.coil_sets.0.wires.1.size"])
}

// Speed coils and what else a table fan or a two-ring stator needs can be taken down, and no answer is asked for, or
// explained, by a name of the contract.
func TestDataSheetTakesDownSpeedCoils(t *testing.T) {
	t.Parallel()
	s := openShop(t)
	label, hint := httpapi.SheetQuestions(t)
	for _, name := range []string{"nameplate.speed_taps", "scheme.coil_sets.3.tap", "scheme.coil_sets.0.joining", "scheme.coil_sets.0.lead_pair", "scheme.coil_sets.0.wires.0.build",
		"core_as_measured.second_ring.tooth_width_mm", "core_as_measured.second_ring.turned_slots"} {
		require.NotEmpty(t, label[name], name)
	}
	for name, text := range hint {
		require.NotRegexp(t, `write unknown|\bbare if\b|Gap for slots|_`, text, name)
	}
	typed := url.Values{"nameplate.speed_taps": {"3"}, "core_as_measured.second_ring.slots": {"14"}, "core_as_measured.second_ring.tooth_width_mm": {"6.5"}}
	for i, role := range []string{"main", "auxiliary", "speed", "speed"} {
		set := "scheme.coil_sets." + string(rune('0'+i)) + "."
		for name, v := range map[string]string{"role": role, "pattern.kind": "lap", "pattern.throws": "5", "pattern.turns": "120", "pattern.groups": "4", "joining": "end_to_end", "lead_pair": "R-C",
			"wires.0.system": "swg", "wires.0.size": "38", "wires.0.conductor": "copper", "wires.0.build": "grade_1", "wires.0.strands": "1"} {
			typed.Set(set+name, v)
		}
		if role == "speed" {
			typed.Set(set+"tap", string(rune('0'+i-1)))
		}
	}
	require.Contains(t, page(t, s, "/data-sheet?"+typed.Encode(), 200).Text(), "What the check says")
	typed.Del("scheme.coil_sets.3.wires.0.conductor")
	text := page(t, s, "/data-sheet?"+typed.Encode(), 422).Text()
	require.Contains(t, text, `<a href="#scheme.coil_sets.3.wires.0.conductor">Coil set 4: wire: metal</a>: Fill this in too`)
	require.NotContains(t, text, "onductor is needed")
}
