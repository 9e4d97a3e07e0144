package main

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"flag"
	"fmt"
	"strings"
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
list        shows all institutes with their keys, foreign ones too.`,
	run: verbs(map[string]verb{"add": addInstitute, "rotate-key": rotateSigningKey, "list": listInstitutes}),
}

var personCommand = command{
	name: "person", args: "add -institute SLUG -pseudonym SLUG | list -institute SLUG", summary: "persons of an institute, by pseudonym",
	help: `add   makes a person. Only the pseudonym is stored; who it is, the institute knows.
list  shows the pseudonyms of an institute.`,
	run: verbs(map[string]verb{"add": addPerson, "list": listPersons}),
}

var keyCommand = command{
	name: "key", args: "issue -institute SLUG -person SLUG -scopes LIST [-days N] | rotate ID [-days N] | revoke ID | list [-institute SLUG] | pin -institute SLUG -title TEXT VERIFIER | retire -institute SLUG",
	summary: "keys of persons; accepted signing keys of others",
	help: `issue   makes a key for a person and prints its secret, once. Scopes, separated by commas: contribute
        (write and hand in), vet (vouch for others' records), publish (publish, withdraw, answer problem
        reports), steward (import, accept keys). A key lives 365 days unless -days says less or more, 400 at most.
rotate  makes a second key with the same person and scopes. Put it in place, then revoke the old one.
revoke  ends a key at once.
list    shows keys without secrets, when each was last used and when it ends.
pin     accepts the public signing key of a foreign institute. From then on its statements are proved here.
        Get it another way than the records that it proves, and compare it by voice or on paper.
retire  takes the signing key of an institute out of use: before another one of a foreign institute is
        pinned, or when it may have been stolen. It still proves what it signed.`,
	run: verbs(map[string]verb{"issue": issueKey, "rotate": rotateKey, "revoke": revokeKey, "list": listKeys, "pin": pinKey, "retire": retireSigningKey}),
}

// keyDays is how long a key lives unless somebody says otherwise.
const keyDays = 365

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
	flags := options{flag.NewFlagSet("", flag.ContinueOnError)}
	flags.SetOutput(c.err)
	flags.Usage = func() {} // the help of the command follows
	define(flags)
	var given []string
	for {
		if err := flags.Parse(args); err != nil {
			return "", errUsage
		}
		if flags.NArg() == 0 {
			break
		}
		given, args = append(given, flags.Arg(0)), flags.Args()[1:]
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

// misused says what is wrong with a call; the help follows.
func misused(c console, format string, about ...any) error {
	fmt.Fprintf(c.err, format+"\n\n", about...)
	return errUsage
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
	if len(args) > 0 {
		return errUsage
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
				key := "none in use"
				if k, ok := i.KeyInUse(); ok {
					key = k.Verifier
				}
				fmt.Fprintf(table, "%s\t%s\t%s\t%s\n", i.Slug, held, i.Title, key)
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

// newKey draws a key: a public id of 12 characters and a secret of 256 bits, of which only the hash is kept.
func newKey(days int) (postgres.NewKey, string, error) {
	var random [38]byte
	if _, err := rand.Read(random[:]); err != nil {
		return postgres.NewKey{}, "", err
	}
	id := hex.EncodeToString(random[:6])
	secret := base64.RawURLEncoding.EncodeToString(random[6:])
	return postgres.NewKey{ID: id, SecretHash: sha256.Sum256([]byte(secret)), Days: days, Now: time.Now().UTC()}, secret, nil
}

// showSecret prints a new key, the only time that anybody sees it.
func showSecret(c console, k catalog.Key, secret string) {
	fmt.Fprintf(c.out, `key %[1]s of %[2]s, %[3]s, good until %[4]s
It is shown this once; only a hash of it is kept. Send it in this header, and in no address:
Authorization: Bearer sbk_%[1]s_%[5]s
`, k.ID, k.Actor.Person, k.Actor.Institute, k.ExpiresAt.Format(time.DateOnly), secret)
}

func issueKey(ctx context.Context, c console, cfg config, args []string) error {
	var institute, person, list string
	var days int
	if _, err := readArgs(c, args, "", func(o options) {
		o.text(&institute, "institute")
		o.text(&person, "person")
		o.text(&list, "scopes")
		o.IntVar(&days, "days", keyDays, "")
	}, "institute", "person", "scopes"); err != nil {
		return err
	}
	var scopes []catalog.Scope
	for name := range strings.SplitSeq(list, ",") {
		scopes = append(scopes, catalog.Scope(strings.TrimSpace(name)))
	}
	fresh, secret, err := newKey(days)
	if err != nil {
		return err
	}
	return withStore(ctx, c, cfg, func(s *postgres.Store) error {
		k, err := s.IssueKey(ctx, atConsole, institute, person, scopes, fresh)
		if err == nil {
			showSecret(c, k, secret)
		}
		return err
	})
}

func rotateKey(ctx context.Context, c console, cfg config, args []string) error {
	var days int
	id, err := readArgs(c, args, "key ID", func(o options) { o.IntVar(&days, "days", keyDays, "") })
	if err != nil {
		return err
	}
	fresh, secret, err := newKey(days)
	if err != nil {
		return err
	}
	return withStore(ctx, c, cfg, func(s *postgres.Store) error {
		k, err := s.RotateKey(ctx, atConsole, id, fresh)
		if err == nil {
			showSecret(c, k, secret)
			fmt.Fprintf(c.out, "the key %s is still good; when the new one is in place: go run ./api key revoke %[1]s\n", id)
		}
		return err
	})
}

func revokeKey(ctx context.Context, c console, cfg config, args []string) error {
	id, err := readArgs(c, args, "key ID", func(options) {})
	if err != nil {
		return err
	}
	return withStore(ctx, c, cfg, func(s *postgres.Store) error {
		k, err := s.RevokeKey(ctx, atConsole, id, time.Now().UTC())
		if err == nil {
			fmt.Fprintf(c.out, "key %s of %s, %s, is revoked\n", k.ID, k.Actor.Person, k.Actor.Institute)
		}
		return err
	})
}

func listKeys(ctx context.Context, c console, cfg config, args []string) error {
	var institute string
	if _, err := readArgs(c, args, "", func(o options) { o.text(&institute, "institute") }); err != nil {
		return err
	}
	return withStore(ctx, c, cfg, func(s *postgres.Store) error {
		keys, err := s.Keys(ctx, institute)
		if err != nil {
			return err
		}
		table := tabwriter.NewWriter(c.out, 0, 0, 2, ' ', 0)
		fmt.Fprintln(table, "KEY\tINSTITUTE\tPERSON\tSCOPES\tEND\tLAST USED\tSTATE")
		now := time.Now().UTC()
		for _, k := range keys {
			state, used := "live", "never"
			switch {
			case !k.RevokedAt.IsZero() && !k.Expired(now):
				state = "revoked"
			case !k.Live(now):
				state = "expired"
			}
			if !k.LastUsedAt.IsZero() {
				used = k.LastUsedAt.Format("2006-01-02 15:04")
			}
			scopes := make([]string, len(k.Actor.Scopes))
			for i, s := range k.Actor.Scopes {
				scopes[i] = string(s)
			}
			fmt.Fprintf(table, "%s\t%s\t%s\t%s\t%s\t%s\t%s\n", k.ID, k.Actor.Institute, k.Actor.Person, strings.Join(scopes, ","), k.ExpiresAt.Format(time.DateOnly), used, state)
		}
		return table.Flush()
	})
}

func pinKey(ctx context.Context, c console, cfg config, args []string) error {
	var i catalog.Institute
	verifier, err := readArgs(c, args, "VERIFIER key", func(o options) {
		o.text(&i.Slug, "institute")
		o.text(&i.Title, "title")
	}, "institute", "title")
	if err != nil {
		return err
	}
	return withStore(ctx, c, cfg, func(s *postgres.Store) error {
		err := s.AcceptSigningKey(ctx, atConsole, i, verifier)
		if err == nil {
			fmt.Fprintf(c.out, "the key of %s is accepted: what it signed is proved here from now on\n", i.Slug)
		}
		return err
	})
}

func retireSigningKey(ctx context.Context, c console, cfg config, args []string) error {
	var institute string
	if _, err := readArgs(c, args, "", func(o options) { o.text(&institute, "institute") }, "institute"); err != nil {
		return err
	}
	return withStore(ctx, c, cfg, func(s *postgres.Store) error {
		verifier, err := s.RetireSigningKey(ctx, atConsole, institute)
		if err == nil {
			fmt.Fprintf(c.out, "the signing key %s is retired; it still proves what it signed, and nothing new\n", verifier)
		}
		return err
	})
}
