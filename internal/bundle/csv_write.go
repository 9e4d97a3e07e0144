package bundle

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"
)

// CSVHeader gathers the columns that a set of records needs. The records of a sheet are gone through
// twice: once for its columns, once for its rows, so that it has no empty columns and any length.
type CSVHeader struct{ columns map[string]*csvColumn }

// Add takes the columns of one record in.
func (h *CSVHeader) Add(w Winding) error {
	if h.columns == nil {
		h.columns = map[string]*csvColumn{}
		for _, name := range append(slices.Clone(csvFirst), csvEscapeColumn) {
			h.columns[name], _ = parseColumn(name)
		}
	}
	cells, err := rowOf(w)
	if err != nil {
		return err
	}
	for name := range cells {
		if h.columns[name] == nil {
			h.columns[name], _ = parseColumn(name)
		}
	}
	return nil
}

// Names lists the columns in their order.
func (h *CSVHeader) Names() []string {
	columns := slices.Collect(maps.Values(h.columns))
	sortColumns(columns)
	names := make([]string, len(columns))
	for i, c := range columns {
		names[i] = c.name
	}
	return names
}

// CSVWriter writes winding records as an RFC 4180 sheet: UTF-8, a header row, one row for each record.
type CSVWriter struct {
	out     *csv.Writer
	columns []*csvColumn
	cells   []string
}

// NewCSVWriter writes the header row. names come from CSVHeader.
func NewCSVWriter(out io.Writer, names []string) (*CSVWriter, error) {
	w := &CSVWriter{out: csv.NewWriter(out), cells: make([]string, len(names))}
	w.out.UseCRLF = true
	for _, name := range names {
		c, ok := parseColumn(name)
		if !ok {
			return nil, fmt.Errorf("csv: there is no column %q", name)
		}
		w.columns = append(w.columns, c)
	}
	return w, w.out.Write(names)
}

// Write writes one record. What no column holds is an error: no part of a record is ever dropped.
func (w *CSVWriter) Write(record Winding) error {
	cells, err := rowOf(record)
	if err != nil {
		return err
	}
	written := 0
	for i, c := range w.columns {
		text, there := cells[c.name]
		if there {
			written++
		}
		if c.text() {
			text = escapeCell(text)
		}
		w.cells[i] = text
	}
	if written != len(cells) {
		return fmt.Errorf("csv: record %s has a column that the header lacks", record.ID)
	}
	return w.out.Write(w.cells)
}

// Flush writes what is still buffered.
func (w *CSVWriter) Flush() error {
	w.out.Flush()
	return w.out.Error()
}

// rowOf gives the cells of a record by their columns' names, not escaped. Empty cells are left out.
func rowOf(w Winding) (map[string]string, error) {
	w.Findings, w.Witness, w.ETag = nil, Witness{}, ""
	text, err := json.Marshal(w)
	if err != nil {
		return nil, err
	}
	dec := json.NewDecoder(bytes.NewReader(text))
	dec.UseNumber()
	var tree map[string]any
	if err := dec.Decode(&tree); err != nil {
		return nil, err
	}
	delete(tree, "created_at")
	delete(tree, "modified_at")
	cells := map[string]string{csvEscapeColumn: csvEscapeWord}
	p := csvLeaves()
	if err := takeLeaves(cells, "", p.top, tree); err != nil {
		return nil, err
	}
	for i, lead := range takeList(tree, "leads") {
		if err := takeLeaves(cells, fmt.Sprintf("lead_%d_", i+1), p.lead, lead); err != nil {
			return nil, err
		}
	}
	if err := takeSets(cells, p, tree); err != nil {
		return nil, err
	}
	if len(tree) > 0 {
		return nil, errors.New("csv: no column holds " + strings.Join(slices.Sorted(maps.Keys(tree)), ", "))
	}
	return cells, nil
}

// takeSets moves the coil sets into their columns.
func takeSets(cells map[string]string, p *csvPlan, tree map[string]any) error {
	scheme, _ := tree["scheme"].(map[string]any)
	seen := map[string]int{}
	var order []string
	for _, set := range takeList(scheme, "coil_sets") {
		role, _ := set["role"].(string)
		delete(set, "role")
		seen[role]++
		name := csvSetName(role, seen[role])
		order = append(order, name)
		for i, wire := range takeList(set, "wires") {
			prefix := name + "_wire_"
			if i > 0 {
				prefix = fmt.Sprintf("%s_wire_%d_", name, i+1)
			}
			if err := takeLeaves(cells, prefix, p.wire, wire); err != nil {
				return err
			}
		}
		if err := takeLeaves(cells, name+"_", p.set, set); err != nil {
			return err
		}
		delete(set, "pattern") // empty by now
		if len(set) > 0 {
			return fmt.Errorf("csv: no column holds %v of the coil set %s", slices.Sorted(maps.Keys(set)), name)
		}
	}
	if order != nil {
		cells[csvOrderColumn] = strings.Join(order, " ")
	}
	if scheme != nil && len(scheme) == 0 {
		delete(tree, "scheme")
	}
	return nil
}

// takeList takes a list of objects out of a tree.
func takeList(tree map[string]any, name string) []map[string]any {
	items, _ := tree[name].([]any)
	delete(tree, name)
	list := make([]map[string]any, len(items))
	for i, item := range items {
		list[i], _ = item.(map[string]any)
	}
	return list
}

// takeLeaves moves the leaves of a tree into their cells.
func takeLeaves(cells map[string]string, prefix string, leaves []csvLeaf, tree map[string]any) error {
	for _, l := range leaves {
		v, there := takePath(tree, l.path)
		if !there {
			continue
		}
		if long, ok := v.(map[string]any); ok && l.kind == csvMeasured {
			for _, part := range csvParts {
				if extra, ok := long[part]; ok {
					text, err := writeCell(csvText, extra)
					if err != nil {
						return err
					}
					cells[prefix+l.name+"_"+part] = text
				}
			}
			v = long["value"]
		}
		text, err := writeCell(l.kind, v)
		if err != nil {
			return err
		}
		if text != "" {
			cells[prefix+l.name] = text
		}
	}
	return nil
}

// takePath takes a value out of nested objects, and the objects that it leaves empty. An empty pattern
// stays: it is the caller's to see.
func takePath(tree map[string]any, path []string) (any, bool) {
	if len(path) == 0 {
		return nil, false
	}
	v, there := tree[path[0]]
	if !there || len(path) == 1 {
		delete(tree, path[0])
		return v, there
	}
	inner, _ := v.(map[string]any)
	v, there = takePath(inner, path[1:])
	if len(inner) == 0 {
		delete(tree, path[0])
	}
	return v, there
}
