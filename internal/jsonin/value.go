package jsonin

import "reflect"

// Value is a type that reads itself, because its JSON has more than one form. ReadJSON must not
// panic, and tells what is wrong by the methods of Node.
type Value interface{ ReadJSON(Node) }

// Node is one JSON value that is being read. It must not be kept after ReadJSON.
type Node struct {
	d     *decoder
	at    int32
	field *Field
}

// Kind is the JSON type of the value; it is never Null.
func (n Node) Kind() Kind { return n.d.nodes[n.at].kind }

// Field tells what the tags say about the field that the value stands in.
func (n Node) Field() *Field { return n.field }

// Number reads a number: its value and its digits as typed. The tags' bounds are not applied; see
// Check. It reports false, with the problem noted, for anything else or an unfit number.
func (n Node) Number() (v float64, text string, ok bool) {
	return n.d.number(n.at, &Field{Name: n.field.Name})
}

// Int reads a whole number within the bounds of the tags, or notes the problem.
func (n Node) Int() (int, bool) { return n.d.integer(n.at, n.field) }

// Text reads a string by the tags of the field, or notes the problem.
func (n Node) Text() (string, bool) { return n.d.text(n.at, n.field) }

// Check holds v, in the field's own unit, against the bounds of the tags and notes a value outside.
func (n Node) Check(v float64) bool { return n.d.inRange(n.at, v, n.field) }

// Object reads an object into the struct that into points to. It reports whether that raised no problem.
func (n Node) Object(into any) bool {
	before := len(n.d.fields)
	n.d.value(n.at, reflect.ValueOf(into).Elem(), n.field)
	return len(n.d.fields) == before && n.d.broken == nil
}

// WrongType notes that want (with its article) is needed here.
func (n Node) WrongType(want string) { n.d.wrongType(n.at, want) }

// Fail notes a problem of the value itself. Only CodeRange and CodeTooManyItems are not problems of form.
func (n Node) Fail(code, detail string, allowed any) {
	n.d.problem(code, detail, allowed, n.d.got(n.at))
}

// FailAt notes a problem of a member of the value.
func (n Node) FailAt(member, code, detail string, allowed any, got string) {
	n.d.path = append(n.d.path, step{raw: member, index: -1})
	n.d.problem(code, detail, allowed, excerpt(got))
	n.d.path = n.d.path[:len(n.d.path)-1]
}

// CheckAt holds v, read from a member of the value, against the bounds of the tags.
func (n Node) CheckAt(member string, v float64, got string) bool {
	if inBounds(v, n.field) {
		return true
	}
	n.FailAt(member, CodeRange, rangeText(n.field), Bounds{n.field.Min, n.field.Max}, got)
	return false
}
