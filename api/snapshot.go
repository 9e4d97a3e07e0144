package main

import (
	"context"
	"log/slog"
	"sync/atomic"
	"time"

	"statorbook/internal/httpapi"
	"statorbook/internal/match"
	"statorbook/internal/postgres"
	"statorbook/internal/wire"
)

const (
	pollEvery    = time.Second // contract rule 10
	forgetEvery  = time.Hour   // answers for repeated requests, once they are a day old
	retryAfter   = 2 * time.Second
	refreshLimit = 2 * time.Second // that a request waits for the index to follow
)

// keeper holds the snapshot that requests are answered from and keeps it up to date. One goroutine
// does the following; the pointers are for all.
type keeper struct {
	store    *atomic.Pointer[postgres.Store]
	log      *slog.Logger
	current  *atomic.Pointer[httpapi.Snapshot]
	withheld *atomic.Pointer[httpapi.Withheld]
	before   *atomic.Int64          // revision of the snapshot before the current one
	failure  *atomic.Pointer[error] // of the last look at the database, nil error inside if it was well
	bell     *httpapi.Bell          // rung when the change feed has grown
	asked    chan chan struct{}     // who waits for the next look; each is closed after it

	// The rest belongs to the goroutine that follows.
	feed    int64          // catalogue revision of the newest row of the feed
	builder *match.Builder // holds what the current snapshot was built from; nil: load afresh
}

func newKeeper(log *slog.Logger, store *atomic.Pointer[postgres.Store]) *keeper {
	return &keeper{
		store: store, log: log, current: new(atomic.Pointer[httpapi.Snapshot]), withheld: new(atomic.Pointer[httpapi.Withheld]), before: new(atomic.Int64),
		failure: new(atomic.Pointer[error]), bell: httpapi.NewBell(), asked: make(chan chan struct{}, 64),
	}
}

// loadSnapshot reads all published data as it stands and builds the tables and the match index. The
// builder that it gives can follow later changes.
func loadSnapshot(ctx context.Context, store *postgres.Store) (*httpapi.Snapshot, *match.Builder, error) {
	snap := &httpapi.Snapshot{}
	var builder *match.Builder
	loaded, err := store.LoadCatalogue(ctx, func(c postgres.Catalogue) (*match.Builder, error) {
		sizes := make([]wire.Size, len(c.Wires))
		for i, w := range c.Wires {
			sizes[i] = w.Size
		}
		table, err := wire.NewTable(sizes)
		if err != nil {
			return nil, err
		}
		snap.Wires = table
		builder = match.NewBuilder(table)
		return builder, nil
	})
	if err != nil {
		return nil, nil, err
	}
	snap.Revision, snap.Classes, snap.Materials = loaded.Revision, loaded.Classes, loaded.Materials
	snap.Index = builder.Build()
	snap.BuiltAt = time.Now().UTC()
	return snap, builder, nil
}

// refresh brings the snapshot up to date if the catalogue has moved on.
func (k *keeper) refresh(ctx context.Context) error {
	err := k.store.Load().Ready(ctx)
	if err == nil {
		err = k.follow(ctx)
	}
	k.failure.Store(&err)
	return err
}

func (k *keeper) follow(ctx context.Context) error {
	pulse, err := k.store.Load().Pulse(ctx)
	if err != nil {
		return err
	}
	if pulse.Feed != k.feed {
		k.feed = pulse.Feed
		k.bell.Ring()
	}
	old := k.current.Load()
	if old != nil && old.Revision == pulse.Catalogue {
		return nil
	}
	if err := k.withhold(ctx); err != nil { // building takes longer
		return err
	}
	begun := time.Now()
	snap, how, err := k.next(ctx, old)
	if err != nil {
		k.builder = nil // it may have half of the changes
		return err
	}
	if old != nil && old.Revision <= snap.Revision {
		k.before.Store(old.Revision)
	} else { // the first one, or the database was set back: nothing that was noted holds any more
		k.before.Store(snap.Revision)
		k.withheld.Store(nil)
	}
	k.current.Store(snap)
	stats := snap.Index.Stats()
	k.log.Info(how, "revision", snap.Revision, "wires", snap.Wires.Len(), "families", stats.Families, "records", stats.Records, "took", time.Since(begun).Round(time.Millisecond))
	return nil
}

// next gives the snapshot after old: by following what changed where that is possible and quicker,
// else by loading everything.
func (k *keeper) next(ctx context.Context, old *httpapi.Snapshot) (snap *httpapi.Snapshot, how string, err error) {
	store := k.store.Load()
	if old != nil && k.builder != nil && k.builder.Complete() {
		step, err := store.Follow(ctx, old.Revision, k.builder)
		if err != nil {
			return nil, "", err
		}
		if !step.Afresh {
			snap = &httpapi.Snapshot{Revision: step.Revision, Wires: old.Wires, Classes: old.Classes, Materials: old.Materials, Index: k.builder.Build(), BuiltAt: time.Now().UTC()}
			if step.Tables {
				snap.Classes, snap.Materials = step.Classes, step.Materials
			}
			return snap, "catalogue followed", nil
		}
	}
	snap, k.builder, err = loadSnapshot(ctx, store)
	return snap, "catalogue loaded", err
}

// withhold notes which records of the current snapshot, and of the one before it, from which
// questions may still be answered, are not published any more. It takes milliseconds.
func (k *keeper) withhold(ctx context.Context) error {
	if k.current.Load() == nil {
		return nil
	}
	gone, err := k.store.Load().WithdrawnSince(ctx, k.before.Load())
	if err != nil {
		return err
	}
	fresh := &httpapi.Withheld{Revision: gone.Revision, IDs: gone.IDs}
	for {
		old := k.withheld.Load()
		if old != nil && old.Revision > fresh.Revision || k.withheld.CompareAndSwap(old, fresh) {
			return nil
		}
	}
}

// Refresh is for a request that changed published data: what was withdrawn is out of every answer of
// this process when it returns, and the index has followed unless that took longer than two seconds.
// A caller that hangs up changes nothing about it.
func (k *keeper) Refresh(ctx context.Context) {
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), refreshLimit)
	defer cancel()
	if err := k.withhold(ctx); err != nil {
		k.log.Error("what was withdrawn could not be read; the next look at the database will tell", "error", err)
	}
	done := make(chan struct{})
	select {
	case k.asked <- done:
	case <-ctx.Done():
		return
	}
	select {
	case <-done:
	case <-ctx.Done():
	}
}

// run looks at the database every second, and when asked, until ctx ends. A failure is logged once,
// and its end too.
func (k *keeper) run(ctx context.Context) {
	well := true
	for {
		waiting, ok := k.wait(ctx)
		if !ok {
			return
		}
		err := k.refresh(ctx)
		for _, done := range waiting {
			close(done)
		}
		switch {
		case ctx.Err() != nil:
			return
		case err != nil && well:
			k.log.Error("the database does not answer; what is in memory is still served", "error", err)
		case err == nil && !well:
			k.log.Info("the database answers again")
		}
		well = err == nil
	}
}

// forget drops the kept answers that are too old, at once and then regularly, until ctx ends. A failure
// is logged, and tried again next time.
func (k *keeper) forget(ctx context.Context, every time.Duration) {
	timer := time.NewTicker(every)
	defer timer.Stop()
	for {
		dropped, err := k.store.Load().ForgetReplies(ctx)
		switch {
		case ctx.Err() != nil:
			return
		case err != nil:
			k.log.Error("old answers for repeated requests stay for now", "error", err)
		case dropped > 0:
			k.log.Info("old answers for repeated requests dropped", "count", dropped)
		}
		select {
		case <-ctx.Done():
			return
		case <-timer.C:
		}
	}
}

// wait sleeps until the next look is due, and gives all who wait for it. ok is false at the end.
func (k *keeper) wait(ctx context.Context) (waiting []chan struct{}, ok bool) {
	timer := time.NewTimer(pollEvery)
	defer timer.Stop()
	select {
	case <-ctx.Done():
		return nil, false
	case <-timer.C:
	case done := <-k.asked:
		waiting = append(waiting, done)
	}
	for {
		select {
		case done := <-k.asked:
			waiting = append(waiting, done)
		default:
			return waiting, true
		}
	}
}

// ready says why the service cannot answer, nil if it can.
func (k *keeper) ready() error {
	if err := k.failure.Load(); err != nil {
		return *err
	}
	return errStarting
}
