package main

import (
	"context"
	"errors"
	"sync/atomic"
	"time"

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
