package httpapi_test

import (
	"net/url"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// The core of a demo pump, as a digital calliper shows it.
const pumpCore = "rotor_position=inside&phases=1&slots=24&gap_diameter_mm=66.1&back_diameter_mm=112.9&stack_length_mm=58.3&tooth_width_mm=3.6&slot_depth_mm=14.2&supply.voltage_v=230&supply.frequency_hz=50"

// A machine outside what is answered gets no odds, no "measure next" and no empty list: it is said what stands in the
// way, with its unit, and what to do.
func TestBeyondServiceIsNoSearch(t *testing.T) {
	t.Parallel()
	s := openShop(t)
	for asked, says := range map[string]string{
		"slots=48&phases=3&supply.voltage_v=3300": "Voltage on site of 3300 V is outside the 12 to 690 V that matching answers for",
		"slots=80&supply.voltage_v=400":           "80 slots are outside the 6 to 72 slots of a ring",
		"slots=24&nameplate.power_w=75000":        "Power of 75000 W is outside the 5 to 3000 W",
	} {
		text := page(t, s, "/find?"+asked, 200).Text()
		for _, said := range []string{"Nothing was looked for", says, "If it was mistyped, correct it.", "Change or add readings", "What you gave"} {
			require.Contains(t, text, said, asked)
		}
		for _, silent := range []string{"Windings to try", "What to measure next", "None of these", "virtually certain", "Status of the first proposal", "No single core"} {
			require.NotContains(t, text, silent, asked)
		}
	}
}

// The first line follows the odds: a core that is likely is not told as none, and readings that no core can have are
// told before all that stands on a guess about them.
func TestVerdictFollowsTheOdds(t *testing.T) {
	t.Parallel()
	s := openShop(t)
	const contradict = "The readings contradict each other. Settle that first"
	for asked, says := range map[string]string{
		"rotor_position=inside&phases=1&slots=16&gap_diameter_mm=45.9&back_diameter_mm=80.1&stack_length_mm=20&supply.voltage_v=230&supply.frequency_hz=50":                          "One core of the catalogue stands out, but not for sure: ",
		"with=inch_rule&rotor_position=inside&phases=1&slots=24&gap_diameter_mm=2+39/64&back_diameter_mm=4+7/16&stack_length_mm=1+19/32&supply.voltage_v=230&supply.frequency_hz=50": "The core is probably not in the catalogue, but that is not sure: ",
		"slots=24&stack_length_mm=40": "No single core stands out yet.",
		strings.Replace(pumpCore, "gap_diameter_mm=66.1&back_diameter_mm=112.9", "gap_diameter_mm=113&back_diameter_mm=66", 1): contradict,
	} {
		text := page(t, s, "/find?"+asked, 200).Text()
		require.Contains(t, text, says, asked)
		require.Equal(t, says == contradict, strings.Contains(text, contradict), asked)
		if says == contradict {
			require.Contains(t, text, "whether the two stand in each other&#39;s place")
			require.Equal(t, 1, strings.Count(text, "below the back diameter"), "told once")
			require.Less(t, strings.Index(text, contradict), strings.Index(text, `class="odds"`))
		}
	}
}

// A reading that was taken for another is told as it was typed, with the unit it was read in, and is no longer
// said to lie outside the catalogue.
func TestReadAsInTheUnitOfTheCalliper(t *testing.T) {
	t.Parallel()
	s := openShop(t)
	const asked = "with=inch_digital&rotor_position=inside&phases=1&slots=24&gap_diameter_mm=26.05&back_diameter_mm=4.445&stack_length_mm=2.295&tooth_width_mm=0.142&supply.voltage_v=230"
	for _, at := range []string{"/find?", "/find/winding?"} {
		require.Regexp(t, `Gap diameter: you gave 26\.05 inch[;,] (and )?66\.17 mm \(2\.605 inch\)`, page(t, s, at+asked, 200).Text(), at)
	}
	text := page(t, s, "/find?"+asked, 200).Text()
	require.NotContains(t, text, "while the catalogue reaches")
	require.Contains(t, text, `Gap diameter<span class="unit"> mm</span>`, "the comparison tells its unit")
	require.Contains(t, page(t, s, "/find?rotor_position=inside&phases=1&slots=24&gap_diameter_mm=120&back_diameter_mm=240&stack_length_mm=60", 200).Text(), "Gap diameter: 120 mm, while the catalogue reaches from 44 to 99 mm")
}

// What speaks against winding any proposal is said before them, each only where it holds.
func TestSettleBeforeWinding(t *testing.T) {
	t.Parallel()
	s := openShop(t)
	const volts, taps, stock, kinds = "The plate says 110 V, and you gave 230 V", "The motor has speed taps, and no proposal", "No wire of your stock comes near enough", "The likely records are of different kinds of motor"
	grinder := "rotor_position=inside&phases=1&slots=24&gap_diameter_mm=67.5&back_diameter_mm=113&stack_length_mm=47&supply.voltage_v=230&supply.frequency_hz=50"
	for asked, says := range map[string]string{
		pumpCore: "", grinder: kinds, grinder + "&motor_type=split_phase": "",
		pumpCore + "&nameplate.voltage_v=110": volts, pumpCore + "&nameplate.voltage_v=220": "",
		pumpCore + "&nameplate.speed_taps=3": taps, pumpCore + "&nameplate.speed_taps=0": "",
		pumpCore + "&remains.coils.1.turns=90&remains.coils.1.role=speed": taps,
		pumpCore + "&stock=" + url.QueryEscape("al 0.05"):                 stock,
		pumpCore + "&stock=" + url.QueryEscape("0.45, 0.30"):              "",
	} {
		text := page(t, s, "/find?"+asked, 200).Text()
		for _, notice := range []string{volts, taps, stock, kinds} {
			require.Equal(t, notice == says, strings.Contains(text, notice), "%s: %s", asked, notice)
		}
		if says == volts || says == taps {
			require.Contains(t, page(t, s, "/find/sheet?"+asked, 200).Text(), says, asked)
		}
	}
	star := "rotor_position=inside&phases=3&slots=36&gap_diameter_mm=93&back_diameter_mm=150.5&stack_length_mm=85&supply.voltage_v=400&supply.connection=star&nameplate.voltage_v=230"
	require.NotContains(t, page(t, s, "/find?"+star, 200).Text(), "The plate says", "230 V in delta is 400 V in star")
}

// A scrap that fits another proposal is told at those that it does not fit, with the row that it was typed in.
func TestProposalThatTheScrapDoesNotFit(t *testing.T) {
	t.Parallel()
	s := openShop(t)
	asked := pumpCore + "&remains.wires.1.diameter_mm=0.62&remains.wires.1.coating=over_enamel&remains.wires.1.condition=burnt&remains.wires.1.role=main"
	const said = "Scrap of wire 2: wire diameter: you gave 0.62 mm, while this winding has 0.45 mm."
	require.Contains(t, page(t, s, "/find?"+asked, 200).Text(), said)
	require.Contains(t, page(t, s, "/find/winding?"+asked, 200).Text(), said)
	fits := strings.Replace(asked, "0.62", "0.50", 1)
	require.NotContains(t, page(t, s, "/find?"+fits, 200).Text(), "while this winding has")
}

// Remains that were read in another way are told once, in the row that they were typed in, and not also as what fits
// no proposal; what has no better reading is still warned of.
func TestRemainsReadInAnotherWay(t *testing.T) {
	t.Parallel()
	s := openShop(t)
	grinder := "rotor_position=inside&phases=1&slots=24&gap_diameter_mm=67.5&back_diameter_mm=113&stack_length_mm=47&supply.voltage_v=230&supply.frequency_hz=50"
	text := page(t, s, "/find?"+grinder+"&remains.coils.1.turns=30&remains.coils.1.role=auxiliary&remains.copper_mass_g.main=3740", 200).Text()
	require.Contains(t, text, "Coil 2 that was counted: turns counted: you gave 30; 300 fits better")
	require.Contains(t, text, "Copper of the main winding: you gave 3740 g; 374 g fits better")
	require.Contains(t, text, `Copper of the main winding</th><td>3740 g</td>`)
	require.Contains(t, page(t, s, "/", 200).Text(), `Copper of the main winding <span class="unit">g</span>`)
	require.NotContains(t, text, "fits none of the proposals")
	text = page(t, s, "/find?"+grinder+"&remains.coils.1.turns=9000&remains.coils.1.role=auxiliary", 200).Text()
	require.Contains(t, text, "A coil of 9000 turns fits none of the proposals")
}

// Nobody winds for a frequency that nobody told, or for another than that on site, without being told.
func TestFrequencyOnSite(t *testing.T) {
	t.Parallel()
	s := openShop(t)
	text := page(t, s, "/find/winding?"+pumpCore, 200).Text()
	require.NotContains(t, text, "Nobody told the frequency")
	bare := strings.Replace(pumpCore, "&supply.frequency_hz=50", "", 1)
	require.Contains(t, page(t, s, "/find/winding?"+bare, 200).Text(), "Nobody told the frequency")
	none := page(t, s, "/find?"+strings.Replace(bare, "&supply.voltage_v=230", "", 1), 200).Text()
	require.Contains(t, none, "Nobody told voltage and frequency")
	require.NotContains(t, none, "Nobody told the ")
	require.NotContains(t, page(t, s, "/find/winding?"+bare+"&nameplate.frequency_hz=50", 200).Text(), "Nobody told the frequency")
}

// A brush motor on the bench is named as what it is: no induction motor runs above its field.
func TestCommutatorMotorIsNamed(t *testing.T) {
	t.Parallel()
	s := openShop(t)
	text := page(t, s, "/find?rotor_position=inside&phases=1&slots=22&gap_diameter_mm=35&back_diameter_mm=80&stack_length_mm=30&supply.voltage_v=230&supply.frequency_hz=50&nameplate.power_w=750&nameplate.speed_rpm=18000", 200).Text()
	require.Contains(t, text, "A plate speed of 18000 r/min is above the 3000 r/min of two poles at 50 Hz")
	require.Contains(t, text, "brushes and commutator")
	require.Contains(t, text, "Nothing was looked for")
}

// A former is told with the length of one turn, which is what the coil is wound to.
func TestFormerTellsItsTurn(t *testing.T) {
	t.Parallel()
	s := openShop(t)
	require.Regexp(t, `Former main(, auxiliary)? 1–[0-9]+</th><td>[0-9]+ coils, turn [0-9]+ mm</td>`, page(t, s, "/find/winding?"+pumpCore, 200).Text())
	three := page(t, s, "/find/winding?rotor_position=inside&phases=3&slots=36&gap_diameter_mm=93&back_diameter_mm=150.5&stack_length_mm=85&supply.voltage_v=400", 200).Text()
	require.Regexp(t, `Former phase U, phase V, phase W 1–[0-9]+</th><td>[0-9]+ coils`, three)
	require.NotContains(t, three, "Former phase V", "three like phases need one former")
}
