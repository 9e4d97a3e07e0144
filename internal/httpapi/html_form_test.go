package httpapi

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestTypedNumber(t *testing.T) {
	t.Parallel()
	for typed, want := range map[string]string{
		"118": "118", "118.2": "118.2", "118,2": "118.2", "+118": "118", ".5": "0.5", "5.": "5", "05": "5", "0": "0", "00": "0", "-3": "-3", "−3": "-3", "-.5": "-0.5",
		"4.50": "4.50", "1e3": "1e3", "118.20": "118.20",
	} {
		got, ok := typedNumber(typed)
		require.True(t, ok, typed)
		require.Equal(t, want, got, typed)
	}
	for _, typed := range []string{"", ".", "-", "+", "abc", "1 2", "1,234,5", "1.2.3", "1,2.3", "12mm", "0x10", "NaN", "Inf", "--1", "½", "1/2", "٣"} {
		_, ok := typedNumber(typed)
		require.False(t, ok, typed)
	}
}

// Whatever is taken as a number is one by the grammar of JSON.
func TestTypedNumberIsJSON(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		typed := rapid.StringMatching(`[-+−]?[0-9.,eE ]{0,12}`).Draw(t, "typed")
		if got, ok := typedNumber(typed); ok {
			require.Regexp(t, numberGrammar, got)
		}
	})
}

// The fractions of an inch rule, exact in decimals.
func TestTypedFraction(t *testing.T) {
	t.Parallel()
	for typed, want := range map[string]string{"4 5/8": "4.625", "41/64": "0.640625", "1/2": "0.5", " 3  1/4 ": "3.25", "0 127/128": "0.9921875"} {
		got, ok := typedFraction(typed)
		require.True(t, ok, typed)
		require.Equal(t, want, got, typed)
	}
	for _, typed := range []string{"", "4", "5/3", "1/3", "1/0", "8/8", "-1/2", "1/256", "1 2 1/2", "x 1/2", "1000 1/2", "1/2/3"} {
		_, ok := typedFraction(typed)
		require.False(t, ok, typed)
	}
}

func TestStockWire(t *testing.T) {
	t.Parallel()
	for line, want := range map[string]map[string]any{
		"swg 36":   {"system": "swg", "size": "36", "conductor": "copper"},
		"swg36":    {"system": "swg", "size": "36", "conductor": "copper"},
		"awg 4/0":  {"system": "awg", "size": "4/0", "conductor": "copper"},
		"al swg 2": {"system": "swg", "size": "2", "conductor": "aluminium"},
		"0,30 mm":  {"system": "bare", "conductor": "copper"},
		".3":       {"system": "bare", "conductor": "copper"},
	} {
		got, ok := stockWire(line)
		require.True(t, ok, line)
		for name, v := range want {
			require.Equal(t, v, got[name], "%s: %s", line, name)
		}
	}
	for _, line := range []string{"swg", "thick", "mm", "36 swg 3", "swg " + strings.Repeat("9", 30)} {
		_, ok := stockWire(line)
		require.False(t, ok, line)
	}
}

func formOf(t *testing.T, raw string, inputs []input) *form {
	t.Helper()
	q := newQuery(lineEnds.Replace(raw), paramsOf(inputs), true)
	require.NoError(t, q.err())
	return newForm(q, inputs)
}

// A form is read as the body of the operation is: units, steps and digits included.
func TestFormIsTheBody(t *testing.T) {
	t.Parallel()
	p, err := loadPages()
	require.NoError(t, err)
	f := formOf(t, "with=mm_vernier&gap_diameter_mm=118,20&stack_length_mm=4+5/8&stack_length_mm.with=inch_rule&slots=14&phases=1&tooth_width_mm=&"+
		"second_ring.slots=14&supply.voltage_v=230&remains.wires.2.diameter_mm=0.3&remains.wires.2.role=main&remains.coils.1.turns=250", findInputs)
	var req matchRequest
	require.NoError(t, f.decode(p.texts, &req, nil))
	require.False(t, f.bad(), "%v %v", f.Faults, f.General)
	gap := req.Measurements.GapDiameter
	require.Equal(t, "118.20", gap.Text)
	require.InDelta(t, 0.05, gap.Resolution, 0)
	require.InDelta(t, 4.625*25.4, req.Measurements.StackLength.Value, 1e-12)
	require.InDelta(t, 25.4/64, req.Measurements.StackLength.Resolution, 1e-12)
	require.False(t, req.Measurements.ToothWidth.Given)
	require.EqualValues(t, 14, req.Measurements.SecondRing.Slots)
	require.Len(t, req.Remains.Wires, 1, "rows left empty close up")
	require.Equal(t, "main", req.Remains.Wires[0].Role)
	require.InDelta(t, 250, req.Remains.Coils[0].Turns.Value, 0)
}

// What the reader refuses is told at the input that it came from, rows that closed up included.
func TestFormFaults(t *testing.T) {
	t.Parallel()
	p, err := loadPages()
	require.NoError(t, err)
	for raw, at := range map[string]string{
		"gap_diameter_mm=abc":                        "gap_diameter_mm",
		"gap_diameter_mm=-5":                         "gap_diameter_mm",
		"gap_diameter_mm=1e9":                        "gap_diameter_mm",
		"gap_diameter_mm=5&gap_diameter_mm.with=ell": "gap_diameter_mm",
		"gap_diameter_mm=5/8":                        "gap_diameter_mm",
		"slots=14.5":                                 "slots",
		"slots=0":                                    "slots",
		"slots=1000000":                              "slots",
		"rotor_position=upside":                      "rotor_position",
		"phases=2":                                   "phases",
		"second_ring.slots=x":                        "second_ring.slots",
		"supply.voltage_v=0":                         "supply.voltage_v",
		"nameplate.poles=-2":                         "nameplate.poles",
		"motor_type=steam":                           "motor_type",
		"remains.wires.2.diameter_mm=0":              "remains.wires.2.diameter_mm",
		"remains.wires.1.role=main":                  "remains.wires.0.diameter_mm",
		"remains.coils.2.turns=0":                    "remains.coils.2.turns",
		"remains.copper_mass_g.total=-1":             "remains.copper_mass_g.total",
	} {
		f := formOf(t, raw, findInputs)
		var req matchRequest
		require.NoError(t, f.decode(p.texts, &req, nil), raw)
		require.True(t, f.bad(), raw)
		require.NotEmpty(t, f.Faults[at], "%s: %v %v", raw, f.Faults, f.General)
	}
}

// All that is wrong is told at once, whoever finds it.
func TestFormFaultsTogether(t *testing.T) {
	t.Parallel()
	p, err := loadPages()
	require.NoError(t, err)
	f := formOf(t, "slots=x&gap_diameter_mm=-1&supply.phases=2&stock=thick", findInputs)
	lists := map[string][]any{"/stock": f.stock(p.texts, "stock")}
	var req matchRequest
	require.NoError(t, f.decode(p.texts, &req, lists))
	for _, name := range []string{"slots", "gap_diameter_mm", "supply.phases", "stock"} {
		require.Len(t, f.Faults[name], 1, name)
	}
}

// An address made of a form gives the same form again, as short as it can be.
func TestFormAddress(t *testing.T) {
	t.Parallel()
	const raw = "with=mm_vernier&rotor_position=outside&slots=14&gap_diameter_mm=118%2C20&stack_length_mm=4+5%2F8&stack_length_mm.with=inch_rule"
	f := formOf(t, raw+"&tooth_width_mm=&back_iron_mm=&back_iron_mm.with=inch", findInputs)
	require.ElementsMatch(t, strings.Split(raw, "&"), strings.Split(f.query(), "&"))
	require.Equal(t, f.query(), formOf(t, f.query(), findInputs).query())
}
