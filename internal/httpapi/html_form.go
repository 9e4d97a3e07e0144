package httpapi

import (
	"cmp"
	"encoding/json"
	"errors"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"statorbook/internal/errs"
	"statorbook/internal/jsonin"
)

// inputKind tells how a figure is asked for in a form and how it is written into a body.
type inputKind string

const (
	askLength inputKind = "length" // mm or inch, with the instrument that it was read from
	askNumber inputKind = "number" // in the unit of its name
	askCount  inputKind = "count"
	askChoice inputKind = "choice"
	askPick   inputKind = "pick" // a choice among numbers
	askWords  inputKind = "words"
	askText   inputKind = "text"  // longer words
	askName   inputKind = "name"  // of a record, or its id; the page looks the name up
	askList   inputKind = "list"  // numbers in one line
	askLines  inputKind = "lines" // a list, one a line; the form's own reader makes JSON of it
	askTick   inputKind = "tick"
)

// input is one question of a form. Its name is the dotted name of the contract; the pointer says
// where its answer stands in the body of the operation that the form asks.
type input struct {
	Name    string
	Kind    inputKind
	Options []string // of a choice
	pointer string   // "" = the form's own reader makes something of it
}

// instrument is what a length was read from: unit and smallest step, common practice, no source.
type instrument struct {
	Name, Unit string
	step       string // in Unit, "" = not stated
}

// instruments lists the choices of a length. A 64th of an inch is exact in decimals.
var instruments = []instrument{
	{"mm", "mm", ""}, {"mm_rule", "mm", "0.5"}, {"mm_vernier", "mm", "0.05"}, {"mm_digital", "mm", "0.01"}, {"mm_micrometer", "mm", "0.001"},
	{"inch", "[in_i]", ""}, {"inch_rule", "[in_i]", "0.015625"}, {"inch_digital", "[in_i]", "0.001"}, {"inch_micrometer", "[in_i]", "0.0001"},
}

// withSuffix names the parameter that tells the instrument of a length.
const withSuffix = ".with"

// form is a set of questions with the answers of one request and what is wrong with them.
type form struct {
	inputs  []input
	values  map[string]string
	places  map[string]string // JSON pointer to the input whose answer stands there
	Faults  map[string][]string
	General []string // what is wrong with no single input
}

// paramsOf lists the parameters of a form.
func paramsOf(inputs []input, more ...string) []string {
	names := append([]string{"with"}, more...)
	for _, in := range inputs {
		names = append(names, in.Name)
		if in.Kind == askLength {
			names = append(names, in.Name+withSuffix)
		}
	}
	return names
}

// newForm takes the answers out of a query. What was left empty was not asked.
func newForm(q *query, inputs []input) *form {
	f := &form{inputs: inputs, values: map[string]string{}, places: map[string]string{}, Faults: map[string][]string{}}
	for name, v := range q.values {
		if v = strings.TrimSpace(v); v != "" {
			f.values[name] = v
		}
	}
	return f
}

// Value is the answer as it was typed.
func (f *form) Value(name string) string { return f.values[name] }

// Is tells whether an answer is that word.
func (f *form) Is(name, word string) bool { return f.values[name] == word }

// Fault lists what is wrong with an answer.
func (f *form) Fault(name string) []string { return f.Faults[name] }

// empty tells that nothing was answered but the instruments.
func (f *form) empty() bool {
	for _, in := range f.inputs {
		if f.values[in.Name] != "" {
			return false
		}
	}
	return true
}

// bad tells that something is wrong.
func (f *form) bad() bool { return len(f.Faults) > 0 || len(f.General) > 0 }

// refuse notes what is wrong with an answer.
func (f *form) refuse(name, text string) { f.Faults[name] = append(f.Faults[name], text) }

// decode writes the answers as the body of the operation and reads it into the struct that into
// points to, exactly as the operation does; what is refused is noted at the input that it came from.
func (f *form) decode(say texts, into any, lists map[string][]any) error {
	tree := f.tree(say, lists) // what cannot be written down is left out, so that all else is still looked at
	body, err := json.Marshal(tree)
	if err != nil {
		return errs.Wrap(errs.KindInternal, "", err)
	}
	return f.note(say, jsonin.Decode(body, into, jsonin.Single))
}

// note keeps the fields of a refusal; any other failure goes back to the caller.
func (f *form) note(say texts, err error) error {
	var known *errs.Error
	if !errors.As(err, &known) || known.Kind != errs.KindSyntax && known.Kind != errs.KindImpossible {
		return err
	}
	for _, field := range known.Fields {
		text := sentence(field.Detail)
		if name := f.inputAt(field.Pointer); name != "" && field.Code == jsonin.CodeRequired {
			f.refuse(name, say["fault.needed"]) // by no name of the contract
		} else if name != "" {
			f.refuse(name, text)
		} else {
			f.General = append(f.General, text)
		}
	}
	if len(known.Fields) == 0 {
		f.General = append(f.General, sentence(known.Detail))
	}
	return nil
}

// inputAt finds the input whose answer stands at a pointer, or above it, or is missing there.
func (f *form) inputAt(pointer string) string {
	if i := slices.IndexFunc(f.inputs, func(in input) bool { return in.pointer == pointer && f.places[pointer] == "" }); i >= 0 && pointer != "" {
		return f.inputs[i].Name
	}
	for p := pointer; p != ""; p = p[:strings.LastIndexByte(p, '/')] {
		if name, ok := f.places[p]; ok {
			return name
		}
	}
	return ""
}

// tree builds the body. Rows of a list that were left empty close up, so the places are noted as they come out.
func (f *form) tree(say texts, lists map[string][]any) map[string]any {
	root := map[string]any{}
	rows := map[string]int{} // pointer of a list, then of its row as asked, to the row as sent
	for _, in := range f.inputs {
		v := f.values[in.Name]
		if v == "" || in.Kind == askLines || in.Kind == askName || in.pointer == "" {
			continue
		}
		leaf, ok := f.leaf(say, in, v)
		if !ok {
			continue
		}
		at := place(root, rows, in.pointer, leaf)
		f.places[at] = in.Name
	}
	for pointer, list := range lists {
		f.places[place(root, rows, pointer, list)] = strings.ReplaceAll(pointer[1:], "/", ".")
	}
	return root
}

// leaf is the JSON of one answer.
func (f *form) leaf(say texts, in input, v string) (any, bool) {
	switch in.Kind {
	case askChoice, askWords, askText:
		return v, true
	case askList:
		return f.numbers(say, in, v)
	case askTick:
		return v == "yes", true
	case askLength:
		return f.length(say, in, v)
	}
	n, ok := typedNumber(v)
	if !ok {
		f.refuse(in.Name, say["fault.number"])
		return nil, false
	}
	return json.Number(n), true
}

// numbers is a list of numbers between spaces, commas or semicolons.
func (f *form) numbers(say texts, in input, v string) (any, bool) {
	var list []any
	for _, word := range strings.FieldsFunc(v, func(r rune) bool { return strings.ContainsRune(" ,;", r) }) {
		n, ok := typedNumber(word)
		if !ok {
			f.refuse(in.Name, say["fault.numbers"])
			return nil, false
		}
		list = append(list, json.Number(n))
	}
	return list, len(list) > 0
}

// tool is the instrument that a length was read with, the first if none or an unknown one was chosen.
func (f *form) tool(name string) instrument {
	with := cmp.Or(f.values[name+withSuffix], f.values["with"])
	return instruments[max(0, slices.IndexFunc(instruments, func(i instrument) bool { return i.Name == with }))]
}

// length is a measured length with its unit and the step of its instrument.
func (f *form) length(say texts, in input, v string) (any, bool) {
	tool := f.tool(in.Name)
	if with := cmp.Or(f.values[in.Name+withSuffix], f.values["with"]); with != "" && with != tool.Name {
		f.refuse(in.Name, say["fault.instrument"])
		return nil, false
	}
	n, ok := typedNumber(v)
	if !ok && tool.Unit != "mm" {
		n, ok = typedFraction(v)
	}
	if !ok {
		f.refuse(in.Name, say["fault.number"])
		return nil, false
	}
	if tool.Unit == "mm" && tool.step == "" {
		return json.Number(n), true
	}
	m := map[string]any{"value": json.Number(n), "unit": tool.Unit}
	if tool.step != "" {
		m["resolution"] = json.Number(tool.step)
	}
	return m, true
}

// place puts leaf at a pointer of root, making objects and lists on the way, and gives the pointer as it came out.
func place(root map[string]any, rows map[string]int, pointer string, leaf any) string {
	steps := strings.Split(strings.TrimPrefix(pointer, "/"), "/")
	node, at, asked := root, "", ""
	for i := 0; i < len(steps); i++ {
		asked += "/" + steps[i]
		at += "/" + steps[i]
		if i == len(steps)-1 {
			node[steps[i]] = leaf
			return at
		}
		if _, err := strconv.Atoi(steps[i+1]); err != nil {
			child, _ := node[steps[i]].(map[string]any)
			if child == nil {
				child = map[string]any{}
				node[steps[i]] = child
			}
			node = child
			continue
		}
		list, _ := node[steps[i]].([]any)
		row := asked + "/" + steps[i+1]
		n, seen := rows[row]
		if !seen {
			n = len(list)
			rows[row] = n
			list = append(list, map[string]any{})
			node[steps[i]] = list
		}
		node = list[n].(map[string]any)
		asked, at = row, at+"/"+strconv.Itoa(n)
		i++
	}
	return at
}

// Few tells a choice that is short enough to be shown whole.
func (in input) Few() bool {
	return (in.Kind == askChoice || in.Kind == askPick) && len(in.Options) <= 3
}

// query is the answers as the shortest address that gives them again, in the order of the questions.
func (f *form) query() string {
	var b strings.Builder
	add := func(name string) {
		if v := f.values[name]; v != "" {
			if b.Len() > 0 {
				b.WriteByte('&')
			}
			b.WriteString(url.QueryEscape(name) + "=" + url.QueryEscape(v))
		}
	}
	add("with")
	for _, in := range f.inputs {
		add(in.Name)
		if in.Kind == askLength && f.values[in.Name] != "" {
			add(in.Name + withSuffix)
		}
	}
	return b.String()
}

// given lists what was answered, as typed.
func (f *form) given() []input {
	var out []input
	for _, in := range f.inputs {
		if f.values[in.Name] != "" {
			out = append(out, in)
		}
	}
	return out
}

// assume answers a question that was left open, so that the form shows what was taken.
func (f *form) assume(name, value string) {
	if f.values[name] == "" {
		f.values[name] = value
	}
}
