package bundle

import (
	"encoding/json"
	"fmt"
	"math"
	"strconv"
	"strings"

	"statorbook/internal/jsonin"
	"statorbook/internal/unit"
)

// M is a measured value: a number in the field's own unit, or {value, unit?, uncertainty? |
// resolution?, method?}. The unit is a UCUM code from the closed list of the field (Units) and is
// converted exactly, digit by digit. Written, it is in the field's own unit: the number with its
// digits as typed, or the object where an uncertainty, a resolution or a method goes with it.
type M struct{ unit.Measured }

// measuredObject is the long form as it is read.
type measuredObject struct {
	Value       number  `json:"value" in:"required"`
	Unit        string  `json:"unit" in:"runes=20"`
	Uncertainty *number `json:"uncertainty"`
	Resolution  *number `json:"resolution"`
	Method      string  `json:"method" in:"runes=60"`
}

// number keeps a number with its digits.
type number struct {
	value float64
	text  string
}

// ReadJSON reads a bare number.
func (x *number) ReadJSON(n jsonin.Node) {
	if v, text, ok := n.Number(); ok {
		x.value, x.text = v, text
	}
}

// ReadJSON reads either form. Uncertainty and resolution must be above 0; only one of them may stand.
func (m *M) ReadJSON(n jsonin.Node) {
	switch n.Kind() {
	case jsonin.Number:
		m.readPlain(n)
	case jsonin.Object:
		var o measuredObject
		if n.Object(&o) {
			m.readObject(n, o)
		}
	default:
		n.WrongType("a number, or an object with value and uncertainty,")
	}
}

func (m *M) readPlain(n jsonin.Node) {
	v, text, ok := n.Number()
	if !ok || !n.Check(v) {
		return
	}
	if text, ok = plainText(v, text); !ok {
		n.Fail(jsonin.CodeNumberLength, "written without exponent the number has more than 32 characters", nil)
		return
	}
	m.Measured = unit.Measured{Given: true, Value: v, Text: text}
}

func (m *M) readObject(n jsonin.Node, o measuredObject) {
	own := OwnUnit(n.Field())
	conv := conversion{factor: 1}
	if o.Unit != "" {
		var known bool
		if conv, known = unitLists[own][o.Unit]; !known {
			n.FailAt("unit", jsonin.CodeUnit, unitDetail(o.Unit, own), Units(own), o.Unit)
			return
		}
	}
	v, text, ok := conv.apply(o.Value)
	if !ok {
		if !n.CheckAt("value", conv.about(o.Value.value), o.Value.text) {
			return
		}
		n.FailAt("value", jsonin.CodeNumberLength, "in "+own+" and without exponent the number has more than 32 characters; send fewer digits", nil, o.Value.text)
		return
	}
	if !n.CheckAt("value", v, o.Value.text) {
		return
	}
	if o.Uncertainty != nil && o.Resolution != nil {
		n.FailAt("resolution", jsonin.CodeConflict, "give uncertainty or resolution, not both", nil, o.Resolution.text)
		return
	}
	uncertainty, ok1 := conv.spread(n, "uncertainty", o.Uncertainty)
	resolution, ok2 := conv.spread(n, "resolution", o.Resolution)
	if ok1 && ok2 {
		m.Measured = unit.Measured{Given: true, Value: v, Text: text, Unit: o.Unit, Uncertainty: uncertainty, Resolution: resolution, Method: o.Method}
	}
}

func unitDetail(got, own string) string {
	detail := "this unit is not taken here; write one of " + strings.Join(Units(own), ", ")
	if meant := jsonin.Suggest(got, Units(own)); meant != "" {
		detail = "did you mean " + meant + "? " + detail
	}
	return detail
}

// apply converts a value, offset included, and gives its plain digits. False if they are too many.
func (c conversion) apply(x number) (float64, string, bool) {
	if c.factor == 1 && c.shift == 0 && c.offset == 0 {
		text, ok := plainText(x.value, x.text)
		return x.value, text, ok
	}
	d := parseDecimal(x.text).times(c.factor, c.shift)
	if c.offset != 0 {
		d = d.plus(c.offset, c.scale)
	}
	text := d.plain()
	if text == "" || len(text) > maxNumber {
		return 0, "", false
	}
	v, err := strconv.ParseFloat(text, 64)
	return v, text, err == nil
}

// about converts a value whose digits are too many to keep, to see whether it is in range at all.
func (c conversion) about(v float64) float64 {
	return v*float64(c.factor)*math.Pow10(c.shift) + float64(c.offset)*math.Pow10(-c.scale)
}

// maxSpread bounds an uncertainty or a resolution in any unit; beyond it is a slip, not a reading.
const maxSpread = 1e6

// spread converts an uncertainty or a resolution, without offset, and holds it above 0.
func (c conversion) spread(n jsonin.Node, name string, x *number) (float64, bool) {
	if x == nil {
		return 0, true
	}
	c.offset = 0
	v, _, ok := c.apply(*x)
	if !ok || !(v > 0 && v <= maxSpread) {
		low, high := 0.0, float64(maxSpread)
		n.FailAt(name, jsonin.CodeRange, name+" must be above 0 and at most 1000000", jsonin.Bounds{Min: &low, Max: &high}, x.text)
		return 0, false
	}
	return v, true
}

// maxNumber is the most characters of a number in a body (contract).
const maxNumber = 32

// plainText is the text of v without exponent and without minus zero.
func plainText(v float64, text string) (string, bool) {
	if strings.IndexByte(text, 'e') >= 0 || strings.IndexByte(text, 'E') >= 0 {
		text = parseDecimal(text).plain()
	}
	if v == 0 {
		text = strings.TrimPrefix(text, "-")
	}
	return strings.Clone(text), text != "" && len(text) <= maxNumber
}

// IsZero reports that no value was given; encoding/json then leaves the member out (omitzero).
func (m M) IsZero() bool { return !m.Given }

// Digits is the value as decimal digits in the field's own unit: as typed, or the shortest that give
// the same float64.
func (m M) Digits() string {
	if m.Text != "" {
		return m.Text
	}
	return floatText(m.Value)
}

// floatText writes v with the fewest digits that read back the same, without exponent where that
// fits into 32 characters.
func floatText(v float64) string {
	text := strconv.FormatFloat(v, 'f', -1, 64)
	if len(text) > maxNumber {
		return strconv.FormatFloat(v, 'e', -1, 64)
	}
	return text
}

// bare reports that the plain number says everything.
func (m M) bare() bool { return m.Uncertainty == 0 && m.Resolution == 0 && m.Method == "" }

// MarshalJSON writes the number, or the object. NaN and infinities are an error, never output.
func (m M) MarshalJSON() ([]byte, error) {
	for _, v := range []float64{m.Value, m.Uncertainty, m.Resolution} {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return nil, fmt.Errorf("a measured value is not finite: %v", v)
		}
	}
	if !m.Given {
		return []byte("null"), nil
	}
	if m.bare() {
		return []byte(m.Digits()), nil
	}
	b := append(make([]byte, 0, 64), `{"value":`...)
	b = append(b, m.Digits()...)
	if m.Uncertainty != 0 {
		b = append(append(b, `,"uncertainty":`...), floatText(m.Uncertainty)...)
	}
	if m.Resolution != 0 {
		b = append(append(b, `,"resolution":`...), floatText(m.Resolution)...)
	}
	if m.Method != "" {
		method, err := json.Marshal(m.Method)
		if err != nil {
			return nil, err
		}
		b = append(append(b, `,"method":`...), method...)
	}
	return append(b, '}'), nil
}

// UnmarshalJSON reads what MarshalJSON wrote, for callers that trust the text (our own answers, the
// database). Text from outside goes through jsonin.
func (m *M) UnmarshalJSON(data []byte) error {
	var o struct {
		Value       json.Number `json:"value"`
		Uncertainty float64     `json:"uncertainty"`
		Resolution  float64     `json:"resolution"`
		Method      string      `json:"method"`
	}
	*m = M{}
	if string(data) == "null" {
		return nil
	}
	if data[0] == '{' {
		if err := json.Unmarshal(data, &o); err != nil {
			return err
		}
	} else if err := json.Unmarshal(data, &o.Value); err != nil {
		return err
	}
	v, err := strconv.ParseFloat(string(o.Value), 64)
	if err != nil {
		return fmt.Errorf("a measured value: %w", err)
	}
	text, _ := plainText(v, string(o.Value))
	m.Measured = unit.Measured{Given: true, Value: v, Text: text, Uncertainty: o.Uncertainty, Resolution: o.Resolution, Method: o.Method}
	return nil
}
