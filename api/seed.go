package main

import (
	"context"
	"fmt"
	"log/slog"

	"statorbook/internal/bundle"
	"statorbook/internal/catalog"
	"statorbook/internal/errs"
	"statorbook/internal/postgres"
	"statorbook/seeds"
)

var seedCommand = command{
	name: "seed", summary: "store the reference tables and the demo set, if they are not there",
	help: "Imports the bundles of seeds/. What is there already stays as it is; it may be run again at any time.",
	run: func(ctx context.Context, c console, cfg config, args []string) error {
		if err := noArguments(c, args); err != nil {
			return err
		}
		return withStore(ctx, c, cfg, func(s *postgres.Store) error { return seedAll(ctx, s, openSigningKeys(cfg), newLog(c)) })
	},
}

// demoCredit is whose work the demo records are: an invented institute with two invented persons.
var demoCredit = postgres.Authorship{
	Institute: catalog.Institute{Slug: "demo-winding-school", Title: "Demo winding school (invented)", Demo: true},
	Author:    "demo-p1", Vetter: "demo-p2",
}

// seedAll imports the embedded bundles and sees to the signing key of the demo institute.
func seedAll(ctx context.Context, store *postgres.Store, keys signingKeys, log *slog.Logger) error {
	for _, name := range seeds.Names() {
		if err := seedBundle(ctx, store, log, name); err != nil {
			return err
		}
	}
	if err := demoSigningKey(ctx, store, keys, log); err != nil {
		return err
	}
	return keys.settle(ctx, store, log)
}

// demoSigningKey gives the demo institute its signing key, unless it has or had one. Where none can be
// kept everything else works.
func demoSigningKey(ctx context.Context, store *postgres.Store, keys signingKeys, log *slog.Logger) error {
	slug := demoCredit.Institute.Slug
	demo, err := store.Signatory(ctx, slug)
	if err != nil || len(demo.Keys) > 0 {
		return err
	}
	var refused error
	_, err = keys.adopt(slug, func(verifier string) error {
		refused = store.AddSigningKey(ctx, atConsole, slug, verifier)
		return refused
	})
	switch {
	case errs.KindOf(refused) == errs.KindConflict: // another process was faster
		return nil
	case err != nil && refused == nil:
		log.Warn("the signing key of the demo institute cannot be kept, so nothing can be published for it", "error", err)
		return nil
	}
	return refused
}

// seedBundle imports one embedded bundle. A line that is not taken is a fault of the program.
func seedBundle(ctx context.Context, store *postgres.Store, log *slog.Logger, name string) error {
	file, err := seeds.Files.Open(name)
	if err != nil {
		return err
	}
	defer func() { _ = file.Close() }() // read only
	var refused []catalog.ImportRow
	report, err := store.Import(ctx, bundle.NewReader(file, bundle.Options{}), postgres.ImportOptions{
		Credit: &demoCredit,
		OnRow: func(r catalog.ImportRow) error {
			if r.Outcome == catalog.OutcomeRefused {
				refused = append(refused, r)
			}
			return nil
		},
	})
	if err != nil {
		return fmt.Errorf("seeds/%s: %w", name, err)
	}
	if len(refused) > 0 {
		return fmt.Errorf("seeds/%s line %d: %s: %s", name, refused[0].Line, refused[0].Code, refused[0].Detail)
	}
	if n := report.Counts[catalog.OutcomeNew]; n > 0 {
		log.Info("seeds stored", "bundle", name, "new", n)
	}
	return nil
}
