package match

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"statorbook/internal/unit"
)

// TestAsTyped: slips are made in the digits and the unit that were typed. Conversions by definition: an inch is
// 25.4 mm, a pound 453.59237 g (1959), the kilowatt a thousand watts.
func TestAsTyped(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		value      float64
		text, unit string
		spelled    string
		factor     float64
	}{
		{250, "250", "", "250", 1},
		{250, "250.0", "g", "250.0", 1},
		{250, "", "", "250", 1},
		{750, "750", "kW", "0.75", 1000},
		{66.04, "66.04", "[in_i]", "2.6", 25.4},
		{0.4572, "0.4572", "[mil_i]", "18", 0.0254},
		{77.4192, "77.4192", "[in_i]2", "0.12", 645.16},
		{566.9904625, "566.9904625", "[lb_av]", "1.25", 453.59237},
		{1250, "1250", "kg", "1.25", 1000},
		{1440, "1440", "/s", "24", 60},
		{0.5 * 745.69987158227022, "372.84993579113511", "[HP]", "0.5", 745.69987158227022},
	} {
		text, factor := asTyped(unit.Measured{Given: true, Value: c.value, Text: c.text, Unit: c.unit})
		require.Equal(t, c.spelled, text, "%s %s", c.text, c.unit)
		require.InEpsilon(t, c.factor, factor, 1e-12, c.unit)
	}
}

// TestSlipsInTheUnitTyped: 2.1 lb for 1.2 lb is two digits swapped, also as 952.54 g; and so for the plate in
// kilowatts and the slot area in square inches.
func TestSlipsInTheUnitTyped(t *testing.T) {
	t.Parallel()
	typed := func(v float64, text, u string) unit.Measured {
		return unit.Measured{Given: true, Value: v, Text: text, Unit: u}
	}
	weighing := remainsSlips(typed(2.1*453.59237, "952.543977", "[lb_av]"), massField+"main")
	require.True(t, slices.ContainsFunc(weighing, func(o otherReading) bool { return math.Abs(o.value-1.2*453.59237) < 1e-3 }))
	require.True(t, slices.ContainsFunc(figureSlips(typed(730, "730", "kW")), func(s figureSlip) bool { return math.Abs(math.Exp(s.ln)-370) < 1e-6 }))
	require.True(t, slices.ContainsFunc(alternatives(typed(0.21*645.16, "135.4836", "[in_i]2")), func(a alternative) bool { return math.Abs(a.value-0.12*645.16) < 1e-6 }))
}
