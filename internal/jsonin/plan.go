package jsonin

import (
	"fmt"
	"reflect"
	"strconv"
	"strings"
	"sync"
	"time"
)

// Field is what the tags say about the field that a value stands in.
type Field struct {
	Name               string // member name
	Required, Lines    bool
	Min, Max           *float64
	Enum               []string
	Runes              int // 0 = default
	MinItems, MaxItems int // 0 = no bound
	Format, Unit       string
}

// fieldPlan is a field of a struct with the way to it.
type fieldPlan struct {
	Field
	index []int
}

// structPlan is how a struct type reads.
type structPlan struct {
	fields []fieldPlan
	byName map[string]int
	names  []string
}

var (
	plans     sync.Map // reflect.Type -> *structPlan
	valueType = reflect.TypeFor[Value]()
	rawType   = reflect.TypeFor[Raw]()
	timeType  = reflect.TypeFor[time.Time]()
)

// planOf returns the plan of struct type t. A type that this package cannot read is a fault of
// the program and comes back as an error, never as a panic.
func planOf(t reflect.Type) (*structPlan, error) {
	if p, ok := plans.Load(t); ok {
		return p.(*structPlan), nil
	}
	p := &structPlan{byName: map[string]int{}}
	if err := p.collect(t, nil); err != nil {
		return nil, err
	}
	actual, _ := plans.LoadOrStore(t, p)
	return actual.(*structPlan), nil
}

// collect adds the fields of t, those of embedded structs included.
func (p *structPlan) collect(t reflect.Type, at []int) error {
	for i := range t.NumField() {
		f := t.Field(i)
		index := append(append([]int(nil), at...), i)
		name, _, _ := strings.Cut(f.Tag.Get("json"), ",")
		if f.Anonymous && name == "" && f.Type.Kind() == reflect.Struct && !readsItself(f.Type) {
			if err := p.collect(f.Type, index); err != nil {
				return err
			}
			continue
		}
		if !f.IsExported() || name == "-" || name == "" {
			continue
		}
		field, err := parseTag(name, f.Tag.Get("in"))
		if err != nil {
			return fmt.Errorf("%s.%s: %w", t, f.Name, err)
		}
		if _, twice := p.byName[name]; twice {
			return fmt.Errorf("%s.%s: the name %s stands twice", t, f.Name, name)
		}
		p.byName[name] = len(p.fields)
		p.fields = append(p.fields, fieldPlan{Field: field, index: index})
		p.names = append(p.names, name)
	}
	return nil
}

// readsItself reports types that are taken as one value though they are structs.
func readsItself(t reflect.Type) bool {
	return t == rawType || t == timeType || reflect.PointerTo(t).Implements(valueType)
}

// parseTag reads the `in` tag.
func parseTag(name, tag string) (Field, error) {
	f := Field{Name: name}
	if tag == "" {
		return f, nil
	}
	for option := range strings.SplitSeq(tag, ",") {
		key, value, _ := strings.Cut(option, "=")
		var err error
		switch key {
		case "required":
			f.Required = true
		case "lines":
			f.Lines = true
		case "min":
			f.Min, err = parseBound(value)
		case "max":
			f.Max, err = parseBound(value)
		case "enum":
			f.Enum = strings.Split(value, "|")
		case "runes":
			f.Runes, err = strconv.Atoi(value)
		case "minitems":
			f.MinItems, err = strconv.Atoi(value)
		case "maxitems":
			f.MaxItems, err = strconv.Atoi(value)
		case "format":
			f.Format = value
			if _, known := formats[value]; !known {
				err = fmt.Errorf("unknown format %q", value)
			}
		case "unit":
			f.Unit = value
		default:
			err = fmt.Errorf("unknown option %q", key)
		}
		if err != nil {
			return f, fmt.Errorf("tag option %q: %w", option, err)
		}
	}
	return f, nil
}

func parseBound(s string) (*float64, error) {
	v, err := strconv.ParseFloat(s, 64)
	return &v, err
}

// Fields lists what the tags of struct type T say, in the order of the struct, for tests and for
// documents that must agree with the reader.
func Fields(t reflect.Type) ([]Field, error) {
	p, err := planOf(t)
	if err != nil {
		return nil, err
	}
	list := make([]Field, len(p.fields))
	for i := range p.fields {
		list[i] = p.fields[i].Field
	}
	return list, nil
}
