package httpapi

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"strings"

	"statorbook/internal/errs"
	"statorbook/internal/unit"
	"statorbook/internal/wire"

	"github.com/gin-gonic/gin"
)

// column is one column of the wire table as rows: text, or a number that may be missing ("").
type column struct {
	name  string
	when  string // "" = always; warm, inch_pound = when such figures, or the column itself, are asked for
	text  bool
	value func(wire.Size, wireOptions) string
}

// columns lists the columns in the order of the default table.
var columns = append(append([]column{
	{name: "id", text: true, value: func(s wire.Size, _ wireOptions) string { return s.ID }},
	{name: "system", text: true, value: func(s wire.Size, _ wireOptions) string { return string(s.System) }},
	{name: "size", text: true, value: func(s wire.Size, _ wireOptions) string { return s.Size }},
	{name: "material", text: true, value: func(_ wire.Size, o wireOptions) string { return string(o.material) }},
	{name: "diameter_mm", value: func(s wire.Size, _ wireOptions) string { return s.Text }},
	{name: "diameter_min_mm", value: func(s wire.Size, _ wireOptions) string { return figure(s.DiameterMin) }},
	{name: "diameter_max_mm", value: func(s wire.Size, _ wireOptions) string { return figure(s.DiameterMax) }},
	{name: "area_mm2", value: func(s wire.Size, _ wireOptions) string { return figure(s.Area()) }},
	{name: "convention", text: true, value: func(s wire.Size, o wireOptions) string { return string(ohms20(s, o).Convention) }},
	{name: "ohm_per_km_20c_min", value: func(s wire.Size, o wireOptions) string { return figure(ohms20(s, o).Min) }},
	{name: "ohm_per_km_20c_nominal", value: func(s wire.Size, o wireOptions) string { return figure(ohms20(s, o).Nominal) }},
	{name: "ohm_per_km_20c_max", value: func(s wire.Size, o wireOptions) string { return figure(ohms20(s, o).Max) }},
	{name: "mass_g_per_m", value: func(s wire.Size, o wireOptions) string { return figure(s.Mass(o.material)) }},
}, coverColumns()...), []column{
	{name: "source", text: true, value: func(s wire.Size, _ wireOptions) string { return sourceText(s) }},
	{name: "temperature_c", when: "warm", value: func(_ wire.Size, o wireOptions) string { return plain(float64(o.warm())) }},
	{name: "ohm_per_km_at", when: "warm", value: func(s wire.Size, o wireOptions) string { return figure(s.Ohms(o.material, o.warm()).Nominal) }},
	{name: "diameter_in", when: "inch_pound", value: func(s wire.Size, _ wireOptions) string { return figure(wire.Inches(s.Diameter)) }},
	{name: "area_cmil", when: "inch_pound", value: func(s wire.Size, _ wireOptions) string { return figure(wire.CircularMils(s.Area())) }},
	{name: "ohm_per_1000ft", when: "inch_pound", value: func(s wire.Size, o wireOptions) string {
		return figure(wire.OhmsPerThousandFeet(ohms20(s, o).Nominal))
	}},
	{name: "lb_per_1000ft", when: "inch_pound", value: func(s wire.Size, o wireOptions) string {
		return figure(wire.PoundsPerThousandFeet(s.Mass(o.material)))
	}},
}...)

// coverColumns gives three columns for each build.
func coverColumns() []column {
	var all []column
	for _, b := range wire.Builds() {
		for _, part := range []struct {
			name string
			of   func(wire.Cover) unit.Millimetre
		}{
			{"increase_min_mm", func(c wire.Cover) unit.Millimetre { return c.IncreaseMin }},
			{"overall_min_mm", func(c wire.Cover) unit.Millimetre { return c.OverallMin }},
			{"overall_max_mm", func(c wire.Cover) unit.Millimetre { return c.OverallMax }},
		} {
			all = append(all, column{name: string(b) + "_" + part.name, value: func(s wire.Size, _ wireOptions) string {
				cover, _ := s.Cover(b)
				return figure(part.of(cover))
			}})
		}
	}
	return all
}

func columnNames() []string {
	names := make([]string, len(columns))
	for i, col := range columns {
		names[i] = col.name
	}
	return names
}

// warm is the temperature asked for, 20 °C if none is.
func (o wireOptions) warm() unit.Celsius {
	if o.temperature == nil {
		return wire.ReferenceTemperature
	}
	return *o.temperature
}

func ohms20(s wire.Size, o wireOptions) wire.Ohms {
	return s.Ohms(o.material, wire.ReferenceTemperature)
}

// figure writes a number, "" for one that no source gives.
func figure[F ~float64](v F) string {
	if v == 0 {
		return ""
	}
	return plain(sixDigits(v))
}

func sourceText(s wire.Size) string {
	parts := make([]string, 0, len(s.Sources))
	for _, from := range s.Sources {
		parts = append(parts, strings.TrimSpace(from.Title+" "+from.Edition)+" ("+from.Evidence+")")
	}
	return strings.Join(parts, "; ")
}

// chosen gives the columns that were asked for, in that order; the default table without any.
func chosen(names []string, o wireOptions) []column {
	var out []column
	for _, name := range names {
		for _, col := range columns {
			if col.name == name {
				out = append(out, col)
			}
		}
	}
	if names == nil {
		for _, col := range columns {
			if col.when == "" || col.when == "warm" && o.temperature != nil || col.when == "inch_pound" && o.inchPound {
				out = append(out, col)
			}
		}
	}
	return out
}

// sendRows answers with the sizes at as CSV or JSON Lines.
func sendRows(c *gin.Context, t *encodedTables, at []int, o wireOptions, format string, names []string) error {
	var body []byte
	var err error
	switch {
	case format == "text/csv":
		body, err = t.csv(at, o, chosen(names, o))
		c.Writer.Header().Set("Content-Disposition", `attachment; filename="wires.csv"`)
		format = "text/csv; charset=utf-8; header=present"
	case names == nil:
		body, err = t.lines(at, o)
	default:
		body, err = t.rows(at, o, chosen(names, o))
	}
	if err != nil {
		return err
	}
	return sendDocument(c, document{body: body, cache: cacheReference, contentType: []string{format}})
}

// csv writes RFC 4180 with a header line.
func (t *encodedTables) csv(at []int, o wireOptions, cols []column) ([]byte, error) {
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	w.UseCRLF = true
	record := make([]string, len(cols))
	for i, col := range cols {
		record[i] = col.name
	}
	_ = w.Write(record) // a buffer takes everything; Error tells below
	for _, i := range at {
		for n, col := range cols {
			record[n] = col.value(t.sizes[i], o)
			if col.text {
				record[n] = guard(record[n])
			}
		}
		_ = w.Write(record)
	}
	w.Flush()
	if err := w.Error(); err != nil {
		return nil, errs.Wrap(errs.KindInternal, "", err)
	}
	return b.Bytes(), nil
}

// rows writes JSON Lines with only the columns asked for; a missing figure is left out.
func (t *encodedTables) rows(at []int, o wireOptions, cols []column) ([]byte, error) {
	var b bytes.Buffer
	for _, i := range at {
		row := make(map[string]any, len(cols))
		for _, col := range cols {
			v := col.value(t.sizes[i], o)
			if col.text {
				row[col.name] = v
			} else if v != "" {
				row[col.name] = json.Number(v)
			}
		}
		line, err := encodeJSON(row)
		if err != nil {
			return nil, err
		}
		b.Write(line)
	}
	return b.Bytes(), nil
}

// guard keeps a spreadsheet from taking a text for a formula: a leading ' is what spreadsheets hide.
func guard(s string) string {
	if s != "" && strings.ContainsRune("=+-@\t\r\x00", rune(s[0])) {
		return "'" + s
	}
	return s
}
