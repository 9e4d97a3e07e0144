package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strconv"
	"strings"
	"text/tabwriter"

	"statorbook/internal/bundle"
	"statorbook/internal/catalog"
	"statorbook/internal/errs"
	"statorbook/internal/postgres"
)

// exportSheet writes the standing winding records as a CSV sheet. They are put aside as a bundle first,
// since a sheet needs two looks at them: one for its columns, one for its rows.
func exportSheet(ctx context.Context, c console, s *postgres.Store, out io.Writer) error {
	aside, done, err := scratchFile()
	if err != nil {
		return err
	}
	defer done()
	buffered := bufio.NewWriter(aside)
	w := bundle.NewWriter(buffered)
	count, err := s.Export(ctx, w, postgres.ExportOptions{Kinds: []bundle.Kind{bundle.KindWinding}})
	if err == nil {
		err = errors.Join(w.Close(), buffered.Flush())
	}
	if err != nil {
		return err
	}
	var header bundle.CSVHeader
	if err := eachWinding(aside, header.Add); err != nil {
		return err
	}
	cells := bufio.NewWriter(out)
	sheet, err := bundle.NewCSVWriter(cells, header.Names())
	if err != nil {
		return err
	}
	if err := eachWinding(aside, sheet.Write); err != nil {
		return err
	}
	fmt.Fprintf(c.err, "%d records written\n", count)
	return errors.Join(sheet.Flush(), cells.Flush())
}

// eachWinding goes through the winding records of a bundle from its start.
func eachWinding(file io.ReadSeeker, do func(bundle.Winding) error) error {
	if _, err := file.Seek(0, io.SeekStart); err != nil {
		return err
	}
	for r := bundle.NewReader(file, bundle.Options{}); ; {
		line, err := r.Next()
		switch {
		case errors.Is(err, io.EOF):
			return nil
		case err != nil:
			return err
		case line.Kind == bundle.KindWinding:
			if err := do(*line.Winding); err != nil {
				return err
			}
		}
	}
}

// scratchFile makes a file that is gone when done was called.
func scratchFile() (file *os.File, done func(), err error) {
	file, err = os.CreateTemp("", "statorbook-*.jsonl")
	if err != nil {
		return nil, nil, err
	}
	return file, func() {
		_ = file.Close() // nothing in it is wanted any more
		_ = os.Remove(file.Name())
	}, nil
}

// importSheet takes the rows of a CSV sheet in, on the same way as the lines of a bundle: the rows that
// can be read become the lines of one, and the report on its lines is told by rows.
func importSheet(ctx context.Context, c console, cfg config, in io.Reader, o postgres.ImportOptions) error {
	aside, done, err := scratchFile()
	if err != nil {
		return err
	}
	defer done()
	rows, bad, err := sheetToBundle(c.out, in, aside)
	if ctx.Err() != nil {
		return ctx.Err()
	}
	if err != nil {
		return err
	}
	fmt.Fprintf(c.out, "%d rows read, %d rows cannot be read\n", len(rows)+bad, bad)
	if bad > 0 && o.Strict {
		return fmt.Errorf("%d rows cannot be read; nothing was stored", bad)
	}
	if _, err := aside.Seek(0, io.SeekStart); err != nil {
		return err
	}
	return withStore(ctx, c, cfg, func(s *postgres.Store) error {
		o.OnRow = func(r catalog.ImportRow) error {
			r.Line = rows[r.Line-2] // line 1 is the manifest
			return showRow(c.out, "row", r)
		}
		report, err := s.Import(ctx, bundle.NewReader(aside, bundle.Options{}), o)
		if err != nil {
			return err
		}
		showReport(c.out, report, o.DryRun)
		if bad += report.Counts[catalog.OutcomeRefused] + report.Counts[catalog.OutcomeConflicting]; bad > 0 {
			return fmt.Errorf("%d rows were not taken", bad)
		}
		return nil
	})
}

// sheetToBundle writes the rows that can be read as a bundle, and says what is wrong with the others. It
// gives the number of the row behind each record, and how many rows cannot be read.
func sheetToBundle(report io.Writer, in io.Reader, out io.Writer) (rows []int, bad int, err error) {
	sheet, err := bundle.NewCSVReader(in)
	if err != nil {
		var e *errs.Error
		if errors.As(err, &e) {
			for _, f := range e.Fields {
				fmt.Fprintf(report, "row 1: column %q: %s\n", f.Parameter, f.Detail)
			}
			return nil, 0, errors.New(e.Detail)
		}
		return nil, 0, err
	}
	buffered := bufio.NewWriter(out)
	w := bundle.NewWriter(buffered)
	if err := w.Manifest("csv-sheet", 1, bundle.Manifest{Title: "CSV sheet"}); err != nil {
		return nil, 0, err
	}
	for {
		row, err := sheet.Next()
		switch {
		case errors.Is(err, io.EOF):
			return rows, bad, errors.Join(w.Close(), buffered.Flush())
		case err != nil:
			return nil, 0, fmt.Errorf("row %d: %w", row.Number, err)
		case row.Winding == nil:
			bad++
			showProblems(report, row)
			continue
		}
		rows = append(rows, row.Number)
		if err := w.Write(bundle.KindWinding, row.Winding.ID, row.Winding.Revision, row.Winding); err != nil {
			return nil, 0, err
		}
	}
}

// showProblems says what is wrong with a row, cell by cell.
func showProblems(w io.Writer, row bundle.CSVRow) {
	for _, p := range row.Problems {
		where := ""
		if p.Column != "" {
			where = " column " + p.Column + ":"
		}
		got := ""
		if p.Got != "" {
			got = fmt.Sprintf(" (there is %q)", p.Got)
		}
		fmt.Fprintf(w, "row %d: refused:%s %s: %s%s\n", row.Number, where, p.Code, p.Detail, got)
	}
}

// showColumns prints the map of columns.
func showColumns(out io.Writer) error {
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "column\tholds\tunit\tallowed")
	for _, c := range bundle.CSVColumns() {
		allowed := strings.Join(c.Allowed, ", ")
		if c.Min != nil && c.Max != nil {
			allowed = strconv.FormatFloat(*c.Min, 'f', -1, 64) + " to " + strconv.FormatFloat(*c.Max, 'f', -1, 64)
		}
		fmt.Fprintf(w, "%s\t%s\t%s\t%s\n", c.Name, c.Holds, c.Unit, allowed)
	}
	fmt.Fprintln(w, `
main_ stands for any coil set: auxiliary_, speed_, phase_u_, phase_v_, phase_w_; a second set of one role is main_2_, speed_2_ ...
main_wire_ is the first wire of a set, main_wire_2_ the second; lead_1_ the first lead, lead_2_ the second.
Beside a number with a unit may stand the columns NAME_uncertainty (one standard deviation) or NAME_resolution, and NAME_method.
A row without id gets one made from its content, so that the same row twice is one record.`)
	return w.Flush()
}
