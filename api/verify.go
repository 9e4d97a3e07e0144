package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"

	"statorbook/internal/bundle"
)

var verifyCommand = command{
	name: "verify", args: "[-key VERIFIER]... BUNDLE|-", summary: "check a bundle offline",
	help: `Reads a bundle and checks, without network or database, the hash of every line, the signed statement
about every record (by whom it was signed, that it is about this very content and names whom the record
names, and that another person vetted it than wrote it), the count and digest in the end line, and the signature over the whole file.
Exit code 1 if anything is false or the file is not signed. Records that no known key vouches for are
listed as unproved; they do not fail.

  -key  a verifier key that you trust, NAME+HASH+KEY, as its institute published it; may be repeated.
        Without it the keys inside the bundle are used. That shows only that the file agrees with
        itself: anybody can make such a file. Only a key that reached you another way tells whose it is.`,
	run: runVerify,
}

// shownDoubts is how many unproved records are listed one by one.
const shownDoubts = 20

func runVerify(ctx context.Context, c console, _ config, args []string) error {
	var pinned []string
	flags := newFlags(c)
	flags.Func("key", "", func(key string) error {
		pinned = append(pinned, key)
		return nil
	})
	names, err := parseAround(flags, args)
	switch {
	case err != nil:
		return errUsage
	case len(names) != 1:
		return misused(c, "exactly one bundle is expected, not %d", len(names))
	}
	var known *bundle.Keys
	if pinned != nil {
		if known, err = bundle.NewKeys(pinned...); err != nil {
			return err
		}
	}
	in, closeIn, err := openInput(ctx, c, names[0])
	if err != nil {
		return err
	}
	defer closeIn()
	report := bundle.Verify(bundle.NewReader(in, bundle.Options{}), known)
	if ctx.Err() != nil {
		return ctx.Err()
	}
	showVerification(c.out, report)
	if !report.OK() {
		return errors.New("the bundle does not verify")
	}
	return nil
}

// showVerification tells a person what was found, the verdict last.
func showVerification(w io.Writer, r bundle.Report) {
	if m := r.Manifest; m != nil {
		fmt.Fprintf(w, "bundle %q of %s, licence %s\n", m.Title, orNone(m.Institute), orNone(m.Licence))
	}
	for _, p := range r.Problems {
		fmt.Fprintln(w, "failed: "+p.String())
	}
	if more := r.ProblemCount - len(r.Problems); more > 0 {
		fmt.Fprintf(w, "failed: %d more\n", more)
	}
	for _, p := range r.Doubts[:min(len(r.Doubts), shownDoubts)] {
		fmt.Fprintln(w, "unproved: "+p.String())
	}
	if more := r.Unproved - shownDoubts; more > 0 {
		fmt.Fprintf(w, "unproved: %d more\n", more)
	}
	fmt.Fprintf(w, "%d lines; records: %d proved, %d unproved, %d failed; %d statements; %d records with two or more signers\n",
		r.Lines, r.Proved, r.Unproved, r.Failed, r.Reviews, r.CoSigned)
	for _, name := range slices.Sorted(maps.Keys(r.Signers)) {
		fmt.Fprintf(w, "signer %s: %d records\n", name, r.Signers[name])
	}
	fmt.Fprintln(w, "whole file signed by: "+orNone(strings.Join(r.Seal.Keys, ", ")))
	switch {
	case !r.OK():
		fmt.Fprintln(w, "NOT VERIFIED")
	case r.Pinned:
		fmt.Fprintln(w, "VERIFIED against the keys that you gave")
	default:
		fmt.Fprintln(w, "CONSISTENT with the keys inside the file. This does not show whose file it is: give -key with a key that you trust.")
	}
}

func orNone(s string) string {
	if s == "" {
		return "none"
	}
	return s
}
