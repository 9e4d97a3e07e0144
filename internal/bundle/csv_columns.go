package bundle

import (
	"cmp"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"sync"

	"statorbook/internal/jsonin"
)

// One row of a CSV sheet is one winding record. Its columns are made from the JSON shapes, so that a
// column is read by the very definition that reads the member of a JSON record:
//
//   - the members of core_as_measured, its second_ring, nameplate, and liner have the prefixes core_,
//     core_second_ring_, plate_ and liner_; scheme.poles is poles; the other members have their own names;
//   - a coil set has its role as prefix (main_, auxiliary_, speed_, phase_u_ ...); a second set of the
//     same role has role_2_, and so on. Its wires are main_wire_system ..., the second wire main_wire_2_;
//   - leads are lead_1_mark ..., lead_2_mark ...;
//   - a measured value stands as a number in its column, in the unit of the column's name; columns with
//     the endings _uncertainty, _resolution and _method go with it;
//   - throws and turns are numbers parted by spaces, coils are in-out:turns parted by spaces, quality is
//     name=word parted by semicolons, coil_sets lists the prefixes of the sets in their order.
//
// What only the server says stays out, but for the columns of csvStanding, and so does an object that
// is there but empty: no cell could say so.

// csvKind is how a cell is written.
type csvKind int

const (
	csvText     csvKind = iota
	csvNumber           // a JSON number
	csvMeasured         // a JSON number; three more columns may go with it
	csvBool             // yes or no
	csvNumbers          // numbers parted by spaces
	csvCoils            // 1-8:33 2-7:33
	csvWords            // scheme=counted; nameplate.power_w=plate
	csvOrder            // main auxiliary
	csvEscape           // says that text cells are escaped
)

// csvLeaf is a member of a shape that has a column of its own.
type csvLeaf struct {
	name  string   // of the column, without prefix
	path  []string // of JSON names, from the shape
	kind  csvKind
	field jsonin.Field
}

// csvPlan holds the leaves of a record: those of the record itself, of a coil set, of a wire, of a lead.
type csvPlan struct{ top, set, wire, lead []csvLeaf }

// Names of columns that stand for no member.
const (
	csvOrderColumn  = "coil_sets"
	csvEscapeColumn = "text_escape"
	csvEscapeWord   = "apostrophe"
)

var (
	// csvFirst lead every sheet, in this order. The status is in every row (contract rule 7).
	csvFirst = []string{"id", "slug", "revision", "state", "status", "institute", "demo"}
	// csvStanding are the members of Standing that have a column; the others are the server's own.
	csvStanding = []string{"revision", "state", "status", "withdrawn_reason", "corrected_for", "institute"}
	// csvRenamed gives the prefix of the columns of a nested shape, where it is not its own name.
	csvRenamed = map[string]string{"core_as_measured": "core_", "nameplate": "plate_", "scheme": "", "pattern": ""}
	csvParts   = []string{"uncertainty", "resolution", "method"}
)

// csvLeaves is the plan of a winding record.
var csvLeaves = sync.OnceValue(func() *csvPlan {
	p := &csvPlan{
		top:  collectLeaves(reflect.TypeFor[Winding](), "", nil),
		set:  collectLeaves(reflect.TypeFor[CoilSet](), "", nil),
		wire: collectLeaves(reflect.TypeFor[Wire](), "", nil),
		lead: collectLeaves(reflect.TypeFor[Lead](), "", nil),
	}
	p.set = slices.DeleteFunc(p.set, func(l csvLeaf) bool { return l.name == "role" }) // it is in the prefix
	p.top = append(p.top, csvLeaf{name: csvOrderColumn, kind: csvOrder}, csvLeaf{name: csvEscapeColumn, kind: csvEscape})
	rank := func(l csvLeaf) int {
		if i := slices.Index(csvFirst, l.name); i >= 0 {
			return i
		}
		return len(csvFirst)
	}
	slices.SortStableFunc(p.top, func(a, b csvLeaf) int { return cmp.Compare(rank(a), rank(b)) })
	return p
})

// collectLeaves lists the members of a shape that get columns. Lists of shapes have columns of their own.
func collectLeaves(t reflect.Type, prefix string, path []string) []csvLeaf {
	var leaves []csvLeaf
	tags, _ := jsonin.Fields(t)
	byName := map[string]jsonin.Field{}
	for _, f := range tags {
		byName[f.Name] = f
	}
	for i := range t.NumField() {
		f := t.Field(i)
		name, _, _ := strings.Cut(f.Tag.Get("json"), ",")
		switch {
		case f.Type == reflect.TypeFor[Standing]():
			for _, l := range collectLeaves(f.Type, prefix, path) {
				if slices.Contains(csvStanding, l.name) {
					leaves = append(leaves, l)
				}
			}
			continue
		case f.Anonymous && name == "":
			leaves = append(leaves, collectLeaves(f.Type, prefix, path)...)
			continue
		}
		at := append(slices.Clone(path), name)
		if kind, ok := csvKindOf(f.Type); ok {
			column := prefix + name
			if name == "kind" && t == reflect.TypeFor[Pattern]() {
				column = "pattern"
			}
			leaves = append(leaves, csvLeaf{column, at, kind, byName[name]})
			continue
		}
		inner := f.Type
		if inner.Kind() == reflect.Pointer {
			inner = inner.Elem()
		}
		if inner.Kind() == reflect.Struct && inner.PkgPath() == t.PkgPath() {
			under, renamed := csvRenamed[name]
			if !renamed {
				under = prefix + name + "_"
			}
			leaves = append(leaves, collectLeaves(inner, under, at)...)
		}
	}
	return leaves
}

// csvKindOf tells how values of a type stand in one cell; false for those that do not.
func csvKindOf(t reflect.Type) (csvKind, bool) {
	switch t {
	case typeM:
		return csvMeasured, true
	case reflect.TypeFor[[]Coil]():
		return csvCoils, true
	case reflect.TypeFor[[]int](), reflect.TypeFor[[]float64]():
		return csvNumbers, true
	case reflect.TypeFor[map[string]string]():
		return csvWords, true
	case reflect.TypeFor[*bool]():
		return csvBool, true
	}
	switch t.Kind() {
	case reflect.String:
		return csvText, true
	case reflect.Bool:
		return csvBool, true
	case reflect.Int, reflect.Int64, reflect.Float64:
		return csvNumber, true
	}
	return 0, false
}

// csvColumn is one column of a sheet.
type csvColumn struct {
	name string
	leaf csvLeaf
	part string // "", or what of a measured value: uncertainty, resolution, method
	set  string // prefix of the coil set without its last _, "" outside of one
	wire int    // from 1, 0 outside of a wire
	lead int    // from 1, 0 outside of a lead
	rank [6]int // the order of columns
}

// text tells that the cell is text, which is escaped.
func (c *csvColumn) text() bool {
	return c.part == "method" || c.part == "" && c.leaf.kind != csvNumber && c.leaf.kind != csvMeasured
}

const (
	maxCSVSets  = 24 // of one record; the bound of scheme.coil_sets
	maxCSVWires = 8  // of one coil set
	maxCSVLeads = 60
)

// csvRoles are the roles of coil sets, in the order of their columns.
var csvRoles = []string{"main", "auxiliary", "speed", "phase_u", "phase_v", "phase_w"}

// csvSetName is the prefix of the nth set of a role, n from 1.
func csvSetName(role string, n int) string {
	if n == 1 {
		return role
	}
	return role + "_" + strconv.Itoa(n)
}

// parseColumn finds the column that has a name.
func parseColumn(name string) (*csvColumn, bool) {
	p := csvLeaves()
	if c, ok := leafColumn(p.top, name); ok {
		return c, true
	}
	if rest, ok := strings.CutPrefix(name, "lead_"); ok {
		n, inner, _ := strings.Cut(rest, "_")
		c, ok := leafColumn(p.lead, inner)
		number, err := strconv.Atoi(n)
		if !ok || err != nil || number < 1 || number > maxCSVLeads || n != strconv.Itoa(number) {
			return nil, false
		}
		c.name, c.lead = name, number
		c.rank[0], c.rank[1], c.rank[2] = 2, number, c.rank[4]
		return c, true
	}
	for i, role := range csvRoles {
		if rest, ok := strings.CutPrefix(name, role+"_"); ok {
			n, rest := cutNumber(rest, maxCSVSets)
			if c, ok := setColumn(p, rest); ok {
				c.name, c.set = name, csvSetName(role, n)
				c.rank[0], c.rank[1], c.rank[2] = 1, i, n
				return c, true
			}
		}
	}
	return nil, false
}

// setColumn finds a column of a coil set or of one of its wires.
func setColumn(p *csvPlan, name string) (*csvColumn, bool) {
	if rest, ok := strings.CutPrefix(name, "wire_"); ok {
		n, rest := cutNumber(rest, maxCSVWires)
		if c, ok := leafColumn(p.wire, rest); ok {
			c.wire, c.rank[3] = n, n
			return c, true
		}
	}
	return leafColumn(p.set, name)
}

// leafColumn finds a leaf, or a part of a measured one, by the name of its column.
func leafColumn(leaves []csvLeaf, name string) (*csvColumn, bool) {
	for i, l := range leaves {
		if l.name == name {
			return &csvColumn{name: name, leaf: l, rank: [6]int{0, 0, 0, 0, i, 0}}, true
		}
		for j, part := range csvParts {
			if l.kind == csvMeasured && name == l.name+"_"+part {
				return &csvColumn{name: name, leaf: l, part: part, rank: [6]int{0, 0, 0, 0, i, j + 1}}, true
			}
		}
	}
	return nil, false
}

// cutNumber cuts a leading 2_ to limit_ off a name; without one it is 1.
func cutNumber(name string, limit int) (int, string) {
	number, rest, ok := strings.Cut(name, "_")
	if n, err := strconv.Atoi(number); ok && err == nil && n >= 2 && n <= limit && number == strconv.Itoa(n) {
		return n, rest
	}
	return 1, name
}

// sortColumns puts columns into the order of the sheet.
func sortColumns(columns []*csvColumn) {
	slices.SortFunc(columns, func(a, b *csvColumn) int {
		return cmp.Or(slices.Compare(a.rank[:], b.rank[:]), cmp.Compare(a.name, b.name))
	})
}

// CSVColumn describes one column for people who fill a sheet in.
type CSVColumn struct {
	Name    string
	Holds   string   // text, number, yes or no, ...
	Unit    string   // UCUM code, "" for text and counts
	Allowed []string // the words that may stand, nil if any
	Min     *float64 // of a number
	Max     *float64
}

var csvHolds = map[csvKind]string{
	csvText: "text", csvNumber: "number", csvMeasured: "number", csvBool: "yes or no", csvNumbers: "numbers parted by spaces",
	csvCoils: "coils as in-out:turns, parted by spaces", csvWords: "name=word, parted by semicolons", csvOrder: "the coil sets in their order, parted by spaces",
	csvEscape: "the word apostrophe: a text that starts with = + - @ or a tab has an apostrophe before it",
}

// CSVColumns is the map of columns, with one coil set (main), one wire and one lead standing for all.
// A number in its own unit has besides its column those with the endings _uncertainty, _resolution and
// _method.
func CSVColumns() []CSVColumn {
	p := csvLeaves()
	var list []CSVColumn
	add := func(prefix string, leaves []csvLeaf) {
		for _, l := range leaves {
			c := CSVColumn{Name: prefix + l.name, Holds: csvHolds[l.kind], Allowed: l.field.Enum, Min: l.field.Min, Max: l.field.Max}
			if u := OwnUnit(&l.field); l.kind == csvMeasured && u != "1" {
				c.Unit = u
			}
			list = append(list, c)
		}
	}
	add("", p.top)
	add("main_", p.set)
	add("main_wire_", p.wire)
	add("lead_1_", p.lead)
	return list
}
