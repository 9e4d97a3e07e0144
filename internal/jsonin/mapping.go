package jsonin

import (
	"errors"
	"math"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"time"
)

// maxInteger bounds whole numbers: beyond it a 64-bit float is no longer exact (RFC 8259 section 6).
const maxInteger = 1 << 53

// value reads the node at into v. The node is not null.
func (d *decoder) value(at int32, v reflect.Value, f *Field) {
	t := v.Type()
	if t == rawType {
		v.Set(reflect.ValueOf(Raw{t: d.tree, at: at, lim: d.lim}))
		return
	}
	if v.CanAddr() && reflect.PointerTo(t).Implements(valueType) {
		v.Addr().Interface().(Value).ReadJSON(Node{d: d, at: at, field: f})
		return
	}
	if t == timeType {
		d.time(at, v)
		return
	}
	switch t.Kind() {
	case reflect.Pointer:
		if v.IsNil() {
			v.Set(reflect.New(t.Elem()))
		}
		d.value(at, v.Elem(), f)
	case reflect.Struct:
		d.object(at, v)
	case reflect.Slice:
		d.array(at, v, f)
	case reflect.Map:
		d.dictionary(at, v, f)
	case reflect.String:
		if s, ok := d.text(at, f); ok {
			v.SetString(s)
		}
	case reflect.Bool:
		if d.nodes[at].kind != Bool {
			d.wrongType(at, "true or false")
			return
		}
		v.SetBool(d.src[d.nodes[at].start] == 't')
	case reflect.Int, reflect.Int64:
		if n, ok := d.integer(at, f); ok {
			v.SetInt(int64(n))
		}
	case reflect.Float64:
		if x, _, ok := d.number(at, f); ok {
			v.SetFloat(x)
		}
	default:
		d.broken = errors.New("a field of type " + t.String() + " cannot be read")
	}
}

// object reads a JSON object into a struct.
func (d *decoder) object(at int32, v reflect.Value) {
	if d.nodes[at].kind != Object {
		d.wrongType(at, "an object")
		return
	}
	plan, err := planOf(v.Type())
	if err != nil {
		d.broken = err
		return
	}
	seen := make([]bool, len(plan.fields))
	given := make([]bool, len(plan.fields))
	for i, left := at+1, d.nodes[at].items; left > 0 && !d.stop(); i, left = d.nodes[i].next, left-1 {
		raw := d.src[d.nodes[i].nameStart:d.nodes[i].nameEnd]
		d.path = append(d.path, step{raw: raw, index: -1})
		d.member(i, raw, v, plan, seen, given)
		d.path = d.path[:len(d.path)-1]
	}
	if d.stop() {
		return
	}
	for i := range plan.fields {
		if f := &plan.fields[i]; f.Required && !given[i] {
			d.path = append(d.path, step{raw: f.Name, index: -1})
			d.problem(CodeRequired, f.Name+" is needed", nil, "")
			d.path = d.path[:len(d.path)-1]
		}
	}
}

// member reads one member of an object.
func (d *decoder) member(at int32, raw string, v reflect.Value, plan *structPlan, seen, given []bool) {
	name, _ := unescape(raw)
	i, known := plan.byName[name]
	if !known {
		d.unknown(at, name, plan)
		return
	}
	if seen[i] {
		d.problem(CodeDuplicate, name+" stands twice in this object; give it once", nil, d.got(at))
		return
	}
	seen[i] = true
	if d.nodes[at].kind == Null {
		return
	}
	given[i] = true
	f := &plan.fields[i]
	d.value(at, v.FieldByIndex(f.index), &f.Field)
}

// unknown words a name that the shape does not have.
func (d *decoder) unknown(at int32, name string, plan *structPlan) {
	meant := Suggest(name, plan.names)
	switch {
	case meant == "":
		d.problem(CodeUnknown, "this name is not known here", plan.names, d.got(at))
	case strings.EqualFold(meant, name):
		d.problem(CodeWrongCase, "names are case-sensitive: write "+meant, []string{meant}, excerpt(name))
	default:
		d.problem(CodeUnknown, "this name is not known here; did you mean "+meant+"?", plan.names, d.got(at))
	}
}

// checkItems holds the number of items against the bounds of the field.
func (d *decoder) checkItems(at int32, f *Field) bool {
	n := int(d.nodes[at].items)
	if f.MaxItems > 0 && n > f.MaxItems {
		d.problem(CodeTooManyItems, "at most "+items(f.MaxItems)+" taken here", AtMost(f.MaxItems), strconv.Itoa(n))
		return false
	}
	if n < f.MinItems {
		d.problem(CodeTooFewItems, "at least "+items(f.MinItems)+" needed here", AtLeast(f.MinItems), strconv.Itoa(n))
		return false
	}
	return true
}

// items counts items with their verb.
func items(n int) string {
	if n == 1 {
		return "1 item is"
	}
	return strconv.Itoa(n) + " items are"
}

func (d *decoder) array(at int32, v reflect.Value, f *Field) {
	if d.nodes[at].kind != Array {
		d.wrongType(at, "an array")
		return
	}
	if !d.checkItems(at, f) {
		return
	}
	n := int(d.nodes[at].items)
	list := reflect.MakeSlice(v.Type(), n, n)
	for i, k := at+1, 0; k < n && !d.stop(); i, k = d.nodes[i].next, k+1 {
		d.path = append(d.path, step{index: k})
		if d.nodes[i].kind == Null && v.Type().Elem() != rawType { // what is kept unread is judged by itself
			d.wrongType(i, "a value")
		} else {
			d.value(i, list.Index(k), f)
		}
		d.path = d.path[:len(d.path)-1]
	}
	v.Set(list)
}

// dictionary reads an object whose names are data. A null member is absent.
func (d *decoder) dictionary(at int32, v reflect.Value, f *Field) {
	if d.nodes[at].kind != Object {
		d.wrongType(at, "an object")
		return
	}
	if v.Type().Key().Kind() != reflect.String {
		d.broken = errors.New("a map of type " + v.Type().String() + " cannot be read")
		return
	}
	if !d.checkItems(at, f) {
		return
	}
	m := reflect.MakeMap(v.Type())
	for i, left := at+1, d.nodes[at].items; left > 0 && !d.stop(); i, left = d.nodes[i].next, left-1 {
		raw := d.src[d.nodes[i].nameStart:d.nodes[i].nameEnd]
		d.path = append(d.path, step{raw: raw, index: -1})
		d.entry(i, raw, m, f)
		d.path = d.path[:len(d.path)-1]
	}
	v.Set(m)
}

// entry reads one member of a dictionary.
func (d *decoder) entry(at int32, raw string, m reflect.Value, f *Field) {
	name, fault := cleanText(raw, maxStep, false)
	if fault != nil {
		d.problem(fault.code, fault.detail, nil, d.got(at))
		return
	}
	key := reflect.ValueOf(strings.Clone(name)).Convert(m.Type().Key())
	if m.MapIndex(key).IsValid() {
		d.problem(CodeDuplicate, "this name stands twice in this object; give it once", nil, d.got(at))
		return
	}
	if d.nodes[at].kind == Null {
		return
	}
	item := reflect.New(m.Type().Elem()).Elem()
	d.value(at, item, f)
	m.SetMapIndex(key, item)
}

// text reads a string and checks it against the field.
func (d *decoder) text(at int32, f *Field) (string, bool) {
	n := &d.nodes[at]
	if n.kind != String {
		d.wrongType(at, "a string")
		return "", false
	}
	runes := f.Runes
	if runes == 0 {
		runes = defaultRunes
	}
	s, fault := cleanText(d.src[n.start:n.end], runes, f.Lines)
	if fault != nil {
		var allowed any
		if fault.code == CodeTextLength {
			allowed = AtMost(runes)
		}
		d.problem(fault.code, fault.detail, allowed, d.got(at))
		return "", false
	}
	if f.Required && strings.TrimSpace(s) == "" {
		d.problem(CodeRequired, f.Name+" is needed and must not be blank", nil, d.got(at))
		return "", false
	}
	if f.Enum != nil && !slices.Contains(f.Enum, s) {
		detail := "write one of " + strings.Join(f.Enum, ", ")
		if meant := Suggest(s, f.Enum); meant != "" {
			detail = "did you mean " + meant + "? " + detail
		}
		d.problem(CodeValue, detail, f.Enum, d.got(at))
		return "", false
	}
	if form, ok := formats[f.Format]; ok && !form.ok(s) {
		d.problem(CodeFormat, "this must be "+form.want, nil, d.got(at))
		return "", false
	}
	return strings.Clone(s), true // a small text must not keep the whole body in memory
}

// number reads a number and checks it against the field; it also gives its text.
func (d *decoder) number(at int32, f *Field) (float64, string, bool) {
	n := &d.nodes[at]
	if n.kind != Number {
		d.wrongType(at, "a number")
		return 0, "", false
	}
	text := d.src[n.start:n.end]
	x, fault := cleanNumber(text)
	if fault != nil {
		d.problem(fault.code, fault.detail, nil, d.got(at))
		return 0, "", false
	}
	return x, text, d.inRange(at, x, f)
}

// inRange holds x against the bounds of the field.
func (d *decoder) inRange(at int32, x float64, f *Field) bool {
	if inBounds(x, f) {
		return true
	}
	d.problem(CodeRange, rangeText(f), Bounds{f.Min, f.Max}, d.got(at))
	return false
}

func inBounds(x float64, f *Field) bool {
	return (f.Min == nil || x >= *f.Min) && (f.Max == nil || x <= *f.Max)
}

func rangeText(f *Field) string {
	short := func(v *float64) string { return strconv.FormatFloat(*v, 'f', -1, 64) }
	switch {
	case f.Min == nil:
		return f.Name + " must be at most " + short(f.Max)
	case f.Max == nil:
		return f.Name + " must be at least " + short(f.Min)
	}
	return f.Name + " must be from " + short(f.Min) + " to " + short(f.Max)
}

// integer reads a whole number; 16.0 and 1e1 are whole (JSON Schema 2020-12, "integer").
func (d *decoder) integer(at int32, f *Field) (int, bool) {
	n := &d.nodes[at]
	if n.kind != Number {
		d.wrongType(at, "a whole number")
		return 0, false
	}
	x, fault := cleanNumber(d.src[n.start:n.end])
	if fault != nil {
		d.problem(fault.code, fault.detail, nil, d.got(at))
		return 0, false
	}
	if x != math.Trunc(x) {
		d.problem(CodeInteger, "a whole number is needed here", nil, d.got(at))
		return 0, false
	}
	if math.Abs(x) > maxInteger {
		low, high := -float64(maxInteger), float64(maxInteger)
		d.inRange(at, x, &Field{Name: f.Name, Min: &low, Max: &high})
		return 0, false
	}
	if !d.inRange(at, x, f) {
		return 0, false
	}
	if f.Enum != nil && !slices.Contains(f.Enum, strconv.Itoa(int(x))) {
		d.problem(CodeRange, f.Name+" must be one of "+strings.Join(f.Enum, ", "), f.Enum, d.got(at))
		return 0, false
	}
	return int(x), true
}

// time reads an RFC 3339 time and keeps it in UTC.
func (d *decoder) time(at int32, v reflect.Value) {
	s, ok := d.text(at, &Field{Runes: 40})
	if !ok {
		return
	}
	when, err := time.Parse(time.RFC3339Nano, s)
	if err != nil || when.Year() < 1 || when.Year() > 9999 {
		d.problem(CodeFormat, "this must be an RFC 3339 time such as 2026-01-31T12:00:00Z", nil, d.got(at))
		return
	}
	v.Set(reflect.ValueOf(when.UTC()))
}
