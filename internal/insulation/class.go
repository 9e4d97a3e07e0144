package insulation

import (
	"fmt"
	"strconv"
	"strings"

	"statorbook/internal/errs"
	"statorbook/internal/unit"
)

// CodeUnknownClass is the code of the field that Find returns; the caller adds pointer or parameter.
const CodeUnknownClass = "UNKNOWN_CLASS"

// Find returns the class by its letter ("F", "f") or by its temperature ("155"). An enamel's suffix
// L, which widens its test conditions and not its temperature, is let go ("130 L" is B). The error
// is an *errs.Error of KindImpossible that lists the classes.
func Find(classes []Class, name string) (Class, error) {
	text := strings.ToUpper(strings.TrimSpace(name))
	for _, c := range classes {
		if text == strings.ToUpper(c.Letter) {
			return c, nil
		}
	}
	if t, err := strconv.Atoi(strings.TrimSpace(strings.TrimSuffix(text, "L"))); err == nil {
		for _, c := range classes {
			if c.MaxHotSpot == unit.Celsius(t) {
				return c, nil
			}
		}
	}
	known := make([]string, 0, len(classes))
	for _, c := range classes {
		known = append(known, c.Letter)
	}
	got := []rune(name)
	if len(got) > 40 {
		got = got[:40]
	}
	detail := fmt.Sprintf("there is no thermal class %q; use one of %s, or its temperature", string(got), strings.Join(known, ", "))
	return Class{}, errs.New(errs.KindImpossible, detail, errs.Field{Code: CodeUnknownClass, Detail: detail, Allowed: known, Got: string(got)})
}

// Temperature returns the temperature of a class named by letter or number. Enamel classes that have
// no letter of their own, such as 240, are their own temperature from 90 to 275 °C; false for anything else.
func Temperature(classes []Class, name string) (unit.Celsius, bool) {
	if c, err := Find(classes, name); err == nil {
		return c.MaxHotSpot, true
	}
	text := strings.TrimSpace(strings.TrimSuffix(strings.ToUpper(strings.TrimSpace(name)), "L"))
	t, err := strconv.Atoi(text)
	if err != nil || t < 90 || t > 275 {
		return 0, false
	}
	return unit.Celsius(t), true
}

// Reserve returns how far a winding at hot-spot temperature t stays below its class, negative when it is hotter.
func (c Class) Reserve(t unit.Celsius) unit.Kelvin { return unit.Kelvin(c.MaxHotSpot - t) }
