package jsonin

import (
	"fmt"
	"reflect"
	"strconv"

	"statorbook/internal/errs"
)

// Decode reads data, one JSON object, into the struct that into points to. What is wrong comes
// back as one *errs.Error (the static type is error, so that a nil compares equal to nil) with a
// Field for every problem found. Its kind is KindSyntax when any problem is one of form (contract
// rule 1: 400), else KindTooLarge when an item limit is passed (413), else KindImpossible when
// only ranges are missed (422). After an error the target may be half filled; do not use it.
func Decode(data []byte, into any, lim Limits) error {
	lim = lim.filled()
	if len(data) > lim.Bytes {
		return errs.New(errs.KindTooLarge, fmt.Sprintf("The body is larger than %d bytes.", lim.Bytes),
			errs.Field{Code: CodeTooLarge, Detail: "send at most " + strconv.Itoa(lim.Bytes) + " bytes"})
	}
	t, fault := parse(string(data), lim)
	if fault != nil {
		return fault.asError()
	}
	return decodeNode(t, 0, into, lim)
}

// asError words a fault that ended reading.
func (f *syntaxError) asError() error {
	kind := errs.KindSyntax
	if f.code == CodeTooManyTokens {
		kind = errs.KindTooLarge
	}
	return errs.New(kind, "The body cannot be read as JSON: "+f.detail+".",
		errs.Field{Pointer: pointer(f.path), Code: f.code, Detail: f.detail, Got: f.got})
}

// Raw is a field that keeps its value unread, so that each item of a batch can be read, and can
// fail, by itself. The zero value is absent.
type Raw struct {
	t   *tree
	at  int32
	lim Limits
}

// Given reports whether the member was there and not null.
func (r Raw) Given() bool { return r.t != nil }

// Decode reads the kept value into the struct that into points to, as Decode does. Pointers start
// at the kept value, not at the body.
func (r Raw) Decode(into any) error {
	if r.t == nil {
		return errs.New(errs.KindSyntax, "A value is missing.", errs.Field{Code: CodeRequired, Detail: "give a value"})
	}
	return decodeNode(r.t, r.at, into, r.lim)
}

func decodeNode(t *tree, at int32, into any, lim Limits) error {
	target := reflect.ValueOf(into)
	if target.Kind() != reflect.Pointer || target.IsNil() {
		return errs.New(errs.KindInternal, "jsonin: the target is not a pointer")
	}
	d := &decoder{tree: t, lim: lim}
	root := fieldPlan{}
	if t.nodes[at].kind == Null {
		d.problem(CodeType, "an object is needed here, not null", nil, "null")
	} else {
		d.value(at, target.Elem(), &root.Field)
	}
	if d.broken != nil {
		return errs.Wrap(errs.KindInternal, "jsonin: a type cannot be read", d.broken)
	}
	return d.result()
}

// decoder maps one tree onto one target and gathers the problems.
type decoder struct {
	*tree
	lim      Limits
	path     []step
	fields   []errs.Field
	form     bool // a problem of form was found
	large    bool // an item limit was passed
	overflow bool // more problems than are reported
	broken   error
}

// problem notes one thing wrong at the present place.
func (d *decoder) problem(code, detail string, allowed any, got string) {
	if len(d.fields) >= d.lim.Problems {
		d.overflow = true
		return
	}
	switch code {
	case CodeTooManyItems:
		d.large = true
	case CodeRange:
	default:
		d.form = true
	}
	d.fields = append(d.fields, errs.Field{Pointer: pointer(d.path), Code: code, Detail: detail, Allowed: allowed, Got: got})
}

// result turns the problems into one error, nil if there are none.
func (d *decoder) result() error {
	if len(d.fields) == 0 {
		return nil
	}
	kind := errs.KindImpossible
	if d.large {
		kind = errs.KindTooLarge
	}
	if d.form {
		kind = errs.KindSyntax
	}
	detail := "One thing in the body is wrong."
	if n := len(d.fields); n > 1 {
		detail = strconv.Itoa(n) + " things in the body are wrong."
	}
	if d.overflow {
		detail = "More than " + strconv.Itoa(d.lim.Problems) + " things in the body are wrong; the first ones are listed."
	}
	return errs.New(kind, detail, d.fields...)
}

// stop reports that reading on has no use.
func (d *decoder) stop() bool { return d.overflow || d.broken != nil }

// raw is the text of a node as it stands in the body, quotes included, made fit to be shown.
func (d *decoder) got(at int32) string {
	n := &d.nodes[at]
	switch n.kind {
	case Array, Object:
		return n.kind.String()
	case String:
		s, _ := unescape(d.src[n.start:n.end])
		return excerpt(s)
	}
	return excerpt(d.src[n.start:n.end])
}

// wrongType notes a value of another JSON type.
func (d *decoder) wrongType(at int32, want string) {
	d.problem(CodeType, want+" is needed here, not "+article(d.nodes[at].kind), nil, d.got(at))
}

func article(k Kind) string {
	switch k {
	case Null:
		return "null"
	case Array, Object:
		return "an " + k.String()
	}
	return "a " + k.String()
}
