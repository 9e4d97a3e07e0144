package postgres

import (
	"context"
	"errors"
	"time"

	"github.com/jackc/pgx/v5"

	"statorbook/internal/bundle"
	"statorbook/internal/catalog"
)

const (
	requestTimeout  = 45 * time.Second // of one statement of an import that somebody waits for
	requestLockWait = 5 * time.Second  // for another import or publication to end
)

// ExportBundle writes what is published as a bundle, see Export: of one institute (a slug), or of
// everybody if that is "", and only what changed after a catalogue revision. signer is the id of the key that
// seals it, "" for none. The caller closes the writer.
func (s *Store) ExportBundle(ctx context.Context, out *bundle.Writer, institute, signer string, since int64) error {
	_, err := s.Export(ctx, out, ExportOptions{
		Manifest:  bundle.Manifest{Title: "statorbook export", Institute: institute, Signer: signer},
		Institute: institute, Since: since,
	})
	return err
}

// ImportBundle is Import on behalf of a steward, with all keys that are accepted here. With apply it
// stores, once for one Idempotency-Key; else it only decides. render makes the answer out of the report,
// inside of the transaction.
func (s *Store) ImportBundle(ctx context.Context, a catalog.Act, in *bundle.Reader, apply bool, onRow func(catalog.ImportRow) error,
	render func(catalog.ImportReport) (catalog.Reply, error)) (catalog.Reply, error) {
	if err := catalog.Permit(a.Actor, catalog.ActImport, catalog.Object{}); err != nil {
		return catalog.Reply{}, err
	}
	verifiers, err := s.Verifiers(ctx)
	if err != nil {
		return catalog.Reply{}, err
	}
	keys, err := bundle.NewKeys(verifiers...)
	if err != nil {
		return catalog.Reply{}, err
	}
	run := newImport(in, ImportOptions{Keys: keys, DryRun: !apply, OnRow: onRow})
	run.lockWait = requestLockWait
	conn, err := s.acquire(ctx)
	if err != nil {
		return catalog.Reply{}, err
	}
	defer conn.Release()
	var reply catalog.Reply
	committing := false
	err = pgx.BeginFunc(ctx, conn, func(tx pgx.Tx) error {
		var err error
		reply, err = run.once(ctx, &acting{Tx: tx, Act: a}, render)
		committing = err == nil
		return err
	})
	if err != nil && committing {
		err = unknownOutcome(err, a.Once != "")
	}
	return reply, run.failure(err)
}

// once imports unless the same request was answered before, and keeps the answer.
func (run *importRun) once(ctx context.Context, t *acting, render func(catalog.ImportReport) (catalog.Reply, error)) (catalog.Reply, error) {
	if err := limitTransaction(ctx, t, requestTimeout, requestLockWait); err != nil {
		return catalog.Reply{}, err
	}
	if err := t.identify(ctx); err != nil {
		return catalog.Reply{}, err
	}
	run.actor = t
	earlier, err := t.earlier(ctx)
	if err != nil {
		return catalog.Reply{}, err
	}
	if earlier != nil {
		return *earlier, nil
	}
	stop := run.all(ctx, t)
	if stop != nil && !errors.Is(stop, errDry) {
		return catalog.Reply{}, stop
	}
	reply, err := render(run.report)
	switch {
	case err != nil:
		return reply, err
	case stop != nil:
		return reply, stop
	}
	return reply, t.keep(ctx, reply)
}
