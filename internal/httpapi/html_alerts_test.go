package httpapi_test

import (
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
		require.Contains(t, text, "Gap diameter: you gave 543, and 54.3 was taken", at)
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
