package bundle

import (
	"bytes"
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"math"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"sync"

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
// numbers are strings. body is one of the shapes of this package.
func Canonical(body any) ([]byte, error) {
	v := reflect.ValueOf(body)
	for v.Kind() == reflect.Pointer && !v.IsNil() {
		v = v.Elem()
	}
	if v.Kind() != reflect.Struct {
		return nil, fmt.Errorf("a %T has no canonical form", body)
	}
	var b bytes.Buffer
	if err := canonicalValue(&b, v); err != nil {
		return nil, err
	}
	return jcs.Transform(b.Bytes())
}

// canonicalField is a member of a canonical object.
type canonicalField struct {
	name  string // as JSON, with colon
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
			plan = append(plan, canonicalField{strconv.Quote(name) + ":", index, strings.HasPrefix(options, "omit")})
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
		return canonicalText(b, v.String())
	case reflect.Bool:
		b.WriteString(strconv.FormatBool(v.Bool()))
		return nil
	case reflect.Int, reflect.Int64:
		b.WriteString(strconv.FormatInt(v.Int(), 10))
		return nil
	case reflect.Float64:
		x := v.Float()
		if math.IsNaN(x) || math.IsInf(x, 0) {
			return fmt.Errorf("a number is not finite: %v", x)
		}
		b.WriteString(strconv.FormatFloat(x, 'g', -1, 64))
		return nil
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
		b.WriteString(f.name)
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
	b.WriteByte('{')
	for i, key := range v.MapKeys() { // any order: the transformation sorts
		if i > 0 {
			b.WriteByte(',')
		}
		if err := canonicalText(b, key.String()); err != nil {
			return err
		}
		b.WriteByte(':')
		if err := canonicalValue(b, v.MapIndex(key)); err != nil {
			return err
		}
	}
	b.WriteByte('}')
	return nil
}

func canonicalText(b *bytes.Buffer, s string) error {
	text, err := json.Marshal(norm.NFC.String(s))
	if err != nil {
		return err
	}
	b.Write(text)
	return nil
}

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
	b.WriteString(`{"value":"` + m.Digits() + `"`)
	if m.Uncertainty != 0 {
		b.WriteString(`,"uncertainty":"` + floatText(m.Uncertainty) + `"`)
	}
	if m.Resolution != 0 {
		b.WriteString(`,"resolution":"` + floatText(m.Resolution) + `"`)
	}
	if m.Method != "" {
		b.WriteString(`,"method":`)
		if err := canonicalText(b, m.Method); err != nil {
			return err
		}
	}
	b.WriteByte('}')
	return nil
}
