package httpapi

import (
	"net/url"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"statorbook/internal/errs"
	"statorbook/internal/jsonin"
)

// query reads the query string strictly and gathers everything that is wrong with it. Reading a
// parameter that was not sent gives the zero value.
type query struct {
	values map[string]string
	offer  int // which of the media types on offer the caller wants most
	known  []string
	fields []errs.Field
	form   bool // a field is a mistake of form; else all are understood, but impossible

	page      bool     // for people: a name like no known one is set aside and told, not refused
	strangers []string // the names set aside
}

// numberGrammar is the JSON grammar of a number.
var numberGrammar = regexp.MustCompile(`^-?(0|[1-9][0-9]*)(\.[0-9]+)?([eE][+-]?[0-9]+)?$`)

// newQuery takes the raw query apart: a name outside known, a name sent twice, a broken escape, and
// text with control or non-UTF-8 bytes are mistakes. An address of a page may have passed through a
// messenger that hung a name of its own on it: for a page that is no mistake.
func newQuery(raw string, known []string, page bool) *query {
	q := &query{known: known, page: page}
	if raw == "" {
		return q
	}
	q.values = make(map[string]string)
	for part := range strings.SplitSeq(raw, "&") {
		if part != "" {
			q.take(part)
		}
	}
	return q
}

// take reads one name=value.
func (q *query) take(part string) {
	rawName, rawValue, _ := strings.Cut(part, "=")
	name, errName := url.QueryUnescape(rawName)
	value, errValue := url.QueryUnescape(rawValue)
	switch {
	case errName != nil || errValue != nil || strings.Contains(part, ";"):
		q.refuse(printable(rawName), codeEscape, "Percent-encode this parameter as a form does; ; does not separate parameters.", nil, part)
	case !clean(name) || !clean(value):
		q.refuse(printable(name), codeText, "Send valid UTF-8 without control characters.", nil, printable(value))
	case !slices.Contains(q.known, name):
		q.unknown(name)
	default:
		if _, twice := q.values[name]; twice {
			q.refuse(name, codeRepeated, "Send "+name+" once.", nil, value)
			return
		}
		q.values[name] = value
	}
}

func (q *query) unknown(name string) {
	detail := "There is no parameter " + shorten(name) + " here."
	meant := jsonin.Suggest(name, q.known)
	switch {
	case q.page && meant == "":
		q.strangers = append(q.strangers, shorten(name))
		return
	case len(q.known) == 0:
		detail = "This address takes no parameters."
	case meant != "":
		detail += " Did you mean " + meant + "?"
	}
	q.refuse(shorten(name), codeUnknownParameter, detail, q.known, name)
}

func (q *query) refuse(name, code, detail string, allowed any, got string) {
	if list, ok := allowed.([]string); ok && len(list) == 0 {
		allowed = nil
	}
	q.form = q.form || code != jsonin.CodeRange && code != codeWindow
	q.fields = append(q.fields, errs.Field{Parameter: name, Code: code, Detail: detail, Allowed: allowed, Got: got})
}

// err gives all mistakes together, nil if there is none: malformed when any is a mistake of form,
// impossible when only ranges are missed.
func (q *query) err() error {
	if len(q.fields) == 0 {
		return nil
	}
	kind := errs.KindImpossible
	if q.form {
		kind = errs.KindSyntax
	}
	slices.SortStableFunc(q.fields, func(a, b errs.Field) int { return strings.Compare(a.Parameter, b.Parameter) })
	return errs.New(kind, "", q.fields...)
}

// text gives a parameter of at most most characters; sent but empty is a mistake.
func (q *query) text(name string, most int) string {
	v, sent := q.values[name]
	if !sent {
		return ""
	}
	if v == "" || utf8.RuneCountInString(v) > most {
		q.refuse(name, jsonin.CodeTextLength, name+" has 1 to "+strconv.Itoa(most)+" characters.", nil, v)
		return ""
	}
	return v
}

// enum gives a parameter that must be one of allowed, written exactly so.
func (q *query) enum(name string, allowed ...string) string {
	v, sent := q.values[name]
	if !sent || slices.Contains(allowed, v) {
		return v
	}
	q.refuseEnum(name, v, allowed)
	return ""
}

func (q *query) refuseEnum(name, got string, allowed []string) {
	detail := name + " is one of " + strings.Join(allowed, ", ") + "."
	if meant := jsonin.Suggest(got, allowed); meant != "" {
		detail += " Did you mean " + meant + "?"
	}
	q.refuse(name, jsonin.CodeValue, detail, allowed, got)
}

// list gives a comma-separated parameter whose items are each one of allowed, none twice.
func (q *query) list(name string, allowed ...string) []string {
	v, sent := q.values[name]
	if !sent {
		return nil
	}
	var items []string
	for item := range strings.SplitSeq(v, ",") {
		switch {
		case !slices.Contains(allowed, item):
			q.refuseEnum(name, item, allowed)
		case slices.Contains(items, item):
			q.refuse(name, codeRepeatedItem, "Name "+item+" once.", nil, v)
		default:
			items = append(items, item)
		}
	}
	return items
}

// number gives a finite number in [low, high]; ok tells whether a good one was sent.
func (q *query) number(name string, low, high float64) (value float64, ok bool) {
	text, sent := q.values[name]
	if !sent {
		return 0, false
	}
	const longest = 32
	v, err := strconv.ParseFloat(text, 64)
	switch {
	case len(text) > longest || !numberGrammar.MatchString(text):
		q.refuse(name, codeNumber, name+" is a decimal number of at most 32 characters.", bounds(low, high), text)
	case err != nil:
		q.refuse(name, jsonin.CodeOverflow, name+" is too large for a 64-bit float.", bounds(low, high), text)
	case v == 0 && strings.ContainsAny(mantissa(text), "123456789"):
		q.refuse(name, jsonin.CodeUnderflow, name+" is too small for a 64-bit float.", bounds(low, high), text)
	case v < low || v > high:
		q.refuse(name, jsonin.CodeRange, name+" lies between "+plain(low)+" and "+plain(high)+".", bounds(low, high), text)
	default:
		return v, true
	}
	return 0, false
}

// whole gives an integer in [low, high], 0 when it was not sent.
func (q *query) whole(name string, low, high int) int {
	text, sent := q.values[name]
	if !sent {
		return 0
	}
	v, err := strconv.Atoi(text)
	detail := name + " is a whole number from " + strconv.Itoa(low) + " to " + strconv.Itoa(high) + "."
	switch {
	case err != nil || !numberGrammar.MatchString(text):
		q.refuse(name, jsonin.CodeInteger, detail, bounds(float64(low), float64(high)), text)
	case v < low || v > high:
		q.refuse(name, jsonin.CodeRange, detail, bounds(float64(low), float64(high)), text)
	default:
		return v
	}
	return 0
}

// pageSize gives page_size; out of range is a mistake and never silently cut.
func (q *query) pageSize() int {
	_, sent := q.values["page_size"]
	if !sent {
		return pageSizeDefault
	}
	n := q.whole("page_size", 1, pageSizeMax)
	for i, f := range q.fields {
		if f.Parameter == "page_size" && f.Code == jsonin.CodeRange {
			q.fields[i].Code, q.form = codePageSize, true // a fault of form by the contract, unlike other ranges
		}
	}
	return n
}

// filters gives all parameters but those of without, sorted and encoded: the scope of page tokens.
func (q *query) filters(without ...string) string {
	kept := url.Values{}
	for name, value := range q.values {
		if !slices.Contains(without, name) {
			kept.Set(name, value)
		}
	}
	return kept.Encode()
}

func bounds(low, high float64) jsonin.Bounds { return jsonin.Bounds{Min: &low, Max: &high} }

func mantissa(number string) string {
	m, _, _ := strings.Cut(strings.ToLower(number), "e")
	return m
}

func plain(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// clean tells whether s is valid UTF-8 without control or text-direction characters.
func clean(s string) bool {
	return utf8.ValidString(s) && strings.IndexFunc(s, func(r rune) bool {
		return unicode.IsControl(r) || unicode.Is(unicode.Bidi_Control, r) || r == utf8.RuneError
	}) < 0
}

// printable makes hostile text fit to be shown.
func printable(s string) string { return strings.ToValidUTF8(shorten(s), "\uFFFD") }
