package httpapi_test

import (
	"encoding/base64"
	"html"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// A core of no family in the demo set: wide slots that its readings make too small for the wire proposed.
const strangeCore = "rotor_position=inside&phases=1&slots=20&gap_diameter_mm=90&back_diameter_mm=160&stack_length_mm=100&tooth_width_mm=6&slot_depth_mm=18&supply.frequency_hz=50"

// What could hurt who winds a proposal stands before its coils, on the screen and on paper: what it is
// for, that it is likelier wrong than right, that it does not fit, and every warning.
func TestAlertsStandBeforeTheCoils(t *testing.T) {
	t.Parallel()
	s := openShop(t)
	for _, at := range []string{"/find/winding?", "/find/sheet?"} {
		text := page(t, s, at+strangeCore+"&supply.voltage_v=230", 200).Text()
		before, _, found := strings.Cut(text, `class="set"`)
		require.True(t, found, at)
		for _, said := range []string{"Wound for: 230 V, 50 Hz, one phase, 2 poles.", "It is likelier that another winding was in this core", "This wire needs more room than the slots have", "<b>Warning</b> Fill, copper of"} {
			require.Contains(t, before, said, at)
		}
		require.NotContains(t, text, "Nobody told the voltage", at)
		require.Contains(t, page(t, s, at+strangeCore, 200).Text(), "Nobody told the voltage", at)
		require.Equal(t, 1, strings.Count(text, "Fill, copper of"), "%s: each finding once", at)
	}
	text := page(t, s, "/find?"+strangeCore+"&supply.voltage_v=230", 200).Text()
	require.Contains(t, text, "This wire needs more room than the slots have")
	require.Contains(t, text, "Warnings: 3.")
	likely := page(t, s, "/find/sheet?"+readings(s), 200).Text()
	require.NotContains(t, likely, "It is likelier that another winding")
}

// A reading that was taken for another one is told where the figures rest on it, and what was not measured is marked.
func TestSheetTellsWhatWasMeasured(t *testing.T) {
	t.Parallel()
	s := openShop(t)
	const asked = "rotor_position=inside&phases=1&slots=24&gap_diameter_mm=543&back_diameter_mm=93.4&stack_length_mm=27&tooth_width_mm=3.6&supply.voltage_v=230&supply.frequency_hz=50"
	for _, at := range []string{"/find/winding?", "/find/sheet?"} {
		text := page(t, s, at+asked, 200).Text()
		require.Contains(t, text, "Gap diameter: you gave 543 mm, and 54.3 mm was taken", at)
		require.NotContains(t, text, "Back diameter: you gave", at)
		require.Contains(t, text, "<td>54.3 mm</td>", at)
		require.Contains(t, text, "<td>93.4 mm</td>", at)
		require.Regexp(t, `Slot depth</th><td>[0-9.]+ mm \*</td>`, text, at)
	}
}

// A record says what it is for; no test says that there is no limit, which could be read as leave; every sheet of paper says whose it is.
func TestSheetOfARecord(t *testing.T) {
	t.Parallel()
	s := openShop(t)
	for _, w := range s.demo.Windings[:20] {
		for _, at := range []string{"", "/sheet"} {
			text := page(t, s, "/windings/"+w.Slug+at, 200).Text()
			require.Regexp(t, `Wound for: [0-9]+ V, [56]0 Hz, (one phase|single phase), [0-9]+ poles\.`, text, w.Slug)
			require.NotContains(t, text, "no limit<", w.Slug)
			require.NotContains(t, text, "No limit:", w.Slug)
		}
		sheet := page(t, s, "/windings/"+w.Slug+"/sheet", 200).Text()
		require.Equal(t, 2, strings.Count(sheet, `<p class="onpaper"><b>`+w.Slug), w.Slug)
		require.Contains(t, sheet, "Goes to", w.Slug)
	}
}

// asides are the parts of a page that nobody reads: tags with their attributes.
var asides = regexp.MustCompile(`(?s)<dl id="words".*?</dl>|<[^>]*>`)

// internalName is a name of the contract, a place in a list or the id of a record.
var internalName = regexp.MustCompile(`\b[a-z]+(?:_[a-z0-9]+)+\b|\[[0-9]+\]|\b[0-9a-f]{8}-[0-9a-f]{4}-|\b[a-z]+\.[a-z]+_`)

// pictureText finds the drawings of a page.
var pictureText = regexp.MustCompile(`data:image/svg&#43;xml;base64,([^"]+)"`)

// No page for the bench speaks in the names of the contract or in ids, its drawings included.
func TestPagesSpeakForPeople(t *testing.T) {
	t.Parallel()
	s := openShop(t)
	targets := []string{"/find?slots=24&rotor_position=inside", "/find?" + strangeCore, "/find/winding?" + strangeCore, "/find/sheet?" + strangeCore,
		"/find?rotor_position=inside&phases=1&slots=24&gap_diameter_mm=543&back_diameter_mm=93.4", "/find?rotor_position=inside&phases=3&slots=36&gap_diameter_mm=80&stack_length_mm=80",
		"/find/winding?rotor_position=inside&phases=3&slots=36&gap_diameter_mm=80&stack_length_mm=80"}
	for i, w := range s.demo.Windings {
		if i%9 == 0 {
			targets = append(targets, "/windings/"+w.Slug, "/windings/"+w.Slug+"/sheet")
		}
	}
	for route, target := range pagesShown(s) {
		if route != "/vetting-desk" && route != "/data-sheet" {
			targets = append(targets, target)
		}
	}
	for _, target := range targets {
		text := page(t, s, target, 200).Text()
		require.Empty(t, internalName.FindAllString(asides.ReplaceAllString(text, " "), -1), target)
		for _, m := range pictureText.FindAllStringSubmatch(text, -1) {
			svg, err := base64.StdEncoding.DecodeString(html.UnescapeString(m[1]))
			require.NoError(t, err)
			require.Empty(t, internalName.FindAllString(asides.ReplaceAllString(string(svg), " "), -1), target)
		}
	}
}

// What was given is told as people write it: a choice by its words, a figure with its unit, a count never as a choice.
func TestGivenIsToldWithItsUnit(t *testing.T) {
	t.Parallel()
	s := openShop(t)
	text := page(t, s, "/find?slots=24&rotor_position=inside&supply.voltage_v=230&nameplate.speed_taps=3&phases=1&remains.wires.0.diameter_mm=0.3&remains.wires.0.strands=1", 200).Text()
	given := text[strings.Index(text, "What you gave"):]
	for _, row := range []string{"Voltage on site</th><td>230 V<", "Plate: speed taps</th><td>3<", "Scrap of wire 1: strands in hand</th><td>1<", "Phases</th><td>one phase<", "The rotor turns</th><td>inside the stator<"} {
		require.Contains(t, given, row)
	}
}

// What to measure next comes before windings that are likelier wrong than right, and a certainty is never told as 1.
func TestMeasureBeforeGuesses(t *testing.T) {
	t.Parallel()
	s := openShop(t)
	text := page(t, s, "/find?slots=24&rotor_position=inside", 200).Text()
	require.Less(t, strings.Index(text, "What to measure next"), strings.Index(text, "Windings to try"))
	require.Contains(t, text, "None of these is likelier right than wrong")
	none := page(t, s, "/find?"+strangeCore+"&supply.voltage_v=230", 200).Text()
	require.NotContains(t, none, "probability of 1.000")
	require.Contains(t, none, "This core is not in the catalogue: virtually certain, &gt; 99.9 %.")
	require.Contains(t, none, "Each one more narrows the estimate")
	require.Greater(t, strings.Index(none, "What to measure next"), strings.Index(none, "Windings to try"))
}

// The one coat of enamel of a NEMA build is no single phase.
func TestBuildsAreNoPhases(t *testing.T) {
	t.Parallel()
	s := openShop(t)
	for _, target := range []string{"/wires?system=awg&size=28", "/wires/scrap?readings.0.diameter_mm=0.36&surface=over_enamel", "/wires/replace?from.system=awg&from.size=28&from.build=single"} {
		text := page(t, s, target, 200).Text()
		require.NotContains(t, text, "single phase", target)
	}
	require.Contains(t, page(t, s, "/wires/scrap?readings.0.diameter_mm=0.36&surface=over_enamel", 200).Text(), "<li>AWG 28 · SWG 30</li>")
}

// A withstand voltage is what is applied, never "at least" that: more would break the winding, or worse.
func TestWithstandVoltageIsNoLeast(t *testing.T) {
	t.Parallel()
	s := openShop(t)
	for _, at := range []string{"/find/winding?", "/find/sheet?"} {
		text := page(t, s, at+strangeCore+"&supply.voltage_v=230", 200).Text()
		_, limit, found := strings.Cut(text, "AC withstand voltage, 60 s without breakdown</b>")
		require.True(t, found)
		require.Regexp(t, `^:? 1500 V, no more `, limit, at)
	}
}

// The first page warns before it asks anybody to measure, and asks for speed in r/min, as plates do (common practice, no source).
func TestFirstPageWarns(t *testing.T) {
	t.Parallel()
	s := openShop(t)
	for _, target := range []string{"/", "/find?slots=14&edit=1", "/find?slots=x"} {
		text := s.Send("GET", target, "", asBrowser).Text()
		require.Less(t, strings.Index(text, "proved dead, capacitor discharged"), strings.Index(text, `name="slots"`), target)
		require.Contains(t, text, `<span class="unit">r/min</span>`, target)
	}
}

// A winding for another voltage than that on site says so on its card, its page and its sheet.
func TestWindingForAnotherSupply(t *testing.T) {
	t.Parallel()
	s := openShop(t)
	const core = "rotor_position=inside&phases=1&slots=24&gap_diameter_mm=54.3&back_diameter_mm=93.4&stack_length_mm=27&tooth_width_mm=3.6&supply.frequency_hz=50&supply.voltage_v="
	for volts, told := range map[string]bool{"400": true, "24": true, "230": false, "240": false} {
		for _, at := range []string{"/find?", "/find/winding?", "/find/sheet?"} {
			text := page(t, s, at+core+volts, 200).Text()
			require.Contains(t, text, "Wound for: ", volts)
			require.Equal(t, told, strings.Contains(text, "Not for the "+volts+" V that you gave"), "%s%s", at, volts)
		}
	}
}
