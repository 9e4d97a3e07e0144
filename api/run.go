package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"log/slog"
	"slices"
	"strings"
)

// console is what a command may touch of the outside: its streams and its environment.
type console struct {
	out, err io.Writer
	in       io.Reader
	getenv   func(string) string
}

// command is one subcommand: how it is called, what it does, and the code that does it.
type command struct {
	name, args, summary, help string
	run                       func(ctx context.Context, c console, cfg config, args []string) error
}

// errUsage makes run print the command's help and answer with exit code 2.
var errUsage = errors.New("usage")

// commands lists the subcommands in the order in which help shows them.
func commands() []command {
	return []command{serveCommand, migrateCommand, seedCommand, importCommand, exportCommand, verifyCommand, evaluateCommand, healthCommand, versionCommand, instituteCommand, personCommand, keyCommand}
}

// run finds the subcommand (serve without one), runs it and turns its error into an exit code.
func run(ctx context.Context, args []string, c console) int {
	if len(args) > 0 && (args[0] == "help" || args[0] == "-h" || args[0] == "--help") {
		overview(c.out)
		return 0
	}
	name := "serve"
	if len(args) > 0 && !strings.HasPrefix(args[0], "-") {
		name, args = args[0], args[1:]
	}
	for _, cmd := range commands() {
		if cmd.name == name {
			return cmd.execute(ctx, c, args)
		}
	}
	fmt.Fprintf(c.err, "statorbook: there is no command %q\n\n", name)
	overview(c.err)
	return 2
}

// execute parses the command's flags, reads the configuration and runs it.
func (cmd command) execute(ctx context.Context, c console, args []string) int {
	if slices.Contains(args, "-h") || slices.Contains(args, "--help") {
		cmd.usage(c.out)
		return 0
	}
	cfg, err := loadConfig(c.getenv)
	if err == nil {
		err = cmd.run(ctx, c, cfg, args)
	}
	switch {
	case err == nil:
		return 0
	case errors.Is(err, errUsage), errors.Is(err, flag.ErrHelp):
		cmd.usage(c.err)
		return 2
	case errors.Is(err, context.Canceled) && ctx.Err() != nil:
		return 130
	}
	fmt.Fprintf(c.err, "statorbook %s: %v\n", cmd.name, err)
	return 1
}

// newFlags makes the flags of a command. What is wrong with one is said on the error stream; the help follows.
func newFlags(c console) *flag.FlagSet {
	flags := flag.NewFlagSet("", flag.ContinueOnError)
	flags.SetOutput(c.err)
	flags.Usage = func() {}
	return flags
}

// parseAround reads flags before, between and after the other arguments, and gives those.
func parseAround(flags *flag.FlagSet, args []string) (given []string, err error) {
	for {
		if err := flags.Parse(args); err != nil || flags.NArg() == 0 {
			return given, err
		}
		given, args = append(given, flags.Arg(0)), flags.Args()[1:]
	}
}

// misused says what is wrong with a call; the help follows.
func misused(c console, format string, about ...any) error {
	fmt.Fprintf(c.err, format+"\n\n", about...)
	return errUsage
}

// noArguments refuses the arguments of a command that takes none.
func noArguments(c console, args []string) error {
	if len(args) > 0 {
		return misused(c, "%q is not expected here", args[0])
	}
	return nil
}

func (cmd command) usage(w io.Writer) {
	fmt.Fprintf(w, "usage: go run ./api %s %s\n\n%s\n", cmd.name, cmd.args, strings.TrimSpace(cmd.help))
}

func overview(w io.Writer) {
	fmt.Fprintf(w, "statorbook: winding data for people who rewind small motors\n\nusage: go run ./api [command] [-h]\n\n")
	for _, cmd := range commands() {
		fmt.Fprintf(w, "  %-9s %s\n", cmd.name, cmd.summary)
	}
	fmt.Fprintf(w, "\n%s\n", environmentHelp)
}

// newLog returns the program's log: readable text on a terminal's error stream, one line an event.
func newLog(c console) *slog.Logger {
	return slog.New(slog.NewTextHandler(c.err, nil))
}
