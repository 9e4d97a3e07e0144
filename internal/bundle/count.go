package bundle

import (
	"math"
	"strconv"
	"strings"

	"statorbook/internal/jsonin"
)

// Count is a whole number that requests may also write as {"value": 24}, as the contract lets every
// field of a core and a nameplate be written. 0 means not given; answers write the plain number.
type Count int

// ReadJSON reads either form within the bounds of the tags.
func (c *Count) ReadJSON(n jsonin.Node) {
	if n.Kind() != jsonin.Object {
		if v, ok := n.Int(); ok {
			*c = Count(v)
		}
		return
	}
	var o struct {
		Value  number `json:"value" in:"required"`
		Unit   string `json:"unit" in:"enum=1"`
		Method string `json:"method" in:"runes=60"` // a count needs no provenance; taken and dropped
	}
	if !n.Object(&o) {
		return
	}
	if o.Value.value != math.Trunc(o.Value.value) {
		n.FailAt("value", jsonin.CodeInteger, "a whole number is needed here", nil, o.Value.text)
		return
	}
	if f := n.Field(); f.Enum != nil && !contains(f.Enum, o.Value.value) {
		n.FailAt("value", jsonin.CodeRange, f.Name+" must be one of "+strings.Join(f.Enum, ", "), f.Enum, o.Value.text)
		return
	}
	if n.CheckAt("value", o.Value.value, o.Value.text) && math.Abs(o.Value.value) < 1<<53 {
		*c = Count(o.Value.value)
	}
}

func contains(words []string, v float64) bool {
	for _, w := range words {
		if w == strconv.FormatFloat(v, 'f', -1, 64) {
			return true
		}
	}
	return false
}
