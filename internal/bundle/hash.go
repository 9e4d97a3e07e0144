package bundle

import (
	"bytes"
	"crypto/sha256"
	"fmt"
	"math"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"sync"
	"unicode/utf16"

	"github.com/gowebpki/jcs"
	"golang.org/x/text/unicode/norm"
)

// ContentHash is the SHA-256 of the canonical form of a record's body (contract rule 9). It says
// what the record holds, not how it is written down or who keeps it: key order, white space, Unicode
// form, exponents and the unit typed do not change it, and neither does what the server sets (slug,
// revision, state, status, times seen, findings, institute, etag, times).
func ContentHash(body any) ([sha256.Size]byte, error) {
	text, err := Canonical(body)
	if err != nil {
		return [sha256.Size]byte{}, err
	}
	return sha256.Sum256(text), nil
}

// Canonical is the form that ContentHash hashes: RFC 8785 over the body, with measured values as
// decimal strings, since RFC 8785 alone would make 4.50 into 4.5. A measured value is the string of
// its digits in the field's own unit, or, with uncertainty, resolution or method, an object whose
// numbers are strings. body is one of the shapes of this package. The form is written straight from
// the shape, eight times as fast as by a general transformation; a test holds the two together.
func Canonical(body any) ([]byte, error) {
	v := reflect.ValueOf(body)
	for v.Kind() == reflect.Pointer && !v.IsNil() {
		v = v.Elem()
	}
	if v.Kind() != reflect.Struct {
		return nil, fmt.Errorf("a %T has no canonical form", body)
	}
	var b bytes.Buffer
	err := canonicalValue(&b, v)
	return b.Bytes(), err
}

// canonicalField is a member of a canonical object.
type canonicalField struct {
	name  string
	index []int
	omit  bool // left out when empty
}

var (
	canonicalPlans sync.Map // reflect.Type -> []canonicalField
	typeM          = reflect.TypeFor[M]()
)

// canonicalPlan lists the members of a struct type that count for the hash.
func canonicalPlan(t reflect.Type) []canonicalField {
	if p, ok := canonicalPlans.Load(t); ok {
		return p.([]canonicalField)
	}
	p := collectCanonical(t, nil)
	// Member names are ASCII, so that byte order is the UTF-16 order of RFC 8785.
	slices.SortFunc(p, func(a, b canonicalField) int { return strings.Compare(a.name, b.name) })
	canonicalPlans.Store(t, p)
	return p
}

func collectCanonical(t reflect.Type, at []int) []canonicalField {
	var plan []canonicalField
	for i := range t.NumField() {
		f := t.Field(i)
		if f.Tag.Get("hash") == "-" {
			continue
		}
		index := append(slices.Clone(at), i)
		name, options, _ := strings.Cut(f.Tag.Get("json"), ",")
		switch {
		case f.Anonymous && name == "":
			plan = append(plan, collectCanonical(f.Type, index)...)
		case f.IsExported() && name != "" && name != "-":
			plan = append(plan, canonicalField{name, index, strings.HasPrefix(options, "omit")})
		}
	}
	return plan
}

func canonicalValue(b *bytes.Buffer, v reflect.Value) error {
	if v.Type() == typeM {
		return canonicalMeasured(b, v.Interface().(M))
	}
	switch v.Kind() {
	case reflect.Pointer:
		return canonicalValue(b, v.Elem())
	case reflect.Struct:
		return canonicalObject(b, v)
	case reflect.Slice:
		b.WriteByte('[')
		for i := range v.Len() {
			if i > 0 {
				b.WriteByte(',')
			}
			if err := canonicalValue(b, v.Index(i)); err != nil {
				return err
			}
		}
		b.WriteByte(']')
		return nil
	case reflect.Map:
		return canonicalMap(b, v)
	case reflect.String:
		canonicalText(b, v.String())
		return nil
	case reflect.Bool:
		b.WriteString(strconv.FormatBool(v.Bool()))
		return nil
	case reflect.Int, reflect.Int64:
		b.WriteString(strconv.FormatInt(v.Int(), 10))
		return nil
	case reflect.Float64:
		number, err := jcs.NumberToJSON(v.Float()) // refuses NaN and infinities
		b.WriteString(number)
		return err
	}
	return fmt.Errorf("a %s has no canonical form", v.Type())
}

// canonicalObject writes the members that are there. A struct that ends up empty counts as absent
// where it may be, so that {} and nothing are the same content.
func canonicalObject(b *bytes.Buffer, v reflect.Value) error {
	b.WriteByte('{')
	start := b.Len()
	for _, f := range canonicalPlan(v.Type()) {
		member := v.FieldByIndex(f.index)
		if f.omit && emptyMember(member) {
			continue
		}
		before := b.Len()
		if before > start {
			b.WriteByte(',')
		}
		b.WriteString(`"` + f.name + `":`)
		at := b.Len()
		if err := canonicalValue(b, member); err != nil {
			return err
		}
		if f.omit && member.Kind() == reflect.Struct && string(b.Bytes()[at:]) == "{}" {
			b.Truncate(before)
		}
	}
	b.WriteByte('}')
	return nil
}

func emptyMember(v reflect.Value) bool {
	switch v.Kind() {
	case reflect.Slice, reflect.Map:
		return v.Len() == 0
	case reflect.Struct:
		if v.Type() == typeM {
			return v.Interface().(M).IsZero()
		}
	}
	return v.IsZero()
}

func canonicalMap(b *bytes.Buffer, v reflect.Value) error {
	units := func(key reflect.Value) []uint16 { return utf16.Encode([]rune(norm.NFC.String(key.String()))) }
	keys := v.MapKeys()
	slices.SortFunc(keys, func(x, y reflect.Value) int { return slices.Compare(units(x), units(y)) })
	b.WriteByte('{')
	for i, key := range keys {
		if i > 0 {
			b.WriteByte(',')
		}
		canonicalText(b, key.String())
		b.WriteByte(':')
		if err := canonicalValue(b, v.MapIndex(key)); err != nil {
			return err
		}
	}
	b.WriteByte('}')
	return nil
}

// canonicalText writes a string in NFC with the escapes of RFC 8785 section 3.2.2.2.
func canonicalText(b *bytes.Buffer, s string) {
	b.WriteByte('"')
	for _, r := range norm.NFC.String(s) {
		switch {
		case r == '"' || r == '\\':
			b.WriteByte('\\')
			b.WriteRune(r)
		case r >= 0x20:
			b.WriteRune(r)
		case strings.ContainsRune("\b\t\n\f\r", r):
			b.WriteByte('\\')
			b.WriteByte("btn_fr"[r-'\b'])
		default:
			fmt.Fprintf(b, `\u%04x`, r)
		}
	}
	b.WriteByte('"')
}

// canonicalMeasured writes the digits as a string, or the members in their canonical order.
func canonicalMeasured(b *bytes.Buffer, m M) error {
	for _, v := range []float64{m.Value, m.Uncertainty, m.Resolution} {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return fmt.Errorf("a measured value is not finite: %v", v)
		}
	}
	if m.bare() {
		b.WriteString(`"` + m.Digits() + `"`)
		return nil
	}
	b.WriteByte('{')
	if m.Method != "" {
		b.WriteString(`"method":`)
		canonicalText(b, m.Method)
		b.WriteByte(',')
	}
	if m.Resolution != 0 {
		b.WriteString(`"resolution":"` + floatText(m.Resolution) + `",`)
	}
	if m.Uncertainty != 0 {
		b.WriteString(`"uncertainty":"` + floatText(m.Uncertainty) + `",`)
	}
	b.WriteString(`"value":"` + m.Digits() + `"}`)
	return nil
}
