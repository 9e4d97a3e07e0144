package bundle

import (
	"slices"
	"strings"

	"statorbook/internal/jsonin"
)

// conversion turns a unit into the field's own: own = value × factor × 10^shift + offset × 10^-scale.
// Every conversion taken here is exact in decimal digits; units that are not (circular mils, degrees
// Fahrenheit) are left out of the lists.
type conversion struct {
	factor int64
	shift  int
	offset int64
	scale  int
}

func tenTo(shift int) conversion { return conversion{factor: 1, shift: shift} }

// unitLists holds, for each unit that fields are kept in, the UCUM codes that requests may use
// (UCUM 2.2). An inch is 25.4 mm (1959), a pound 453.59237 g, an ounce a sixteenth of it; the
// British horsepower is 550 ft.lbf/s with standard gravity 9.80665 m/s².
var unitLists = map[string]map[string]conversion{
	"mm": {
		"mm": tenTo(0), "cm": tenTo(1), "um": tenTo(-3), "m": tenTo(3),
		"[in_i]": {factor: 254, shift: -1}, "[mil_i]": {factor: 254, shift: -4},
	},
	"mm2": {"mm2": tenTo(0), "cm2": tenTo(2), "[in_i]2": {factor: 64516, shift: -2}},
	"m":   {"m": tenTo(0), "mm": tenTo(-3), "cm": tenTo(-2), "km": tenTo(3), "[in_i]": {factor: 254, shift: -4}, "[ft_i]": {factor: 3048, shift: -4}},
	"V":   {"V": tenTo(0), "mV": tenTo(-3), "kV": tenTo(3)},
	"A":   {"A": tenTo(0), "mA": tenTo(-3)},
	"Hz":  {"Hz": tenTo(0), "kHz": tenTo(3)},
	"W":   {"W": tenTo(0), "mW": tenTo(-3), "kW": tenTo(3), "[HP]": {factor: 74569987158227022, shift: -14}},
	"/min": {
		"/min": tenTo(0), "/s": {factor: 60},
	},
	"uF":  {"uF": tenTo(0), "nF": tenTo(-3), "mF": tenTo(3), "F": tenTo(6)},
	"g":   {"g": tenTo(0), "mg": tenTo(-3), "kg": tenTo(3), "[lb_av]": {factor: 45359237, shift: -5}, "[oz_av]": {factor: 28349523125, shift: -9}},
	"Ohm": {"Ohm": tenTo(0), "mOhm": tenTo(-3), "kOhm": tenTo(3)},
	"Cel": {"Cel": tenTo(0), "K": {factor: 1, offset: -27315, scale: 2}},
	"1":   {"1": tenTo(0)},
}

// unitSuffixes reads a field's own unit off its name, the longer suffix first.
var unitSuffixes = []struct{ suffix, unit string }{
	{"_mm2", "mm2"}, {"_mm", "mm"}, {"_ohm", "Ohm"}, {"_rpm", "/min"}, {"_hz", "Hz"}, {"_uf", "uF"},
	{"_v", "V"}, {"_a", "A"}, {"_w", "W"}, {"_g", "g"}, {"_c", "Cel"}, {"_m", "m"},
}

// OwnUnit returns the UCUM code of the unit that a field is kept in: the tag option `unit`, else the
// suffix of its name (or the name itself, as in {ohm, g}), else "1", a pure number.
func OwnUnit(f *jsonin.Field) string {
	if f.Unit != "" {
		return f.Unit
	}
	for _, s := range unitSuffixes {
		if strings.HasSuffix(f.Name, s.suffix) || f.Name == s.suffix[1:] {
			return s.unit
		}
	}
	return "1"
}

// Units lists the UCUM codes that a field kept in unit own takes, its own first, then sorted.
func Units(own string) []string {
	list := []string{own}
	for code := range unitLists[own] {
		if code != own {
			list = append(list, code)
		}
	}
	slices.Sort(list[1:])
	return list
}
