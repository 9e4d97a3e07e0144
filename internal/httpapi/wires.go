package httpapi

import (
	"errors"
	"slices"
	"strings"

	"statorbook/internal/errs"
	"statorbook/internal/unit"
	"statorbook/internal/wire"

	"github.com/gin-gonic/gin"
)

// The query parameters and formats of the wire table.
var (
	paramsWire  = []string{"build", "material", "temperature_c", "units"}
	paramsWires = append([]string{"system", "size", "min_diameter_mm", "max_diameter_mm", "columns", "page_size", "page_token"}, paramsWire...)
	offersWires = []string{"application/json", "text/csv", "application/x-ndjson"}
)

// The temperatures at which resistance is reckoned, °C; the linear law falls short outside.
const temperatureMin, temperatureMax = -50, 300

// getWire answers GET /v1/wires/{id}.
func (s *server) getWire(c *gin.Context, q *query) error {
	o := readWireOptions(q)
	if err := q.err(); err != nil {
		return err
	}
	snap, tables, err := s.tables()
	if err != nil {
		return err
	}
	i, found := tables.at[c.Param("id")]
	if !found {
		return unknownWire(snap.Wires, c.Param("id"))
	}
	d, err := tables.document(i, o)
	if err != nil {
		return err
	}
	return sendDocument(c, d)
}

// listWires answers GET /v1/wires in JSON by pages, in CSV and JSON Lines as a whole unless a page is asked for.
func (s *server) listWires(c *gin.Context, q *query) error {
	snap, tables, err := s.tables()
	if err != nil {
		return err
	}
	o := readWireOptions(q)
	f := readWireFilter(q, snap.Wires)
	columns := q.list("columns", columnNames()...)
	format := offersWires[q.offer]
	size, after := s.readPage(q, c.Request.URL.Path)
	if _, paged := q.values["page_size"]; format != offersWires[0] && !paged && after == "" {
		size = len(tables.sizes)
	}
	if format == offersWires[0] && columns != nil {
		q.refuse("columns", codeNotHere, "columns is for text/csv and application/x-ndjson; ask for one of them in Accept.", nil, format)
	}
	if err := q.err(); err != nil {
		return err
	}
	at := tables.filter(f, o)
	if after != "" {
		i, found := tables.at[after]
		if !found {
			return errs.New(errs.KindSyntax, "", badToken(q.values["page_token"]))
		}
		at = slices.DeleteFunc(at, func(j int) bool { return j <= i })
	}
	var end pageEnd
	if len(at) > size {
		at = at[:size]
		end = s.pageEnd(c, q, tables.sizes[at[size-1]].ID)
	}
	if format != offersWires[0] {
		return sendRows(c, tables, at, o, format, columns)
	}
	body, err := tables.list(at, o, end)
	if err != nil {
		return err
	}
	return sendDocument(c, document{body: body, cache: cacheReference})
}

// readWireOptions reads what both wire addresses take.
func readWireOptions(q *query) wireOptions {
	o := wireOptions{
		build:    wire.Build(q.enum("build", words(wire.Builds())...)),
		material: wire.Conductor(q.enum("material", string(wire.Copper), string(wire.Aluminium))),
	}
	if o.material == "" {
		o.material = wire.Copper
	}
	if t, ok := q.number("temperature_c", temperatureMin, temperatureMax); ok {
		o.temperature = (*unit.Celsius)(&t)
	}
	o.inchPound = q.enum("units", "metric", "inch_pound") == "inch_pound"
	return o
}

// wireFilter selects sizes. Zero fields select all.
type wireFilter struct {
	system    wire.System
	ids       []string // the sizes that the text size names, nil = not asked
	low, high float64  // bare diameter in mm
}

// readWireFilter reads the filters of the list. A size that two systems know is refused unless the system is given.
func readWireFilter(q *query, table *wire.Table) wireFilter {
	f := wireFilter{system: wire.System(q.enum("system", words(wire.Systems())...)), high: float64(wire.MaxDiameter)}
	if text := q.text("size", wire.MaxSizeText); text != "" && len(q.fields) == 0 {
		f.ids = findSize(q, table, f.system, text)
	}
	if v, ok := q.number("min_diameter_mm", 0, float64(wire.MaxDiameter)); ok {
		f.low = v
	}
	if v, ok := q.number("max_diameter_mm", 0, float64(wire.MaxDiameter)); ok {
		f.high = v
	}
	if f.low > f.high {
		q.refuse("min_diameter_mm", codeWindow, "min_diameter_mm is above max_diameter_mm.", nil, q.values["min_diameter_mm"])
	}
	return f
}

// findSize looks a size text up; without a system it must belong to one system only. A text that
// names no size is understood, but impossible.
func findSize(q *query, table *wire.Table, system wire.System, text string) []string {
	var ids []string
	for _, s := range wire.Systems() {
		if system != "" && s != system {
			continue
		}
		if size, err := table.Find(s, text); err == nil {
			ids = append(ids, size.ID)
		}
	}
	if len(ids) == 1 {
		return ids
	}
	_, err := table.Find(system, text)
	var known *errs.Error
	if errors.As(err, &known) {
		for _, f := range known.Fields {
			f.Parameter = "size"
			q.fields = append(q.fields, f)
		}
	}
	return nil
}

// filter gives the indexes of the sizes that f and the build of o let through.
func (t *encodedTables) filter(f wireFilter, o wireOptions) []int {
	at := []int{}
	for i, s := range t.sizes {
		_, covered := s.Cover(o.build)
		if (f.system == "" || s.System == f.system) && (f.ids == nil || slices.Contains(f.ids, s.ID)) &&
			float64(s.Diameter) >= f.low && float64(s.Diameter) <= f.high && (o.build == "" || covered) {
			at = append(at, i)
		}
	}
	return at
}

// unknownWire refuses an id and names what was probably meant: the id of the same size written
// otherwise, or the sizes on either side.
func unknownWire(table *wire.Table, id string) error {
	detail := "There is no wire size " + printable(id) + "."
	near := nearIDs(table, id)
	if len(near) > 0 {
		detail += " Did you mean " + strings.Join(near, " or ") + "?"
	}
	return errs.New(errs.KindNotFound, detail, errs.Field{Parameter: "id", Code: codeUnknownID, Detail: detail, Allowed: near, Got: printable(id)})
}

func nearIDs(table *wire.Table, id string) []string {
	head, size, _ := strings.Cut(strings.ToLower(id), "-")
	system := wire.System(head)
	found, err := table.Find(system, size)
	if err == nil {
		return []string{found.ID}
	}
	near := []string{}
	var known *errs.Error
	if errors.As(err, &known) && known.Fields[0].Code == wire.CodeUnknownSize {
		sizes, _ := known.Fields[0].Allowed.([]string)
		for _, s := range sizes {
			near = append(near, wire.SizeID(system, s))
		}
	}
	return near
}

func words[S ~string](list []S) []string {
	out := make([]string, len(list))
	for i, w := range list {
		out[i] = string(w)
	}
	return out
}
