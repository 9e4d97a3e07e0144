package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strconv"

	"statorbook/internal/score"
	"statorbook/internal/simworld"
)

var evaluateCommand = command{
	name: "evaluate", args: "[-seed N] [-records N] [-queries N] [-entries N] [-perturb] [-write DIR] [-svg FILE] [DIR]",
	summary: "measure the matcher and the record check on simulated motors",
	help: `Makes a simulated world of invented motors, imports its catalogue into a private database that is
made for this and removed afterwards (never DATABASE_URL, never your catalogue), asks every measured
stator through the HTTP API, has every record sheet checked, and prints how often the answers are
right, beside two simple matchers. No real motor is in it.

  -seed N      the world is made from this number (default 1); the same number gives the same world
  -records N   winding records in its catalogue (default 2000; a million take some ten minutes, 2.5 GB of
               memory and 10 GB in the temporary folder)
  -queries N   measured stators that are asked (default 1500)
  -entries N   record sheets that are checked, about half of them with one slip (default 4000)
  -perturb     shift about forty constants of the world, by the same seed
  -write DIR   leave the world's files in DIR
  -svg FILE    draw the reliability diagram
  DIR          take this world instead of making one

A world is a folder with
  catalogue.jsonl  a bundle: manifest, families and winding records, end line
  queries.jsonl    a line each: {"id", "request": the body of POST /v1/matches,
                   "truth": {"kind": record|new_winding|new_stack|new_family, "winding_id"?, "core_id"?,
                   "series_turns", "conductor_area_mm2"}}; turns in series in one path and metal of one turn,
                   of the main winding or phase u
  entries.jsonl    may be absent; a line each: {"id", "request": the body of POST /v1/winding-checks,
                   "truth": {"slip": code, empty for a clean sheet}}
  scores.txt       may be absent; what a reference reached on this world, as the supplied worlds tell it`,
	run: evaluate,
}

// evaluateOptions are the flags of evaluate.
type evaluateOptions struct {
	world     simworld.Config
	perturb   bool
	svg, keep string
	dir       string // "" = make a world
}

// evaluateFlags reads the flags. A wrong figure is told with what would be right.
func evaluateFlags(args []string) (o evaluateOptions, err error) {
	o.world = simworld.Config{Seed: 1, Records: 2000, Queries: 1500, Entries: 4000}
	flags := flag.NewFlagSet("evaluate", flag.ContinueOnError)
	flags.SetOutput(io.Discard) // the error is told by run
	whole := func(name string, least, most int, into *int) {
		flags.Func(name, "", func(text string) error {
			n, err := strconv.Atoi(text)
			if err != nil || n < least || n > most {
				return fmt.Errorf("it must be a whole number from %d to %d", least, most)
			}
			*into = n
			return nil
		})
	}
	flags.Func("seed", "", func(text string) error {
		n, err := strconv.ParseUint(text, 10, 64)
		if err != nil {
			return errors.New("it must be a whole number from 0 to 18446744073709551615")
		}
		o.world.Seed = n
		return nil
	})
	whole("records", 1, simworld.MaxRecords, &o.world.Records)
	whole("queries", 1, simworld.MaxQueries, &o.world.Queries)
	whole("entries", 0, simworld.MaxQueries, &o.world.Entries)
	flags.BoolVar(&o.perturb, "perturb", false, "")
	flags.StringVar(&o.svg, "svg", "", "")
	flags.StringVar(&o.keep, "write", "", "")
	if err := flags.Parse(args); err != nil {
		return o, err
	}
	if o.perturb {
		o.world.Perturb = max(o.world.Seed, 1)
	}
	if flags.NArg() > 1 {
		return o, errUsage
	}
	if o.dir = flags.Arg(0); o.dir != "" {
		flags.Visit(func(f *flag.Flag) {
			if f.Name != "svg" {
				err = fmt.Errorf("-%s makes a world, but %s is one: leave one of them out", f.Name, o.dir)
			}
		})
	}
	return o, err
}

func evaluate(ctx context.Context, c console, cfg config, args []string) (err error) {
	o, err := evaluateFlags(args)
	if err != nil {
		return err
	}
	wires, err := seedWires()
	if err != nil {
		return err
	}
	home, err := os.MkdirTemp("", "statorbook-evaluate-")
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(home)) }()
	title := "the world in " + o.dir
	dir := o.dir
	if dir == "" {
		if dir = o.keep; dir == "" {
			dir = filepath.Join(home, "world")
		}
		title = worldTitle(o.world)
		tellStep(c, fmt.Sprintf("making %d records", o.world.Records))
		if err := writeWorld(dir, o.world, wires); err != nil {
			return err
		}
	}
	tellStep(c, "reading the world through")
	w, err := openWorld(dir, wires)
	if err != nil {
		return err
	}
	lab, err := openLab(ctx, c, cfg, filepath.Join(home, "postgres"))
	if err != nil {
		return err
	}
	run, err := w.run(ctx, c, lab)
	if err = errors.Join(err, lab.close()); err != nil {
		return err
	}
	if o.svg != "" {
		if err := os.WriteFile(o.svg, []byte(score.SVG("Said and come true: "+title, run.ours.Outcomes.Curves())), 0o644); err != nil {
			return err
		}
	}
	return run.print(c.out, title, w)
}

// worldTitle says which world it is.
func worldTitle(cfg simworld.Config) string {
	constants := "usual constants"
	if cfg.Perturb != 0 {
		constants = fmt.Sprintf("constants shifted by %d", cfg.Perturb)
	}
	return fmt.Sprintf("the simulated world of seed %d (%s)", cfg.Seed, constants)
}
