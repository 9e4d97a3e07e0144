package main

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"fmt"
	"strings"
	"text/tabwriter"
	"time"

	"statorbook/internal/catalog"
	"statorbook/internal/postgres"
)

// keyDays is how long a key lives unless somebody says otherwise.
const keyDays = 365

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
        pinned, or when it may have been stolen. Whatever bears its signature is still proved by it, for a
        statement has no date: of a key that was stolen take in nothing that you did not have before.`,
	run: verbs(map[string]verb{"issue": issueKey, "rotate": rotateKey, "revoke": revokeKey, "list": listKeys, "pin": pinKey, "retire": retireSigningKey}),
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
		if institute != "" {
			if _, err := s.Signatory(ctx, institute); err != nil {
				return err
			}
		}
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
			fmt.Fprintf(c.out, "the signing key %s is retired; whatever bears its signature is still proved by it\n", verifier)
		}
		return err
	})
}
