package main

import (
	"context"
	"errors"
	"sync/atomic"
	"time"

	"statorbook/internal/bundle"
	"statorbook/internal/catalog"
	"statorbook/internal/errs"
	"statorbook/internal/postgres"
)

var errStarting = errors.New("the service is starting")

// lateStore lets requests in while the database is still being found: until set, reading a record
// is unavailable.
type lateStore struct {
	store atomic.Pointer[postgres.Store]
}

func (l *lateStore) get() (*postgres.Store, error) {
	if s := l.store.Load(); s != nil {
		return s, nil
	}
	return nil, errs.Wrap(errs.KindUnavailable, "The service is starting. Try again.", errStarting)
}

// Family reads a family; see postgres.Store.
func (l *lateStore) Family(ctx context.Context, id string) (catalog.Family, error) {
	s, err := l.get()
	if err != nil {
		return catalog.Family{}, err
	}
	return s.Family(ctx, id)
}

// Families lists families; see postgres.Store.
func (l *lateStore) Families(ctx context.Context, f catalog.FamilyFilter, p catalog.PageRequest) (catalog.Page[catalog.Family], error) {
	s, err := l.get()
	if err != nil {
		return catalog.Page[catalog.Family]{}, err
	}
	return s.Families(ctx, f, p)
}

// Changes reads the change feed; see postgres.Store.
func (l *lateStore) Changes(ctx context.Context, after catalog.Mark, size int) (catalog.ChangePage, error) {
	s, err := l.get()
	if err != nil {
		return catalog.ChangePage{}, err
	}
	return s.Changes(ctx, after, size)
}

// Winding reads a winding record; see postgres.Store.
func (l *lateStore) Winding(ctx context.Context, id string) (catalog.Winding, error) {
	s, err := l.get()
	if err != nil {
		return catalog.Winding{}, err
	}
	return s.Winding(ctx, id)
}

// Windings lists winding records; see postgres.Store.
func (l *lateStore) Windings(ctx context.Context, f catalog.WindingFilter, p catalog.PageRequest) (catalog.Page[catalog.Winding], error) {
	s, err := l.get()
	if err != nil {
		return catalog.Page[catalog.Winding]{}, err
	}
	return s.Windings(ctx, f, p)
}

// Authenticate tells whose a key is; see postgres.Store.
func (l *lateStore) Authenticate(ctx context.Context, id string, secretHash [32]byte, now time.Time) (catalog.Key, error) {
	s, err := l.get()
	if err != nil {
		return catalog.Key{}, err
	}
	return s.Authenticate(ctx, id, secretHash, now)
}

// with runs f on the store, once there is one.
func with[T any](l *lateStore, f func(*postgres.Store) (T, error)) (T, error) {
	s, err := l.get()
	if err != nil {
		var none T
		return none, err
	}
	return f(s)
}

// The methods below are those of postgres.Store, of the same names.

func (l *lateStore) CreateDraft(ctx context.Context, a catalog.Act, record catalog.Record, render catalog.Render) (catalog.Reply, error) {
	return with(l, func(s *postgres.Store) (catalog.Reply, error) { return s.CreateDraft(ctx, a, record, render) })
}

func (l *lateStore) EditDraft(ctx context.Context, a catalog.Act, d catalog.DraftRef, record catalog.Record, render catalog.Render) (catalog.Reply, error) {
	return with(l, func(s *postgres.Store) (catalog.Reply, error) { return s.EditDraft(ctx, a, d, record, render) })
}

func (l *lateStore) Draft(ctx context.Context, actor catalog.Actor, kind catalog.Kind, id string) (catalog.Record, error) {
	return with(l, func(s *postgres.Store) (catalog.Record, error) { return s.Draft(ctx, actor, kind, id) })
}

func (l *lateStore) Drafts(ctx context.Context, actor catalog.Actor, kind catalog.Kind, f catalog.DraftFilter, p catalog.PageRequest) (catalog.Page[catalog.Record], error) {
	return with(l, func(s *postgres.Store) (catalog.Page[catalog.Record], error) { return s.Drafts(ctx, actor, kind, f, p) })
}

func (l *lateStore) Submit(ctx context.Context, a catalog.Act, d catalog.DraftRef, judged catalog.Hash, findings []errs.Finding, render catalog.Render) (catalog.Reply, error) {
	return with(l, func(s *postgres.Store) (catalog.Reply, error) { return s.Submit(ctx, a, d, judged, findings, render) })
}

func (l *lateStore) Vet(ctx context.Context, a catalog.Act, d catalog.DraftRef, seen catalog.Hash, answers []catalog.Answer, render catalog.Render) (catalog.Reply, error) {
	return with(l, func(s *postgres.Store) (catalog.Reply, error) { return s.Vet(ctx, a, d, seen, answers, render) })
}

func (l *lateStore) Return(ctx context.Context, a catalog.Act, d catalog.DraftRef, reason string, render catalog.Render) (catalog.Reply, error) {
	return with(l, func(s *postgres.Store) (catalog.Reply, error) { return s.Return(ctx, a, d, reason, render) })
}

func (l *lateStore) Publish(ctx context.Context, a catalog.Act, d catalog.DraftRef, slug string, sign func(bundle.Statement) ([]byte, error), render catalog.Render) (catalog.Reply, error) {
	return with(l, func(s *postgres.Store) (catalog.Reply, error) { return s.Publish(ctx, a, d, slug, sign, render) })
}

func (l *lateStore) Withdraw(ctx context.Context, a catalog.Act, kind catalog.Kind, ref string, why catalog.Reason, sign func(bundle.Statement) ([]byte, error), render catalog.Render) (catalog.Reply, error) {
	return with(l, func(s *postgres.Store) (catalog.Reply, error) {
		return s.Withdraw(ctx, a, kind, ref, why, sign, render)
	})
}

func (l *lateStore) StartErratum(ctx context.Context, a catalog.Act, kind catalog.Kind, ref string, why catalog.Reason, render catalog.Render) (catalog.Reply, error) {
	return with(l, func(s *postgres.Store) (catalog.Reply, error) { return s.StartErratum(ctx, a, kind, ref, why, render) })
}

func (l *lateStore) Sight(ctx context.Context, a catalog.Act, ref, job string, render catalog.Render) (catalog.Reply, error) {
	return with(l, func(s *postgres.Store) (catalog.Reply, error) { return s.Sight(ctx, a, ref, job, render) })
}

func (l *lateStore) Report(ctx context.Context, a catalog.Act, kind catalog.Kind, ref, text string, answer func(catalog.ProblemReport) (catalog.Reply, error)) (catalog.Reply, error) {
	return with(l, func(s *postgres.Store) (catalog.Reply, error) { return s.Report(ctx, a, kind, ref, text, answer) })
}

func (l *lateStore) AnswerReport(ctx context.Context, a catalog.Act, kind catalog.Kind, ref, report, text string, answer func(catalog.ProblemReport) (catalog.Reply, error)) (catalog.Reply, error) {
	return with(l, func(s *postgres.Store) (catalog.Reply, error) {
		return s.AnswerReport(ctx, a, kind, ref, report, text, answer)
	})
}

func (l *lateStore) Reports(ctx context.Context, kind catalog.Kind, ref string) ([]catalog.ProblemReport, error) {
	return with(l, func(s *postgres.Store) ([]catalog.ProblemReport, error) { return s.Reports(ctx, kind, ref) })
}

func (l *lateStore) Revision(ctx context.Context, kind catalog.Kind, ref string, n int) (catalog.RevisionOf, error) {
	return with(l, func(s *postgres.Store) (catalog.RevisionOf, error) { return s.Revision(ctx, kind, ref, n) })
}

func (l *lateStore) Revisions(ctx context.Context, kind catalog.Kind, ref string, after, size int) (list []catalog.RevisionOf, next int, err error) {
	s, err := l.get()
	if err != nil {
		return nil, 0, err
	}
	return s.Revisions(ctx, kind, ref, after, size)
}

func (l *lateStore) Signatory(ctx context.Context, slug string) (catalog.Signatory, error) {
	return with(l, func(s *postgres.Store) (catalog.Signatory, error) { return s.Signatory(ctx, slug) })
}

func (l *lateStore) Signatories(ctx context.Context, p catalog.PageRequest) (catalog.Page[catalog.Signatory], error) {
	return with(l, func(s *postgres.Store) (catalog.Page[catalog.Signatory], error) { return s.Signatories(ctx, p) })
}

func (l *lateStore) PinSigningKey(ctx context.Context, a catalog.Act, i catalog.Institute, verifier string, render func(catalog.Signatory) (catalog.Reply, error)) (catalog.Reply, error) {
	return with(l, func(s *postgres.Store) (catalog.Reply, error) { return s.PinSigningKey(ctx, a, i, verifier, render) })
}

// ExportBundle writes a bundle; see postgres.Store.
func (l *lateStore) ExportBundle(ctx context.Context, out *bundle.Writer, institute, signer string, since int64) error {
	s, err := l.get()
	if err != nil {
		return err
	}
	return s.ExportBundle(ctx, out, institute, signer, since)
}

// ImportBundle takes a bundle in; see postgres.Store.
func (l *lateStore) ImportBundle(ctx context.Context, a catalog.Act, in *bundle.Reader, apply bool, onRow func(catalog.ImportRow) error,
	render func(catalog.ImportReport) (catalog.Reply, error)) (catalog.Reply, error) {
	s, err := l.get()
	if err != nil {
		return catalog.Reply{}, err
	}
	return s.ImportBundle(ctx, a, in, apply, onRow, render)
}
