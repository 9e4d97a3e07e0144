package bundle

import (
	"encoding/json"
	"errors"
	"math"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"statorbook/internal/errs"
	"statorbook/internal/jsonin"
	"statorbook/internal/unit"
)

// figures is a shape with one field of each unit.
type figures struct {
	Length  M     `json:"gap_diameter_mm,omitzero" in:"min=0.01,max=10000"`
	Area    M     `json:"slot_area_mm2,omitzero" in:"min=0.001,max=1000000"`
	Mass    M     `json:"mass_g,omitzero"`
	Power   M     `json:"power_w,omitzero"`
	Warm    M     `json:"temperature_c,omitzero" in:"min=-60,max=300"`
	Turned  M     `json:"turned_slots,omitzero" in:"min=-360,max=360"`
	Speed   M     `json:"speed_rpm,omitzero"`
	Copper  M     `json:"total,omitzero" in:"unit=g"`
	Ohms    M     `json:"ohm,omitzero"`
	Slots   Count `json:"slots,omitzero" in:"min=2,max=360"`
	Phases  Count `json:"phases,omitzero" in:"enum=1|3"`
	Current []M   `json:"current_a,omitempty" in:"min=0"`
}

func readFigures(t require.TestingT, text string) (figures, []string, errs.Kind) {
	var f figures
	err := jsonin.Decode([]byte(text), &f, jsonin.Single)
	if err == nil {
		return f, nil, -1
	}
	var e *errs.Error
	require.True(t, errors.As(err, &e))
	var list []string
	for _, field := range e.Fields {
		list = append(list, field.Pointer+" "+field.Code)
	}
	return f, list, e.Kind
}

func TestMeasuredReadsBothForms(t *testing.T) {
	t.Parallel()
	tests := []struct {
		text string
		want unit.Measured
	}{
		{`4.50`, unit.Measured{Value: 4.5, Text: "4.50"}},
		{`118`, unit.Measured{Value: 118, Text: "118"}},
		{`1e1`, unit.Measured{Value: 10, Text: "10"}},
		{`1.180e2`, unit.Measured{Value: 118, Text: "118.0"}},
		{`0.5740399999999999`, unit.Measured{Value: 0.5740399999999999, Text: "0.5740399999999999"}},
		{`{"value":4.50}`, unit.Measured{Value: 4.5, Text: "4.50"}},
		{`{"value":4.50,"unit":null,"uncertainty":null,"method":null}`, unit.Measured{Value: 4.5, Text: "4.50"}},
		{`{"value":4.50,"unit":"mm","uncertainty":0.02}`, unit.Measured{Value: 4.5, Text: "4.50", Unit: "mm", Uncertainty: 0.02}},
		{`{"value":11.80,"unit":"cm","resolution":0.005}`, unit.Measured{Value: 118, Text: "118.0", Unit: "cm", Resolution: 0.05}},
		{`{"value":850,"unit":"um"}`, unit.Measured{Value: 0.85, Text: "0.850", Unit: "um"}},
		{`{"value":0.0125,"unit":"m"}`, unit.Measured{Value: 12.5, Text: "12.5", Unit: "m"}},
		{`{"value":0.01,"unit":"m"}`, unit.Measured{Value: 10, Text: "10", Unit: "m"}},
		// International inch, 25.4 mm exactly (1959).
		{`{"value":4.645,"unit":"[in_i]","uncertainty":0.001,"method":"calliper"}`,
			unit.Measured{Value: 117.983, Text: "117.9830", Unit: "[in_i]", Uncertainty: 0.0254, Method: "calliper"}},
		{`{"value":14.5,"unit":"[mil_i]"}`, unit.Measured{Value: 0.3683, Text: "0.36830", Unit: "[mil_i]"}},
	}
	for _, tc := range tests {
		t.Run(tc.text, func(t *testing.T) {
			t.Parallel()
			f, problems, _ := readFigures(t, `{"gap_diameter_mm":`+tc.text+`}`)
			require.Empty(t, problems)
			tc.want.Given = true
			require.Equal(t, tc.want, f.Length.Measured)
		})
	}
}

func TestMeasuredConvertsEachUnit(t *testing.T) {
	t.Parallel()
	tests := []struct{ text, digits string }{
		{`"slot_area_mm2":{"value":1.5,"unit":"cm2"}`, "150"},
		{`"slot_area_mm2":{"value":0.1,"unit":"[in_i]2"}`, "64.516"}, // 25.4² = 645.16 exactly
		{`"mass_g":{"value":0.295,"unit":"kg"}`, "295"},
		{`"mass_g":{"value":1,"unit":"[lb_av]"}`, "453.59237"},      // pound of 1959
		{`"mass_g":{"value":16,"unit":"[oz_av]"}`, "453.592370000"}, // sixteen ounces are a pound
		{`"power_w":{"value":0.37,"unit":"kW"}`, "370"},
		{`"power_w":{"value":1,"unit":"[HP]"}`, "745.69987158227022"}, // 550 × 0.3048 × 0.45359237 × 9.80665
		{`"temperature_c":{"value":293.15,"unit":"K"}`, "20.00"},
		{`"temperature_c":{"value":273,"unit":"K"}`, "-0.15"},
		{`"temperature_c":-0.0`, "0.0"},
		{`"turned_slots":-0.5`, "-0.5"},
		{`"turned_slots":1e-7`, "0.0000001"},
		{`"speed_rpm":{"value":25,"unit":"/s"}`, "1500"},
		{`"total":{"value":1.2,"unit":"kg"}`, "1200"},
		{`"ohm":{"value":12,"unit":"mOhm"}`, "0.012"},
	}
	for _, tc := range tests {
		t.Run(tc.text, func(t *testing.T) {
			t.Parallel()
			f, problems, _ := readFigures(t, `{`+tc.text+`}`)
			require.Empty(t, problems)
			for _, m := range []M{f.Length, f.Area, f.Mass, f.Power, f.Warm, f.Turned, f.Speed, f.Copper, f.Ohms} {
				if m.Given {
					require.Equal(t, tc.digits, m.Text)
					want, err := strconv.ParseFloat(tc.digits, 64)
					require.NoError(t, err)
					require.Equal(t, want, m.Value)
				}
			}
		})
	}
}

func TestMeasuredRefuses(t *testing.T) {
	t.Parallel()
	syntax, impossible := errs.KindSyntax, errs.KindImpossible
	tests := []struct {
		text, want string
		kind       errs.Kind
	}{
		{`"gap_diameter_mm":"118"`, "/gap_diameter_mm WRONG_TYPE", syntax},
		{`"gap_diameter_mm":[118]`, "/gap_diameter_mm WRONG_TYPE", syntax},
		{`"gap_diameter_mm":true`, "/gap_diameter_mm WRONG_TYPE", syntax},
		{`"gap_diameter_mm":1e400`, "/gap_diameter_mm NUMBER_OVERFLOW", syntax},
		{`"gap_diameter_mm":1e-400`, "/gap_diameter_mm NUMBER_UNDERFLOW", syntax},
		{`"gap_diameter_mm":0`, "/gap_diameter_mm OUT_OF_RANGE", impossible},
		{`"gap_diameter_mm":-118`, "/gap_diameter_mm OUT_OF_RANGE", impossible},
		{`"gap_diameter_mm":11800000`, "/gap_diameter_mm OUT_OF_RANGE", impossible},
		{`"gap_diameter_mm":{}`, "/gap_diameter_mm/value REQUIRED", syntax},
		{`"gap_diameter_mm":{"value":null}`, "/gap_diameter_mm/value REQUIRED", syntax},
		{`"gap_diameter_mm":{"value":"118"}`, "/gap_diameter_mm/value WRONG_TYPE", syntax},
		{`"gap_diameter_mm":{"value":118,"unti":"mm"}`, "/gap_diameter_mm/unti UNKNOWN_NAME", syntax},
		{`"gap_diameter_mm":{"value":118,"unit":"inch"}`, "/gap_diameter_mm/unit UNIT_NOT_ALLOWED", syntax},
		{`"gap_diameter_mm":{"value":118,"unit":"g"}`, "/gap_diameter_mm/unit UNIT_NOT_ALLOWED", syntax},
		{`"gap_diameter_mm":{"value":118,"unit":"MM"}`, "/gap_diameter_mm/unit UNIT_NOT_ALLOWED", syntax},
		{`"gap_diameter_mm":{"value":118,"unit":"m"}`, "/gap_diameter_mm/value OUT_OF_RANGE", impossible},
		{`"gap_diameter_mm":{"value":118,"uncertainty":0.1,"resolution":0.1}`, "/gap_diameter_mm/resolution CONFLICTING_NAMES", syntax},
		{`"gap_diameter_mm":{"value":118,"uncertainty":0}`, "/gap_diameter_mm/uncertainty OUT_OF_RANGE", impossible},
		{`"gap_diameter_mm":{"value":118,"uncertainty":-0.1}`, "/gap_diameter_mm/uncertainty OUT_OF_RANGE", impossible},
		{`"gap_diameter_mm":{"value":118,"resolution":1e30}`, "/gap_diameter_mm/resolution OUT_OF_RANGE", impossible},
		{`"gap_diameter_mm":{"value":1.0000000000000000000000000000001,"unit":"mm"}`, "/gap_diameter_mm/value NUMBER_TOO_LONG", syntax},
		{`"gap_diameter_mm":{"value":1.0000000000000000000000000001,"unit":"[in_i]"}`, "", -1},
		{`"gap_diameter_mm":{"value":1.00000000000000000000000000001,"unit":"[in_i]"}`, "/gap_diameter_mm/value NUMBER_TOO_LONG", syntax},
		{`"gap_diameter_mm":{"value":1e300,"unit":"m"}`, "/gap_diameter_mm/value OUT_OF_RANGE", impossible},
		{`"turned_slots":{"value":1e-300}`, "/turned_slots/value NUMBER_TOO_LONG", syntax},
		{`"turned_slots":1e-300`, "/turned_slots NUMBER_TOO_LONG", syntax},
		{`"temperature_c":{"value":0,"unit":"K"}`, "/temperature_c/value OUT_OF_RANGE", impossible},
		{`"turned_slots":{"value":0.5,"unit":"mm"}`, "/turned_slots/unit UNIT_NOT_ALLOWED", syntax},
		{`"current_a":[1,-1]`, "/current_a/1 OUT_OF_RANGE", impossible},
		{`"slots":24.5`, "/slots NOT_AN_INTEGER", syntax},
		{`"slots":0`, "/slots OUT_OF_RANGE", impossible},
		{`"slots":{"value":24.5}`, "/slots/value NOT_AN_INTEGER", syntax},
		{`"slots":{"value":361}`, "/slots/value OUT_OF_RANGE", impossible},
		{`"slots":{"value":24,"unit":"mm"}`, "/slots/unit VALUE_NOT_ALLOWED", syntax},
		{`"slots":{}`, "/slots/value REQUIRED", syntax},
		{`"phases":{"value":2}`, "/phases/value OUT_OF_RANGE", impossible},
		{`"phases":"three"`, "/phases WRONG_TYPE", syntax},
	}
	for _, tc := range tests {
		t.Run(tc.text, func(t *testing.T) {
			t.Parallel()
			_, problems, kind := readFigures(t, `{`+tc.text+`}`)
			require.Equal(t, tc.want, strings.Join(problems, ", "))
			require.Equal(t, tc.kind, kind)
		})
	}
	f, problems, _ := readFigures(t, `{"slots":{"value":24,"method":"counted"},"phases":{"value":3,"unit":"1"}}`)
	require.Empty(t, problems)
	require.Equal(t, Count(24), f.Slots)
	require.Equal(t, Count(3), f.Phases)
}

func TestMeasuredWrites(t *testing.T) {
	t.Parallel()
	tests := []struct {
		m    unit.Measured
		want string
	}{
		{unit.Measured{Given: true, Value: 4.5, Text: "4.50"}, `{"gap_diameter_mm":4.50}`},
		{unit.Of(4.5), `{"gap_diameter_mm":4.5}`},
		{unit.Of(1e-9), `{"gap_diameter_mm":0.000000001}`},
		{unit.Of(1e-300), `{"gap_diameter_mm":1e-300}`},
		{unit.Measured{}, `{}`},
		// The typed unit is forgotten: the digits are in the field's own.
		{unit.Measured{Given: true, Value: 117.983, Text: "117.9830", Unit: "[in_i]"}, `{"gap_diameter_mm":117.9830}`},
		{unit.Measured{Given: true, Value: 4.5, Text: "4.50", Uncertainty: 0.02, Method: `a "b"`},
			`{"gap_diameter_mm":{"value":4.50,"uncertainty":0.02,"method":"a \"b\""}}`},
		{unit.Measured{Given: true, Value: 4.5, Text: "4.50", Resolution: 0.05}, `{"gap_diameter_mm":{"value":4.50,"resolution":0.05}}`},
	}
	for _, tc := range tests {
		text, err := json.Marshal(figures{Length: M{tc.m}})
		require.NoError(t, err)
		require.Equal(t, tc.want, string(text))
	}
	for _, bad := range []unit.Measured{unit.Of(math.NaN()), unit.Of(math.Inf(1)), {Given: true, Value: 1, Uncertainty: math.NaN()}} {
		_, err := json.Marshal(M{bad})
		require.Error(t, err)
		_, err = Canonical(figures{Length: M{bad}})
		require.Error(t, err)
	}
	null, err := json.Marshal(M{})
	require.NoError(t, err)
	require.Equal(t, "null", string(null))
}

// Digits as typed come back from every reader, and uncertainty bit for bit.
func TestMeasuredRoundTrip(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		f := figures{Length: M{drawMeasured(t, "length", 0.01, 10000)}, Turned: M{drawMeasured(t, "turned", -360, 360)}}
		text, err := json.Marshal(f)
		require.NoError(t, err)
		back, problems, _ := readFigures(t, string(text))
		require.Empty(t, problems, string(text))
		require.Equal(t, f, back)
		var trusted figures
		require.NoError(t, json.Unmarshal(text, &trusted))
		require.Equal(t, f, trusted)
		again, err := json.Marshal(back)
		require.NoError(t, err)
		require.Equal(t, string(text), string(again))
	})
}

func TestUnmarshalRefusesNonsense(t *testing.T) {
	t.Parallel()
	for _, bad := range []string{`"x"`, `{"value":"x"}`, `[1]`, `true`} {
		require.Error(t, json.Unmarshal([]byte(bad), &M{}), bad)
	}
}

// A conversion there and back is exact: n inches are 25.4 n mm in every digit.
func TestConversionIsExact(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		whole := rapid.IntRange(0, 300).Draw(t, "whole")
		thousandths := rapid.IntRange(1, 999).Draw(t, "thousandths")
		inches := strconv.Itoa(whole) + "." + strconv.Itoa(1000 + thousandths)[1:]
		f, problems, _ := readFigures(t, `{"gap_diameter_mm":{"value":`+inches+`,"unit":"[in_i]"}}`)
		require.Empty(t, problems)
		units := (whole*1000 + thousandths) * 254 // in 10^-4 mm
		require.Equal(t, strconv.Itoa(units/10000)+"."+strconv.Itoa(10000 + units%10000)[1:], f.Length.Text)
	})
}

func TestUnitsListsOwnFirst(t *testing.T) {
	t.Parallel()
	require.Equal(t, []string{"mm", "[in_i]", "[mil_i]", "cm", "m", "um"}, Units("mm"))
	require.Equal(t, []string{"1"}, Units("1"))
	for own, list := range unitLists {
		require.Contains(t, list, own)
		require.Equal(t, tenTo(0), list[own], "a field's own unit converts to itself")
	}
}
