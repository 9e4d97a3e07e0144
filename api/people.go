package main

import (
	"context"
	"flag"
	"fmt"
	"text/tabwriter"
	"time"

	"statorbook/internal/catalog"
	"statorbook/internal/postgres"
)

// atConsole is who acts at the command line: the operator, who has no key.
var atConsole = catalog.Act{RequestID: "command line"}

var instituteCommand = command{
	name: "institute", args: "add -slug SLUG -title TEXT [-demo] | rotate-key -slug SLUG | list", summary: "institutes of this server and their signing keys",
	help: `add         makes an institute and its signing key. The private half goes into the data folder, under signing/,
            readable by you alone: keep a copy in a safe place. The public half is printed: give it to
            those who shall check what the institute publishes.
rotate-key  retires the signing key and makes a new one. What the old one signed stays proved by it.
list        shows all institutes with their keys, foreign ones and retired keys too.`,
	run: verbs(map[string]verb{"add": addInstitute, "rotate-key": rotateSigningKey, "list": listInstitutes}),
}

var personCommand = command{
	name: "person", args: "add -institute SLUG -pseudonym SLUG | list -institute SLUG", summary: "persons of an institute, by pseudonym",
	help: `add   makes a person. Only the pseudonym is stored; who it is, the institute knows.
list  shows the pseudonyms of an institute.`,
	run: verbs(map[string]verb{"add": addPerson, "list": listPersons}),
}

// verb is one thing that such a command does.
type verb func(ctx context.Context, c console, cfg config, args []string) error

// verbs runs the verb that the first argument names.
func verbs(known map[string]verb) func(context.Context, console, config, []string) error {
	return func(ctx context.Context, c console, cfg config, args []string) error {
		if len(args) == 0 {
			return errUsage
		}
		if known[args[0]] == nil {
			return misused(c, "there is no %q here", args[0])
		}
		return known[args[0]](ctx, c, cfg, args[1:])
	}
}

// options are the flags of a verb.
type options struct{ *flag.FlagSet }

// readArgs takes flags and, if argument is not "", exactly one argument, before or after them. It says what
// is missing or too much.
func readArgs(c console, args []string, argument string, define func(options), required ...string) (string, error) {
	flags := options{newFlags(c)}
	define(flags)
	given, err := parseAround(flags.FlagSet, args)
	if err != nil {
		return "", errUsage
	}
	set := map[string]bool{}
	flags.Visit(func(f *flag.Flag) { set[f.Name] = f.Value.String() != "" })
	for _, name := range required {
		if !set[name] {
			return "", misused(c, "-%s is missing", name)
		}
	}
	switch {
	case argument == "" && len(given) > 0:
		return "", misused(c, "%q is not expected here", given[0])
	case argument == "":
		return "", nil
	case len(given) != 1:
		return "", misused(c, "exactly one %s is expected, not %d", argument, len(given))
	}
	return given[0], nil
}

// text defines a flag for text.
func (o options) text(into *string, name string) { o.StringVar(into, name, "", "") }

func addInstitute(ctx context.Context, c console, cfg config, args []string) error {
	var i catalog.Institute
	if _, err := readArgs(c, args, "", func(o options) {
		o.text(&i.Slug, "slug")
		o.text(&i.Title, "title")
		o.BoolVar(&i.Demo, "demo", false, "")
	}, "slug", "title"); err != nil {
		return err
	}
	keys := openSigningKeys(cfg)
	return withStore(ctx, c, cfg, func(s *postgres.Store) error {
		if !catalog.ValidSlug(i.Slug) {
			return fmt.Errorf("%q is no slug: lower-case letters and digits in parts joined by single hyphens, 3 to 100 characters", i.Slug)
		}
		verifier, err := keys.adopt(i.Slug, func(verifier string) error {
			_, err := s.AddInstitute(ctx, atConsole, i, verifier)
			return err
		})
		if err != nil {
			return err
		}
		fmt.Fprintf(c.out, "institute %s made\npublic signing key: %s\nprivate half: %s (keep a copy in a safe place)\n", i.Slug, verifier, keys.file(i.Slug))
		return nil
	})
}

func rotateSigningKey(ctx context.Context, c console, cfg config, args []string) error {
	var slug string
	if _, err := readArgs(c, args, "", func(o options) { o.text(&slug, "slug") }, "slug"); err != nil {
		return err
	}
	keys := openSigningKeys(cfg)
	return withStore(ctx, c, cfg, func(s *postgres.Store) error {
		i, err := s.Signatory(ctx, slug)
		if err != nil { // before a file of that name is touched
			return err
		}
		if old, ok := i.KeyInUse(); ok { // an interrupted change is ended first
			_ = keys.check(slug, old.Verifier)
		}
		verifier, err := keys.make(slug, func(verifier string) error { return s.RotateSigningKey(ctx, atConsole, slug, verifier) })
		if err != nil {
			return err
		}
		fmt.Fprintf(c.out, "the key of %s was changed; the old one still proves what it signed\npublic signing key: %s\nprivate half: %s (keep a copy in a safe place)\n", slug, verifier, keys.file(slug))
		return nil
	})
}

func listInstitutes(ctx context.Context, c console, cfg config, args []string) error {
	if err := noArguments(c, args); err != nil {
		return err
	}
	return withStore(ctx, c, cfg, func(s *postgres.Store) error {
		table := tabwriter.NewWriter(c.out, 0, 0, 2, ' ', 0)
		fmt.Fprintln(table, "INSTITUTE\tHELD\tTITLE\tPUBLIC SIGNING KEY")
		for after := ""; ; {
			page, err := s.Signatories(ctx, catalog.PageRequest{After: after, Size: catalog.MaxPageSize})
			if err != nil {
				return err
			}
			for _, i := range page.Items {
				held := "foreign"
				if i.Own {
					held = "here"
				}
				if i.Demo {
					held += ", demo"
				}
				key := "none in use"
				if k, ok := i.KeyInUse(); ok {
					key = k.Verifier
				}
				fmt.Fprintf(table, "%s\t%s\t%s\t%s\n", i.Slug, held, i.Title, key)
				for _, k := range i.Keys {
					if !k.RetiredAt.IsZero() {
						fmt.Fprintf(table, "\t\tretired %s\t%s\n", k.RetiredAt.Format(time.DateOnly), k.Verifier)
					}
				}
			}
			if after = page.Next; after == "" {
				return table.Flush()
			}
		}
	})
}

func addPerson(ctx context.Context, c console, cfg config, args []string) error {
	var institute, pseudonym string
	if _, err := readArgs(c, args, "", func(o options) {
		o.text(&institute, "institute")
		o.text(&pseudonym, "pseudonym")
	}, "institute", "pseudonym"); err != nil {
		return err
	}
	return withStore(ctx, c, cfg, func(s *postgres.Store) error {
		if err := s.AddPerson(ctx, atConsole, institute, pseudonym); err != nil {
			return err
		}
		fmt.Fprintf(c.out, "person %s of %s made\n", pseudonym, institute)
		return nil
	})
}

func listPersons(ctx context.Context, c console, cfg config, args []string) error {
	var institute string
	if _, err := readArgs(c, args, "", func(o options) { o.text(&institute, "institute") }, "institute"); err != nil {
		return err
	}
	return withStore(ctx, c, cfg, func(s *postgres.Store) error {
		if _, err := s.Signatory(ctx, institute); err != nil {
			return err
		}
		people, err := s.People(ctx, institute)
		for _, p := range people {
			fmt.Fprintln(c.out, p)
		}
		return err
	})
}
