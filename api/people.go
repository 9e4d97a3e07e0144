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
	name: "key", args: "issue -institute SLUG -person SLUG -scopes LIST [-days N] | rotate ID [-days N] | revoke ID | list [-institute SLUG] | pin -institute SLUG -title TEXT VERIFIER",
	summary: "keys of persons; accepted signing keys of others",
	help: `issue   makes a key for a person and prints its secret, once. Scopes, separated by commas: contribute
        (write and hand in), vet (vouch for others' records), publish (publish, withdraw, answer problem
        reports), steward (import, accept keys). A key lives 365 days unless -days says less or more, 400 at most.
rotate  makes a second key with the same person and scopes. Put it in place, then revoke the old one.
revoke  ends a key at once.
list    shows keys without secrets, when each was last used and when it ends.
pin     accepts the public signing key of a foreign institute. From then on its statements are proved here.`,
	run: verbs(map[string]verb{"issue": issueKey, "rotate": rotateKey, "revoke": revokeKey, "list": listKeys, "pin": pinKey}),
}

// verb is one thing that such a command does.
type verb func(ctx context.Context, c console, cfg config, args []string) error

// verbs runs the verb that the first argument names.
func verbs(known map[string]verb) func(context.Context, console, config, []string) error {
	return func(ctx context.Context, c console, cfg config, args []string) error {
		if len(args) == 0 || known[args[0]] == nil {
			return errUsage
		}
		return known[args[0]](ctx, c, cfg, args[1:])
	}
}

// flagSet reads flags and exactly rest arguments after them.
func flagSet(c console, args []string, rest int, define func(*flag.FlagSet)) (*flag.FlagSet, error) {
	flags := flag.NewFlagSet("", flag.ContinueOnError)
	flags.SetOutput(c.err)
	define(flags)
	// An id may stand before the flags, as people type it.
	if rest == 1 && len(args) > 1 && !strings.HasPrefix(args[0], "-") {
		args = append(args[1:len(args):len(args)], args[0])
	}
	if err := flags.Parse(args); err != nil || flags.NArg() != rest {
		return nil, errUsage
	}
	return flags, nil
}

func addInstitute(ctx context.Context, c console, cfg config, args []string) error {
	var i catalog.Institute
	if _, err := flagSet(c, args, 0, func(f *flag.FlagSet) {
		f.StringVar(&i.Slug, "slug", "", "")
		f.StringVar(&i.Title, "title", "", "")
		f.BoolVar(&i.Demo, "demo", false, "")
	}); err != nil || i.Slug == "" || i.Title == "" {
		return errUsage
	}
	keys, err := openSigningKeys(cfg)
	if err != nil {
		return err
	}
	return withStore(ctx, c, cfg, func(s *postgres.Store) error {
		if !catalog.ValidSlug(i.Slug) {
			return fmt.Errorf("%q is no slug: lower-case letters and digits in parts joined by single hyphens, 3 to 100 characters", i.Slug)
		}
		verifier, err := keys.make(i.Slug, func(verifier string) error {
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
	if _, err := flagSet(c, args, 0, func(f *flag.FlagSet) { f.StringVar(&slug, "slug", "", "") }); err != nil || slug == "" {
		return errUsage
	}
	keys, err := openSigningKeys(cfg)
	if err != nil {
		return err
	}
	return withStore(ctx, c, cfg, func(s *postgres.Store) error {
		if _, err := s.Signatory(ctx, slug); err != nil { // before a file of that name is touched
			return err
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
	if _, err := flagSet(c, args, 0, func(f *flag.FlagSet) {
		f.StringVar(&institute, "institute", "", "")
		f.StringVar(&pseudonym, "pseudonym", "", "")
	}); err != nil || institute == "" || pseudonym == "" {
		return errUsage
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
	if _, err := flagSet(c, args, 0, func(f *flag.FlagSet) { f.StringVar(&institute, "institute", "", "") }); err != nil || institute == "" {
		return errUsage
	}
	return withStore(ctx, c, cfg, func(s *postgres.Store) error {
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
	fmt.Fprintf(c.out, "key %s of %s, %s, good until %s\n", k.ID, k.Actor.Person, k.Actor.Institute, k.ExpiresAt.Format(time.DateOnly))
	fmt.Fprintf(c.out, "send it with each request, in this header (it is shown this once):\nAuthorization: Bearer sbk_%s_%s\n", k.ID, secret)
}

func issueKey(ctx context.Context, c console, cfg config, args []string) error {
	var institute, person, list string
	var days int
	if _, err := flagSet(c, args, 0, func(f *flag.FlagSet) {
		f.StringVar(&institute, "institute", "", "")
		f.StringVar(&person, "person", "", "")
		f.StringVar(&list, "scopes", "", "")
		f.IntVar(&days, "days", 365, "")
	}); err != nil || institute == "" || person == "" || list == "" {
		return errUsage
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
	flags, err := flagSet(c, args, 1, func(f *flag.FlagSet) { f.IntVar(&days, "days", 365, "") })
	if err != nil {
		return err
	}
	fresh, secret, err := newKey(days)
	if err != nil {
		return err
	}
	return withStore(ctx, c, cfg, func(s *postgres.Store) error {
		k, err := s.RotateKey(ctx, atConsole, flags.Arg(0), fresh)
		if err == nil {
			showSecret(c, k, secret)
			fmt.Fprintf(c.out, "the key %s is still good; when the new one is in place: go run ./api key revoke %[1]s\n", flags.Arg(0))
		}
		return err
	})
}

func revokeKey(ctx context.Context, c console, cfg config, args []string) error {
	flags, err := flagSet(c, args, 1, func(*flag.FlagSet) {})
	if err != nil {
		return err
	}
	return withStore(ctx, c, cfg, func(s *postgres.Store) error {
		k, err := s.RevokeKey(ctx, atConsole, flags.Arg(0), time.Now().UTC())
		if err == nil {
			fmt.Fprintf(c.out, "key %s of %s, %s, is revoked\n", k.ID, k.Actor.Person, k.Actor.Institute)
		}
		return err
	})
}

func listKeys(ctx context.Context, c console, cfg config, args []string) error {
	var institute string
	if _, err := flagSet(c, args, 0, func(f *flag.FlagSet) { f.StringVar(&institute, "institute", "", "") }); err != nil {
		return errUsage
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
	flags, err := flagSet(c, args, 1, func(f *flag.FlagSet) {
		f.StringVar(&i.Slug, "institute", "", "")
		f.StringVar(&i.Title, "title", "", "")
	})
	if err != nil || i.Slug == "" || i.Title == "" {
		return errUsage
	}
	return withStore(ctx, c, cfg, func(s *postgres.Store) error {
		_, err := s.PinSigningKey(ctx, atConsole, i, flags.Arg(0), func(catalog.Signatory) (catalog.Reply, error) { return catalog.Reply{}, nil })
		if err == nil {
			fmt.Fprintf(c.out, "the key of %s is accepted: what it signed is proved here from now on\n", i.Slug)
		}
		return err
	})
}
