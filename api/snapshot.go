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
	pollEvery  = time.Second // contract rule 10
	retryAfter = 2 * time.Second
)

// keeper holds the snapshot that requests are answered from and keeps it up to date.
type keeper struct {
	store   *postgres.Store
	log     *slog.Logger
	current *atomic.Pointer[httpapi.Snapshot]
	failure *atomic.Pointer[error] // of the last look at the database, nil error inside if it was well
	bell    *httpapi.Bell          // rung when the change feed has grown
	feed    int64                  // the catalogue revision of its newest row
}

// loadSnapshot reads all published data as it stands and builds the tables and the match index.
func loadSnapshot(ctx context.Context, store *postgres.Store) (*httpapi.Snapshot, error) {
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
		return nil, err
	}
	snap.Revision, snap.Classes, snap.Materials = loaded.Revision, loaded.Classes, loaded.Materials
	snap.Index = builder.Build()
	snap.BuiltAt = time.Now().UTC()
	return snap, nil
}

// refresh loads a new snapshot if the catalogue has moved on.
func (k *keeper) refresh(ctx context.Context) error {
	err := k.store.Ready(ctx)
	if err == nil {
		err = k.follow(ctx)
	}
	k.failure.Store(&err)
	return err
}

func (k *keeper) follow(ctx context.Context) error {
	pulse, err := k.store.Pulse(ctx)
	if err != nil {
		return err
	}
	if pulse.Feed != k.feed {
		k.feed = pulse.Feed
		k.bell.Ring()
	}
	if snap := k.current.Load(); snap != nil && snap.Revision == pulse.Catalogue {
		return nil
	}
	begun := time.Now()
	snap, err := loadSnapshot(ctx, k.store)
	if err != nil {
		return err
	}
	k.current.Store(snap)
	stats := snap.Index.Stats()
	k.log.Info("catalogue loaded", "revision", snap.Revision, "wires", snap.Wires.Len(), "families", stats.Families, "records", stats.Records, "took", time.Since(begun).Round(time.Millisecond))
	return nil
}

// run polls until ctx ends. A failure is logged once, and its end too.
func (k *keeper) run(ctx context.Context) {
	well := true
	for pause(ctx, pollEvery) == nil {
		err := k.refresh(ctx)
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

// ready says why the service cannot answer, nil if it can.
func (k *keeper) ready() error {
	if err := k.failure.Load(); err != nil {
		return *err
	}
	return errStarting
}
