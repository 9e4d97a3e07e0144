package bundle

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"statorbook/internal/errs"
	"statorbook/internal/jsonin"
)

// The codes of what is wrong with a sheet, beside those of jsonin.
const (
	CodeCSVSyntax = "CSV_SYNTAX"     // not RFC 4180
	CodeCSVCells  = "CELL_COUNT"     // more or fewer cells than the header has
	CodeCSVColumn = "UNKNOWN_COLUMN" // a column that no record has
	CodeCSVTwice  = "DUPLICATE_COLUMN"
	CodeCSVNumber = "NOT_A_NUMBER"
	CodeCSVCell   = "CELL_FORM" // a cell of another form than its column has
	CodeCSVGap    = "GAP"       // a second wire, lead or coil set without the first
)

// CSVProblem is one thing that is wrong with one cell.
type CSVProblem struct {
	Column string // "" if it is about the whole row
	Code   string
	Detail string // one sentence that names the remedy
	Got    string // what stands there, shortened
}

// CSVRow is one row of a sheet: the record, or what is wrong with it.
type CSVRow struct {
	Number   int      // as spreadsheets count: the header is row 1
	Winding  *Winding // nil if there are problems
	Problems []CSVProblem
}

// maxCSVRow bounds the bytes of one row, as a bundle bounds a line.
const maxCSVRow = maxMaxLine

// CSVReader reads a data sheet row by row. Nothing is lost: a row gives a record or says why not.
type CSVReader struct {
	in      *csv.Reader
	bytes   *rowBudget
	columns []*csvColumn
	number  int
	done    bool
}

// NewCSVReader reads the header row. Its error names every column that is not known or stands twice.
func NewCSVReader(in io.Reader) (*CSVReader, error) {
	r := &CSVReader{bytes: &rowBudget{in: bufio.NewReader(in)}}
	start, _ := r.bytes.in.Peek(4) // fewer are told when they are read
	switch {
	case bytes.HasPrefix(start, []byte("\uFEFF")):
		_, _ = r.bytes.in.Discard(3) // spreadsheets put a byte order mark first
	case bytes.HasPrefix(start, []byte{0xff, 0xfe}), bytes.HasPrefix(start, []byte{0xfe, 0xff}):
		return nil, errs.New(errs.KindSyntax, "The sheet is UTF-16 text; save it as comma-separated UTF-8.")
	case bytes.HasPrefix(start, []byte("PK\x03\x04")), bytes.HasPrefix(start, gzipMagic):
		return nil, errs.New(errs.KindSyntax, "The file is a workbook or packed; save the sheet as comma-separated UTF-8.")
	}
	r.in = csv.NewReader(r.bytes)
	r.in.FieldsPerRecord = -1
	names, err := r.record()
	if errors.Is(err, io.EOF) {
		return nil, errs.New(errs.KindSyntax, "The sheet is empty; its first row must name the columns.")
	}
	if err != nil {
		return nil, errs.New(errs.KindSyntax, "The header row cannot be read: "+err.Error()+".")
	}
	return r, r.header(names)
}

// header finds the columns.
func (r *CSVReader) header(names []string) error {
	var fields []errs.Field
	add := func(name, code, detail string) {
		fields = append(fields, errs.Field{Parameter: name, Code: code, Detail: detail, Got: shorten(name)})
	}
	if len(names) == 1 && strings.ContainsAny(names[0], ";\t") {
		add(names[0], CodeCSVSyntax, "the cells must be parted by commas; save the sheet as comma-separated UTF-8")
		return errs.New(errs.KindSyntax, "The sheet cannot be taken.", fields...)
	}
	seen := map[string]bool{}
	for i, name := range names {
		c, ok := parseColumn(name)
		switch {
		case seen[name]:
			add(name, CodeCSVTwice, "the column stands twice; take one of them out")
		case !ok:
			add(name, CodeCSVColumn, columnHint(name, i))
		}
		seen[name] = true
		r.columns = append(r.columns, c)
	}
	if fields != nil {
		return errs.New(errs.KindSyntax, "The sheet cannot be taken.", fields...)
	}
	return nil
}

// columnHint says what to do about an unknown column.
func columnHint(name string, at int) string {
	var known []string
	for _, c := range CSVColumns() {
		known = append(known, c.Name)
	}
	if name == "" {
		return fmt.Sprintf("column %d has no name; name it or take it out", at+1)
	}
	if meant := jsonin.Suggest(strings.ToLower(strings.TrimSpace(name)), known); meant != "" {
		return "there is no such column; did you mean " + meant + "?"
	}
	return "there is no such column; rename it or take it out, so that nothing of it is lost unseen"
}

// Next gives the next row that is not empty, io.EOF after the last one, or another error if the sheet
// cannot be read on.
func (r *CSVReader) Next() (CSVRow, error) {
	for !r.done {
		cells, err := r.record()
		row := CSVRow{Number: r.number}
		var bad *csv.ParseError
		switch {
		case errors.Is(err, io.EOF):
			r.done = true
			return row, io.EOF
		case errors.As(err, &bad):
			row.Problems = []CSVProblem{{Code: CodeCSVSyntax, Detail: fmt.Sprintf("the row cannot be read (line %d of the file): %v; put cells with quotes, commas or line ends into double quotes", bad.Line, bad.Err)}}
			return row, nil
		case err != nil:
			r.done = true
			return row, err
		case !slices.ContainsFunc(cells, func(s string) bool { return s != "" }):
			continue
		case len(cells) != len(r.columns):
			row.Problems = []CSVProblem{{Code: CodeCSVCells, Detail: fmt.Sprintf("the row has %d cells, the header %d; a comma inside a cell needs double quotes around the cell", len(cells), len(r.columns))}}
			return row, nil
		}
		row.Winding, row.Problems = r.decode(cells)
		return row, nil
	}
	return CSVRow{}, io.EOF
}

// record reads one record within the budget of a row.
func (r *CSVReader) record() ([]string, error) {
	r.number++
	r.bytes.left = maxCSVRow
	return r.in.Read()
}

// decode makes a record of the cells: they become the JSON text of a record, which the strict reader
// reads as any other.
func (r *CSVReader) decode(cells []string) (*Winding, []CSVProblem) {
	b := newRowBuilder(r.columns, cells)
	for i, c := range r.columns {
		if cells[i] != "" {
			b.cell(c, cells[i])
		}
	}
	b.close()
	if b.problems != nil {
		return nil, b.problems
	}
	text, err := json.Marshal(b.tree)
	if err != nil {
		return nil, []CSVProblem{{Code: jsonin.CodeUTF8, Detail: err.Error()}}
	}
	var w Winding
	if err := jsonin.Decode(text, &w, jsonin.Line); err != nil {
		return nil, b.explain(err)
	}
	if w.Revision == 0 {
		w.Revision = 1
	}
	if w.ID == "" {
		if w.ID, err = contentID(w); err != nil {
			return nil, []CSVProblem{{Code: CodeCSVCell, Detail: err.Error()}}
		}
	}
	return &w, nil
}

// contentID makes an id (UUID version 8, RFC 9562 section 5.8) from what a record holds, so that a sheet
// that is imported twice gives the same records and not new ones.
func contentID(w Winding) (string, error) {
	sum, err := ContentHash(w)
	if err != nil {
		return "", err
	}
	sum[6] = sum[6]&0x0f | 0x80
	sum[8] = sum[8]&0x3f | 0x80
	return fmt.Sprintf("%x-%x-%x-%x-%x", sum[0:4], sum[4:6], sum[6:8], sum[8:10], sum[10:16]), nil
}

// shorten keeps a report readable.
func shorten(s string) string {
	if runes := []rune(s); len(runes) > 60 {
		return string(runes[:60]) + "…"
	}
	return s
}

// rowBudget stops a row without end, such as one open quote.
type rowBudget struct {
	in   *bufio.Reader
	left int
}

// errRowTooLong is what a row over the budget ends with.
var errRowTooLong = errs.New(errs.KindTooLarge, fmt.Sprintf("A row is longer than %d bytes; a double quote may not be closed.", maxCSVRow))

func (b *rowBudget) Read(p []byte) (int, error) {
	if b.left <= 0 {
		return 0, errRowTooLong
	}
	n, err := b.in.Read(p)
	b.left -= n
	return n, err
}
