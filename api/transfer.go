package main

import (
	"bufio"
	"cmp"
	"context"
	"fmt"
	"io"
	"os"
	"strings"

	"statorbook/internal/bundle"
	"statorbook/internal/catalog"
	"statorbook/internal/postgres"
)

var importCommand = command{
	name: "import", args: "[-apply] [-strict] [-csv] FILE|- | -csv -columns", summary: "take records in from a bundle or a CSV sheet",
	help: `Reads a bundle (JSON Lines: a manifest, records, an end line) from a file or, with -, from standard
input, and says what it would do with each line that is not simply the same. Nothing is stored unless -apply
is given; then all that is new is, in one transaction. It may be run again: what is here already stays.
A record whose review an accepted key signed keeps its institute, author and vetter, and is foreign all
the same. One without a proof that counts here lands as foreign and says so (as demo, if it says demo).
One whose review does not hold is refused.

  -apply    store what is new
  -strict   store nothing at all if any line or row is refused or conflicting
  -csv      read a CSV data sheet instead: one winding record in each row, the columns named in the first
  -columns  print the columns that a sheet may have, with their units and bounds`,
	run: runImport,
}

var exportCommand = command{
	name: "export", args: "[-title TEXT] [-institute NAME [-sign]] [-since REVISION] [FILE|-] | -csv [FILE|-]", summary: "write the published records as a bundle or a CSV sheet",
	help: `Writes everything that is published, withdrawn records too, as a bundle to a file or, with - or
without a name, to standard output. Signed statements stand behind the records that have one.

  -title      what the manifest calls the bundle (default: statorbook export)
  -institute  only what this institute holds, with the families of its windings, and no tables of wires
              or insulation
  -sign       sign the whole file with the key of that institute, which must lie on this machine
  -since      only what changed after this catalogue revision, and the families that it stands on
  -csv        write the winding records as a CSV sheet instead, one in each row; the column status says which
              of them are withdrawn, foreign or demo. Text that a spreadsheet would run as a formula has an
              apostrophe before it, which import takes off again`,
	run: runExport,
}

func runImport(ctx context.Context, c console, cfg config, args []string) error {
	flags := newFlags(c)
	strict := flags.Bool("strict", false, "")
	sheet := flags.Bool("csv", false, "")
	apply := flags.Bool("apply", false, "")
	columns := flags.Bool("columns", false, "")
	names, err := parseAround(flags, args)
	switch {
	case err != nil:
		return errUsage
	case *columns && (!*sheet || len(names) > 0):
		return misused(c, "-columns goes with -csv and without a file")
	case *columns:
		return showColumns(c.out)
	case len(names) != 1:
		return misused(c, "exactly one file is expected, not %d", len(names))
	}
	in, closeIn, err := openInput(ctx, c, names[0])
	if err != nil {
		return err
	}
	defer closeIn()
	o := postgres.ImportOptions{DryRun: !*apply, Strict: *strict}
	if *sheet {
		return importSheet(ctx, c, cfg, in, o)
	}
	return importBundle(ctx, c, cfg, in, o)
}

// importBundle takes the lines of a bundle in and says what became of them.
func importBundle(ctx context.Context, c console, cfg config, in io.Reader, o postgres.ImportOptions) error {
	return withStore(ctx, c, cfg, func(s *postgres.Store) (err error) {
		if o.Keys, err = acceptedKeys(ctx, s); err != nil {
			return err
		}
		seen := progress{out: c.err, wanted: isTerminal(c.err)}
		o.Progress = seen.show
		o.OnRow = func(r catalog.ImportRow) error {
			seen.end()
			return showRow(c.out, "line", r)
		}
		report, err := s.Import(ctx, bundle.NewReader(in, bundle.Options{}), o)
		seen.end()
		if err != nil {
			return err
		}
		showReport(c.out, report, o.DryRun)
		if bad := report.Counts[catalog.OutcomeRefused] + report.Counts[catalog.OutcomeConflicting]; bad > 0 {
			return fmt.Errorf("%d lines were not taken", bad)
		}
		return nil
	})
}

// progress is a line of a terminal that tells how far an import is.
type progress struct {
	out           io.Writer
	wanted, shown bool
}

func (p *progress) show(lines int) {
	if p.wanted {
		p.shown = true
		fmt.Fprintf(p.out, "\r%d lines read", lines)
	}
}

// end ends the line before something else is printed.
func (p *progress) end() {
	if p.shown {
		p.shown = false
		fmt.Fprintln(p.out)
	}
}

// acceptedKeys gives the signing keys that prove something here.
func acceptedKeys(ctx context.Context, s *postgres.Store) (*bundle.Keys, error) {
	list, err := s.Verifiers(ctx)
	if err != nil {
		return nil, err
	}
	return bundle.NewKeys(list...)
}

// showRow reports a line or row that was not simply taken, and every doubt about one that was.
func showRow(w io.Writer, place string, r catalog.ImportRow) error {
	if r.Outcome != catalog.OutcomeNew && r.Outcome != catalog.OutcomeSame {
		if _, err := fmt.Fprintf(w, "%s %d: %s %s %s: %s: %s\n", place, r.Line, r.Outcome, r.Kind, r.ID, r.Code, r.Detail); err != nil {
			return err
		}
	}
	for _, f := range r.Fields {
		if _, err := fmt.Fprintf(w, "%s %d:   %s: %s\n", place, r.Line, f.Pointer, f.Detail); err != nil {
			return err
		}
	}
	for _, f := range r.Findings {
		if _, err := fmt.Fprintf(w, "%s %d: %s %s %s: %s\n", place, r.Line, f.Severity, r.ID, f.Code, f.Message); err != nil {
			return err
		}
	}
	return nil
}

func showReport(w io.Writer, r catalog.ImportReport, dry bool) {
	done := "stored"
	if dry {
		done = "would be stored (dry run)"
	}
	fmt.Fprintf(w, "%q, licence %s: %d lines; new %d (%s), same %d, conflicting %d, refused %d, ignored %d; catalogue revision %d\n",
		r.Title, orNone(r.Licence), r.Lines, r.Counts[catalog.OutcomeNew], done, r.Counts[catalog.OutcomeSame],
		r.Counts[catalog.OutcomeConflicting], r.Counts[catalog.OutcomeRefused], r.Counts[catalog.OutcomeIgnored], r.Revision)
	if dry && r.Counts[catalog.OutcomeNew] > 0 {
		fmt.Fprintln(w, "nothing was stored; give -apply to store what is new")
	}
	if len(r.SealedBy) > 0 {
		fmt.Fprintf(w, "the whole file is signed by %s\n", strings.Join(r.SealedBy, ", "))
	}
}

func runExport(ctx context.Context, c console, cfg config, args []string) error {
	flags := newFlags(c)
	title := flags.String("title", "statorbook export", "")
	sheet := flags.Bool("csv", false, "")
	institute := flags.String("institute", "", "")
	sign := flags.Bool("sign", false, "")
	since := flags.Int64("since", 0, "")
	names, err := parseAround(flags, args)
	switch {
	case err != nil:
		return errUsage
	case len(names) > 1:
		return misused(c, "at most one file is expected, not %d", len(names))
	case *sign && *institute == "":
		return misused(c, "-sign needs -institute, whose key signs")
	case *since < 0:
		return misused(c, "-since is a catalogue revision, 0 or more")
	case *sheet && (*institute != "" || *since > 0):
		return misused(c, "-csv writes all records: leave -institute and -since out")
	}
	out, end, err := openOutput(c, append(names, "")[0])
	if err != nil {
		return err
	}
	err = withStore(ctx, c, cfg, func(s *postgres.Store) error {
		if *sheet {
			return exportSheet(ctx, c, s, out)
		}
		manifest := bundle.Manifest{Title: *title, Institute: *institute}
		finish := (*bundle.Writer).Close
		if *sign {
			if manifest.Signer, finish, err = sealOf(ctx, s, openSigningKeys(cfg), *institute); err != nil {
				return err
			}
		}
		count, err := exportBundle(ctx, s, out, postgres.ExportOptions{Manifest: manifest, Institute: *institute, Since: *since}, finish)
		if err == nil {
			fmt.Fprintf(c.err, "%d records written\n", count)
		}
		return err
	})
	return end(err)
}

// sealOf gives the id of the key of an institute of this server and what ends a bundle with its signature.
func sealOf(ctx context.Context, s *postgres.Store, keys signingKeys, institute string) (id string, end func(*bundle.Writer) error, err error) {
	i, err := s.Signatory(ctx, institute)
	if err == nil && !i.Own {
		err = fmt.Errorf("there is no signing key of %s here: it signs what it hands out on its own server", institute)
	}
	if err != nil {
		return "", nil, err
	}
	return keys.seal(institute)
}

// exportBundle writes a bundle to its end.
func exportBundle(ctx context.Context, s *postgres.Store, out io.Writer, o postgres.ExportOptions, finish func(*bundle.Writer) error) (int, error) {
	buffered := bufio.NewWriter(out)
	w := bundle.NewWriter(buffered)
	count, err := s.Export(ctx, w, o)
	if err == nil {
		err = finish(w)
	}
	if err != nil {
		return count, err
	}
	return count, buffered.Flush()
}

// openInput opens what is read, and gives what closes it. A read that waits for a pipe or a person ends with
// ctx; it is left behind itself, and ends with the program.
func openInput(ctx context.Context, c console, name string) (io.Reader, func(), error) {
	in, closeFile := c.in, func() {}
	if name != "-" {
		f, err := os.Open(name)
		if err != nil {
			return nil, nil, err
		}
		in, closeFile = f, func() { _ = f.Close() } // read only
	}
	out, into := io.Pipe()
	go func() {
		_, err := io.Copy(into, in)
		into.CloseWithError(err)
	}()
	stop := context.AfterFunc(ctx, func() { into.CloseWithError(ctx.Err()) })
	return out, func() {
		stop()
		_ = out.Close() // ends the copying
		closeFile()
	}, nil
}

// openOutput opens what an export writes to, and gives what ends it: a file takes its name only when it is
// whole, so that an export that fails leaves what stood there.
func openOutput(c console, name string) (io.Writer, func(error) error, error) {
	if name == "" || name == "-" {
		return c.out, func(err error) error { return err }, nil
	}
	part := name + ".part"
	if info, err := os.Stat(name); err == nil && !info.Mode().IsRegular() {
		part = name // a pipe or device
	}
	f, err := os.Create(part)
	if err != nil {
		return nil, nil, err
	}
	return f, func(err error) error {
		err = cmp.Or(err, f.Close()) // closed in any case
		switch {
		case part == name:
		case err == nil:
			err = os.Rename(part, name)
		default:
			_ = os.Remove(part) // what went wrong before is what counts
		}
		return err
	}, nil
}

// isTerminal tells whether progress can be shown in place.
func isTerminal(w io.Writer) bool {
	f, ok := w.(*os.File)
	if !ok {
		return false
	}
	info, err := f.Stat()
	return err == nil && info.Mode()&os.ModeCharDevice != 0
}
