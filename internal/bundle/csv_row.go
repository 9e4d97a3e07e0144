package bundle

import (
	"errors"
	"fmt"
	"strconv"
	"strings"
	"unicode/utf8"

	"statorbook/internal/errs"
	"statorbook/internal/jsonin"
)

// rowBuilder puts cells into the tree of a record and remembers which column each member came from.
type rowBuilder struct {
	tree     map[string]any
	sets     []map[string]any
	setAt    map[string]int // prefix -> place in sets
	wires    map[string]map[int]map[string]any
	leads    map[int]map[string]any
	columns  map[string]string // pointer -> column
	problems []CSVProblem
}

func newRowBuilder(columns []*csvColumn, cells []string) *rowBuilder {
	b := &rowBuilder{tree: map[string]any{}, setAt: map[string]int{}, wires: map[string]map[int]map[string]any{}, leads: map[int]map[string]any{}, columns: map[string]string{}}
	order, given := "", []*csvColumn{}
	for i, c := range columns {
		switch {
		case cells[i] == "":
		case c.leaf.kind == csvOrder:
			order = cells[i]
		case c.set != "":
			given = append(given, c)
		}
	}
	for _, name := range strings.Fields(unescapeCell(order)) {
		if c, ok := parseColumn(name + "_mass_g"); !ok || c.set != name || b.setAt[name] != 0 {
			b.problem(csvOrderColumn, &CSVProblem{Code: CodeCSVCell, Detail: "name each coil set once, as its columns start: main, auxiliary, speed, speed_2 ...", Got: name})
			continue
		}
		b.addSet(name)
	}
	sortColumns(given)
	for _, c := range given {
		if b.setAt[c.set] == 0 {
			b.addSet(c.set)
		}
	}
	return b
}

// addSet makes room for a coil set. Places count from 1.
func (b *rowBuilder) addSet(name string) {
	role := name
	if i := strings.LastIndexByte(name, '_'); i > 0 {
		if _, err := strconv.Atoi(name[i+1:]); err == nil {
			role = name[:i]
			if n, _ := strconv.Atoi(name[i+1:]); b.setAt[csvSetName(role, n-1)] == 0 {
				b.problem("", &CSVProblem{Code: CodeCSVGap, Detail: "there is a coil set " + name + ", but none before it; fill the columns in order"})
			}
		}
	}
	b.sets = append(b.sets, map[string]any{"role": role})
	b.setAt[name] = len(b.sets)
	b.wires[name] = map[int]map[string]any{}
}

// cell puts one cell in its place.
func (b *rowBuilder) cell(c *csvColumn, text string) {
	if !utf8.ValidString(text) { // encoding/json would put U+FFFD in its place
		b.problem(c.name, &CSVProblem{Code: jsonin.CodeUTF8, Detail: "the text is not valid UTF-8; save the sheet as UTF-8"})
		return
	}
	if c.text() {
		text = unescapeCell(text)
	}
	var v any = text
	var p *CSVProblem
	switch {
	case c.leaf.kind == csvOrder:
		return
	case c.leaf.kind == csvEscape:
		if text != csvEscapeWord {
			b.problem(c.name, &CSVProblem{Code: CodeCSVCell, Detail: "only apostrophe is understood here", Got: text})
		}
		return
	case c.part == "uncertainty" || c.part == "resolution":
		v, p = orProblem(readNumber(text))
	case c.part == "":
		v, p = readCell(c.leaf.kind, text)
	}
	if p != nil {
		b.problem(c.name, p)
		return
	}
	tree, at := b.place(c)
	for _, name := range c.leaf.path[:len(c.leaf.path)-1] {
		inner, ok := tree[name].(map[string]any)
		if !ok {
			inner = map[string]any{}
			tree[name] = inner
		}
		tree = inner
	}
	name := c.leaf.path[len(c.leaf.path)-1]
	at += pathOf(c.leaf.path)
	if c.leaf.kind != csvMeasured {
		tree[name], b.columns[at] = v, c.name
		return
	}
	b.measured(tree, name, at, c, v)
}

// measured puts a number, or a part that goes with it, in its place.
func (b *rowBuilder) measured(tree map[string]any, name, at string, c *csvColumn, v any) {
	long, ok := tree[name].(map[string]any)
	if !ok {
		long = map[string]any{}
		tree[name] = long
	}
	part := c.part
	if part == "" {
		part = "value"
		b.columns[at] = c.name
	}
	long[part] = v
	b.columns[at+"/"+part] = c.name
	if b.columns[at] == "" {
		b.columns[at] = c.name
	}
}

// place gives the object that a column's member belongs to, and its pointer.
func (b *rowBuilder) place(c *csvColumn) (map[string]any, string) {
	switch {
	case c.lead > 0:
		if b.leads[c.lead] == nil {
			b.leads[c.lead] = map[string]any{}
		}
		return b.leads[c.lead], pathOf("leads", c.lead-1)
	case c.wire > 0:
		wires := b.wires[c.set]
		if wires[c.wire] == nil {
			wires[c.wire] = map[string]any{}
		}
		return wires[c.wire], pathOf("scheme", "coil_sets", b.setAt[c.set]-1, "wires", c.wire-1)
	case c.set != "":
		return b.sets[b.setAt[c.set]-1], pathOf("scheme", "coil_sets", b.setAt[c.set]-1)
	}
	return b.tree, ""
}

// close joins sets, wires and leads to the record.
func (b *rowBuilder) close() {
	for name, at := range b.setAt {
		if at == 0 {
			continue
		}
		set := b.sets[at-1]
		set["wires"] = b.list(b.wires[name], name+"_wire")
		if set["coils"] == nil && set["pattern"] == nil {
			set["pattern"] = map[string]any{}
		}
	}
	if b.sets != nil {
		scheme, ok := b.tree["scheme"].(map[string]any)
		if !ok {
			scheme = map[string]any{}
			b.tree["scheme"] = scheme
		}
		scheme["coil_sets"] = b.sets
	}
	if len(b.leads) > 0 {
		b.tree["leads"] = b.list(b.leads, "lead")
	}
}

// list puts numbered objects into a list and names the first gap.
func (b *rowBuilder) list(numbered map[int]map[string]any, what string) []map[string]any {
	list := []map[string]any{}
	for n := 1; n <= len(numbered); n++ {
		item, ok := numbered[n]
		if !ok {
			b.problem("", &CSVProblem{Code: CodeCSVGap, Detail: fmt.Sprintf("%s number %d is empty, but a later one is not; fill them in order", what, n)})
			break
		}
		list = append(list, item)
	}
	return list
}

func (b *rowBuilder) problem(column string, p *CSVProblem) {
	p.Column, p.Got = column, shorten(p.Got)
	b.problems = append(b.problems, *p)
}

// explain turns the problems of the strict reader into those of columns.
func (b *rowBuilder) explain(err error) []CSVProblem {
	var e *errs.Error
	if !errors.As(err, &e) || len(e.Fields) == 0 {
		return []CSVProblem{{Code: CodeCSVCell, Detail: err.Error()}}
	}
	list := make([]CSVProblem, len(e.Fields))
	for i, f := range e.Fields {
		list[i] = CSVProblem{Column: b.columnAt(f.Pointer), Code: f.Code, Detail: f.Detail, Got: shorten(f.Got)}
		if list[i].Column == "" {
			list[i].Detail = strings.TrimPrefix(f.Pointer, "/") + ": " + f.Detail
		}
	}
	return list
}

// columnAt finds the column of a pointer, or of what it points into.
func (b *rowBuilder) columnAt(pointer string) string {
	for pointer != "" {
		if column := b.columns[pointer]; column != "" {
			return column
		}
		pointer = pointer[:strings.LastIndexByte(pointer, '/')]
	}
	return ""
}
